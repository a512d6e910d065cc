// What was to go up and what was kept, by reason, over the last day or the last 30 days.
import { ask, read } from "./address.js";
import { Asking } from "./asking.js";
import { columnPicture } from "./columns.js";
import { element, say } from "./element.js";
import { PAST_MONTH, columnOf, daysOf, hoursOf, lastDay, summed } from "./hours.js";

const AGAIN_MS = 120_000;
const MOST_REASONS = 5; // that have a colour of their own; the others go together

export function reasonsOverTime(page) {
  const asking = new Asking(page, AGAIN_MS);
  const over = element("select", { "aria-label": "Over which time", change: (event) => ask({ over: event.target.value }) },
    element("option", { value: "" }, "the last day"), element("option", { value: "month" }, "the last 30 days"));
  const notice = element("p", { class: "faint", role: "status" });
  const picture = columnPicture("What was to go up and what was kept, by reason, over time");
  let drawn = null;
  return {
    element: element("section", { id: "over-time" }, element("h2", null, "Over ", over), notice, picture.element),
    draw() {
      const history = asking.about(PAST_MONTH);
      const asked = read().asked.get("over") ?? "";
      over.value = asked === "month" ? asked : "";
      say(notice, asking.problem || (history ? "" : "asking …"));
      picture.element.hidden = !history;
      const of = history && `${history.to} ${over.value}`;
      if (!history || of === drawn) return;
      drawn = of;
      const hours = hoursOf(history);
      const spans = over.value ? daysOf(hours) : lastDay(hours);
      const { named, valuesOf } = byReason(spans.flatMap((span) => span.hours));
      picture.draw(spans.map((span) => columnOf(span, valuesOf)), named);
    },
  };
}

// The series of a picture for these hours, and what gives the values of some of them.
function byReason(hours) {
  const counts = {};
  for (const { entry } of hours) {
    for (const [reason, count] of Object.entries(entry?.keep_by_reason ?? {})) counts[reason] = (counts[reason] ?? 0) + count;
  }
  const reasons = Object.keys(counts).sort((one, other) => counts[other] - counts[one]);
  const own = reasons.length > MOST_REASONS + 1 ? reasons.slice(0, MOST_REASONS) : reasons;
  const of = (entry, reason) => entry.keep_by_reason[reason] ?? 0;
  const rest = (entry) => entry.keep - own.reduce((all, reason) => all + of(entry, reason), 0);
  const valuesOf = (some) => {
    const forward = summed(some, (entry) => entry.forward);
    if (forward === null) return null;
    const kept = own.map((reason) => summed(some, (entry) => of(entry, reason)));
    return own.length < reasons.length ? [forward, ...kept, summed(some, rest)] : [forward, ...kept];
  };
  return { named: ["to go up", ...own.map((reason) => `kept: ${reason}`), ...(own.length < reasons.length ? ["kept for others"] : [])], valuesOf };
}
