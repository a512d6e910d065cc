// The reach of the antenna as a picture: north is up, a ring is a distance, and each sector has three steps, of which
// the innermost is the median of what was heard from there and the outermost the farthest. A second period is a line.
// One lone frame from far away would shrink all the others to a dot: such a sector goes past the outermost ring instead.
import { drawn } from "./element.js";
import { chooser } from "./chooser.js";
import { far } from "./units.js";

const RADIUS = 170; // of the outermost ring; the picture is drawn 400 wide
const MOST_RINGS = 5;
const BEYOND = 8; // so far a sector goes past the outermost ring where the picture does not hold all of it
const LONE = 2.5; // a farthest so many times the 95 of 100 is a lone one: it makes the picture no smaller
const ROOM = 1.4;
const STEPS = ["farthest_km", "p95_km", "median_km"]; // the widest first: the others lie upon it
const SECTOR_DEG = 10;
const NAMED = { N: 0, E: 90, S: 180, W: 270 };

export function polar(label) {
  const picture = drawn("svg", { class: "polar", viewBox: "-200 -200 400 400" });
  const words = chooser(picture, { label, at: (event) => sectorAt(picture, event), isRound: true });
  return {
    picture,
    words: words.element,
    // `sectors` as `/api/reach` has them, those of another period or null, and what gives the words about one.
    // Gives back whether some sector goes past the outermost ring.
    draw(sectors, against, tell) {
      const rings = ringsOf(heldBy([...sectors, ...(against ?? [])]));
      const outermost = rings.at(-1).km, scale = RADIUS / outermost;
      const radius = (km) => km > outermost ? RADIUS + BEYOND : km * scale;
      const wedges = sectors.map((sector) => drawn("g", { class: "sector" },
        ...STEPS.filter((step) => sector[step]).map((step) => drawn("path", { class: step, d: wedge(sector.from_deg, radius(sector[step])) })),
        drawn("path", { class: "edge", d: wedge(sector.from_deg, RADIUS) })));
      picture.replaceChildren(
        ...rings.map(({ km }) => drawn("circle", { class: "ring", r: km * scale })),
        ...Object.values(NAMED).map((degrees) => drawn("path", { class: "ring", d: `M0 0L${at(degrees, RADIUS)}` })),
        ...wedges,
        against ? drawn("path", { class: "against", d: outline(against.map((sector) => radius(sector.p95_km ?? 0))) }) : "",
        ...rings.map(({ km, text }) => drawn("text", { class: "distance", x: 4, y: -km * scale + 13 }, text)),
        ...Object.entries(NAMED).map(([name, degrees]) => drawn("text", { class: "point", ...placed(degrees, RADIUS + BEYOND + 12) }, name)));
      words.draw(sectors.map((sector, number) => ({ mark: wedges[number], tell: () => tell(sector, against?.[number]) })));
      return sectors.some((sector) => sector.farthest_km > outermost);
    },
  };
}

// How far the picture should hold.
function heldBy(sectors) {
  const [most, farthest] = ["p95_km", "farthest_km"].map((step) => Math.max(0, ...sectors.map((sector) => sector[step] ?? 0)));
  return most && farthest > LONE * most ? ROOM * most : farthest;
}

// The rings for what was heard up to `km`: round numbers in the unit that the reader chose.
export function ringsOf(km) {
  const [size, unit] = far();
  const most = Math.max(1, km / size);
  const power = 10 ** Math.floor(Math.log10(most / MOST_RINGS));
  const step = [1, 2, 5, 10].map((times) => times * power).find((one) => Math.ceil(most / one) <= MOST_RINGS);
  return Array.from({ length: Math.ceil(most / step) }, (_, number) => {
    const value = Number(((number + 1) * step).toPrecision(6));
    return { km: value * size, text: `${value} ${unit}` };
  });
}

// A point so many degrees from north, clockwise, and so far from the middle.
function at(degrees, radius) {
  const turn = degrees * Math.PI / 180;
  return `${(radius * Math.sin(turn)).toFixed(2)} ${(-radius * Math.cos(turn)).toFixed(2)}`;
}

function placed(degrees, radius) {
  const [x, y] = at(degrees, radius).split(" ");
  return { x, y };
}

const arc = (radius, to) => `A${radius.toFixed(2)} ${radius.toFixed(2)} 0 0 1 ${at(to, radius)}`;
const wedge = (from, radius) => `M0 0L${at(from, radius)}${arc(radius, from + SECTOR_DEG)}Z`;
const outline = (radii) => radii.map((radius, number) =>
  `${number ? "L" : "M"}${at(number * SECTOR_DEG, radius)}${arc(radius, (number + 1) * SECTOR_DEG)}`).join("") + "Z";

function sectorAt(picture, event) {
  const box = picture.getBoundingClientRect();
  const [right, up] = [event.clientX - box.left - box.width / 2, box.top + box.height / 2 - event.clientY];
  if (Math.hypot(right, up) > box.width * 0.5 || Math.hypot(right, up) < 2) return null;
  return Math.floor((Math.atan2(right, up) * 180 / Math.PI + 360) % 360 / SECTOR_DEG);
}
