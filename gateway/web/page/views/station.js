// One station: what it last said, where it went, its weather and telemetry over time, and its frames with their verdicts.
import { ask, oneOf, read, to } from "../address.js";
import { element, fromTheAir, say } from "../element.js";
import { frameList } from "../frame_list.js";
import { byTime, nameOf } from "../known.js";
import { LineChart } from "../line_chart.js";
import { symbolName } from "../symbols.js";
import { ago, timeOf } from "../times.js";
import { TrackPicture } from "../track_picture.js";
import { away } from "../units.js";
import { told } from "../words.js";
import { chartsOf } from "../measured.js";

export const view = { name: "station", open };

const DAY_MS = 86_400_000;
const ASK_AGAIN_MS = 5000;
const PERIODS = { 1: "the last day", 7: "the last 7 days", 30: "the last 30 days" };

function open(section, page) {
  const { about } = read();
  const kind = element("p", { class: "faint" });
  const says = element("p", { class: "big" });
  const where = element("p");
  const heard = element("p", { class: "faint" });
  const period = element("select", { "aria-label": "Period", change: (event) => ask({ days: event.target.value === "1" ? "" : event.target.value }) },
    ...Object.entries(PERIODS).map(([value, text]) => element("option", { value }, text)));
  const trouble = element("p", { class: "faint" });
  const track = new TrackPicture();
  const charts = element("div", { class: "charts" });
  const frames = frameList(page);
  section.append(element("p", null, element("a", { href: to("now") }, "← all stations")),
    element("h2", null, fromTheAir(about)), kind, says, where, heard,
    element("p", { class: "asks" }, period), trouble, element("div", { class: "pictures" }, track.element, charts),
    element("h3", null, "Its frames"), frames.element);
  const past = pastOf(about, page);
  let shown = null;
  let drawn = null;
  return () => {
    const station = page.known.stations.get(about);
    const days = Number(oneOf(PERIODS, read().asked.get("days"), "1"));
    period.value = `${days}`;
    const answer = past.of(days, station?.last);
    say(trouble, answer.trouble);
    if (answer.told !== drawn) drawPictures(answer.told, track, charts);
    drawn = answer.told;
    frames.draw(together(answer.told?.heard ?? [], [...page.known.frames.values()].filter((frame) => frame.source === about)));
    if (!station) {
      say(says, page.known.health ? "It was not heard lately." : "");
      return;
    }
    say(kind, symbolName(station.symbol));
    say(where, station.place ? away(station.place.distance, station.place.bearing) : "It did not say where it is.");
    if (shown !== station.last) {
      says.replaceChildren(fromTheAir(told(station.last)));
      heard.replaceChildren("Heard last ", timeOf(station.last.time), ", ", element("span"), ` · ${station.frames} ${station.frames === 1 ? "frame" : "frames"} since `,
        timeOf(station.firstHeard), station.lastDirect ? " · direct last " : " · never direct", station.lastDirect ? timeOf(station.lastDirect) : "");
      shown = station.last;
    }
    say(heard.querySelector("span"), ago(station.last.time));
  };
}

// The station's past, asked when the period is another one, and when it was heard again, but not all the time.
function pastOf(callsign, page) {
  let asked = { days: null, last: null, at: -Infinity };
  const answer = { told: null, trouble: "" };
  const request = async (days) => {
    try {
      answer.told = await page.wire.ask(`/api/stations/${encodeURIComponent(callsign)}?since=${days}d`);
      answer.trouble = "";
    } catch (error) {
      answer.trouble = error.status ? `Its past cannot be shown: ${error.message}.` : "";
    }
    page.drawSoon();
  };
  return {
    of(days, last) {
      const now = performance.now();
      const isNew = last && asked.last !== last;
      if (asked.days !== days || (isNew && now - asked.at > ASK_AGAIN_MS)) {
        asked = { days, last, at: now };
        request(days);
      }
      return answer;
    },
  };
}

function drawPictures(past, track, charts) {
  track.draw(past.track);
  const [from, until] = [Date.parse(past.from), Date.parse(past.to)];
  charts.replaceChildren(...chartsOf(past).map(({ title, unit, values }) => {
    const chart = new LineChart(title, unit);
    chart.draw(values, Math.max(from, Math.min(values[0][0], until - DAY_MS / 24)), until);
    return chart.element;
  }));
}

// Frames told of the past, the newest first, and those heard since, the newest last: all of them, the newest last.
function together(told, known) {
  const all = new Map([...told, ...known].map((frame) => [nameOf(frame), frame]));
  return [...all.values()].sort(byTime);
}
