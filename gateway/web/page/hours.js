// What was heard hour by hour, from the answer of `/api/history`: every hour of it in its order, days of the reader's
// clock, the usual week, and the times in which nothing was heard.

export const PAST_MONTH = "/api/history?since=30d&step=hour";
export const NOTHING_KEPT = "Nothing is kept yet: look again in a few minutes.";
const HOUR = 3_600_000;
const DAYS = 7;

const hourText = (from) => new Date(from).toLocaleTimeString(undefined, { hour: "2-digit", minute: "2-digit" });
const dayText = (from) => new Date(from).toLocaleDateString(undefined, { weekday: "short", day: "numeric", month: "short" });

// Every hour from the first to the last: `{ from, entry, isBefore }`, `from` in Unix milliseconds. `entry` is null where
// the gateway did not run; `isBefore`: it had never run until then.
export function hoursOf(history) {
  const entries = new Map(history.entries.map((entry) => [Date.parse(entry.from), entry]));
  const first = history.entries.length ? Date.parse(history.entries[0].from) : Infinity;
  const hours = [];
  for (let from = Math.floor(Date.parse(history.from) / HOUR) * HOUR; from < Date.parse(history.to); from += HOUR) {
    hours.push({ from, entry: entries.get(from) ?? null, isBefore: from < first });
  }
  return hours;
}

// The hours of the last day, each by itself: `{ from, text, hours }`.
export const lastDay = (hours) => hours.slice(-24).map((hour) => ({ from: hour.from, text: hourText(hour.from), hours: [hour] }));

// The same by days of the reader's clock: `{ from, text, hours }`.
export function daysOf(hours) {
  const days = new Map();
  for (const hour of hours) {
    const name = new Date(hour.from).toDateString();
    if (!days.has(name)) days.set(name, { from: hour.from, text: dayText(hour.from), hours: [] });
    days.get(name).hours.push(hour);
  }
  return [...days.values()];
}

// What became of the frames that were to go up, as series of a picture. A line is sent a moment after its frame was heard,
// so where one hour ends and another begins more may have been sent than were heard.
export const WENT_UP = [
  { name: "sent up", kind: "sent", of: (entry) => Math.min(entry.sent, entry.forward) },
  { name: "to go up, not sent", kind: "unsent", of: (entry) => Math.max(0, entry.forward - entry.sent) },
];

// An hour or a day as a column of a picture: `values` beside `series`, or null where the gateway did not run.
export function columnOf({ from, text, hours }, series) {
  const ran = hours.filter(({ entry }) => entry);
  const sumOf = ({ of }) => ran.reduce((all, { entry }) => all + of(entry), 0);
  return { from, text, values: ran.length ? series.map(sumOf) : null, isBefore: hours.every((hour) => hour.isBefore) };
}

// By hour of the day, then by weekday from Monday: the mean of what was heard in such hours; null: it ran in none of them.
export function weekOf(hours) {
  const week = Array.from({ length: 24 }, () => Array.from({ length: DAYS }, () => []));
  for (const { from, entry } of hours) {
    const time = new Date(from);
    if (entry) week[time.getHours()][(time.getDay() + DAYS - 1) % DAYS].push(entry.heard);
  }
  return week.map((days) => days.map((heard) => heard.length ? heard.reduce((one, other) => one + other) / heard.length : null));
}

// The stretches of hours in which nothing was heard, the last first: `{ from, to, ran }`. The hour that has only begun
// tells nothing yet.
export function deadTimesOf(hours) {
  const times = [];
  for (const { from, entry, isBefore } of hours.slice(0, -1)) {
    if (isBefore || entry?.heard) continue;
    const last = times.at(-1), ran = Boolean(entry);
    if (last && last.to === from && last.ran === ran) last.to = from + HOUR;
    else times.push({ from, to: from + HOUR, ran });
  }
  return times.reverse();
}

export const lengthOf = ({ from, to }) => (to - from) / HOUR === 1 ? "1 hour" : `${(to - from) / HOUR} hours`;
