// The form: from defaults or earlier answers into fields, from fields into answers, faults beside their fields.

import { clean, holesOf, inUnit, isNumber, lengths, plain, unitOf } from "./answers.js";
import { byId, el, fill } from "./dom.js";

const form = byId("form");
const field = (name) => form.elements.namedItem(name);
const chosen = (name) => field(name).value;
let file = null; // {id, name, needsUnit, isDrawing} of an uploaded part

export const lengthUnit = () => chosen("lengths");
export const fileOfPart = () => file;

export function setFile(given) {
  file = given;
}

export function prepare(start) {
  fill(field("bath"), ...start.baths.map(bathOption));
  fill(field("pose"), ...start.poses.map(poseOption));
}

export const bathOption = (bath) => el("option", { value: bath.name }, `${bath.title} (${bath.metal})`);

export const poseOption = (name) => el("option", { value: name }, capital(name));

const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

// holes

export function addHole(values = ["8", "0", "0"]) {
  const names = ["diameter", "along", "across"];
  const inputs = names.map((name, place) =>
    el("label", {}, el("span", { class: "word" }, capital(name)), el("input", { inputmode: "decimal", value: values[place] })),
  );
  const remove = el("button", { type: "button", class: "plain tiny" }, "Remove");
  const row = el("li", {}, ...inputs, remove);
  remove.addEventListener("click", () => {
    const next = row.nextElementSibling || row.previousElementSibling;
    row.remove();
    numberHoles();
    (next ? next.querySelector("button") : byId("add-hole")).focus();
    form.dispatchEvent(new Event("input"));
  });
  byId("holes").append(row);
  numberHoles();
  return row;
}

function numberHoles() {
  [...byId("holes").children].forEach((row, place) => {
    const names = ["diameter", "along", "across"];
    row.querySelectorAll("input").forEach((input, k) => {
      input.setAttribute("aria-label", `Hole ${place + 1}, ${names[k]}`);
    });
    row.querySelector("button").setAttribute("aria-label", `Remove hole ${place + 1}`);
  });
}

const holeRows = () =>
  [...byId("holes").children].map((row) => [...row.querySelectorAll("input")].map((input) => input.value));

// answers

export class Unfinished extends Error {
  constructor(faults) {
    super("the form is not finished");
    this.faults = faults;
  }
}

export function answers() {
  const faults = [];
  const unit = lengthUnit();
  const number = (input, answer, may = false) => {
    if (may && input.value.trim() === "") return "";
    if (!isNumber(input.value)) faults.push({ field: answer, message: `${labelOf(input)}: give a number`, input });
    return clean(input.value);
  };
  const size = (stem, count, answer) =>
    Array.from({ length: count }, (_, k) => number(field(`${stem}-${k}`), answer)).join(" x ") + ` ${unit}`;
  const found = {};
  const shape = chosen("shape");
  if (shape === "bar") {
    found.bar = size("bar", 3, "bar");
    found.hole = [...byId("holes").children].map((row) => {
      const [across, x, y] = [...row.querySelectorAll("input")].map((input) => number(input, "hole"));
      return `${across} ${unit} at ${x},${y}`;
    });
  } else if (shape === "rod") found.rod = size("rod", 2, "rod");
  else partAnswers(found, faults, number, unit);
  found.bath = chosen("bath");
  found.stirred = field("stirred").checked ? "yes" : "no";
  const round = chosen("tank-shape") === "round";
  found.tank = round ? `round ${size("jar", 2, "tank")}` : size("tank", 3, "tank");
  found.anode = size("anode", 3, "anode");
  found.distance = `${number(field("distance"), "distance")} ${unit}`;
  found.anodes = chosen("anodes");
  found.pose = chosen("pose");
  for (const [name, own] of [["volts", "V"], ["amps", "A"], ["target", "um"]]) {
    found[name] = `${number(field(name), name)} ${own}`;
  }
  for (const [name, own] of [["temperature", "C"], ["current", "A"]]) {
    const value = number(field(name), name, true);
    if (value) found[name] = `${value} ${own}`;
  }
  if (field("title").value.trim()) found.title = field("title").value.trim();
  if (faults.length) throw new Unfinished(faults);
  return found;
}

function partAnswers(found, faults, number, unit) {
  if (!file) {
    faults.push({ field: "part", message: "Choose the file of your part, or drop it anywhere on this page", input: byId("file") });
    return;
  }
  found.part = file.id;
  const picked = form.querySelector('input[name="unit"]:checked');
  if (picked && picked.value) found.unit = picked.value;
  else if (file.needsUnit) {
    const first = form.querySelector('input[name="unit"]');
    faults.push({ field: "unit", message: "Say in which unit the file was drawn", input: first });
  }
  if (file.isDrawing) found.thickness = `${number(field("thickness"), "thickness")} ${unit}`;
}

function labelOf(input) {
  const own = input.getAttribute("aria-label");
  if (own) return own;
  return input.closest("label").firstChild.textContent.trim();
}

// back into the fields

export function setAnswers(given) {
  const unit = ["bar", "rod", "tank"].some((key) => given[key] && unitOf(given[key]) === "in") ? "in" : "mm";
  field("lengths").value = unit;
  showUnit();
  field("shape").value = given.part ? "file" : given.rod ? "rod" : "bar";
  put("bar", lengths(given.bar || "90 x 20 x 3 mm", unit));
  put("rod", lengths(given.rod || "8 x 60 mm", unit));
  if (given.bar || !given.part) fill(byId("holes"));
  if (given.bar) holesOf(given.hole, unit).forEach((hole) => addHole(hole));
  if (given.bath) field("bath").value = given.bath;
  field("stirred").checked = given.stirred !== "no";
  const round = /round|jar/i.test(given.tank || "");
  field("tank-shape").value = round ? "round" : "box";
  put("tank", lengths((!round && given.tank) || "200 x 120 x 160 mm", unit));
  put("jar", lengths((round && given.tank) || "180 x 160 mm", unit));
  put("anode", lengths(given.anode || "2 x 80 x 120 mm", unit));
  [field("distance").value] = lengths(given.distance || "50 mm", unit);
  if (given.thickness) [field("thickness").value] = lengths(given.thickness, unit);
  field("anodes").value = given.anodes || "one side";
  if (given.pose) field("pose").value = given.pose;
  for (const [name, own] of [["volts", "V"], ["amps", "A"], ["target", "um"], ["temperature", "C"], ["current", "A"]]) {
    field(name).value = given[name] ? plain(given[name], own) : "";
  }
  field("title").value = given.title || "";
  showShape();
}

function put(stem, values) {
  values.forEach((value, place) => {
    const input = field(`${stem}-${place}`);
    if (input) input.value = value;
  });
}

export function showShape() {
  for (const name of ["bar", "rod", "file"]) byId(`shape-${name}`).hidden = chosen("shape") !== name;
  const round = chosen("tank-shape") === "round";
  byId("tank-box").hidden = round;
  byId("tank-round").hidden = !round;
}

let shownUnit = "mm";

export function showUnit() {
  const unit = lengthUnit();
  for (const mark of form.querySelectorAll(".unit")) {
    if (["mm", "in"].includes(mark.textContent)) mark.textContent = unit;
  }
  shownUnit = unit;
}

export function changeUnit() {
  const from = shownUnit;
  const to = lengthUnit();
  const inputs = [...form.querySelectorAll("#holes input")];
  for (const mark of form.querySelectorAll(".unit")) {
    if (mark.textContent === from) inputs.push(mark.parentElement.querySelector("input"));
  }
  for (const input of inputs) if (isNumber(input.value)) input.value = inUnit(Number(clean(input.value)), from, to);
  showUnit();
}

// faults

export function clearFaults() {
  for (const line of form.querySelectorAll(".fault")) line.hidden = true;
  for (const input of form.querySelectorAll("[aria-invalid]")) {
    input.removeAttribute("aria-invalid");
    input.removeAttribute("aria-describedby");
  }
}

export function showFaults(faults) {
  clearFaults();
  const lines = new Map();
  for (const fault of faults) {
    const name = String(fault.field || "").match(/^[a-z]+/)?.[0];
    const known = name && byId(`fault-${name}`) ? name : "form";
    const line = byId(`fault-${known}`);
    lines.set(line, [...(lines.get(line) || []), sentence(fault)]);
    for (const input of inputsOf(known, fault)) {
      input.setAttribute("aria-invalid", "true");
      input.setAttribute("aria-describedby", line.id);
    }
  }
  for (const [line, texts] of lines) {
    fill(line, ...texts.map((text) => el("span", {}, text)));
    line.hidden = false;
    const fold = line.closest("details");
    if (fold) fold.open = true;
  }
}

export function focusFault() {
  const first = form.querySelector('[aria-invalid="true"]') || byId("plan-button");
  first.focus();
}

export function sentence(fault) {
  const text = capital(fault.message).replace(/[.\s]+$/, "");
  return fault.hint ? `${text}. ${capital(fault.hint).replace(/[.\s]+$/, "")}.` : `${text}.`;
}

function inputsOf(name, fault) {
  if (fault.input) return [fault.input];
  if (name === "form") return [];
  const all = [...form.querySelectorAll(`[data-answer="${name}"] input, [data-answer="${name}"] select`)];
  return all.filter((input) => !input.closest("[hidden]"));
}

export { holeRows };
