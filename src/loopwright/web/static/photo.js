// A photograph as it is sent: upright, small enough, and drawn anew, so that nothing a camera writes beside the picture goes along.

const LONGEST = 1400;
const SMALLEST = 400;
const MOST_BYTES = 180000;
const QUALITIES = [0.8, 0.65, 0.5];

export async function photographed(file) {
  const picture = await createImageBitmap(file);
  for (let longest = LONGEST; longest >= SMALLEST; longest *= 0.75) {
    const drawing = drawn(picture, Math.min(1, longest / Math.max(picture.width, picture.height)));
    for (const quality of QUALITIES) {
      const made = await new Promise((go) => drawing.toBlob(go, "image/jpeg", quality));
      if (made && made.size <= MOST_BYTES) return inText(made);
    }
  }
  throw new Error("too large");
}

function drawn(picture, scale) {
  const made = document.createElement("canvas");
  made.width = Math.max(1, Math.round(picture.width * scale));
  made.height = Math.max(1, Math.round(picture.height * scale));
  made.getContext("2d").drawImage(picture, 0, 0, made.width, made.height);
  return made;
}

const inText = (made) =>
  new Promise((settled, failed) => {
    const reader = new FileReader();
    reader.onload = () => settled(reader.result.slice(reader.result.indexOf(",") + 1));
    reader.onerror = () => failed(reader.error);
    reader.readAsDataURL(made);
  });
