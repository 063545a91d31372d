// A frame of sound as the server reads it: see fieldlog/serve/phone/frames.py.

export const HEADER = 32;
const TABLE = new Uint32Array(256).map((_, n) => {
  for (let k = 0; k < 8; k++) n = n & 1 ? 0xedb88320 ^ (n >>> 1) : n >>> 1;
  return n >>> 0;
});

export function crc32(bytes) {
  let sum = 0xffffffff;
  for (const one of bytes) sum = TABLE[(sum ^ one) & 255] ^ (sum >>> 8);
  return (sum ^ 0xffffffff) >>> 0;
}

export function frame(sequence, first, at, samples) {
  const bytes = new Uint8Array(HEADER + 2 * samples.length);
  const view = new DataView(bytes.buffer);
  bytes.set([0x46, 0x4c, 0x50, 0x31]); // FLP1
  view.setUint32(8, sequence, true);
  view.setUint32(12, samples.length, true);
  view.setFloat64(16, first, true);
  view.setFloat64(24, at, true);
  for (let i = 0; i < samples.length; i++) view.setInt16(HEADER + 2 * i, samples[i], true);
  view.setUint32(4, crc32(bytes.subarray(8)), true);
  return bytes;
}

// The frame at the head of a slot that may be longer than it.
export function trimmed(slot) {
  const count = new DataView(slot.buffer, slot.byteOffset).getUint32(12, true);
  return slot.subarray(0, Math.min(slot.length, HEADER + 2 * count));
}

export const hex = (bytes) => Array.from(bytes, (one) => one.toString(16).padStart(2, "0")).join("");
export const random = (count) => hex(crypto.getRandomValues(new Uint8Array(count)));
export async function sha256(bytes) { return hex(new Uint8Array(await crypto.subtle.digest("SHA-256", bytes))); }
