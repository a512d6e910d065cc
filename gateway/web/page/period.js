// Chooses a period: one of a few that are asked for often, or one from a day to a day. It gives the text that the
// interface takes: `30d`, `today`, `2026-06-06`, `2026-05-01/2026-06-01`. Days are those of UTC, as in the sums.
import { element } from "./element.js";

const DAYS = "days";

// `options` are pairs of text and title; `chosen` is called with the text of the period; empty: the first option.
export function periodChoice(title, options, chosen) {
  const select = element("select", { "aria-label": title, change: () => changed() },
    ...options.map(([value, name]) => element("option", { value }, name)), element("option", { value: DAYS }, "from a day to a day …"));
  const [from, before] = ["from", "before"].map((name) =>
    element("input", { type: "date", "aria-label": `${title}: ${name}`, change: () => changed() }));
  const days = element("span", { class: "days", hidden: true }, " from ", from, " to before ", before);
  let last = null;

  function changed() {
    days.hidden = select.value !== DAYS;
    if (select.value !== DAYS) chosen(select.value);
    else if (from.value) chosen(before.value ? `${from.value}/${before.value}` : from.value);
  }

  return {
    element: element("span", { class: "period" }, element("label", null, `${title} `, select), days),
    // Show what the address asks for.
    draw(text) {
      if (text === last) return;
      last = text;
      const isOfDays = /^\d{4}-/.test(text);
      if (isOfDays) [from.value, before.value = ""] = text.split("/").map((time) => time.slice(0, 10));
      else if (![...select.options].some((option) => option.value === text)) select.append(element("option", { value: text }, text));
      select.value = isOfDays ? DAYS : text;
      days.hidden = !isOfDays;
    },
  };
}
