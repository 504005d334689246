// The worker of a room that is used where the program cannot be reached: while it can, it is asked; else the room stands as it was seen last.

const KEPT = `loopwright ${registration.scope}`;
const ROOM = new URL(registration.scope).pathname;
const SEEN = `${registration.scope}/seen`;
// No longer than somebody is let in without giving the password again.
const LONGEST_MS = 12 * 3600000;

addEventListener("install", () => skipWaiting());
addEventListener("activate", (event) => event.waitUntil(clients.claim()));

addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== location.origin) return;
  if (pathname === ROOM) event.respondWith(room(request));
  else if (pathname.startsWith("/static/")) event.respondWith(file(request));
});

// A part that was never seen is answered with another of the same room, which leads on; what is answered in pieces is not kept.
async function room(request) {
  try {
    const answer = await fetch(request);
    if (answer.status === 401 || answer.status === 403 || answer.type === "opaqueredirect") await caches.delete(KEPT);
    else if (answer.ok && !answer.redirected && !request.headers.has("Loopwright-Held")) await keep(request.url, answer.clone());
    return answer;
  } catch (error) {
    if (await isOld()) await caches.delete(KEPT);
    const cache = await caches.open(KEPT);
    const found = (await cache.match(request.url)) || (await cache.match(request.url, { ignoreSearch: true }));
    if (found) return found;
    throw error;
  }
}

async function isOld() {
  const seen = await (await caches.open(KEPT)).match(SEEN);
  return Boolean(seen) && Date.now() - Number(await seen.text()) > LONGEST_MS;
}

// A file asked for with the mark of its content never changes; another is asked for while there is somebody to ask.
async function file(request) {
  const cache = await caches.open(KEPT);
  const marked = new URL(request.url).searchParams.has("v");
  const found = marked && (await cache.match(request.url));
  if (found) return found;
  try {
    const answer = await fetch(request);
    if (answer.ok) await keep(request.url, answer.clone());
    return answer;
  } catch (error) {
    const older = await cache.match(request.url, { ignoreSearch: true });
    if (older) return older;
    throw error;
  }
}

async function keep(url, answer) {
  const cache = await caches.open(KEPT);
  if (url.includes("/static/")) await cache.delete(url, { ignoreSearch: true });
  await cache.put(url, answer);
}
