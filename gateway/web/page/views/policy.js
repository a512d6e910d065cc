// The policy in force, with the numbers of its lines.
import { element, keepList, say } from "../element.js";

export const view = { name: "policy", title: "Policy", open };

function open(section, page) {
  const heading = element("h2");
  const refused = element("p", { class: "caution" });
  const files = element("div");
  section.append(heading, refused, files);
  return () => {
    const { policy } = page.known;
    if (!policy) return;
    say(heading, `The policy in force: ${policy.policy}`);
    say(refused, policy.refused ? `A newer one is refused: ${policy.refused}` : "");
    refused.hidden = !policy.refused;
    keepList(files, policy.files, ({ name, text }) => `${name} ${text}`, fileOf);
  };
}

function fileOf({ name, text }) {
  const lines = text.replace(/\n$/, "").split("\n").map((line) => element("li", null, element("code", null, line)));
  return element("section", null, element("h3", null, name), element("ol", { class: "lines", tabindex: "0", "aria-label": `Lines of ${name}` }, ...lines));
}
