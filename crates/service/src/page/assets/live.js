// What moves on the bench page. The server draws; this puts its pieces in their places and sends forms without leaving
// the page. Without it the page is the same one, refreshed by hand.
"use strict";
(() => {
  const bench = document.getElementById("bench");
  if (!bench || !window.EventSource) return;
  const problem = document.getElementById("problem");
  const line = document.getElementById("line");
  const byId = (id) => document.getElementById(id);
  let source;

  // A piece that holds the focus gives it back to the control of the same name, or else to itself.
  const replace = (piece, html) => {
    const had = piece.contains(document.activeElement) ? document.activeElement : null;
    const open = [...piece.querySelectorAll("details[open]")].map((one) => one.id);
    piece.innerHTML = html;
    open.forEach((id) => byId(id)?.setAttribute("open", ""));
    if (!had) return;
    const same = had.id && byId(had.id);
    const next = same || piece.querySelector("button, select, input:not([type=hidden]), a[href]");
    if (next) next.focus();
    else {
      piece.tabIndex = -1;
      piece.focus();
    }
  };

  // Whoever is filling a form in is not disturbed: the piece waits until the focus has left it.
  const waiting = new Map();
  const typing = (piece) => {
    const at = document.activeElement;
    return at && piece.contains(at) && at.matches("input, select, textarea");
  };
  document.addEventListener("focusout", () => setTimeout(() => {
    for (const [id, html] of waiting) {
      const piece = byId(id);
      if (piece && typing(piece)) continue;
      waiting.delete(id);
      if (piece) replace(piece, html);
    }
  }));

  const take = (change) => {
    for (const [id, text] of Object.entries(change.text ?? {})) {
      const piece = byId(id);
      if (piece && piece.textContent !== text) piece.textContent = text;
    }
    for (const [id, html] of Object.entries(change.html ?? {})) {
      const piece = byId(id);
      if (!piece) continue;
      if (typing(piece)) waiting.set(id, html);
      else {
        waiting.delete(id);
        replace(piece, html);
      }
    }
    for (const [id, { points, values }] of Object.entries(change.append ?? {})) {
      const curve = byId(id);
      if (!curve) continue;
      curve.setAttribute("points", curve.getAttribute("points") + points);
      curve.dataset.points += values;
    }
  };

  const listen = () => {
    source?.close();
    source = new EventSource(bench.dataset.live);
    source.addEventListener("change", (event) => {
      line.textContent = "";
      take(JSON.parse(event.data));
    });
    source.onerror = () => {
      line.textContent = "The line to the bench is down; what is shown may be old. Trying again.";
      // A browser gives up by itself where it was refused, as by a server that is busy.
      if (source.readyState === EventSource.CLOSED) setTimeout(listen, 5000);
    };
  };

  bench.addEventListener("submit", async (event) => {
    const form = event.target;
    if (form.getAttribute("method") !== "post") return;
    event.preventDefault();
    problem.textContent = "";
    // The form itself may have been replaced by the time the answer is there.
    const within = form.closest("details")?.id;
    const body = new URLSearchParams(new FormData(form, event.submitter));
    try {
      const answer = await fetch(form.getAttribute("action"), { method: "POST", body, redirect: "manual" });
      if (answer.type === "opaqueredirect" || answer.ok) {
        waiting.clear();
        byId(within)?.removeAttribute("open");
        // What it changed comes as any change does, to everybody who looks; a field that is still in focus would hold it up.
        if (document.activeElement?.matches("input, select, textarea")) document.activeElement.blur();
        return;
      }
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const said = page.querySelector("main [role=alert]") ?? page.body;
      problem.textContent = said.textContent.replace(/\s+/g, " ").trim();
    } catch {
      problem.textContent = "The bench did not answer. Nothing is known to have happened; look before trying again.";
    }
  });

  bench.querySelectorAll("[data-without-script]").forEach((one) => one.remove());
  listen();
})();
