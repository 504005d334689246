// What others change: asked for every few seconds while the page is looked at, told in a line, and drawn when nobody is typing.

import { isDirty } from "./morph.js";
import { fresh, pending, stale, trouble } from "./post.js";

const EVERY_MS = 3000;
const TOLD_MS = 45000;
const page = () => document.getElementById("page");
const shown = () => Number(page().dataset.revision);
let known = shown();
let asking = false;
let shut = false;
let putAway = 0;

const typing = () => {
  const field = document.activeElement;
  const half = /^(INPUT|TEXTAREA|SELECT)$/.test(field?.tagName || "") && field.type !== "checkbox" && isDirty(field);
  return half || document.querySelector("dialog[open]") !== null || document.querySelector(".said-no") !== null;
};

function tell(words) {
  let line = document.getElementById("news");
  if (!line) {
    line = document.createElement("p");
    line.id = "news";
    line.className = "news";
    line.setAttribute("role", "status");
    line.setAttribute("data-ours", "");
    document.querySelector(".head").append(line);
  }
  line.textContent = words;
  clearTimeout(putAway);
  putAway = setTimeout(() => line.remove(), TOLD_MS);
}

const quiet = () => !pending() && !typing();

// Tells the page's own room how the program answers; 0 is not at all.
const answered = (status) => document.dispatchEvent(new CustomEvent("answered", { detail: status }));

export async function look() {
  if (asking || shut || document.hidden || pending()) return;
  asking = true;
  try {
    const reply = await fetch(`revision?since=${known}`);
    answered(reply.status);
    if (reply.status === 403) {
      shut = true;
      trouble(stale);
    } else if (reply.ok) {
      const answer = await reply.json();
      if (answer.news) tell(answer.news);
      const copied = document.getElementById("copied");
      if (copied) copied.textContent = answer.copied;
      known = answer.revision;
      const told = document.querySelector('#trouble [data-do="reload"]');
      if (!typing() && (answer.revision !== shown() || (answer.elsewhere && !told))) await fresh(quiet);
    }
  } catch {
    // Said as soon as somebody changes something.
    answered(0);
  } finally {
    asking = false;
  }
}

document.addEventListener("visibilitychange", look);
setInterval(look, EVERY_MS);
