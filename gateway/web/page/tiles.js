// The four tiles, in the order in which a frame goes: antenna, decoder, uplink, house. Each has a word, one number that
// lives, and what to do where it is not well. Every part of the gateway stands behind one of them. Words and reasons are
// those of gateway/glance/tiles.py: a test holds them together.
import { element, mark, say } from "./element.js";
import { to } from "./address.js";
import { age, now } from "./times.js";

const SEVERITY = ["ok", "waiting", "quiet", "degraded", "down"];
const SIGNS = { ok: "✓", waiting: "…", quiet: "~", degraded: "!", down: "✕", off: "–", unknown: "?" };

export const signOf = (state) => SIGNS[state] ?? SIGNS.unknown;

const worst = (parts) => parts.reduce((one, other) =>
  SEVERITY.indexOf(other.state) > SEVERITY.indexOf(one?.state ?? "ok") || !one ? other : one, null);

const sums = (health, kind, figure) => health.parts.filter((part) => part.kind === kind)
  .reduce((sum, part) => sum + (part.figures?.[figure] ?? 0), 0);

// What a tile shows: `{ state, word, number, unit, why, todo }`.
const TILES = [
  { name: "antenna", of: antenna },
  { name: "decoder", of: decoder },
  { name: "uplink", of: uplink },
  { name: "house", of: house },
];

const trouble = (part) => part && part.state !== "ok" ? { why: part.why ?? "", todo: part.do ?? "" } : {};

function antenna(health) {
  const receivers = health.parts.filter((part) => part.kind === "receiver");
  const rate = health.activity?.frames_per_minute;
  const number = { number: rate === undefined ? "–" : `${rate}`, unit: rate === 1 ? "frame a minute" : "frames a minute" };
  const unknown = (why) => ({ state: "unknown", word: "not known", ...number, why, todo: "" });
  const quiet = receivers.find((part) => part.state === "quiet");
  if (quiet) return { state: "quiet", word: "quiet", ...number, ...trouble(quiet) };
  if (receivers.length && !receivers.some((part) => part.state === "ok")) return unknown("no decoder tells what it hears");
  if (!health.activity?.last_heard) return unknown("nothing was heard yet");
  if (!receivers.length && !rate) return unknown("no post of the club hands on anything now");
  return { state: "ok", word: "hearing", ...number };
}

function decoder(health, now) {
  const receivers = health.parts.filter((part) => part.kind === "receiver");
  const part = worst(receivers.map((one) => one.state === "quiet" ? { ...one, state: "ok" } : one));
  const last = health.activity?.last_heard;
  const number = last ? { number: age(now - new Date(last)), unit: "since a frame" } : { number: "–", unit: "nothing heard yet" };
  if (!part) return { state: "off", word: "none", ...number };
  const words = { ok: "connected", waiting: "waiting", degraded: "not well", down: "away" };
  return { state: part.state, word: words[part.state], ...number, ...trouble(part) };
}

function uplink(health) {
  const { counts } = health;
  const part = worst(health.parts.filter(({ kind }) => kind === "uplink" || kind === "club"));
  if (!part) return { state: "off", word: "not set up", number: `${counts.forward}`, unit: "would go up" };
  const sent = counts.outcomes?.sent;
  const number = counts.forward && sent !== undefined
    ? { number: `${Math.floor(100 * sent / counts.forward)} %`, unit: "of it sent" }
    : { number: "–", unit: "to send yet" };
  const words = { ok: "sending", waiting: "waiting", quiet: "quiet", degraded: "not well", down: "away" };
  return { state: part.state, word: words[part.state], ...number, ...trouble(part) };
}

const ELSEWHERE = new Set(["receiver", "uplink", "club"]);

function house(health) {
  const part = worst(health.parts.filter(({ kind }) => !ELSEWHERE.has(kind)));
  const readers = sums(health, "web", "event_streams") + sums(health, "lines", "clients");
  const number = { number: `${readers}`, unit: readers === 1 ? "reader" : "readers" };
  const words = { ok: "all well", waiting: "waiting", quiet: "quiet", degraded: "not well", down: "a part is down" };
  if (!part) return { state: "ok", word: words.ok, ...number };
  const about = trouble(part);
  return { state: part.state, word: words[part.state], ...number, ...about, why: about.why && `${part.name}: ${about.why}` };
}

// The state of the whole, for the tab: `unknown` where there is no proof of it.
export const stateOf = (health, isSilent) => isSilent !== false || !health ? "unknown" : health.state;

export class Tiles {
  constructor(place) {
    this.made = new Map(TILES.map(({ name }) => [name, tile(name)]));
    place.append(...[...this.made.values()].map(({ item }) => item));
  }

  // Without proof that the gateway lives, no tile has a state or a number.
  draw(health, isSilent) {
    for (const { name, of } of TILES) {
      const told = health ? of(health, now()) : { word: "not known yet", number: "–", unit: "" };
      const shown = isSilent !== false ? { ...told, state: "unknown", word: health ? "not known" : "asking …", number: "–", why: "", todo: "" } : told;
      const { item, sign, word, number, unit, todo } = this.made.get(name);
      mark(item, "data-state", shown.state ?? "unknown");
      say(sign, signOf(shown.state));
      say(word, shown.word);
      say(number, shown.number);
      say(unit, shown.unit);
      say(todo, [shown.why, shown.todo].filter(Boolean).join(": "));
    }
  }
}

function tile(name) {
  const sign = element("span", { class: "sign", "aria-hidden": "true" });
  const word = element("strong", { class: "word" });
  const number = element("span", { class: "number" });
  const unit = element("span", { class: "unit" });
  const todo = element("span", { class: "todo" });
  const item = element("li", { class: "tile", id: `tile-${name}` },
    element("a", { href: to("parts", name) },
      element("span", { class: "name" }, name), element("span", { class: "state" }, sign, word),
      element("span", { class: "figure" }, number, " ", unit), todo));
  return { item, sign, word, number, unit, todo };
}

// Which tile a part stands behind.
export const tileOf = (part) => part.kind === "receiver" ? "decoder" : ELSEWHERE.has(part.kind) ? "uplink" : "house";
