// A plan while it is worked out: stage, share, seconds, time left, cancel.

import * as api from "./api.js";
import { byId, say } from "./dom.js";

const PERIOD = 300; // ms between questions
const PATIENCE = 20; // answers that may fail in a row before it is given up
let watched = null;

export function stopWatching() {
  watched?.abort();
  watched = null;
}

export async function follow(id, first = null) {
  // resolves to the last status once the plan is done, failed or cancelled; null where another took its place
  stopWatching();
  const mine = new AbortController();
  watched = mine;
  let said = "";
  let missed = 0;
  for (let now = first; !mine.signal.aborted; ) {
    if (now) {
      if (!["queued", "solving"].includes(now.state)) return now;
      show(now);
      if (now.stage && now.stage !== said) say((said = now.stage));
    }
    await new Promise((resolve) => window.setTimeout(resolve, now ? PERIOD : 0));
    try {
      now = await api.status(id, mine.signal);
      missed = 0;
    } catch (cause) {
      if (mine.signal.aborted) return null;
      missed += 1;
      if (!(cause instanceof api.Refusal) || cause.status || missed > PATIENCE) throw cause;
      now = null;
      await new Promise((resolve) => window.setTimeout(resolve, PERIOD));
    }
  }
  return null;
}

const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

function show(now) {
  const bar = byId("bar");
  if (now.state === "queued") {
    bar.removeAttribute("value");
    byId("stage").textContent = "Waiting its turn";
    byId("clock").textContent = now.place > 0 ? `${now.place} before it` : "";
    return;
  }
  bar.value = now.share || 0;
  byId("stage").textContent = capital(now.stage || "starting");
  const left = now.left_seconds;
  const rest = left === null || left === undefined ? "" : left < 1 ? ", almost done" : `, about ${Math.round(left)} s left`;
  byId("clock").textContent = `${Math.round(now.seconds || 0)} s so far${rest}`;
}
