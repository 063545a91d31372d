// What stands and what happened, on the page. Texts are set as text: nothing that was heard becomes markup.

export const $ = (id) => document.getElementById(id);
const MOST = 12;

export function list(where, texts) {
  where.replaceChildren(...texts.map((text) => Object.assign(document.createElement("li"), { textContent: text })));
}

export function view(now, answer) {
  $("machine").textContent = `${now.inspection.vehicle} no. ${now.inspection.number}`;
  const one = now.last;
  $("last-number").textContent = one ? `(no. ${one.number})` : "";
  $("last-words").textContent = one ? one.words : "None yet.";
  const verdict = $("last-verdict");
  verdict.textContent = one ? [one.verdict, one.severity].filter(Boolean).join(", ") : "";
  verdict.className = `verdict ${one ? one.state : ""} ${one?.dangerous ? "dangerous" : ""}`;
  $("last-limit").textContent = one ? [one.limit, one.source, one.why].filter(Boolean).join(" · ") : "";
  list($("last-cautions"), one ? one.cautions : []);
  $("cautions").hidden = !one?.cautions.length;
  const asked = now.question;
  $("question").hidden = !asked;
  if (asked) {
    $("question-text").textContent = asked.text;
    $("question-heard").textContent = `heard: ${asked.heard}`;
    $("answers").replaceChildren(...asked.answers.map((text) => {
      const button = Object.assign(document.createElement("button"), { textContent: text, type: "button" });
      button.onclick = () => answer(text, asked.id);
      return button;
    }));
  }
  $("open-count").textContent = now.open.count;
  list($("open-next"), now.open.next);
}

export function told(lines) {
  for (const line of [...lines].reverse()) { // the first of what comes together stays on top
    const item = document.createElement("li");
    const kind = Object.assign(document.createElement("b"), { textContent: line.kind });
    const verdict = line.verdict ? ` — ${[line.verdict, line.severity].filter(Boolean).join(", ")}` : "";
    const heard = line.heard ? ` (heard: ${line.heard})` : "";
    const was = line.was ? ` (was: ${line.was})` : "";
    item.className = line.dangerous ? "dangerous" : "";
    item.append(kind, ` ${line.words}${verdict}${was}${heard}`);
    $("told").prepend(item);
  }
  while ($("told").children.length > MOST) $("told").lastChild.remove();
}

export function alarm(text) {
  $("alarm").textContent = text;
  $("alarm").hidden = !text;
}
