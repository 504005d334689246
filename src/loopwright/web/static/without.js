// What a room needs to be opened again where the program cannot be reached: its worker, its parts and files as they are now. Needs HTTPS or this machine.

const AGAIN_MS = 300000;
const room = new URL("prove", location.href);
const KEPT = `loopwright ${room.href}`;
const SEEN = `seen:${room.pathname}`;
let busy = false;

export async function standBy() {
  if (busy || !navigator.serviceWorker || !window.caches) return;
  busy = true;
  try {
    if (Date.now() - Number(localStorage.getItem(SEEN)) < AGAIN_MS && (await caches.has(KEPT))) return;
    await navigator.serviceWorker.register(`${room.pathname}/away.js`, { scope: room.pathname });
    const cache = await caches.open(KEPT);
    const files = performance.getEntriesByType("resource").map((each) => each.name);
    const wanted = [...new Set(files)].filter((url) => url.startsWith(`${location.origin}/static/`));
    for (const url of wanted) if (!(await cache.match(url))) await put(cache, url);
    const parts = [...document.querySelectorAll("a[data-part]")].map((link) => link.href);
    for (const url of new Set([location.href.split("#")[0], room.href, ...parts])) await put(cache, url);
    localStorage.setItem(SEEN, String(Date.now()));
  } catch {
    // No room left in the browser, or a certificate it does not take: the page stays usable while it is open.
  } finally {
    setTimeout(() => (busy = false), AGAIN_MS / 10);
  }
}

async function put(cache, url) {
  const answer = await fetch(url, { headers: { Accept: "text/html" } });
  if (answer.ok && !answer.redirected) await cache.put(url, answer);
}

// When the room was last seen whole, for who looks at it without the program.
export function seen() {
  try {
    const at = Number(localStorage.getItem(SEEN));
    return at ? new Date(at).toTimeString().slice(0, 5) : "";
  } catch {
    return "";
  }
}
