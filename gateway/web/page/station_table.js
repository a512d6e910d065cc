// Who is out there: the stations by last heard, with a search, an order and filters that stay in the address.
import { ask, oneOf, read, to } from "./address.js";
import { element, fromTheAir, keepList, mark, say } from "./element.js";
import { byTime, hourOf, isDirect } from "./known.js";
import { Sparkline } from "./sparkline.js";
import { symbolName } from "./symbols.js";
import { age, now, timeOf } from "./times.js";
import { away, bearing, distance } from "./units.js";
import { KINDS, cameBy, told } from "./words.js";

const AT_A_TIME = 100;
const DAY_HOURS = 24;

const LAST = (one, other) => byTime(other.last, one.last);
const ORDERS = {
  last: { title: "last heard", compare: LAST },
  near: { title: "nearest", compare: (one, other) => (one.place?.distance ?? Infinity) - (other.place?.distance ?? Infinity) || LAST(one, other) },
  far: { title: "farthest", compare: (one, other) => (other.place?.distance ?? -1) - (one.place?.distance ?? -1) || LAST(one, other) },
  call: { title: "callsign", compare: (one, other) => one.source < other.source ? -1 : 1 },
  frames: { title: "most frames", compare: (one, other) => other.frames - one.frames || LAST(one, other) },
};

const WAYS = { "": "direct or not", direct: "heard direct", relayed: "by others only" };

export function stationTable(page) {
  const search = element("input", { type: "search", placeholder: "callsign, kind, words", "aria-label": "Search stations",
    input: (event) => ask({ search: event.target.value }) });
  const order = choice("Order", Object.entries(ORDERS).map(([name, { title }]) => [name, title]), (value) => ask({ order: value === "last" ? "" : value }));
  const kind = choice("Kind", [["", "every kind"], ...Object.entries(KINDS)], (value) => ask({ kind: value }));
  const way = choice("Way", Object.entries(WAYS), (value) => ask({ way: value }));
  const rows = element("ol", { class: "stations" });
  const count = element("p", { class: "faint", role: "status" });
  const more = element("button", { type: "button", click: () => { most += AT_A_TIME; page.drawSoon(); } });
  const whole = element("section", { class: "who" }, element("h2", null, "Who is out there"),
    element("form", { class: "asks", role: "search", submit: (event) => event.preventDefault() }, search, order, kind, way),
    count, rows, more);
  let most = AT_A_TIME;

  return {
    element: whole,
    draw() {
      const asked = Object.fromEntries(read().asked);
      if (document.activeElement !== search) search.value = asked.search ?? "";
      order.value = oneOf(ORDERS, asked.order, "last");
      kind.value = oneOf(KINDS, asked.kind, "");
      way.value = oneOf(WAYS, asked.way, "");
      const all = [...page.known.stations.values()];
      const found = inOrder(all.filter((station) => isAsked(station, asked.search, kind.value, way.value)), ORDERS[order.value].compare, rows);
      keepList(rows, found.slice(0, most), (station) => station.source, rowOf, (row, station) => row.update(station));
      say(count, counted(found.length, all.length));
      more.hidden = found.length <= most;
      say(more, `Show ${Math.min(AT_A_TIME, found.length - most)} more of ${found.length - most}`);
    },
  };
}

// In the order that was asked for. While the reader points at a row, or has one by the keyboard, nothing moves under their
// hand: what stands there stays where it is, and who is new comes last.
function inOrder(stations, compare, rows) {
  const isHeld = rows.contains(document.activeElement) || (matchMedia("(hover: hover)").matches && rows.matches(":hover"));
  if (!isHeld) return stations.sort(compare);
  const places = new Map([...rows.keptByKey?.keys() ?? []].map((source, place) => [source, place]));
  const placeOf = (station) => places.get(station.source) ?? places.size;
  return stations.sort((one, other) => placeOf(one) - placeOf(other) || compare(one, other));
}

function choice(title, options, chosen) {
  return element("select", { "aria-label": title, change: (event) => chosen(event.target.value) },
    ...options.map(([value, text]) => element("option", { value }, text)));
}

function counted(found, all) {
  if (!all) return "Nobody was heard yet.";
  const stations = (number) => `${number} ${number === 1 ? "station" : "stations"}`;
  return found === all ? stations(all) : `${found} of ${stations(all)}`;
}

function isAsked(station, search = "", kind, way) {
  if (kind && station.last.report?.kind !== kind) return false;
  if (way === "direct" && !station.lastDirect) return false;
  if (way === "relayed" && station.lastDirect) return false;
  const words = search.toLowerCase().split(/\s+/).filter(Boolean);
  if (!words.length) return true;
  const text = `${station.source} ${symbolName(station.symbol)} ${told(station.last)}`.toLowerCase();
  return words.every((word) => text.includes(word));
}

function rowOf() {
  const call = element("a", { class: "call" });
  const what = element("span", { class: "what" });
  const where = element("span", { class: "where" });
  const way = element("span", { class: "way" });
  const heard = element("span", { class: "age" });
  const says = element("span", { class: "says" });
  const day = new Sparkline(DAY_HOURS);
  const row = element("li", null, call, what, says, where, way, element("span", { class: "day" }, day.element), heard);
  let shown = null;
  let shownCount = null;
  let shownAt = null;
  row.update = (station) => {
    const { last, place } = station;
    const at = place ? away(place.distance, place.bearing) : "";
    if (shownAt !== at) where.replaceChildren(...pieces(place));
    if (shown !== last || shownAt !== at) {
      mark(call, "href", to("station", station.source));
      call.replaceChildren(fromTheAir(station.source));
      say(way, cameBy(last));
      mark(way, "data-direct", isDirect(last) ? "yes" : null);
      says.replaceChildren(fromTheAir(told(last)));
      heard.replaceChildren(timeOf(last.time, ""));
      [shown, shownAt] = [last, at];
    }
    const count = `${hourOf(now())} ${station.frames}`;
    if (shownCount !== count) drawDay(day, station);
    shownCount = count;
    say(what, symbolName(station.symbol) || KINDS[last.report?.kind] || "");
    say(heard.firstChild, age(now() - Date.parse(last.time)));
  };
  return row;
}

// How far and in which direction: a line may break between the two, and nowhere else.
function pieces(place) {
  if (!place) return [];
  const whole = away(place.distance, place.bearing);
  const [far, way] = [distance(place.distance), bearing(place.bearing)];
  return whole === `${far} ${way}` ? [element("span", null, far), " ", element("span", null, way)] : [whole];
}

// The last 24 hours, the present one last.
function drawDay(day, station) {
  const hour = hourOf(now());
  const frames = Array.from({ length: DAY_HOURS }, (_, index) => station.day.get(hour - DAY_HOURS + 1 + index) ?? 0);
  const hours = frames.filter(Boolean).length;
  day.draw(frames, `heard in ${hours} of the last ${DAY_HOURS} hours`);
}
