// Photographs that wait to be sent: each under the mark of what was said with it, in the browser's own database; without one, in this page.

const page = new Map();
let opened = null;

function open() {
  opened ||= new Promise((settled, failed) => {
    const asked = indexedDB.open("loopwright", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore("carried");
    asked.onsuccess = () => settled(asked.result);
    asked.onerror = () => failed(asked.error);
  });
  return opened;
}

async function within(mode, act) {
  const database = await open();
  return new Promise((settled, failed) => {
    const work = database.transaction("carried", mode, { durability: "strict" });
    const asked = act(work.objectStore("carried"));
    work.oncomplete = () => settled(asked.result);
    work.onerror = () => failed(work.error);
    work.onabort = () => failed(work.error);
  });
}

export async function carry(mark, text) {
  try {
    await within("readwrite", (store) => store.put(text, mark));
  } catch {
    page.set(mark, text);
  }
}

export async function carried(mark) {
  if (page.has(mark)) return page.get(mark);
  try {
    return (await within("readonly", (store) => store.get(mark))) || "";
  } catch {
    return "";
  }
}

export async function dropped(mark) {
  page.delete(mark);
  try {
    await within("readwrite", (store) => store.delete(mark));
  } catch {
    // It was never there.
  }
}
