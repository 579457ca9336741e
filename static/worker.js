// Opens the bench form where there is no connection: the empty form and its style, as bench.js has put them by. Nothing
// else is kept, and with a connection nothing comes from here.
"use strict";
addEventListener("install", () => skipWaiting());
addEventListener("activate", (event) => event.waitUntil(clients.claim()));
addEventListener("fetch", (event) => {
  const { request } = event, { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== location.origin) return;
  const wanted = request.mode === "navigate" ? /\/student\/experiments\/[^/]+\/(bench|hand-in)$/.test(pathname) && pathname.replace(/hand-in$/, "bench")
    : pathname.includes("/static/") && request.url;
  if (!wanted) return;
  event.respondWith(fetch(request).catch(async (why) => {
    const kept = await caches.match(wanted, { ignoreVary: true });
    if (!kept) throw why;
    return kept;
  }));
});
