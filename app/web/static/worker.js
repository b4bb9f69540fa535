// Keeps the house going while the connection is gone: opens the forms it knows, keeps what is sent,
// and sends it on in the order it was entered, each with the key it had, so that it is booked once.

const SLOW_MS = 10_000;
const FRESH_MS = 30 * 60_000;
const PAGES = "pages";
const FILES = "files";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (origin !== self.location.origin) return;
  const typed = request.headers.get("content-type")?.startsWith("application/x-www-form-urlencoded");
  if (request.method === "POST" && request.mode === "navigate" && typed) event.respondWith(send(request));
  else if (request.method !== "GET") return;
  else if (pathname.startsWith("/static/")) event.respondWith(file(request));
  else if (request.mode === "navigate") event.respondWith(page(request));
});

self.addEventListener("message", (event) => {
  const { keep, drop, forget } = event.data;
  event.waitUntil((async () => {
    if (forget) await caches.delete(PAGES);
    if (drop) await waiting((store) => store.delete(drop));
    if (keep) await keepPages(keep);
    await sendOn();
    await tell();
  })());
});

self.addEventListener("sync", (event) => event.waitUntil(sendOn().then(tell)));

// What is kept, in the order it was entered.

function opened() {
  return new Promise((done, fail) => {
    const asked = indexedDB.open("jutebook", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("waiting", { keyPath: "id", autoIncrement: true });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => fail(asked.error);
  });
}

async function waiting(act) {
  const base = await opened();
  try {
    return await new Promise((done, fail) => {
      const turn = base.transaction("waiting", "readwrite", { durability: "strict" });
      const asked = act(turn.objectStore("waiting"));
      turn.oncomplete = () => done(asked.result);
      turn.onerror = turn.onabort = () => fail(turn.error);
    });
  } finally {
    base.close();
  }
}

const all = () => waiting((store) => store.getAll());

async function tell() {
  const queue = (await all()).map(({ id, path, body, who, title, at, refused, foreign }) =>
    ({ id, path, body, who, title, at, refused, foreign }));
  for (const client of await self.clients.matchAll({ includeUncontrolled: true })) client.postMessage({ queue });
}

// Sending.

async function send(request) {
  const body = await request.clone().text();
  const fields = new URLSearchParams(body);
  if (!fields.has("_offline")) return fetch(request);
  // What this asks for books nothing, so it is no use to anybody later: the form opens again.
  if (fields.has("_ask")) {
    return fetch(request).catch(() => Response.redirect(new URL(request.url).pathname, 303));
  }
  const before = (await all()).filter((each) => !each.refused);
  if (before.length) await sendOn();
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(SLOW_MS) });
    if (answer.type === "opaqueredirect" || answer.redirected || answer.ok) await done(fields.get("_key"));
    return answer;
  } catch {
    await waiting((store) => store.add({
      path: new URL(request.url).pathname, body, key: fields.get("_key"), who: fields.get("_who"),
      title: fields.get("_offline"), at: Date.now(),
    }));
    await self.registration.sync?.register("send").catch(() => {});
    return Response.redirect(new URL(request.url).pathname, 303);
  }
}

async function done(key) {
  for (const each of await all()) if (each.key === key) await waiting((store) => store.delete(each.id));
}

// One after the other; what is refused stops what came after it until somebody corrects or drops it.
function sendOn() {
  return navigator.locks.request("send", async () => {
    const queue = await all();
    if (!queue.length || queue[0].refused) return;
    try {
      const { who, token } = await ask("/whoami");
      for (const each of queue) {
        if (each.who !== who) {
          await waiting((store) => store.put({ ...each, foreign: true }));
          return;
        }
        const fields = new URLSearchParams(each.body);
        fields.set("_token", token);
        const answer = await fetch(each.path, {
          method: "POST", body: fields, redirect: "error",
          headers: { Accept: "application/json" }, signal: AbortSignal.timeout(SLOW_MS),
        });
        if (answer.ok) await waiting((store) => store.delete(each.id));
        else if (answer.status === 429 || answer.status >= 500) return;
        else {
          const problem = await answer.json();
          if (problem.type !== "/problems/request-in-flight") {
            await waiting((store) => store.put({ ...each, foreign: false, refused: problem.detail }));
          }
          return;
        }
      }
    } catch { /* still no connection, or nobody is signed in: the next page tries again */ }
  });
}

async function ask(path) {
  const answer = await fetch(path, { headers: { Accept: "application/json" }, signal: AbortSignal.timeout(SLOW_MS) });
  if (!answer.ok) throw new Error(answer.statusText);
  return answer.json();
}

// Pages and files.

async function file(request) {
  const kept = await caches.open(FILES);
  const known = await kept.match(request);
  if (known) return known;
  const answer = await fetch(request);
  if (answer.ok) {
    const seal = new URL(request.url).pathname.split("/")[2];
    for (const old of await kept.keys()) if (!old.url.includes(`/static/${seal}/`)) await kept.delete(old);
    await kept.put(request, answer.clone());
  }
  return answer;
}

async function page(request) {
  const kept = await caches.open(PAGES);
  const { pathname } = new URL(request.url);
  const known = (await kept.match(pathname)) ?? (await kept.match("/offline"));
  if (!known) return fetch(request);
  try {
    return await fetch(request, { signal: AbortSignal.timeout(SLOW_MS) });
  } catch {
    return fresh(known);
  }
}

// A kept page is a form nobody has filled in: each time it is opened it is a new one.
async function fresh(known) {
  const text = (await known.text()).replace(
    /(name="_key" value=")[^"]*/g, (_, before) => before + crypto.randomUUID(),
  ).replace(/(data-opened value=")[^"]*/g, (_, before) => before + localMinute());
  return new Response(text, { headers: known.headers });
}

function localMinute() {
  const now = new Date();
  return new Date(now - now.getTimezoneOffset() * 60_000).toISOString().slice(0, 16);
}

async function keepPages(paths) {
  const kept = await caches.open(PAGES);
  for (const path of paths) {
    const before = await kept.match(path);
    if (before && Date.now() - Date.parse(before.headers.get("date")) < FRESH_MS) continue;
    const answer = await fetch(path, { headers: { Accept: "text/html", Purpose: "keep" }, redirect: "error" }).catch(() => null);
    if (answer?.ok) await kept.put(path, answer);
  }
}
