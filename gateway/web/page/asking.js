// A question that a view puts to the gateway. It is asked when it is a new one, and again when its answer has grown old,
// but only of a gateway that lives. An answer that comes after another question was put is left out.

const AFTER_TROUBLE_MS = 10_000;

export class Asking {
  // `page` as a view has it; after `againMs` an answer is old.
  constructor(page, againMs) {
    this.page = page;
    this.againMs = againMs;
    this.put(null);
  }

  // Call it from `draw`. Gives back the answer; null as long as there is none.
  about(path) {
    if (path !== this.path) this.put(path);
    const isDue = performance.now() - this.asked >= (this.problem ? Math.min(AFTER_TROUBLE_MS, this.againMs) : this.againMs);
    if (path && isDue && !this.isUnderWay && this.page.wire.isSilent === false) this.ask(path);
    return this.answer;
  }

  put(path) {
    this.path = path;
    this.answer = null;
    this.problem = ""; // why there is no answer, or no newer one
    this.asked = -Infinity;
    this.isUnderWay = false;
  }

  async ask(path) {
    this.isUnderWay = true;
    let answer = this.answer, problem = "";
    try {
      answer = await this.page.wire.ask(path);
    } catch (error) {
      problem = error.message;
    }
    if (path !== this.path) return;
    Object.assign(this, { answer, problem, asked: performance.now(), isUnderWay: false });
    this.page.drawSoon();
  }
}
