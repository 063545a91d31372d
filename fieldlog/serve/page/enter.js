// The door: a one-use code in the address's fragment becomes a session; then the code is gone from the address.

export async function enter() {
  const code = new URLSearchParams(location.hash.slice(1)).get("code");
  if (code) {
    history.replaceState(null, "", location.pathname + location.search);
    const answer = await fetch("/enter", { method: "POST", body: code });
    if (answer.ok) return await answer.json();
  }
  const answer = await fetch("/session");
  return answer.ok ? await answer.json() : null;
}

// Ask the server; what changes something carries the session's token. Throws {status, told} for a refusal.
export async function ask(path, { token = "", send = undefined, raw = false } = {}) {
  const how = send === undefined ? {} : {
    method: "POST",
    headers: { "content-type": "application/json", "x-fieldlog-token": token },
    body: JSON.stringify(send),
  };
  const answer = await fetch(path, how);
  if (!answer.ok) {
    let told = await answer.text();
    try { told = JSON.parse(told); } catch { told = { what: told.trim() }; }
    throw Object.assign(new Error(told.what || "refused"), { status: answer.status, told });
  }
  return raw ? await answer.arrayBuffer() : await answer.json();
}
