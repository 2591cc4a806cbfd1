// The page: which of its views is shown, and what leads from one to the next.

import * as api from "./api.js";
import { byId, say } from "./dom.js";
import { showEarlier } from "./earlier.js";
import { prepareFile, restoreFile } from "./file.js";
import * as form from "./form.js";
import { compareOf, prepareCompare } from "./compare.js";
import { lookNow, lookSoon } from "./look.js";
import { follow, stopWatching } from "./plan.js";
import { colourBy, prepareResult, setColour, showPlan } from "./result.js";
import { prepareWhatIf, whatIfOf } from "./whatif.js";

const VIEWS = ["set-up", "running", "result", "earlier"];
const DRAFT = "geom-draft"; // the form as it stands, for a reload; of this tab only
let defaults = {};

function showOnly(name) {
  for (const view of VIEWS) byId(view).hidden = view !== name;
  for (const [link, view] of [["to-new", "set-up"], ["to-plan", "result"], ["to-plans", "earlier"]]) {
    if (view === name) byId(link).setAttribute("aria-current", "page");
    else byId(link).removeAttribute("aria-current");
  }
}

function land(title) {
  byId(title).focus({ preventScroll: true });
  window.scrollTo({ top: 0 });
}

const hash = () => new URLSearchParams(window.location.hash.slice(1));

function trouble(cause) {
  const line = byId("trouble");
  line.textContent = cause instanceof api.Refusal ? form.sentence(cause) : "Something in this page went wrong; reload it.";
  line.hidden = false;
  if (!(cause instanceof api.Refusal)) throw cause;
}

async function route({ first = false } = {}) {
  stopWatching();
  byId("trouble").hidden = true;
  const where = hash();
  try {
    if (where.get("plan")) await planPage(where, first);
    else if (where.has("plans")) {
      showOnly("earlier");
      await showEarlier(useAgain);
      if (!first) land("earlier-title");
    } else setUp(first);
  } catch (cause) {
    trouble(cause);
  }
}

function setUp(first) {
  document.title = "geom: plan a plating";
  showOnly("set-up");
  if (!first) land("set-up-title");
  lookNow();
}

async function planPage(where, first) {
  const id = where.get("plan");
  if (where.get("show")) setColour(where.get("show"));
  let now;
  try {
    now = await api.status(id);
  } catch (cause) {
    showOnly("earlier");
    await showEarlier(useAgain);
    throw cause;
  }
  if (["queued", "solving"].includes(now.state)) {
    showOnly("running");
    byId("running-what").textContent = now.title || "";
    if (!first) land("running-title");
    now = await follow(id, now);
    if (!now) return;
  }
  if (now.state === "done") await result(id, first);
  else notDone(now);
}

async function result(id, first) {
  const view = await api.answer(id);
  if (hash().get("plan") !== id) return;
  showOnly("result");
  byId("to-plan").href = window.location.hash;
  byId("to-plan").hidden = false;
  showPlan(id, view);
  whatIfOf(id, view, startPlan);
  compareOf(id);
  byId("change").onclick = () => remember(view.answers);
  if (!first) land("result-title");
  say(`Plan ready. ${(view.answer || []).join(" ")}`);
}

function notDone(now) {
  if (now.answers) remember(now.answers);
  window.history.replaceState(null, "", "#new");
  showOnly("set-up");
  if (now.state === "cancelled") {
    say("Cancelled");
    byId("plan-button").focus();
    lookNow();
    return;
  }
  lookNow().then(() => {
    const faults = new api.Refusal(now.error || { message: "the plan failed" }).all;
    form.showFaults(faults);
    form.focusFault();
  });
}

function remember(answers) {
  form.setAnswers({ ...defaults, ...answers });
  restoreFile(answers);
  keepDraft();
}

function useAgain(answers) {
  remember(answers);
  window.location.hash = "#new";
}

function keepDraft() {
  try {
    window.sessionStorage.setItem(DRAFT, JSON.stringify({ answers: form.answers(), file: form.fileOfPart() }));
  } catch {
    // unfinished, or no storage: the last finished form is what a reload brings back
  }
}

function bringDraft() {
  try {
    const draft = JSON.parse(window.sessionStorage.getItem(DRAFT));
    if (!draft) return;
    form.setAnswers({ ...withoutShape(defaults), ...draft.answers });
    restoreFile(draft.answers, draft.file);
  } catch {
    form.setAnswers(defaults);
  }
}

const withoutShape = ({ bar, rod, part, hole, ...others }) => others;

async function startPlan(answers) {
  const button = byId("plan-button");
  button.disabled = true;
  try {
    const { plan } = await api.plan(answers);
    window.location.hash = `#plan=${encodeURIComponent(plan)}`;
  } catch (cause) {
    if (!(cause instanceof api.Refusal)) throw cause;
    if (byId("set-up").hidden) {
      trouble(cause);
      return;
    }
    form.showFaults(cause.all);
    form.focusFault();
  } finally {
    button.disabled = false;
  }
}

function submit(event) {
  event.preventDefault();
  lookSoon.stop();
  try {
    startPlan(form.answers());
  } catch (cause) {
    if (!(cause instanceof form.Unfinished)) throw cause;
    form.showFaults(cause.faults);
    form.focusFault();
  }
}

function changedForm(event) {
  const name = event.target?.name;
  if (name === "lengths") form.changeUnit();
  if (name === "shape" || name === "tank-shape") form.showShape();
  keepDraft();
  lookSoon();
}

async function begin() {
  const start = await api.start();
  byId("version").textContent = start.version || "";
  defaults = start.defaults || {};
  form.prepare(start);
  form.setAnswers(defaults);
  prepareFile(() => { keepDraft(); lookNow(); });
  prepareResult((by) => {
    const where = hash();
    where.set("show", by);
    window.history.replaceState(null, "", `#${where}`);
    byId("to-plan").href = window.location.hash;
  });
  prepareWhatIf(start);
  prepareCompare(start);
  bringDraft();
  byId("form").addEventListener("submit", submit);
  byId("form").addEventListener("input", changedForm);
  byId("add-hole").addEventListener("click", () => {
    const row = form.addHole();
    row.querySelector("input").focus();
    row.querySelector("input").select();
    keepDraft();
    lookSoon();
  });
  byId("cancel").addEventListener("click", async () => {
    byId("cancel").disabled = true;
    try {
      await api.cancel(hash().get("plan"));
    } catch (cause) {
      trouble(cause);
    } finally {
      byId("cancel").disabled = false;
    }
  });
  window.addEventListener("hashchange", () => {
    if (window.location.hash !== "#main") route();
  });
  await route({ first: true });
}

begin().catch(trouble);
