// How much of a file's beginning tells when it was taken. In a JPEG that is the segment with the
// camera's notes and no byte of the picture; elsewhere as much as the server would read.

const MOST_BYTES = 128 * 1024; // as EXIF_WITHIN_BYTES in assessments/imaging/__init__.py
const LEAST_BYTES = 64; // what tells a format
const START = 0xffd8;
const SCAN = 0xffda;
const NOTES = 0xffe1;
const EXIF = 0x45786966; // "Exif"; the same marker may carry other notes

export async function headThatTellsWhen(file) {
  const head = file.slice(0, MOST_BYTES);
  const bytes = new DataView(await head.arrayBuffer());
  if (bytes.byteLength < 4 || bytes.getUint16(0) !== START) return head;
  let at = 2;
  while (at + 10 <= bytes.byteLength) {
    const marker = bytes.getUint16(at);
    if (marker === SCAN || marker < 0xff00) break;
    const end = at + 2 + bytes.getUint16(at + 2);
    if (marker === NOTES && bytes.getUint32(at + 4) === EXIF)
      return file.slice(0, Math.max(LEAST_BYTES, end));
    at = end;
  }
  return file.slice(0, Math.max(LEAST_BYTES, Math.min(at, MOST_BYTES)));
}
