// One vehicle over the years, and looking for findings.
import { ask } from "/page/serve/enter.js";
import { course, el, photo, verdict } from "./dom.js";

export async function showVehicle(into, number, { large, open }) {
  const one = await ask(`/review/vehicle?vehicle=${encodeURIComponent(number)}`);
  const parts = [
    el("dl", { class: "boxes" }, [["vehicle", one.name], ["odometer", one.odometer], ...one.facts].filter(([, value]) => value).map(([label, value]) => el("div", {}, el("dt", {}, label), el("dd", {}, value)))),
    el("h2", {}, "coming due"),
    one.due.length
      ? el("ul", { class: "plain" }, one.due.map((each) => el("li", {}, el("b", {}, each.what), ` ${each.by}${["later", "unknown"].includes(each.nearness) ? "" : `, ${each.nearness}`}. `, el("span", { class: "quiet" }, [each.reason, each.source].filter(Boolean).join(" · ")))))
      : el("p", { class: "quiet" }, "nothing that the record knows of"),
    el("h2", {}, "wear"),
    one.trends.length
      ? el("div", { class: "courses" }, one.trends.map(course))
      : el("p", { class: "quiet" }, "nothing was measured in three inspections yet"),
    one.trends.length ? el("p", { class: "quiet" }, "Shaded: where 95 % of new readings will lie. Thick line: the limit.") : null,
  ];
  if (one.pictures.length) parts.push(el("h2", {}, "before and after"), el("div", { class: "pairs" }, one.pictures.map((each) => el("div", {}, el("h3", {}, each.part), el("div", { class: "photos" },
    photo(each.before, large, `${each.before.day}: ${each.before.told}`), photo(each.after, large, `${each.after.day}: ${each.after.told}`))))));
  parts.push(el("h2", {}, "history"), el("ul", { class: "plain history" }, one.history.map((each) => el("li", {}, el("h3", {}, each.subject),
    el("ul", {}, each.rows.map((row) => el("li", {}, el("span", { class: "typed" }, `${row.day} `), el("b", {}, row.value), " ", verdict(row.state, ""), row.odometer ? el("span", { class: "quiet" }, ` at ${row.odometer} `) : null,
      el("button", { type: "button", class: "go", onclick: () => open(row.inspection) }, `inspection ${row.inspection}`))))))));
  into.replaceChildren(...parts.filter(Boolean));
}

export function showSearch(into, { open }) {
  if (into.childElementCount) { into.querySelector("input").focus(); return; }
  const field = (name, label, type = "text") => [el("label", { for: `by-${name}` }, label), el("input", { id: `by-${name}`, name, type, autocomplete: "off" })];
  const states = el("select", { id: "by-verdict", name: "verdict" }, ["", "beyond", "faulty", "marginal", "undecided", "within"].map((each) => el("option", { value: each }, each || "any")));
  const found = el("div", { role: "status" });
  const form = el("form", { class: "searching", role: "search" }, el("div", {}, ...field("words", "words")), el("div", {}, ...field("component", "component")), el("div", {}, el("label", { for: "by-verdict" }, "verdict"), states),
    el("div", {}, ...field("since", "from", "date")), el("div", {}, ...field("until", "to", "date")), el("p", {}, el("button", { type: "submit" }, "look")));
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    try {
      const { found: all } = await ask(`/review/search?${new URLSearchParams(new FormData(form))}`);
      found.replaceChildren(el("p", { class: "quiet" }, all.length ? `${all.length} found, newest first` : "nothing was found"),
        el("ol", { class: "plain" }, all.map((each) => el("li", {}, el("span", { class: "typed" }, `${each.day} `), el("b", {}, each.told), " ", verdict(each.state, ""), ` ${each.vehicle} `,
          el("button", { type: "button", class: "go", onclick: () => open(each.inspection, each.item) }, `inspection ${each.inspection}, no. ${each.number}`)))));
    } catch (error) { found.replaceChildren(el("p", {}, error.message)); }
  });
  into.replaceChildren(el("h2", {}, "look for findings"), form, found);
  into.querySelector("input").focus();
}
