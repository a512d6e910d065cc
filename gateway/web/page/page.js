// The page: shows what the gateway tells, as it happens. Text from the air goes into the document as text, never as
// markup: there is no way from here to an element but `textContent`, and the page's policy lets no other one work.
"use strict";

const ROWS = 100;
const EMERGENCIES = 20;
const ALERTS = 20;
const REDRAW_MS = 250;
const COME_BACK_MS = 10000;

const frames = new Map(); // by sequence, the newest last
let run = null;
let missed = 0;
let emergencies = [];
let alerts = [];
let redrawing = null;

const place = (id) => document.getElementById(id);

function element(name, text, className) {
  const made = document.createElement(name);
  if (text !== undefined) made.textContent = text;
  if (className) made.className = className;
  return made;
}

// What stations send may hold controls, and marks that turn the direction of text round: show the ones, fence the others.
function fromTheAir(text) {
  const visible = text.replace(/[\u0000-\u001f\u007f]/g, (control) =>
    control === "\u007f" ? "\u2421" : String.fromCharCode(0x2400 + control.charCodeAt(0)));
  return element("bdi", visible);
}

function clock(time) {
  const date = new Date(time);
  const today = new Date().toDateString() === date.toDateString();
  return today ? date.toLocaleTimeString() : date.toLocaleString();
}

function cell(row, content, className) {
  const made = element("td", undefined, className);
  made.append(content);
  row.append(made);
}

function verdictOf(frame) {
  if (frame.sent) return ["sent", "sent"];
  if (frame.verdict === "forward") return ["forward", "forward"];
  return [`keep: ${frame.reason}${frame.rule ? ` (${frame.rule})` : ""}`, "keep"];
}

function rowOf(frame) {
  const row = element("tr");
  const [verdict, className] = verdictOf(frame);
  cell(row, clock(frame.time));
  cell(row, frame.port ? `${frame.receiver} ${frame.port}` : frame.receiver);
  cell(row, fromTheAir(frame.source ?? "?"));
  cell(row, fromTheAir((frame.path ?? []).join(", ")));
  cell(row, fromTheAir(frame.information ?? frame.damage ?? ""));
  cell(row, verdict, className);
  return row;
}

function take(frame) {
  if (frame.run !== run) {
    run = frame.run;
    frames.clear();
    emergencies = [];
    alerts = [];
    missed = 0;
  }
  if (frames.has(frame.sequence)) return;
  frames.set(frame.sequence, frame);
  if (frame.report?.emergency && frame.reason !== "duplicate") emergencies.push(frame);
  if (frames.size > 2 * ROWS) {
    for (const sequence of [...frames.keys()].sort((one, other) => one - other).slice(0, -ROWS)) frames.delete(sequence);
  }
  if (emergencies.length > EMERGENCIES) emergencies.shift();
}

function takeAlert(alert) {
  if (alert.heard) take(alert.heard);
  if (alert.kind === "emergency") return; // the frame itself says so, and stands above
  alerts.unshift(alert);
  alerts.length = Math.min(alerts.length, ALERTS);
}

function drawSoon() {
  redrawing ??= setTimeout(draw, REDRAW_MS);
}

function draw() {
  redrawing = null;
  const newest = [...frames.values()].sort((one, other) => other.sequence - one.sequence).slice(0, ROWS);
  place("heard").replaceChildren(...newest.map(rowOf));
  place("missed").hidden = !missed;
  place("missed").textContent = `${missed} events are not shown here: this page was away, or could not keep up.`;
  const items = [...emergencies].reverse().map((frame) => {
    const item = element("li");
    item.append(element("strong", frame.source), ` at ${clock(frame.time)}: `, fromTheAir(frame.information));
    const { latitude, longitude } = frame.report;
    if (latitude !== undefined) item.append(` (latitude ${latitude}°, longitude ${longitude}°)`);
    return item;
  });
  place("emergency-list").replaceChildren(...items);
  if (items.length) place("emergencies").hidden = false;
  place("alert-list").replaceChildren(...alerts.map((alert) => {
    const item = element("li");
    const about = alert.source ?? alert.heard?.source;
    item.append(element("strong", alert.name), ` at ${clock(alert.time)}: ${alert.what} `);
    if (about) item.append(fromTheAir(about));
    return item;
  }));
  place("alerts").hidden = !alerts.length;
}

function partRow(part) {
  const row = element("tr");
  cell(row, part.name === part.kind ? part.name : `${part.kind} ${part.name}`);
  cell(row, part.state, `mark ${part.state}`);
  cell(row, clock(part.since));
  cell(row, [part.why, part.do].filter(Boolean).join("; "));
  cell(row, figures(part).join(", "), "figures");
  return row;
}

/* What a part counts, as far as there is something to count: `octets 812`, `shed heard 7`. */
function figures(part) {
  return Object.entries(part.figures ?? {}).flatMap(([name, of]) =>
    (typeof of === "number" ? [[name, of]] : Object.entries(of).map(([label, number]) => [`${name} ${label}`, number])))
    .filter(([, number]) => number)
    .map(([name, number]) => `${name.replaceAll("_", " ")} ${Math.round(number)}`);
}

function sum(whole, count, parts) {
  const named = Object.entries(parts).map(([name, number]) => `${name} ${number}`);
  const total = Object.values(parts).reduce((one, other) => one + other, 0);
  const item = element("li", `${whole} ${count} = ${named.join(" + ") || "0"}`);
  if (total !== count) item.append(element("strong", ` does not add up: ${count - total} are not accounted for`, "wrong"));
  return item;
}

/* The posts of a club, as a hub of it sees them: which one is worth its hill. */
function showClub(club) {
  place("club").hidden = !club;
  if (!club) return;
  const sends = club.holds ? "This hub sends for the club" : `${club.holder ?? "No hub"} sends for the club`;
  place("holder").textContent = club.policy ? `${sends}; it judges by ${club.policy}.` : `${sends}.`;
  place("posts").replaceChildren(...club.posts.map((post) => {
    const row = element("tr");
    cell(row, post.name);
    cell(row, clock(post.last_word));
    cell(row, `${post.frames_last_minute}`);
    cell(row, `${post.alone}`);
    cell(row, `${Math.round(post.first_share * 100)} %`);
    return row;
  }));
}

function show(health) {
  place("state").textContent = health.state;
  place("state").className = `mark ${health.state}`;
  place("parts").replaceChildren(...health.parts.map(partRow));
  showClub(health.club);
  const { heard, forward, keep, keep_by_reason: reasons, outcomes, waiting, emergencies: count } = health.counts;
  const sums = [sum("heard", heard, { forward, keep }), sum("keep", keep, reasons)];
  if (outcomes) sums.push(sum("forward", forward, { ...outcomes, waiting }));
  place("sums").replaceChildren(...sums);
  const shed = Object.entries(health.shed).flatMap(([sink, of]) =>
    Object.entries(of).filter(([, number]) => number).map(([what, number]) => `${sink}, ${what}: ${number}`));
  place("shed").hidden = !shed.length;
  place("shed").textContent = `Shed, as it could not be told fast enough: ${shed.join("; ")}`;
  place("emergencies").hidden = !count && !emergencies.length;
  place("emergency-count").textContent = `Since the gateway started: ${count}.`;
}

async function ask(path) {
  const response = await fetch(path);
  if (response.status === 401) location.reload(); // the session has ended: the page asks for the token
  if (!response.ok) throw new Error(`${path}: ${response.status}`);
  return response.json();
}

async function catchUp() {
  try {
    show(await ask("/api/health"));
    place("policy").textContent = `policy ${(await ask("/api/policy")).policy}`;
    for (const frame of (await ask(`/api/heard?limit=${ROWS}`)).heard.reverse()) take(frame);
    drawSoon();
  } catch {
    // the stream says that the gateway is away, and this is done again when it is back
  }
}

function listen() {
  const events = new EventSource("/events");
  const on = (name, what) => events.addEventListener(name, (event) => {
    what(JSON.parse(event.data));
    drawSoon();
  });
  on("heard", take);
  on("forwarded", (frame) => {
    take(frame);
    const known = frames.get(frame.sequence);
    if (known) known.sent = true;
  });
  on("health", show);
  on("alert", takeAlert);
  on("missed", (told) => { missed += told.count ?? 0; });
  events.onopen = () => {
    place("stream").textContent = "live";
    catchUp();
  };
  events.onerror = () => {
    place("stream").textContent = `not live since ${new Date().toLocaleTimeString()}: trying again`;
    if (events.readyState === EventSource.CLOSED) {
      catchUp();
      setTimeout(listen, COME_BACK_MS);
    }
  };
}

listen();
