// A part of one's own: chosen or dropped anywhere; its unit is asked, never guessed.

import * as api from "./api.js";
import { byId, el, fill, say } from "./dom.js";
import { fileOfPart, setFile, showFaults, showShape } from "./form.js";
import { UNITS, ending, extent, isDrawing, needsUnit, sizeIn } from "./sizes.js";

const form = byId("form");
let changed = () => {};

export function prepareFile(onChange) {
  changed = onChange;
  byId("file").addEventListener("change", (event) => {
    const [given] = event.target.files;
    if (given) take(given);
  });
  const carries = (event) => [...(event.dataTransfer?.types || [])].includes("Files");
  let depth = 0;
  const veil = (on) => { byId("drop-veil").hidden = !on; };
  document.addEventListener("dragenter", (event) => {
    if (!carries(event)) return;
    depth += 1;
    veil(true);
  });
  document.addEventListener("dragleave", (event) => {
    if (!carries(event)) return;
    depth -= 1;
    if (depth <= 0) veil(false);
  });
  document.addEventListener("dragover", (event) => { if (carries(event)) event.preventDefault(); });
  document.addEventListener("drop", (event) => {
    if (!carries(event)) return;
    event.preventDefault();
    depth = 0;
    veil(false);
    const [given] = event.dataTransfer.files;
    if (given) take(given);
  });
}

async function take(given) {
  if (byId("set-up").hidden) window.location.hash = "#new";
  form.elements.namedItem("shape").value = "file";
  showShape();
  state(`Taking in ${given.name}…`);
  let span = null;
  try {
    span = await extent(given).catch(() => null);
    const taken = await api.upload(given);
    const name = taken.name || given.name;
    keep({ id: taken.file, name, span, needsUnit: needsUnit(name), isDrawing: isDrawing(name) });
  } catch (cause) {
    if (!(cause instanceof api.Refusal)) throw cause;
    state(`${given.name} was not taken.`);
    showFaults(cause.all.map((fault) => ({ ...fault, message: fault.message, field: fault.field || "part" })));
    return;
  }
  say(fileOfPart().needsUnit ? "File taken. Say in which unit it was drawn." : "File taken.");
  if (fileOfPart().needsUnit) byId("units").querySelector("input").focus();
  changed();
}

function keep(found, unit = "") {
  const { needsUnit: asks, isDrawing: flat } = found;
  setFile(found);
  state(`${found.name || "The file of that plan"}. Choose or drop another to replace it.`);
  byId("sheet-ask").hidden = !flat;
  byId("unit-ask").hidden = !(asks || flat);
  const choices = UNITS.map(([name, factor, words]) =>
    choice(name, found.span ? `${words}: ${sizeIn(found.span, factor)}` : words, unit));
  if (flat) choices.unshift(choice("", `as the ${ending(found.name).toUpperCase()} file says`, unit));
  fill(byId("units"), ...choices);
}

function choice(value, words, picked) {
  const input = el("input", { type: "radio", name: "unit", value });
  input.value = value;
  input.checked = value === picked;
  return el("label", {}, input, ` ${words}`);
}

const state = (text) => { byId("file-state").textContent = text; };

export function restoreFile(answers, known = null) {
  if (!answers.part) return;
  const same = fileOfPart()?.id === answers.part ? fileOfPart() : null;
  // of a file taken in long ago only what was answered about it is known
  const found = known || same || { id: answers.part, name: "", span: null, needsUnit: Boolean(answers.unit), isDrawing: Boolean(answers.thickness) };
  keep(found, answers.unit || "");
}
