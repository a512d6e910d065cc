// What went up, what did not, and what was kept, by reason, over the last day or the last 30 days.
import { ask, read } from "./address.js";
import { Asking } from "./asking.js";
import { columnPicture } from "./columns.js";
import { element, say } from "./element.js";
import { NOTHING_KEPT, PAST_MONTH, WENT_UP, daysOf, hoursOf, lastDay } from "./hours.js";

const AGAIN_MS = 120_000;
const MOST_REASONS = 5; // that have a colour of their own; the others go together

export function reasonsOverTime(page) {
  const asking = new Asking(page, AGAIN_MS);
  const over = element("select", { "aria-label": "Over which time", change: (event) => ask({ over: event.target.value }) },
    element("option", { value: "" }, "the last day"), element("option", { value: "month" }, "the last 30 days"));
  const notice = element("p", { class: "faint", role: "status" });
  const picture = columnPicture("What went up and what was kept, by reason, over time");
  let drawn = null;
  return {
    element: element("section", { id: "over-time" }, element("h2", null, "Over ", over), notice, picture.element),
    draw() {
      const history = asking.about(PAST_MONTH);
      const asked = read().asked.get("over") ?? "";
      over.value = asked === "month" ? asked : "";
      const isEmpty = history?.entries.length === 0;
      say(notice, asking.problem || (isEmpty ? NOTHING_KEPT : history ? "" : "asking …"));
      picture.element.hidden = !history || isEmpty;
      const of = history && `${history.to} ${over.value}`;
      if (!history || of === drawn) return;
      drawn = of;
      const hours = hoursOf(history);
      const spans = over.value ? daysOf(hours) : lastDay(hours);
      picture.draw(spans, byReason(spans.flatMap((span) => span.hours)));
    },
  };
}

// The series of a picture of these hours: what went up, the reasons that kept most, and all others together.
function byReason(hours) {
  const counts = {};
  for (const { entry } of hours) {
    for (const [reason, count] of Object.entries(entry?.keep_by_reason ?? {})) counts[reason] = (counts[reason] ?? 0) + count;
  }
  const reasons = Object.keys(counts).sort((one, other) => counts[other] - counts[one]).slice(0, MOST_REASONS);
  const of = (entry, reason) => entry.keep_by_reason[reason] ?? 0;
  const rest = (entry) => entry.keep - reasons.reduce((all, reason) => all + of(entry, reason), 0);
  return [
    ...WENT_UP,
    ...reasons.map((reason, number) => ({ name: `kept: ${reason}`, kind: `${number + 1}`, of: (entry) => of(entry, reason) })),
    { name: "kept for others", kind: "rest", of: rest }];
}
