// The room Prove: what is said is kept until the program has it; what arrives is asked for and drawn as it comes, and may be heard.

import { keeper } from "./kept.js";
import { photographed } from "./photo.js";
import { inWords, standBy } from "./without.js";
import { drawn, fresh, pending, show, trouble } from "./post.js";

const SOUND = "proving-sound";
const sheet = () => document.getElementById("proving");
const told = new Map();
const { say, sayWith, run, waiting } = keeper({
  name: "proved",
  address: () => "prove",
  body: () => ({ query: location.search, held: document.getElementById("page").dataset.drawn || "" }),
  answered(answer, change, left) {
    const place = told.get(change.mark);
    told.delete(change.mark);
    busyAt(place, false);
    if (answer.page && !left) drawn(answer.page);
    settle(place, answer.problems || []);
    unsent();
  },
});
const unsent = standBy({ name: "prove", parts: () => [...document.querySelectorAll("a[data-part]")].map((link) => link.getAttribute("href")), waiting });

function busyAt(place, is) {
  if (!place?.isConnected) return;
  if (is) place.setAttribute("aria-busy", "true");
  else place.removeAttribute("aria-busy");
}

// A refusal stands where it was typed until that is put right, whatever is drawn meanwhile; what was taken shows what is kept.
function settle(place, problems) {
  const words = problems.map((each) => each.message).join(" ");
  if (!place?.isConnected) return words && trouble(words);
  const block = place.closest("form, .sayable");
  block?.querySelector(".refused[data-ours]")?.remove();
  const near = block?.querySelector(".refused");
  if (words && !near) return trouble(words);
  if (words) {
    const said = document.createElement("p");
    Object.assign(said, { className: "refused", textContent: words, role: "alert" });
    said.setAttribute("data-ours", "");
    near.after(said);
  }
  if (!place.matches("form")) return undefined;
  for (const field of place.querySelectorAll("input, select")) field.setAttribute("aria-invalid", words && problems[0].path === field.name.replace("fields.", "") ? "true" : "false");
  if (!words && place.hasAttribute("data-empties")) place.reset();
  else if (!words) for (const field of place.querySelectorAll("input:not([type=checkbox])")) field.value = field.defaultValue;
  return undefined;
}

// What a form or a button stands for: what it was drawn with, and what was typed.
function changeOf(element) {
  const change = JSON.parse(element.dataset.send);
  if (element.tagName !== "FORM") return change;
  for (const [name, text] of new FormData(element)) {
    if (name.startsWith("fields.")) change.fields = { ...change.fields, [name.slice(7)]: text };
    else if (element.elements[name].type === "checkbox") change[name] = true;
    else change[name] = text;
  }
  return change;
}

function put(place, more = {}) {
  const change = { ...changeOf(place), ...more };
  const same = JSON.stringify(change);
  if (place.hasAttribute("aria-busy") && place.dataset.sent === same) return;
  const typed = place.querySelector?.("[data-stands]");
  if (typed && typed.value === typed.dataset.stands && !place.querySelector("select[data-changed]")) return;
  place.dataset.sent = same;
  busyAt(place, true);
  told.set(say({ ...change, record: sheet().dataset.record, words: inWords(place, change) }), place);
  unsent();
}

document.addEventListener("submit", (event) => {
  if (!event.target.dataset.send) return;
  event.preventDefault();
  put(event.target, event.submitter?.name ? { [event.submitter.name]: event.submitter.value } : {});
});

async function photograph(field) {
  const [file] = field.files;
  const place = field.closest(".take");
  if (!file || place.hasAttribute("aria-busy")) return;
  busyAt(place, true);
  try {
    const change = { do: "photo", key: field.dataset.photo, record: sheet().dataset.record, words: field.getAttribute("aria-label") };
    told.set(await sayWith(change, "photo", await photographed(file)), place);
    unsent();
  } catch {
    busyAt(place, false);
    settle(place, [{ path: "photo", message: `This browser cannot read ‘${file.name}’ as a picture: choose a photograph, as JPEG or PNG.` }]);
  } finally {
    field.value = "";
  }
}

document.addEventListener("change", (event) => {
  const field = event.target;
  if (field.dataset.photo) return photograph(field);
  if (field.id === "sound") return sounding(field.checked);
  if (field.matches("select[data-send]")) return field.value && put(field, { key: field.value });
  const form = field.closest("form.box");
  if (!form) return undefined;
  if (field.tagName === "SELECT") field.toggleAttribute("data-changed", true);
  if (form.querySelector("input").value.trim()) put(form);
  return undefined;
});

document.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-part]");
  if (link && !(event.ctrlKey || event.metaKey || event.shiftKey)) {
    event.preventDefault();
    return show(link.getAttribute("href"));
  }
  const button = event.target.closest("button");
  if (!button || !sheet()) return undefined;
  if (button.hasAttribute("data-over")) {
    const form = button.closest("form");
    form.querySelector("input").value = "OL";
    put(form);
  } else if (button.dataset.send) put(button);
  return undefined;
});

// Sound: one tone for what arrived as it should, another for what is called out. Only who asked for it hears it.
let speaker = null;

function sounding(on) {
  try {
    localStorage.setItem(SOUND, on ? "yes" : "no");
  } catch {
    // A private window: it sounds as long as the page lives.
  }
  if (on) speaker ||= new AudioContext();
  if (on) tone(880, 0.12);
  else speaker = null;
}

function tone(hertz, seconds) {
  if (!speaker) return;
  const [source, gain] = [speaker.createOscillator(), speaker.createGain()];
  source.frequency.value = hertz;
  gain.gain.setValueAtTime(0.2, speaker.currentTime);
  gain.gain.linearRampToValueAtTime(0, speaker.currentTime + seconds);
  source.connect(gain).connect(speaker.destination);
  source.start();
  source.stop(speaker.currentTime + seconds);
}

// A tick in the box is not enough to a browser: until somebody presses, it stays silent.
document.addEventListener("pointerdown", () => {
  const box = document.getElementById("sound");
  if (box?.checked && !speaker) speaker = new AudioContext();
});

function heard(before) {
  const now = counted();
  if (now.urgent > before.urgent) {
    tone(330, 0.7);
    navigator.vibrate?.([200, 100, 200]);
  } else if (now.events > before.events) tone(880, 0.15);
}

const counted = () => ({ events: Number(sheet()?.dataset.events || 0), urgent: Number(sheet()?.dataset.urgent || 0) });

// What is typed and not sent must not be drawn over.
const typing = () => {
  const field = document.activeElement;
  return field?.closest("#proving") && /^(INPUT|TEXTAREA|SELECT)$/.test(field.tagName) && field.type !== "checkbox" && field.value !== field.defaultValue;
};

const quiet = () => !document.hidden && !typing() && !pending() && !waiting().length;

async function listen() {
  for (;;) {
    try {
      if (!sheet()) return;
      const answer = await fetch(`prove/news?known=${encodeURIComponent(sheet().dataset.tag)}`);
      if (answer.status === 401 || answer.status === 403) return;
      const { tag } = answer.ok ? await answer.json() : {};
      // An act that is still open may by now have gone unanswered for too long.
      const due = sheet()?.dataset.open === "yes";
      if ((tag !== sheet()?.dataset.tag || due) && answer.ok && quiet()) {
        const before = counted();
        await fresh(quiet);
        heard(before);
      }
      await rest(answer.ok ? 300 : 4000);
    } catch {
      await rest(4000);
    }
  }
}

const rest = (ms) => new Promise((go) => setTimeout(go, ms));

function begin() {
  const box = document.getElementById("sound");
  try {
    if (box) box.checked = localStorage.getItem(SOUND) === "yes";
  } catch {
    // A private window.
  }
}

document.addEventListener("drawn", begin);
begin();
run();
listen();
