"use strict";
const BAG = "fieldlog-bundle/";
const NAME = /^(bag-info\.txt|bagit\.txt|manifest-sha256\.txt|tagmanifest-sha256\.txt|data\/(about\.json|allowed_signers|checkpoint\.txt|elsewhere\.jsonl|limits\.jsonl|places\.jsonl|proof\.json|rows\.jsonl|schema\.json|signed\.txt|signed\.txt\.sig|media\/[0-9a-f]{64}\.[a-z0-9]{1,8}))$/;
const NEEDED = ["bag-info.txt", "bagit.txt", "manifest-sha256.txt", "tagmanifest-sha256.txt",
  ...["about.json", "checkpoint.txt", "elsewhere.jsonl", "limits.jsonl", "places.jsonl", "proof.json", "rows.jsonl", "schema.json"].map((n) => "data/" + n)];
const MOST_TEXT = 256 * 1024 * 1024;
const text = new TextDecoder("utf-8", { fatal: true, ignoreBOM: true });
const hex = (bytes) => Array.from(new Uint8Array(bytes), (b) => b.toString(16).padStart(2, "0")).join("");
const bytesOf = (digits) => {
  if (typeof digits !== "string" || !/^([0-9a-f]{2})*$/.test(digits)) throw new Error("is no hash");
  return Uint8Array.from(digits.match(/../g) || [], (pair) => parseInt(pair, 16));
};
const base64 = (bytes) => btoa(String.fromCharCode(...new Uint8Array(bytes)));
const fromBase64 = (told) => Uint8Array.from(atob(told), (c) => c.charCodeAt(0));
const joined = (...parts) => {
  const all = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let at = 0;
  for (const part of parts) { all.set(part, at); at += part.length; }
  return all;
};
const sha256 = async (bytes) => new Uint8Array(await crypto.subtle.digest("SHA-256", bytes));

class NoBundle extends Error {}

/* The archive, as strictly as fieldlog reads it: stored members, one after the other, nothing else. */
async function membersOf(file) {
  const bad = (why) => { throw new NoBundle("This is no bundle that can be trusted: " + why + "."); };
  const view = async (at, size) => {
    if (at < 0 || size < 0 || at + size > file.size) bad("it is cut short");
    return new DataView(await file.slice(at, at + size).arrayBuffer());
  };
  if (file.size < 22 || file.size > 0xfffffffe) bad("no archive has this size");
  const end = await view(file.size - 22, 22);
  const count = end.getUint16(10, true), length = end.getUint32(12, true), start = end.getUint32(16, true);
  if (end.getUint32(0, true) !== 0x06054b50 || end.getUint16(20, true)) bad("it does not end as an archive does");
  if (end.getUint32(4, true) || end.getUint16(8, true) !== count || start + length + 22 !== file.size) bad("its list of members is not where it says");
  if (length > count * 200) bad("its list of members is longer than any");
  const table = await view(start, length);
  const members = new Map();
  let at = 0, next = 0, before = "";
  for (let i = 0; i < count; i++) {
    if (at + 46 > length) bad("its list of members is cut short");
    const named = table.getUint16(at + 28, true);
    if (at + 46 + named > length) bad("its list of members is cut short");
    const raw = new Uint8Array(table.buffer, at + 46, named);
    const whole = String.fromCharCode(...raw), name = whole.slice(BAG.length);
    if (!whole.startsWith(BAG) || !NAME.test(name)) bad("no bundle has a member named " + JSON.stringify(whole.slice(0, 100)));
    const size = table.getUint32(at + 24, true);
    const plain = table.getUint32(at, true) === 0x02014b50 && !table.getUint16(at + 8, true) && !table.getUint16(at + 10, true) &&
      table.getUint32(at + 20, true) === size && !table.getUint16(at + 30, true) && !table.getUint32(at + 32, true) &&
      table.getUint32(at + 38, true) === 0x81a40000 && table.getUint32(at + 42, true) === next;
    if (!plain) bad(name + " is no plain file");
    const head = await view(next, 30 + named);
    let same = head.getUint32(0, true) === 0x04034b50 && head.getUint16(28, true) === 0;
    for (let k = 0; k < 24; k++) same = same && head.getUint8(4 + k) === table.getUint8(at + 6 + k);
    for (let k = 0; k < named; k++) same = same && head.getUint8(30 + k) === raw[k];
    if (!same) bad("the two headers of " + name + " differ");
    if (before >= name) bad(name + " is in it twice, or out of order");
    before = name;
    next += 30 + named;
    members.set(name, { at: next, size });
    next += size;
    at += 46 + named;
    if (next > start) bad(name + " reaches into something else");
  }
  if (next !== start || at !== length) bad("there is something in it that no member is");
  for (const name of NEEDED) if (!members.has(name)) bad(name + " is not in it");
  return members;
}

/* RFC 9162: the root of a tree from some leaves and the subtrees without any of them. */
async function rootOf(size, known, besides) {
  const rest = besides.slice().reverse();
  const rise = async (low, high, wanted) => {
    if (!wanted.length) {
      if (!rest.length) throw new Error("a hash is missing");
      return rest.pop();
    }
    if (high - low === 1) return known.get(low);
    let k = 1;
    while (k * 2 < high - low) k *= 2;
    k += low;
    const left = await rise(low, k, wanted.filter((i) => i < k));
    const right = await rise(k, high, wanted.filter((i) => i >= k));
    return sha256(joined([1], left, right));
  };
  const root = await rise(0, size, [...known.keys()].sort((a, b) => a - b));
  if (rest.length) throw new Error("there is a hash too many");
  return root;
}

function noteOf(told) {
  const [body, after] = [told.slice(0, told.indexOf("\n\n") + 1), told.slice(told.indexOf("\n\n") + 2)];
  const lines = body.split("\n").slice(0, -1);
  if (lines.length < 3 || !/^fieldlog\/[0-9a-z]+$/.test(lines[0]) || !/^(0|[1-9][0-9]{0,15})$/.test(lines[1])) return null;
  const all = (word) => lines.slice(3).filter((line) => line.startsWith(word + " ")).map((line) => line.slice(word.length + 1));
  const signed = /^— \S+ ([A-Za-z0-9+/=]+)\n$/.exec(after);
  if (after && !signed) return null;
  return { body, size: Number(lines[1]), root: lines[2], all, one: (word) => all(word)[0] || "", signature: signed ? fromBase64(signed[1]).slice(4) : null };
}

const string = (bytes) => {
  const length = new Uint8Array(4);
  new DataView(length.buffer).setUint32(0, bytes.length);
  return joined(length, bytes);
};

/* OpenSSH's signature: true, false, or null where this browser knows no Ed25519. */
async function isSigned(note) {
  const encoder = new TextEncoder();
  const blob = fromBase64(note.one("key").split(" ")[1] || "");
  const raw = blob.slice(-32);
  const signed = joined(encoder.encode("SSHSIG"), string(encoder.encode("fieldlog")), string(new Uint8Array()),
    string(encoder.encode("sha512")), string(new Uint8Array(await crypto.subtle.digest("SHA-512", encoder.encode(note.body)))));
  let key;
  try {
    key = await crypto.subtle.importKey("raw", raw, { name: "Ed25519" }, false, ["verify"]);
  } catch {
    return null;
  }
  return crypto.subtle.verify({ name: "Ed25519" }, key, note.signature, signed);
}

async function check(file) {
  const found = { faults: [], proven: [], unchecked: [], holds: [], note: "" };
  const fault = (what) => { if (found.faults.length < 50) found.faults.push(what); };
  if (!globalThis.crypto || !crypto.subtle) {
    found.unchecked.push("Anything: this browser has no way to hash here. Try another one.");
    return found;
  }
  const members = await membersOf(file);
  const bytes = async (name) => new Uint8Array(await file.slice(members.get(name).at, members.get(name).at + members.get(name).size).arrayBuffer());
  const textOf = async (name) => {
    if (members.get(name).size > MOST_TEXT) throw new NoBundle(name + " is larger than it can be.");
    return text.decode(await bytes(name));
  };
  const linesOf = async (name) => {
    const told = await textOf(name);
    if (told && !told.endsWith("\n")) fault(name + ": its last line is not ended");
    return told ? told.slice(0, -1).split("\n") : [];
  };
  const sums = new Map();
  for (const name of members.keys()) sums.set(name, hex(await sha256(await bytes(name))));
  const manifest = async (name) => {
    const told = new Map();
    for (const line of await linesOf(name)) {
      const match = /^([0-9a-f]{64})  (.+)$/.exec(line);
      if (!match || told.has(match[2])) fault(name + ": has a line that is none of a manifest");
      else told.set(match[2], match[1]);
    }
    return told;
  };
  const told = await manifest("manifest-sha256.txt"), outer = await manifest("tagmanifest-sha256.txt");
  for (const name of members.keys()) {
    if (name.startsWith("data/") && told.get(name) !== sums.get(name)) fault(name + ": is not what the manifest says");
    if (/^data\/media\//.test(name) && name.slice(11, 75) !== sums.get(name)) fault(name + ": changed since it was kept");
  }
  for (const name of told.keys()) if (!members.has(name)) fault(name + ": is missing");
  for (const name of ["bag-info.txt", "bagit.txt", "manifest-sha256.txt"]) if (outer.get(name) !== sums.get(name)) fault(name + ": is not what the tag manifest says");

  const rows = await linesOf("data/rows.jsonl"), places = await linesOf("data/places.jsonl");
  if (rows.length !== places.length) fault("rows and places: one has more lines than the other");
  const leaves = new Map(), owners = new Map(), media = new Set(), ids = new Set(), names = new Map();
  const encoder = new TextEncoder();
  for (let i = 0; i < Math.min(rows.length, places.length); i++) {
    try {
      const line = encoder.encode(rows[i]), row = JSON.parse(rows[i]), place = JSON.parse(places[i]);
      const hash = bytesOf(place.hash);
      let wanted = await sha256(line);
      if (place.old) {
        if (hex(await sha256(joined(bytesOf(place.old.previous), line))) !== place.old.hash) throw new Error("changed after it was written");
        wanted = await sha256(joined(place.old.parents.length ? bytesOf(place.old.parents[0]) : new Uint8Array(32), bytesOf(place.old.hash)));
      }
      if (hex(wanted) !== place.hash) throw new Error("changed after it was written");
      if (!Number.isSafeInteger(place.leaf) || leaves.has(place.leaf)) throw new Error("has no place of its own");
      if (ids.has(row.id)) throw new Error("is there twice");
      ids.add(row.id);
      leaves.set(place.leaf, await sha256(joined([0], hash)));
      const owner = place.old ? row.chain : row.owner;
      if (!owners.has(owner)) owners.set(owner, []);
      owners.get(owner).push(place.hash);
      if (row.kind === "utterance" && row.row.clip) media.add(row.row.clip);
      if (row.kind === "photo") media.add(row.row.media);
      if (row.kind === "vehicle") names.set(row.id, "vehicle " + row.row.name);
      if (row.kind === "inspection") names.set(row.id, "inspection" + (row.row.inspector ? " by " + row.row.inspector : ""));
      if (row.kind === "event" && row.row.name === "signed off") found.holds.push("signed off by " + row.row.text);
    } catch (error) {
      fault("row " + (i + 1) + ": " + error.message);
    }
  }
  for (const name of media) if (!members.has("data/media/" + name)) fault(name + ": is missing");
  for (const name of members.keys()) if (name.startsWith("data/media/") && !media.has(name.slice(11))) fault(name + ": no row names it");
  for (const line of await linesOf("data/limits.jsonl")) {
    const limit = JSON.parse(line);
    if (hex(await sha256(encoder.encode(limit.text))) !== limit.sha256) fault("limit " + limit.sha256 + ": changed after it was written");
  }

  const about = JSON.parse(await textOf("data/about.json"));
  if (about.format !== "fieldlog bundle 1" || about.rows !== rows.length) fault("about.json: says of another kind of file");
  if (!ids.has(about.of && about.of.id)) fault("what it says it is of is not in it");
  found.note = await textOf("data/checkpoint.txt");
  const note = noteOf(found.note);
  let who = "not signed";
  if (!note) {
    fault("checkpoint.txt: is no checkpoint that can be read");
  } else {
    const proof = JSON.parse(await textOf("data/proof.json"));
    try {
      const root = await rootOf(note.size, leaves, proof.besides.map(bytesOf));
      if (proof.size !== note.size || base64(root) !== note.root) throw new Error("the root is another");
    } catch {
      fault("the rows are not those of the record that the checkpoint is of");
    }
    let subject = false;
    for (const kind of ["vehicle", "inspection"]) for (const line of note.all(kind)) {
      const [id, count, fingerprint] = line.split(" ");
      const mine = (owners.get(id) || []).slice().sort();
      if (String(mine.length) !== count || hex(await sha256(joined(...mine.map(bytesOf)))) !== fingerprint) fault(kind + " " + id + ": rows of it are missing, put in or others");
      subject = subject || (id === about.of.id && kind === about.of.kind);
    }
    if (!subject) fault("the checkpoint says nothing of what the bundle is of");
    if (note.signature) {
      const blob = fromBase64(note.one("key").split(" ")[1] || "");
      const key = "SHA256:" + base64(await sha256(blob)).replace(/=+$/, "");
      who = (note.one("by") ? "signed as " + note.one("by") + " with key " : "signed with the key of a record, ") + key;
      const signed = await isSigned(note);
      if (signed === false) fault("checkpoint.txt: its signature does not fit what it says");
      if (signed === null) {
        found.unchecked.push("The signature: this browser knows no Ed25519. signed.txt, signed.txt.sig and allowed_signers in the bundle are for ssh-keygen -Y verify.");
        who += " (not checked here)";
      }
    }
  }
  for (const [id, name] of names) found.holds.push(name + " (" + (owners.get(id) || []).length + " rows)");
  found.holds.push(rows.length + " rows, " + media.size + " clips and photos");
  if (!found.faults.length) {
    found.proven.push("Every row, clip and photo in it is what its hash says.");
    found.proven.push("It is whole by checkpoint " + note.size + " of " + (note.one("at") || "no time") + " (" + who + ").");
  }
  found.unchecked.push("Whose key that is: compare it with the one on a printed report, or ask.");
  found.unchecked.push("The order of the rows and what each sign-off covers: fieldlog bundle verify does.");
  const away = await linesOf("data/elsewhere.jsonl");
  if (away.length) found.unchecked.push(away.length + " rows that are not in it are known by their hash alone.");
  return found;
}

function show(found, name) {
  const list = (id, texts) => {
    document.getElementById(id).replaceChildren(...texts.map((each) => Object.assign(document.createElement("li"), { textContent: each })));
    document.getElementById(id + "-part").hidden = !texts.length;
  };
  const outcome = document.getElementById("outcome");
  const checked = found.proven.length > 0;
  outcome.textContent = name + ": " + (found.faults.length ? "it cannot be trusted." : checked ? "it agrees with itself." : "it could not be checked.");
  outcome.className = checked && !found.faults.length ? "outcome" : "outcome bad";
  outcome.hidden = false;
  for (const id of ["faults", "proven", "unchecked", "holds"]) list(id, found[id]);
  document.getElementById("note").textContent = found.note;
  document.getElementById("note-part").hidden = !found.note;
}

async function take(file) {
  let found;
  try {
    found = await check(file);
  } catch (error) {
    const why = error instanceof NoBundle ? error.message : "It cannot be read: " + error.message;
    found = { faults: [why], proven: [], unchecked: [], holds: [], note: "" };
  }
  show(found, file.name);
}

const drop = document.getElementById("drop");
document.getElementById("file").addEventListener("change", (event) => {
  if (event.target.files.length) take(event.target.files[0]);
});
for (const kind of ["dragover", "dragenter"]) addEventListener(kind, (event) => { event.preventDefault(); drop.classList.add("over"); });
addEventListener("dragleave", () => drop.classList.remove("over"));
addEventListener("drop", (event) => {
  event.preventDefault();
  drop.classList.remove("over");
  if (event.dataTransfer.files.length) take(event.dataTransfer.files[0]);
});
