// Brings a page up to date with what the server has drawn, touching only what differs: focus, a half-typed entry and an open list stay.

// The attribute, not the property: a form that holds a field called id gives the field.
const keyOf = (node) => (node.nodeType === 1 && node.getAttribute("id")) || "";
const ours = (node) => node.nodeType === 1 && node.hasAttribute("data-ours");

export function isDirty(field) {
  if (field.tagName === "SELECT") return field.value !== chosen(field);
  return field.value !== field.defaultValue;
}

export const chosen = (select) => (select.querySelector("option[selected]") || { value: "" }).value;

// What the server has not sent because this page holds it already stands in the answer as an empty element of the same id.
const SAME = "[data-same]";

// Brings the page up to date with an answer; says no, and touches nothing, when the page does not hold what the answer takes for granted.
export function bring(page, wanted) {
  for (const mark of wanted.querySelectorAll(SAME)) {
    if (document.getElementById(mark.id)?.nodeName !== mark.nodeName) return false;
  }
  const name = wanted.dataset.drawn;
  // Without a name until all is done: what is brought half-way counts for nothing.
  delete wanted.dataset.drawn;
  morph(page, wanted);
  page.dataset.drawn = name || "";
  return true;
}

// What the server last said of each part that folds. How it stands is its reader's, until the server says otherwise than it did.
const unfolds = new WeakMap();
function noted(place) {
  if (place.nodeType !== 1) return;
  for (const part of [place, ...place.querySelectorAll("details")]) if (part.tagName === "DETAILS") unfolds.set(part, part.open);
}
noted(document.documentElement);

function unfolded(old, fresh) {
  if (fresh.open && unfolds.get(old) === false) old.open = true;
  unfolds.set(old, fresh.open);
}

export function morph(old, fresh) {
  if (fresh.nodeType === 1 && fresh.hasAttribute("data-same")) return unticked(old);
  if (old.isEqualNode(fresh) && !old.querySelector("input, textarea, select")) return;
  attributes(old, fresh);
  if (old.tagName === "SELECT" && old.hasAttribute("data-choices")) return choice(old, fresh);
  if (old.tagName === "TEXTAREA") return area(old, fresh);
  children(old, fresh);
}

// A tick that was refused goes back even where nothing else has changed.
function unticked(old) {
  for (const box of old.querySelectorAll('input[type="checkbox"]')) if (box.checked !== box.defaultChecked) box.checked = box.defaultChecked;
}

function attributes(old, fresh) {
  if (old.type === "checkbox") old.checked = fresh.hasAttribute("checked");
  const value = old.tagName === "INPUT" && !isDirty(old);
  for (const { name } of [...old.attributes]) {
    if (!fresh.hasAttribute(name) && !kept(old, name)) old.removeAttribute(name);
  }
  // What stood there when somebody began to type is what their entry was meant to replace.
  const { path, seen, sending } = old.dataset;
  if (old.tagName === "INPUT" && path && isDirty(old) && seen === undefined && sending === undefined && old.defaultValue !== fresh.defaultValue) {
    old.dataset.seen = old.defaultValue;
  }
  for (const { name, value: text } of [...fresh.attributes]) {
    if (old.getAttribute(name) !== text && !folds(old, name)) old.setAttribute(name, text);
  }
  if (old.tagName === "DETAILS") unfolded(old, fresh);
  if (value && old.value !== old.defaultValue) old.value = old.defaultValue;
}

const folds = (node, name) => name === "open" && /^(DETAILS|DIALOG)$/.test(node.tagName);
const kept = (node, name) => folds(node, name) || /^(aria-invalid|aria-describedby|aria-busy|data-sending|data-seen)$/.test(name);

function choice(old, fresh) {
  const now = chosen(fresh);
  if (!isDirty(old) && chosen(old) === now && old.value === now) return;
  if (isDirty(old) && old.value !== now && document.activeElement === old) return;
  old.replaceChildren(...fresh.childNodes);
  old.value = now;
  delete old.dataset.filled;
}

function area(old, fresh) {
  if (isDirty(old)) return;
  if (old.textContent !== fresh.textContent) old.textContent = fresh.textContent;
  old.value = old.defaultValue;
}

function children(old, fresh) {
  const byKey = new Map();
  for (const child of old.children) if (keyOf(child)) byKey.set(keyOf(child), child);
  let at = old.firstChild;
  const step = () => {
    while (at && ours(at)) at = at.nextSibling;
  };
  for (const wanted of [...fresh.childNodes]) {
    step();
    const key = keyOf(wanted);
    let match = key ? byKey.get(key) : at && !keyOf(at) && like(at, wanted) ? at : null;
    if (match && !like(match, wanted)) match = null;
    if (!match) {
      noted(wanted);
      old.insertBefore(wanted, at);
      continue;
    }
    if (match === at) at = at.nextSibling;
    else old.insertBefore(match, at);
    if (match.nodeType === 1) morph(match, wanted);
    else if (match.data !== wanted.data) match.data = wanted.data;
  }
  while (at) {
    const next = at.nextSibling;
    if (!ours(at)) at.remove();
    at = next;
  }
}

const like = (a, b) => a.nodeType === b.nodeType && a.nodeName === b.nodeName;
