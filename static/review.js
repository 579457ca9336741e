// Single keys on the review desk, and Enter and arrows from field to field in the grid of points. The pages work without
// this, and the keys can be turned off.
"use strict";
(() => {
  const typing = (element) => element.closest("input, textarea, select, [contenteditable]") !== null;
  const hint = document.querySelector("[data-keys]");
  const store = "review-keys";
  const are_on = () => {
    try { return localStorage.getItem(store) !== "off"; } catch { return true; }
  };
  const show = () => {
    hint.hidden = false;
    hint.querySelector("[data-keys-on]").hidden = !are_on();
    hint.querySelector("[data-keys-off]").hidden = are_on();
    for (const key of document.querySelectorAll(".key")) key.hidden = !are_on();
  };
  if (hint) {
    for (const button of hint.querySelectorAll("[data-keys-switch]")) {
      button.addEventListener("click", () => {
        try { localStorage.setItem(store, button.dataset.keysSwitch); } catch { /* a browser that keeps nothing */ }
        show();
        hint.querySelector("span:not([hidden]) button").focus();
      });
    }
    show();
    document.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey || event.repeat || typing(event.target) || !are_on()) return;
      const trials = document.querySelector("[data-trials]");
      const number = trials && /^[1-9]$/.test(event.key);
      const target = number ? trials : [...document.querySelectorAll("[data-key]")].find((one) => one.dataset.key === event.key);
      if (!target) return;
      event.preventDefault();
      if (target.tagName !== "SUMMARY") return target.click();
      const folded = target.parentElement, fields = [...folded.querySelectorAll("input:not([type=hidden]), select, textarea")];
      folded.open = true;
      // the number of a trial chooses it, so that only the reason is left
      const choice = number && [...fields[0].options].find((one) => one.value.endsWith(`:${event.key}`));
      if (choice) fields[0].value = choice.value;
      fields[choice ? 1 : 0].focus();
    });
  }
  document.addEventListener("keydown", (event) => {
    if (event.key === "Enter" && event.ctrlKey && event.target.matches("textarea")) event.target.form.requestSubmit();
  });
  const fields = [...document.querySelectorAll(".points-grid input:not([type=hidden])")];
  for (const [place, field] of fields.entries()) {
    field.addEventListener("keydown", (event) => {
      const by = { Enter: 1, ArrowDown: 1, ArrowUp: -1 }[event.key];
      const next = by && fields[place + by];
      if (!next || event.ctrlKey) return;
      event.preventDefault();
      next.focus();
      next.select();
    });
  }
})();
