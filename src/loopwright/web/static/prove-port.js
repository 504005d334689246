// The port of a test: opened, left open longer and shut at once or not at all, never later from what is kept.

import { drawn, trouble } from "./post.js";

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.hasAttribute("data-port")) return;
  event.preventDefault();
  if (form.hasAttribute("aria-busy")) return;
  form.setAttribute("aria-busy", "true");
  const change = { ...Object.fromEntries(new FormData(form)), do: event.submitter?.value || "open" };
  try {
    const body = JSON.stringify({ ...change, query: location.search, held: document.getElementById("page").dataset.drawn || "" });
    const answer = await fetch("prove/port", { method: "POST", headers: { "Content-Type": "application/json" }, body });
    if (!answer.headers.get("Content-Type")?.startsWith("application/json")) return trouble(await answer.text());
    const { problems = [], page } = await answer.json();
    if (page) drawn(page);
    if (page && !problems.length) document.getElementById("port")?.scrollIntoView({ block: "start" });
    trouble(problems.map((each) => each.message).join(" "));
  } catch {
    trouble("The program does not answer: the port is as it was.");
  } finally {
    form.removeAttribute("aria-busy");
  }
});

// Whoever is sent to the fold by its anchor finds it open.
function unfold() {
  const port = location.hash === "#port" && document.getElementById("port");
  if (!port || port.tagName !== "DETAILS") return;
  port.open = true;
  port.scrollIntoView();
}

addEventListener("hashchange", unfold);
unfold();
