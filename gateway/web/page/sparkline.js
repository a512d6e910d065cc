// A small picture of counts over time: a column for each, the newest at the right. Its height says how many there were
// beside the highest one; one that is above nothing can always be seen.
import { drawn, mark, say } from "./element.js";

const COLUMN = 3, GAP = 1, HEIGHT = 16, LEAST = 2;

export class Sparkline {
  constructor(columns) {
    const width = columns * (COLUMN + GAP);
    this.path = drawn("path");
    this.title = drawn("title");
    this.element = drawn("svg", { class: "sparkline", viewBox: `0 0 ${width} ${HEIGHT}`, width, height: HEIGHT, role: "img" },
      this.title, drawn("path", { class: "ground", d: `M0 ${HEIGHT - 0.5}h${width - GAP}` }), this.path);
  }

  // `counts`, the newest last; `words` say the same.
  draw(counts, words) {
    const most = Math.max(1, ...counts);
    const columns = counts.map((count, index) => {
      const height = count && Math.max(LEAST, Math.round(HEIGHT * count / most));
      return height ? `M${index * (COLUMN + GAP)} ${HEIGHT}v${-height}h${COLUMN}v${height}z` : "";
    });
    mark(this.path, "d", columns.join("") || null);
    say(this.title, words);
  }
}
