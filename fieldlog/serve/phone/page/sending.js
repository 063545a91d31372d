// One photo to the machine, piece by piece from where the last attempt ended; its name is its SHA-256.

const PIECE = 128 * 1024;

// What became of it: `whole` (the machine has it), `refused` (for good, and why), `waits` (for now, and why), or `gone` from here.
export async function send(sha256, about, read, token, signal) {
  if (about.refused) return {};
  const asked = new URLSearchParams({ inspection: about.inspection, run: about.run });
  const first = await fetch(`/phone/media/${sha256}?${asked}`, { signal });
  if (!first.ok) return { waits: await why(first) };
  let told = await first.json();
  let bytes = null;
  while (!told.whole) {
    try { bytes ??= await read(); } catch (fault) {
      return fault.name === "NotFoundError" ? { gone: true } : { waits: `this phone cannot read it (${fault.name})` };
    }
    asked.set("size", bytes.length);
    asked.set("offset", told.have);
    const answer = await fetch(`/phone/media/${sha256}?${asked}`, {
      method: "PUT",
      headers: { "x-fieldlog-token": token },
      body: bytes.subarray(told.have, told.have + PIECE),
      signal,
    });
    if (answer.status === 409) { told = { whole: false, have: (await answer.json()).have }; continue; }
    if ([400, 404, 413, 415, 422].includes(answer.status)) return { refused: await why(answer) };
    if (!answer.ok) return { waits: await why(answer) };
    told = await answer.json();
  }
  // Only the hash that the machine made itself lets the phone drop its copy.
  return { whole: told.sha256 === sha256 };
}

async function why(answer) {
  const text = await answer.text();
  try { return JSON.parse(text).what ?? text; } catch { return text.trim() || `the machine answers ${answer.status}`; }
}
