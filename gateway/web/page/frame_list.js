// Frames with their verdicts, the newest first: each opens what was said, word for word, and why it was judged so.
import { element, fromTheAir, keepList, mark, say } from "./element.js";
import { nameOf } from "./known.js";
import { stepsTo } from "./steps.js";
import { timeOf } from "./times.js";
import { to } from "./address.js";
import { because, cameBy, told, verdictOf } from "./words.js";

const AT_A_TIME = 100;

export function frameList(page) {
  let most = AT_A_TIME;
  const rows = element("ol", { class: "frames" });
  const none = element("p", { class: "faint" }, "None is remembered.");
  const more = element("button", { type: "button", click: () => { most += AT_A_TIME; page.drawSoon(); } }, "Show more");
  return {
    element: element("div", null, rows, none, more),
    // `frames`: the newest last.
    draw(frames) {
      keepList(rows, frames.slice(-most).reverse(), nameOf, (frame) => rowOf(frame, page.wire), (row, frame) => row.update(frame));
      none.hidden = frames.length > 0;
      more.hidden = frames.length <= most;
    },
  };
}

function rowOf(frame, wire) {
  const verdict = element("span", { class: "verdict" });
  const head = element("summary", null, timeOf(frame.time),
    frame.source ? element("span", { class: "call" }, fromTheAir(frame.source)) : "", verdict,
    element("span", { class: "says" }, fromTheAir(told(frame))));
  const details = element("details", null, head);
  details.addEventListener("toggle", () => details.open && details.childElementCount === 1 && details.append(inside(frame, wire)));
  const row = element("li", null, details);
  row.update = (now) => {
    const { word, kind } = verdictOf(now);
    say(verdict, word);
    mark(verdict, "data-verdict", kind);
  };
  return row;
}

function inside(frame, wire) {
  const facts = [["Why", because(frame)]];
  if (frame.source) facts.push(["Came", cameBy(frame)], ["Path", [frame.destination, ...frame.path].join(", ")], ["Information", frame.information]);
  facts.push(["Receiver", frame.port ? `${frame.receiver}, port ${frame.port}` : frame.receiver], ["Policy", frame.policy]);
  const list = element("dl", null, ...facts.flatMap(([term, text]) => [element("dt", null, term), element("dd", null, fromTheAir(text))]));
  return element("div", null, list, stepsTo(frame, wire), frame.source ? element("a", { href: to("station", frame.source) }, "This station") : "");
}
