// What the page knows of the gateway, from what it was told so far. Every memory is bounded: the oldest goes first.

const FRAMES = 1000;
const STATIONS = 5000;
const EMERGENCIES = 50;
const HOUR_MS = 3_600_000;
const HOURS = 24; // remembered of each station

export class Known {
  constructor() {
    this.run = null;
    this.health = null;
    this.policy = null;
    this.missed = 0; // events that this page will not see
    this.forget();
  }

  forget() {
    this.frames = new Map(); // by run and sequence, the newest last
    this.stations = new Map(); // by callsign: see `Station`
    this.emergencies = new Map(); // by station: the newest frame of each
  }

  takeHealth(health) {
    this.health = health;
  }

  // A frame was heard. Gives back its station where nobody knew of it.
  takeFrame(frame) {
    const name = nameOf(frame);
    const known = this.frames.get(name);
    if (known) return null;
    this.frames.set(name, frame);
    if (this.frames.size > FRAMES) this.frames.delete(this.frames.keys().next().value);
    if (isEmergency(frame)) this.takeEmergency(frame);
    return frame.source && frame.reason !== "bad-callsign" ? this.takeStation(frame) : null;
  }

  // Frames of before, the newest first: the stations have counted them already.
  takePast(frames) {
    const all = new Map([...frames].reverse().map((frame) => [nameOf(frame), frame]));
    for (const [name, frame] of this.frames) all.set(name, { ...all.get(name), ...frame });
    this.frames = new Map([...all].sort(([, one], [, other]) => byTime(one, other)).slice(-FRAMES));
    for (const frame of this.frames.values()) {
      if (isEmergency(frame)) this.takeEmergency(frame);
      const station = this.stations.get(frame.source);
      if (station) this.learn(station, frame);
    }
  }

  takeForwarded(frame) {
    this.takeFrame(frame);
    const known = this.frames.get(nameOf(frame));
    if (known) known.sent_at = frame.sent_at;
  }

  // A station as the gateway remembers it: a feature of `/api/stations`.
  takeFeature({ id, by_hour: byHour, properties: { memory, ...last } }) {
    const station = this.stations.get(id) ?? { source: id };
    const { frames, first_heard: firstHeard, last_heard_direct: lastDirect = null } = memory;
    this.stations.set(id, Object.assign(station, { frames, firstHeard, lastDirect, day: dayOf(byHour) }));
    this.learn(station, last);
  }

  takeStation(frame) {
    const known = this.stations.get(frame.source);
    const station = known ?? { source: frame.source, frames: 0, firstHeard: frame.time, lastDirect: null, day: new Map() };
    station.frames += 1;
    const hour = hourOf(frame.time);
    station.day.set(hour, (station.day.get(hour) ?? 0) + 1);
    if (station.day.size > HOURS) station.day.delete(Math.min(...station.day.keys()));
    if (isDirect(frame)) station.lastDirect = frame.time;
    this.learn(station, frame);
    this.stations.delete(frame.source); // so that the one heard longest ago stands first
    this.stations.set(frame.source, station);
    if (known) return null;
    if (this.stations.size > STATIONS) this.stations.delete(this.stations.keys().next().value);
    return station;
  }

  // What a frame says of its station: of each thing, the newest word counts.
  learn(station, frame) {
    if (!station.last || station.last.time <= frame.time) station.last = frame;
    const report = frame.report ?? {};
    if (report.kind === "object" || report.kind === "item") return; // that is of what it names, not of itself
    const { symbol, distance_km: distance, bearing_deg: bearing } = report;
    if (symbol && !(station.symbolTime > frame.time)) Object.assign(station, { symbol, symbolTime: frame.time });
    if (distance !== undefined && !(station.place?.time > frame.time)) {
      station.place = { distance, bearing, time: frame.time };
    }
  }

  takeEmergency(frame) {
    const known = this.emergencies.get(frame.source);
    if (known && known.time > frame.time) return;
    this.emergencies.delete(frame.source);
    this.emergencies.set(frame.source, frame);
    if (this.emergencies.size > EMERGENCIES) this.emergencies.delete(this.emergencies.keys().next().value);
  }
}


// Hours are counted since 1970.
export const hourOf = (time) => Math.floor(new Date(time).getTime() / HOUR_MS);

function dayOf({ hour, frames }) {
  const last = hourOf(hour);
  return new Map(frames.map((count, index) => [last - frames.length + 1 + index, count]));
}

const isEmergency = (frame) => frame.report?.emergency && frame.reason !== "duplicate";

// In the order of hearing: within a millisecond, the gateway's own count tells.
export const byTime = (one, other) =>
  one.time < other.time ? -1 : one.time > other.time ? 1 : one.sequence - other.sequence;

export const nameOf = (frame) => `${frame.run}-${frame.sequence}`;

// The repeaters that a frame came by, in their order.
export const repeatersOf = (frame) =>
  ((frame.outer ?? frame).path ?? []).filter((entry) => entry.endsWith("*")).map((entry) => entry.slice(0, -1));

// Whether the station's own transmission was heard: by no repeater, and not inside another station's frame.
export const isDirect = (frame) => !frame.outer && repeatersOf(frame).length === 0;
