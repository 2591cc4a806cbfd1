// The colour bar in units, under a map.

import { STATES, gradient } from "./colours.js";
import { el, figure, fill } from "./dom.js";

const UNIT = { thickness: "µm", current: "A/dm²" };
const NAME = { thickness: "Thickness", current: "Current density as first hung" };

export function legend(host, { by, low, high, scale }, marks = []) {
  if (by === "state") {
    const items = STATES.map(([name, colour]) => el("li", {}, swatch(colour), name));
    fill(host, el("p", { class: "legend-name" }, "Current density against the range of the bath, as first hung"), el("ul", { class: "states" }, ...items));
    return;
  }
  const band = el("div", { class: "band" });
  band.style.backgroundImage = gradient(scale);
  const ticks = el("div", { class: "ticks" });
  for (const value of niceTicks(low, high)) ticks.append(at(el("span", {}, figure(value, 2)), value, low, high));
  const over = el("span", { class: "over" }, `${figure(high, 2)} and over`);
  const signs = el("div", { class: "signs" });
  for (const [name, value] of marks) {
    if (value === null || value === undefined || value < low || value > high) continue;
    signs.append(at(el("span", {}, `${name} ${figure(value, 2)}`), value, low, high));
  }
  fill(host, el("p", { class: "legend-name" }, `${NAME[by]} in ${UNIT[by]}`), signs, band, ticks, over);
}

export function swatch(colour) {
  const mark = el("span", { class: "swatch", "aria-hidden": "true" });
  mark.style.backgroundColor = colour;
  return mark;
}

function at(node, value, low, high) {
  node.style.left = `${(100 * (value - low)) / (high - low)}%`;
  return node;
}

function niceTicks(low, high) {
  const raw = (high - low) / 4;
  const ten = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 2.5, 5, 10].map((k) => k * ten).find((k) => k >= raw);
  const ticks = [];
  for (let value = Math.ceil(low / step) * step; value <= high * 0.78; value += step) ticks.push(value);
  return ticks;
}
