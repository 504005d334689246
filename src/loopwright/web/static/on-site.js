// The room On site: what is said is kept until the program has it, and drawn in place.

import { keeper } from "./kept.js";
import { drawn, pending, show, trouble } from "./post.js";
import { inWords, standBy } from "./without.js";

const visit = () => document.getElementById("visit")?.dataset.visit ?? "";
// Where what is said on this page goes: the keying plan keeps its ticks with the same visit, at an address of its own.
const here = () => document.getElementById("visit")?.dataset.to ?? "on-site";
const five = (circuit) => `./on-site${circuit ? `?circuit=${encodeURIComponent(circuit)}` : ""}`;
// Where the words of a refusal go, by the mark of what was sent.
const told = new Map();
const kept = keeper({
  name: "said",
  address: ({ to = "on-site" }) => to,
  body: () => ({ to: undefined, ago_ms: undefined, query: location.search, held: document.getElementById("page").dataset.drawn || "" }),
  answered(answer, change, left) {
    const place = told.get(change.mark);
    told.delete(change.mark);
    busyAt(place, false);
    if (answer.page && !left && (change.to ?? "on-site") === here()) drawn(answer.page);
    settle(place, answer.problems || []);
    unsent();
    if (["ask", "why"].includes(change.do) && !answer.problems?.length) lead();
  },
});
const { run, waiting } = kept;
const circuits = () => [...(document.getElementById("circuit")?.options || [])].filter(({ value }) => value).map(({ value }) => five(value));
// The plan of keys is its own room, and is not kept.
const unsent = here() === "on-site" ? standBy({ name: "on-site", parts: circuits, waiting }) : () => {};

function say(change, place) {
  busyAt(place, true);
  told.set(kept.say({ ...change, visit: visit(), to: here(), words: inWords(place, change) }), place);
  unsent();
}

function busyAt(place, is) {
  if (!place?.isConnected) return;
  if (is) place.setAttribute("aria-busy", "true");
  else place.removeAttribute("aria-busy");
}

// Who asks is led to the answer, which may stand several screens further down.
function lead() {
  const head = document.getElementById("answer-head");
  head?.focus({ preventScroll: true });
  head?.scrollIntoView({ block: "start" });
}

// A refusal stands where it was typed; what was taken empties a form that is for further ones, and shows what is kept in a box.
function settle(place, problems) {
  const words = problems.map((each) => each.message).join(" ");
  if (!place?.isConnected) return words && trouble(words);
  const near = place.closest("form")?.querySelector(".refused") || place.closest("p")?.nextElementSibling;
  const said = near?.matches?.(".refused[role]") ? near : null;
  if (words && !said) return trouble(words);
  if (said) Object.assign(said, { textContent: words, hidden: !words });
  if (place.matches("input[type=checkbox]")) place.checked = place.defaultChecked;
  if (!place.matches("form")) return undefined;
  const typed = place.querySelector("input:not([type=checkbox])");
  typed?.setAttribute("aria-invalid", words ? "true" : "false");
  if (typed?.id) refused.set(typed.id, words);
  if (!words && place.hasAttribute("data-empties")) place.reset();
  else if (!words) for (const field of place.querySelectorAll("input")) field.value = field.defaultValue;
  return undefined;
}

// What was refused stays said while it stands typed, though something else was taken meanwhile and the sheet drawn anew.
const refused = new Map();
document.addEventListener("drawn", () => {
  for (const [id, words] of refused) {
    const field = document.getElementById(id);
    if (!words || !field || field.value === field.dataset.stands) refused.delete(id);
    else Object.assign(field.closest("form").querySelector(".refused"), { textContent: words, hidden: false });
  }
});

// The change a form or a control stands for: what it was drawn with, and what was typed. "fields.reading" goes inside "fields".
function changeOf(element) {
  const change = JSON.parse(element.dataset.send);
  if (element.tagName !== "FORM") return change;
  for (const [name, text] of new FormData(element)) {
    if (name.startsWith("fields.")) change.fields = { ...change.fields, [name.slice(7)]: text };
    else change[name] = text;
  }
  return change;
}

function put(form) {
  const change = changeOf(form);
  // The same once more, as when Enter follows a change of the field, is one.
  const same = JSON.stringify(change);
  if (form.hasAttribute("aria-busy") && form.dataset.sent === same) return undefined;
  const typed = form.querySelector("[data-stands]");
  // What stands already is not sent; a refusal of what was typed before it goes.
  if (typed && typed.value === typed.dataset.stands && !form.querySelector("select[data-changed]")) return settle(form, []);
  form.dataset.sent = same;
  return say(change, form);
}

document.addEventListener("submit", (event) => {
  if (!event.target.dataset.send) return;
  event.preventDefault();
  put(event.target);
});

document.addEventListener("change", (event) => {
  const field = event.target;
  if (field.matches("[data-circuit]")) return show(`${five(field.value)}#five`);
  if (field.matches("[data-find-of]")) {
    const kept = { circuit: field.dataset.findOf, find: field.value };
    return show(`./on-site?${new URLSearchParams(Object.entries(kept).filter(([, text]) => text))}#where`);
  }
  if (field.matches('input[type="checkbox"][data-send]')) return say({ ...changeOf(field), on: field.checked }, field);
  if (field.matches("select[data-send]")) {
    if (field.value) say({ ...changeOf(field), [field.dataset.into]: field.value }, field);
    field.value = "";
    return undefined;
  }
  const form = field.closest("form.box");
  if (!form) return undefined;
  // A unit that is put right counts as typed where a number stands beside it.
  if (field.tagName === "SELECT") field.toggleAttribute("data-changed", true);
  const number = form.querySelector("input");
  if (number.value.trim() && !(form.hasAttribute("data-empties") && field.tagName === "SELECT")) put(form);
  return undefined;
});

// A step of a plan is drawn in place; the address holds how far one has got, so that a reload or a second telephone goes on from there.
document.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-find]");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  show(link.getAttribute("href"));
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.hasAttribute("data-over")) {
    const form = button.closest("form");
    const field = form.querySelector('input[name="fields.reading"]');
    field.value = "OL";
    if (form.matches(".box")) put(form);
  } else if (button.dataset.send) say(changeOf(button), button);
});

// What goes by itself is counted down from the moment it was worked out for; when it is over the list is asked for anew.
const words = (left) => (left >= 7200 ? `in ${Math.ceil(left / 3600)} h` : left >= 120 ? `in ${Math.floor(left / 60)} min ${left % 60} s` : `in ${left} s`);
function count() {
  let over = false;
  for (const each of document.querySelectorAll("time[data-until]")) {
    const left = Math.ceil((Date.parse(each.dataset.until) - Date.now()) / 1000);
    over ||= left <= 0;
    const text = left > 0 ? words(left) : "now";
    if (each.textContent !== text) each.textContent = text;
  }
  if (over && !pending() && !waiting().length && !document.hidden) again();
}

let asked = 0;
function again() {
  if (Date.now() - asked < 3000) return;
  asked = Date.now();
  show(location.pathname + location.search);
}

setInterval(count, 1000);
document.addEventListener("visibilitychange", () => !document.hidden && !waiting().length && again());
run();
