// The page's own keys and buttons. Reading needs none of this; changing does.

import "./cell.js";
import { fill } from "./cell.js";
import { isDirty } from "./morph.js";
import { button, send, show, trouble } from "./post.js";
import "./fold.js";
import "./lists.js";
import "./news.js";
import "./search.js";
import "./sign-out.js";

function folded(key) {
  const query = new URLSearchParams(location.search);
  const open = query.getAll("open");
  query.delete("open");
  for (const each of open.includes(key) ? open.filter((one) => one !== key) : [...open, key]) query.append("open", each);
  const text = query.toString().replaceAll("%2F", "/").replaceAll("%3A", ":");
  return location.pathname + (text ? `?${text}` : "");
}

async function act(pressed) {
  const { do: what, path = "", side, revision } = pressed.dataset;
  const answer = await send({ do: what, path, ...(side && { side, revision: Number(revision) }) });
  if (!answer.problems.length) return trouble("");
  if (answer.elsewhere || answer.told) return;
  const words = answer.problems.map((problem) => problem.message).join(" ");
  if (what !== "remove") return trouble(`${words} `, (answer.choices || []).map((choice) => way(what, choice, answer.revision)));
  if (!pressed.isConnected) return trouble(words);
  beside(pressed, words);
}

// Where a step meets what another has changed, both values stand on buttons.
function way(what, { side, words }, revision) {
  const made = button(words, "data-do", what);
  Object.assign(made.dataset, { side, revision });
  return made;
}

// A refusal stands beside what was pressed, until something else is.
function beside(button, words) {
  document.querySelectorAll(".said-no").forEach((each) => each.remove());
  const note = document.createElement("span");
  note.className = "refused said-no";
  note.setAttribute("data-ours", "");
  note.setAttribute("role", "alert");
  note.textContent = words;
  button.after(note);
  note.scrollIntoView({ block: "nearest" });
}

async function form(button) {
  const given = button.dataset.given ? `&given=${encodeURIComponent(button.dataset.given)}` : "";
  const answer = await fetch(`form?what=${encodeURIComponent(button.dataset.form)}${given}`).catch(() => null);
  if (!answer?.ok) return trouble("The program does not answer. Press again when it runs.");
  document.getElementById("form")?.remove();
  document.body.insertAdjacentHTML("beforeend", await answer.text());
  const box = document.getElementById("form");
  box.querySelectorAll("select[data-choices]").forEach(fill);
  box.addEventListener("close", () => box.remove());
  box.showModal();
}

// A further row of a form is made from the pattern before its button; it is numbered on, so that no two have one name.
function further(button) {
  const pattern = button.parentElement.previousElementSibling;
  const number = button.dataset.further;
  const made = pattern.content.cloneNode(true);
  for (const field of made.querySelectorAll("[name]")) field.name = field.name.replace("{next}", number);
  const legend = made.querySelector("legend");
  legend.textContent = legend.textContent.replace("{next}", number);
  const first = made.querySelector("input, select, textarea");
  pattern.before(made);
  button.dataset.further = Number(number) + 1;
  first.focus();
  first.scrollIntoView({ block: "center" });
}

async function put(form) {
  const fields = Object.fromEntries([...new FormData(form)].filter(([, text]) => text));
  const said = form.querySelector(".refused");
  const answer = await send(
    { do: "add", path: form.dataset.add, fields },
    { waiting: (words) => Object.assign(said, { textContent: words, hidden: !words }) },
  );
  said.textContent = answer.problems.map((problem) => problem.message).join(" ");
  said.hidden = !answer.problems.length;
  if (!answer.problems.length) form.closest("dialog").close();
}

async function tick(box) {
  const answer = await send({ do: box.checked ? "tick" : "untick", path: box.dataset.tick, text: box.value });
  if (!answer.problems.length) return;
  box.checked = !box.checked;
  beside(box.closest("label"), answer.problems.map((problem) => problem.message).join(" "));
}

function far(element) {
  document.getElementById("rooms-narrow")?.removeAttribute("open");
  const id = decodeURIComponent(location.hash.slice(1));
  const place = element || (id && document.getElementById(id));
  if (!place) return;
  for (let fold = place.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  place.scrollIntoView({ block: "center" });
  // A row is where reading goes on: its own link, or its first cell, has the focus.
  const first = place.matches("input, select, textarea") ? place : place.matches("tr") && place.querySelector("a.opens, input, select, textarea, summary, a");
  if (first) first.focus({ preventScroll: true });
}

document.addEventListener("click", (event) => {
  if (event.defaultPrevented || event.button || event.ctrlKey || event.metaKey || event.shiftKey) return;
  const opener = event.target.closest("a[data-open]");
  const soft = event.target.closest("a[data-soft]");
  const drawn = event.target.closest("a[data-path]");
  const button = event.target.closest("button, a[data-form]");
  if (opener) {
    event.preventDefault();
    show(folded(opener.dataset.open));
  } else if (soft) {
    event.preventDefault();
    show(soft.getAttribute("href"));
  } else if (drawn) {
    event.preventDefault();
    location.assign(`go?path=${encodeURIComponent(drawn.dataset.path)}`);
  } else if (button?.dataset.do) act(button);
  else if (button?.dataset.form) {
    event.preventDefault();
    form(button);
  }
  else if (button?.dataset.further) further(button);
  else if (button?.hasAttribute("data-away")) trouble("");
  else if (button?.hasAttribute("data-close")) button.closest("dialog").close();
});

document.addEventListener("submit", (event) => {
  if (!event.target.dataset.add) return;
  event.preventDefault();
  put(event.target);
});

document.addEventListener("change", (event) => {
  if (event.target.dataset?.tick) tick(event.target);
});

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") return fold(event);
  if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z" || event.altKey) return;
  const field = document.activeElement;
  if (field.closest("dialog")) return;
  // A half-typed entry has the browser's own undo.
  if (/^(INPUT|TEXTAREA)$/.test(field.tagName) && field.type !== "checkbox" && isDirty(field)) return;
  event.preventDefault();
  const button = document.querySelector(`[data-do="${event.shiftKey ? "redo" : "undo"}"]`);
  if (!button.disabled) act(button);
});

// Escape folds what was unfolded last, unless it has something nearer to give up.
function fold(event) {
  if (event.defaultPrevented || document.querySelector("dialog[open]")) return;
  const field = document.activeElement;
  if (/^(INPUT|TEXTAREA|SELECT)$/.test(field.tagName) && field.dataset.path && isDirty(field)) return;
  const open = new URLSearchParams(location.search).getAll("open");
  const last = open.filter((key) => key.startsWith("w:")).pop() ?? open.pop();
  if (last === undefined) return;
  event.preventDefault();
  const opener = [...document.querySelectorAll("[data-open]")].find((each) => each.dataset.open === last);
  show(folded(last)).then(() => opener?.isConnected && opener.focus());
}

addEventListener("hashchange", () => far());
far();
