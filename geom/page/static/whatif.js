// What if: other current, bath, target or way of hanging on the plan's kept geometry.

import * as api from "./api.js";
import { clean, isNumber, numbersOf } from "./answers.js";
import { byId, figure, fill, later, minutes } from "./dom.js";
import { bathOption, poseOption, sentence } from "./form.js";
import { showView } from "./result.js";

const PAUSE = 120; // ms
const REACH = 4; // the slider goes from a REACH-th of the plan's current to REACH times it
const form = byId("what-if");
const field = (name) => form.elements.namedItem(`what-${name}`);
let plan = null; // {id, view, planThis}
let asking = null;

const soon = later(PAUSE, ask);

export function prepareWhatIf(start) {
  fill(field("bath"), ...start.baths.map(bathOption));
  fill(field("pose"), ...start.poses.map(poseOption));
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("input", (event) => {
    if (event.target === field("current-slide")) field("current").value = figure(fromSlide(Number(field("current-slide").value)));
    if (event.target === field("current")) slideTo(clean(field("current").value));
    soon();
  });
  byId("back-to-plan").addEventListener("click", back);
  byId("keep-as-plan").addEventListener("click", () => plan.planThis({ ...plan.view.answers, ...changed() }));
}

export function whatIfOf(id, view, planThis) {
  asking?.abort();
  soon.stop();
  plan = { id, view, planThis };
  reset();
}

function reset() {
  const { answers = {}, numbers } = plan.view;
  field("current").value = figure(numbers.current_A);
  slideTo(numbers.current_A);
  field("target").value = String(numbersOf(answers.target || "")[0] ?? plan.view.scene.target_um);
  if (answers.bath) field("bath").value = answers.bath;
  if (answers.pose) field("pose").value = answers.pose;
  field("stirred").checked = answers.stirred !== "no";
  plan.as = shownValues();
  faults([]);
  words("");
  buttons(false);
}

const shownValues = () => ({
  current: field("current").value,
  target: field("target").value,
  bath: field("bath").value,
  pose: field("pose").value,
  stirred: field("stirred").checked ? "yes" : "no",
});

function slideTo(current) {
  const at = Math.log(Number(current) / plan.view.numbers.current_A) / Math.log(REACH) / 2 + 0.5;
  if (Number.isFinite(at)) field("current-slide").value = String(at);
  field("current-slide").setAttribute("aria-valuetext", `${field("current").value} A`);
}

const fromSlide = (at) => plan.view.numbers.current_A * REACH ** (2 * at - 1);

function changed() {
  const now = shownValues();
  const found = {};
  for (const name of Object.keys(now)) if (now[name] !== plan.as[name]) found[name] = now[name];
  if ("current" in found) found.current = `${clean(found.current)} A`;
  if ("target" in found) found.target = `${clean(found.target)} um`;
  return found;
}

async function ask() {
  soon.stop();
  asking?.abort();
  const now = shownValues();
  const wrong = ["current", "target"].filter((name) => !isNumber(now[name]) || Number(clean(now[name])) <= 0);
  if (wrong.length) {
    faults(wrong.map((name) => ({ field: name, message: "give a number above nought" })));
    return;
  }
  const given = changed();
  if (!Object.keys(given).length) {
    back();
    return;
  }
  asking = new AbortController();
  const mine = asking;
  words("…");
  const began = performance.now();
  try {
    const view = await api.whatIf(plan.id, given, mine.signal);
    if (mine !== asking) return;
    faults([]);
    await showView(view, { planned: plan.view });
    byId("map-picture").dataset.whatIfMs = String(Math.round(performance.now() - began));
    words(difference(view.numbers, plan.view.numbers));
    buttons(true);
  } catch (cause) {
    if (cause.name === "AbortError" || mine !== asking) return;
    if (!(cause instanceof api.Refusal)) throw cause;
    words("");
    faults(cause.all.map((one) => (cause.slug === "what-if-geometry" ? { ...one, message: one.message, hint: "press Plan this for a new plan" } : one)));
    buttons(true);
  }
}

function back() {
  asking?.abort();
  asking = null;
  reset();
  showView(plan.view);
}

function difference(now, was) {
  const said = [];
  const more = now.minutes - was.minutes;
  if (Number.isFinite(more) && Math.abs(more) > 0.05) said.push(`${minutes(Math.abs(more))} ${more > 0 ? "longer" : "shorter"}`);
  const thick = now.thickest_um - was.thickest_um;
  if (Number.isFinite(thick) && Math.abs(thick) > 0.05) said.push(`${figure(Math.abs(thick), 2)} µm ${thick > 0 ? "more" : "less"} at the thickest`);
  const bare = (now.bare_share || 0) - (was.bare_share || 0);
  if (Math.abs(bare) > 0.0005) said.push(`${figure(Math.abs(100 * bare), 2)} % ${bare > 0 ? "more" : "less"} of the area bare`);
  return said.length ? `Against the plan: ${said.join(", ")}.` : "Nearly as planned.";
}

const words = (text) => { byId("what-words").textContent = text; };

function buttons(on) {
  byId("back-to-plan").disabled = !on;
  byId("keep-as-plan").disabled = !on;
  byId("other-note").hidden = !on;
  byId("other-note").textContent = on ? "You are looking at a what-if, not at the plan. Downloads and the sections further down are still those of the plan." : "";
}

function faults(found) {
  for (const line of form.querySelectorAll(".fault")) line.hidden = true;
  for (const input of form.querySelectorAll("[aria-invalid]")) {
    input.removeAttribute("aria-invalid");
    input.removeAttribute("aria-describedby");
  }
  for (const fault of found) {
    const line = byId(`what-fault-${fault.field}`) || byId("what-fault-form");
    line.textContent = sentence(fault);
    line.hidden = false;
    const input = fault.field && field(fault.field);
    if (input) {
      input.setAttribute("aria-invalid", "true");
      input.setAttribute("aria-describedby", line.id);
    }
  }
}
