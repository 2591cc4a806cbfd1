// The 3-D picture: a part, alone or in its tank, turned by pointer or by buttons.

import { drawingLibrary } from "./sheets.js";
import { el, fill, later } from "./dom.js";
import { escaped, isBare } from "./colours.js";

export const LOOKS = { copper: "#c47f4c", bare: "#9aa0a3", anode: "#7b868c", thief: "#8f6bb3", shield: "#c9b458", liquid: "#4f9fa8" };
const LIGHT = { ambient: 0.72, diffuse: 0.42, specular: 0.06, roughness: 0.8, fresnel: 0.02 };
const SETTINGS = { displayModeBar: false, responsive: false, scrollZoom: false, displaylogo: false, doubleClick: false };
const NEAR = 1.5; // distance of the eye, in units of the longest side
const NEAR_TANK = 1.72;
const LOW = -0.07; // of the middle of the picture under that of the tank: what is near the eye reaches farther down
const TWO_FROM = 560; // px of width from which a part is shown from both sides at once
const TWO_UP_TO = 20000; // faces
const QUIET_FROM = 6000; // faces from which nothing is read under the pointer while it drags: ten times smoother

export class View {
  constructor(host, tools = null) {
    this.host = host;
    this.scene = null;
    this.queue = Promise.resolve();
    this.side = "front";
    if (tools) this.addTools(tools);
    const refit = later(120, () => this.resize());
    new ResizeObserver(refit).observe(host);
    host.addEventListener("pointerdown", () => this.pointing(false), { capture: true });
    window.addEventListener("pointerup", () => this.pointing("closest"));
    window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.redraw());
  }

  draw(scene, { tank = false, colours = null, two = false } = {}) {
    this.scene = scene;
    this.tank = tank;
    this.colours = colours;
    this.two = two;
    return this.next(async () => {
      const plotly = await drawingLibrary();
      if (this.scene !== scene) return; // a newer one is behind
      this.both = two && scene.part.i.length <= TWO_UP_TO && this.host.clientWidth >= TWO_FROM;
      await plotly.react(this.host, this.traces(), this.layout(), SETTINGS);
      this.host.classList.toggle("both", this.both);
      if (!this.listens) this.host.on("plotly_relayout", (change) => this.followed(change));
      this.listens = true;
    });
  }

  followed(change) {
    // the second picture always shows the other side of what the first shows, and the other way round
    if (!this.both || this.following) return;
    const moved = change["scene.camera"] ? ["scene.camera", "scene2.camera"] : ["scene2.camera", "scene.camera"];
    if (change[moved[0]]) this.relayout({ [moved[1]]: behind(change[moved[0]]) });
  }

  async relayout(change) {
    this.following = true;
    try {
      await (await drawingLibrary()).relayout(this.host, change);
    } finally {
      this.following = false;
    }
  }

  pointing(mode) {
    if (!this.scene || !this.host.layout || this.scene.part.i.length < QUIET_FROM) return;
    if ((this.host.layout.scene.hovermode ?? "closest") === mode) return;
    this.relayout({ "scene.hovermode": mode, ...(this.both ? { "scene2.hovermode": mode } : {}) });
  }

  async drop() {
    this.scene = null;
    if (this.host.data) (await drawingLibrary()).purge(this.host);
  }

  paint(colours) {
    // only new colours on the same panels: the quick way
    this.colours = colours;
    return this.next(async () => {
      const plotly = await drawingLibrary();
      if (this.colours !== colours) return; // a newer one is behind
      const shown = this.plated;
      const times = this.both ? 2 : 1; // one trace for each side shown
      await plotly.restyle(this.host, {
        intensity: Array(times).fill(shown.map((face) => colours.values[face])),
        text: Array(times).fill(shown.map((face) => colours.words[face])),
        cmin: colours.low,
        cmax: colours.high,
        colorscale: [colours.scale],
      }, times === 2 ? [0, 1] : [0]);
    });
  }

  next(deed) {
    this.queue = this.queue.then(deed).catch((cause) => {
      fill(this.host, el("p", { class: "no-view" }, `The 3-D view cannot be shown here (${cause.message}). The table has the figures.`));
    });
    return this.queue;
  }

  redraw() {
    if (this.scene) this.draw({ ...this.scene }, { tank: this.tank, colours: this.colours, two: this.two });
  }

  resize() {
    if (!this.host.data || !this.host.clientWidth) return;
    if (this.two && this.both !== (this.host.clientWidth >= TWO_FROM && this.scene.part.i.length <= TWO_UP_TO)) {
      this.redraw();
      return;
    }
    this.next(async () => { (await drawingLibrary()).Plots.resize(this.host); });
  }

  traces() {
    const { part, electrodes = [], tank } = this.scene;
    const faces = part.i.map((_, face) => face);
    this.plated = faces.filter((face) => !isBare(this.scene, face));
    const bare = faces.filter((face) => isBare(this.scene, face));
    const traces = this.twice([this.partTrace(this.plated)]);
    const words = () => bare.map((face) => `${nameOf(part, face)}<br>stays bare`);
    if (bare.length) traces.push(...this.twice([{ ...mesh(part, bare), ...flat(LOOKS.bare), text: words() }]));
    if (!this.tank) return traces;
    for (const body of electrodes) {
      traces.push({ ...mesh(body), ...flat(LOOKS[body.kind] || LOOKS.anode), text: body.i.map(() => escaped(body.name)) });
    }
    return [...traces, ...tankTraces(tank, this.ink())];
  }

  twice(traces) {
    return this.both ? traces.flatMap((trace) => [trace, { ...trace, scene: "scene2" }]) : traces;
  }

  partTrace(faces) {
    const { part } = this.scene;
    const base = mesh(part, faces);
    if (!this.colours) return { ...base, ...flat(LOOKS.copper), text: faces.map((face) => nameOf(part, face)) };
    const { values, words, low, high, scale } = this.colours;
    return {
      ...base,
      intensity: faces.map((face) => values[face]),
      intensitymode: "cell",
      text: faces.map((face) => words[face]),
      cmin: low,
      cmax: high,
      colorscale: scale,
      showscale: false,
    };
  }

  ink() {
    return getComputedStyle(this.host).color;
  }

  layout() {
    const box = this.tank ? tankBox(this.scene.tank) : partBox(this.scene.part);
    const most = Math.max(...box.map(([low, high]) => high - low)) * (this.tank ? 1.02 : 1.06);
    const axis = ([low, high]) => {
      const middle = (low + high) / 2;
      const half = Math.max(high - low, most / 500) / 2 * (this.tank ? 1.02 : 1.06);
      return { visible: false, showspikes: false, range: [middle - half, middle + half], autorange: false };
    };
    const [x, y, z] = box.map(axis);
    const ratio = (one) => (one.range[1] - one.range[0]) / most;
    const scene = {
      xaxis: x, yaxis: y, zaxis: z,
      aspectmode: "manual",
      aspectratio: { x: ratio(x), y: ratio(y), z: ratio(z) },
      camera: this.camera(this.side),
      uirevision: `${this.tank}${this.both}`,
      dragmode: "orbit",
      bgcolor: "rgba(0,0,0,0)",
    };
    const pictures = this.both
      ? { scene: { ...scene, domain: { x: [0, 0.5] } }, scene2: { ...scene, camera: behind(scene.camera), domain: { x: [0.5, 1] } } }
      : { scene };
    return {
      margin: { l: 0, r: 0, t: 0, b: 0 },
      paper_bgcolor: "rgba(0,0,0,0)",
      showlegend: false,
      uirevision: "kept",
      hoverlabel: { font: { size: 14, family: "inherit" }, align: "left" },
      font: { color: this.ink(), family: getComputedStyle(this.host).fontFamily },
      ...pictures,
    };
  }

  toAnode() {
    // level direction from the part to the anodes on its first side
    const anodes = (this.scene.electrodes || []).filter((body) => body.kind === "anode");
    if (!anodes.length) return [-1, 0];
    const middle = (values) => values.reduce((sum, value) => sum + value, 0) / values.length;
    const { part } = this.scene;
    const way = [middle(anodes[0].x) - middle(part.x), middle(anodes[0].y) - middle(part.y)];
    const far = Math.hypot(...way);
    return far > 1e-6 ? way.map((value) => value / far) : [-1, 0];
  }

  camera(side) {
    const [ax, ay] = this.toAnode();
    const ways = {
      front: [0.9 * ax - 0.42 * ay, 0.9 * ay + 0.42 * ax, 0.3],
      back: [-0.9 * ax + 0.42 * ay, -0.9 * ay - 0.42 * ax, 0.3],
      edge: [-ay + 0.12 * ax, ax + 0.12 * ay, 0.1],
      above: [0.25 * ax - 0.05 * ay, 0.25 * ay + 0.05 * ax, 1],
    };
    const tankways = { ...ways, front: [0.5 * ax - 0.85 * ay, 0.5 * ay + 0.85 * ax, 0.5] };
    const way = (this.tank ? tankways : ways)[side] || ways.front;
    const size = Math.hypot(...way);
    const high = this.host.clientHeight;
    const wide = this.host.clientWidth / (this.both ? 2 : 1);
    const far = (this.tank ? NEAR_TANK : NEAR) / Math.min(1, (wide || 1) / (high || 1));
    const [x, y, z] = way.map((value) => (far * value) / size);
    return { eye: { x, y, z }, up: { x: 0, y: 0, z: 1 }, center: { x: 0, y: 0, z: this.tank ? LOW : 0 } };
  }

  async turn(change) {
    await this.queue;
    if (!this.host.layout?.scene) return;
    const camera = change(this.host.layout.scene.camera);
    await this.relayout(this.both ? { "scene.camera": camera, "scene2.camera": behind(camera) } : { "scene.camera": camera });
  }

  show(side) {
    this.side = side;
    return this.turn(() => this.camera(side));
  }

  addTools(tools) {
    const button = (name, label, deed) =>
      el("button", { type: "button", class: "plain tiny", "aria-label": label, title: label, onclick: deed }, name);
    fill(tools,
      button("Anode side", "Anode side: look at the side toward the anode", () => this.show("front")),
      button("Far side", "Far side: look at the side away from the anode", () => this.show("back")),
      button("Edge", "Look along the edge", () => this.show("edge")),
      button("Above", "Look from above", () => this.show("above")),
      button("⟲", "Turn left", () => this.turn((camera) => orbit(camera, -0.3))),
      button("⟳", "Turn right", () => this.turn((camera) => orbit(camera, 0.3))),
      button("+", "Nearer", () => this.turn((camera) => zoomed(camera, 0.8))),
      button("−", "Farther", () => this.turn((camera) => zoomed(camera, 1.25))),
    );
  }
}

function orbit(camera, angle) {
  const { x, y, z } = camera.eye;
  const [c, s] = [Math.cos(angle), Math.sin(angle)];
  return { ...camera, eye: { x: c * x - s * y, y: s * x + c * y, z } };
}

const behind = (camera) => ({ ...camera, eye: { x: -camera.eye.x, y: -camera.eye.y, z: camera.eye.z } });

const zoomed = (camera, factor) => ({
  ...camera,
  eye: Object.fromEntries(Object.entries(camera.eye).map(([axis, value]) => [axis, value * factor])),
});

const nameOf = (part, face) => escaped(part.features[part.feature[face]] ?? "");

function mesh(body, faces = null) {
  const pick = (list) => (faces ? faces.map((face) => list[face]) : list);
  return {
    type: "mesh3d", x: body.x, y: body.y, z: body.z, i: pick(body.i), j: pick(body.j), k: pick(body.k),
    flatshading: true, lighting: LIGHT, hoverinfo: "text", name: "",
  };
}

const flat = (colour) => ({ color: colour });

function tankTraces(tank, ink) {
  if (!tank) return [];
  const ring = [...tank.outline, tank.outline[0]];
  const line = (points) => ({
    type: "scatter3d", mode: "lines", hoverinfo: "skip", line: { color: ink, width: 2 }, opacity: 0.55,
    x: points.map((p) => p[0]), y: points.map((p) => p[1]), z: points.map((p) => p[2]),
  });
  const step = Math.max(1, Math.round(tank.outline.length / 4));
  const posts = tank.outline.filter((_, k) => k % step === 0)
    .flatMap(([x, y]) => [[x, y, 0], [x, y, tank.depth], [null, null, null]]);
  const middle = [0, 1].map((axis) => tank.outline.reduce((sum, p) => sum + p[axis], 0) / tank.outline.length);
  const last = tank.outline.length;
  const fan = tank.outline.map((_, k) => [k, (k + 1) % last, last]);
  const level = {
    type: "mesh3d", x: [...tank.outline.map((p) => p[0]), middle[0]], y: [...tank.outline.map((p) => p[1]), middle[1]],
    z: [...tank.outline.map(() => tank.depth), tank.depth], i: fan.map((f) => f[0]), j: fan.map((f) => f[1]), k: fan.map((f) => f[2]),
    color: LOOKS.liquid, opacity: 0.16, hoverinfo: "skip", flatshading: true,
  };
  return [line(ring.map(([x, y]) => [x, y, 0])), line(ring.map(([x, y]) => [x, y, tank.depth])), line(posts), level];
}

function span(values) {
  let low = Infinity;
  let high = -Infinity;
  for (const value of values) {
    if (value < low) low = value;
    if (value > high) high = value;
  }
  return [low, high];
}

const partBox = (part) => [span(part.x), span(part.y), span(part.z)];

const tankBox = (tank) => [span(tank.outline.map((p) => p[0])), span(tank.outline.map((p) => p[1])), [0, tank.depth]];
