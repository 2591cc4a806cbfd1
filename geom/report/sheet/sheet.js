// The part that can be turned: the same figures as in plan.json, drawn from what stands in this file.

(() => {
  "use strict";
  const read = (name) => JSON.parse(document.getElementById(name).textContent);
  const host = document.getElementById("drawing");
  const TWO_FROM = 620; // px of width from which both sides are shown
  const TWO_UP_TO = 20000; // faces
  const QUIET_FROM = 6000; // faces from which nothing is read under the pointer while it drags
  const NEAR = 1.3; // distance of the eye, in units of the longest side
  const STATE_WORDS = ["next to nothing deposits", "under the bath's range", "within the bath's range", "over the bath's range"];
  const STATE_COLOURS = ["#8b8794", "#4f9fe0", "#2f8f6b", "#d9541e"];
  const BARE = "#b3b3b3";
  const LIGHT = { ambient: 0.72, diffuse: 0.42, specular: 0.06, roughness: 0.8, fresnel: 0.02 };
  const SETTINGS = { displayModeBar: false, responsive: false, scrollZoom: false, doubleClick: false };

  const fold = (open) => document.querySelectorAll("details").forEach((one) => {
    if (open) { one.dataset.was = one.open ? "1" : ""; one.open = true; } else { one.open = one.dataset.was === "1"; }
  });
  window.addEventListener("beforeprint", () => fold(true));
  window.addEventListener("afterprint", () => fold(false));
  const unfold = () => {
    const aim = location.hash.length > 1 && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    const folded = aim && aim.querySelector("details");
    if (folded) folded.open = true;
  };
  window.addEventListener("hashchange", unfold);
  unfold();

  const canDraw = () => {
    const gl = window.Plotly && document.createElement("canvas").getContext("webgl");
    return Boolean(gl);
  };
  if (!canDraw()) return; // the still pictures stay

  const scene = read("scene");
  const looks = read("looks");
  const { part, values } = scene;
  const count = part.i.length;
  const all = Array.from({ length: count }, (_, face) => face);
  const plated = all.filter((face) => !part.bare[face]);
  const bare = all.filter((face) => part.bare[face]);
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  let by = "thickness";
  let two = false;
  let leads = "near";

  const escaped = (text) => String(text).replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;");
  const nameOf = (face) => escaped(part.features[part.feature[face]] ?? "");
  const words = plated.map((face) => `<b>${values.thickness_um[face] ?? "–"} µm</b><br>` +
    `${values.current_density_A_per_dm2[face] ?? "–"} A/dm²<br>${nameOf(face)}<br>${STATE_WORDS[values.state[face]]}`);

  const span = (list) => list.reduce(([low, high], value) => [Math.min(low, value), Math.max(high, value)], [Infinity, -Infinity]);
  const boxes = [span(part.x), span(part.y), span(part.z)];
  const middle = boxes.map(([low, high]) => (low + high) / 2);
  const size = Math.max(...boxes.map(([low, high]) => high - low));

  function colours() {
    if (by === "state") {
      const steps = STATE_COLOURS.flatMap((colour, k) => [[k / 4, colour], [(k + 1) / 4, colour]]);
      return { intensity: plated.map((face) => values.state[face]), cmin: -0.5, cmax: 3.5, colorscale: steps };
    }
    const [from, ends] = by === "current" ? [values.current_density_A_per_dm2, looks.current] : [values.thickness_um, looks.thickness];
    const last = looks.ramp.length - 1;
    return {
      intensity: plated.map((face) => from[face]), cmin: ends[0], cmax: ends[1],
      colorscale: looks.ramp.map((colour, k) => [k / last, colour]),
    };
  }

  function mesh(faces) {
    const pick = (list) => faces.map((face) => list[face]);
    return {
      type: "mesh3d", x: part.x, y: part.y, z: part.z, i: pick(part.i), j: pick(part.j), k: pick(part.k), intensitymode: "cell",
      flatshading: true, lighting: LIGHT, hoverinfo: "text", showscale: false,
    };
  }

  function traces() {
    const found = [{ ...mesh(plated), ...colours(), text: words }];
    if (bare.length) {
      found.push({
        ...mesh(bare), intensity: bare.map(() => 0), cmin: -1, cmax: 1, colorscale: [[0, BARE], [1, BARE]],
        text: bare.map((face) => `${nameOf(face)}<br>stays bare`),
      });
    }
    const way = arrow();
    if (way) found.push(way);
    return two ? [...found, ...found.map((trace) => ({ ...trace, scene: "scene2" }))] : found;
  }

  function arrowEnds() {
    if (!looks.anode) return null;
    const start = [middle[0], middle[1], boxes[2][0] - 0.06 * size];
    return [start, start.map((value, axis) => value + 0.22 * size * (axis === 2 ? 0 : looks.anode[axis]))];
  }

  function arrow() {
    // a line under the part that points to the anode, whichever way the part is turned
    const ends = arrowEnds();
    if (!ends) return null;
    const [x, y, z] = [0, 1, 2].map((axis) => ends.map((end) => end[axis]));
    return {
      type: "scatter3d", mode: "lines+text", x, y, z, text: ["", "to the anode"], textposition: "bottom center",
      textfont: { size: 13, color: ink() }, line: { color: ink(), width: 5 }, hoverinfo: "skip", showlegend: false,
    };
  }

  const ink = () => getComputedStyle(host).color;

  function cameraOf(side) {
    const [ax, ay] = looks.anode ? flat(looks.anode) : [-1, 0];
    const sign = side === "near" ? 1 : -1;
    const way = [sign * (0.9 * ax - 0.42 * ay), sign * (0.9 * ay + 0.42 * ax), 0.32];
    const wide = host.clientWidth / (two ? 2 : 1);
    const far = NEAR / Math.min(1, (wide || 1) / (host.clientHeight || 1));
    const long = Math.hypot(...way);
    const [x, y, z] = way.map((value) => (far * value) / long);
    return { eye: { x, y, z }, up: { x: 0, y: 0, z: 1 }, center: { x: 0, y: 0, z: 0 } };
  }

  function flat([x, y]) {
    const long = Math.hypot(x, y);
    return long > 1e-3 ? [x / long, y / long] : [-1, 0];
  }

  const behind = (camera) => ({ ...camera, eye: { x: -camera.eye.x, y: -camera.eye.y, z: camera.eye.z } });

  function layout() {
    const way = arrowEnds();
    const ranges = boxes.map(([low, high], axis) => {
      // what is outside is not drawn; level, the part stays in the middle
      const reach = way ? Math.max(...way.map((end) => Math.abs(end[axis] - middle[axis]))) + 0.02 * size : 0;
      const half = Math.max((high - low) / 2, size / 400) * 1.04;
      return axis === 2 ? [middle[2] - Math.max(half, reach), middle[2] + half] : [middle[axis] - Math.max(half, reach), middle[axis] + Math.max(half, reach)];
    });
    const most = Math.max(...ranges.map(([low, high]) => high - low));
    const axis = (range) => ({ visible: false, showspikes: false, range, autorange: false });
    const one = {
      xaxis: axis(ranges[0]), yaxis: axis(ranges[1]), zaxis: axis(ranges[2]), aspectmode: "manual",
      aspectratio: Object.fromEntries(ranges.map(([low, high], k) => ["xyz"[k], (high - low) / most])),
      camera: cameraOf(leads), dragmode: "orbit", bgcolor: "rgba(0,0,0,0)",
    };
    const pictures = two
      ? { scene: { ...one, domain: { x: [0, 0.5] } }, scene2: { ...one, camera: behind(one.camera), domain: { x: [0.5, 1] } } }
      : { scene: one };
    return {
      margin: { l: 0, r: 0, t: 0, b: 0 }, paper_bgcolor: "rgba(0,0,0,0)", showlegend: false,
      font: { color: ink(), family: getComputedStyle(host).fontFamily },
      hoverlabel: { font: { size: 14 }, align: "left" }, ...pictures,
    };
  }

  function say() {
    const spots = document.querySelectorAll(".side-word");
    const pictures = [host.layout.scene, ...(two ? [host.layout.scene2] : [])];
    spots.forEach((spot, place) => {
      const eye = pictures[place]?.camera?.eye;
      if (!eye || !looks.anode) { spot.textContent = ""; return; }
      const along = (eye.x * looks.anode[0] + eye.y * looks.anode[1] + eye.z * looks.anode[2]) / Math.hypot(eye.x, eye.y, eye.z);
      spot.textContent = along > 0.25 ? "anode side" : along < -0.25 ? "far side" : "edge on";
      spot.hidden = false;
    });
    if (!two && spots[1]) spots[1].hidden = true;
  }

  let following = false;
  async function relayout(change) {
    following = true;
    await window.Plotly.relayout(host, change);
    following = false;
    say();
  }

  function followed(change) {
    if (following) return;
    const moved = change["scene.camera"] ? ["scene.camera", "scene2.camera"] : ["scene2.camera", "scene.camera"];
    if (two && change[moved[0]]) relayout({ [moved[1]]: behind(change[moved[0]]) });
    else say();
  }

  async function draw() {
    two = host.clientWidth >= TWO_FROM && count <= TWO_UP_TO;
    await window.Plotly.react(host, traces(), layout(), SETTINGS);
    say();
    document.documentElement.classList.add("drawn");
  }

  function paint() {
    const fresh = colours();
    const each = traces().map((trace, place) => [trace, place]).filter(([trace]) => trace.text === words).map(([, place]) => place);
    window.Plotly.restyle(host, {
      intensity: each.map(() => fresh.intensity), cmin: fresh.cmin, cmax: fresh.cmax, colorscale: [fresh.colorscale],
    }, each);
    document.querySelectorAll(".legend").forEach((one) => { one.hidden = one.dataset.by !== by; });
  }

  document.documentElement.classList.add("live");
  document.querySelectorAll(".legend").forEach((one) => { one.hidden = one.dataset.by !== by; });
  draw().then(() => host.on("plotly_relayout", followed));

  document.querySelectorAll("input[name=by]").forEach((one) => {
    if (one.checked) by = one.value;
    one.addEventListener("change", () => { by = one.value; paint(); });
  });
  document.querySelectorAll("button[data-side]").forEach((one) => one.addEventListener("click", () => {
    leads = one.dataset.side;
    const camera = cameraOf(leads);
    relayout(two ? { "scene.camera": camera, "scene2.camera": behind(camera) } : { "scene.camera": camera });
  }));

  const hovering = (mode) => {
    if (count >= QUIET_FROM && host.layout) relayout({ "scene.hovermode": mode, ...(two ? { "scene2.hovermode": mode } : {}) });
  };
  host.addEventListener("pointerdown", () => hovering(false), { capture: true });
  window.addEventListener("pointerup", () => hovering("closest"));
  dark.addEventListener("change", () => draw());
  let waiting = 0;
  let shown = host.clientWidth;
  new ResizeObserver(() => {
    window.clearTimeout(waiting);
    waiting = window.setTimeout(() => {
      if (!host.clientWidth || host.clientWidth === shown) return;
      shown = host.clientWidth;
      if (two !== (shown >= TWO_FROM && count <= TWO_UP_TO)) draw();
      else window.Plotly.Plots.resize(host);
    }, 150);
  }).observe(host);
})();
