// How the page says things: a report, a verdict, a reason, how a frame came. Plain words, one sentence at most.
import { away, bearing, height, speed, wind } from "./units.js";
import { isDirect, repeatersOf } from "./known.js";

// Why a frame was kept at home, each in a sentence.
export const REASONS = {
  "damaged": "It came broken, or is no frame at all.",
  "not-ui": "It belongs to a connection between two stations, and is no report to everyone.",
  "wrong-pid": "It carries another protocol.",
  "bad-callsign": "The network would not take its sender, or one of its repeaters, as a callsign.",
  "placeholder-callsign": "Its callsign is one that a device has before its owner sets one.",
  "q-construct-on-air": "It carries a mark that only the network itself may set.",
  "internet-origin": "It came from the network: it must not go back there.",
  "asked-not-to-gate": "Its sender asks that it stays on the air.",
  "third-party-malformed": "It wraps another frame that cannot be read.",
  "third-party-internet": "It wraps a frame that came from the network.",
  "empty": "It says nothing.",
  "generic-query": "It asks every station at once: thousands would answer.",
  "too-long": "It is longer than the network takes.",
  "duplicate": "The same was heard a moment ago.",
  "rule": "A rule of your policy keeps it.",
  "over-rate": "More came than a rate of your policy allows.",
};

export function verdictOf(frame) {
  if (frame.sent_at) return { word: "sent up", kind: "sent" };
  if (frame.verdict === "forward") return { word: "to go up", kind: "forward" };
  return { word: `kept: ${frame.reason}${frame.rule ? ` (${frame.rule})` : ""}`, kind: "keep" };
}

export const because = (frame) => frame.reason ? REASONS[frame.reason] : "Nothing speaks against it.";

// `direct`, `by QD1HDL`, `by QD1HDL and QD1HBR`, `relayed by QD1HBR`.
export function cameBy(frame) {
  if (isDirect(frame)) return "direct";
  const repeaters = repeatersOf(frame);
  const by = repeaters.length > 1 ? `${repeaters.slice(0, -1).join(", ")} and ${repeaters.at(-1)}` : repeaters[0];
  if (frame.outer) return `relayed by ${frame.outer.source}${by ? `, by ${by}` : ""}`;
  return `by ${by}`;
}

const STORMS = { "tropical-depression": "tropical depression", "tropical-storm": "tropical storm" };

// What a frame reports, as one would tell it.
export function told(frame) {
  const report = frame.report;
  if (!report) return frame.damage ? `Not a frame: ${frame.damage}` : "";
  const say = TELLERS[report.kind];
  return `${report.emergency ? "EMERGENCY. " : ""}${say ? say(report) : ""}`;
}

const joined = (...parts) => parts.filter(Boolean).join(", ");
const sentence = (text) => text && text[0].toUpperCase() + text.slice(1);
const quoted = (text) => text ? `“${text}”` : "";

function movement({ speed_kmh: kmh, course_deg: course, altitude_m: altitude }) {
  const moves = kmh > 0.5;
  return joined(
    moves ? `moving at ${speed(kmh)}${course === undefined ? "" : ` towards ${bearing(course)}`}` : kmh !== undefined && "not moving",
    altitude !== undefined && `at ${height(altitude)} altitude`);
}

function weather(report) {
  const { wind_ms: ms, wind_deg: from, gust_ms: gust } = report;
  const blows = ms !== undefined && `wind ${wind(ms)}${from === undefined ? "" : ` from ${bearing(from)}`}`;
  const value = (number, unit, before = "") => number !== undefined && `${before}${Math.round(number * 10) / 10} ${unit}`;
  return joined(
    value(report.temperature_c, "°C"),
    blows, gust > 0 && `gusts ${wind(gust)}`,
    value(report.humidity_pct, "%", "humidity "), value(report.pressure_hpa, "hPa"),
    report.rain_last_hour_mm > 0 && value(report.rain_last_hour_mm, "mm of rain in the last hour"),
    report.rain_last_day_mm > 0 && value(report.rain_last_day_mm, "mm of rain in the last day"),
    report.storm && (STORMS[report.storm] ?? report.storm));
}

const channels = ({ channels: named, analogue = [] }) => named
  ? joined(...named.filter(({ value }) => value !== null).map(({ name, value, unit }) =>
    typeof value === "boolean" ? `${name} ${value ? "on" : "off"}` : `${name} ${Math.round(value * 100) / 100}${unit ? ` ${unit}` : ""}`))
  : `values ${analogue.map((value) => value ?? "–").join(", ")}`;

const MIC_E = { "off-duty": "off duty", "en-route": "under way", "in-service": "in service" };

function position(report) {
  const type = report.message_type && report.message_type !== "unknown" && !report.emergency
    && (MIC_E[report.message_type] ?? report.message_type.replace("-", " "));
  const at = joined(type, movement(report), weather(report), (report.channels || report.analogue) && channels(report));
  return joined(sentence(at) || "Tells where it is", quoted(report.comment));
}

const TELLERS = {
  "position": position,
  "weather": (report) => joined(sentence(weather(report)) || "Weather without values", quoted(report.comment)),
  "object": (report) => thing("Object", report),
  "item": (report) => thing("Item", report),
  "message": messageTold,
  "bulletin": (report) => joined(`Bulletin ${report.line ?? ""}`.trim() + (report.group ? ` for ${report.group}` : ""), quoted(report.text)),
  "telemetry": (report) => joined(`Telemetry: ${channels(report)}`, quoted(report.comment)),
  "status": (report) => joined("Status", report.locator && `at ${report.locator}`, quoted(report.text)),
  "query": (report) => `Asks ${report.addressee || "everyone"} for ${report.query}`,
  "capabilities": (report) => `Can do: ${Object.entries(report.capabilities).map((pair) => pair.join(" ").trim()).join(", ")}`,
  "user-defined": (report) => joined("In a format of its own", quoted(report.text)),
  "unknown": (report) => `Not read: ${report.because}`,
};

function thing(what, report) {
  if (!report.live) return `${what} ${quoted(report.name)} is no longer there`;
  const at = report.distance_km !== undefined && away(report.distance_km, report.bearing_deg);
  return joined(`${what} ${quoted(report.name)}`, at, movement(report), weather(report), quoted(report.comment));
}

function messageTold(report) {
  if (report.acknowledges) return `Tells ${report.addressee} that message ${report.acknowledges} came`;
  if (report.rejects) return `Tells ${report.addressee} that message ${report.rejects} is not taken`;
  if (report.telemetry_names) return `Names its telemetry: ${report.telemetry_names.join(", ")}`;
  if (report.telemetry_units) return `Tells the units of its telemetry: ${report.telemetry_units.join(", ")}`;
  if (report.telemetry_coefficients) return "Tells how to scale its telemetry";
  if (report.telemetry_senses) return `Tells what its telemetry is of${report.telemetry_title ? `: ${report.telemetry_title}` : ""}`;
  return `To ${report.addressee}: ${quoted(report.text)}`;
}

// The kinds of report, as a heading says them.
export const KINDS = {
  "position": "position", "weather": "weather", "object": "object", "item": "item", "message": "message",
  "bulletin": "bulletin", "telemetry": "telemetry", "status": "status", "query": "query",
  "capabilities": "capabilities", "user-defined": "own format", "unknown": "not read",
};
