// The Desk. One thing at a time is said; an answer that is lost is asked for again with the same mark, so that it counts once.

import { morph } from "./morph.js";

const waits = [1, 2, 4, 8, 15];
const desk = () => document.getElementById("desk");
const mark = () => [...crypto.getRandomValues(new Uint32Array(4))].map((number) => number.toString(36)).join("-");
let busy = false;

function trouble(words) {
  const place = document.getElementById("trouble");
  place.textContent = words;
  place.hidden = !words;
}

async function say(change, place) {
  if (busy) return;
  busy = true;
  place?.setAttribute("aria-busy", "true");
  try {
    const answer = await attempt({ ...change, case: desk().dataset.case, mark: mark() });
    place?.removeAttribute("aria-busy");
    const words = (answer.problems || []).map((each) => each.message).join(" ");
    // What was refused for no field of the page's was said in another window, or too late: the page is drawn as things stand.
    const field = answer.problems?.[0]?.path;
    if (answer.page && !field) drawn(answer);
    if (words) refuse(words, field, field ? place : null);
  } finally {
    place?.removeAttribute("aria-busy");
    busy = false;
  }
}

async function attempt(change) {
  for (let tries = 0; ; tries += 1) {
    try {
      const answer = await fetch("desk", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(change) });
      if (answer.status < 500) {
        if (tries) trouble("");
        const json = answer.headers.get("Content-Type")?.startsWith("application/json");
        return json ? await answer.json() : { problems: [{ path: "", message: await answer.text() }] };
      }
    } catch {
      // No answer at all: the network is lost, or the program was stopped.
    }
    const seconds = waits[Math.min(tries, waits.length - 1)];
    trouble(`The program does not answer. What you said last is sent again until it does; next try in ${seconds} s.`);
    await new Promise((go) => setTimeout(go, seconds * 1000));
  }
}

function drawn({ page, case: name }) {
  const fresh = new DOMParser().parseFromString(page, "text/html").getElementById("desk");
  if (!fresh) return;
  const before = document.getElementById("now")?.textContent;
  const other = desk().dataset.case !== name;
  morph(desk(), fresh);
  for (const field of desk().querySelectorAll("form[data-send] input")) if (!field.closest("[data-caller]")) field.value = field.defaultValue;
  if (name) history.replaceState(null, "", `?case=${encodeURIComponent(name)}`);
  if (other || document.getElementById("now")?.textContent !== before) lead();
}

// Where the next answer is given: the field to type in, else the question itself, whose keys then count.
function lead() {
  const asked = document.getElementById("asked");
  if (!asked) return;
  const field = innerWidth > 940 ? asked.querySelector("[data-caller] input, .number input, .number select") : null;
  (field || asked).focus({ preventScroll: true });
  asked.scrollIntoView({ block: "nearest" });
}

function refuse(words, path, place) {
  const form = place?.closest("form");
  const near = form?.querySelector(".refused") || document.getElementById("desk-said");
  Object.assign(near, { textContent: words, hidden: false });
  const field = form?.querySelector(`[name="fields.${path}"]`) || form?.querySelector(`[name="${path}"]`);
  field?.setAttribute("aria-invalid", "true");
  field?.focus();
  if (!form) near.scrollIntoView({ block: "nearest" });
}

function clear() {
  for (const each of desk().querySelectorAll(".refused[role]")) each.hidden = true;
  for (const each of desk().querySelectorAll("[aria-invalid]")) each.removeAttribute("aria-invalid");
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!form.dataset.send) return;
  event.preventDefault();
  clear();
  const change = JSON.parse(form.dataset.send);
  for (const [name, text] of new FormData(form)) {
    if (name.startsWith("fields.")) change.fields = { ...change.fields, [name.slice(7)]: text };
    else change[name] = text;
  }
  if (event.submitter?.name) change[event.submitter.name] = event.submitter.value;
  say(change, form);
});

document.addEventListener("change", (event) => {
  const field = event.target;
  if (field.matches("#desk select[data-send]")) say({ ...JSON.parse(field.dataset.send), answer: field.value }, field);
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("#desk button");
  if (button?.dataset.send) {
    clear();
    say(JSON.parse(button.dataset.send), button);
  } else if (button?.hasAttribute("data-compare-now")) compare();
});

// What the caller says goes to the program and out of the page at once; what comes back is yes or no.
async function compare() {
  const word = desk().querySelector("[data-word]");
  const told = desk().querySelector("[data-compared]");
  const body = JSON.stringify({ case: desk().dataset.case, name: desk().querySelector("[data-which]").value, word: word.value });
  word.value = "";
  try {
    const answer = await fetch("desk/compare", { method: "POST", headers: { "Content-Type": "application/json" }, body });
    const json = await answer.json();
    told.textContent = json.problem || (json.right ? "It is right: press Pass-word right." : "It is wrong. Say only that it does not fit.");
    if (json.right) desk().querySelector('[data-key="p"]').focus();
  } catch {
    told.textContent = "The program does not answer. Compare again when it does.";
  }
}

// A key answers only while the question has the focus, and never what is typed into a field.
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing) return;
  if (!event.target.closest?.("#asked") || event.target.closest("input, select, textarea, [contenteditable]")) return;
  const wanted = [...document.querySelectorAll("#asked [data-key]")].find((each) => each.dataset.key === event.key.toLowerCase());
  if (!wanted) return;
  event.preventDefault();
  wanted.click();
});

if (desk()?.dataset.case) lead();
