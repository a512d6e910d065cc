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

export function remember(name, value) {
  try {
    localStorage.setItem(PREFIX + name, JSON.stringify(value));
  } catch {
    // it is full, or it may not
  }
}
