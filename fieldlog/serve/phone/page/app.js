// The page: comes in, listens, photographs, shows. Sound and photos go to the keeper, a worker of its own.

import { comeIn, witnesses } from "/page/phone/door.js";
import { withExif } from "/page/phone/exif.js";
import { sha256 } from "/page/phone/frames.js";
import { $, alarm, told, view } from "/page/phone/show.js";

const WANTED = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 };
const STILL_MS = 2000;
const state = { front: true, muted: false, ended: false };
let keeper;
let session;
let ear = null; // context, track, node
let ailing = ""; // what was told last of page and microphone
let lens = null;
let shown = 0;
let lock = null;
let hidden = 0;
let page = "";
let line = "not connected";

const since = (seconds) => (seconds < 60 ? `${seconds.toFixed(0)} s` : `${Math.floor(seconds / 60)} min ${Math.round(seconds % 60)} s`);

function changed(what) {
  Object.assign(state, what);
  keeper?.postMessage({ state });
  const why = !ear ? "" : !state.front ? "" : state.ended ? "The microphone is gone: press Listen again." : state.muted ? "The microphone is muted, or something else has it: nothing is heard." : "";
  if (why || $("alarm").textContent === ailing) alarm(why); // what else is told there stays
  ailing = why;
}

async function awake() {
  try { lock = await navigator.wakeLock.request("screen"); } catch { lock = null; }
}

async function context(stream) {
  try {
    const made = new AudioContext({ sampleRate: 16000 });
    return [made, made.createMediaStreamSource(stream)];
  } catch { // a browser that does not change the rate itself: the machine does
    const made = new AudioContext();
    return [made, made.createMediaStreamSource(stream)];
  }
}

async function listen() {
  $("listen").disabled = true;
  try {
    const stream = await navigator.mediaDevices.getUserMedia({ audio: WANTED });
    const [track] = stream.getAudioTracks();
    const [made, source] = await context(stream);
    await made.audioWorklet.addModule("/page/phone/taker.js");
    const node = new AudioWorkletNode(made, "taker", { outputChannelCount: [1] });
    source.connect(node).connect(made.destination); // it gives silence; what leads nowhere is not run by every browser
    const pipe = new MessageChannel();
    keeper.postMessage({ run: { rate: made.sampleRate, settings: track.getSettings() } }, [pipe.port2]);
    node.port.postMessage({ keeper: pipe.port1 }, [pipe.port1]);
    node.port.onmessage = ({ data }) => level(data);
    track.onmute = () => changed({ muted: true });
    track.onunmute = () => changed({ muted: false });
    track.onended = () => { stop(); changed({ ended: true }); };
    made.onstatechange = () => changed({ muted: made.state !== "running" && made.state !== "closed" });
    await made.resume();
    ear = { made, track, node };
    changed({ muted: track.muted, ended: false });
    await awake();
  } catch (fault) {
    alarm(`The microphone cannot be used (${fault.name}). Allow it for this page and press Listen again.`);
  }
  $("listen").disabled = false;
  heading();
}

function stop() {
  if (!ear) return;
  ear.node.port.postMessage({ stop: true });
  const { made, track } = ear;
  track.onended = made.onstatechange = null;
  ear = null;
  setTimeout(() => { track.stop(); made.close(); }, 300); // the last frame is on its way
  lock?.release().catch(() => {});
  level({ rms: 0 });
  heading();
}

function heading() {
  $("state").textContent = ear ? "Listening" : "Not listening";
  $("listen").textContent = ear ? "Stop" : "Listen";
  $("listen").setAttribute("aria-pressed", String(Boolean(ear)));
}

function level({ rms, peak }) {
  const decibels = 20 * Math.log10(Math.max(rms, 1e-6));
  $("level").firstElementChild.style.transform = `scaleX(${Math.max(0, Math.min(1, (decibels + 60) / 60))})`;
  if (peak > 0.985) $("level").setAttribute("aria-label", "too loud");
}

async function look() {
  try {
    const video = { facingMode: "environment", width: { ideal: 3840 }, height: { ideal: 2160 } };
    lens = await navigator.mediaDevices.getUserMedia({ video });
    const [track] = lens.getVideoTracks();
    track.onended = () => { shut(); alarm("The camera is gone: press Camera again."); };
    $("viewfinder").srcObject = lens;
    watched();
    $("camera").hidden = $("shut").hidden = false;
    $("photo").textContent = "Take photo";
    await $("viewfinder").play();
    $("camera").scrollIntoView({ block: "center" });
  } catch (fault) {
    shut();
    alarm(`The camera cannot be used (${fault.name}). Allow it for this page.`);
  }
}

function shut() {
  lens?.getTracks().forEach((one) => one.stop());
  lens = null;
  $("camera").hidden = $("shut").hidden = true;
  $("photo").textContent = "Camera";
}

// When the viewfinder showed a picture last; where the browser does not tell, it is taken as now.
function watched() {
  const picture = $("viewfinder");
  const mine = lens;
  shown = picture.requestVideoFrameCallback ? performance.now() : Infinity;
  const next = () => {
    if (lens !== mine) return;
    shown = performance.now();
    picture.requestVideoFrameCallback(next);
  };
  picture.requestVideoFrameCallback?.(next);
}

// A browser may leave out what is scrolled away: it is brought back and waited for.
async function moves() {
  if (performance.now() - shown <= STILL_MS) return true;
  $("camera").scrollIntoView({ block: "center" });
  const from = performance.now();
  while (lens && shown < from && performance.now() - from < STILL_MS) await new Promise((done) => { setTimeout(done, 50); });
  return shown >= from;
}

async function photograph() {
  if (!lens) return await look();
  const picture = $("viewfinder");
  const [track] = lens.getVideoTracks();
  // What stands still in the viewfinder may be of a minute ago, and would be kept as of now.
  const still = track.readyState !== "live" || track.muted || picture.paused || !(await moves());
  if (!picture.videoWidth || still) return alarm("No photo was taken: the camera gives no picture just now. Wait for it, or close it and press Camera again.");
  try { await shoot(picture); } catch (fault) { alarm(`No photo was taken (${fault.name}). Press again.`); }
}

async function shoot(picture) {
  const canvas = Object.assign(document.createElement("canvas"), { width: picture.videoWidth, height: picture.videoHeight });
  const at = Date.now();
  canvas.getContext("2d").drawImage(picture, 0, 0);
  const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.92));
  if (!blob) throw new DOMException("", "NoPicture");
  const run = page;
  const facts = { at, make: "fieldlog", model: "page", serial: `${session.name}-${run}` };
  const bytes = withExif(new Uint8Array(await blob.arrayBuffer()), facts);
  const name = await sha256(bytes);
  keeper.postMessage({ photo: { sha256: name, bytes, run } }, [bytes.buffer]);
}

function kept({ seconds, photos, fault, unsaid }) {
  const parts = [];
  if (seconds >= 1) parts.push(`${since(seconds)} of sound`);
  if (photos) parts.push(`${photos} photo${photos > 1 ? "s" : ""}`);
  if (unsaid) parts.push(`${unsaid} typed`);
  $("kept").textContent = parts.length ? `only on this phone: ${parts.join(", ")}` : "";
  $("only-here").textContent = fault;
}

function heard({ data }) {
  if (data.line) {
    line = data.line === "connected" ? "connected" : "cut off: kept on this phone";
    $("line").textContent = line;
    if (data.reason) alarm(`The machine: ${data.reason}`);
  }
  if (data.kept) kept(data.kept);
  if (data.view) view(data.view, (text, question) => keeper.postMessage({ say: { text, question } }));
  if (data.moved) moved(data.moved);
  if (data.told) told(data.told);
  if (data.page) page = data.page;
  if (data.no) alarm(data.no);
  if (data.back && !$("words").value) $("words").value = data.back; // it was not taken: it can be put right
  if (data.opened) { $("listen").disabled = false; alarm(""); }
  if (data.clock) {
    keeper.postMessage({ page: true });
    const way = data.clock.ahead_s < 0 ? "behind" : "ahead";
    $("clock").textContent = `Clock: ${Math.abs(data.clock.ahead_s).toFixed(2)} s ${way} of the machine's, within ${data.clock.within_s.toFixed(2)} s; photos and sound are put right by that.`;
  }
  if (data.out) { stop(); door("This phone may come in no more. Show a new picture on the machine and scan that."); }
}

// What was recorded so far belongs to the inspection that it was said in; from here on it is another.
async function moved(to) {
  if (ear) {
    stop();
    await listen();
  }
  alarm(to === "first"
    ? "The machine is reached. What was said before is kept there as a recording of its own; from here on it is heard into the inspection."
    : "The machine is at another inspection now: what is said and photographed from here on goes there.");
}

function door(text, digits = "") {
  $("work").hidden = $("bar").hidden = true;
  $("door").hidden = false;
  $("door-told").textContent = text;
  $("digits").textContent = digits;
  $("digits").hidden = !digits;
  return null;
}

async function trust() {
  const lacks = "Level 1: the warning was tapped away. Sound, photos and everything on this page work; the page does not start without the network. Level 2 (the machine's authority installed) adds that, and no warning: ";
  try {
    await navigator.serviceWorker.register("/phone/worker.js", { scope: "/phone/" });
    $("trust").textContent = "Level 2: this machine's authority is installed. The page starts without the network too.";
  } catch {
    const link = Object.assign(document.createElement("a"), { href: "/phone/authority.crt", textContent: "get the authority" });
    $("trust").replaceChildren(lacks, link);
  }
}

async function start() {
  session = await comeIn(door);
  if (!session) return;
  $("door").hidden = true;
  $("work").hidden = $("bar").hidden = false;
  $("witness").hidden = !witnesses().length;
  $("checkpoint").textContent = witnesses().at(-1) || "";
  keeper = new Worker("/phone/keeper.js", { type: "module" });
  keeper.onmessage = heard;
  keeper.postMessage({ open: session.token });
  keeper.postMessage({ page: true });
  $("listen").disabled = true; // until the keeper has its files
  $("listen").onclick = () => (ear ? stop() : listen());
  $("photo").onclick = photograph;
  $("shut").onclick = shut;
  $("type").onsubmit = (event) => {
    event.preventDefault();
    const text = $("words").value.trim();
    if (text) keeper.postMessage({ say: { text } });
    $("words").value = "";
  };
  document.onvisibilitychange = () => {
    const front = document.visibilityState === "visible";
    if (!front) { hidden = Date.now(); return changed({ front }); }
    changed({ front });
    if (ear) {
      awake();
      ear.made.resume();
      if (hidden) alarm(`This page was not in front for ${since((Date.now() - hidden) / 1000)}: what was said meanwhile may be missing. Keep it in front.`);
    }
    hidden = 0;
  };
  addEventListener("offline", () => keeper.postMessage({ online: false }));
  addEventListener("online", () => keeper.postMessage({ online: true }));
  await navigator.storage?.persist?.().catch(() => false);
  await trust();
}

start();
