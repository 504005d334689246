// A cell: Enter keeps what was typed, Escape gives back what stood there, up and down go along the column.

import { chosen, isDirty } from "./morph.js";
import { send, standing } from "./post.js";

const FIELDS = "input[data-path], select[data-path], textarea[data-path]";
let lists = null;
let listed = "";

export async function fill(select) {
  const revision = document.getElementById("page").dataset.revision;
  if (select.dataset.filled === revision) return;
  select.dataset.filled = revision;
  if (!lists || listed !== revision) {
    lists = fetch("choices").then((answer) => answer.json());
    listed = revision;
  }
  const rows = (await lists)[select.dataset.choices] || [];
  const now = select.value;
  const stood = chosen(select);
  const options = rows.map(([key, words]) => option(key, words && words !== key ? `${words} (${key})` : key, key === stood));
  const blank = select.hasAttribute("data-optional") || !stood ? [option("", "–", !stood)] : [];
  select.replaceChildren(...blank, ...options);
  select.value = now || stood;
}

function option(value, words, selected) {
  const made = document.createElement("option");
  made.value = value;
  made.textContent = words;
  if (selected) made.setAttribute("selected", "");
  return made;
}

export async function commit(field, { confirm = false } = {}) {
  const text = field.value;
  const assumed = field.hasAttribute("data-assumed");
  if (!isDirty(field) && !(confirm && assumed)) return clear(field);
  if (field.dataset.sending === text) return;
  field.dataset.sending = text;
  field.setAttribute("aria-busy", "true");
  keep(field, text);
  standing();
  const act = field.hasAttribute("data-rename") ? "rename" : "set";
  const answer = await send({ do: act, path: field.dataset.path, text, seen: () => stands(field) }, { waiting: (words) => say(field, words, "waiting") });
  // The sheet may have been drawn with another control in this one's place.
  if (!field.isConnected) field = document.getElementById(field.id) || field;
  delete field.dataset.sending;
  field.removeAttribute("aria-busy");
  if (answer.problems.length) {
    if (answer.now !== null && answer.now !== undefined) field.dataset.seen = answer.now;
    say(field, answer.problems.map((problem) => problem.message).join(" "), "refused");
  } else {
    // What was blank, or written another way, is shown as it is kept now.
    if (field.value === text) field.value = stands(field);
    clear(field);
  }
  standing();
}

// What stood in the cell as this page knows it: a change made elsewhere meanwhile is not written over.
const stands = (field) => field.dataset.seen ?? (field.tagName === "SELECT" ? chosen(field) : field.defaultValue);

// An entry that is not kept yet is looked after in this tab, so that it is there again when its room is: the room of the same job.
const LEAD = `entry:${new URL(".", location.href).pathname}:`;
const slot = (field) => LEAD + field.dataset.path;
function keep(field, text) {
  try {
    if (text === null) sessionStorage.removeItem(slot(field));
    else sessionStorage.setItem(slot(field), text);
  } catch {
    // A browser that keeps nothing: the entry lives as long as the page.
  }
}

export function recall() {
  let names = [];
  try {
    names = Object.keys(sessionStorage).filter((name) => name.startsWith(LEAD));
  } catch {
    return;
  }
  for (const name of names) {
    const path = name.slice(LEAD.length);
    const field = document.getElementById(`c:${path}`);
    if (!field || field.dataset.sending !== undefined || field.hasAttribute("aria-invalid")) continue;
    const text = sessionStorage.getItem(name);
    if (field.tagName === "SELECT" && ![...field.options].some((each) => each.value === text)) field.append(option(text, text, false));
    field.value = text;
    if (isDirty(field)) say(field, "not kept yet: Enter tries again, Escape gives it up", "refused");
    else keep(field, null);
  }
  standing();
}

function say(field, words, look) {
  if (!words) return look === "waiting" ? unsay(field) : undefined;
  const cell = field.closest(".cell");
  let note = cell.querySelector("[data-ours]");
  if (!note) {
    note = document.createElement("span");
    note.setAttribute("data-ours", "");
    note.setAttribute("role", "alert");
    note.id = `said:${field.dataset.path}`;
    cell.append(note);
  }
  note.className = look;
  note.textContent = words;
  field.setAttribute("aria-describedby", note.id);
  if (look === "refused") field.setAttribute("aria-invalid", "true");
  // Two messages never cover each other: the one at the window's edge stays, the cell moves up.
  const edge = document.getElementById("trouble");
  if (!edge.hidden && note.getBoundingClientRect().bottom > edge.getBoundingClientRect().top) field.scrollIntoView({ block: "center" });
}

function unsay(field) {
  field.closest(".cell")?.querySelector("[data-ours]")?.remove();
  field.removeAttribute("aria-invalid");
  field.removeAttribute("aria-describedby");
}

function clear(field) {
  unsay(field);
  keep(field, null);
  delete field.dataset.seen;
  standing();
}

function restore(field) {
  delete field.dataset.seen;
  field.value = stands(field);
  clear(field);
}

function along(field, step) {
  const last = field.dataset.path.split("/").pop();
  const place = field.closest("table, dl") || document;
  const column = [...place.querySelectorAll(FIELDS)].filter((each) => each.dataset.path.split("/").pop() === last);
  const next = column[column.indexOf(field) + step];
  if (!next) return false;
  next.focus();
  if (next.select) next.select();
  return true;
}

document.addEventListener("keydown", (event) => {
  const field = event.target.closest?.(FIELDS);
  if (!field || event.isComposing) return;
  const area = field.tagName === "TEXTAREA";
  if (event.key === "Enter" && !(area && !event.ctrlKey)) {
    event.preventDefault();
    if (field.tagName === "SELECT" && !isDirty(field) && !field.hasAttribute("data-assumed")) field.showPicker?.();
    else commit(field, { confirm: true });
  } else if (event.key === "Escape" && isDirty(field)) {
    event.preventDefault();
    restore(field);
  } else if ((event.key === "ArrowDown" || event.key === "ArrowUp") && !area && !event.altKey) {
    event.preventDefault();
    along(field, event.key === "ArrowDown" ? 1 : -1);
  }
});

document.addEventListener("drawn", recall);

document.addEventListener("change", (event) => {
  const field = event.target.closest?.(FIELDS);
  if (field) commit(field);
});

for (const kind of ["focusin", "pointerdown"]) {
  document.addEventListener(kind, (event) => {
    const select = event.target.closest?.("select[data-choices]");
    if (select) fill(select);
  });
}

recall();
