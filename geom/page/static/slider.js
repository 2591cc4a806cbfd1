// The minutes of the schedule: how the deposit grows, by hand or played.

import { byId, el, fill, minutes } from "./dom.js";

const PLAYED = 6000; // ms for the whole schedule
const STEP = 120; // ms between pictures

export class Minutes {
  constructor(changed) {
    this.changed = changed;
    this.timer = 0;
    this.slide = byId("minute");
    this.slide.addEventListener("input", () => { this.stop(); this.tell(); });
    byId("play").addEventListener("click", () => (this.timer ? this.stop() : this.play()));
  }

  of(scene) {
    this.stop();
    this.stages = scene.stages || [];
    this.whole = this.stages.reduce((sum, stage) => sum + stage.minutes, 0);
    byId("minutes").hidden = !(this.whole > 0);
    this.slide.max = String(this.whole);
    this.slide.value = String(this.whole);
    this.label();
    fill(byId("stages"), ...this.stages.map((stage, place) => {
      const piece = el("li", {}, `${place + 1}. ${stage.name}, ${minutes(stage.minutes)}`);
      piece.style.flexGrow = String(Math.max(stage.minutes, this.whole / 50));
      return piece;
    }));
  }

  get now() {
    return Number(this.slide.value);
  }

  get atEnd() {
    return this.now >= this.whole * 0.9999;
  }

  label() {
    let before = 0;
    let name = "";
    for (const stage of this.stages) {
      name = stage.name;
      before += stage.minutes;
      if (this.now <= before) break;
    }
    const text = this.now === 0 ? "before the current is on" : `${minutes(this.now)}, ${name}`;
    byId("minute-now").textContent = text;
    this.slide.setAttribute("aria-valuetext", text);
  }

  tell() {
    this.label();
    this.changed(this.now);
  }

  play() {
    const from = this.atEnd ? 0 : this.now;
    const began = performance.now() - (from / this.whole) * PLAYED;
    byId("play").textContent = "❚❚ Pause";
    byId("play").setAttribute("aria-label", "Pause the plating");
    const step = () => {
      const share = Math.min(1, (performance.now() - began) / PLAYED);
      this.slide.value = String(this.whole * share);
      this.tell();
      if (share >= 1) this.stop();
      else this.timer = window.setTimeout(step, STEP);
    };
    step();
  }

  stop() {
    window.clearTimeout(this.timer);
    this.timer = 0;
    byId("play").textContent = "▶ Play";
    byId("play").setAttribute("aria-label", "Play the plating from the start");
  }
}
