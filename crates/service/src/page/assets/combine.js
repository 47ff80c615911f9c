// Draws anew while somebody types. Without it the form's button does the same.
"use strict";

(() => {
  const form = document.getElementById("combine");
  const result = document.getElementById("result");
  if (!form || !result) return;
  const PAUSE = 350;
  let timer;
  let asked = 0;

  const draw = async () => {
    const turn = ++asked;
    const query = `/combine?${new URLSearchParams(new FormData(form))}`;
    let text;
    try {
      text = await (await fetch(query)).text();
    } catch {
      // The button stays.
      return;
    }
    // An answer that was overtaken is not drawn.
    if (turn !== asked) return;
    const drawn = new DOMParser().parseFromString(text, "text/html");
    const next = drawn.getElementById("result");
    if (!next) return;
    result.innerHTML = next.innerHTML;
    for (const field of form.querySelectorAll("input[id], select[id]")) {
      const now = drawn.getElementById(field.id)?.getAttribute("aria-invalid");
      if (now) field.setAttribute("aria-invalid", now);
      else field.removeAttribute("aria-invalid");
    }
    history.replaceState(null, "", query);
    result.dispatchEvent(new CustomEvent("drawn", { bubbles: true }));
  };

  form.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(draw, PAUSE);
  });
})();
