// Hearing once more: by another listener, model or grammar. Differences are listed; each is taken by itself, or not.
import { ask } from "/page/serve/enter.js";
import { byId, el } from "./dom.js";

let going = ""; // the hearing whose answers are waited for

export function showAgain(into, at) {
  const one = at.one();
  if (!into.childElementCount) into.replaceChildren(el("h2", {}, "hear once more", el("small", {}, "nothing changes until you take it")), form(at), el("p", { id: "again-told", role: "status" }), el("ol", { class: "plain", id: "again-found" }));
  byId("again-what").replaceChildren(
    el("option", { value: "" }, "the whole inspection"),
    one ? el("option", { value: one.id, selected: true }, `what is on the card: ${one.title || one.need || one.when}`) : "");
  into.querySelector("select").focus();
}

function form(at) {
  const field = (id, label, about, tag = "input", ...inside) => el("div", {}, el("label", { for: id }, label), el(tag, { id, name: id, ...about }, ...inside));
  const made = el("form", { class: "searching" },
    field("again-what", "what", {}, "select"),
    field("again-listener", "listener", {}, "select", at.listeners().map((name) => el("option", { value: name }, name))),
    field("again-model", "another model (folder)", { type: "text", autocomplete: "off", maxlength: 1000 }),
    field("again-grammar", "another grammar (folder)", { type: "text", autocomplete: "off", maxlength: 1000 }),
    el("p", {}, el("button", { type: "submit" }, "hear it"), " ", el("button", { type: "button", onclick: () => stop(at) }, "stop")));
  made.addEventListener("submit", (event) => { event.preventDefault(); start(made, at); });
  made.addEventListener("keydown", (event) => { if (event.key === "Escape") at.back(); });
  return made;
}

const say = (text) => { byId("again-told").textContent = text; };

async function start(made, at) {
  const value = (name) => made.elements[`again-${name}`].value;
  byId("again-found").replaceChildren();
  say("making it ready");
  try {
    const told = await ask("/review/rehear", { token: at.token(), send: { inspection: at.inspection(), item: value("what"), listener: value("listener"), model: value("model"), grammar: value("grammar") } });
    going = told.job;
    await follow(told.job, at);
  } catch (error) { going = ""; say(`not heard: ${error.message}${error.told && error.told.todo ? `. ${error.told.todo}` : ""}`); }
}

async function stop(at) {
  if (going) await ask("/review/rehear", { token: at.token(), send: { inspection: at.inspection(), stop: true } }).catch(() => {});
}

async function follow(job, at) {
  const list = byId("again-found");
  for (;;) {
    const told = await ask(`/review/rehear?job=${job}`);
    if (going !== job) return;
    for (const each of told.found.slice(list.childElementCount)) list.append(difference(each, at));
    const far = `${told.done} of ${told.of} heard, ${told.found.length} heard otherwise`;
    const hidden = told.hidden ? `; ${told.hidden} drawn blind ${told.hidden === 1 ? "is" : "are"} heard once decided` : "";
    const same = told.of ? `everything is heard as it stands (${told.of})` : "nothing is heard: no sound is kept of it";
    say(told.fault ? `not heard to the end: ${told.fault}` : told.over && told.done === told.of && !told.found.length ? same + hidden : far + hidden);
    if (told.over) { going = ""; return; }
    await new Promise((on) => { setTimeout(on, 300); });
  }
}

function difference(each, at) {
  const answer = el("p", { class: "answer", role: "status" });
  let sure = false;
  const take = el("button", { type: "button", onclick: async () => {
    take.disabled = true;
    try {
      const told = await ask("/review/decide", { token: at.token(), send: { inspection: at.inspection(), verb: "take", item: each.item, seen: each.seen, text: each.text, blind: false, sure } });
      at.sheet(told.sheet, each.item);
      answer.textContent = "taken";
    } catch (error) {
      take.disabled = false;
      sure = Boolean(error.told && error.told.unsure);
      answer.textContent = `not taken: ${error.message}${sure ? ". Take it once more if it is so." : ""}`;
    }
  } }, "take what is heard now");
  return el("li", { class: "difference" }, el("p", {}, el("b", {}, `utterance ${each.utterance}, ${each.differs}`)),
    el("p", {}, el("span", { class: "label" }, "stands "), each.stands.join("; ") || "nothing"),
    el("p", {}, el("span", { class: "label" }, "heard now "), each.now.join("; ") || each.text || "nothing", each.reason ? el("span", { class: "quiet" }, ` ${each.reason}`) : null),
    answer, el("p", { class: "play" }, each.now.length ? take : null, el("button", { type: "button", onclick: () => at.card(each.item) }, "to its card")));
}
