// What needs a look, worst first.

import { element, plain, setAttribute } from "./dom.js";
import { tick, warning } from "./marks.js";
import { say } from "./speaking.js";

export class Trouble {
  constructor() {
    this.place = element("div", { class: "trouble", role: "group", "aria-label": "Trouble" });
    this.badge = document.getElementById("trouble-count");
    this.known = new Set();
    this.shown = "";
  }

  show(troubles) {
    const now = JSON.stringify(troubles);
    if (now === this.shown && this.place.firstChild !== null) return;
    this.shown = now;
    this.place.replaceChildren(
      troubles.length === 0
        ? element("p", { class: "fine-line" }, tick(), element("span", { text: "No trouble" }))
        : element(
            "ul",
            {},
            ...troubles.map((one) => element("li", {}, warning(), element("span", { class: "words", text: plain(one.words) }))),
          ),
    );
    setAttribute(this.place, "data-some", troubles.length > 0);
    this.badge.hidden = troubles.length === 0;
    this.badge.replaceChildren(
      element("span", { "aria-hidden": "true", text: `▲${troubles.length}` }),
      element("span", { class: "unseen", text: troubles.length === 1 ? "1 thing needs a look" : `${troubles.length} things need a look` }),
    );
    this.#announce(troubles);
  }

  /** Say what is new. A number that grows is no news. */
  #announce(troubles) {
    const now = new Set();
    for (const { kind, words } of troubles) {
      const key = `${kind} ${words.replace(/\d+/g, "#")}`;
      now.add(key);
      if (!this.known.has(key)) say(words);
    }
    if (this.known.size > 0 && now.size === 0) say("No more trouble");
    this.known = now;
  }
}
