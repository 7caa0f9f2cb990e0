// What is chosen in the rig: its lines, and the last messages through one of them, with the reasons.

import { element, named, plain } from "./dom.js";
import { say } from "./speaking.js";
import { count, timeOfDay } from "./words.js";

export class LinePanel {
  /** `choose` is called with the node or the line that a person chooses in the panel. */
  constructor(page, choose) {
    this.page = page;
    this.choose = choose;
    this.place = element("div", { class: "panel", role: "group", "aria-label": "Chosen line" });
    this.place.hidden = true;
    this.asked = 0;
  }

  /** Take a new rig: what was chosen may be gone. */
  takePlan() {
    this.asked++;
    this.place.hidden = true;
  }

  show(node, line, lines) {
    this.asked++;
    this.place.hidden = false;
    if (line === null && lines.length === 1) [line] = lines;
    if (line !== null) return this.#through(line);
    this.place.replaceChildren(
      element("h2", { class: "part-title" }, kindWord(node.kind), " ", named(node.name)),
      lines.length === 0
        ? element("p", { class: "quiet", text: "No rule uses it." })
        : element("div", { class: "line-list" }, ...lines.map((one) => this.#lineButton(one))),
    );
  }

  #lineButton(line) {
    return element("button", { type: "button", class: "line", on: { click: () => this.choose({ line }) } }, ...lineWords(line));
  }

  async #through(line) {
    const asked = this.asked;
    const title = element("h2", { class: "part-title" }, ...lineWords(line));
    this.place.replaceChildren(title, element("p", { class: "quiet", text: "Looking ..." }));
    const answer = await this.page.act({ do: "through", ...line.ask });
    if (asked !== this.asked) return; // another line was chosen meanwhile
    const messages = answer?.messages ?? null;
    if (messages !== null) say(messages.length === 0 ? "No messages" : `${count(messages.length, "message")}, the last one ${messages[0].arrived}`);
    const again = element("button", { type: "button", text: "Look again", on: { click: () => this.choose({ line }) } });
    if (messages === null) this.place.replaceChildren(title, element("p", { class: "quiet", text: "No answer." }), again);
    else if (messages.length === 0) {
      this.place.replaceChildren(title, element("p", { class: "quiet", text: "Nothing took this way in the last minutes." }), again);
    } else this.place.replaceChildren(title, element("ol", { class: "messages" }, ...messages.map(message)), again);
  }
}

function message({ at, arrived, sent, why }) {
  return element(
    "li",
    {},
    element("p", { class: "arrived" }, ...(at === null ? [] : [element("time", { text: timeOfDay(at) })]), element("code", { text: plain(arrived) })),
    ...sent.map((one) => element("p", { class: "sent" }, element("code", { text: plain(one) }))),
    ...why.map((reason) => element("p", { class: "why", text: plain(reason) })),
  );
}

function lineWords({ names: [from, to], open }) {
  return [named(from), element("span", { class: "arrow-word", text: " → " }), named(to), ...(open ? [] : [" (closed)"])];
}

function kindWord(kind) {
  return { in: "Input", out: "Output", rule: "Rule", device: "Device" }[kind];
}
