// The reach of this antenna: how far it heard in each direction, who was farthest and when, beside another period.
import { ask, read, to } from "../address.js";
import { Asking } from "../asking.js";
import { element, fromTheAir, say } from "../element.js";
import { numberTable } from "../number_table.js";
import { periodChoice } from "../period.js";
import { polar } from "../polar.js";
import { dayAndTime, timeOf } from "../times.js";
import { bearing, distance, far } from "../units.js";

export const view = { name: "reach", title: "Reach", open };

const AGAIN_MS = 60_000;
const USUAL = "30d";
const PERIODS = [["30d", "the last 30 days"], ["today", "today (of UTC)"], ["7d", "the last 7 days"], ["365d", "the last 365 days"]];
const OTHERS = [["", "nothing"], ["30d", "the 30 days before"], ["7d", "the 7 days before"], ["365d", "the 365 days before"]];

function open(section, page) {
  const asking = new Asking(page, AGAIN_MS);
  const since = periodChoice("Show", PERIODS, (value) => ask({ since: value === USUAL ? "" : value }));
  const against = periodChoice("beside", OTHERS, (value) => ask({ against: value }));
  const notice = element("p", { role: "status" });
  const whole = element("p", { class: "big" });
  const picture = polar("Sectors around this antenna, clockwise from north");
  const legend = element("ul", { class: "legend" });
  const results = element("ul", { class: "results", id: "results" });
  const notes = element("p", { class: "faint" });
  const table = numberTable("What was heard direct, by sector");
  const drawing = element("div", { class: "beside" }, picture.picture, element("div", { class: "aside" }, legend, picture.words));
  const shown = element("div", null, whole, results, drawing, table.element, notes);
  section.append(element("h2", null, "The reach of this antenna"),
    element("form", { class: "asks", submit: (event) => event.preventDefault() }, since.element, against.element),
    element("p", { class: "faint" }, "From what stations that were heard direct, without a repeater, said of their own place."), notice, shown);
  let drawnReach = null;
  let drawnQuestion = null;
  return () => {
    const asked = Object.fromEntries(read().asked);
    since.draw(asked.since ?? USUAL);
    against.draw(asked.against ?? "");
    const query = new URLSearchParams({ since: asked.since ?? USUAL, ...(asked.against && { against: asked.against }) });
    const reach = asking.about(`/api/reach?${query}`);
    say(notice, asking.problem || (reach ? "" : "asking …"));
    shown.hidden = !reach;
    const question = `${asking.path} ${distance(1000)}`;
    const isBeingRead = question === drawnQuestion && shown.querySelector("a:focus"); // nobody's place is taken away
    if (!reach || isBeingRead || (reach === drawnReach && question === drawnQuestion)) return;
    [drawnReach, drawnQuestion] = [reach, question];
    const { compare } = reach;
    drawing.hidden = table.element.hidden = isEmpty(reach) && (!compare || isEmpty(compare));
    whole.replaceChildren(...spanOf(reach), ": ", ...wordsOf(reach.whole));
    results.replaceChildren(...(compare ? compare.results.map(resultOf) : []));
    const goesBeyond = picture.draw(reach.sectors, compare?.sectors, (sector, other) => [
      `${sector.from_deg}° to ${sector.to_deg}° ${bearing(sector.from_deg + 5).split(" ")[1]}: `, ...wordsOf(sector),
      ...(other ? [element("br"), "Before: ", ...wordsOf(other)] : [])]);
    legend.replaceChildren(...legendOf(compare, goesBeyond));
    say(notes, notesOf(reach));
    table.draw(headsOf(compare), reach.sectors.map((sector, number) => rowOf(sector, compare?.sectors[number])));
  };
}

const spanOf = ({ from, to: until }) => [timeOf(from, dayAndTime(from)), " to ", timeOf(until, dayAndTime(until))];

const isEmpty = ({ whole }) => whole.frames === 0;

// What was heard from somewhere, in a sentence.
function wordsOf({ frames, stations, median_km: median, p95_km: most, farthest_km: farthest, farthest_station: station, farthest_time: time }) {
  if (!frames) return ["nothing was heard direct."];
  return [
    `${frames} ${frames === 1 ? "frame" : "frames"} from ${stations} ${stations === 1 ? "station" : "stations"}. Half within ${distance(median)}, `,
    `95 of 100 within ${distance(most)}; the farthest `, element("a", { href: to("station", station) }, fromTheAir(station)),
    `, ${distance(farthest)}, `, timeOf(time, dayAndTime(time)), "."];
}

// The result of the test for one measure; the gateway tells it in kilometres.
function resultOf({ measure, words, median, median_against: other }) {
  const isOfAnotherUnit = measure.endsWith("_km") && far()[1] !== "km" && median !== null && other !== null;
  return element("li", null, words, isOfAnotherUnit ? ` That is ${distance(median)} beside ${distance(other)}.` : "");
}

function legendOf(compare, goesBeyond) {
  const items = [["median_km", "half of the frames"], ["p95_km", "95 of 100 frames"], ["farthest_km", "the farthest"]];
  if (compare) items.push(["against", "95 of 100 frames, ", ...spanOf(compare)]);
  if (goesBeyond) items.push(["beyond", "past the outer ring: farther than the picture holds"]);
  return items.map(([kind, ...text]) => element("li", null, element("span", { class: `swatch ${kind}`, "aria-hidden": "true" }), ...text));
}

function notesOf({ whole, measured_by: measured, implausible_frames: implausible, compare }) {
  return [
    !whole.frames && "How far away something is, is known only where the station file has a `position:`.",
    "What was heard in the last minute may not be in it yet.",
    ((measured === "classes" && whole.frames) || (compare?.measured_by === "classes" && compare.whole.frames))
      && "The frames themselves are kept no longer: the middle and the 95 of 100 come from classes of distance.",
    implausible && `${implausible} ${implausible === 1 ? "frame" : "frames"} claimed to be from beyond ${distance(1500)}: not counted.`,
    compare && `The test: ${compare.test}.`,
  ].filter(Boolean).join(" ");
}

const headsOf = (compare) => ["Towards", "Frames", "Stations", "Half within", "95 of 100 within", "Farthest", "Who", "When",
  ...(compare ? ["Frames before", "95 of 100 before", "Farthest before"] : [])];

const orNone = (km) => km === null ? "–" : distance(km);

function rowOf(sector, other) {
  const { frames, stations, median_km: median, p95_km: most, farthest_km: farthest, farthest_station: station } = sector;
  return [`${sector.from_deg}°–${sector.to_deg}°`, frames, stations, orNone(median), orNone(most), orNone(farthest),
    station ? element("a", { href: to("station", station) }, fromTheAir(station)) : "–",
    sector.farthest_time ? timeOf(sector.farthest_time, dayAndTime(sector.farthest_time)) : "–",
    ...(other ? [other.frames, orNone(other.p95_km), orNone(other.farthest_km)] : [])];
}
