// One station: where it is, what it last said, and its frames with their verdicts.
import { element, fromTheAir, say } from "../element.js";
import { frameList } from "../frame_list.js";
import { symbolName } from "../symbols.js";
import { ago, timeOf } from "../times.js";
import { bearing, distance } from "../units.js";
import { told } from "../words.js";
import { read, to } from "../address.js";

export const view = { name: "station", open };

function open(section, page) {
  const { about } = read();
  const kind = element("p", { class: "faint" });
  const where = element("p");
  const says = element("p", { class: "big" });
  const heard = element("p", { class: "faint" });
  const frames = frameList(page);
  section.append(element("p", null, element("a", { href: to("now") }, "← all stations")),
    element("h2", null, fromTheAir(about)), kind, says, where, heard, element("h3", null, "Its frames"), frames.element);
  let shown = null;
  return () => {
    const station = page.known.stations.get(about);
    frames.draw([...page.known.frames.values()].filter((frame) => frame.source === about));
    if (!station) {
      say(says, "This station is not remembered here.");
      return;
    }
    say(kind, symbolName(station.symbol));
    say(where, station.place ? `${distance(station.place.distance)} away, ${bearing(station.place.bearing)}` : "It did not say where it is.");
    if (shown !== station.last) {
      says.replaceChildren(fromTheAir(told(station.last)));
      heard.replaceChildren("Heard last ", timeOf(station.last.time), ", ", element("span"), " · ", `${station.frames} frames since `,
        timeOf(station.firstHeard), station.lastDirect ? " · direct last " : " · never direct", station.lastDirect ? timeOf(station.lastDirect) : "");
      shown = station.last;
    }
    say(heard.querySelector("span"), ago(station.last.time));
  };
}
