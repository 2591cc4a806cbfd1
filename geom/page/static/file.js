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
    keep({ id: taken.file, name: taken.name || given.name, span });
  } catch (cause) {
    if (!(cause instanceof api.Refusal)) throw cause;
    state(`${given.name} was not taken.`);
    showFaults(cause.all.map((fault) => ({ ...fault, field: fault.field || "part" })));
    return;
  }
  say(fileOfPart().needsUnit ? "File taken. Say in which unit it was drawn." : "File taken.");
  if (fileOfPart().needsUnit) byId("units").querySelector("input").focus();
  changed();
}

function keep(found, unit = "") {
  setFile({ ...found, needsUnit: needsUnit(found.name), isDrawing: isDrawing(found.name) });
  state(`${found.name}. Choose or drop another to replace it.`);
  byId("sheet-ask").hidden = !isDrawing(found.name);
  byId("unit-ask").hidden = !(needsUnit(found.name) || isDrawing(found.name));
  const choices = UNITS.map(([name, factor, words]) =>
    choice(name, found.span ? `${words}: ${sizeIn(found.span, factor)}` : words, unit));
  if (isDrawing(found.name)) choices.unshift(choice("", `as the ${ending(found.name).toUpperCase()} file says`, unit));
  fill(byId("units"), ...choices);
}

function choice(value, words, picked) {
  const input = el("input", { type: "radio", name: "unit", value });
  input.value = value;
  if (picked !== null && value === picked && value) input.checked = true;
  return el("label", {}, input, ` ${words}`);
}

const state = (text) => { byId("file-state").textContent = text; };

export function restoreFile(answers, known = null) {
  if (!answers.part) return;
  const same = fileOfPart()?.id === answers.part ? fileOfPart() : null;
  const found = known || same || { id: answers.part, name: answers.part.includes(".") ? answers.part : `${answers.part}.stl`, span: null };
  keep(found, answers.unit || "");
}
