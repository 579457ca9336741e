// Draws the board anew when the server says that something is new. Without this file the page loads itself every ten seconds.
"use strict";
(() => {
  const board = document.querySelector("[data-live]"), lost = document.querySelector("[data-lost]");
  if (!board || !window.EventSource) return;
  const source = new EventSource(board.dataset.live);
  source.addEventListener("message", (event) => {
    lost.hidden = true;
    // whoever is on a button stays there
    const on = document.activeElement, label = board.contains(on) && (on.getAttribute("aria-label") || on.textContent);
    board.innerHTML = event.data;
    const same = label && [...board.querySelectorAll("a, button")].find((one) => (one.getAttribute("aria-label") || one.textContent) === label);
    if (same) same.focus();
  });
  source.addEventListener("error", () => {
    lost.hidden = false;
    lost.textContent = "No connection. What you see may be old; it goes on by itself when the connection is back.";
    // a browser does not ask again after an answer that is no stream, such as that of a session that has ended
    if (source.readyState === EventSource.CLOSED) setTimeout(() => location.reload(), 5000);
  });
})();
