// Lengths and speeds in the units that the reader chose. The gateway tells metric ones; the choice is this browser's.
import { roundStep } from "./round_step.js";
import { oneOf } from "./address.js";
import { recalled, remember } from "./browser_memory.js";

const NAME = "units";
const KM_PER_MILE = 1.609344;      // the international mile
const KM_PER_NAUTICAL = 1.852;     // the nautical mile; a knot is one an hour
const M_PER_FOOT = 0.3048;
const HERE_KM = 0.05;              // nearer than that a bearing says nothing
const SETS = {
  metric: { title: "km, km/h", far: [1, "km"], fast: [1, "km/h"], high: [1, "m"] },
  miles: { title: "miles, mph", far: [KM_PER_MILE, "mi"], fast: [KM_PER_MILE, "mph"], high: [M_PER_FOOT, "ft"] },
  nautical: { title: "nautical miles, knots", far: [KM_PER_NAUTICAL, "nmi"], fast: [KM_PER_NAUTICAL, "kn"], high: [M_PER_FOOT, "ft"] },
};

let chosen = oneOf(SETS, recalled(NAME), "metric");

// Every set with its title, and which is chosen.
export const choices = () => Object.entries(SETS).map(([name, { title }]) => ({ name, title, chosen: name === chosen }));

export function choose(name) {
  chosen = name;
  remember(NAME, name);
  dispatchEvent(new Event("asked"));
}

function written(value, [size, unit]) {
  const amount = value / size;
  return `${amount < 10 ? Math.round(amount * 10) / 10 : Math.round(amount)} ${unit}`;
}

// The unit of distances: how many kilometres it has, and how it is written.
export const far = () => SETS[chosen].far;
export const distance = (km) => written(km, SETS[chosen].far);
// Where something is, seen from here: `2.4 km 47° NE`, or `here`.
export const away = (km, degrees) => km < HERE_KM ? "here" : `${distance(km)} ${bearing(degrees)}`;
// A round number of the reader's unit that is about `km`, the unit, and how many kilometres it is.
export function length(km) {
  const [size, unit] = SETS[chosen].far;
  return { size, unit, step: roundStep(km / size) };
}
export const speed = (kmh) => written(kmh, SETS[chosen].fast);
export const height = (m) => written(m, SETS[chosen].high);
// Wind is told in metres a second, except to those who think in other units.
export const windUnit = () => chosen === "metric" ? { name: "m/s", size: 1 }
  : { name: SETS[chosen].fast[1], size: SETS[chosen].fast[0] / 3.6 };
export const wind = (ms) => chosen === "metric" ? `${Math.round(ms * 10) / 10} m/s` : speed(ms * 3.6);

const POINTS = ["N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"];
// A direction from true north: `47° NE`.
export const bearing = (degrees) => `${Math.round(degrees) % 360}° ${POINTS[Math.round(degrees / 22.5) % 16]}`;
