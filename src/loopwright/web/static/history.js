// Names, reasons and the way back: each is posted, then the room is drawn anew.

import { show, stale, trouble } from "./post.js";

async function post(what, body) {
  try {
    const answer = await fetch(`history/${what}`, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body) });
    if (answer.ok) return (await answer.json()).problems;
    return [answer.status === 403 ? (await answer.text()) || stale : "That is no revision this program knows."];
  } catch {
    return ["The program does not answer. Nothing was noted; press again when it runs."];
  }
}

async function note(form) {
  const said = form.querySelector(".refused");
  const { words, number } = Object.fromEntries(new FormData(form));
  const problems = await post(form.dataset.note, number === undefined ? { words } : { words, number: Number(number) || 0 });
  said.textContent = problems.join(" ");
  said.hidden = !problems.length;
  if (problems.length) return;
  form.reset();
  await show(location.pathname + location.search);
}

async function back(button) {
  const problems = await post("back", { number: Number(button.dataset.back), shown: Number(document.getElementById("page").dataset.revision) });
  await show("./history");
  trouble(problems.join(" "));
}

document.addEventListener("submit", (event) => {
  if (!event.target.dataset.note) return;
  event.preventDefault();
  note(event.target);
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-back]");
  if (button) back(button);
});
