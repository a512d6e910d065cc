// Where the reader is: the part of the address after `#`. `#station/QA1BCD-9?days=7` is the view `station`, about
// `QA1BCD-9`, with what was asked. So every view, search and filter can be kept as a bookmark and sent to a friend.

const FIRST = "now";

// `{ view, about, asked }` of an address.
export function read(hash = location.hash) {
  const [path, query = ""] = hash.replace(/^#/, "").split("?", 2);
  const [view, about = ""] = path.split("/", 2);
  return { view: view || FIRST, about: decoded(about), asked: new URLSearchParams(query) };
}

// The address of a view. What is asked for by an empty text is left out.
export function to(view, about = "", asked = {}) {
  const query = new URLSearchParams(Object.entries(asked).filter(([, value]) => value)).toString();
  return `#${view}${about && `/${encodeURIComponent(about)}`}${query && `?${query}`}`;
}

// Ask for more or for something else within the view; going back does not lead through every letter of a search.
export function ask(changed) {
  const { view, about, asked } = read();
  history.replaceState(null, "", to(view, about, { ...Object.fromEntries(asked), ...changed }));
  dispatchEvent(new Event("asked"));
}

// `value` where it is the name of one of the `choices`; an address may hold anything.
export const oneOf = (choices, value, otherwise) => value !== null && Object.hasOwn(choices, value) ? value : otherwise;

function decoded(text) {
  try {
    return decodeURIComponent(text);
  } catch {
    return text;
  }
}
