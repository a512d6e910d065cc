// The numbers of a picture as a table, to be unfolded below it: for whoever sees no picture, and for whoever wants to know.
import { element } from "./element.js";

// `draw(heads, rows)`: a row is a list of texts and elements, of which the first names it.
export function numberTable(title) {
  const heads = element("tr");
  const body = element("tbody");
  const table = element("table", null, element("caption", null, title), element("thead", null, heads), body);
  return {
    element: element("details", { class: "numbers" }, element("summary", null, "The same as a table"),
      element("div", { class: "wide", tabindex: "0", role: "region", "aria-label": title }, table)),
    draw(names, rows) {
      heads.replaceChildren(...names.map((name) => element("th", { scope: "col" }, name)));
      body.replaceChildren(...rows.map(([first, ...rest]) => element("tr", null, element("th", { scope: "row" }, first),
        ...rest.map((cell) => element("td", null, cell)))));
    },
  };
}
