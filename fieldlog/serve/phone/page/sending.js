// One photo to the machine, piece by piece from where the last attempt ended; its name is its SHA-256.

const PIECE = 128 * 1024;

export async function send(sha256, about, bytes, token, signal) {
  if (about.refused) return { whole: false };
  const asked = new URLSearchParams({ inspection: about.inspection, run: about.run, size: bytes.length });
  const first = await fetch(`/phone/media/${sha256}?${asked}`, { signal });
  if (!first.ok) return { whole: false };
  let told = await first.json();
  while (!told.whole) {
    asked.set("offset", told.have);
    const answer = await fetch(`/phone/media/${sha256}?${asked}`, {
      method: "PUT",
      headers: { "x-fieldlog-token": token },
      body: bytes.subarray(told.have, told.have + PIECE),
      signal,
    });
    const said = await answer.json().catch(() => ({}));
    if (answer.status === 409) { told = { whole: false, have: said.have }; continue; }
    if ([400, 404, 413, 415, 422].includes(answer.status)) return { whole: false, refused: said.what };
    if (!answer.ok) return { whole: false, waits: said.what };
    told = said;
  }
  // Only the hash that the machine made itself lets the phone drop its copy.
  return { whole: told.sha256 === sha256 };
}
