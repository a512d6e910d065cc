// Where a station went, north up. The picture is drawn around this post: a place stands as far from it, and in that
// direction, as it is (azimuthal equidistant), and rings tell how far. Where the track is far away and small, the picture
// holds the track alone, and the rings cross it.
import { drawn, element, mark } from "./element.js";
import { rounded } from "./round_step.js";
import { clock } from "./times.js";
import { away, distance, length } from "./units.js";

const SIZE = 360, EDGE = 26;
const SMALLEST_KM = 0.2;
const POST_WITHIN = 8; // the post is in the picture where that makes it no more than so many times as large
const MOST_RINGS = 60;
const RINGS = 4; // about so many from edge to edge

export class TrackPicture {
  constructor() {
    this.picture = drawn("svg", { class: "track", viewBox: `0 0 ${SIZE} ${SIZE}`, role: "img" });
    this.legend = element("p", { class: "faint" }, "● heard direct  ○ by others  ◆ where it was last  ✛ this post");
    this.element = element("figure", { hidden: true }, this.picture, this.legend);
  }

  // `track`: the earliest first, each with `distance_km` and `bearing_deg` from here.
  draw(track) {
    const points = track.filter((point) => point.distance_km !== undefined).map(placed);
    this.element.hidden = !points.length;
    if (!points.length) return;
    const frame = frameAround(points);
    mark(this.picture, "aria-label", words(points));
    this.picture.replaceChildren(...rings(frame), ...trail(points, frame), ...marks(points, frame), ...north());
  }
}

// In kilometres east and north of here.
function placed(point) {
  const angle = point.bearing_deg * Math.PI / 180;
  return { ...point, east: point.distance_km * Math.sin(angle), north: point.distance_km * Math.cos(angle) };
}

function frameAround(points) {
  const around = (some) => {
    const [west, east] = [Math.min(...some.map((point) => point.east)), Math.max(...some.map((point) => point.east))];
    const [south, north] = [Math.min(...some.map((point) => point.north)), Math.max(...some.map((point) => point.north))];
    return { east: (west + east) / 2, north: (south + north) / 2, span: Math.max(east - west, north - south, SMALLEST_KM) };
  };
  const alone = around(points);
  const whole = around([...points, { east: 0, north: 0 }]);
  const isStill = alone.span <= SMALLEST_KM; // where it is, seen from here, is all that there is to see
  const { east, north, span } = isStill || whole.span <= POST_WITHIN * alone.span ? whole : alone;
  const scale = (SIZE - 2 * EDGE) / span;
  return {
    span: SIZE / scale,
    x: (point) => SIZE / 2 + (point.east - east) * scale,
    y: (point) => SIZE / 2 - (point.north - north) * scale,
    scale,
    farthest: Math.hypot(Math.abs(east) + SIZE / scale, Math.abs(north) + SIZE / scale),
    nearest: Math.max(0, Math.hypot(east, north) - SIZE / scale),
    centre: { east, north },
  };
}

const POST = { east: 0, north: 0 };

// Rings about this post, in round numbers of the reader's unit, each with its distance where it crosses the picture.
function rings(frame) {
  const { size, step, unit } = length(frame.span / RINGS);
  const made = [];
  for (let ring = Math.max(1, Math.ceil(frame.nearest / size / step)); ring * step * size < frame.farthest; ring += 1) {
    const km = ring * step * size;
    made.push(drawn("circle", { class: "ring", cx: frame.x(POST), cy: frame.y(POST), r: km * frame.scale }));
    const label = labelPlace(frame, km);
    if (label) made.push(drawn("text", { class: "ring-label", ...label }, `${rounded(ring * step)} ${unit}`));
    if (made.length > MOST_RINGS) break;
  }
  return made;
}

// A place on a ring that is in the picture: straight up from the post, or in the direction of the picture's middle.
function labelPlace(frame, km) {
  const middle = Math.atan2(frame.centre.east, frame.centre.north);
  for (const angle of [Math.PI / 4, middle, 0, Math.PI / 2, Math.PI, -Math.PI / 2]) {
    const at = { east: km * Math.sin(angle), north: km * Math.cos(angle) };
    const [x, y] = [frame.x(at), frame.y(at)];
    if (x > 10 && x < SIZE - 50 && y > 12 && y < SIZE - 6) return { x: x + 3, y: y - 3 };
  }
  return null;
}

function trail(points, frame) {
  const path = points.map((point, index) => `${index ? "L" : "M"}${frame.x(point).toFixed(1)} ${frame.y(point).toFixed(1)}`).join("");
  return [drawn("path", { class: "trail", d: path })];
}

function marks(points, frame) {
  const last = points.at(-1);
  const dots = points.slice(0, -1).map((point) => drawn("circle", { class: point.direct ? "direct" : "relayed", cx: frame.x(point), cy: frame.y(point), r: 2.5 },
    drawn("title", null, `${clock(point.time)}: ${away(point.distance_km, point.bearing_deg)}`)));
  const [x, y] = [frame.x(last), frame.y(last)];
  const newest = drawn("path", { class: "newest", d: `M${x} ${y - 8}l6 8l-6 8l-6 -8z` }, drawn("title", null, `${clock(last.time)}: ${away(last.distance_km, last.bearing_deg)}`));
  const [px, py] = [frame.x(POST), frame.y(POST)];
  const post = drawn("path", { class: "post", d: `M${px - 7} ${py}h14M${px} ${py - 7}v14` });
  return [post, ...dots, newest];
}

const north = () => [drawn("text", { class: "north", x: SIZE / 2, y: 14 }, "N ↑")];

function words(points) {
  const far = points.map((point) => point.distance_km);
  const last = points.at(-1);
  const range = `between ${distance(Math.min(...far))} and ${distance(Math.max(...far))} away`;
  return `Track of ${points.length} ${points.length === 1 ? "place" : "places"}, north up, ${range}; last ${away(last.distance_km, last.bearing_deg)}`;
}
