// What was said and is not answered yet is kept in this browser until the program has it: a reload or a lost network neither loses nor doubles it.

import { trouble } from "./post.js";

const waits = [1, 2, 4, 8, 15];

// ``address`` is where it is posted, ``body`` what is sent of a change now, ``answered`` what is done with an answer and what was said.
export function keeper({ name, address, body, answered }) {
  const held = `${name}:${new URL(".", location.href).pathname}`;
  let busy = false;
  let only = [];

  // Oldest first. Where a browser keeps nothing, it lives as long as the page.
  function waiting() {
    try {
      return JSON.parse(localStorage.getItem(held) || "[]");
    } catch {
      return only;
    }
  }

  function keep(list) {
    only = list;
    try {
      if (list.length) localStorage.setItem(held, JSON.stringify(list));
      else localStorage.removeItem(held);
    } catch {
      // A private window: see above.
    }
    document.dispatchEvent(new CustomEvent("kept", { detail: list.length }));
  }

  const mark = () => [...crypto.getRandomValues(new Uint32Array(4))].map((number) => number.toString(36)).join("-");

  function say(change) {
    const made = { ...change, mark: mark(), said: Date.now() };
    keep([...waiting(), made]);
    run();
    return made.mark;
  }

  async function run() {
    if (busy) return;
    busy = true;
    for (let next = waiting()[0]; next; next = waiting()[0]) {
      const answer = await attempt(next);
      keep(waiting().filter((each) => each.mark !== next.mark));
      answered(answer, next, waiting().length);
    }
    busy = false;
  }

  async function attempt(change) {
    for (let tries = 0; ; tries += 1) {
      try {
        const { said, ...rest } = change;
        const made = JSON.stringify({ ...rest, ago_ms: Math.max(0, Date.now() - said), ...body() });
        const answer = await fetch(address, { method: "POST", headers: { "Content-Type": "application/json" }, body: made });
        if (answer.status < 500) {
          if (tries) trouble("");
          const json = answer.headers.get("Content-Type")?.startsWith("application/json");
          return json ? await answer.json() : { problems: [{ path: "", message: await answer.text() }] };
        }
      } catch {
        // No answer at all: the network is lost, or the program was stopped.
      }
      const seconds = waits[Math.min(tries, waits.length - 1)];
      trouble(`The program does not answer. What you said (${waiting().length}) is kept on this telephone or computer and sent again until it does; next try in ${seconds} s.`);
      await new Promise((go) => {
        setTimeout(go, seconds * 1000);
        addEventListener("online", go, { once: true });
      });
    }
  }

  addEventListener("beforeunload", (event) => {
    if (!only.length) return;
    try {
      if (localStorage.getItem(held)) return;
    } catch {
      event.preventDefault();
    }
  });
  return { say, run, waiting };
}
