// Makes and keeps elements. Text becomes text, never markup: nothing here takes HTML, and the page's policy forbids it.

const SVG = "http://www.w3.org/2000/svg";

// An element: `element("a", { href: "#now" }, "Now")`. An attribute that is null or false is left out.
export const element = (name, attributes, ...children) =>
  filled(document.createElement(name), attributes, children);

// The same for a picture.
export const drawn = (name, attributes, ...children) =>
  filled(document.createElementNS(SVG, name), attributes, children);

function filled(made, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (typeof value === "function") made.addEventListener(name, value);
    else if (value !== null && value !== undefined && value !== false) made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}

// What stations send may hold controls, and marks that turn the direction of text round: show the ones, fence the others.
export function fromTheAir(text) {
  const visible = String(text).replace(/[\u0000-\u001f\u007f]/g, (control) =>
    control === "\u007f" ? "\u2421" : String.fromCharCode(0x2400 + control.charCodeAt(0)));
  return element("bdi", null, visible);
}

// Say `text` in an element, and touch the document only where it says something else now.
export function say(place, text) {
  if (place.textContent !== text) place.textContent = text;
}

// Set an attribute, likewise; null takes it away.
export function mark(place, name, value) {
  if (value === null) place.removeAttribute(name);
  else if (place.getAttribute(name) !== value) place.setAttribute(name, value);
}

// Make the children of `parent` those that `items` stand for, in their order, and keep the elements that are there:
// one with the focus keeps it. `key` tells items apart, `make` makes the element of one, `update` brings it up to date.
export function keepList(parent, items, key, make, update = () => {}) {
  const kept = parent.keptByKey ?? new Map();
  const now = new Map();
  const focused = document.activeElement;
  let next = parent.firstElementChild;
  for (const item of items) {
    const name = key(item);
    const child = kept.get(name) ?? make(item);
    update(child, item);
    now.set(name, child);
    if (child === next) next = next.nextElementSibling;
    else parent.insertBefore(child, next);
  }
  for (const [name, child] of kept) if (now.get(name) !== child) child.remove();
  parent.keptByKey = now;
  if (focused !== document.activeElement && parent.contains(focused)) focused.focus({ preventScroll: true });
}
