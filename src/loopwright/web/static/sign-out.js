// Signing out throws away what this browser keeps: what was said and is not sent yet goes with it, so that is asked first.

const KEPT = /^(said|proved):/;
const unsent = () => Object.keys(localStorage).filter((name) => KEPT.test(name)).reduce((many, name) => many + waiting(name), 0);

function waiting(name) {
  try {
    return JSON.parse(localStorage.getItem(name)).length || 0;
  } catch {
    return 0;
  }
}

document.addEventListener("submit", (event) => {
  const many = event.target.matches('[action="/sign-out"], [data-signs-out]') ? unsent() : 0;
  const words = `Signing out throws away what was said in Prove or On site and is not sent yet (${many}). To keep it, leave that room open until it is sent.`;
  if (many && !confirm(words)) event.preventDefault();
});
