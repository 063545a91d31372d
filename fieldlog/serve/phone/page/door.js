// How this phone comes in: the code of the picture, the same four digits on both, a yes on the machine.

const nap = (ms) => new Promise((done) => setTimeout(done, ms));
const post = (path, what) => fetch(path, { method: "POST", body: JSON.stringify(what) });

function name() {
  const kind = /iPhone|iPad|Android/.exec(navigator.userAgent)?.[0] ?? "browser";
  const maker = /Firefox|Edg|SamsungBrowser|CriOS|Chrome|Safari/.exec(navigator.userAgent)?.[0] ?? "";
  return `${kind} ${maker}`.trim();
}

// What the record was when this phone came in: a witness outside the machine, the newest of each pairing last.
function keep(checkpoint) {
  if (!checkpoint) return;
  try { localStorage.setItem("checkpoints", JSON.stringify([...witnesses(), checkpoint].slice(-10))); } catch { /* full, or not allowed: the phone works without */ }
}

export function witnesses() {
  try { return JSON.parse(localStorage.getItem("checkpoints") || "[]"); } catch { return []; }
}

export async function comeIn(show) {
  const code = location.hash.slice(1);
  if (code) {
    history.replaceState(null, "", location.pathname);
    const asked = await post("/phone/knock", { code, name: name() });
    if (!asked.ok) return show("This picture was used already, or is older than two minutes. Show a new one on the machine and scan that.");
    const { ticket, digits } = await asked.json();
    show("Does the machine show the same four digits? Say yes there.", digits);
    for (;;) {
      await nap(700);
      const answer = await post("/phone/enter", { ticket });
      if (answer.status === 200) { keep((await answer.json()).checkpoint); break; }
      if (answer.status !== 202) return show("The machine said no, or nobody answered. Show a new picture there and scan that.");
    }
  }
  const session = await fetch("/session");
  if (session.ok) return await session.json();
  return show("This phone is not paired (any more). Scan the picture that the machine shows.");
}
