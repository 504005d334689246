// Talks to the server: one change at a time, in order; when there is no answer it says so and goes on trying.

import { bring, morph } from "./morph.js";

const page = () => document.getElementById("page");
// What another has done since the revision this page shows is not written over.
const shown = () => Number(page().dataset.revision);
const waits = [1, 2, 4, 8, 15];
const queue = [];
let busy = false;

export const stale = "The program was started anew since this sheet was opened. Open the address it printed this time, in the window where it runs; what you entered stays in this tab.";

// Why the program does not do what is asked, in its own words where it knows who asks; who is signed out is shown the way in.
async function refused(answer) {
  if (answer.headers.get("Content-Type")?.startsWith("application/json")) return trouble((await answer.json()).problems.map((each) => each.message).join(" "));
  if (answer.status !== 401) return trouble(answer.status === 403 ? stale : await answer.text());
  trouble(`${await answer.text()} `, [wayIn()]);
}

export function wayIn() {
  const way = document.createElement("a");
  way.href = `/sign-in?then=${encodeURIComponent(location.pathname + location.search)}`;
  way.textContent = "Sign in";
  return way;
}

// How often this page was brought up to date.
let drawings = 0;

export function drawn(html) {
  drawings += 1;
  const fresh = new DOMParser().parseFromString(html, "text/html");
  const wanted = fresh.getElementById("page");
  if (!wanted) return undefined;
  return verdictFirst(wanted, () => {
    if (!bring(page(), wanted)) return whole();
    document.title = fresh.title;
    document.dispatchEvent(new CustomEvent("drawn"));
    standing();
    return undefined;
  });
}

// What the rehearsal says of an edit is painted before the rest of the sheet is gone through; a newer sheet may overtake that.
function verdictFirst(wanted, rest) {
  const [stands, says] = [document.getElementById("verdict"), wanted.querySelector("#verdict")];
  if (!stands || !says || stands.isEqualNode(says)) return rest();
  morph(stands, says.cloneNode(true));
  return new Promise((go) => setTimeout(go, 20)).then(() => (Number(wanted.dataset.revision) < shown() ? undefined : rest()));
}

// The page does not hold what an answer left out: the room is asked for again, all of it.
async function whole() {
  delete page().dataset.drawn;
  await show(location.pathname + location.search);
}

// The drawing this page holds: what is the same in the next is not sent again.
const held = () => page().dataset.drawn || "";

// Draws the page as it is now, if nothing was drawn, said or opened while the answer was on its way: that is newer.
export async function fresh(quiet) {
  const [address, before] = [location.pathname + location.search, drawings];
  const answer = await fetch(address, { headers: { Accept: "text/html", "Loopwright-Held": held() } });
  const html = await answer.text();
  if (answer.ok && before === drawings && address === location.pathname + location.search && quiet()) drawn(html);
}

export async function show(address) {
  try {
    const answer = await fetch(address, { headers: { Accept: "text/html", "Loopwright-Held": held() } });
    if (!answer.ok) return refused(answer);
    await drawn(await answer.text());
    history.replaceState(null, "", address);
  } catch {
    trouble("The program does not answer. What is on this page is as it was; press again when it runs.");
  }
}

// A change may hold functions: they are asked when its turn comes, since the change before may have drawn the page anew.
export function send(change, { waiting = () => {} } = {}) {
  return new Promise((settled) => {
    queue.push({ change: { revision: shown, ...change, mark: mark(), room: page().dataset.room }, waiting, settled });
    run();
  });
}

const asked = (change) => Object.fromEntries(Object.entries(change).map(([name, value]) => [name, typeof value === "function" ? value() : value]));

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
    next.change = asked(next.change);
    const answer = await attempt(next);
    queue.shift();
    if (answer.page) {
      await drawn(answer.page);
      if (!answer.problems.length) {
        trouble("");
        tell(next.change.do);
      }
    }
    if (answer.elsewhere) elsewhere(answer.problems);
    next.settled(answer);
  }
  busy = false;
}

async function attempt({ change, waiting }) {
  for (let tries = 0; ; tries += 1) {
    try {
      const answer = await fetch("edit", {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ ...change, query: location.search, held: held() }),
      });
      if (answer.ok) {
        if (tries) trouble("");
        waiting("");
        return await answer.json();
      }
      if (answer.status < 500) {
        if (answer.status === 401 || answer.status === 403) {
          await refused(answer);
          return { problems: [{ path: change.path || "", message: "not kept" }], page: "", told: true };
        }
        if (answer.status === 422) return { ...(await answer.json()), page: "" };
        return { problems: [{ path: change.path || "", message: await answer.text() }], page: "" };
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

// What is plain to see is told to who does not see it: what was done, and how the job stands by it.
function tell(what) {
  const step = document.querySelector(`[data-do="${what === "undo" ? "redo" : "undo"}"]`)?.title.replace(/^[^:]*: /, "") || "";
  const done = { undo: "Undone", redo: "Done again" }[what] || "Kept";
  const stands = document.querySelector("#rooms .stand")?.textContent;
  document.getElementById("told").textContent = `${done}${step && `: ${step}`}. ${stands ? `Findings: ${stands}.` : ""}`;
}

export function trouble(words, ways = []) {
  const place = document.getElementById("trouble");
  const wanted = words ? [document.createTextNode(words), ...ways, button("Put away", "data-away")] : [];
  const stands = [...place.childNodes];
  // The press that leaves a cell sends its entry again: a link that is under the finger by then stays the one it was.
  const same = stands.length === wanted.length && wanted.every((each, at) => at === 0 || each.isEqualNode(stands[at]));
  if (!same) place.replaceChildren(...wanted);
  else if (words && stands[0].data !== words) stands[0].data = words;
  place.hidden = !words;
  standing();
}

export function button(words, name, value = "") {
  const made = document.createElement("button");
  made.type = "button";
  made.setAttribute(name, value);
  made.textContent = words;
  return made;
}

function elsewhere(problems) {
  trouble(problems.map((problem) => problem.message).join(" ") + " ", [button("Read the file again", "data-do", "reload")]);
}

// The header never says that all is kept while something on the page is not.
export function standing() {
  const place = document.getElementById("kept");
  const open = !document.getElementById("trouble").hidden || document.querySelector('[aria-invalid="true"], [aria-busy="true"]');
  const words = open ? "not everything here is kept" : place.dataset.words;
  if (place.textContent !== words) place.textContent = words;
}

addEventListener("beforeunload", (event) => {
  if (pending()) event.preventDefault();
});
