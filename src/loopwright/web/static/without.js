// A room that can be opened again where the program cannot be reached: its parts and files as they are now, and what to say of it meanwhile.
// Needs HTTPS or this machine.

import { look } from "./news.js";

const AGAIN_MS = 300000;
const OURS = "loopwright ";
const [MOST_NAMED, REFUSED] = [12, [401, 403]];

// ``parts`` gives the addresses the room is looked at by, ``waiting`` what was said and is not sent; returns what says both anew.
export function standBy({ name, parts, waiting }) {
  const room = new URL(name, location.href);
  const [kept, mark] = [OURS + room.href, `${room.href}/seen`];
  let [away, seen, busy] = [false, 0, false];

  async function keep() {
    if (busy || Date.now() - seen < AGAIN_MS || !navigator.serviceWorker || !window.caches) return;
    busy = true;
    try {
      await navigator.serviceWorker.register(new URL("away.js", room), { scope: room.pathname });
      const cache = await caches.open(kept);
      const files = performance.getEntriesByType("resource").map((each) => each.name);
      const wanted = [...new Set(files)].filter((url) => url.startsWith(`${location.origin}/static/`));
      for (const url of wanted) if (!(await cache.match(url))) await put(cache, url);
      const pages = [location.href, room.href, ...parts().map((each) => new URL(each, room).href)];
      for (const url of new Set(pages.map((each) => each.split("#")[0]))) await put(cache, url);
      seen = Date.now();
      await cache.put(mark, new Response(String(seen)));
    } catch {
      // No room left in the browser, or a certificate it does not take: the page stays usable while it is open.
    } finally {
      setTimeout(() => (busy = false), AGAIN_MS / 10);
    }
  }

  function tell() {
    const place = document.getElementById("unsent");
    if (!place) return;
    const left = waiting();
    const named = left.slice(-MOST_NAMED).map((each) => each.words).filter(Boolean);
    const said = left.length ? `${left.length} kept here, not sent yet${named.length ? `: ${named.join("; ")}` : ""}.` : "";
    const at = seen ? new Date(seen).toTimeString().slice(0, 5) : "the last answer";
    const stood = away ? `The program cannot be reached; this is how it stood at ${at}. What you say is kept here.` : "";
    place.textContent = [stood, said].filter(Boolean).join(" ");
  }

  document.addEventListener("answered", ({ detail }) => {
    if (REFUSED.includes(detail)) {
      seen = 0;
      forget();
    } else if (detail && !waiting().length) keep();
    if (away === !detail) return;
    away = !detail;
    tell();
  });
  document.addEventListener("drawn", tell);
  lastSeen(kept, mark).then((at) => {
    seen = at;
    tell();
  });
  look();
  return tell;
}

// When the room was last seen whole.
async function lastSeen(kept, mark) {
  try {
    return (await caches.has(kept)) ? Number(await (await (await caches.open(kept)).match(mark))?.text()) || 0 : 0;
  } catch {
    return 0;
  }
}

// Who is not let in any more has none of the rooms lying here.
async function forget() {
  for (const each of (await window.caches?.keys()) || []) if (each.startsWith(OURS)) await caches.delete(each);
}

async function put(cache, url) {
  // Nobody pressed anything for it: it keeps no sign-in alive.
  const answer = await fetch(url, { headers: { Accept: "text/html", "Loopwright-By-Itself": "yes" } });
  if (answer.ok && !answer.redirected) await cache.put(url, answer);
}

const LONGEST_WORDS = 120;

// What is said, in a line: what stands beside the field or the button, and what was typed or pressed.
export function inWords(place, change) {
  const of = place.querySelector("[aria-label]")?.getAttribute("aria-label") || place.getAttribute("aria-label") || place.closest("[aria-label]")?.getAttribute("aria-label") || "";
  const what = change.text || change.answer || Object.values(change.fields || {}).filter(Boolean).join(", ") || place.textContent.trim();
  return `${of}${of && " – "}${what}`.slice(0, LONGEST_WORDS);
}
