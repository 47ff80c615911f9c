// A bench while a person types: the answer is asked for once the keys rest, and drawn in place of the last one.
"use strict";

(() => {
  const REST = 250;
  const form = document.querySelector("#ask");
  const result = document.querySelector("#result");
  const said = document.querySelector("#said");
  // What is asked stands in the address, unless it is about a person: then it is posted.
  const posted = form.method === "post";
  let waiting;
  let asking;

  const show = (answer, query) => {
    const fresh = answer.querySelector("#result");
    const faults = fresh.dataset.faults.split(" ").filter(Boolean);
    for (const field of form.elements) {
      if (faults.includes(field.name)) field.setAttribute("aria-invalid", "true");
      else field.removeAttribute("aria-invalid");
    }
    said.textContent = fresh.dataset.said;
    result.replaceChildren(...fresh.childNodes);
    for (const part of answer.querySelectorAll("[data-part]")) {
      document.getElementById(part.id)?.replaceChildren(...part.childNodes);
    }
    result.dispatchEvent(new CustomEvent("drawn", { bubbles: true }));
    if (posted) return;
    // Loaded again, or in other units, the view is the same.
    const here = `${new URL(form.action).pathname}?${query}`;
    history.replaceState(null, "", here);
    const back = document.querySelector(".units input[name=back]");
    if (back) back.value = here;
  };

  const ask = async () => {
    asking?.abort();
    const own = new AbortController();
    asking = own;
    result.setAttribute("aria-busy", "true");
    const query = new URLSearchParams(new FormData(form));
    const { answer: path } = form.dataset;
    try {
      const answer = posted
        ? await fetch(path, { method: "POST", body: query, signal: own.signal })
        : await fetch(`${path}?${query}`, { signal: own.signal });
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (fresh.querySelector("#result")) show(fresh, query.toString());
      else said.textContent = "No answer came; what is shown is not what is written.";
    } catch {
      if (own.signal.aborted) return;
      said.textContent = "The bench cannot be reached; what is shown is not what is written.";
    }
    if (asking === own) result.removeAttribute("aria-busy");
  };

  // What another field makes needless is put out of sight, and stays written.
  const fit = () => {
    for (const part of form.querySelectorAll("[data-without]")) {
      part.hidden = form.elements[part.dataset.without].value.trim() !== "";
    }
  };

  form.addEventListener("input", () => {
    fit();
    clearTimeout(waiting);
    waiting = setTimeout(ask, REST);
  });

  // In other units what was typed is still there: it waits in this tab while the view is loaded anew.
  if (!posted) return;
  const own = (name) => ["request_id", "etag", "setup"].includes(name);
  document.querySelector(".units")?.closest("form").addEventListener("submit", () => {
    const typed = [...new FormData(form)].filter(([name]) => !own(name));
    sessionStorage.setItem("typed", JSON.stringify([form.action, form.elements.setup.value, typed]));
  });
  const [action, setup, typed] = JSON.parse(sessionStorage.getItem("typed") ?? "[]");
  sessionStorage.removeItem("typed");
  if (action !== form.action || setup !== form.elements.setup.value) return;
  let changed = false;
  for (const [name, text] of typed) {
    const field = form.elements[name];
    if (!field || field.value === text) continue;
    field.value = text;
    changed = true;
  }
  if (changed) ask();
})();
