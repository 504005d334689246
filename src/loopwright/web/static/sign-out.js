// Signing out throws away what this browser keeps: what was said and is not sent yet goes with it, so that is asked first.

import { trouble } from "./post.js";

const KEPT = /^(said|proved):/;
const unsent = () => Object.keys(localStorage).filter((name) => KEPT.test(name)).flatMap((name) => JSON.parse(localStorage.getItem(name))).length;

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.getAttribute("action") !== "/sign-out" || form.dataset.asked || !unsent()) return;
  event.preventDefault();
  form.dataset.asked = "yes";
  trouble(`${unsent()} said in Prove or On site wait to be sent, and signing out throws them away. Open that room and leave it open until they are sent; or sign out all the same.`);
});
