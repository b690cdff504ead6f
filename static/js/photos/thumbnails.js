// Small pictures of files that are still on the device, made one after another: a photograph decoded
// whole takes tens of megabytes, a phone has few, and what stays is a canvas of a hundred kilobytes.

const WIDTH_PX = 200;
const HEIGHT_PX = 150;
const LARGEST_BYTES = 30_000_000; // what is larger is shown by its name alone

let last = Promise.resolve();

// Resolves to a canvas, or to null where this browser cannot show the file, as most can no HEIC.
export function thumbnail(file, { isWanted = () => true } = {}) {
  const made = last.then(() => (isWanted() ? draw(file) : null));
  last = made;
  return made;
}

async function draw(file) {
  if (file.size > LARGEST_BYTES) return null;
  let picture;
  try {
    picture = await createImageBitmap(file, { resizeWidth: WIDTH_PX, resizeQuality: "medium" });
  } catch {
    return null;
  }
  const canvas = document.createElement("canvas");
  canvas.width = WIDTH_PX;
  canvas.height = HEIGHT_PX;
  canvas.setAttribute("aria-hidden", "true");
  const scale = Math.max(WIDTH_PX / picture.width, HEIGHT_PX / picture.height);
  const [width, height] = [picture.width * scale, picture.height * scale];
  const brush = canvas.getContext("2d");
  brush.drawImage(picture, (WIDTH_PX - width) / 2, (HEIGHT_PX - height) / 2, width, height);
  picture.close();
  return canvas;
}
