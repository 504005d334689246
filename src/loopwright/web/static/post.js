// Talks to the server: one change at a time, in order; when there is no answer it says so and goes on trying.

import { morph } from "./morph.js";

const page = () => document.getElementById("page");
const waits = [1, 2, 4, 8, 15];
const queue = [];
let busy = false;

export function drawn(html) {
  const fresh = new DOMParser().parseFromString(html, "text/html");
  const wanted = fresh.getElementById("page");
  if (!wanted) return;
  document.title = fresh.title;
  morph(page(), wanted);
}

export async function show(address) {
  try {
    const answer = await fetch(address, { headers: { Accept: "text/html" } });
    if (!answer.ok) return trouble(await answer.text());
    drawn(await answer.text());
    history.replaceState(null, "", address);
    trouble("");
  } catch {
    trouble("The program does not answer. What is on this page is as it was; press again when it runs.");
  }
}

export function send(change, { waiting = () => {} } = {}) {
  return new Promise((settled) => {
    queue.push({ change: { ...change, mark: mark(), room: page().dataset.room }, waiting, settled });
    run();
  });
}

export const pending = () => queue.length > 0;

// A plain page has no secure context for randomUUID when it is served by name, so the mark is made by hand.
function mark() {
  const numbers = crypto.getRandomValues(new Uint32Array(4));
  return [...numbers].map((number) => number.toString(36)).join("-");
}

async function run() {
  if (busy) return;
  busy = true;
  while (queue.length) {
    const next = queue[0];
    const answer = await attempt(next);
    queue.shift();
    if (answer.page) drawn(answer.page);
    if (answer.elsewhere) elsewhere(answer.problems);
    next.settled(answer);
  }
  busy = false;
}

async function attempt({ change, waiting }) {
  for (let tries = 0; ; tries += 1) {
    try {
      const answer = await fetch("/edit", {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ ...change, query: location.search }),
      });
      if (answer.ok) {
        if (tries) trouble("");
        waiting("");
        return await answer.json();
      }
      if (answer.status < 500) {
        const words = answer.status === 422 ? "That entry is too long or of a kind this place does not take." : await answer.text();
        return { problems: [{ path: change.path || "", message: words }], page: "" };
      }
    } catch {
      // No answer at all: the program was stopped, or the way to it is cut.
    }
    const seconds = waits[Math.min(tries, waits.length - 1)];
    waiting(`not kept yet: the program does not answer; trying again in ${seconds} s`);
    trouble("The program does not answer. What you entered is kept on this page and sent again until it does.");
    await new Promise((go) => setTimeout(go, seconds * 1000));
  }
}

export function trouble(words) {
  const place = document.getElementById("trouble");
  place.textContent = words;
  place.hidden = !words;
}

function elsewhere(problems) {
  trouble(problems.map((problem) => problem.message).join(" ") + " ");
  const button = document.createElement("button");
  button.type = "button";
  button.dataset.do = "reload";
  button.textContent = "Read the file again";
  document.getElementById("trouble").append(button);
}

addEventListener("beforeunload", (event) => {
  if (pending()) event.preventDefault();
});

document.addEventListener("visibilitychange", async () => {
  if (document.hidden || pending()) return;
  try {
    const answer = await (await fetch("/revision")).json();
    if (String(answer.revision) !== page().dataset.revision) await show(location.pathname + location.search);
  } catch {
    // Said as soon as somebody changes something.
  }
});
