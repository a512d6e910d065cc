// The alerts that came while this page was open, the newest first.
import { element, fromTheAir, keepList } from "../element.js";
import { to } from "../address.js";
import { timeOf } from "../times.js";

export const view = { name: "alerts", title: "Alerts", open };

function open(section, page) {
  const list = element("ol", { class: "alerts", id: "alert-list" });
  const none = element("p", { class: "faint" }, "None came.");
  section.append(element("h2", null, "Alerts"), list, none);
  return () => {
    keepList(list, page.known.alerts, (alert) => alert, lineOf);
    none.hidden = page.known.alerts.length > 0;
  };
}

function lineOf(alert) {
  const about = alert.source ?? alert.heard?.source;
  return element("li", { "data-kind": alert.kind }, timeOf(alert.time), " ", element("strong", null, alert.name), `: ${alert.what} `,
    about ? element("a", { href: to("station", about) }, fromTheAir(about)) : "");
}
