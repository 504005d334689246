// What was said and is not answered yet is kept in this browser until the program has it: a reload or a lost network neither loses nor doubles it.

import { trouble, wayIn } from "./post.js";
import { carried, carry, dropped } from "./carried.js";

const waits = [1, 2, 4, 8, 15];
// Longer ago than this the program does not believe.
const LONGEST_AGO_MS = 14 * 86400000;
const TOO_MUCH = 413;

// ``address`` says where a change is posted, ``body`` what is sent of it now, ``answered`` what is done with an answer and what was said.
export function keeper({ name, address, body, answered }) {
  const held = `${name}:${new URL(".", location.href).pathname}`;
  let busy = false;
  // Where a browser keeps nothing, or no more, it lives as long as the page.
  let only = null;

  // Oldest first.
  function waiting() {
    if (only) return only;
    try {
      return JSON.parse(localStorage.getItem(held) || "[]");
    } catch {
      return [];
    }
  }

  function keep(list) {
    try {
      if (list.length) localStorage.setItem(held, JSON.stringify(list));
      else localStorage.removeItem(held);
      only = null;
    } catch {
      only = list;
    }
  }

  const mark = () => [...crypto.getRandomValues(new Uint32Array(4))].map((number) => number.toString(36)).join("-");

  function say(change) {
    const made = { ...change, mark: mark(), said: Date.now() };
    keep([...waiting(), made]);
    run();
    return made.mark;
  }

  // What is too long to stand among the rest lies beside it, and is there before the change speaks of it.
  async function sayWith(change, field, text) {
    const made = { ...change, mark: mark(), said: Date.now(), carries: field };
    await carry(made.mark, text);
    keep([...waiting(), made]);
    run();
    return made.mark;
  }

  async function run() {
    if (busy) return;
    busy = true;
    try {
      for (let next = waiting()[0]; next; next = waiting()[0]) {
        const answer = await attempt(next);
        keep(waiting().filter((each) => each.mark !== next.mark));
        if (next.carries) await dropped(next.mark);
        answered(answer, next, waiting().length);
      }
    } finally {
      busy = false;
    }
  }

  async function sent(change) {
    const { said, carries, words, ...rest } = change;
    const more = carries ? { [carries]: await carried(change.mark) } : {};
    return JSON.stringify({ ...rest, ...more, ago_ms: Math.min(Math.max(0, Date.now() - said), LONGEST_AGO_MS), ...body(change) });
  }

  async function attempt(change) {
    for (let tries = 0; ; tries += 1) {
      let [why, ways] = ["The program does not answer.", []];
      try {
        const answer = await fetch(address(change), { method: "POST", headers: { "Content-Type": "application/json" }, body: await sent(change) });
        const json = answer.headers.get("Content-Type")?.startsWith("application/json") ? await answer.json() : null;
        if (json?.problems || answer.status === TOO_MUCH) {
          if (tries) trouble("");
          return json || { problems: [{ path: "", message: await answer.text() }] };
        }
        // Who is not let in, or has to wait, has said it all the same.
        if (!json && answer.status < 500) why = (await answer.text()).trim();
        if (answer.status === 401) ways = [wayIn()];
      } catch {
        // No answer at all: the network is lost, or the program was stopped.
      }
      const seconds = waits[Math.min(tries, waits.length - 1)];
      const place = only ? "on this page alone: leave it open" : "on this telephone or computer";
      trouble(`${why} What you said (${waiting().length}) is kept ${place} and sent again until it is taken; next try in ${seconds} s. `, ways);
      await new Promise((go) => {
        setTimeout(go, seconds * 1000);
        addEventListener("online", go, { once: true });
      });
    }
  }

  addEventListener("beforeunload", (event) => {
    if (only?.length) event.preventDefault();
  });
  return { say, sayWith, run, waiting };
}
