// Every part of the gateway, as it answers for itself, in the order of the frame's way; and a club's posts.
import { read } from "../address.js";
import { element, keepList, mark, say } from "../element.js";
import { signOf, tileOf } from "../tiles.js";
import { timeOf } from "../times.js";

export const view = { name: "parts", title: "Parts", open };

const ORDER = { decoder: 0, uplink: 1, house: 2 };

function open(section, page) {
  const { about } = read();
  const rows = element("ul", { class: "parts", id: "parts-list" });
  const shed = element("p", { id: "shed" });
  const holder = element("p");
  const posts = element("tbody");
  const club = element("section", { id: "club" }, element("h2", null, "The club's posts"), holder,
    element("table", null, element("thead", null, element("tr", null,
      ...["Post", "Last word", "Frames a minute", "Alone", "First"].map((title) => element("th", null, title)))), posts));
  section.append(element("h2", null, "Parts"), rows, shed, club);
  return () => {
    const { health } = page.known;
    if (!health) return;
    const parts = [...health.parts].sort((one, other) => ORDER[tileOf(one)] - ORDER[tileOf(other)]);
    keepList(rows, parts, (part) => `${part.kind} ${part.name}`, rowOf, (row, part) => row.update(part, page.wire.isSilent, about));
    const lost = Object.entries(health.shed).flatMap(([sink, of]) =>
      Object.entries(of).filter(([, number]) => number).map(([what, number]) => `${sink}, ${what}: ${number}`));
    say(shed, lost.length ? `Shed, as it could not be told fast enough: ${lost.join("; ")}` : "");
    drawClub(club, holder, posts, health.club);
  };
}

function rowOf(part) {
  const sign = element("span", { class: "sign", "aria-hidden": "true" });
  const state = element("strong");
  const since = element("span", { class: "faint" });
  const why = element("span", { class: "why" });
  const figures = element("span", { class: "figures" });
  const name = part.name === part.kind ? part.name : `${part.kind} ${part.name}`;
  const row = element("li", null, element("span", { class: "name" }, name), element("span", { class: "state" }, sign, state), since, why, figures);
  row.update = (now, isSilent, about) => {
    const shown = isSilent === false ? now.state : "unknown";
    mark(row, "data-state", shown);
    mark(row, "data-about", tileOf(now) === (about === "antenna" ? "decoder" : about) ? "yes" : null);
    say(sign, signOf(shown));
    say(state, isSilent === false ? now.state : `not known, last ${now.state}`);
    if (since.dataset.of !== now.since) since.replaceChildren("since ", timeOf(now.since));
    since.dataset.of = now.since;
    say(why, [now.why, now.do].filter(Boolean).join("; "));
    say(figures, figuresOf(now).join(", "));
  };
  return row;
}

// What a part counts, as far as there is something to count: `octets 812`, `shed heard 7`.
function figuresOf(part) {
  return Object.entries(part.figures ?? {}).flatMap(([name, of]) =>
    (typeof of === "number" ? [[name, of]] : Object.entries(of).map(([label, number]) => [`${name} ${label}`, number])))
    .filter(([, number]) => number)
    .map(([name, number]) => `${name.replaceAll("_", " ")} ${Math.round(number)}`);
}

// The posts of a club, as a hub of it sees them: which one is worth its hill.
function drawClub(section, holder, posts, club) {
  section.hidden = !club;
  if (!club) return;
  const sends = club.holds ? "This hub sends for the club" : `${club.holder ?? "No hub"} sends for the club`;
  say(holder, club.policy ? `${sends}; it judges by ${club.policy}.` : `${sends}.`);
  posts.replaceChildren(...club.posts.map((post) => element("tr", null, element("td", null, post.name), element("td", null, timeOf(post.last_word)),
    ...[`${post.frames_last_minute}`, `${post.alone}`, `${Math.round(post.first_share * 100)} %`].map((text) => element("td", null, text)))));
}
