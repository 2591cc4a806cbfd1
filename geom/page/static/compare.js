// Ways of hanging side by side: maps on one colour scale, and their figures.

import * as api from "./api.js";
import { colouring, scaleOf, topFor } from "./colours.js";
import { byId, el, figure, fill, minutes, percent } from "./dom.js";
import { sentence } from "./form.js";
import { legend } from "./legend.js";
import { View } from "./scene.js";
import { table } from "./tables.js";

const CHECKED = 3; // ways ticked at first
let plan = null;
let names = [];
let asking = null;
let views = [];

const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

export function prepareCompare(start) {
  names = start.poses;
  byId("compare").addEventListener("submit", (event) => {
    event.preventDefault();
    compare();
  });
}

export function compareOf(id) {
  asking?.abort();
  plan = id;
  fill(byId("compare-poses"), ...names.map((name, place) =>
    el("label", {}, el("input", { type: "checkbox", name: "compared", value: name, checked: place < CHECKED }), ` ${capital(name)}`),
  ));
  clear("");
}

function clear(text) {
  views.forEach((view) => view.drop());
  views = [];
  fill(byId("compared"));
  fill(byId("compare-legend"));
  fill(byId("compare-table"));
  byId("compare-table").hidden = true;
  byId("compare-state").textContent = text;
}

async function compare() {
  const picked = [...byId("compare").querySelectorAll("input:checked")].map((box) => box.value);
  if (picked.length < 1) {
    clear("Tick the ways you want to see.");
    return;
  }
  asking?.abort();
  asking = new AbortController();
  const mine = asking;
  clear(`Working out ${picked.length} way${picked.length > 1 ? "s" : ""} of hanging…`);
  try {
    const { poses } = await api.poses(plan, picked, mine.signal);
    if (mine === asking) show(poses);
  } catch (cause) {
    if (cause.name === "AbortError" || mine !== asking) return;
    if (!(cause instanceof api.Refusal)) throw cause;
    byId("compare-state").textContent = sentence(cause);
  }
}

function show(poses) {
  const good = poses.filter((one) => one.view);
  const top = Math.max(...good.map((one) => topFor(one.view.scene, "thickness")));
  fill(byId("compared"), ...poses.map((one) => card(one, top)));
  if (!good.length) {
    byId("compare-state").textContent = "None of these can be hung in this tank.";
    return;
  }
  legend(byId("compare-legend"), { by: "thickness", low: 0, high: top, scale: scaleOf(good[0].view.scene, "thickness", top) }, [["target", good[0].view.scene.target_um]]);
  const quickest = Math.min(...good.map((one) => one.view.numbers.minutes));
  const lines = good.map(({ pose, view: { numbers: n } }) => [
    capital(pose), `${minutes(n.minutes)}${n.minutes === quickest && good.length > 1 ? " (soonest)" : ""}`, `${figure(n.current_A)} A`,
    `${figure(n.thinnest_um)} µm`, `${figure(n.thickest_um)} µm`, figure(n.thickest_to_thinnest, 2), percent(n.bare_share),
  ]);
  const heads = ["Way of hanging", "Time", "Current", "Thinnest", "Thickest", "Thickest / thinnest", "Bare"];
  fill(byId("compare-table"), el("table", {}, ...table("Ways of hanging compared", heads, lines)));
  byId("compare-table").hidden = false;
  byId("compare-state").textContent = `${good.length} way${good.length > 1 ? "s" : ""} of hanging, on one colour scale.`;
}

function card({ pose, view, error }, top) {
  const title = el("h3", {}, capital(pose));
  if (!view) return el("div", { class: "way" }, title, el("p", { class: "fault" }, sentence(error)));
  const picture = el("div", { class: "picture", role: "img", "aria-label": `Map of the part, ${pose}` });
  const words = el("p", {}, el("b", {}, minutes(view.numbers.minutes)), ` at ${figure(view.numbers.current_A)} A`);
  // drawn once it stands in the page and has a size
  window.requestAnimationFrame(() => {
    const drawn = new View(picture);
    views.push(drawn);
    drawn.draw(view.scene, { colours: colouring(view.scene, "thickness", { top }) });
  });
  return el("div", { class: "way" }, title, picture, words);
}
