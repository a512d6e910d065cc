// The first view: what changed since one last looked, and who is out there.
import { element, fromTheAir, keepList, say } from "../element.js";
import { to } from "../address.js";
import { clock, timeOf } from "../times.js";
import { stationTable } from "../station_table.js";

export const view = { name: "now", title: "Now", open };

function open(section, page) {
  const heading = element("h2");
  const list = element("ul", { class: "changes", id: "changes" });
  const stations = element("p", { id: "new-stations" });
  const empty = element("p", { class: "faint" }, "Nothing changed.");
  const done = element("button", { type: "button", click: () => { page.changes.clear(); page.drawSoon(); } }, "I have read it");
  const changed = element("section", { class: "changed" }, element("header", null, heading, done), stations, list, empty);
  const table = stationTable(page);
  section.append(changed, table.element);
  let named = "";
  return () => {
    const { changes } = page;
    say(heading, changes.since ? `Since ${clock(changes.since)}` : "Since you came");
    const { named: sources, more } = changes.stations();
    keepList(list, changes.list, (change) => change, (change) => element("li", null, timeOf(change.time), ` ${change.text}`));
    if (sources.join() + more !== named) {
      named = sources.join() + more;
      const links = sources.map((source) => element("a", { href: to("station", source) }, fromTheAir(source)));
      stations.replaceChildren("New here: ", ...links.flatMap((link) => [link, " "]), more ? `and ${more} more` : "");
    }
    stations.hidden = !sources.length;
    const isEmpty = !changes.list.length && !sources.length;
    empty.hidden = !isEmpty;
    done.hidden = isEmpty;
    changed.classList.toggle("empty", isEmpty);
    table.draw();
  };
}
