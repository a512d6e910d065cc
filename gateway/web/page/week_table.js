// The usual week as a heat picture: a row for each hour of the reader's clock, a column for each weekday, in each cell
// how many frames such an hour brings, the darker the more. The numbers stand in it, so that no colour is needed. Each of
// the five shades has as many hours: one lone busy hour makes the others no paler.
import { element, say } from "./element.js";

const LEVELS = 5;
const MONDAY = new Date(2024, 0, 1); // any Monday will do: it is asked only for its name
const weekday = (number) => new Date(2024, 0, MONDAY.getDate() + number).toLocaleDateString(undefined, { weekday: "short" });

export function weekTable() {
  const body = element("tbody");
  const busiest = element("p", { class: "faint" });
  const head = element("tr", null, element("th", { scope: "col" }, "Hour"),
    ...Array.from({ length: 7 }, (_, number) => element("th", { scope: "col" }, weekday(number))));
  const table = element("table", { class: "week" }, element("caption", null, "Frames heard in an hour, the mean of the last 30 days"),
    element("thead", null, head), body);
  return {
    element: element("div", null, table, busiest),
    // `week`: by hour, then by weekday.
    draw(week) {
      const all = week.flat().filter((mean) => mean !== null);
      const heard = all.filter(Boolean);
      body.replaceChildren(...week.map((days, hour) => element("tr", null, element("th", { scope: "row" }, `${hour}`.padStart(2, "0")),
        ...days.map((mean) => element("td", { "data-level": levelOf(mean, heard) }, textOf(mean))))));
      say(busiest, all.length ? `– : the gateway ran in no such hour. The busiest brings ${textOf(Math.max(...all))}.` : "Nothing is known yet.");
    },
  };
}

function levelOf(mean, heard) {
  if (!mean) return mean === null ? "none" : "0";
  return `${1 + Math.floor(LEVELS * heard.filter((other) => other < mean).length / heard.length)}`;
}

function textOf(mean) {
  if (mean === null) return "–";
  return mean && mean < 10 ? `${Math.round(mean * 10) / 10 || "<0.1"}` : `${Math.round(mean)}`;
}
