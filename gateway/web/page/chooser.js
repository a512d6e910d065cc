// Makes a picture of many pieces something to look around in: the pointer or the arrow keys choose a piece, and its
// numbers stand below in words. To a screen reader it is a slider whose value is those words.
import { element, mark } from "./element.js";

const STEPS = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 6, PageDown: -6 };

// `picture` is an SVG element, and `at(event)` gives the number of the piece under a pointer, or null. `isRound`: after
// the last piece comes the first. `draw(pieces)` takes of each `{ mark, tell }`: the element to be marked as chosen,
// and what gives the words about it, a list of texts and elements.
export function chooser(picture, { label, at, isRound = false }) {
  const words = element("p", { class: "chosen" });
  const name = element("p", { class: "faint" }, "Point at the picture, or use the arrow keys in it.");
  let pieces = [];
  let chosen = null;
  for (const [key, value] of Object.entries({ role: "slider", tabindex: 0, "aria-label": label, "aria-valuemin": 1 })) {
    mark(picture, key, `${value}`);
  }

  function choose(number) {
    if (chosen !== null && pieces[chosen]?.mark) mark(pieces[chosen].mark, "data-chosen", null);
    chosen = number;
    show();
  }

  function show() {
    const piece = pieces[chosen];
    words.replaceChildren(...(piece ? piece.tell() : []));
    words.hidden = !piece;
    name.hidden = Boolean(piece);
    if (piece?.mark) mark(piece.mark, "data-chosen", "yes");
    mark(picture, "aria-valuenow", `${(chosen ?? 0) + 1}`);
    mark(picture, "aria-valuemax", `${Math.max(1, pieces.length)}`);
    mark(picture, "aria-valuetext", piece ? words.textContent : "none is chosen");
  }

  picture.addEventListener("keydown", (event) => {
    const next = afterKey(event.key);
    if (next === null) return;
    event.preventDefault();
    choose(next);
  });
  function afterKey(key) {
    const last = pieces.length - 1;
    if (last < 0) return null;
    if (key === "Home") return 0;
    if (key === "End") return last;
    if (!STEPS[key]) return null;
    if (chosen === null) return STEPS[key] > 0 || isRound ? 0 : last;
    const next = chosen + STEPS[key];
    return isRound ? (next + pieces.length) % pieces.length : Math.min(last, Math.max(0, next));
  }
  for (const kind of ["pointermove", "pointerdown"]) {
    picture.addEventListener(kind, (event) => {
      const number = at(event);
      if (number !== null && number !== chosen && number < pieces.length) choose(number);
    });
  }

  return {
    element: element("div", { class: "words" }, words, name),
    draw(now) {
      pieces = now;
      if (chosen !== null && chosen >= pieces.length) chosen = null;
      show();
    },
  };
}
