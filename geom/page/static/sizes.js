// How large a mesh would be in each unit: read from the file's own numbers, in the page, before it is sent.

const MOST_BYTES = 80e6;
const STATES_ITS_UNIT = new Set(["3mf", "step", "stp"]);
const DRAWINGS = new Set(["dxf", "svg"]);

export const UNITS = [["mm", 1, "millimetres"], ["cm", 10, "centimetres"], ["in", 25.4, "inches"], ["m", 1000, "metres"]];

export const ending = (name) => name.slice(name.lastIndexOf(".") + 1).toLowerCase();
export const needsUnit = (name) => !STATES_ITS_UNIT.has(ending(name)) && !DRAWINGS.has(ending(name));
export const isDrawing = (name) => DRAWINGS.has(ending(name));

export async function extent(file) {
  if (file.size > MOST_BYTES) return null;
  const kind = ending(file.name);
  if (kind === "stl") return spanOf(stlCorners(await file.arrayBuffer()));
  if (kind === "obj") return spanOf(lineCorners(await file.text(), /^v\s+(\S+)\s+(\S+)\s+(\S+)/gm));
  return null;
}

function* stlCorners(buffer) {
  const data = new DataView(buffer);
  const count = buffer.byteLength >= 84 ? data.getUint32(80, true) : -1;
  if (buffer.byteLength !== 84 + 50 * count) {
    yield* lineCorners(new TextDecoder().decode(buffer), /^\s*vertex\s+(\S+)\s+(\S+)\s+(\S+)/gim);
    return;
  }
  for (let face = 0; face < count; face += 1) {
    for (let corner = 0; corner < 3; corner += 1) {
      const place = 84 + 50 * face + 12 + 12 * corner;
      yield [data.getFloat32(place, true), data.getFloat32(place + 4, true), data.getFloat32(place + 8, true)];
    }
  }
}

function* lineCorners(text, line) {
  for (const found of text.matchAll(line)) yield [Number(found[1]), Number(found[2]), Number(found[3])];
}

function spanOf(corners) {
  const low = [Infinity, Infinity, Infinity];
  const high = [-Infinity, -Infinity, -Infinity];
  for (const corner of corners) {
    for (let axis = 0; axis < 3; axis += 1) {
      low[axis] = Math.min(low[axis], corner[axis]);
      high[axis] = Math.max(high[axis], corner[axis]);
    }
  }
  const span = high.map((value, axis) => value - low[axis]);
  return span.every(Number.isFinite) ? span : null;
}

export function sizeIn(span, factor) {
  const mm = span.map((value) => value * factor);
  const most = Math.max(...mm);
  const [unit, over] = most >= 1000 ? ["m", 1000] : ["mm", 1];
  return `${mm.map((value) => Number((value / over).toPrecision(3)).toString()).join(" × ")} ${unit}`;
}
