// Going through an inspection: one card at a time, keyboard first. Every decision goes to the server at once;
// the next card is shown meanwhile, and a refusal brings the refused one back with what changed.
import { ask, enter } from "/page/serve/enter.js";
import { byId, el, photo, ruler, verdict } from "./dom.js";
import { draw, hush, play, shape, tape } from "./sound.js";
import { showSearch, showVehicle } from "./pages.js";
import { showSign } from "./sign.js";
import { showAgain } from "./again.js";

const here = { token: "", sheet: null, at: null, one: null, items: new Map(), waiting: 0, form: null, sure: "", played: false, inspection: "" };
const query = () => (here.inspection ? `inspection=${encodeURIComponent(here.inspection)}` : "");
const place = () => here.sheet.items.findIndex((each) => each.id === here.at);
const current = () => here.sheet.items[place()];
const open = (each) => each.group !== "rest" && !each.decided;

// -- what is shown --------------------------------------------------------------------------------

function say(text) { byId("told").textContent = text; }
function wrong(text) { byId("wrong").textContent = text; if (text) byId("wrong").scrollIntoView({ block: "nearest" }); }

function kept() {
  document.documentElement.dataset.saved = String(Number(document.documentElement.dataset.saved || 0) + 1);
  say(here.waiting > 1 ? "saving" : "saved");
}

function item(id) {
  if (!here.items.has(id)) {
    const asked = ask(`/review/item?${query()}&item=${encodeURIComponent(id)}`);
    asked.catch(() => here.items.delete(id));
    here.items.set(id, asked);
  }
  return here.items.get(id);
}

function ahead() {
  const from = place();
  for (const each of here.sheet.items.slice(from + 1, from + 5)) {
    item(each.id).then((one) => { for (const said of one.said || []) if (said.clip) shape(said.clip); }, () => {});
  }
}

async function show(id, { playing = true, focus = true } = {}) {
  hush();
  close_form();
  here.at = id;
  byId("card").setAttribute("aria-busy", "true");
  here.one = null; // nothing is decided about what is not on the card yet
  here.sure = "";
  const address = `#item=${encodeURIComponent(id)}${here.inspection ? `&inspection=${encodeURIComponent(here.inspection)}` : ""}`;
  history.replaceState(null, "", address);
  mark_list();
  let one;
  try { one = await item(id); } catch (error) { wrong(error.message); return; }
  if (here.at !== id) return;
  here.one = one;
  byId("card").removeAttribute("aria-busy");
  byId("card").replaceChildren(...(one.state === "photo" ? photo_card(one) : card(one)));
  if (focus) byId("card").focus({ preventScroll: true });
  draw_card(one);
  ahead();
  if (playing) hear(1, { quietly: true });
}

function draw_card(one) {
  for (const said of one.said || []) {
    if (!said.clip) continue;
    const canvas = byId(`shape-${said.id}`);
    shape(said.clip).then((points) => { if (points && canvas && canvas.isConnected) draw(canvas, points, said); });
  }
}

const typed = (text) => el("span", { class: "typed" }, text);

function card(one) {
  const blind = one.blind;
  const parts = [head_of(one)];
  for (const said of one.said) parts.push(said_of(said, one));
  if (!one.said.length) parts.push(el("p", { class: "quiet" }, "entered by hand: nothing was said"));
  parts.push(offers_of(one));
  if (!blind) {
    for (const each of one.findings) parts.push(finding(each));
    if (!one.findings.length) parts.push(el("p", { class: "nothing" }, "nothing of it is in the record"));
    for (const each of one.fallen) parts.push(el("p", { class: "quiet" }, `no. ${each.number} ${each.how}: ${each.told}${each.reason ? ` (${each.reason})` : ""}`, addendum(each.note)));
    if (one.photos.length) parts.push(el("div", { class: "photos" }, one.photos.map((each) => photo(each, large))));
  }
  for (const each of one.remarks) parts.push(remark_of(each));
  for (const each of one.reviews) parts.push(el("p", { class: "quiet" }, `${each.told}, ${each.when}`, addendum(each.note)));
  parts.push(actions(one));
  return parts;
}

const addendum = (note) => (note ? el("span", { class: "addendum" }, ` ${note}`) : null);

function remark_of(each) {
  return el("p", { class: "remark" }, el("span", { class: "label" }, each.gone ? "remark, taken back " : "remark "), each.gone ? el("s", {}, each.text) : each.text, addendum(each.note),
    each.gone ? null : el("button", { type: "button", class: "go", "aria-label": `take back the remark: ${each.text}`, onclick: () => decide("take back remark", { remark: each.id }, { stay: true }) }, "take it back"));
}

function head_of(one) {
  const queue = here.sheet.items.filter((each) => each.group !== "rest");
  const nth = queue.findIndex((each) => each.id === one.id) + 1;
  return el("header", {},
    el("h2", {}, one.need || one.decided || "as it stands", nth ? el("small", {}, `${nth} of ${queue.length} to decide`) : null),
    el("p", { class: "when" }, typed(one.when || ""), one.decided && one.need !== one.decided ? ` ${one.decided}` : ""));
}

function said_of(said, one) {
  if (said.typed) return el("p", { class: "said" }, el("span", { class: "label" }, "typed "), typed(said.text));
  const canvas = el("canvas", { id: `shape-${said.id}`, class: "shape", role: "img", "aria-label": `the sound of it, ${said.seconds.toFixed(1)} s${said.text ? `: ${said.text}` : ""}` });
  canvas.addEventListener("click", (event) => {
    const box = canvas.getBoundingClientRect();
    hear(1, { only: said, from: ((event.clientX - box.left) / box.width) * said.seconds });
  });
  const row = said.words.length
    ? el("p", { class: "words", "aria-label": "the words with the time each covers" }, said.words.map((word) => {
        const button = el("button", { type: "button", class: "word", "aria-label": `${word.text}, ${word.from.toFixed(1)} to ${word.to.toFixed(1)} s`, onclick: () => hear(1, { only: said, from: word.from }) }, word.text);
        button.style.flexGrow = String(Math.max(1, Math.round((word.to - word.from) * 100)));
        return button;
      }))
    : said.text ? el("p", { class: "words" }, typed(said.text)) : null;
  const left = said.parts.filter((each) => each.part === null);
  return el("div", { class: "heard" }, canvas, row,
    left.length ? el("p", { class: "left" }, `left over: ${left.map((each) => `${each.from.toFixed(1)} to ${each.to.toFixed(1)} s`).join(", ")} (hatched) has words that nothing covers`) : null,
    said.question ? el("p", { class: "asked" }, el("span", { class: "label" }, "asked "), said.question) : null,
    said.reason && !said.question ? el("p", { class: "asked" }, el("span", { class: "label" }, "why not "), said.reason) : null,
    said.flags.length ? el("p", { class: "quiet" }, said.flags.join("; ")) : null,
    el("p", { class: "play" },
      el("button", { type: "button", onclick: () => hear(1, { only: said }) }, key("R"), `hear ${said.seconds.toFixed(1)} s`),
      el("button", { type: "button", onclick: () => hear(0.6, { only: said }) }, key("Shift R"), "slower")));
}

const key = (name) => el("kbd", { "aria-hidden": "true" }, name);

function offers_of(one) {
  if (!one.offers.length) return el("p", { class: "quiet" }, "no reading is offered: type what was said");
  const list = el("ol", { class: "offers", "aria-label": one.blind ? "what may have been said" : "readings" });
  for (const [number, each] of one.offers.entries()) {
    const told = each.told.map((text, at) => el("span", { class: "told" }, text, each.verdicts[at] ? verdict(each.verdicts[at].state, each.verdicts[at].severity) : null));
    list.append(el("li", { class: each.taken ? "taken" : "" },
      el("button", { type: "button", class: "offer", onclick: () => choose(number), "aria-pressed": one.blind ? false : String(each.taken) },
        key(String(number + 1)), el("span", {}, ...told, each.text && !one.blind ? el("span", { class: "quiet" }, `“${each.text}”`) : null, each.taken ? el("span", { class: "stands" }, "in the record") : null))));
  }
  return list;
}

function finding(each) {
  const gate = each.limits.find((limit) => limit.gates);
  const others = each.limits.filter((limit) => !limit.gates);
  return el("section", { class: "finding", "aria-label": `no. ${each.number}` },
    el("div", {}, el("h3", {}, el("span", { class: "no" }, `no. ${each.number} `), each.subject), el("p", { class: "value" }, each.value), each.note ? el("p", { class: "addendum" }, each.note) : null),
    el("div", {}, each.gauge ? ruler(each.gauge) : null,
      gate ? el("p", { class: "limit" }, el("b", {}, gate.text), ` · ${gate.source} · ${gate.status}`) : null,
      el("p", { class: "detail" }, gate ? gate.detail || each.reason : each.reason),
      others.length ? el("details", {}, el("summary", {}, `${others.length} other ${others.length === 1 ? "limit applies" : "limits apply"}`), others.map((limit) => el("p", {}, el("b", {}, limit.text), `: ${limit.state} · ${limit.source} · ${limit.status}${limit.detail ? ` · ${limit.detail}` : ""}`))) : null,
      each.cautions.length ? el("details", {}, el("summary", {}, "cautions"), each.cautions.map((text) => el("p", {}, text))) : null),
    el("div", { class: "stamp" }, verdict(each.state, each.severity)));
}

function photo_card(one) {
  return [head_of(one), el("div", { class: "photos one" }, one.photos.map((each) => photo(each, large))),
    el("div", { class: "actions" }, act("M", "put it to a finding", () => move()), act("Enter", "it belongs to none", () => accept()), act("U", "undo", () => undo()), act("J", "next", () => step(1)))];
}

const act = (name, text, press, more = {}) => el("button", { type: "button", onclick: press, "aria-keyshortcuts": name, ...more }, key(name), text);

function actions(one) {
  return el("div", { class: "actions" },
    first_act(one),
    act("/", "type it", () => form("take")),
    act("S", "split", () => form("split")),
    act("X", "not said", () => decide("nothing")),
    act("N", "remark", () => form("remark")),
    one.photos && one.photos.length ? act("M", "move photo", () => move()) : null,
    act("U", "undo", () => undo()),
    act("K", "before", () => step(-1)), act("J", "next", () => step(1)));
}

// What Enter does: what stands is right, the one reading is it, or nothing of it belongs into the record; of several readings none is taken so.
function first_act(one) {
  if (one.blind || (!one.findings.length && one.need && one.offers.length > 1)) return null;
  const taken = one.findings.length ? "right as it stands" : one.need && one.offers.length === 1 ? "take reading 1" : "nothing to take";
  return act("Enter", taken, () => accept(), { class: "first" });
}

// As it was when the page was opened: what is decided stays where it is, what is new comes to the end.
function in_order(sheet) {
  const before = here.sheet && here.sheet.inspection === sheet.inspection ? here.sheet.items : [];
  const place = new Map(before.map((each, at) => [each.id, at]));
  const known = (each) => (place.has(each.id) ? place.get(each.id) : Infinity);
  return { ...sheet, items: before.length ? [...sheet.items].sort((a, b) => known(a) - known(b) || 0) : sheet.items };
}

function show_sheet(told) {
  const sheet = in_order(told);
  if (told.listeners) here.listeners = told.listeners;
  here.sheet = sheet;
  if (told.first && stubs.size === 0) here.items.set(told.first.id, Promise.resolve(told.first));
  byId("title").textContent = sheet.vehicle.name;
  byId("whose").textContent = "Inspection, gone through";
  byId("card-number").textContent = `no. ${sheet.date} / ${sheet.inspection}`;
  const left = sheet.items.filter(open).length;
  byId("counts").replaceChildren(left ? `${left} to decide` : "nothing left to decide", el("small", {}, `${sheet.items.length} in all`));
  byId("statement").textContent = sheet.statement;
  const signed = sheet.signed.at(-1), later = sheet.items.filter((each) => each.later).length;
  byId("signed").replaceChildren(...(signed !== undefined ? [el("b", {}, `signed off by ${signed || "nobody named"}`), sheet.uncovered ? `; ${later ? `${later} marked as addendum` : `${sheet.uncovered} rows came after it`}, not covered until it is signed again` : ""] : []),
    el("button", { type: "button", onclick: to_sign }, key("F"), signed !== undefined ? "the signature" : left ? "sign off" : "nothing is left to decide: sign off"));
  list_of(sheet.items);
  mark_list();
}

const stubs = new Map();

function stub(each) {
  return el("li", { class: `stub ${each.group}${each.decided ? " decided" : ""}` },
    el("button", { type: "button", "data-item": each.id, onclick: () => show(each.id) },
      el("span", { class: "typed at" }, each.when), el("span", { class: "what" }, each.title || each.need, each.need && each.title ? el("small", {}, each.need) : null, each.decided ? el("small", {}, `decided: ${each.decided}`) : null, each.later ? el("small", { class: "addendum" }, "addendum") : null),
      each.state && each.state !== "photo" && each.state !== "not judged" ? verdict(each.state, each.severity) : null));
}

// Only what changed is made anew: of 300 stubs one changes with a decision.
function list_of(items) {
  const list = byId("list"), there = new Set(items.map((each) => each.id));
  for (const [id, one] of stubs) if (!there.has(id)) { one.made.remove(); stubs.delete(id); here.items.delete(id); }
  for (const [at, each] of items.entries()) {
    const told = JSON.stringify(each), before = stubs.get(each.id);
    if (!before || before.told !== told) {
      const made = stub(each);
      if (before) { before.made.replaceWith(made); here.items.delete(each.id); }
      stubs.set(each.id, { told, made });
    }
    const made = stubs.get(each.id).made;
    if (list.children[at] !== made) list.insertBefore(made, list.children[at] || null);
  }
}

let marked = null;

function mark_list() {
  if (marked) marked.removeAttribute("aria-current");
  const one = stubs.get(here.at);
  marked = one ? one.made.firstElementChild : null;
  if (marked) { marked.setAttribute("aria-current", "true"); keep_in_view(marked); }
  const canvas = byId("tape");
  const left = here.sheet.items.filter(open).length;
  canvas.setAttribute("aria-label", `${here.sheet.items.length} things on the session clock, ${left} to decide; the same as a list below`);
  requestAnimationFrame(() => tape(canvas, here.sheet.items, current()));
}

function keep_in_view(button) {
  const list = byId("list");
  if (list.scrollHeight <= list.clientHeight) return;
  const top = button.offsetTop;
  if (top < list.scrollTop || top + button.offsetHeight > list.scrollTop + list.clientHeight) list.scrollTop = top - list.clientHeight / 3;
}

// -- hearing --------------------------------------------------------------------------------------

async function hear(rate, { only = null, from = 0, quietly = false } = {}) {
  const one = here.one;
  if (!one) return;
  const sounds = (only ? [only] : one.said || []).filter((said) => said.clip);
  if (!sounds.length) return;
  const byName = new Map(sounds.map((said) => [said.clip, said]));
  const onplace = async (name, at) => {
    const said = byName.get(name), canvas = byId(`shape-${said.id}`), points = await shape(name);
    if (canvas && points) draw(canvas, points, said, at);
  };
  const went = await play(sounds.map((said) => said.clip), { rate, from, onplace });
  if (!went) say(quietly ? "the browser plays nothing before the first key or click: press R to hear it" : "it cannot be played: press R again");
}

// -- deciding -------------------------------------------------------------------------------------

function next_open() {
  const items = here.sheet.items, from = place();
  const after = [...items.slice(from + 1), ...items.slice(0, from)].find((each) => open(each) && each.id !== here.at && !here.sent.has(each.id));
  return after ? after.id : (items[from + 1] || items[from]).id;
}
here.sent = new Set();

async function send(path, what, { stay = false } = {}) {
  const id = here.at;
  here.waiting++;
  here.sent.add(id);
  wrong("");
  say("saving");
  let told;
  const answer = ask(path, { token: here.token, send: { inspection: here.inspection, ...what } });
  if (!stay) show(next_open());
  try { told = await answer; } catch (error) {
    here.items.delete(id);
    here.sent.delete(id);
    here.waiting--;
    if (error.status === 409) await reload(id);
    else if (here.at !== id) await show(id, { playing: false });
    const again = error.told && error.told.unsure;
    wrong(`not saved: ${error.message}${again ? ". Choose it once more if it is so." : error.told && error.told.todo ? `. ${error.told.todo}` : ""}`);
    say("");
    return again ? "unsure" : "refused";
  }
  here.sent.delete(id);
  here.items.delete(id);
  show_sheet(told.sheet);
  kept();
  here.waiting--;
  if (stay || here.at === id) await show(told.item && told.sheet.items.some((each) => each.id === told.item) ? told.item : here.at, { playing: false });
  else ahead();
  return "saved";
}

async function decide(verb, more = {}, options = {}) {
  const one = here.one;
  if (!one || one.state === "photo") return "refused";
  return send("/review/decide", { verb, item: one.id, seen: one.seen, blind: one.blind === true, ...more }, options);
}

async function accept() {
  const one = here.one;
  if (!one) return "refused";
  if (one.state === "photo") return send("/review/move", { photo: one.id, number: null, attachment: one.photos[0].attachment });
  if (one.blind) { say("listen, then choose what you hear: 1 to 9, / to type, X if nothing was said"); return "refused"; }
  if (!one.findings.length && one.need && one.offers.length === 1) return choose(0);
  if (!one.findings.length && one.need && !one.offers.length) return decide("nothing");
  if (!one.findings.length && one.offers.length > 1 && one.need) { say("choose a reading: 1 to 9, / to type, X if nothing was said"); return "refused"; }
  return decide("accept");
}

async function choose(number) {
  const one = here.one;
  if (!one || !one.offers || !one.offers[number]) return "refused";
  const mark = one.offers[number].mark, sure = here.again === `${one.id} ${mark}`;
  const result = await decide("choose", { mark, sure });
  here.again = result === "unsure" ? `${one.id} ${mark}` : "";
  return result;
}

async function undo() {
  const before = here.waiting;
  if (before) { say("still saving: undo in a moment"); return "refused"; }
  return send("/review/undo", {}, { stay: true });
}

async function reload(id) {
  here.items.delete(id);
  show_sheet(await ask(`/review/sheet?${query()}`));
  const known = here.sheet.items.some((each) => each.id === id);
  await show(known ? id : here.sheet.items[0].id, { playing: false });
}

function step(by) {
  const next = here.sheet.items[place() + by];
  if (next) show(next.id); else say(by > 0 ? "that was the last" : "that is the first");
}

// -- typing ---------------------------------------------------------------------------------------

function form(kind) {
  const one = here.one;
  if (!one || one.state === "photo") return;
  close_form();
  const told = { take: "what was said, as it is spoken", split: "one finding on each line", remark: "a remark; it is never judged" }[kind];
  const field = kind === "take" ? el("input", { type: "text", id: "typing", autocomplete: "off", spellcheck: "false", maxlength: 2000 }) : el("textarea", { id: "typing", rows: 3, spellcheck: "false", maxlength: 2000 });
  const heard = (one.said || []).map((said) => said.text).filter(Boolean).at(-1) || "";
  field.value = kind === "remark" ? "" : kind === "split" ? heard.replace(/ (and|then) /g, "\n") : heard;
  here.sure = "";
  here.form = el("form", { class: "typing" }, el("label", { for: "typing" }, told), field,
    el("p", {}, el("button", { type: "submit" }, kind === "take" ? key("Enter") : key("Ctrl Enter"), kind === "remark" ? "keep it" : "this was said"), el("button", { type: "button", onclick: () => { close_form(); byId("card").focus(); } }, key("Esc"), "leave it")),
    el("p", { class: "answer", role: "alert", id: "answer" }));
  field.addEventListener("keydown", (event) => {
    if (event.key === "Escape") { close_form(); byId("card").focus(); }
    if (event.key === "Enter" && (event.ctrlKey || event.metaKey)) { event.preventDefault(); here.form.requestSubmit(); }
  });
  field.addEventListener("input", () => { here.sure = ""; });
  here.form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const text = field.value, mine = here.form;
    if (!text.trim()) return;
    const result = kind === "remark" ? await decide("remark", { text }, { stay: true }) : await typed_in(text);
    if (result === "saved" || here.form !== mine) return;
    byId("answer").textContent = byId("wrong").textContent + (result === "unsure" ? " Press Enter again to take it as it is." : "");
    wrong("");
    here.sure = result === "unsure" ? text : "";
    field.focus();
  });
  byId("card").append(here.form);
  field.focus();
  if (field.select && kind === "take") field.select();
}

// Typed words may be asked about: the card stays until the server took them.
async function typed_in(text) {
  const one = here.one, next = next_open();
  if (!one) return "refused";
  here.waiting++;
  wrong("");
  try {
    const told = await ask("/review/decide", { token: here.token, send: { inspection: here.inspection, verb: "take", item: one.id, seen: one.seen, blind: one.blind === true, text, sure: here.sure === text } });
    here.items.delete(one.id);
    show_sheet(told.sheet);
    kept();
    await show(here.sheet.items.some((each) => each.id === next) ? next : one.id);
    return "saved";
  } catch (error) {
    wrong(`not saved: ${error.message}${error.told && error.told.todo && !error.told.unsure ? `. ${error.told.todo}` : ""}`);
    if (error.status === 409) { here.items.delete(one.id); await reload(one.id); wrong(`not saved: ${error.message}`); }
    return error.told && error.told.unsure ? "unsure" : "refused";
  } finally { here.waiting--; }
}

function close_form() { if (here.form) here.form.remove(); here.form = null; }

function move() {
  const one = here.one;
  const photos = (one && one.photos) || [];
  if (!photos.length) { say("no photo is here"); return; }
  close_form();
  const which = el("select", { id: "which-photo" }, photos.map((each) => el("option", { value: each.id }, each.file)));
  const where = el("select", { id: "where" }, el("option", { value: "" }, "no finding"), here.sheet.findings.map((each) => el("option", { value: each.number }, `no. ${each.number} ${each.subject}`)));
  here.form = el("form", { class: "typing" }, el("label", { for: "which-photo" }, "photo"), which, el("label", { for: "where" }, "belongs to"), where,
    el("p", {}, el("button", { type: "submit" }, key("Enter"), "move it"), el("button", { type: "button", onclick: () => { close_form(); byId("card").focus(); } }, key("Esc"), "leave it")));
  here.form.addEventListener("keydown", (event) => {
    if (event.key === "Escape") { close_form(); byId("card").focus(); }
    if (event.key === "Enter" && event.target.tagName === "SELECT") { event.preventDefault(); here.form.requestSubmit(); }
  });
  here.form.addEventListener("submit", (event) => {
    event.preventDefault();
    const moved = photos.find((each) => each.id === which.value);
    send("/review/move", { photo: moved.id, number: where.value ? Number(where.value) : null, attachment: moved.attachment }, { stay: one.state !== "photo" });
  });
  byId("card").append(here.form);
  (photos.length > 1 ? which : where).focus();
}

function large(one) {
  byId("large-picture").src = `/media/photo/${one.media}?large`;
  byId("large-picture").alt = `photo ${one.file || one.day || ""}`;
  byId("large").showModal();
}

// -- keys -----------------------------------------------------------------------------------------

const LEGEND = [["Enter", "right as it stands"], ["1 to 9", "this reading"], ["R", "hear"], ["Shift R", "hear slower"], ["/", "type it, as it is spoken"], ["S", "split into several"],
  ["X", "nothing was said"], ["N", "remark"], ["M", "move photo"], ["U", "undo"], ["J K, arrows", "next, before"], ["G", "next to decide"], ["A", "hear again, by another listener"], ["F", "sign off"]];

function pressed(event) {
  if (!byId("keys-on").checked || byId("review").hidden || byId("large").open) return;
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const at = event.target;
  if (at.closest("input:not([type=checkbox]), textarea, select, dialog")) return;
  const pressing = at.closest("button, a, summary, label, input");
  if (pressing && (event.key === "Enter" || event.key === " ")) return;
  const one = { Enter: accept, r: () => hear(1), R: () => hear(event.shiftKey ? 0.6 : 1), "/": () => form("take"), s: () => form("split"), x: () => decide("nothing"),
    n: () => form("remark"), m: move, u: undo, j: () => step(1), k: () => step(-1), ArrowDown: () => step(1), ArrowUp: () => step(-1), ArrowRight: () => step(1), ArrowLeft: () => step(-1), g: () => show(next_open()), f: to_sign, a: to_again };
  const does = one[event.key] || one[event.key.toLowerCase()] || (/^[1-9]$/.test(event.key) ? () => choose(Number(event.key) - 1) : null);
  if (!does || event.repeat) return;
  event.preventDefault();
  does();
}

// -- beginning ------------------------------------------------------------------------------------

function turn(to) {
  for (const name of ["review", "vehicle", "search", "again", "sign"]) {
    byId(name).hidden = name !== to;
    const button = byId(`to-${name}`);
    if (name === to) button.setAttribute("aria-current", "page"); else button.removeAttribute("aria-current");
  }
  if (to === "review" && here.sheet) mark_list();
}

async function to_sign() {
  if (here.waiting) { say("still saving: sign in a moment"); return; }
  hush();
  turn("sign");
  try { await showSign(byId("sign"), signing_at); } catch (error) { wrong(error.message); }
  byId("to-sign").focus();
  scrollTo(0, 0);
}
function to_again() {
  if (!here.sheet) return;
  hush();
  turn("again");
  showAgain(byId("again"), again_at);
}
const again_at = { token: () => here.token, inspection: () => here.inspection, listeners: () => here.listeners || ["whisper"], one: () => (here.one && here.one.said && here.one.said.some((said) => said.clip) && !here.one.blind ? here.one : null),
  sheet: (told, id) => { here.items.delete(id); show_sheet(told); kept(); if (here.at === id) here.at = null; }, back: () => signing_at.back(), card: (id) => { turn("review"); show(id); } };
const signing_at = { query, token: () => here.token, inspection: () => here.inspection, say, sheet: show_sheet, back: () => { turn("review"); if (here.at) byId("card").focus(); else show(here.sheet.items[0].id); } };

async function open_inspection(number, wanted = "") {
  here.inspection = String(number || "");
  here.items.clear();
  here.sheet = null;
  stubs.clear();
  byId("list").replaceChildren();
  show_sheet(await ask(`/review/sheet?${query()}`));
  say("");
  turn("review");
  mark_list();
  const first = here.sheet.items.find((each) => each.id === wanted) || here.sheet.items.find(open) || here.sheet.items[0];
  if (first) await show(first.id, { playing: here.played });
  else byId("card").replaceChildren(el("p", {}, "nothing was said in this inspection"));
}

async function begin() {
  const wanted = new URLSearchParams(location.hash.slice(1));
  const session = await enter();
  if (!session) { wrong("Nobody came in here: open the address that `fieldlog review` printed. It opens once; start the command again for another."); return; }
  here.token = session.token;
  byId("legend").replaceChildren(...LEGEND.map(([name, does]) => el("li", {}, key(name), does)));
  byId("keys-on").checked = localStorage.getItem("keys") !== "off";
  byId("keys-on").addEventListener("change", (event) => localStorage.setItem("keys", event.target.checked ? "on" : "off"));
  byId("large-close").addEventListener("click", () => byId("large").close());
  byId("to-review").addEventListener("click", () => turn("review"));
  const away = { large, open: open_inspection };
  byId("to-vehicle").addEventListener("click", () => { turn("vehicle"); showVehicle(byId("vehicle"), here.sheet.vehicle.number, away); });
  byId("to-search").addEventListener("click", () => { turn("search"); showSearch(byId("search"), away); });
  byId("to-again").addEventListener("click", to_again);
  byId("to-sign").addEventListener("click", to_sign);
  document.addEventListener("keydown", (event) => { here.played = true; pressed(event); });
  document.addEventListener("pointerdown", () => { here.played = true; });
  addEventListener("resize", () => { if (here.sheet && here.at) { mark_list(); item(here.at).then(draw_card, () => {}); } });
  addEventListener("beforeunload", (event) => { if (here.waiting) event.preventDefault(); });
  await open_inspection(wanted.get("inspection") || "", wanted.get("item") || "");
  document.documentElement.dataset.ready = "yes";
}

begin().catch((error) => wrong(error.message));
