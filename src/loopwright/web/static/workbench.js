// The page's own keys and buttons. Reading needs none of this; changing does.

import "./cell.js";
import { fill } from "./cell.js";
import { isDirty } from "./morph.js";
import { send, show, trouble } from "./post.js";

function folded(key) {
  const query = new URLSearchParams(location.search);
  const open = query.getAll("open");
  query.delete("open");
  for (const each of open.includes(key) ? open.filter((one) => one !== key) : [...open, key]) query.append("open", each);
  const text = query.toString().replaceAll("%2F", "/").replaceAll("%3A", ":");
  return location.pathname + (text ? `?${text}` : "");
}

async function act(button) {
  const answer = await send({ do: button.dataset.do, path: button.dataset.path || "" });
  if (button.dataset.do === "reload" && !answer.problems.length) trouble("");
  else if (answer.problems.length && !answer.elsewhere) trouble(answer.problems.map((problem) => problem.message).join(" "));
  else if (!answer.problems.length) trouble("");
}

function dialog(button) {
  const box = document.getElementById(button.dataset.dialog);
  box.querySelectorAll("select[data-choices]").forEach(fill);
  box.showModal();
}

async function put(form) {
  const fields = Object.fromEntries(new FormData(form));
  const said = form.querySelector(".refused");
  const answer = await send(
    { do: "add", path: form.dataset.add, fields },
    { waiting: (words) => Object.assign(said, { textContent: words, hidden: !words }) },
  );
  said.textContent = answer.problems.map((problem) => problem.message).join(" ");
  said.hidden = !answer.problems.length;
  if (answer.problems.length) return;
  form.reset();
  form.closest("dialog").close();
}

function far(element) {
  document.getElementById("rooms-narrow")?.removeAttribute("open");
  const id = decodeURIComponent(location.hash.slice(1));
  const place = element || (id && document.getElementById(id));
  if (!place) return;
  place.scrollIntoView({ block: "center" });
  if (place.matches("input, select, textarea")) place.focus({ preventScroll: true });
}

document.addEventListener("click", (event) => {
  if (event.defaultPrevented || event.button || event.ctrlKey || event.metaKey || event.shiftKey) return;
  const opener = event.target.closest("a[data-open]");
  const soft = event.target.closest("a[data-soft]");
  const drawn = event.target.closest("a[data-path]");
  const button = event.target.closest("button");
  if (opener) {
    event.preventDefault();
    show(folded(opener.dataset.open));
  } else if (soft) {
    event.preventDefault();
    show(soft.getAttribute("href"));
  } else if (drawn) {
    event.preventDefault();
    location.assign(`/go?path=${encodeURIComponent(drawn.dataset.path)}`);
  } else if (button?.dataset.do) act(button);
  else if (button?.dataset.dialog) dialog(button);
  else if (button?.hasAttribute("data-close")) button.closest("dialog").close();
});

document.addEventListener("submit", (event) => {
  if (!event.target.dataset.add) return;
  event.preventDefault();
  put(event.target);
});

document.addEventListener("keydown", (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z" || event.altKey) return;
  const field = document.activeElement;
  // A half-typed entry has the browser's own undo.
  if (/^(INPUT|TEXTAREA)$/.test(field.tagName) && isDirty(field)) return;
  event.preventDefault();
  send({ do: event.shiftKey ? "redo" : "undo" });
});

addEventListener("hashchange", () => far());
far();
