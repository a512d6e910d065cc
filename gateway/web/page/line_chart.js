// A value over time, as a line. Where nothing came for long there is a gap, and no line across it.
import { drawn, element, mark, say } from "./element.js";
import { rounded, roundStep } from "./round_step.js";
import { clock } from "./times.js";

const WIDTH = 360, HEIGHT = 120, LEFT = 44, BOTTOM = 18, TOP = 8, RIGHT = 8;
const HOUR = 3_600_000;
const STEPS = [HOUR / 4, HOUR, 3 * HOUR, 6 * HOUR, 12 * HOUR, 24 * HOUR, 3 * 24 * HOUR, 7 * 24 * HOUR];
const GAP_SHARE = 1 / 8; // of the time shown

export class LineChart {
  // `title` says what it is, `unit` in what.
  constructor(title, unit) {
    this.title = title;
    this.unit = unit;
    this.picture = drawn("svg", { class: "line-chart", viewBox: `0 0 ${WIDTH} ${HEIGHT}`, role: "img" });
    this.last = element("span", { class: "number" });
    this.element = element("figure", null, element("figcaption", null, title, " ", this.last), this.picture);
  }

  // `values`: `[Unix milliseconds, number]`, the earliest first; `from` and `to` likewise are the times at the edges.
  draw(values, from, to) {
    const shown = values.filter(([time]) => time >= from && time <= to);
    this.element.hidden = !shown.length;
    if (!shown.length) return;
    const numbers = shown.map(([, number]) => number);
    const { low, high, ticks } = scaleOf(Math.min(...numbers), Math.max(...numbers));
    const x = (time) => LEFT + (WIDTH - LEFT - RIGHT) * (time - from) / (to - from);
    const y = (number) => HEIGHT - BOTTOM - (HEIGHT - BOTTOM - TOP) * (number - low) / (high - low);
    const last = `${rounded(numbers.at(-1))}${this.unit === "°" ? "" : " "}${this.unit}`.trim();
    say(this.last, last);
    mark(this.picture, "aria-label", `${this.title}: between ${rounded(Math.min(...numbers))} and ${rounded(Math.max(...numbers))} ${this.unit}, last ${last}`);
    const gap = (to - from) * GAP_SHARE;
    const path = shown.map(([time, number], index) =>
      `${index && time - shown[index - 1][0] < gap ? "L" : "M"}${x(time).toFixed(1)} ${y(number).toFixed(1)}`).join("");
    const dots = shown.length <= 60 ? shown.map(([time, number]) => drawn("circle", { cx: x(time), cy: y(number), r: 1.8 },
      drawn("title", null, `${clock(time)}: ${rounded(number)} ${this.unit}`))) : [];
    this.picture.replaceChildren(
      ...ticks.flatMap((tick) => [
        drawn("path", { class: "grid", d: `M${LEFT} ${y(tick)}H${WIDTH - RIGHT}` }),
        drawn("text", { class: "tick", x: LEFT - 4, y: y(tick) + 4, "text-anchor": "end" }, `${rounded(tick)}`)]),
      ...times(from, to).map(({ time, text }) => drawn("text", { class: "tick", x: x(time), y: HEIGHT - 4, "text-anchor": "middle" }, text)),
      drawn("path", { class: "line", d: path }), ...dots);
  }
}

// Two to five round numbers around the values.
function scaleOf(least, most) {
  const span = most - least || Math.abs(most) / 10 || 1;
  const step = roundStep(span / 3);
  const low = Math.floor(least / step) * step;
  const high = Math.max(Math.ceil(most / step) * step, low + step);
  const ticks = Array.from({ length: Math.round((high - low) / step) + 1 }, (_, index) => low + index * step);
  return { low, high, ticks };
}

// Round times of the reader's clock, about four of them.
function times(from, to) {
  const step = STEPS.find((each) => (to - from) / each <= 6) ?? STEPS.at(-1);
  const offset = new Date(from).getTimezoneOffset() * 60_000;
  const first = Math.ceil((from - offset) / step) * step + offset;
  const made = [];
  for (let time = first; time < to; time += step) {
    const date = new Date(time);
    const text = step < 24 * HOUR ? date.toLocaleTimeString(undefined, { hour: "2-digit", minute: "2-digit" })
      : date.toLocaleDateString(undefined, { day: "numeric", month: "short" });
    if (time > from + step / 5 && time < to - step / 5) made.push({ time, text });
  }
  return made;
}
