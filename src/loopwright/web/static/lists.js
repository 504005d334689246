// Lists: rows copied for a spreadsheet; rows of a spreadsheet pasted or a file chosen, looked at, matched, and taken in as one step.

import { pending, show, trouble } from "./post.js";

const KINDS = { devices: "devices", cables: "cable runs", circuits: "detection circuits", zones: "zones", users: "users", rooms: "rooms" };
const HOME = { premises: "rooms", kit: "devices", wiring: "cables", programme: "zones" };
const MOST = 8e6;
let box = null;
let given = null;
let wishes = {};
let seen = null;
let turn = 0;

function build() {
  box = document.createElement("dialog");
  box.id = "list";
  box.setAttribute("aria-labelledby", "list-title");
  const kinds = Object.entries(KINDS).map(([key, words]) => `<option value="${key}">${words}</option>`).join("");
  box.innerHTML = `<h2 id="list-title">Take in a list</h2>
<label class="entry"><span>It lists</span><span class="answer"><select id="list-kind">${kinds}</select></span></label>
<details id="list-source" open><summary>Where it comes from</summary>
<label class="entry"><span>Paste the rows here<span class="fine hint">copied from a spreadsheet, with their headings if they have any</span></span><textarea id="list-text" rows="5" spellcheck="false"></textarea></label>
<label class="entry"><span>or choose a file<span class="fine hint">CSV, TSV or XLSX, at most ${MOST / 1e6} MB</span></span><input type="file" id="list-file" accept=".csv,.tsv,.txt,.xlsx"></label></details>
<div id="list-look" tabindex="-1"></div>
<div class="foot"><p id="list-said" role="status"></p><p class="acts"><button type="button" class="main" id="list-take" disabled>Take it in</button> <button type="button" data-close>Leave it</button></p></div>`;
  document.body.append(box);
  box.querySelector("#list-text").addEventListener("input", later);
  box.querySelector("#list-file").addEventListener("change", (event) => event.target.files[0] && file(event.target.files[0]));
  box.querySelector("#list-kind").addEventListener("change", anew);
  box.querySelector("#list-take").addEventListener("click", take);
  box.querySelector("#list-look").addEventListener("change", chosen);
  box.addEventListener("dragover", (event) => event.preventDefault());
  box.addEventListener("drop", (event) => {
    event.preventDefault();
    if (event.dataTransfer.files[0]) file(event.dataTransfer.files[0]);
  });
}

const part = (name) => box.querySelector(`#list-${name}`);
const say = (words) => (part("said").textContent = words);

function open(kind) {
  if (!box) build();
  given = null;
  clear();
  part("text").value = "";
  part("file").value = "";
  part("source").open = true;
  part("kind").value = kind;
  say("");
  if (!box.open) box.showModal();
  part("text").focus();
}

function clear() {
  turn += 1;
  wishes = {};
  seen = null;
  part("look").replaceChildren();
  part("take").disabled = true;
}

let waits = 0;
function later() {
  clearTimeout(waits);
  waits = setTimeout(() => {
    const text = part("text").value;
    part("file").value = "";
    given = text.trim() ? { body: text, name: text.includes("\t") ? "pasted rows.tsv" : "pasted rows.csv" } : null;
    anew(true);
  }, 250);
}

function file(chosenFile) {
  part("text").value = "";
  given = null;
  clear();
  if (chosenFile.size > MOST) return say(`${chosenFile.name}: ${(chosenFile.size / 1e6).toFixed(0)} MB; a list has at most ${MOST / 1e6} MB.`);
  given = { body: chosenFile, name: chosenFile.name.slice(-80) };
  anew(true);
}

// Another list, or another kind of it: what was chosen for the columns before means nothing any more.
function anew(guess) {
  clear();
  if (given) look(guess === true);
  else say("");
}

function ask(way, more) {
  const told = { name: given.name, ...wishes, ...more };
  // A header takes plain letters only.
  const plain = JSON.stringify(told).replace(/[\u0080-\uffff]/g, (letter) => `\\u${letter.charCodeAt(0).toString(16).padStart(4, "0")}`);
  return fetch(`lists/${part("kind").value}/${way}`, {
    method: "POST",
    headers: { "Content-Type": "application/octet-stream", "X-List-Wishes": plain },
    body: given.body,
  });
}

async function look(guess = false) {
  const mine = ++turn;
  part("take").disabled = true;
  say("Looking at it …");
  const answer = await asked(ask("look", guess ? { guess } : {}));
  if (mine !== turn) return;
  draw(answer);
}

async function asked(sent) {
  try {
    const reply = await sent;
    const text = await reply.text();
    if (reply.ok) return JSON.parse(text);
    if (text.startsWith("{")) return { refused: JSON.parse(text).problems?.map((problem) => problem.message).join(" ") || JSON.parse(text).detail || "That was refused." };
    return { refused: text.trim() };
  } catch {
    return { refused: "The program does not answer. What you gave is kept here; choose again when it runs." };
  }
}

function draw(answer) {
  const held = document.activeElement?.name;
  if (answer.kind) part("kind").value = answer.kind;
  part("look").innerHTML = answer.html || "";
  part("take").disabled = !answer.takeable;
  seen = answer.revision ?? null;
  if (answer.html) part("source").open = false;
  if (held) part("look").querySelector(`[name="${CSS.escape(held)}"]`)?.focus();
  const outcome = part("look").querySelector(".outcome");
  say(answer.refused || (answer.takeable ? outcome.textContent : outcome ? `${outcome.textContent} There is nothing to take in.`.replace("yet. There is nothing to take in.", "yet.") : ""));
}

function chosen(event) {
  const form = part("look").querySelector("#list-wishes");
  const fields = [...new FormData(form)];
  const name = event.target.name;
  const headed = form.querySelector('[name="headed"]').checked;
  if (name === "sheet" || name === "headed") wishes = { headed };
  else {
    const units = Object.fromEntries(fields.filter(([key]) => key.startsWith("unit:")).map(([key, unit]) => [key.slice(5), unit]));
    const told = {};
    for (const [key, field] of fields.filter(([each]) => each.startsWith("col:"))) {
      const letter = key.slice(4);
      // Another meaning has other units.
      const unit = name === key ? "" : units[letter];
      told[letter] = unit ? `${field} (${unit})` : field;
      // One field, one column: the one chosen last has it.
      if (name !== key && field && field === event.target.value && name.startsWith("col:")) told[letter] = "";
    }
    const fill = Object.fromEntries(fields.filter(([key]) => key.startsWith("fill:")).map(([key, value]) => [key.slice(5), value]));
    wishes = { headed, told, fill };
  }
  const sheet = form.querySelector('[name="sheet"]');
  if (sheet) wishes.sheet = sheet.value;
  look();
}

async function take() {
  if (!given || seen === null) return;
  if (pending()) return say("Something on the page is still being kept; press again in a moment.");
  part("take").disabled = true;
  say("Taking it in …");
  const mark = [...crypto.getRandomValues(new Uint32Array(4))].map((number) => number.toString(36)).join("-");
  const answer = await asked(ask("take", { revision: seen, mark }));
  if (!answer.taken) return draw(answer);
  await show(location.pathname + location.search);
  done(answer.taken);
}

// What came of it stays to be read, with the one press that takes all of it back.
function done(words) {
  given = null;
  clear();
  const text = document.createElement("p");
  text.className = "outcome";
  text.textContent = `Taken in: ${words}`;
  const undo = document.createElement("button");
  undo.type = "button";
  undo.dataset.do = "undo";
  undo.textContent = "Undo it";
  undo.addEventListener("click", () => box.close());
  part("look").replaceChildren(text, undo);
  part("source").open = false;
  say("It is one step; Undo takes all of it back.");
  part("look").focus();
}

async function copy(button) {
  const before = button.textContent;
  try {
    const reply = await fetch(`lists/${button.dataset.listCopy}/rows`);
    const text = await reply.text();
    if (!reply.ok) throw new Error(text);
    await put(text);
    const many = text.trimEnd().split("\r\n").length - 1;
    button.textContent = `Copied, ${many} rows`;
  } catch {
    button.textContent = "Could not be copied; take the file";
  }
  setTimeout(() => (button.textContent = before), 4000);
}

// The clipboard is closed to a page that was not reached safely; then the old way of copying is left.
async function put(text) {
  if (navigator.clipboard && isSecureContext) return navigator.clipboard.writeText(text);
  const area = document.createElement("textarea");
  area.value = text;
  document.body.append(area);
  area.select();
  const copied = document.execCommand("copy");
  area.remove();
  if (!copied) throw new Error("not copied");
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (button?.dataset.listIn) open(button.dataset.listIn);
  else if (button?.dataset.listCopy) copy(button);
});

// Rows pasted onto a sheet are a list, wherever the focus is; a single text pasted into a cell is that cell's.
document.addEventListener("paste", (event) => {
  const kind = HOME[document.getElementById("page").dataset.room];
  const text = event.clipboardData?.getData("text/plain") || "";
  if (!kind || document.querySelector("dialog[open]") || !text.includes("\t")) return;
  if (document.querySelector("fieldset.still")) return trouble("You may read this job, not change it.");
  event.preventDefault();
  open(kind);
  part("text").value = text;
  later();
});
