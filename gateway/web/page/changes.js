// What changed since the reader last looked: parts that went down or came back, silences of the gateway, new stations,
// restarts. Kept in this browser, so that it also tells of what happened while the page was closed.
import { recalled, remember } from "./browser_memory.js";
import { clock } from "./times.js";

const NAME = "last-look";
const MOST = 40;
const AWAY_MS = 60_000; // who looks away for less has not left
const NAMED_STATIONS = 5;

export class Changes {
  // `spoken(text)` is called with each change, for those who hear the page.
  constructor(spoken, now = Date.now()) {
    this.spoken = spoken;
    this.since = null; // when one last looked, in Unix milliseconds; null: never
    this.list = []; // the newest first: `{ time, text }`
    this.before = recalled(NAME);
    if (this.before && now - this.before.time > AWAY_MS) this.since = this.before.time;
    else this.before = null;
    this.newStations = []; // the newest first: `{ time, source }`
    this.silentSince = null;
    this.away = null;
  }

  add(text, time = Date.now()) {
    this.list.unshift({ time, text });
    this.list.length = Math.min(this.list.length, MOST);
    this.spoken(text);
  }

  // The health as it is now, against what it was.
  takeHealth(health) {
    if (this.before) {
      this.sinceBefore(health, this.before);
      this.before = null;
    }
    if (this.states && this.run === health.run) {
      for (const part of health.parts) {
        const was = this.states[partName(part)];
        if (was && was !== part.state) this.add(turned(part), new Date(part.since).getTime());
      }
    } else if (this.run && this.run !== health.run) {
      this.add("The gateway was started anew");
    }
    this.run = health.run;
    this.heard = health.counts.heard;
    this.states = Object.fromEntries(health.parts.map((part) => [partName(part), part.state]));
  }

  sinceBefore(health, before) {
    const heard = health.run === before.run ? health.counts.heard - before.heard : health.counts.heard;
    if (health.run !== before.run) this.add("The gateway was started anew");
    this.add(`${heard} ${heard === 1 ? "frame" : "frames"} heard`);
    for (const part of health.parts) {
      const was = before.states?.[partName(part)];
      if (was && was !== part.state) this.add(turned(part), new Date(part.since).getTime());
    }
  }

  takeStation(station) {
    this.newStations.unshift({ time: Date.now(), source: station.source });
    this.newStations.length = Math.min(this.newStations.length, 1000);
  }

  // The stations that are new, in a few words; empty where none is.
  stations() {
    const named = this.newStations.slice(0, NAMED_STATIONS).map(({ source }) => source);
    return { named, more: this.newStations.length - named.length };
  }

  fellSilent(time) {
    this.silentSince = time;
  }

  isHeardAgain(now = Date.now()) {
    if (this.silentSince) this.add(`The gateway was silent from ${clock(this.silentSince)} to ${clock(now)}`);
    this.silentSince = null;
  }

  // The reader is looking, or leaves: what is as it is now is what they know.
  looked(now = Date.now()) {
    if (this.states) remember(NAME, { time: now, run: this.run, heard: this.heard, states: this.states });
  }

  // The reader turned to another window; when they come back after a while, only what is newer than that is news.
  lookedAway(now = Date.now()) {
    this.looked(now);
    this.away = now;
  }

  lookedAgain(now = Date.now()) {
    if (this.away && now - this.away > AWAY_MS) {
      this.since = this.away;
      this.list = this.list.filter(({ time }) => time >= this.away);
      this.newStations = this.newStations.filter(({ time }) => time >= this.away);
    }
    this.away = null;
  }

  // The reader has read the list.
  clear(now = Date.now()) {
    this.since = now;
    this.list = [];
    this.newStations = [];
  }
}

const partName = (part) => part.name === part.kind ? part.name : `${part.kind} ${part.name}`;

function turned(part) {
  const why = part.why ? ` (${part.why})` : "";
  return part.state === "ok" ? `${partName(part)} works again` : `${partName(part)} is ${part.state}${why}`;
}
