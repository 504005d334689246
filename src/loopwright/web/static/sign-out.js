// Signing out throws away what this browser keeps: what was said and is not sent yet goes with it, so that is asked first.

const KEPT = /^(said|proved):/;
const unsent = () => Object.keys(localStorage).filter((name) => KEPT.test(name)).flatMap((name) => JSON.parse(localStorage.getItem(name))).length;

document.addEventListener("submit", (event) => {
  const many = event.target.getAttribute("action") === "/sign-out" ? unsent() : 0;
  const words = `${many} said in Prove or On site wait to be sent, and signing out throws them away. To keep them, leave that room open until they are sent.`;
  if (many && !confirm(words)) event.preventDefault();
});
