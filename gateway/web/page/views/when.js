// When: what was heard by the hour and by the day, the usual week, and the times in which nothing was heard.
import { Asking } from "../asking.js";
import { columnPicture } from "../columns.js";
import { element, say } from "../element.js";
import { NOTHING_KEPT, PAST_MONTH, WENT_UP, daysOf, deadTimesOf, hoursOf, lastDay, lengthOf, weekOf } from "../hours.js";
import { dayAndTime, timeOf } from "../times.js";
import { weekTable } from "../week_table.js";

export const view = { name: "when", title: "When", open };

const AGAIN_MS = 120_000;
const MOST_DEAD_TIMES = 20;
const SERIES = [...WENT_UP, { name: "kept at home", kind: "1", of: (entry) => entry.keep }];

function open(section, page) {
  const asking = new Asking(page, AGAIN_MS);
  const notice = element("p", { role: "status" });
  const day = columnPicture("Heard in each hour of the last day");
  const month = columnPicture("Heard on each of the last 30 days");
  const week = weekTable();
  const dead = element("ul", { id: "dead-times" });
  const shown = element("div", null,
    element("h3", null, "The last day"), day.element, element("h3", null, "The last 30 days"), month.element,
    element("div", { class: "beside" }, element("section", null, element("h3", null, "The usual week"), week.element),
      element("section", null, element("h3", null, "Dead times"), dead)));
  section.append(element("h2", null, "When something was heard"), notice, shown);
  let drawn = null;
  return () => {
    const history = asking.about(PAST_MONTH);
    const isEmpty = history?.entries.length === 0;
    say(notice, asking.problem || (isEmpty ? NOTHING_KEPT : history ? "" : "asking …"));
    shown.hidden = !history || isEmpty;
    if (!history || history === drawn) return;
    drawn = history;
    const hours = hoursOf(history);
    day.draw(lastDay(hours), SERIES);
    month.draw(daysOf(hours), SERIES);
    week.draw(weekOf(hours));
    drawDead(dead, deadTimesOf(hours));
  };
}


function drawDead(list, times) {
  const lines = times.slice(0, MOST_DEAD_TIMES).map(({ from, to, ran }) => element("li", null,
    timeOf(from, dayAndTime(from)), " to ", timeOf(to, dayAndTime(to)), `, ${lengthOf({ from, to })}: ${ran ? "nothing was heard" : "the gateway did not run"}`));
  if (!lines.length) lines.push(element("li", null, "None is known."));
  if (times.length > MOST_DEAD_TIMES) lines.push(element("li", null, `and ${times.length - MOST_DEAD_TIMES} before them`));
  list.replaceChildren(...lines);
}
