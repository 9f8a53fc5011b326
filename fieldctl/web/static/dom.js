// Making elements: h("p", { class: "x", onclick }, "text", child). Text is always text, never markup.
const SVG = "http://www.w3.org/2000/svg";

function fill(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.flat(Infinity).filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

export const h = (tag, attributes = {}, ...children) => fill(document.createElement(tag), attributes, children);
export const s = (tag, attributes = {}, ...children) => fill(document.createElementNS(SVG, tag), attributes, children);

// A state as shape and word; its colour comes from the style sheet.
export const shape = (name) =>
  s("svg", { class: "shape", viewBox: "0 0 24 24", "aria-hidden": "true" }, s("use", { href: `#s-${name}` }));

// Put these children in place of the old ones, unless they read the same: a button under a thumb stays that button.
export function show(element, ...children) {
  const made = h("div", {}, ...children);
  if (element.dataset.shown === made.innerHTML && element.childElementCount === made.childElementCount) return;
  element.dataset.shown = made.innerHTML;
  element.replaceChildren(...made.childNodes);
}
