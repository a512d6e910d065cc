// The page: joins the wire to what is known, and that to the view that the address names. Nothing else does all three.
//
// How a view joins. A view is a module in views/, which gives out `view = { name, title, open }`, and a line in
// `views.js`, which puts it into the navigation: only once it works. `name` is its address (`#name/about?asked`), `title`
// its word in the navigation; without a title it is only reached by links. `open(place, page)` fills an empty <section>
// and gives back `draw()`, which brings it up to date. It is called when anything that is known or asked has changed, up
// to four times a second, and once a second for the ages, and only while the view is shown. A view that asks the gateway
// for more does so itself, when what it asks about has changed, and never from every `draw`. What it has of `page`:
//
//   page.known     all that is known: health, frames, stations, alerts (known.js)
//   page.changes   what changed since the reader last looked (changes.js)
//   page.raised    the alerts that the gateway remembers, and which were seen (raised.js)
//   page.wire      `await page.wire.ask("/api/…")`, which raises `Unanswered`; `isSilent` while nothing comes
//   page.drawSoon  to be called when an answer came
//
// Elements are made with element.js and with nothing else; what is asked stands in the address (address.js).
import * as address from "./address.js";
import { Changes } from "./changes.js";
import { Emergencies } from "./emergencies.js";
import { element, mark, say } from "./element.js";
import { Known } from "./known.js";
import { Raised } from "./raised.js";
import { learn } from "./symbols.js";
import { Tiles, stateOf } from "./tiles.js";
import { clock, tellTime, zone } from "./times.js";
import * as units from "./units.js";
import { VIEWS } from "./views.js";
import { Wire } from "./wire.js";

const DRAW_MS = 250;
const AGES_MS = 1000;
const LOOKED_MS = 10_000;
const FIRST_FRAMES = 500;

const place = (id) => document.getElementById(id);

class Page {
  constructor() {
    this.known = new Known();
    this.changes = new Changes((text) => say(place("spoken"), text));
    this.raised = new Raised((path) => this.wire.ask(path), () => this.drawSoon());
    this.tiles = new Tiles(place("tiles"));
    this.emergencies = new Emergencies(place("emergencies"), () => this.drawSoon());
    this.title = document.title;
    this.shown = null; // the view that is shown: `{ view, about, draw }`
    this.drawing = null;
    this.isCaughtUp = false; // until it is, nobody knows which stations are new
    this.wire = new Wire({
      healthSeconds: Number(document.documentElement.dataset.healthSeconds),
      told: (kind, object) => this.take(kind, object),
      changed: () => this.wireChanged(),
      fresh: () => this.catchUp(),
    });
    this.fillNavigation();
    this.fillUnits();
    place("skip").addEventListener("click", (event) => {
      event.preventDefault(); // the address names the view, and not a place in it
      place("view").focus();
    });
    addEventListener("hashchange", () => this.show(true));
    addEventListener("asked", () => this.drawSoon());
    addEventListener("pagehide", () => this.changes.looked());
    document.addEventListener("visibilitychange", () => {
      if (document.hidden) this.changes.lookedAway();
      else this.changes.lookedAgain();
      this.drawSoon();
    });
    setInterval(() => document.hidden || this.drawSoon(), AGES_MS);
    setInterval(() => document.hidden || this.changes.looked(), LOOKED_MS);
    learn((path) => this.wire.ask(path)).then(() => this.drawSoon(), () => {});
    this.show(false);
  }

  take(kind, object) {
    if (kind === "health") this.takeHealth(object);
    else if (kind === "alert") this.takeAlert(object);
    else if (kind === "missed") this.known.missed += object.count ?? 0;
    else if (kind === "forwarded") this.known.takeForwarded(object);
    else {
      const station = this.known.takeFrame(object);
      if (station && this.isCaughtUp) this.changes.takeStation(station);
    }
    this.drawSoon();
  }

  takeAlert(alert) {
    if (alert.heard) this.known.takeFrame(alert.heard);
    if (alert.kind !== "emergency" && !alert.repeated) this.changes.add(`Alert ${alert.name}: ${alert.what}`);
    this.raised.take(alert);
  }

  takeHealth(health) {
    tellTime(health.time);
    this.known.takeHealth(health);
    this.changes.takeHealth(health);
  }

  // Everything that is remembered over there, asked anew: nobody knows what was missed.
  async catchUp() {
    try {
      this.takeHealth(await this.wire.ask("/api/health"));
      this.wire.prove();
      this.drawSoon();
      const paths = [`/api/heard?limit=${FIRST_FRAMES}`, "/api/stations", "/api/policy"];
      const [heard, stations, policy] = await Promise.all(paths.map((path) => this.wire.ask(path)));
      if (this.known.run !== heard.run) this.known.forget();
      this.known.run = heard.run;
      this.known.policy = policy;
      for (const feature of stations.features) this.known.takeFeature(feature);
      this.known.takePast(heard.heard);
      this.isCaughtUp = true;
      this.drawSoon();
      await this.raised.look();
    } catch {
      // the wire says that the gateway is away, and this is done again when it is back
    }
    this.drawSoon();
  }

  wireChanged() {
    if (this.wire.isSilent) this.changes.fellSilent(this.wire.lastWord);
    else this.changes.isHeardAgain();
    this.drawSoon();
  }

  drawSoon() {
    this.drawing ??= setTimeout(() => {
      this.drawing = null;
      this.draw();
    }, DRAW_MS);
  }

  draw() {
    const { isSilent, lastWord } = this.wire;
    const state = stateOf(this.known.health, isSilent);
    this.tiles.draw(this.known.health, isSilent);
    this.emergencies.draw(this.known);
    document.body.classList.toggle("no-answer", isSilent === true);
    say(place("wire"), isSilent ? `no answer since ${lastWord ? clock(lastWord) : "this page was opened"}`
      : isSilent === null ? "asking …" : "live");
    mark(place("icon"), "href", `/page/icons/${state}.svg`);
    const word = isSilent ? "no answer" : this.emergencies.shown.length ? "EMERGENCY" : this.known.health?.state ?? "…";
    document.title = `${word} · ${this.title}`;
    say(place("policy-name"), this.known.policy ? `policy ${this.known.policy.policy}` : "");
    say(place("zone"), `Times are those of ${zone()}; hovering over one tells UTC.`);
    const { unseen } = this.raised;
    mark(this.alertLink, "aria-label", unseen ? `Alerts, ${unseen} not seen yet` : null);
    say(this.alertLink, unseen ? `Alerts (${unseen})` : "Alerts");
    this.shown?.draw();
  }

  // Show the view that the address names. `moved`: the reader went there, and the focus goes with them.
  show(moved) {
    const { view: name, about } = address.read();
    const view = VIEWS.find((one) => one.name === name) ?? VIEWS[0];
    if (this.shown?.view !== view || this.shown.about !== about) {
      const section = element("section", { id: `view-${view.name}`, tabindex: "-1" });
      place("view").replaceChildren(section);
      this.shown = { view, about, draw: view.open(section, this) };
      for (const link of place("navigation").querySelectorAll("a")) {
        mark(link, "aria-current", link.dataset.view === view.name ? "page" : null);
      }
      this.draw();
      if (moved) bring(section);
    }
    this.draw();
  }

  fillNavigation() {
    place("navigation").append(...VIEWS.filter(({ title }) => title).map(({ name, title }) =>
      element("li", null, element("a", { href: address.to(name), "data-view": name }, title))));
    this.alertLink = place("navigation").querySelector("[data-view=alerts]");
  }

  fillUnits() {
    const options = units.choices().map(({ name, title, chosen }) => element("option", { value: name, selected: chosen }, title));
    place("units").append(...options);
    place("units").addEventListener("change", (event) => units.choose(event.target.value));
  }
}

// The reader went to another view: the focus goes with them, and what they see, where it would begin too far below.
function bring(section) {
  section.focus({ preventScroll: true });
  if (section.getBoundingClientRect().top > innerHeight / 2) place("navigation").scrollIntoView();
}

new Page();
