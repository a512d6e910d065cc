// The alerts that the gateway remembers, which of them this browser has shown to its reader, and whether it should
// notify them of new ones.
import { recalled, recalledList, remember } from "./browser_memory.js";

const SEEN = "seen-alerts", NOTIFY = "notify";
const MOST_SEEN = 300;

export class Raised {
  constructor(ask, changed) {
    this.ask = ask;
    this.changed = changed;
    this.list = []; // as `/api/alerts` tells them: emergencies that hold first, then the newest first
    this.seen = new Set(recalledList(SEEN));
    this.asking = null;
  }

  // Ask for all of them anew; whoever asks meanwhile shares the answer.
  async look() {
    this.asking ??= this.ask("/api/alerts").finally(() => { this.asking = null; });
    this.list = (await this.asking).alerts;
    this.changed();
  }

  // An alert came just now.
  take(alert) {
    if (!alert.repeated) this.notify(alert);
    setTimeout(() => this.look().catch(() => {}), 0);
  }

  isSeen(raised) {
    return this.seen.has(nameOf(raised));
  }

  get unseen() {
    return this.list.filter((raised) => !this.isSeen(raised)).length;
  }

  markAllSeen() {
    for (const raised of this.list) this.seen.add(nameOf(raised));
    this.seen = new Set([...this.seen].slice(-MOST_SEEN));
    remember(SEEN, [...this.seen]);
    this.changed();
  }

  // Whether this browser can notify at all: only where nobody can listen in or change what it is told.
  get canNotify() {
    return isSecureContext && "Notification" in window;
  }

  get notifies() {
    return this.canNotify && recalled(NOTIFY) === true && Notification.permission === "granted";
  }

  // Switch it on, where the reader lets the browser, or off.
  async setNotify(wanted) {
    remember(NOTIFY, wanted && (await Notification.requestPermission()) === "granted");
    this.changed();
  }

  notify(alert) {
    if (!this.notifies) return;
    const about = alert.source ?? alert.heard?.source ?? "";
    const head = alert.kind === "emergency" ? "Emergency heard" : `Alert: ${alert.name}`;
    new Notification(head, { body: [about, alert.what].filter(Boolean).join(": "), tag: `${alert.name} ${about}`, icon: "/page/icon.svg" });
  }
}

// The number alone begins anew where nothing is kept on disk.
const nameOf = ({ number, first }) => `${number} ${first}`;
