// Numbers over time as columns, each of several pieces one upon the other. Where nothing was heard, and where the gateway
// did not run, stands a column of its own kind.
import { drawn, element, say } from "./element.js";
import { chooser } from "./chooser.js";
import { columnOf } from "./hours.js";
import { numberTable } from "./number_table.js";
import { timeOf } from "./times.js";

const HEIGHT = 100;
const GAP = 0.12; // of a column's width

// `draw(spans, all)`: a span is an hour or a day (hours.js), and `all` are the series, each `{ name, kind, of }`: `kind` has
// its colour, and `of` gives its part of an hour's entry. A series that has nothing anywhere is left out.
export function columnPicture(label) {
  const picture = drawn("svg", { class: "columns", preserveAspectRatio: "none" });
  const top = element("span", { class: "top" });
  const feet = element("div", { class: "feet" });
  const legend = element("ul", { class: "legend" });
  let count = 0;
  const words = chooser(picture, { label, at: (event) => {
    const box = picture.getBoundingClientRect();
    const number = Math.floor((event.clientX - box.left) / box.width * count);
    return number >= 0 && number < count ? number : null;
  } });
  const table = numberTable(label);
  return {
    element: element("figure", { class: "columns-frame" }, legend, element("div", { class: "plot" }, top, picture), feet, words.element, table.element),
    draw(spans, all) {
      const series = all.filter((one) => spans.some((span) => columnOf(span, [one]).values?.[0]));
      const columns = spans.map((span) => columnOf(span, series));
      count = columns.length;
      const most = Math.max(1, ...columns.map(({ values }) => sum(values)));
      picture.setAttribute("viewBox", `0 0 ${Math.max(1, count)} ${HEIGHT}`);
      const drawnColumns = columns.map((column, number) => drawnOf(column, series, number, HEIGHT / most));
      picture.replaceChildren(...drawnColumns);
      say(top, `${most}`);
      const named = [0, Math.floor((count - 1) / 2), count - 1].filter((number) => columns[number]);
      feet.replaceChildren(...named.map((number) => timeOf(columns[number].from, columns[number].text)));
      const kinds = new Set(columns.map(kindOf));
      legend.replaceChildren(
        ...series.map(({ name, kind }) => legendItem(name, `series-${kind}`)),
        kinds.has("silent") ? legendItem("nothing heard", "silent") : "", kinds.has("away") ? legendItem("did not run", "away") : "");
      words.draw(columns.map((column, number) => ({ mark: drawnColumns[number], tell: () => told(column, series) })));
      table.draw(["From", "Heard", ...series.map(({ name }) => name)], columns.filter((column) => !column.isBefore).map((column) => [
        timeOf(column.from, column.text), column.values ? `${sum(column.values)}` : "did not run",
        ...series.map((_, number) => column.values ? `${column.values[number]}` : "")]));
    },
  };
}

const sum = (values) => (values ?? []).reduce((one, other) => one + other, 0);

function kindOf(column) {
  if (column.isBefore) return "before";
  if (!column.values) return "away";
  return sum(column.values) ? "heard" : "silent";
}

function drawnOf(column, series, number, scale) {
  const kind = kindOf(column);
  const box = { x: number + GAP / 2, width: 1 - GAP };
  const pieces = [];
  let height = HEIGHT;
  for (const [place, value] of (column.values ?? []).entries()) {
    height -= value * scale;
    if (value) pieces.push(drawn("rect", { class: `series-${series[place].kind}`, ...box, y: height, height: value * scale }));
  }
  if (kind === "away") pieces.push(drawn("rect", { class: "away", ...box, y: 0, height: HEIGHT }));
  if (kind === "silent") pieces.push(drawn("rect", { class: "silent", ...box, y: HEIGHT - 6, height: 6 }));
  return drawn("g", { class: "column" }, ...pieces, drawn("rect", { class: "edge", x: number, width: 1, y: 0, height: HEIGHT }));
}

function told(column, series) {
  const when = [timeOf(column.from, column.text), ": "];
  if (column.isBefore) return [...when, "nothing is known."];
  if (!column.values) return [...when, "the gateway did not run."];
  const parts = series.map(({ name }, number) => [name, column.values[number]]).filter(([, value]) => value);
  return [...when, parts.length ? `${sum(column.values)} heard: ${parts.map((part) => part.join(" ")).join(", ")}.` : "nothing was heard."];
}

const legendItem = (name, kind) => element("li", null, element("span", { class: `swatch ${kind}`, "aria-hidden": "true" }), name);
