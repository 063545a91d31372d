// Elements from values: text is always text, nothing is ever read as markup.

export function el(tag, about = {}, ...inside) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(about)) {
    if (value === false || value === null || value === undefined) continue;
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...inside.flat().filter((each) => each !== null && each !== undefined && each !== ""));
  return made;
}

export function drawn(tag, about = {}, ...inside) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(about)) made.setAttribute(name, value);
  made.append(...inside);
  return made;
}

export const byId = (id) => document.getElementById(id);

export function verdict(state, severity) {
  const sign = drawn("svg", { "aria-hidden": "true" }, drawn("use", { href: `#v-${state.replaceAll(" ", "-")}` }));
  return el("span", { class: `verdict ${state.replaceAll(" ", "-")}` }, sign, el("span", {}, severity ? `${state}, ${severity}` : state));
}

export function ruler(gauge) {
  const x = (at) => 4 + at * 192;
  const line = (x1, x2, y1, y2, width, name) => drawn("line", { x1, x2, y1, y2, "stroke-width": width, class: name });
  const made = drawn("svg", { class: "ruler", viewBox: "0 0 200 26", "aria-hidden": "true" });
  made.append(line(0, 200, 18.5, 18.5, 1, "scale"));
  made.append(line(x(gauge.allowed[0]), x(gauge.allowed[1]), 18.5, 18.5, 5, "allowed"));
  for (const band of [gauge.guard_low, gauge.guard_high]) {
    if (band) made.append(drawn("rect", { x: x(band[0]), y: 13, width: Math.max(1, (band[1] - band[0]) * 192), height: 11, fill: "url(#hatch)" }));
  }
  for (const edge of [gauge.low, gauge.high]) if (edge !== null) made.append(line(x(edge), x(edge), 10, 26, 2, "edge"));
  made.append(drawn("path", { d: `M${x(gauge.reading)} 17 l-4.5 -11 h9 z`, class: "pointer" }));
  return made;
}

// A wear trend: dots, the part before as rings, dashed line, where new readings will lie, the limit; values on the axis.
export function course(trend) {
  const x = (at) => 62 + at * 286, y = (at) => 10 + at * 110;
  const spots = (all) => all.map(([a, b]) => `${x(a)},${y(b)}`).join(" ");
  const made = drawn("svg", { class: "course", viewBox: "0 0 360 150", role: "img", "aria-label": `${trend.title}: ${trend.told}` });
  if (trend.band.length) made.append(drawn("polygon", { points: spots(trend.band), class: "band" }));
  made.append(drawn("path", { d: `M62 6 V120 H352`, class: "axis" }));
  if (trend.line.length) made.append(drawn("polyline", { points: spots(trend.line), class: "fitted" }));
  const say = (at, down, anchor, text) => { const t = drawn("text", { x: at, y: down, "text-anchor": anchor }); t.textContent = text; return t; };
  if (trend.limit !== null) made.append(drawn("line", { x1: 62, x2: 352, y1: y(trend.limit), y2: y(trend.limit), class: "limit" }));
  if (trend.allowed) made.append(drawn("line", { x1: 62, x2: 62, y1: y(trend.allowed[0]), y2: y(trend.allowed[1]), class: "allowed" }));
  for (const [height, text] of trend.scale) {
    made.append(drawn("line", { x1: 56, x2: 62, y1: y(height), y2: y(height), class: "axis" }), say(53, y(height) + 4, "end", text));
  }
  for (const at of trend.days) made.append(drawn("line", { x1: x(at), x2: x(at), y1: 120, y2: 125, class: "axis" }));
  for (const part of trend.before) for (const [a, b] of part) made.append(drawn("circle", { cx: x(a), cy: y(b), r: 3.4, class: "ring" }));
  for (const [a, b] of trend.readings) made.append(drawn("circle", { cx: x(a), cy: y(b), r: 3.6, class: "dot" }));
  made.append(say(62, 138, "start", trend.first), say(352, 138, "end", trend.last));
  return el("figure", {}, made, el("figcaption", {}, el("b", {}, trend.title), trend.before.length ? " rings: the part that was on before" : ""));
}

export function photo(one, press, caption = "") {
  const picture = el("img", { src: `/media/photo/${one.media}`, alt: `photo ${one.file || one.day || ""}`, loading: "lazy", decoding: "async" });
  const figure = el("figure", {}, el("button", { type: "button", class: "picture", onclick: () => press(one), "aria-label": `photo ${one.file || one.day || ""}, large` }, picture),
    el("figcaption", {}, caption || `${one.file}: ${one.reason}`));
  picture.addEventListener("error", () => { picture.replaceWith(el("span", { class: "no-picture" }, one.problem || "there is no picture of this photo")); });
  return figure;
}
