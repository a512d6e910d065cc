// The steps to the verdict on one frame: what was asked of it, what the answer was, and which answer decided.
import { element, fromTheAir } from "./element.js";

const NAMED = /^(rule|rate) /; // the other steps say in their questions what they are

// An element that asks for them at once, and says so where they cannot be told.
export function stepsTo(frame, wire) {
  const place = element("div", { class: "steps" }, element("p", { class: "faint" }, "asking why …"));
  wire.ask(`/api/heard/${encodeURIComponent(frame.run)}/${frame.sequence}`).then(
    ({ steps, as_recorded: asRecorded }) => place.replaceChildren(...shown(steps, asRecorded)),
    (error) => place.replaceChildren(element("p", { class: "faint" }, `The steps cannot be told: ${error.message}`)));
  return place;
}

function shown(steps, asRecorded) {
  const lines = steps.map(({ step, asked, answer, decided }) => element("li", { "data-decided": decided ? "yes" : null },
    fromTheAir(NAMED.test(step) ? `${step}: ${asked}` : asked), " ",
    element("strong", null, fromTheAir(answer)), decided ? " ← this decided" : ""));
  return [
    asRecorded ? "" : element("p", { class: "caution" },
      "Asked now, this frame is judged otherwise than it was then: the policy has changed, or not all that was known then is known."),
    element("ol", null, ...lines)];
}
