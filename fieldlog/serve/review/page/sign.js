// Signing off: what is known and must be marked as known, whose key, and what was signed.
import { ask } from "/page/serve/enter.js";
import { byId, el } from "./dom.js";

let shown = null; // what the form on the page was made of

export async function showSign(into, at) {
  const told = await ask(`/review/signing?${at.query()}`);
  draw(into, told, at);
}

function draw(into, told, at, wrong = "") {
  shown = told;
  const newest = told.signed.at(-1);
  const parts = [el("h2", {}, newest ? "signed off" : "sign off", newest ? null : el("small", {}, "whoever signs says: this is what I found and know of"))];
  for (const each of told.signed) parts.push(stamp(each, at));
  if (newest && told.later.length) parts.push(el("p", { class: "addenda" }, el("b", {}, "after the signature, not covered by it: "), told.later.join("; ")));
  if (newest && !told.later.length) parts.push(el("p", {}, "Everything here is covered. What is put right from now on is an addendum, and marked as one, until it is signed again."));
  const form = filled(told, at, into);
  parts.push(newest ? el("details", { open: told.later.length > 0 || wrong !== "" }, el("summary", {}, "sign it again"), form) : form);
  into.replaceChildren(...parts);
  into.dataset.rows = String(told.seen);
  if (wrong) byId("not-signed").textContent = wrong;
}

function stamp(one, at) {
  return el("section", { class: "signature", "aria-label": `signed by ${one.name}` },
    el("p", { class: "who" }, el("b", {}, one.name), ` ${one.at}`),
    el("p", {}, one.told, one.confirmed === "as it stands" ? "; what was open and dangerous was shown and confirmed" : ""),
    one.note
      ? el("details", {}, el("summary", {}, `checkpoint of ${one.rows} rows, ${one.root.slice(0, 12)}`),
        el("p", {}, "Keep it, or a report or bundle made from here on, where nobody who can change this record can change it: `fieldlog inspection verify --against` then tells whether anything was changed since. The signature is in OpenSSH's form."),
        el("p", {}, el("a", { class: "go", href: `/review/checkpoint?${at.query()}&of=${encodeURIComponent(one.id)}`, download: "checkpoint.txt" }, "save it as a file")),
        el("pre", { class: "note", tabindex: "0", "aria-label": "the checkpoint" }, one.note))
      : el("p", {}, "no checkpoint was made of it"));
}

function filled(told, at, into) {
  const form = el("form", { class: "signing", autocomplete: "off" });
  if (told.undecided) form.append(el("p", { class: "undecided" }, `${told.undecided} ${told.undecided === 1 ? "thing is" : "things are"} not decided yet: `, el("button", { type: "button", onclick: () => at.back() }, "go on deciding")));
  for (const each of told.known) {
    form.append(el("fieldset", { class: `known ${each.what}` }, el("legend", {}, `${each.heading} (${each.what === "open" ? "by stage" : each.lines.length})`),
      el("ul", {}, each.lines.map((line) => el("li", {}, line))),
      el("label", { class: "toggle" }, el("input", { type: "checkbox", name: "confirmed", value: each.what }), `I know this: ${each.heading}`)));
  }
  if (!told.known.length) form.append(el("p", {}, "Nothing is open, and nothing dangerous stands."));
  form.append(whose(told), el("p", { class: "answer", role: "alert", id: "not-signed" }),
    el("p", {}, el("button", { type: "submit", class: "first", id: "sign-it" }, "sign it off")));
  form.addEventListener("submit", (event) => { event.preventDefault(); send(form, told, at, into); });
  form.addEventListener("keydown", (event) => { if (event.key === "Escape") at.back(); });
  return form;
}

function whose(told) {
  const mine = told.keys.find((each) => each.name === told.name);
  const chosen = mine ? `key ${told.keys.indexOf(mine)}` : "new";
  const radio = (value, text, more = null) => el("label", { class: "toggle" }, el("input", { type: "radio", name: "how", value, checked: value === chosen }), el("span", {}, text, more));
  const field = (name, label, about, id = name) => el("div", { class: `field ${name}` }, el("label", { for: id }, label), el("input", { id, name, ...about }));
  const secret = { type: "password", autocomplete: "off", maxlength: 1000 };
  const box = el("fieldset", { class: "whose" }, el("legend", {}, "who signs"),
    told.keys_fault ? el("p", { role: "alert" }, told.keys_fault) : null,
    told.keys.map((each, number) => radio(`key ${number}`, `${each.name}, with the key `, el("span", { class: "typed" }, each.fingerprint.slice(0, 18)))),
    radio("new", "somebody who has no key yet: one is made now"),
    radio("none", "a name alone, without a key: nobody can check later who it was"),
    field("signer", "name", { type: "text", value: mine ? "" : told.name, autocomplete: "off", maxlength: 200 }),
    field("pin", "PIN (at least 4 characters, longer is better)", secret), field("again", "the same PIN again", secret, "pin-again"),
    el("p", { class: "quiet for-new" }, "The PIN opens the key and is kept nowhere. Forgotten, it cannot be had back: then a new key is made, and what the old one signed stays signed."));
  const fit = () => { box.dataset.how = box.querySelector("input[name=how]:checked").value.split(" ")[0]; };
  box.addEventListener("change", fit);
  fit();
  return box;
}

async function send(form, told, at, into) {
  const how = form.elements.how.value, key = how.startsWith("key ") ? told.keys[Number(how.slice(4))] : null;
  const button = byId("sign-it"), confirmed = [...form.querySelectorAll("input[name=confirmed]:checked")].map((each) => each.value);
  if (button.disabled) return;
  button.disabled = true;
  byId("not-signed").textContent = "";
  try {
    const answer = await ask("/review/sign", { token: at.token(), send: { inspection: at.inspection(), seen: told.seen, confirmed,
      name: key ? key.name : form.elements.signer.value, how: key ? "key" : how, pin: form.elements.pin.value, again: form.elements.again.value } });
    at.sheet(answer.sheet);
    draw(into, answer.signing, at);
    at.say("signed off");
    into.querySelector("h2").setAttribute("tabindex", "-1");
    into.querySelector("h2").focus();
  } catch (error) {
    button.disabled = false;
    const why = `not signed: ${error.message}${error.told && error.told.todo ? `. ${error.told.todo}` : ""}`;
    if (error.status === 400 && shown === told) {
      // a key that was made just now is there now: it is chosen, the PIN stays
      byId("not-signed").textContent = why;
      if (how === "new") await refreshed(form, told, at, into, why);
      byId("not-signed").scrollIntoView({ block: "nearest" });
      return;
    }
    const now = await ask(`/review/signing?${at.query()}`).catch(() => null);
    if (!now) { byId("not-signed").textContent = `${why}. Whether it was signed shows once the server answers: open the page again.`; return; }
    const signed = error.status !== 409 && now.signed.length > told.signed.length ? now.signed.at(-1) : null;
    const stands = !signed ? `${why}. This is how it stands now: read it again.`
      : signed.note ? "it was signed; only the answer got lost" : `it was signed, but no checkpoint of it could be made: ${error.message}. Sign it again once that is mended.`;
    draw(into, { ...now, name: key ? key.name : form.elements.signer.value }, at, stands);
    byId("not-signed").scrollIntoView({ block: "nearest" });
  }
}

async function refreshed(form, told, at, into, why) {
  const now = await ask(`/review/signing?${at.query()}`).catch(() => told);
  if (now.seen !== told.seen || now.keys.length !== told.keys.length) draw(into, { ...now, name: form.elements.signer.value }, at, why);
}
