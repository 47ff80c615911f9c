// The valving bench while a person types: the answer is asked for once the keys rest, and drawn in place of the last one.
"use strict";

(() => {
  const REST = 250;
  const form = document.querySelector("#ask");
  const result = document.querySelector("#result");
  const said = document.querySelector("#said");
  let waiting;
  let asking;

  const show = (fresh, query) => {
    const faults = fresh.dataset.faults.split(" ").filter(Boolean);
    for (const field of form.elements) {
      if (faults.includes(field.name)) field.setAttribute("aria-invalid", "true");
      else field.removeAttribute("aria-invalid");
    }
    said.textContent = fresh.dataset.said;
    result.replaceChildren(...fresh.childNodes);
    result.dispatchEvent(new CustomEvent("drawn", { bubbles: true }));
    // Loaded again, or in other units, the view is the same.
    const here = `/valving?${query}`;
    history.replaceState(null, "", here);
    const back = document.querySelector(".units input[name=back]");
    if (back) back.value = here;
  };

  const ask = async () => {
    asking?.abort();
    const own = new AbortController();
    asking = own;
    result.setAttribute("aria-busy", "true");
    const query = new URLSearchParams(new FormData(form)).toString();
    try {
      const answer = await fetch(`/valving/result?${query}`, { signal: own.signal });
      const text = await answer.text();
      const fresh = new DOMParser().parseFromString(text, "text/html").querySelector("#result");
      if (fresh) show(fresh, query);
      else said.textContent = "No answer came; what is shown is not what is written.";
    } catch {
      if (own.signal.aborted) return;
      said.textContent = "The bench cannot be reached; what is shown is not what is written.";
    }
    if (asking === own) result.removeAttribute("aria-busy");
  };

  // A damper of the drawer has its own piston, oil and gas; what was written of another stays, out of sight.
  const fit = () => {
    const named = form.elements.damper.value.trim() !== "";
    for (const own of form.querySelectorAll("[data-own]")) own.hidden = named;
  };

  form.addEventListener("input", () => {
    fit();
    clearTimeout(waiting);
    waiting = setTimeout(ask, REST);
  });
})();
