// The room Secrets. What is typed leaves its field as it is sent; what is shown leaves the page after a few seconds, or as soon as nobody looks.

const place = () => document.getElementById("vault");
const stale = "The program was started anew since this sheet was opened. Open the address it printed this time.";
let shown = null;
let closing = 0;

// What the program answers, or what keeps it from answering, in words.
async function ask(what, body) {
  let answer;
  try {
    const post = { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) };
    answer = await fetch(`secrets/${what}`, body ? post : {});
  } catch {
    return { problem: "The program does not answer. Nothing was changed; try again when it runs." };
  }
  const said = await answer.json().catch(() => ({ problem: stale }));
  return said.problems ? { problem: said.problems.map((each) => each.message).join(" ") } : said;
}

// Put in a piece that a change of the sheet around it leaves alone.
function draw(html) {
  forget();
  const made = document.createElement("div");
  made.setAttribute("data-ours", "");
  made.innerHTML = html;
  place().replaceChildren(made);
  clearTimeout(closing);
  const left = made.querySelector("[data-left]")?.dataset.left;
  if (left) closing = setTimeout(look, Number(left) * 1000 + 1000);
}

async function look() {
  const answer = await ask("sheet");
  if (!answer.problem) return draw(answer.sheet);
  draw("");
  say(place().firstElementChild, answer.problem);
}

function forget() {
  if (!shown) return;
  clearInterval(shown.tick);
  shown.output.textContent = "";
  shown.output.hidden = true;
  shown.button.hidden = false;
  shown = null;
}

async function show(button) {
  forget();
  const { problem, secret, seconds } = await ask("show", { name: button.dataset.name });
  const output = button.parentElement.querySelector("output");
  if (problem) return say(output, problem);
  if (document.hidden || !output.isConnected) return;
  forget();
  unsay(output);
  const text = document.createElement("b");
  text.textContent = secret;
  const left = document.createElement("span");
  left.className = "fine";
  left.setAttribute("aria-hidden", "true");
  output.replaceChildren(text, left);
  output.hidden = false;
  button.hidden = true;
  let rest = seconds;
  const count = () => {
    left.textContent = ` gone in ${rest} s`;
    if (rest <= 0) forget();
    rest -= 1;
  };
  shown = { output, button, tick: setInterval(count, 1000) };
  count();
}

function emptied(part) {
  for (const each of part.querySelectorAll('[type="password"]')) each.value = "";
}

function say(beside, sentence) {
  unsay(beside);
  const note = document.createElement("span");
  note.className = "refused";
  note.setAttribute("role", "alert");
  note.textContent = sentence;
  beside.after(note);
}

const unsay = (beside) => beside.parentElement.querySelectorAll(".refused").forEach((each) => each.remove());

async function send(form) {
  const said = form.querySelector(".refused");
  const fields = [...form.querySelectorAll("[data-field]")];
  const body = Object.fromEntries(fields.map((each) => [each.dataset.field, each.value]));
  const press = form.querySelector('[type="submit"]');
  press.disabled = true;
  const answer = await ask(form.dataset.ask, body);
  press.disabled = false;
  emptied(form);
  if (!answer.problem) return draw(answer.sheet);
  said.textContent = answer.problem;
  said.hidden = false;
  fields.find((each) => each.type === "password")?.focus();
}

function box(id, name) {
  const dialog = document.getElementById(id);
  const field = dialog.querySelector('[data-field="name"]');
  field.value = name;
  field.readOnly = Boolean(name);
  for (const each of dialog.querySelectorAll('[data-say="name"]')) each.textContent = name;
  dialog.querySelector(".refused").hidden = true;
  dialog.showModal();
  (name ? dialog.querySelector('[type="password"]') : field)?.focus();
}

const acts = {
  close: async () => (await ask("close", {})) && look(),
  show,
  change: (button) => box("secret-in", button.dataset.name),
  "take-out": (button) => box("secret-out", button.dataset.name),
  leave: (button) => button.closest("dialog").close(),
};

document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-act]");
  if (button && place().contains(button)) acts[button.dataset.act](button);
});

document.addEventListener("submit", (event) => {
  if (!event.target.dataset.ask) return;
  event.preventDefault();
  send(event.target);
});

// However a box is left, nothing that was typed stays in it. The event does not rise, so it is met on its way down.
document.addEventListener("close", (event) => emptied(event.target), true);
document.addEventListener("visibilitychange", () => document.hidden && forget());
addEventListener("pagehide", () => {
  forget();
  emptied(document);
});
document.addEventListener("drawn", look);
look();
