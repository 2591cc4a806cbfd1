// Tables and the sections of the report, built from plain data.

import { el, figure, minutes, percent } from "./dom.js";

export function table(caption, heads, lines, { words = [] } = {}) {
  const left = (place) => place === 0 || words.includes(place);
  const head = el("tr", {}, ...heads.map((text, place) => el("th", { scope: "col", class: left(place) ? "left" : null }, text)));
  const rows = lines.map((line) =>
    el("tr", {}, ...line.map((cell, place) =>
      place === 0 ? el("th", { scope: "row" }, cell) : el("td", { class: left(place) ? "left" : null }, cell),
    )),
  );
  const title = caption ? el("caption", { class: "unseen" }, caption) : null;
  return [title, el("thead", {}, head), el("tbody", {}, ...rows)].filter(Boolean);
}

export function featureTable(features) {
  const heads = ["Place", "Area", "Current, share of the mean", "Mean", "Thinnest", "Needs longer"];
  const lines = features.map((one) => [
    one.name,
    `${figure(one.area_mm2)} mm²`,
    figure(one.share, 2),
    `${figure(one.mean_um)} µm`,
    `${figure(one.thinnest_um)} µm`,
    one.bare ? "stays bare" : one.extra_minutes === null || one.extra_minutes === undefined ? "never reached" : one.extra_minutes > 0.049 ? minutes(one.extra_minutes) : "no",
  ]);
  return table("Every place of the part: area, current, thickness", heads, lines);
}

export function section(one, { open = false } = {}) {
  return el("details", { class: "section", open }, el("summary", {}, one.title), ...body(one));
}

export function body(one) {
  const parts = (one.sentences || []).length > 1
    ? [el("ul", {}, ...one.sentences.map((text) => el("li", {}, text)))]
    : (one.sentences || []).map((text) => el("p", {}, text));
  if ((one.rows || []).length) {
    parts.push(el("dl", { class: "rows" }, ...one.rows.map((row) =>
      el("div", {}, el("dt", {}, row.label), el("dd", {}, row.value, row.origin ? el("span", { class: "soft" }, ` ${row.origin}`) : null)),
    )));
  }
  if (one.table) {
    const inner = el("table", {}, ...table(one.title, one.table.heads, one.table.lines, { words: one.table.words || [] }));
    parts.push(el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": one.title }, inner));
  }
  return parts;
}

// what the tiles say of a view: name, number, how it is written
const TILES = [
  ["Set current", "current_A", (v) => `${figure(v)} A`],
  ["Expect", "voltage_V", (v) => `${figure(v, 2)} V`],
  ["Plate for", "minutes", minutes],
  ["Thinnest", "thinnest_um", (v) => `${figure(v)} µm`],
  ["Mean", "mean_um", (v) => `${figure(v)} µm`],
  ["Thickest", "thickest_um", (v) => `${figure(v)} µm`],
  ["Wetted area", "wetted_area_mm2", (v) => `${figure(v / 100)} cm²`],
  ["Bare", "bare_share", percent],
];

export function tiles(numbers, planned = null) {
  return TILES.filter(([, key]) => numbers[key] !== undefined).map(([name, key, write]) => {
    const now = numbers[key];
    const text = now === null ? "–" : write(now);
    const was = planned && planned[key] !== null && planned[key] !== undefined ? write(planned[key]) : null;
    const differs = was !== null && was !== text;
    return el("div", { class: differs ? "tile differs" : "tile" }, el("dt", {}, name),
      el("dd", {}, text, differs ? el("span", { class: "was" }, `plan: ${was}`) : null));
  });
}
