// In a worker: keeps what the microphone and the camera give until the machine has it, and is the line to the machine.

import { frame, random } from "/page/phone/frames.js";
import { send } from "/page/phone/sending.js";
import { Run, Store } from "/page/phone/store.js";

const QUIET_MS = 12000; // the machine asks for the clock every five seconds
const MOST_UNSENT = 256 * 1024;
const CLOCK_SET_S = 0.25;
const MOST_SENDING_MS = 60000;
const MEANT_MS = 60000; // what was begun longer before the machine told its inspection may be of another

const store = new Store();
let runs = [];
let begun = null; // the run that the machine was told of
let cursor = null; // its next frame to send
let socket = null;
let ready = false;
let heard = 0;
let wait = 500;
let again = 0;
let token = "";
let inspection = "";
let clock = null;
let page = random(4); // of this page, as long as the phone's clock is not set
let state = {};
let pumping = false;
let photographing = false;
let sending = null; // stops a photo on its way, which a line that is cut leaves waiting for ever
let unsaid = [];
let opened = false;
let last = "";
let held = 0; // until when another phone is listened to, as far as is known

const tell = (message) => postMessage(message);

function kept() {
  const seconds = runs.reduce((sum, one) => sum + one.seconds, 0);
  const told = { seconds, photos: store.photos.size, fault: store.fault, unsaid: unsaid.length };
  const text = JSON.stringify(told);
  if (text !== last) tell({ kept: told });
  last = text;
  if (state.full !== store.full) { state = { ...state, full: store.full }; say({ type: "state", ...state }); }
}

// Typed words that the machine has not answered yet.
function waiting(words) {
  unsaid = words;
  if (opened) store.keepSaid(unsaid);
  kept();
}

function say(message) {
  if (socket?.readyState === WebSocket.OPEN) socket.send(JSON.stringify(message));
}

function connect() {
  clearTimeout(again);
  if (socket && socket.readyState < WebSocket.CLOSING) return;
  heard = Date.now();
  socket = new WebSocket(`wss://${location.host}/phone/line?run=${page}`);
  socket.binaryType = "arraybuffer";
  const mine = socket;
  socket.onopen = () => { wait = 500; tell({ line: "connected" }); say({ type: "state", ...state }); };
  socket.onmessage = ({ data }) => { if (mine === socket) take(JSON.parse(data), Date.now()); };
  socket.onclose = ({ reason }) => { if (mine === socket) cut(reason); };
}

function cut(reason = "") {
  const mine = socket;
  socket = null;
  mine?.close();
  ready = false;
  begun = cursor = null;
  sending?.abort();
  tell({ line: "cut", reason });
  clearTimeout(again);
  again = setTimeout(reach, wait);
  wait = Math.min(wait * 2, 5000);
}

// Whether this phone may still come in, and the token for what it sends; then the line. What hangs is not waited for.
async function reach() {
  clearTimeout(again);
  try {
    const answer = await fetch("/session", { signal: AbortSignal.timeout(QUIET_MS) });
    if (answer.status === 401) return tell({ out: true });
    if (answer.ok) token = (await answer.json()).token;
  } catch { /* no network: tried again */ }
  connect();
}

function take(message, at) {
  heard = at;
  switch (message.type) {
    case "ping": return say({ type: "pong", n: message.n, got: at, replied: Date.now() });
    case "clock": return clocked(message);
    case "resume":
      if (begun && message.stream === begun.about.stream) { cursor = message.next; pump(); }
      return;
    case "got":
      for (const run of runs) if (run.about.stream === message.stream) run.has(message.next).then(pump, pump);
      return;
    case "view": {
      const before = inspection;
      inspection = message.inspection.id;
      for (const run of runs.filter((one) => one.meant && Date.now() - one.about.began < MEANT_MS)) named(run);
      const unknown = runs.some((run) => !run.over && !run.about.inspection); // begun without the machine
      const moved = before ? before !== inspection && "another" : unknown && "first";
      pump();
      return tell({ view: message, moved });
    }
    case "told": return tell({ told: message.lines });
    case "taken": return waiting(unsaid.filter((one) => one.n !== message.n));
    case "no":
      if (message.n) {
        const one = unsaid.find(({ n }) => n === message.n);
        waiting(unsaid.filter((other) => other !== one));
        if (one) tell({ back: one.text });
      } else { begun = cursor = null; held = Date.now() + 5000; } // photos and typed words go on
      kept();
      return tell({ no: message.what });
  }
}

// Listened to as soon as the machine had let this page in, and before it told at which inspection it is: at that one.
function named(run) {
  run.about.inspection = inspection;
  run.meant = run.headed = false;
  store.remember(run).catch(() => {}); // no room: with the next frame
}

function clocked({ ahead_s, within_s }) {
  if (clock !== null && Math.abs(clock - ahead_s) > CLOCK_SET_S + within_s) {
    page = random(4); // what comes now has another clock: photos of before keep the one they had
    clock = null;
    return cut();
  }
  clock = ahead_s;
  tell({ clock: { ahead_s, within_s } });
  if (!ready) {
    ready = true;
    for (const one of unsaid) say(one);
    photos();
  }
  pump();
}

async function pump() {
  if (pumping || !ready || !inspection || Date.now() < held) return kept();
  pumping = true;
  try {
    while (runs.length && socket?.readyState === WebSocket.OPEN) {
      const run = runs[0];
      if (run !== begun) {
        begun = run;
        cursor = null;
        say({ type: "begin", ...run.about, oldest: run.acknowledged });
      }
      if (cursor === null) break;
      while (cursor < run.written && socket?.readyState === WebSocket.OPEN && socket.bufferedAmount < MOST_UNSENT) {
        const n = cursor++;
        const bytes = await run.frame(n);
        if (cursor === null || begun !== run) break; // cut meanwhile
        if (bytes) socket?.send(bytes);
      }
      if (!run.done) break;
      say({ type: "end", stream: run.about.stream, whole: run.whole });
      runs.shift();
      begun = cursor = null;
      await run.remove();
    }
  } catch (fault) {
    tell({ no: `the page stumbled (${fault.message}); it goes on` });
  } finally {
    pumping = false;
    kept();
  }
}

async function photos() {
  store.keepPhotos();
  if (photographing || !ready) return kept();
  photographing = true;
  sending = new AbortController();
  const late = setTimeout(() => sending.abort(), MOST_SENDING_MS);
  try {
    for (const [sha256, about] of [...store.photos]) {
      const whose = about.inspection || inspection;
      if (!whose) continue; // the machine has not said yet which it is at
      const told = await send(sha256, { ...about, inspection: whose }, () => store.photo(sha256), token, sending.signal);
      if (told.whole) store.dropPhoto(sha256);
      else if (told.gone) {
        store.dropPhoto(sha256);
        say({ type: "lost" });
        tell({ no: "the browser threw a photo away before the machine had it: take it again" });
      } else if (told.refused) {
        store.photos.set(sha256, { ...store.photos.get(sha256), refused: told.refused });
        tell({ no: `a photo is not taken: ${told.refused}; it stays on this phone` });
      } else if (told.waits) tell({ no: `a photo waits on this phone: ${told.waits}` });
      kept();
    }
  } catch { /* cut: tried again when the line is there */ } finally { clearTimeout(late); photographing = false; kept(); }
}

function begin({ rate, settings }, port) {
  const stream = random(8);
  const run = new Run(store, { stream, rate, inspection, settings, began: Date.now() });
  run.meant = !inspection && Boolean(token);
  let n = 0;
  let order = store.remember(run).catch(() => {}); // no room: tried again with every frame
  runs.push(run);
  port.onmessage = ({ data }) => {
    if (data.over) order = order.then(() => { run.over = run.whole = true; pump(); });
    else {
      const bytes = frame(n++, data.first, data.at, data.samples);
      order = order.then(() => run.keep(bytes)).then(() => { pump(); });
    }
  };
}

async function open() {
  opened = true;
  runs = [...(await store.start()), ...runs];
  waiting([...store.said, ...unsaid]);
  tell({ opened });
  kept();
  if (token) connect();
  else reach();
  setInterval(() => {
    if (socket && Date.now() - heard > QUIET_MS) cut();
    pump();
  }, 250);
  setInterval(photos, 3000);
}

onmessage = async ({ data, ports }) => {
  if (data.open !== undefined) {
    token = data.open;
    // One page keeps at a time: what one has in its files is not another's to send and remove.
    const mine = navigator.locks?.request("fieldlog-keeper", () => new Promise((_, fail) => open().catch(fail)));
    if (!mine) open();
    else setTimeout(() => { if (!opened) tell({ no: "Another page of this phone is open: close it, or use that one." }); }, 1500);
  }
  if (data.run) begin(data.run, ports[0]);
  if (data.state) { state = { ...data.state, full: store.full }; say({ type: "state", ...state }); }
  if (data.say) {
    const one = { type: "say", n: random(8), inspection, ...data.say };
    waiting([...unsaid, one]);
    if (ready) say(one);
  }
  if (data.photo) {
    const { sha256, bytes } = data.photo;
    await store.addPhoto(sha256, bytes, { inspection, run: data.photo.run });
    photos();
  }
  if (data.page) tell({ page });
  if (opened && data.online === false) cut();
  if (opened && data.online === true) { wait = 500; reach(); }
};
