// What a browser adds to the bench form, which works without it: one trial at a time on a phone, volumes and agreement
// while they are typed, a draft after every keystroke, sending again when the connection is back, and the empty form put by
// (worker.js), so that it opens without one.
"use strict";
(() => {
  const PREFIX = "concordant-draft:";
  const SHELLS = "concordant-bench:";
  const KEPT_FOR = 60 * 24 * 3600e3;
  // where the pages of this course stand
  const { root } = document.documentElement.dataset;
  const all = (css, from = document) => [...from.querySelectorAll(css)];
  const one = (css, from = document) => from.querySelector(css);

  // drafts: only readings and opaque ids, in this browser
  const store = {
    read(name) { try { return JSON.parse(localStorage.getItem(name)); } catch { return null; } },
    write(name, draft) { try { localStorage.setItem(name, JSON.stringify(draft)); return true; } catch { return false; } },
    erase(name) { try { localStorage.removeItem(name); } catch { /* nothing is kept here */ } },
    names() { try { return Object.keys(localStorage).filter((name) => name.startsWith(PREFIX)); } catch { return []; } },
  };
  const nameOf = ({ owner, experiment }) => `${PREFIX}${owner}:${experiment}`;
  for (const name of store.names()) {
    const draft = store.read(name);
    if (!draft || !(Date.now() - draft.at < KEPT_FOR)) store.erase(name);
  }
  for (const form of all("form[action$='/sign-out']")) {
    form.addEventListener("submit", () => {
      store.names().forEach(store.erase);
      if (window.caches) caches.keys().then((names) => names.filter((name) => name.startsWith(SHELLS)).forEach((name) => caches.delete(name)));
    });
  }

  const received = one("[data-received]");
  if (received) {
    const name = nameOf(received.dataset), draft = store.read(name);
    // a draft of a later correction stays
    if (draft && draft.seen < Number(received.dataset.revision)) store.erase(name);
  }

  const bench = one("form[data-bench]"), send = one("form[data-send]");
  const form = bench || send;
  if (!form) return;
  const name = nameOf(form.dataset), state = one("[data-state]", form);
  // the page brings the texts in the language of the course
  const texts = JSON.parse(form.dataset.words);
  const text = (key, values = {}) => texts[key].replace(/\{(\w+)\}/g, (place, value) => (value in values ? values[value] : place));
  const say = (kind, words, again) => {
    state.hidden = false;
    state.dataset.state = kind;
    state.textContent = words;
    if (!again) return;
    const button = document.createElement("button");
    button.type = "button";
    button.className = "quiet";
    button.textContent = text("try-again");
    button.addEventListener("click", again);
    state.append(" ", button);
  };
  const submit = () => HTMLFormElement.prototype.submit.call(form);

  // what waits for a connection is tried when the browser says there is one, and every ten seconds
  let waiting = null, busy = false;
  const tryAgain = () => { if (waiting && !busy) waiting(); };
  addEventListener("online", tryAgain);
  setInterval(tryAgain, 10e3);
  const wait = (again, then) => {
    waiting = again;
    say("offline", text("offline", { then: text(then) }), again);
  };
  const reach = async (address, options) => {
    const limit = new AbortController(), timer = setTimeout(() => limit.abort(), 20e3);
    try { return await fetch(address, { cache: "no-store", ...options, signal: limit.signal }); }
    finally { clearTimeout(timer); }
  };

  // the empty form of each experiment opened on this device, for one person at a time
  const keepShell = async (path) => {
    if (!navigator.serviceWorker || !window.caches) return;
    try {
      await navigator.serviceWorker.register(form.dataset.worker, { scope: `${root}student/` });
      const shells = `${SHELLS}${form.dataset.owner}`, shell = await reach(`${path}?shell=yes`, {});
      for (const other of await caches.keys()) if (other.startsWith(SHELLS) && other !== shells) await caches.delete(other);
      if (!shell.ok || shell.redirected) return;
      const kept = await caches.open(shells);
      await kept.put(path, shell);
      await kept.addAll(all("link[href*='/static/'], script[src*='/static/']").map((part) => part.href || part.src));
    } catch { /* then it opens with a connection alone */ }
  };
  const hasShell = async (path) => {
    try { return Boolean(navigator.serviceWorker && navigator.serviceWorker.controller && await caches.match(path, { ignoreVary: true })); }
    catch { return false; }
  };

  if (send) {
    say("kept", text("kept-nothing-sent"));
    // a dead connection must not put an error page in the place of what was typed
    const change = async (button) => {
      const again = () => change(button);
      try {
        await reach(`${root}healthz`, {});
        waiting = null;
        const action = document.createElement("input");
        [action.type, action.name, action.value] = ["hidden", button.name, button.value];
        form.append(action);
        form.setAttribute("action", button.getAttribute("formaction"));
        submit();
      } catch {
        // the draft is what is to be changed, and the form for it may lie here
        const path = button.getAttribute("formaction");
        if (await hasShell(path)) location.assign(path); else wait(again, "then-change");
      }
    };
    const handIn = async () => {
      if (busy) return;
      busy = true;
      say("sending", text("sending"));
      try {
        const body = new URLSearchParams(new FormData(form));
        const answer = await reach(form.getAttribute("action"), { method: "POST", body });
        const number = answer.ok && new URL(answer.url).pathname.match(/\/receipts\/(\d+)$/);
        if (number) {
          waiting = null;
          store.erase(name);
          say("received", text("received", { number: number[1] }));
          location.assign(answer.url);
        } else if (answer.status >= 500) {
          waiting = handIn;
          say("offline", text("server-could-not"), handIn);
        } else {
          // the page that says why: a question left, another version, sign in again
          waiting = null;
          if (answer.redirected) location.assign(answer.url); else submit();
        }
      } catch { wait(handIn, "then-handed-in"); }
      busy = false;
    };
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      if (event.submitter && event.submitter.value === "change") change(event.submitter); else handIn();
    });
    return;
  }

  // ---- the form itself
  const number = (text) => (/^\s*\d+([.,]\d+)?\s*$/.test(text) ? text.trim().replace(",", ".") : null);
  const decimals = (text) => (text.split(".")[1] || "").length;
  const field = (named) => form.elements.namedItem(named);
  const trials = () => all(".trial", form);
  const inputs = (within) => all("input:not([type=hidden], [type=file]), select", within);
  const numbered = () => trials().filter((trial) => /^\d+$/.test(trial.dataset.trial));

  // of the burette, or of a second portion
  const delivered = (trial, what) => {
    let sum = 0, places = 0, pieces = 0, upward = false;
    for (const end of all("input", trial).filter((input) => input.name.includes(`.${what}_end`))) {
      const from = number(field(end.name.replace("_end", "_start")).value), to = number(end.value);
      if (from === null || to === null) continue;
      pieces += 1;
      places = Math.max(places, decimals(from), decimals(to));
      sum += Number(to) - Number(from);
      upward = upward || Number(to) < Number(from);
    }
    return pieces ? { sum, places, upward } : null;
  };
  const shownVolume = (volume) => volume.sum.toFixed(volume.places).replace(".", text("decimal"));
  const lastEnd = (trial) => all("input", trial).filter((i) => /_end(_\d+)?_mL$/.test(i.name) && i.value.trim()).pop();

  const shown = one("[data-agreement]", form);
  const update = () => {
    for (const trial of trials()) {
      const volumes = ["burette", "second"].map((what) => delivered(trial, what)).filter(Boolean), line = one("[data-delivered]", trial);
      line.hidden = !volumes.length;
      line.textContent = volumes.some((volume) => volume.upward)
        ? text("upward")
        : volumes.length ? text("delivered", { volumes: volumes.map(shownVolume).reduce((before, last) => text("and", { before, last })) }) : "";
      const carry = one(".carry button", trial), before = carry && lastEnd(form.querySelector(`[data-trial="${trial.dataset.trial - 1}"]`));
      if (carry) carry.textContent = text(before ? "carry-at" : "carry", { n: trial.dataset.trial - 1, reading: before && before.value.trim() });
    }
    mark();
  };

  // ---- what the server says of the readings so far, by the procedure's own rules
  const para = (words) => { const part = document.createElement("p"); part.textContent = words; return part; };
  const remark = (input, words) => {
    const id = `${input.name}-remark`, old = document.getElementById(id);
    if ((old ? old.textContent : "") === (words && text("look-again", { words }))) return;
    if (old) old.remove();
    const others = (input.getAttribute("aria-describedby") || "").split(" ").filter((other) => other && other !== id);
    if (words) {
      const part = para(text("look-again", { words }));
      part.id = id;
      part.className = "remark";
      input.closest(".field").append(part);
      others.push(id);
    }
    input.setAttribute("aria-describedby", others.join(" "));
  };
  let asked = 0, timer = null;
  const hand = one("[data-hand]", form);
  const showHand = (up) => {
    if (!hand || up === (hand.value === "hand-down")) return;
    hand.value = up ? "hand-down" : "hand-up";
    hand.textContent = text(up ? "hand-down" : "hand-up");
  };
  const ask = async (action) => {
    const mine = ++asked, { at } = store.read(name) || {};
    let said = { agreement: [text("agreement-offline")], fields: [] };
    try {
      if (shell) throw new Error("no session");
      const body = new URLSearchParams([...new FormData(form)].filter(([, value]) => typeof value === "string"));
      if (action) body.append("action", action);
      const answer = await reach(`${form.getAttribute("action")}/draft`, { method: "POST", body });
      if (answer.ok && !answer.redirected) said = await answer.json();
      else if (answer.status < 500) said.agreement = [];
    } catch { /* said above */ }
    if (mine !== asked) return;
    const held = store.read(name);
    if (said.kept && (!held || held.at === at)) {
      say(said.elsewhere ? "none" : "sent", said.kept);
      // the server's is as new as this one, and may be gone on with elsewhere
      if (held && !said.elsewhere) store.write(name, { ...held, sent: true });
    }
    if ("hand" in said) showHand(said.hand);
    const words = said.agreement.join(" ");
    if (shown.textContent !== words) shown.replaceChildren(...said.agreement.map(para));
    shown.hidden = !words;
    const by = new Map(said.fields);
    inputs(form).forEach((input) => {
      if (input !== document.activeElement || !by.has(input.name)) remark(input, by.get(input.name) || "");
    });
  };
  const watch = (wait) => {
    clearTimeout(timer);
    timer = setTimeout(() => ask(), wait);
  };
  addEventListener("online", () => watch(0));

  // ---- one more trial, also without a connection
  const addTrial = () => {
    const last = numbered().at(-1), n = Number(last.dataset.trial), next = n + 1;
    if (next > 12) return null;
    const copy = last.cloneNode(true), renamed = (text) => text.replace(new RegExp(`(^|#| )${n}\\.`, "g"), `$1${next}.`);
    copy.dataset.trial = next;
    copy.dataset.step = text("trial", { n: next });
    copy.dataset.short = next;
    one("legend", copy).textContent = copy.dataset.step;
    all(".field-error, .remark", copy).forEach((fault) => fault.remove());
    for (const part of all("[id], [name], [for], [aria-describedby], [formaction]", copy)) {
      for (const key of ["id", "name", "for", "aria-describedby", "formaction"]) {
        if (part.hasAttribute(key)) part.setAttribute(key, renamed(part.getAttribute(key)));
      }
      part.removeAttribute("aria-invalid");
      if (part.tagName === "INPUT") part.value = "";
    }
    const carry = one(".carry button", copy);
    if (carry) carry.value = `carry:${next}`;
    last.after(copy);
    field("trials").value = next;
    return copy;
  };

  // ---- the draft
  const OWN = ["csrf", "owner", "kept"];
  const shell = "shell" in form.dataset;
  const draft = () => {
    const typed = [...new FormData(form)].filter(([key, value]) => !OWN.includes(key) && key !== "action" && typeof value === "string");
    const kept = shell && store.read(name), before = kept ? kept.fields : {};
    // what the empty form does not show was not taken out by anybody
    const fields = shell ? { ...before, ...Object.fromEntries(typed.filter(([key, value]) => value || before[key])) } : Object.fromEntries(typed);
    return { at: Date.now(), seen: kept ? kept.seen : Number(field("seen").value), fields };
  };
  const save = () => {
    if (store.write(name, draft())) say(shell ? "offline" : "kept", text(shell ? "kept-offline" : "kept"));
    else say("none", text("no-draft"));
  };
  const restore = () => {
    const kept = store.read(name);
    if (!kept || !kept.fields || kept.sent && "goingOn" in form.dataset) return;
    const fields = { ...kept.fields };
    if ("scanned" in form.dataset) delete fields.unknown;
    const typed = Object.entries(fields).some(([key, value]) => {
      const own = field(key);
      return !["key", "seen", "trials"].includes(key) && value !== (own ? own.value : "");
    });
    if (!typed) return;
    while (Number(field("trials").value) < Number(fields.trials) && addTrial());
    const newer = Number(field("seen").value) > kept.seen;
    if (newer) delete fields.key; // the key has done its work
    delete fields.seen;
    for (const [key, value] of Object.entries(fields)) {
      const own = field(key);
      if (own && "value" in own) own.value = value;
    }
    all("details", form).forEach((part) => { part.open = part.open || inputs(part).some((input) => input.value); });
    all("[data-kept-before]").forEach((before) => { before.hidden = true; });
    const note = one("[data-restored]", form), drop = document.createElement("button");
    note.hidden = false;
    note.textContent = `${text(shell ? "typed-before" : newer ? "typed-before-overtaken" : "typed-before-open")} `;
    drop.type = "button";
    drop.className = "quiet";
    drop.textContent = text("leave-it");
    drop.addEventListener("click", () => { store.erase(name); location.reload(); });
    note.append(drop);
    watch(0);
    say("kept", text("kept"));
  };

  // ---- one step at a time on a phone
  const steps = () => all("[data-step]", form);
  const nav = document.createElement("nav");
  nav.className = "trial-steps";
  nav.setAttribute("aria-label", text("parts"));
  let current = null;
  const isFilled = (step) => inputs(step).filter((i) => !i.closest(".extra") && i.name !== "instrument" && i.name !== "unknown").every((i) => i.value.trim());
  const mark = () => {
    for (const button of nav.children) {
      const step = button.step, done = isFilled(step);
      button.setAttribute("aria-current", step === current ? "step" : "false");
      button.classList.toggle("done", done);
      button.classList.toggle("faulty", Boolean(one("[aria-invalid]", step)));
    }
  };
  // the rough titration is passed over
  const after = (step) => steps().slice(steps().indexOf(step) + 1).find((other) => other.tagName !== "DETAILS");
  const nextStep = document.createElement("button");
  nextStep.type = "button";
  nextStep.className = "next-step";
  nextStep.addEventListener("click", () => go(after(current), true));
  one(".bar", form).before(nextStep);
  const go = (step, focus) => {
    current = step;
    steps().forEach((other) => other.classList.toggle("away", other !== step));
    if (step.tagName === "DETAILS" && focus) step.open = true;
    one(".add", form).classList.toggle("away", step !== numbered().at(-1));
    const behind = after(step);
    nextStep.hidden = !behind;
    if (behind) nextStep.textContent = text("next", { step: behind.dataset.step });
    const first = focus && (inputs(step).find((i) => !i.value.trim()) || inputs(step)[0]);
    if (first) first.focus();
    mark();
  };
  const rebuild = () => {
    nav.replaceChildren(...steps().map((step) => {
      const button = document.createElement("button");
      button.type = "button";
      button.step = step;
      button.className = "quiet";
      button.textContent = step.dataset.short || step.dataset.step;
      button.setAttribute("aria-label", step.dataset.step);
      button.addEventListener("click", () => go(step, true));
      return button;
    }));
    mark();
  };

  // the next field: in this step or the next; refills and the rough titration are passed over unless they are open
  const reachable = () => inputs(form).filter((i) => !i.closest("details:not([open])"));
  const advance = (from) => {
    const fields = reachable(), next = fields[fields.indexOf(from) + 1];
    if (!next) return form.requestSubmit(one(".bar button", form));
    go(next.closest("[data-step]"), false);
    next.focus();
    if (next.select) next.select();
  };

  form.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.isComposing || event.target.tagName !== "INPUT") return;
    event.preventDefault();
    advance(event.target);
  });
  form.addEventListener("focusin", (event) => {
    const step = event.target.closest("[data-step]");
    if (step && step !== current) go(step, false);
  });
  // a reading half typed is not yet a reading
  form.addEventListener("input", () => { update(); save(); watch(1000); });
  form.addEventListener("change", () => watch(0));
  form.addEventListener("click", (event) => {
    const button = event.target.closest("button[name=action]");
    if (!button || event.detail === 0 && button.classList.contains("visually-hidden")) return;
    if (button.value === "add") {
      event.preventDefault();
      const fresh = addTrial();
      if (!fresh) return say("kept", text("most-trials"));
      rebuild();
      update();
      go(fresh, true);
      save();
    } else if (button.value.startsWith("hand-")) {
      event.preventDefault();
      clearTimeout(timer);
      ask(button.value);
    } else if (button.value.startsWith("carry:")) {
      event.preventDefault();
      const trial = button.closest(".trial"), end = lastEnd(one(`[data-trial="${trial.dataset.trial - 1}"]`, form));
      const start = field(`${trial.dataset.trial}.burette_start_mL`);
      if (end) start.value = end.value.trim();
      update();
      save();
      watch(0);
      if (end) advance(start); else start.focus();
    }
  });
  // a link to a field on a step that is away
  for (const link of all(".summary-errors a")) {
    link.addEventListener("click", (event) => {
      const target = document.getElementById(link.getAttribute("href").slice(1)), step = target && target.closest("[data-step]");
      if (!step) return;
      event.preventDefault();
      go(step, false);
      all("details", step).filter((part) => part.contains(target)).forEach((part) => { part.open = true; });
      target.focus();
    });
  }
  // looking it over needs the server: it is reached for first, so that a dead connection loses no page
  form.addEventListener("submit", (event) => {
    // a table that was pasted, or a file, is put into the form by the server
    if (event.submitter && event.submitter.value === "curve") return save();
    event.preventDefault();
    const lookOver = async () => {
      if (busy) return;
      busy = true;
      save();
      say("sending", text("sending"));
      try {
        await reach(`${root}healthz`, {});
        waiting = null;
        // the draft goes with the page that has a session
        if (shell) return location.assign(form.getAttribute("action"));
        const action = document.createElement("input");
        [action.type, action.name, action.value] = ["hidden", "action", "look"];
        form.append(action);
        submit();
      } catch { wait(lookOver, shell ? "then-opens" : "then-checked"); }
      busy = false;
    };
    lookOver();
  });
  addEventListener("storage", (event) => {
    if (event.key === name && event.newValue === null) {
      say("none", text("other-tab"));
    }
  });

  if ("anew" in form.dataset) {
    store.erase(name);
    history.replaceState(null, "", location.pathname);
  }
  // a page gone back to is older than the draft
  const [visit] = performance.getEntriesByType("navigation");
  if ("fresh" in form.dataset || (visit && visit.type === "back_forward")) restore(); else save();
  if (shell) {
    say("offline", text(Number(field("seen").value) && !store.read(name) ? "shell-before" : "shell"));
  }
  if (!shell) keepShell(form.getAttribute("action"));
  form.prepend(nav);
  form.classList.add("stepped");
  rebuild();
  update();
  const faulty = one("[aria-invalid]", form), wanted = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
  const start = (wanted && wanted.closest("[data-step]")) || (faulty && faulty.closest("[data-step]")) || steps().find((step) => step.tagName !== "DETAILS" && !isFilled(step)) || steps()[0];
  go(start, false);
})();
