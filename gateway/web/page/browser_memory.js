// What this browser remembers for its reader, and nobody else is told: units, what was seen, when one last looked.
// A browser may refuse to remember anything; then each visit is the first.

const PREFIX = "stile-";

export function recalled(name) {
  try {
    return JSON.parse(localStorage.getItem(PREFIX + name));
  } catch {
    return null;
  }
}

// A list that was remembered; an empty one where none was, or something else stands there.
export function recalledList(name) {
  const list = recalled(name);
  return Array.isArray(list) ? list : [];
}

export function remember(name, value) {
  try {
    localStorage.setItem(PREFIX + name, JSON.stringify(value));
  } catch {
    // it is full, or it may not
  }
}
