// The policy in force, with the numbers of its lines, and how often each rule and rate decided.
import { Asking } from "../asking.js";
import { element, keepList, mark, say } from "../element.js";

export const view = { name: "policy", title: "Policy", open };

const AGAIN_MS = 10_000;
const MOST_ROWS = 1000; // a policy may have twenty thousand rules; beside its line each is told

function open(section, page) {
  const asking = new Asking(page, AGAIN_MS);
  const heading = element("h2");
  const refused = element("p", { class: "caution" });
  const rows = element("tbody", { id: "decided" });
  const table = element("div", { class: "wide" }, element("table", null, element("caption", null, "How often each decided since the gateway started"),
    element("thead", null, element("tr", null, ...["Rule or rate", "Decided", "Where"].map((name) => element("th", { scope: "col" }, name)))), rows));
  const none = element("p", { class: "faint" }, "It has no rules and no rates of its own: only the network's rules keep a frame back.");
  const more = element("p", { class: "faint" });
  const files = element("div");
  section.append(heading, refused, table, none, more, files);
  let drawn = null;
  return () => {
    const policy = asking.about("/api/policy") ?? page.known.policy;
    if (!policy || policy === drawn) return;
    drawn = policy;
    const entries = policy.entries ?? [];
    say(heading, `The policy in force: ${policy.policy}`);
    say(refused, policy.refused ? `A newer one is refused: ${policy.refused}` : "");
    refused.hidden = !policy.refused;
    table.hidden = !entries.length;
    none.hidden = !table.hidden;
    say(more, entries.length > MOST_ROWS ? `And ${entries.length - MOST_ROWS} more: see beside their lines.` : "");
    keepList(files, policy.files, ({ name, text }) => `${name} ${text}`, fileOf,
      (file, { name }) => markLines(file, entries.filter((entry) => entry.file === name)));
    keepList(rows, entries.slice(0, MOST_ROWS), (entry) => JSON.stringify([entry.kind, entry.name, entry.file, entry.line]),
      (entry) => rowOf(entry, files), (row, { decided }) => say(row.children[1], `${decided}`));
  };
}

function fileOf({ name, text }) {
  const lines = text.replace(/\n$/, "").split("\n").map((line) => element("li", null, element("code", null, line)));
  const list = element("ol", { class: "lines", tabindex: "0", "aria-label": `Lines of ${name}` }, ...lines);
  return Object.assign(element("section", { "data-file": name }, element("h3", null, name), list), { list });
}

// Beside the line at which a rule or a rate begins stands how often it decided.
function markLines({ list }, entries) {
  for (const { line, decided } of entries) {
    if (list.children[line - 1]) mark(list.children[line - 1], "data-decided", `decided ${decided}`);
  }
}

function rowOf({ kind, name, file, line }, files) {
  const go = () => {
    const place = [...files.children].find((one) => one.dataset.file === file)?.list;
    place?.children[line - 1]?.scrollIntoView({ block: "center" });
    place?.focus({ preventScroll: true });
  };
  return element("tr", null, element("th", { scope: "row" }, `${kind} ${name}`), element("td", { class: "number" }),
    element("td", null, element("button", { type: "button", class: "quiet", click: go }, `${file}, line ${line}`)));
}
