// What a station measured over time, as charts: weather in the reader's units, and telemetry by its names.
import { windUnit } from "./units.js";

const MOST_CHARTS = 18;

const WEATHER = [
  ["temperature_c", "Temperature", "°C"],
  ["wind_ms", "Wind", null],
  ["gust_ms", "Gusts", null],
  ["wind_deg", "Wind from", "°"],
  ["pressure_hpa", "Pressure", "hPa"],
  ["humidity_pct", "Humidity", "%"],
  ["rain_last_hour_mm", "Rain in the last hour", "mm"],
  ["rain_last_day_mm", "Rain in the last day", "mm"],
  ["irradiance_wm2", "Sunlight", "W/m²"],
  ["battery_v", "Battery", "V"],
];

// `{ title, unit, values: [[Unix milliseconds, number]] }` of all that was told twice or more in that time.
export function chartsOf({ weather, telemetry }) {
  const wind = windUnit();
  const made = WEATHER.map(([name, title, unit]) => ({
    title, unit: unit ?? wind.name,
    values: weather.filter((one) => one[name] !== undefined).map((one) => [Date.parse(one.time), one[name] / (unit ? 1 : wind.size)]),
  }));
  return [...made, ...channelsOf(telemetry)].filter(({ values }) => values.length > 1).slice(0, MOST_CHARTS);
}

function channelsOf(telemetry) {
  const channels = new Map();
  const add = (title, unit, time, value) => {
    if (typeof value !== "number") return;
    if (!channels.has(title)) channels.set(title, { title, unit: unit ?? "", values: [] });
    channels.get(title).values.push([Date.parse(time), value]);
  };
  for (const { time, channels: named, analogue } of telemetry) {
    if (named) for (const { name, value, unit } of named) add(name, unit, time, value);
    else analogue?.forEach((value, index) => add(`Value ${index + 1}`, "", time, value));
  }
  return [...channels.values()];
}
