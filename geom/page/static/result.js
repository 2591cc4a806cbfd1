// A plan that is done: what to do, the map, the tables, what to take along.

import * as api from "./api.js";
import { colouring, grown, topFor } from "./colours.js";
import { byId, el, figure, fill, percent } from "./dom.js";
import { legend } from "./legend.js";
import { View } from "./scene.js";
import { Minutes } from "./slider.js";
import { body, featureTable, section, tiles } from "./tables.js";

const FILES = [
  ["card.pdf", "Card for the bench", "one page, to print"],
  ["plan.html", "Report", "opens in any browser, without network"],
  ["job.toml", "Job file", "plan it again, or from the command line"],
  ["thickness.csv", "Thickness, panel by panel", "for a spreadsheet"],
  ["plan.json", "Everything as data", "for a script"],
];
const SHOWN_ELSEWHERE = new Set(["Before you plate", "Feature by feature", "Cautions"]);
const RANK = { stop: 0, warning: 1, note: 2 };

let map = null;
let clock = null;
let shown = null; // the view on the screen: the plan's own or a what-if
let kept = null; // colour scale of the plan, so that a what-if can be compared with it
let onColour = () => {};

export const colourBy = () => document.querySelector('input[name="colour"]:checked').value;

export function setColour(by) {
  const choice = document.querySelector(`input[name="colour"][value="${by}"]`);
  if (choice) choice.checked = true;
}

export function prepareResult(colourChanged) {
  onColour = colourChanged;
  clock = new Minutes(() => {
    if (colourBy() !== "thickness") setColour("thickness");
    repaint();
  });
  for (const choice of document.querySelectorAll('input[name="colour"]')) {
    choice.addEventListener("change", () => { repaint(); onColour(colourBy()); });
  }
}

export function showPlan(id, view) {
  const again = shown && kept && kept.id === id;
  kept = { id, view, thickness: topFor(view.scene, "thickness"), current: topFor(view.scene, "current") };
  byId("result-title").textContent = view.title || "Plan";
  document.title = `${view.title || "Plan"} · geom`;
  fill(byId("downloads"), ...FILES.map(([name, title, what]) =>
    el("li", {}, el("a", { href: api.fileOf(id, name), download: name }, title), el("span", { class: "soft" }, ` ${name}: ${what}`)),
  ));
  fill(byId("sections"), ...(view.sections || []).filter((one) => !SHOWN_ELSEWHERE.has(one.title)).map((one) => section(one)));
  const care = (view.sections || []).find((one) => one.title === "Cautions");
  byId("cautions").hidden = !care;
  if (care) fill(byId("cautions-body"), ...body(care));
  showView(view, { fresh: !again });
}

export function showView(view, { planned = null, fresh = false } = {}) {
  // draws the plan, or a what-if against `planned`
  const samePanels = shown && !fresh && sameMesh(shown.scene, view.scene);
  shown = view;
  showFindings(view.findings || []);
  const [first, ...others] = view.answer || [];
  fill(byId("sentences"), el("p", { class: "first" }, first || ""), ...others.map((text) => el("p", {}, text)));
  fill(byId("tiles"), ...tiles(view.numbers, planned && planned.numbers));
  fill(byId("features"), ...featureTable(view.features || []));
  byId("map-words").textContent = mapWords(view);
  clock.of(view.scene);
  const colours = coloursNow();
  drawLegend(colours);
  map ??= new View(byId("map-picture"), byId("map-tools"));
  return samePanels ? map.paint(colours) : map.draw(view.scene, { colours, two: true });
}

const sameMesh = (one, other) =>
  one.part.i.length === other.part.i.length && one.part.x.length === other.part.x.length &&
  one.part.x.every((value, place) => value === other.part.x[place] && one.part.y[place] === other.part.y[place] && one.part.z[place] === other.part.z[place]);

function coloursNow() {
  const by = colourBy();
  const thickness = by === "thickness" && !clock.atEnd ? grown(shown.scene, clock.now) : null;
  return colouring(shown.scene, by, { top: kept[by], thickness });
}

function repaint() {
  if (!shown) return;
  const colours = coloursNow();
  drawLegend(colours);
  map.paint(colours);
}

function drawLegend(colours) {
  const { target_um: target, range_A_per_dm2: range } = shown.scene;
  const marks = colours.by === "thickness" ? [["target", target]] : colours.by === "current" && range ? [["from", range[0]], ["to", range[1]]] : [];
  legend(byId("legend"), colours, marks);
}

function showFindings(findings) {
  const sorted = findings.filter((one) => one.severity !== "note").sort((a, b) => RANK[a.severity] - RANK[b.severity]);
  fill(byId("stops"), ...sorted.map((one) => {
    const stop = one.severity === "stop";
    const text = one.message.charAt(0).toUpperCase() + one.message.slice(1);
    return el("p", { class: stop ? "finding stop" : "finding" }, el("b", {}, stop ? "Stop. " : "Before you plate. "), `${text.replace(/\.$/, "")}.`);
  }));
}

function mapWords(view) {
  const sorted = [...(view.features || [])].filter((one) => one.mean_um !== null).sort((a, b) => a.mean_um - b.mean_um);
  if (!sorted.length) return "";
  const [thin, thick] = [sorted[0], sorted[sorted.length - 1]];
  const { bare_share: bare } = view.numbers;
  const stays = bare ? ` ${percent(bare)} of the wetted area stays bare.` : "";
  return `Thinnest on average: ${thin.name}, ${figure(thin.mean_um)} µm. Thickest: ${thick.name}, ${figure(thick.mean_um)} µm.${stays} ` +
    "Drag to turn, point at a place to read it; the table below has every place.";
}
