// What only this phone has: sound and photos in the browser's own files (OPFS) until the machine says that it has them.
//
// Sound lies in pieces of a minute, each frame in a slot of its own; a piece is removed once all of it is there. Where
// the browser gives no such files (a private window), everything is in memory, and the page says so.

import { HEADER, sha256, trimmed } from "/page/phone/frames.js";

const FRAMES = 600;

async function folder(name) {
  const root = await navigator.storage.getDirectory();
  return await root.getDirectoryHandle(name, { create: true });
}

async function names(where) {
  const found = [];
  for await (const name of where.keys()) found.push(name);
  return found.sort();
}

async function whole(where, name, bytes) {
  const file = await (await where.getFileHandle(name, { create: true })).createSyncAccessHandle();
  try { file.truncate(0); file.write(bytes, { at: 0 }); file.flush(); } finally { file.close(); }
}

async function read(where, name) {
  return new Uint8Array(await (await (await where.getFileHandle(name)).getFile()).arrayBuffer());
}

const isFull = (fault) => fault.name === "QuotaExceededError";
const words = (value) => new TextEncoder().encode(JSON.stringify(value));
const value = (bytes) => JSON.parse(new TextDecoder().decode(bytes));

// One run of the microphone.
export class Run {
  constructor(store, about, { written = 0, acknowledged = 0, over = false } = {}) {
    this.store = store;
    this.about = about; // stream, rate, inspection, began, settings
    this.slot = HEADER + 2 * Math.round(about.rate / 10);
    this.written = written;
    this.acknowledged = acknowledged;
    this.over = over;
    this.memory = new Map();
    this.piece = null;
    this.open = -1;
    this.headed = over; // whether a later page would find it
    this.lacking = new Set(); // frames that the file has no room for: they are in memory alone
  }

  get seconds() { return (this.written - this.acknowledged) / 10; }
  get done() { return this.over && this.acknowledged >= this.written; }

  async keep(bytes) {
    const n = this.written++;
    this.memory.set(n, bytes);
    if (!this.store.files) return;
    this.lacking.add(n);
    try {
      await this.store.remember(this);
      for (const one of [...this.lacking]) await this.put(one);
      if (n % 5 === 4) this.piece?.flush();
      this.lacking.clear();
      // What is in the file need not be in memory too; the newest minute stays, it is what is mostly asked for.
      this.memory.delete(n - FRAMES);
      this.store.faults.delete("sound");
    } catch (fault) {
      for (let one = Math.max(0, n - 4); one <= n; one++) if (this.memory.has(one)) this.lacking.add(one);
      this.store.faults.set("sound", `the browser keeps no more sound (${fault.name}): what is not sent is lost when this page is closed`);
    }
  }

  async put(n) {
    const bytes = this.memory.get(n);
    const piece = Math.floor(n / FRAMES);
    if (!bytes) return; // the machine has it
    if (piece !== this.open) {
      this.piece?.close();
      this.open = -1;
      this.piece = await this.store.piece(this.about.stream, piece);
      this.open = piece;
    }
    if (this.piece.write(bytes, { at: (n % FRAMES) * this.slot }) < bytes.length) throw new DOMException("", "QuotaExceededError");
  }

  async frame(n) {
    const known = this.memory.get(n);
    if (known) return known;
    if (!this.store.files) return null;
    try {
      const at = (n % FRAMES) * this.slot;
      const bytes = new Uint8Array(this.slot);
      if (Math.floor(n / FRAMES) === this.open) this.piece.read(bytes, { at });
      else {
        const file = await this.store.file(this.about.stream, Math.floor(n / FRAMES));
        bytes.set(new Uint8Array(await file.slice(at, at + this.slot).arrayBuffer()));
      }
      return trimmed(bytes);
    } catch {
      return null; // it is no longer here: the machine sees the gap
    }
  }

  async has(next) {
    const before = this.acknowledged;
    this.acknowledged = Math.max(before, Math.min(next, this.written));
    for (let n = before; n < this.acknowledged; n++) { this.memory.delete(n); this.lacking.delete(n); }
    await this.note();
    for (let k = Math.floor(before / FRAMES); (k + 1) * FRAMES <= this.acknowledged; k++)
      if (k !== this.open) await this.store.drop(this.about.stream, k);
  }

  // How far it is acknowledged: always the same twelve bytes, so that no moment finds half of it.
  async note() {
    if (!this.store.files) return;
    try {
      this.noting ??= this.store.open(`${this.about.stream}.ack`);
      const file = await this.noting;
      file.write(new TextEncoder().encode(String(this.acknowledged).padStart(12)), { at: 0 });
      file.flush();
    } catch { /* the machine knows it too; what comes twice counts once */ }
  }

  async remove() {
    (await this.noting?.catch(() => null))?.close();
    this.noting = undefined;
    this.piece?.close();
    this.piece = null;
    this.open = -1;
    this.store.faults.delete("sound"); // all of it is on the machine
    await this.store.dropAll(this.about.stream);
  }
}

export class Store {
  constructor() { this.files = false; this.faults = new Map(); this.photos = new Map(); this.said = []; this.keeping = Promise.resolve(); }

  get fault() { return [...this.faults.values()].join("; "); }
  get full() { return this.faults.has("sound") || this.faults.has("photos"); }

  // What an earlier page left here, oldest first.
  async start() {
    try {
      this.sound = await folder("sound");
      this.pictures = await folder("photos");
      try { await whole(this.sound, "try", new Uint8Array([1])); } catch (fault) { if (!isFull(fault)) throw fault; } // what is there is sent, then there is room
      try { await this.sound.removeEntry("try"); } catch { /* it was not there */ }
      this.files = true;
    } catch {
      this.faults.set("files", "this browser keeps no files: what was not sent is lost when the page is closed");
      return [];
    }
    try { this.said = value(await read(this.sound, "said")); } catch { /* none */ }
    const runs = [];
    const there = await names(this.sound);
    for (const name of there.filter((one) => one.endsWith(".json"))) {
      try {
        const { about } = value(await read(this.sound, name));
        let acknowledged = 0;
        try { acknowledged = Number(new TextDecoder().decode(await read(this.sound, `${about.stream}.ack`))) || 0; } catch { /* none */ }
        const run = new Run(this, about, { acknowledged, over: true });
        const pieces = there.filter((one) => one.startsWith(`${about.stream}.`) && one.endsWith(".pcm"));
        for (const piece of pieces) {
          const k = Number(piece.split(".")[1]);
          const size = (await this.file(about.stream, k)).size;
          run.written = Math.max(run.written, k * FRAMES + Math.ceil(size / run.slot));
        }
        run.written = Math.max(run.written, acknowledged);
        runs.push(run);
      } catch { /* its head was being written when the page ended: there is no frame of it yet */ }
    }
    for (const name of (await names(this.pictures)).filter((one) => one.endsWith(".json"))) {
      try { this.photos.set(name.slice(0, 64), value(await read(this.pictures, name))); } catch { /* as above */ }
    }
    return runs.sort((a, b) => a.about.began - b.about.began);
  }

  async open(name) { return await (await this.sound.getFileHandle(name, { create: true })).createSyncAccessHandle(); }
  async piece(stream, k) { return await this.open(`${stream}.${k}.pcm`); }
  async file(stream, k) { return await (await this.sound.getFileHandle(`${stream}.${k}.pcm`)).getFile(); }
  async drop(stream, k) { try { await this.sound.removeEntry(`${stream}.${k}.pcm`); } catch { /* gone already */ } }

  // Without its head no later page knows of a run.
  async remember(run) {
    if (!this.files || run.headed) return;
    await whole(this.sound, `${run.about.stream}.json`, words({ about: run.about }));
    run.headed = true;
  }

  async dropAll(stream) {
    if (!this.files) return;
    for (const name of await names(this.sound))
      if (name.startsWith(`${stream}.`)) try { await this.sound.removeEntry(name); } catch { /* gone already */ }
  }

  // Typed words that the machine has not taken: all of them, each time.
  keepSaid(all) {
    return (this.keeping = this.keeping.then(async () => {
      if (!this.files) return;
      try {
        await whole(this.sound, "said", words(all));
        this.faults.delete("said");
      } catch (fault) {
        if (all.length) this.faults.set("said", `the browser keeps no typed words (${fault.name}): what is not sent is lost when this page is closed`);
      }
    }));
  }

  async addPhoto(sha256, bytes, about) {
    this.photos.set(sha256, { ...about, bytes });
    await this.keepPhotos();
  }

  // What is in memory alone, into the files where these have room.
  keepPhotos() { return (this.keeping = this.keeping.then(() => this.keepNow())); }

  async keepNow() {
    if (!this.files) return;
    try {
      for (const [sha256, { bytes, ...about }] of [...this.photos]) {
        if (!bytes) continue;
        await whole(this.pictures, `${sha256}.json`, words(about)); // first: what has no head no later page knows of
        await whole(this.pictures, `${sha256}.jpg`, bytes);
        if (this.photos.has(sha256)) this.photos.set(sha256, about);
      }
      this.faults.delete("photos");
    } catch (fault) {
      this.faults.set("photos", `the browser keeps no more photos (${fault.name}): what is not sent is lost when this page is closed`);
    }
  }

  // Half of one, from a page that ended while it wrote, is none.
  async photo(name) {
    const known = this.photos.get(name)?.bytes;
    if (known) return known;
    const bytes = await read(this.pictures, `${name}.jpg`);
    if (await sha256(bytes) !== name) throw new DOMException("", "NotFoundError");
    return bytes;
  }

  // Behind what is being written: else half of it would stay.
  dropPhoto(sha256) {
    this.photos.delete(sha256);
    return (this.keeping = this.keeping.then(async () => {
      for (const end of this.files ? ["jpg", "json"] : []) try { await this.pictures.removeEntry(`${sha256}.${end}`); } catch { /* gone */ }
    }));
  }
}
