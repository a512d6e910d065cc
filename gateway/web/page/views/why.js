// Why: what went up and what did not, by reason and over time, and every frame with its verdict.
import { read, ask } from "../address.js";
import { element, keepList, say } from "../element.js";
import { frameList } from "../frame_list.js";
import { reasonsOverTime } from "../reasons_over_time.js";
import { REASONS } from "../words.js";

export const view = { name: "why", title: "Why", open };

function open(section, page) {
  const overTime = reasonsOverTime(page);
  const sums = element("ul", { id: "sums" });
  const reasons = element("table", null, element("thead", null, element("tr", null, element("th", null, "Kept as"), element("th", null, "frames"), element("th", null, "because"))));
  const body = element("tbody", { id: "reasons" });
  reasons.append(body);
  const only = element("select", { "aria-label": "Which frames", change: (event) => ask({ reason: event.target.value }) },
    element("option", { value: "" }, "every frame"), element("option", { value: "forward" }, "those to go up"),
    ...Object.keys(REASONS).map((reason) => element("option", { value: reason }, `kept: ${reason}`)));
  const missed = element("p", { class: "faint", id: "missed" });
  const frames = frameList(page);
  section.append(element("h2", null, "What became of the frames"), sums, reasons,
    overTime.element, element("h2", null, "Frame by frame"), only, missed, frames.element);
  return () => {
    const { health, missed: count } = page.known;
    const asked = read().asked.get("reason") ?? "";
    only.value = asked;
    if (health) {
      keepList(sums, sumsOf(health.counts), ({ whole }) => whole, () => element("li"), (item, sum) => say(item, sum.text));
      const kept = Object.entries(health.counts.keep_by_reason).filter(([, number]) => number).sort(([, one], [, other]) => other - one);
      keepList(body, kept, ([reason]) => reason, reasonRow, (row, [, number]) => say(row.children[1], `${number}`));
      reasons.hidden = !kept.length;
    }
    overTime.draw();
    say(missed, count ? `${count} events are not shown here: this page was away, or could not keep up.` : "");
    frames.draw([...page.known.frames.values()].filter((frame) => !asked || (frame.reason ?? "forward") === asked));
  };
}

function reasonRow([reason]) {
  return element("tr", null, element("th", { scope: "row" }, reason), element("td", { class: "number" }), element("td", null, REASONS[reason]));
}

// The sums that must hold, each as a line; one that does not says so.
function sumsOf({ heard, forward, keep, keep_by_reason: reasons, outcomes, waiting }) {
  const sums = [sum("heard", heard, { forward, keep }), sum("keep", keep, reasons)];
  if (outcomes) sums.push(sum("forward", forward, { ...outcomes, waiting }));
  return sums;
}

function sum(whole, count, parts) {
  const named = Object.entries(parts).map(([name, number]) => `${name} ${number}`).join(" + ") || "0";
  const rest = count - Object.values(parts).reduce((one, other) => one + other, 0);
  return { whole, text: `${whole} ${count} = ${named}${rest ? `: does not add up, ${rest} are not accounted for` : ""}` };
}
