// The wire to the gateway: its stream of events, and what it answers when asked.
//
// Nothing counts as alive without proof: what comes over the stream is the proof, and every answer is. A gateway tells
// its health every so often; where two of them are missing, or the stream breaks off, the wire is silent, until more
// comes. It then asks for everything anew, since nobody knows what was missed.

const COME_BACK_MS = 2000;
const MISSED_HEALTHS = 2;
const SLACK = 0.2; // of the time between two of them
const LOOK_MS = 500;

export class Wire {
  // `told(kind, object)` is called with every event, `changed()` when the wire falls silent or is heard again, and
  // `fresh()` when everything should be asked anew.
  constructor({ healthSeconds, told, changed, fresh }) {
    this.isSilent = null; // null: not known yet
    this.lastWord = null; // Unix milliseconds of this browser's clock
    this.silentFor = (MISSED_HEALTHS + SLACK) * healthSeconds * 1000;
    this.told = told;
    this.changed = changed;
    this.fresh = fresh;
    this.listen();
    setInterval(() => this.look(), Math.min(LOOK_MS, this.silentFor / 10));
  }

  // Ask for a path; what is answered, as an object. An answer is proof; no answer is none.
  async ask(path, options) {
    const response = await fetch(path, options);
    if (response.status === 401) location.reload(); // the session has ended: the page asks for the token
    if (!response.ok) throw new Unanswered(path, response.status, await problemOf(response));
    return response.json();
  }

  listen() {
    this.opened = performance.now();
    this.events?.close();
    const events = this.events = new EventSource("/events");
    for (const kind of ["heard", "forwarded", "health", "alert", "missed"]) {
      events.addEventListener(kind, (event) => {
        this.told(kind, JSON.parse(event.data));
        if (kind === "health") this.prove();
        else if (!this.isSilent) this.lastWord = Date.now();
      });
    }
    events.onopen = () => this.fresh();
    events.onerror = () => {
      this.fallSilent();
      if (events.readyState !== EventSource.CLOSED) return; // the browser tries again by itself
      setTimeout(() => this.events === events && this.listen(), COME_BACK_MS);
      this.ask("/api/health").catch(() => {}); // it may want the token
    };
  }

  // A health came: the gateway lives.
  prove() {
    this.lastWord = Date.now();
    this.lastHealth = performance.now();
    if (this.isSilent === false) return;
    this.isSilent = false;
    this.changed();
  }

  fallSilent() {
    if (this.isSilent) return;
    this.isSilent = true;
    this.changed();
  }

  // Is it silent by now? A connection whose other end is gone may say so never: it is left for a new one.
  look() {
    if (performance.now() - Math.max(this.lastHealth ?? 0, this.opened) <= this.silentFor) return;
    this.fallSilent();
    this.listen();
  }
}

// `problem` is what the gateway says of it (RFC 9457); `problems` are those of a policy, with their lines.
export class Unanswered extends Error {
  constructor(path, status, problem) {
    super(problem.detail || `${path}: ${status}`);
    this.status = status;
    this.problems = problem.problems ?? [];
  }
}

async function problemOf(response) {
  try {
    return await response.json();
  } catch {
    return {};
  }
}
