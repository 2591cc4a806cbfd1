// What a face is coloured by: values, words for the pointer, scale and legend.

import { figure } from "./dom.js";

// from dark violet to yellow, in even steps for colour-blind eyes too (the map called viridis, as in the report)
const RAMP = ["#440154", "#482878", "#3e4a89", "#31688e", "#26828e", "#1f9e89", "#35b779", "#6ece58", "#b5de2b", "#fde725"];
export const STATES = [
  ["bare", "#8b8794"],
  ["under the range", "#4f9fe0"],
  ["within the range", "#2f8f6b"],
  ["over the range: burns", "#d9541e"],
];
const TOP_SHARE = 0.985; // of the area: the few hotter faces at sharp edges share the last colour

const PIVOT = 0.45; // of the ramp: the colour of a thickness that just meets the target
const steps = STATES.flatMap(([, colour], place) => [[place / STATES.length, colour], [(place + 1) / STATES.length, colour]]);

function ramp(pivot = null) {
  // dark below the target, bright above: most of a part is near it, and few edges far above
  const share = (place) => {
    const along = place / (RAMP.length - 1);
    if (pivot === null) return along;
    return along <= PIVOT ? (along / PIVOT) * pivot : pivot + ((along - PIVOT) / (1 - PIVOT)) * (1 - pivot);
  };
  return RAMP.map((colour, place) => [share(place), colour]);
}

export const gradient = (scale) =>
  `linear-gradient(to right, ${scale.map(([share, colour]) => `${colour} ${(100 * share).toFixed(1)}%`).join(", ")})`;

export function faceAreas(part) {
  const { x, y, z, i, j, k } = part;
  return i.map((a, face) => {
    const b = j[face];
    const c = k[face];
    const u = [x[b] - x[a], y[b] - y[a], z[b] - z[a]];
    const v = [x[c] - x[a], y[c] - y[a], z[c] - z[a]];
    return Math.hypot(u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]) / 2;
  });
}

export function topOf(values, areas) {
  const order = values.map((_, face) => face).filter((face) => values[face] !== null);
  order.sort((a, b) => values[a] - values[b]);
  const whole = order.reduce((sum, face) => sum + areas[face], 0);
  let below = 0;
  for (const face of order) {
    below += areas[face];
    if (below >= TOP_SHARE * whole) return values[face];
  }
  return 1;
}

export function grown(scene, minute) {
  // thickness of each face after so many minutes of the schedule, in µm
  const total = new Float64Array(scene.part.i.length);
  let before = 0;
  for (const stage of scene.stages) {
    const spent = Math.min(Math.max(minute - before, 0), stage.minutes);
    before += stage.minutes;
    if (spent > 0) stage.growth_um_per_min.forEach((growth, face) => { total[face] += spent * (growth || 0); });
  }
  return scene.part.i.map((_, face) => (isBare(scene, face) ? null : total[face]));
}

export const isBare = (scene, face) => Boolean(scene.part.bare && scene.part.bare[face]);

export function colouring(scene, by, { top = null, thickness = null } = {}) {
  const values = scene.values;
  const thick = thickness || values.thickness_um;
  const current = values.current_density_A_per_dm2;
  const words = thick.map((value, face) => pointerWords(scene, face, value, current[face]));
  if (by === "state") {
    return { by, values: values.state, words, low: -0.5, high: STATES.length - 0.5, scale: steps };
  }
  const shown = by === "current" ? current : thick;
  const high = top ?? topFor(scene, by);
  return { by, values: shown, words, low: 0, high, scale: scaleOf(scene, by, high) };
}

export function scaleOf(scene, by, high) {
  const target = scene.target_um;
  return ramp(by === "thickness" && target > 0 && target < 0.9 * high ? target / high : null);
}

export function topFor(scene, by) {
  const areas = faceAreas(scene.part);
  const values = by === "current" ? scene.values.current_density_A_per_dm2 : scene.values.thickness_um;
  return topOf(values, areas) || 1;
}

function pointerWords(scene, face, thickness, current) {
  const name = escaped(scene.part.features[scene.part.feature[face]] ?? "");
  const state = scene.values.state[face];
  const rest = state === null || state === undefined ? "" : `<br>${STATES[state][0]}`;
  return `${figure(thickness)} µm<br>${figure(current)} A/dm²<br>${name}${rest}`;
}

export function escaped(text) {
  // names come from files of others; the drawing library reads some markup in its labels
  return String(text).replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;");
}
