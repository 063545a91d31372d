// The instant of the shutter into a JPEG: an Exif segment behind its first two bytes (CIPA DC-008, TIFF 6.0).

const ASCII = 2;
const LONG = 4;

function entries(list, at) {
  // list: [tag, type, text or number]; at: offset of this directory in the TIFF. Returns bytes.
  const head = 2 + 12 * list.length + 4;
  let more = [];
  const view = new DataView(new ArrayBuffer(head));
  view.setUint16(0, list.length, true);
  list.forEach(([tag, type, value], n) => {
    const where = 2 + 12 * n;
    view.setUint16(where, tag, true);
    view.setUint16(where + 2, type, true);
    if (type === LONG) {
      view.setUint32(where + 4, 1, true);
      view.setUint32(where + 8, value, true);
      return;
    }
    const text = [...new TextEncoder().encode(value), 0];
    view.setUint32(where + 4, text.length, true);
    if (text.length <= 4) text.forEach((one, i) => view.setUint8(where + 8 + i, one));
    else {
      view.setUint32(where + 8, at + head + more.length, true);
      more = more.concat(text, text.length % 2 ? [0] : []);
    }
  });
  return [...new Uint8Array(view.buffer), ...more];
}

export function withExif(jpeg, { at, make, model, serial }) {
  const two = (n) => String(n).padStart(2, "0");
  const t = new Date(at);
  const day = `${t.getUTCFullYear()}:${two(t.getUTCMonth() + 1)}:${two(t.getUTCDate())}`;
  const time = `${day} ${two(t.getUTCHours())}:${two(t.getUTCMinutes())}:${two(t.getUTCSeconds())}`;
  const main = (pointer) => [[0x010f, ASCII, make], [0x0110, ASCII, model], [0x8769, LONG, pointer]];
  const pointer = 8 + entries(main(0), 8).length;
  const exif = [
    [0x9003, ASCII, time],
    [0x9011, ASCII, "+00:00"],
    [0x9291, ASCII, String(t.getUTCMilliseconds()).padStart(3, "0")],
    [0xa431, ASCII, serial],
  ];
  const tiff = [0x49, 0x49, 42, 0, 8, 0, 0, 0, ...entries(main(pointer), 8), ...entries(exif, pointer)];
  const body = [0x45, 0x78, 0x69, 0x66, 0, 0, ...tiff];
  const length = body.length + 2;
  const segment = new Uint8Array([0xff, 0xe1, length >> 8, length & 255, ...body]);
  const whole = new Uint8Array(jpeg.length + segment.length);
  whole.set(jpeg.subarray(0, 2));
  whole.set(segment, 2);
  whole.set(jpeg.subarray(2), 2 + segment.length);
  return whole;
}
