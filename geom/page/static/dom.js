// Small tools for the document. Text always goes in as text, never as markup.

export const byId = (id) => document.getElementById(id);

export function el(name, props = {}, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(props)) {
    if (value === undefined || value === null || value === false) continue;
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else node.setAttribute(key, value === true ? "" : String(value));
  }
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
}

export function fill(node, ...children) {
  node.replaceChildren(...children.filter((child) => child !== null && child !== undefined));
}

export function say(text) {
  // read out by a screen reader; the empty text between makes a repeated sentence heard again
  const line = byId("said");
  line.textContent = "";
  window.setTimeout(() => { line.textContent = text; }, 50);
}

export function later(wait, deed) {
  // call `deed` once things have been quiet for `wait` milliseconds
  let timer = 0;
  const call = (...given) => {
    window.clearTimeout(timer);
    timer = window.setTimeout(() => deed(...given), wait);
  };
  call.stop = () => window.clearTimeout(timer);
  return call;
}

export function figure(value, digits = 3) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const rounded = Number(value.toPrecision(digits));
  return Math.abs(rounded) < 1e-5 ? "0" : String(rounded);
}

export function minutes(value) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  if (value < 9.95) return `${value.toFixed(1)} min`; // as the report has them
  if (value < 100) return `${Math.round(value)} min`;
  return `${Math.floor(value / 60)} h ${Math.round(value % 60)} min`;
}

export const percent = (share) =>
  share === null || share === undefined ? "–" : share > 0 && share < 0.001 ? "< 0.1 %" : `${figure(100 * share, 2)} %`;
