// What if: a policy that is pasted in is judged over what was heard of late, beside the one in force. It changes nothing.
import { element, fromTheAir, say } from "../element.js";
import { dayAndTime, timeOf } from "../times.js";
import { REASONS } from "../words.js";

export const view = { name: "what-if", title: "What if", open };

const OVER = [["1h", "the last hour"], ["1d", "the last day"]];
let written = ""; // stays while one looks at another view

function open(section, page) {
  const text = element("textarea", { id: "policy-text", rows: "14", spellcheck: "false", autocomplete: "off", wrap: "off",
    placeholder: "version: 1\nname: another\nrules: …", input: () => { written = text.value; } });
  text.value = written;
  const over = element("select", { id: "over" }, ...OVER.map(([value, title]) => element("option", { value }, title)));
  const judge = element("button", { type: "submit" }, "Judge by it");
  const start = element("button", { type: "button", click: () => { written = text.value = page.known.policy?.files[0]?.text ?? ""; text.focus(); } },
    "Begin with the one in force");
  const notice = element("p", { role: "status", id: "what-if-notice" });
  const found = element("div", { id: "what-if-found" });
  const form = element("form", { class: "what-if" },
    element("label", { for: "policy-text" }, "A policy, as its file would have it"), text,
    element("div", { class: "asks" }, start, element("label", { for: "over" }, "over "), over, judge));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    submit();
  });
  section.append(element("h2", null, "What if the policy were another?"),
    element("p", { class: "faint" }, "What was heard is judged again by it. Nothing goes up, and nothing is changed."), form, notice, found);

  async function submit() {
    judge.disabled = true;
    found.replaceChildren();
    say(notice, "judging … This takes 30 seconds at most.");
    try {
      const answer = await page.wire.ask(`/api/what-if?since=${over.value}`, { method: "POST", body: text.value, headers: { "Content-Type": "application/yaml" } });
      notice.replaceChildren(...summaryOf(answer));
      found.replaceChildren(...tablesOf(answer));
    } catch (error) {
      const { message, problems = [] } = error;
      say(notice, problems.length ? "This policy cannot be used:" : message);
      found.replaceChildren(problemList(problems, text));
    }
    judge.disabled = false;
  }

  return () => {};
}

// What is wrong with the policy; each leads to its line.
function problemList(problems, text) {
  const lineOf = ({ file, line, key, what }) => {
    const go = () => {
      const lines = text.value.split("\n");
      const start = lines.slice(0, line - 1).join("\n").length + (line > 1 ? 1 : 0);
      text.focus();
      text.setSelectionRange(start, start + (lines[line - 1] ?? "").length);
    };
    return element("li", null, element("button", { type: "button", class: "quiet", click: go }, `${file}, line ${line}`), ` ${key ? `${key}: ` : ""}${what}`);
  };
  return element("ul", { class: "results" }, ...problems.map(lineOf));
}

function summaryOf({ heard, difference }) {
  if (!heard.frames) return ["Nothing was heard in that time."];
  const { only_against_forwards: more, only_policy_forwards: fewer } = difference;
  const change = more.frames || fewer.frames ? `${more.frames} more would go up, ${fewer.frames} would not go up any more.` : "the same would go up.";
  const [first, last] = [heard.first, heard.last].map((time) => timeOf(time, dayAndTime(time)));
  return [`${heard.frames} ${heard.frames === 1 ? "frame" : "frames"}, heard from `, first, " to ", last, `: ${change}`];
}

function tablesOf({ heard, policies, difference, words }) {
  const whole = element("details", { class: "numbers" }, element("summary", null, "All of it, as stile replay prints it"),
    element("pre", { class: "wide", tabindex: "0" }, words));
  if (!heard.frames) return [whole];
  return [countsTable(policies), difference.groups.length ? groupsTable(difference) : "", whole];
}

// What each policy makes of the frames: the one in force, which the answer calls `policy`, and the pasted one, `against`.
function countsTable(policies) {
  const entries = (kind) => [...new Set(policies.flatMap((policy) => Object.keys(policy[kind])))];
  const rows = [["heard", (policy) => policy.heard], ["to go up", (policy) => policy.forward], ["kept at home", (policy) => policy.keep]];
  for (const reason of Object.keys(REASONS)) {
    if (policies.some((policy) => policy.keep_by_reason[reason])) rows.push([`kept: ${reason}`, (policy) => policy.keep_by_reason[reason] ?? 0]);
    const kind = { "rule": "keep_by_rule", "over-rate": "keep_by_rate" }[reason];
    if (kind) rows.push(...entries(kind).map((name) => [`by ${name}`, (policy) => policy[kind][name] ?? 0]));
  }
  rows.push(["emergencies", (policy) => policy.emergencies], ["octets to the network", (policy) => policy.octets],
    ["stations that go up", (policy) => policy.stations], ["lines in the busiest minute", busiest]);
  return table("What each makes of them", ["Frames", ...["in force", "this one"].map((which, number) => `${which}: ${policies[number].policy}`)],
    rows.map(([name, of]) => [name, ...policies.map((policy) => `${of(policy)}`)]));
}

const busiest = ({ busiest_minute: minute }) => minute ? `${minute.lines}, at ${dayAndTime(minute.began)}` : "0";

function groupsTable({ groups, frames_in_other_groups: others }) {
  const rows = groups.map(({ forwarded_by: by, station, reason, rule, frames }) => [fromTheAir(station || "no station"), `${frames}`,
    by === "against" ? "would go up" : "would be kept", `${by === "against" ? "is kept now: " : ""}${reason}${rule ? ` (${rule})` : ""}`]);
  if (others) rows.push(["others", `${others}`, "", ""]);
  return table("What would change", ["Station", "Frames", "What would become of them", "Why"], rows);
}

const table = (title, heads, rows) => element("div", { class: "wide", tabindex: "0", role: "region", "aria-label": title },
  element("table", null, element("caption", null, title), element("thead", null, element("tr", null, ...heads.map((head) => element("th", { scope: "col" }, head)))),
    element("tbody", null, ...rows.map(([first, ...rest]) => element("tr", null, element("th", { scope: "row" }, first), ...rest.map((cell) => element("td", null, cell)))))));
