// Search over everything that has a name: a dialog with one field and a list, gone through with the arrow keys.

let box = null;
let asked = 0;
let found = [];
let at = -1;

function build() {
  box = document.createElement("dialog");
  box.id = "search";
  box.setAttribute("aria-labelledby", "search-title");
  // Fixed text only: what was found is put in as text, never as markup.
  box.innerHTML = `<h2 id="search-title"><label for="search-words">Search this job</label></h2>
<p class="ask"><input id="search-words" role="combobox" aria-expanded="false" aria-controls="search-found" aria-autocomplete="list" aria-describedby="search-said"
 autocomplete="off" autocapitalize="off" spellcheck="false" enterkeyhint="go" maxlength="200"> <button type="button" data-close>Close</button></p>
<ul id="search-found" role="listbox" aria-label="Found"></ul><p class="fine" id="search-said" role="status"></p>`;
  document.body.append(box);
  const field = box.querySelector("input");
  field.addEventListener("input", () => ask(field.value));
  field.addEventListener("keydown", keys);
  box.addEventListener("mousemove", (event) => choose(options().indexOf(event.target.closest("[role=option]"))));
  box.addEventListener("click", (event) => {
    const place = options().indexOf(event.target.closest("[role=option]"));
    if (place >= 0) go(found[place]);
    else if (event.target === box) box.close();
  });
}

const options = () => [...box.querySelectorAll("[role=option]")];
const say = (words) => {
  const place = box.querySelector("#search-said");
  if (place.textContent !== words) place.textContent = words;
};
const HINT = "A name, an id, a data sheet, the words or code of a finding: any words, in any order. An id and a field (W22 length) leads to that cell.";

export function open() {
  if (!box) build();
  if (box.open) return;
  const field = box.querySelector("input");
  box.showModal();
  field.focus();
  field.select();
  // Asked at once, so that the job is looked through while the first word is typed.
  ask(field.value);
}

async function ask(words) {
  const turn = ++asked;
  let answer = null;
  try {
    const reply = await fetch("search", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ words }) });
    answer = reply.ok ? await reply.json() : { refused: reply.status };
  } catch {
    answer = { refused: 0 };
  }
  // An answer that was overtaken by a later one says nothing any more.
  if (turn === asked) draw(answer, words.trim());
}

function draw(answer, words) {
  found = answer.found || [];
  const list = box.querySelector("ul");
  list.replaceChildren(...found.map(option));
  list.scrollTop = 0;
  box.querySelector("input").setAttribute("aria-expanded", String(found.length > 0));
  choose(found.length ? 0 : -1);
  if (answer.refused !== undefined) say(answer.refused === 403 ? "This is not open to you; open the address the program printed." : "The program does not answer. Type on when it runs.");
  else if (!words) say(HINT);
  else if (!found.length) say("Nothing has a name with these words.");
  else say(answer.many > found.length ? `The first ${found.length} of ${answer.many}; one more word finds fewer.` : `${answer.many} found`);
}

function option(item, number) {
  const made = document.createElement("li");
  made.id = `found-${number}`;
  made.setAttribute("role", "option");
  for (const [look, text] of [["kind", item.kind], ["name", item.name], ["words", item.words]]) {
    const part = document.createElement("span");
    part.className = look;
    part.textContent = text;
    made.append(part, " ");
  }
  return made;
}

function choose(number) {
  if (number < 0 && found.length) return;
  const all = options();
  all.forEach((each, place) => each.setAttribute("aria-selected", String(place === number)));
  at = number;
  const field = box.querySelector("input");
  if (number < 0) field.removeAttribute("aria-activedescendant");
  else field.setAttribute("aria-activedescendant", all[number].id);
}

function keys(event) {
  if (event.isComposing) return;
  const steps = { ArrowDown: 1, ArrowUp: -1, PageDown: 8, PageUp: -8 }[event.key];
  if (steps && found.length) {
    event.preventDefault();
    const far = Math.abs(steps) > 1;
    choose(far ? Math.max(0, Math.min(found.length - 1, at + steps)) : (at + steps + found.length) % found.length);
    options()[at].scrollIntoView({ block: "nearest" });
  } else if (event.key === "Enter") {
    event.preventDefault();
    if (at >= 0) go(found[at]);
  }
}

function go(item) {
  box.close();
  const to = new URL(item.link, location.href);
  // The same place again is no navigation, and would lead nowhere.
  if (to.href === location.href) dispatchEvent(new HashChangeEvent("hashchange"));
  else location.assign(to);
}

document.addEventListener("click", (event) => {
  if (event.target.closest("button[data-search]")) open();
});

document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey || event.shiftKey || event.key.toLowerCase() !== "k") return;
  if (document.querySelector("dialog[open]:not(#search)")) return;
  event.preventDefault();
  open();
});
