// The sheet is seen before its verdict is searched for: it is asked for once the sheet stands, and again until it is there.

import { drawn, pending } from "./post.js";

const AGAIN_MS = 3000;
const page = () => document.getElementById("page");
const waiting = () => document.querySelector("[data-searching]") !== null;
let asking = false;

async function ask() {
  if (asking || !waiting()) return;
  asking = true;
  const [address, stands] = [location.pathname + location.search, page().dataset.drawn];
  try {
    const answer = await fetch(`${address}${location.search ? "&" : "?"}verdict=now`, { headers: { Accept: "text/html", "Loopwright-Held": stands || "" } });
    const html = await answer.text();
    // What was drawn or changed meanwhile is newer; it is asked for the verdict on that.
    if (answer.ok && stands === page().dataset.drawn && address === location.pathname + location.search && !pending()) await drawn(html);
  } catch {
    // Said as soon as somebody changes something.
  } finally {
    asking = false;
    if (waiting()) setTimeout(ask, AGAIN_MS);
  }
}

document.addEventListener("drawn", ask);
// Once the sheet was painted.
requestAnimationFrame(() => setTimeout(ask));
