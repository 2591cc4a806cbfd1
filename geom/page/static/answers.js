// Between what stands in the form and the answers the program takes: the words the command line takes too.

const NUMBER = /[-+]?\d*\.?\d+(?:e[-+]?\d+)?/gi;
const MM = { mm: 1, cm: 10, m: 1000, in: 25.4, inch: 25.4 };

export const clean = (text) => text.trim().replace(",", ".").replace("−", "-");
export const isNumber = (text) => clean(text) !== "" && Number.isFinite(Number(clean(text)));

export function numbersOf(text) {
  return (String(text).replaceAll("−", "-").match(NUMBER) || []).map(Number);
}

export function unitOf(text) {
  // the last word of letters, "8 mm at -30,0": the first one that is a unit of length
  for (const word of String(text).toLowerCase().match(/[a-zµ"]+/g) || []) {
    if (word in MM) return word === "inch" ? "in" : word;
  }
  return "mm";
}

export const inUnit = (value, from, to) => Number(((value * MM[from]) / MM[to]).toPrecision(6));

export function lengths(text, unit) {
  const own = unitOf(text);
  return numbersOf(text).map((value) => String(inUnit(value, own, unit)));
}

export function holesOf(texts, unit) {
  return [].concat(texts || []).map((text) => {
    const own = unitOf(text);
    const [size, along = 0, across = 0] = numbersOf(text);
    return [size, along, across].map((value) => String(inUnit(value, own, unit)));
  });
}

export function plain(text, unit) {
  // the number of "8 um" or "12 V" in the form's own unit
  const [value] = numbersOf(text);
  if (value === undefined) return "";
  const own = String(text).toLowerCase();
  if (unit === "um" && /mil/.test(own)) return String(value * 25.4);
  if (unit === "um" && /mm/.test(own)) return String(value * 1000);
  if (/\d\s*m[av]\b/.test(own)) return String(value / 1000);
  return String(value);
}
