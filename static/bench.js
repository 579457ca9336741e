// Shows the delivered volume of each titration while it is typed. The form works without this.
"use strict";
(() => {
  const number = (text) => {
    const written = text.trim();
    return /^\d+([.,]\d+)?$/.test(written) ? written.replace(",", ".") : null;
  };
  const decimals = (text) => (text.split(".")[1] || "").length;
  for (const trial of document.querySelectorAll("[data-bench] .trial")) {
    const shown = trial.querySelector("[data-delivered]");
    const inputs = [...trial.querySelectorAll("input")];
    const ends = inputs.filter((input) => /burette_end/.test(input.name));
    const update = () => {
      let sum = 0, places = 0, pieces = 0, upward = false;
      for (const end of ends) {
        const start = inputs.find((input) => input.name === end.name.replace("_end", "_start"));
        const from = number(start.value), to = number(end.value);
        if (from === null || to === null) continue;
        pieces += 1;
        places = Math.max(places, decimals(from), decimals(to));
        sum += Number(to) - Number(from);
        upward = upward || Number(to) < Number(from);
      }
      shown.hidden = pieces === 0;
      shown.textContent = upward
        ? "The end reading is below the start: a burette counts downward, so its reading grows."
        : `Delivered ${sum.toFixed(places)} mL`;
    };
    for (const input of inputs) input.addEventListener("input", update);
    update();
  }
})();
