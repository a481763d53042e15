// Keeps the shell of the page: its documents and static files, so that it opens at once and without a connection. Never an answer of
// the API: what the page shows of the servo always comes from the service, now, or the page says that there is no connection.
const VERSION = {{ version | tojson }};
const VIEWS = {{ views | tojson }};
const PAGE = "drive";
const FILES = {{ files | tojson }};

/** How long a page may be on its way before the kept one is shown: at the edge of the radio a request can hang for long. */
const PATIENCE_MS = 3000;

const SCOPE = self.registration.scope;
/** With the scope: another service may be under the same name with another path. */
const KEPT_HERE = `geartender ${SCOPE} `;
const CACHE = KEPT_HERE + VERSION;

self.addEventListener("install", (event) => event.waitUntil(keep()));
self.addEventListener("activate", (event) => event.waitUntil(forgetOlder()));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  if (request.method !== "GET" || !request.url.startsWith(SCOPE)) return;
  const name = request.url.slice(SCOPE.length).split(/[?#]/)[0];
  if (request.mode === "navigate" && VIEWS.includes(name)) event.respondWith(page(request));
  else if (FILES.includes(name)) event.respondWith(file(request));
});

/** One after another: the board has a servo to mind. */
async function keep() {
  const cache = await caches.open(CACHE);
  for (const name of [PAGE, ...FILES]) {
    const answer = await fetch(new URL(name, SCOPE));
    const right = answer.ok && (name !== PAGE || (answer.headers.get("ETag") ?? VERSION).includes(VERSION));
    if (!right) throw new Error(`${name} is not of this version`);
    await cache.put(new URL(name, SCOPE), answer);
  }
}

async function forgetOlder() {
  for (const name of await caches.keys()) {
    if (name.startsWith(KEPT_HERE) && name !== CACHE) await caches.delete(name);
  }
}

async function kept(name) {
  return (await caches.open(CACHE)).match(new URL(name, SCOPE), { ignoreVary: true });
}

/** The service's own page where it can be had, else the one that is kept. */
async function page(request) {
  const fresh = fetch(request).catch(() => kept(PAGE));
  const patience = new Promise((resolve) => setTimeout(resolve, PATIENCE_MS)).then(() => kept(PAGE));
  return (await Promise.race([fresh, patience])) ?? (await fresh) ?? Response.error();
}

/** The address of a static file names its content, so a kept one is as good as a new one. */
async function file(request) {
  return (await kept(request.url)) ?? fetch(request);
}
