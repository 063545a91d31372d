// How this phone comes in: the code of the picture, the same four digits on both, a yes on the machine.

const LONGEST_MS = 12000;
const nap = (ms) => new Promise((done) => setTimeout(done, ms));
const post = (path, what) => fetch(path, { method: "POST", body: JSON.stringify(what) });

function name() {
  const kind = /iPhone|iPad|Android/.exec(navigator.userAgent)?.[0] ?? "browser";
  const maker = /Firefox|Edg|SamsungBrowser|CriOS|Chrome|Safari/.exec(navigator.userAgent)?.[0] ?? "";
  return `${kind} ${maker}`.trim();
}

// What the record was when this phone came in: a witness outside the machine, the newest of each pairing last.
function keep(checkpoint) {
  if (checkpoint) remember("checkpoints", [...witnesses(), checkpoint].slice(-10));
}

export const witnesses = () => recall("checkpoints") || [];

function remember(what, value) {
  try { localStorage.setItem(what, JSON.stringify(value)); } catch { /* full, or not allowed: the phone works without */ }
}

function recall(what) {
  try { return JSON.parse(localStorage.getItem(what)); } catch { return null; }
}

export async function comeIn(show) {
  const code = location.hash.slice(1);
  const away = "The machine cannot be reached. Is this phone in the same network, and does fieldlog run there? Then load this page again";
  if (code) {
    history.replaceState(null, "", location.pathname);
    const asked = await post("/phone/knock", { code, name: name() }).catch(() => null);
    if (!asked) return show(`${away}, by the picture.`);
    if (!asked.ok) return show("This picture was used already, or is older than two minutes. Show a new one on the machine and scan that.");
    const { ticket, digits } = await asked.json();
    show("Does the machine show the same four digits? Say yes there.", digits);
    for (;;) {
      await nap(700);
      const answer = await post("/phone/enter", { ticket }).catch(() => null);
      if (!answer) continue; // no network just now
      if (answer.status === 200) { keep((await answer.json()).checkpoint); break; }
      if (answer.status !== 202) return show("The machine said no, or nobody answered. Show a new picture there and scan that.");
    }
  }
  try {
    const session = await fetch("/session", { signal: AbortSignal.timeout(LONGEST_MS) });
    if (session.status === 401) return show("This phone is not paired (any more). Scan the picture that the machine shows.");
    if (!session.ok) return show(`The machine has a fault (${session.status}). Load this page again.`);
    const told = await session.json();
    remember("name", told.name);
    return told;
  } catch { // without the network what is said and photographed is kept, and sent when the machine lets this phone in
    const known = recall("name");
    return known ? { name: known, token: "" } : show(`${away}.`);
  }
}
