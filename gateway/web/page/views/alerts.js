// The alerts that stay: emergencies that hold first, then the newest first, each with its age, and whether it still holds.
import { to } from "../address.js";
import { element, fromTheAir, keepList, mark, say } from "../element.js";
import { ago, timeOf } from "../times.js";
import { told } from "../words.js";

export const view = { name: "alerts", title: "Alerts", open };

function open(section, page) {
  const { raised } = page;
  const list = element("ol", { class: "alerts", id: "alert-list" });
  const none = element("p", { class: "faint" }, "There was none.");
  const seen = element("button", { type: "button", click: () => raised.markAllSeen() }, "I have seen them");
  const notify = element("input", { type: "checkbox", id: "notify", disabled: !raised.canNotify,
    change: (event) => raised.setNotify(event.target.checked) });
  const how = raised.canNotify ? "This browser notifies me of new ones while the page is open"
    : "Notifications want this page on the same computer or over TLS";
  section.append(element("header", null, element("h2", null, "Alerts"), seen), list, none,
    element("p", { class: "asks" }, notify, element("label", { for: "notify" }, how)),
    element("p", { class: "faint" }, "What raises one stands under “alerts” in the station file; an emergency needs no entry."));
  return () => {
    keepList(list, raised.list, ({ number, first }) => `${number} ${first}`, rowOf, (row, one) => row.update(one, raised.isSeen(one)));
    none.hidden = raised.list.length > 0;
    seen.hidden = !raised.unseen;
    notify.checked = raised.notifies;
  };
}

function rowOf({ alert }) {
  const state = element("span", { class: "state" });
  const isNew = element("span", { class: "new" });
  const when = element("span", { class: "faint" });
  const about = alert.source ?? alert.heard?.source;
  const row = element("li", { "data-kind": alert.kind }, isNew, element("strong", null, alert.name),
    about ? element("a", { class: "call", href: to("station", about) }, fromTheAir(about)) : "",
    element("span", { class: "says" }, alert.what, alert.heard ? ": " : "", alert.heard ? fromTheAir(told(alert.heard)) : ""), state, when);
  let shown = null;
  row.update = (raised, isSeen) => {
    mark(row, "data-holds", raised.holds ? "yes" : null);
    say(isNew, isSeen ? "" : "new");
    say(state, raised.holds ? "still holds" : raised.over ? "over" : "");
    if (shown !== raised.last) {
      const times = raised.times > 1 ? `, ${raised.times} times since ` : "";
      when.replaceChildren(element("span"), " at ", timeOf(raised.last), times, ...times ? [timeOf(raised.first)] : [],
        ...raised.over ? [", over at ", timeOf(raised.over)] : []);
      shown = raised.last;
    }
    say(when.firstChild, ago(raised.last));
  };
  return row;
}
