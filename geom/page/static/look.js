// The part in its tank while one types: asked after a pause, late answers dropped, the last good view kept.

import * as api from "./api.js";
import { byId, el, fill, later } from "./dom.js";
import { Unfinished, answers, clearFaults, sentence, showFaults } from "./form.js";
import { swatch } from "./legend.js";
import { LOOKS, View } from "./scene.js";

const PAUSE = 250; // ms
const BODIES = [["copper", "the part"], ["anode", "anode"], ["thief", "thief"], ["shield", "shield"], ["liquid", "level of the liquid"]];
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
  let given;
  try {
    given = answers();
  } catch (cause) {
    if (!(cause instanceof Unfinished)) throw cause;
    refused(cause.faults);
    return;
  }
  try {
    const seen = await api.look(given, asking.signal);
    if (mine !== latest) return;
    clearFaults();
    byId("look-picture").classList.remove("stale");
    byId("look-fault").hidden = true;
    show(seen);
  } catch (cause) {
    if (cause.name === "AbortError" || mine !== latest) return;
    if (!(cause instanceof api.Refusal)) throw cause;
    refused(cause.all);
  }
}

function refused(faults) {
  // the last good picture stays, dimmed; the first fault is told under it as well, for its field may be out of sight
  showFaults(faults);
  byId("look-picture").classList.add("stale");
  byId("look-fault").textContent = sentence(faults[0]);
  byId("look-fault").hidden = false;
}

function show(seen) {
  view ??= new View(byId("look-picture"), byId("look-tools"));
  view.draw(seen.scene, { tank: true });
  fill(byId("assumed"), ...(seen.assumed || []).map((text) => el("li", {}, text)));
  byId("assumed").parentElement.hidden = !(seen.assumed || []).length;
  fill(byId("look-notes"), ...(seen.notes || []).map((note) => el("li", {}, note.message || note)));
  const kinds = new Set((seen.scene.electrodes || []).map((body) => body.kind));
  const shown = BODIES.filter(([look]) => ["copper", "liquid"].includes(look) || kinds.has(look));
  fill(byId("look-bodies"), ...shown.map(([look, text]) => el("li", {}, swatch(LOOKS[look]), text)));
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
