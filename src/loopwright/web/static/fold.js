// Long sheets: parts that fold where the page is narrow, and a field that leaves only the rows with its words.

const narrow = matchMedia("(max-width: 940px)");
const ROWS = "table:is(.stack, .grid) > tbody > tr";

// Folded when the page is opened, unless something in it was asked for or nothing is in it yet; after that it stands as it was left.
function folds() {
  if (!narrow.matches) return;
  const id = decodeURIComponent(location.hash.slice(1));
  const asked = id ? document.getElementById(id) : null;
  for (const part of document.querySelectorAll("details[data-fold]")) {
    if (part.dataset.fold !== "open" && !part.contains(asked) && part.querySelector(ROWS) && !part.querySelector(".unfolded")) part.open = false;
  }
}

const fold = (text) => text.normalize("NFKD").replace(/\p{M}/gu, "").toLowerCase();

// What stands in a row as a person reads it: the words beside cells, what is typed in them, the words chosen.
function said(row) {
  const cells = [...row.querySelectorAll("input, textarea")].map((field) => field.value);
  const chosen = [...row.querySelectorAll("select")].map((field) => field.selectedOptions[0]?.textContent || "");
  const read = [...row.querySelectorAll("th, td:not(.margin)")].filter((cell) => !cell.querySelector("select")).map((cell) => cell.textContent);
  return fold([row.id, ...read, ...cells, ...chosen].join(" "));
}

function sift(opening) {
  const field = document.querySelector("[data-within]");
  if (!field) return;
  const words = fold(field.value).split(/\s+/).filter(Boolean);
  let found = 0;
  for (const part of document.querySelectorAll("details[data-fold]")) {
    let here = 0;
    let shows = true;
    for (const row of part.querySelectorAll(`:scope ${ROWS}`)) {
      // What a row has unfolded goes with it.
      if (!row.classList.contains("unfolded")) {
        const told = words.length ? said(row) : "";
        shows = words.every((word) => told.includes(word));
        here += shows;
      }
      row.hidden = !shows;
    }
    if (opening) part.open = words.length ? here > 0 : !narrow.matches;
    found += here;
  }
  const place = document.getElementById("within-said");
  const told = words.length ? (found === 1 ? "1 row" : `${found} rows`) : "";
  if (place.textContent !== told) place.textContent = told;
}

document.addEventListener("input", (event) => {
  if (event.target.matches?.("[data-within]")) sift(true);
});
document.addEventListener("keydown", (event) => {
  if (event.key !== "Escape" || !event.target.matches?.("[data-within]") || !event.target.value) return;
  event.preventDefault();
  event.target.value = "";
  sift(true);
});
document.addEventListener("drawn", () => sift(false));
folds();
