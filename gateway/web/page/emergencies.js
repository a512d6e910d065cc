// Emergencies stand above everything, in every view, until the reader says that they have seen them.
import { element, fromTheAir, keepList, say } from "./element.js";
import { recalledList, remember } from "./browser_memory.js";
import { ago, timeOf } from "./times.js";
import { away } from "./units.js";
import { to } from "./address.js";

const NAME = "seen-emergencies";
const MOST_SEEN = 100;
const ASK_AGAIN_MS = 300_000; // who calls for help for longer stands there again

export class Emergencies {
  constructor(place, changed) {
    this.place = place;
    this.seen = new Map(recalledList(NAME).filter(Array.isArray)); // by station: when its newest frame was heard
    this.shown = [];
    this.list = element("ol");
    this.count = element("p");
    place.append(
      element("h2", null, "Emergency heard"), this.list, this.count,
      element("p", { class: "caution" }, "This is not a distress watch. Nobody keeps watch here, and nothing promises that a "
        + "call for help is seen or passed on: do not rely on it for safety of life, and call the emergency services yourself."),
      element("button", { type: "button", click: () => this.markSeen(changed) }, "I have seen it"));
  }

  draw(known) {
    this.shown = [...known.emergencies.values()].reverse().filter((frame) => this.isNew(frame));
    this.place.hidden = !this.shown.length;
    keepList(this.list, this.shown, (frame) => frame.source, () => element("li"), (item, frame) => {
      if (item.shows !== frame) item.replaceChildren(...line(frame));
      item.shows = frame;
      say(item.lastChild, ` (${ago(frame.time)})`);
    });
    say(this.count, known.health ? `Frames that said so since the gateway started: ${known.health.counts.emergencies}.` : "");
  }

  isNew(frame) {
    return !(Date.parse(frame.time) - this.seen.get(frame.source) < ASK_AGAIN_MS);
  }

  markSeen(changed) {
    for (const { source, time } of this.shown) this.seen.set(source, Date.parse(time));
    this.seen = new Map([...this.seen].slice(-MOST_SEEN));
    remember(NAME, [...this.seen]);
    changed();
  }
}

// Who, where, when, in its own words, and where in degrees for those who come to help.
function line(frame) {
  const { distance_km: km, bearing_deg: degrees, latitude, longitude, comment } = frame.report;
  const at = [km !== undefined && away(km, degrees), latitude !== undefined && `${latitude.toFixed(5)}°, ${longitude.toFixed(5)}°`];
  return [
    element("a", { class: "big call", href: to("station", frame.source) }, fromTheAir(frame.source)), " ",
    fromTheAir(comment ?? frame.information ?? ""), element("br"),
    [...at.filter(Boolean), "at "].join(" · "), timeOf(frame.time), element("span", { class: "faint" }),
  ];
}
