// The part in its tank while one types: asked after a pause, late answers dropped, the last good view kept.

import * as api from "./api.js";
import { byId, el, fill, later } from "./dom.js";
import { Unfinished, answers, clearFaults, showFaults } from "./form.js";
import { View } from "./scene.js";

const PAUSE = 250; // ms
let view = null;
let asking = null;
let latest = 0;

export const lookSoon = later(PAUSE, lookNow);

export async function lookNow() {
  lookSoon.stop();
  asking?.abort();
  asking = new AbortController();
  latest += 1;
  const mine = latest;
  const picture = byId("look-picture");
  let given;
  try {
    given = answers();
  } catch (cause) {
    if (!(cause instanceof Unfinished)) throw cause;
    showFaults(cause.faults);
    picture.classList.add("stale");
    return;
  }
  try {
    const seen = await api.look(given, asking.signal);
    if (mine !== latest) return;
    clearFaults();
    picture.classList.remove("stale");
    show(seen);
  } catch (cause) {
    if (cause.name === "AbortError" || mine !== latest) return;
    if (!(cause instanceof api.Refusal)) throw cause;
    showFaults(cause.all);
    picture.classList.add("stale");
  }
}

function show(seen) {
  view ??= new View(byId("look-picture"), byId("look-tools"));
  view.draw(seen.scene, { tank: true });
  fill(byId("assumed"), ...(seen.assumed || []).map((text) => el("li", {}, text)));
  byId("assumed").parentElement.hidden = !(seen.assumed || []).length;
  fill(byId("look-notes"), ...(seen.notes || []).map((note) => el("li", {}, note.message || note)));
  byId("look-words").textContent = words(seen);
}

function words(seen) {
  const names = (seen.features || []).map((feature) => feature.name || feature);
  const sizes = size(seen.scene.part).join(" × ");
  const anodes = (seen.scene.electrodes || []).filter((body) => body.kind === "anode").length;
  const cm2 = Number((seen.area_mm2 / 100).toPrecision(3));
  return `${sizes} mm as it hangs, ${cm2} cm² wetted, ${anodes} anode${anodes === 1 ? "" : "s"}. ` +
    `Places: ${names.slice(0, 14).join(", ")}${names.length > 14 ? `, and ${names.length - 14} more` : ""}.`;
}

function size(part) {
  return ["x", "y", "z"].map((axis) => {
    let low = Infinity;
    let high = -Infinity;
    for (const value of part[axis]) {
      if (value < low) low = value;
      if (value > high) high = value;
    }
    return Number((high - low).toPrecision(3));
  });
}
