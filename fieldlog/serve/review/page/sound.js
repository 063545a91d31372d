// One sound for the whole page: 300 players would each start a decoder. And its shape on paper.
import { byId } from "./dom.js";

const audio = () => byId("sound");
const shapes = new Map();
let drawing = 0;
let wanted = 0;

export async function shape(name) {
  if (!shapes.has(name)) {
    shapes.set(name, fetch(`/media/shape/${name}`).then(async (a) => (a.ok ? new Int8Array(await a.arrayBuffer()) : null)));
  }
  return shapes.get(name);
}

// Play the clips one after the other; false where the browser wants a gesture first: nothing is skipped, R plays it then.
export async function play(clips, { rate = 1, from = 0, onplace = () => {} } = {}) {
  const mine = ++wanted;
  for (const [number, name] of clips.entries()) {
    const one = audio();
    one.src = `/media/clip/${name}`;
    one.preservesPitch = true;
    one.defaultPlaybackRate = one.playbackRate = rate;
    if (number === 0 && from > 0) one.currentTime = from;
    try { await one.play(); } catch (error) { if (mine !== wanted || error.name === "AbortError") return true; return false; }
    const step = () => {
      if (mine !== wanted) return;
      onplace(name, one.ended ? null : one.currentTime);
      if (!one.ended && !one.paused) drawing = requestAnimationFrame(step);
    };
    step();
    await new Promise((over) => { one.onended = one.onerror = over; });
    onplace(name, null);
    if (mine !== wanted) return true;
  }
  return true;
}

export function hush() {
  wanted++;
  cancelAnimationFrame(drawing);
  audio().pause();
}

// The shape of a clip in ink; under it a ruler of its words, a taller stroke where a finding ends, hatching where no word covers what was said.
export function draw(canvas, points, said, place = null) {
  const scale = window.devicePixelRatio || 1;
  const width = canvas.clientWidth, height = canvas.clientHeight;
  if (!width) return;
  canvas.width = width * scale;
  canvas.height = height * scale;
  const pen = canvas.getContext("2d");
  const ink = getComputedStyle(canvas).color;
  pen.scale(scale, scale);
  pen.clearRect(0, 0, width, height);
  pen.fillStyle = pen.strokeStyle = ink;
  const room = height - 16, middle = room / 2;
  const count = points.length / 2;
  const x = (seconds) => (seconds * 100 / Math.max(1, count)) * width;
  const columns = Math.max(1, Math.floor(width));
  for (let column = 0; column < columns; column++) {
    let low = 0, high = 0;
    const begin = Math.floor((column / columns) * count), end = Math.max(begin + 1, Math.floor(((column + 1) / columns) * count));
    for (let at = begin; at < end && at < count; at++) { low = Math.min(low, points[2 * at]); high = Math.max(high, points[2 * at + 1]); }
    pen.fillRect(column, middle - (high / 127) * middle * 0.96, 1, Math.max(1, ((high - low) / 127) * middle * 0.96));
  }
  const base = height - 6;
  pen.fillRect(0, base, width, 1);
  for (const [number, word] of said.words.entries()) {
    pen.fillRect(x(word.from), base - (number % 2 ? 1 : 3), Math.max(1, x(word.to) - x(word.from) - 1), number % 2 ? 1 : 3);
    pen.fillRect(x(word.from), base - 5, 1, 6);
  }
  for (const part of said.parts) {
    if (part.part !== null) { pen.fillRect(Math.min(width - 2, x(part.to)), base - 10, 2, 12); continue; }
    for (let at = x(part.from); at < x(part.to); at += 5) { pen.beginPath(); pen.moveTo(at, height); pen.lineTo(at + 7, 0); pen.lineWidth = 1.2; pen.stroke(); }
    pen.strokeRect(x(part.from), 0.5, Math.max(2, x(part.to) - x(part.from)), room);
  }
  if (place !== null) { pen.fillRect(x(place) - 1, 0, 2, height); pen.beginPath(); pen.moveTo(x(place) - 5, 0); pen.lineTo(x(place) + 5, 0); pen.lineTo(x(place), 8); pen.fill(); }
}

// The whole inspection on one ruler: a stroke for each thing said, as long as it matters, a wedge over what is looked at.
export function tape(canvas, items, current) {
  const scale = window.devicePixelRatio || 1;
  const width = canvas.clientWidth, height = canvas.clientHeight;
  if (!width) return;
  canvas.width = width * scale;
  canvas.height = height * scale;
  const pen = canvas.getContext("2d");
  pen.scale(scale, scale);
  pen.fillStyle = pen.strokeStyle = getComputedStyle(canvas).color;
  const timed = items.filter((each) => each.at !== null && each.at !== undefined);
  const last = Math.max(60, ...timed.map((each) => each.at)) * 1.02;
  const x = (at) => 8 + (at / last) * (width - 16);
  const base = height - 14;
  pen.fillRect(0, base, width, 1);
  const minute = [60, 120, 300, 600, 1200, 3600, 7200, 21600, 86400, 604800, 2592000, 31536000].find((each) => (each / last) * width > 56) || last;
  pen.font = "11px Helvetica, Arial, sans-serif";
  for (let at = 0; at <= last; at += minute / 4) {
    const whole = at % minute === 0;
    pen.fillRect(x(at), base, 1, whole ? 6 : 3);
    if (whole) pen.fillText(at >= 172800 ? `${Math.round(at / 86400)} d` : at >= 7200 ? `${at / 3600} h` : `${at / 60} min`, Math.min(x(at) + 3, width - 40), height - 2);
  }
  for (const each of timed) {
    const tall = each.group === "decide" ? 24 : each.group === "blind" ? 16 : 9;
    if (each.decided) { pen.strokeRect(x(each.at) - 1.5, base - 9, 3, 8); continue; }
    pen.fillRect(x(each.at) - (each.group === "rest" ? 0.5 : 1.5), base - tall, each.group === "rest" ? 1 : 3, tall);
  }
  if (current && current.at !== null && current.at !== undefined) {
    const at = x(current.at);
    pen.beginPath(); pen.moveTo(at - 6, 0); pen.lineTo(at + 6, 0); pen.lineTo(at, 10); pen.fill();
  }
}
