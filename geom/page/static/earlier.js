// The list of earlier plans.

import * as api from "./api.js";
import { byId, el, fill } from "./dom.js";

const STATES = { queued: "waiting", solving: "being worked out", done: "ready", failed: "failed", cancelled: "cancelled", damaged: "cannot be read", newer: "of a later version" };

export async function showEarlier(useAgain) {
  const list = byId("plan-list");
  const found = await api.plans();
  if (!found.length) {
    fill(list, el("li", {}, "No plan yet. ", el("a", { href: "#new" }, "Make the first one.")));
    return;
  }
  fill(list, ...found.map((one) => {
    const again = el("button", { type: "button", class: "plain tiny", onclick: () => useAgain(one.answers) }, "Use its set-up");
    again.setAttribute("aria-label", `Use the set-up of ${one.title || one.plan}`);
    const link = el("a", { href: `#plan=${encodeURIComponent(one.plan)}` }, one.title || one.plan);
    const when = one.created ? `, ${new Date(1000 * one.created).toLocaleString([], { dateStyle: "medium", timeStyle: "short" })}` : "";
    const why = one.state === "failed" && one.error ? `: ${one.error.message}` : "";
    return el("li", {}, link, el("span", { class: "soft" }, ` ${STATES[one.state] || one.state}${when}${why} `), one.answers ? again : null);
  }));
}
