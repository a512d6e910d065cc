// Times as the reader's clock has them. Wherever one stands, hovering over it tells the same in UTC.
import { element } from "./element.js";

const SECOND = 1000, MINUTE = 60 * SECOND, HOUR = 60 * MINUTE, DAY = 24 * HOUR;
const ON_THE_WAY = 5 * SECOND;

let ahead = 0; // how many milliseconds the reader's clock is ahead of the gateway's

// The gateway's clock shows `time` now. Where the two clocks differ by more than a moment on the way, ages go by its own.
export function tellTime(time) {
  const difference = Date.now() - Date.parse(time);
  ahead = Math.abs(difference) > ON_THE_WAY ? difference : 0;
}

// Now, as the gateway has it: Unix milliseconds.
export const now = () => Date.now() - ahead;

// Made once: to make one takes longer than to use it a hundred times.
const written = (options) => new Intl.DateTimeFormat(undefined, options);
const HOURS = written({ hour: "2-digit", minute: "2-digit", second: "2-digit" });
const DAY_OF_MONTH = written({ day: "numeric", month: "short" });
const DATE = written({ day: "numeric", month: "short", year: "numeric" });
const ZONE = written({ timeZoneName: "short" });

// The reader's zone by name, and how it is written today: `Europe/London (BST)`.
export function zone() {
  const { timeZone } = ZONE.resolvedOptions();
  const short = ZONE.formatToParts(new Date()).find((part) => part.type === "timeZoneName")?.value;
  return short && short !== timeZone ? `${timeZone} (${short})` : timeZone;
}

// `14:03:22`; of another day, with the date.
export function clock(time) {
  const [date, today] = [new Date(time), new Date()];
  if (date.toDateString() === today.toDateString()) return HOURS.format(date);
  const day = date.getFullYear() === today.getFullYear() ? DAY_OF_MONTH : DATE;
  return `${day.format(date)}, ${HOURS.format(date)}`;
}

// `26 Nov, 14:03`: a time to the minute, always with its day.
const DAY_AND_TIME = written({ day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
export const dayAndTime = (time) => DAY_AND_TIME.format(new Date(time));

// How long something is ago, in one unit: `4 s`, `3 min`, `2 h`, `5 days`.
export function age(milliseconds) {
  if (milliseconds < MINUTE) return `${Math.max(0, Math.floor(milliseconds / SECOND))} s`;
  if (milliseconds < HOUR) return `${Math.floor(milliseconds / MINUTE)} min`;
  if (milliseconds < 2 * DAY) return `${Math.floor(milliseconds / HOUR)} h`;
  return `${Math.floor(milliseconds / DAY)} days`;
}

export const ago = (time) => `${age(now() - new Date(time))} ago`;

// A time in the page: as the reader's clock has it, or as `text` says it.
export function timeOf(time, text = clock(time)) {
  const utc = new Date(time).toISOString();
  return element("time", { datetime: utc, title: `${utc.slice(0, 19).replace("T", " ")} UTC` }, text);
}
