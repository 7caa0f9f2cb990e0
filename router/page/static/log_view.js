// The view Log: the last minutes in words, the newest first.

import { element, named, plain, setAttribute, setText } from "./dom.js";
import { timeOfDay } from "./words.js";

const KEPT = 3000; // entries
const SHOWN = 250;
const SAVED_MINUTES = 5;
const ALL = "all";
const DAEMON = "daemon";

export function logView(page) {
  return new LogView(page, document.getElementById("view-log"));
}

class LogView {
  constructor(page, place) {
    this.page = page;
    this.entries = []; // the newest last
    this.skipped = 0;
    this.held = false;
    this.heldNew = 0;
    this.names = "";
    this.filter = element("select", { "aria-label": "Show", on: { change: () => this.#refill() } });
    this.hold = element("button", { type: "button", "aria-pressed": "false", text: "Hold still", on: { click: () => this.#hold() } });
    this.save = element("button", {
      type: "button",
      text: `Save the last ${SAVED_MINUTES} minutes`,
      on: { click: () => this.#save() },
    });
    this.note = element("p", { class: "quiet" });
    this.list = element("ol", { class: "entries", "aria-label": "The newest first", reversed: true });
    place.append(element("div", { class: "tools" }, this.filter, this.hold, this.save), this.note, this.list);
    this.isShown = false;
    this.begins = false;
    this.pending = []; // entries that are not shown yet
    this.frame = null;
  }

  update(changed, isShown) {
    const appears = isShown && !this.isShown;
    this.isShown = isShown;
    const state = this.page.store.state;
    if (state !== null && (appears || changed.has("ports"))) this.#filters(state.ports ?? []);
    if (state !== null && (appears || changed.has("mayControl"))) this.save.hidden = !this.page.store.mayControl;
    if (appears) this.#refill();
  }

  /** A new line to the daemon begins with what it remembers: some of that may be here already. */
  beginAgain() {
    this.begins = true;
  }

  /** Take entries of the daemon, and how many it had to leave out. */
  hear({ log, skipped }) {
    if (this.begins && log.length > 0) {
      this.entries = this.entries.filter((entry) => entry.at < log[0].at);
      this.begins = false;
      if (this.isShown && !this.held) this.#refill();
    }
    const entries = log.map((entry) => ({ ...entry, before: 0 }));
    if (skipped > 0 && entries.length > 0) entries[0].before = skipped;
    this.entries.push(...entries);
    this.entries.splice(0, this.entries.length - KEPT);
    if (!this.isShown) return;
    if (this.held) {
      this.heldNew += entries.length;
      this.#noteHeld();
      return;
    }
    this.pending.push(...entries.filter((entry) => this.#passes(entry)));
    this.pending.splice(0, this.pending.length - SHOWN);
    this.frame ??= requestAnimationFrame(() => this.#append());
  }

  #append() {
    this.frame = null;
    this.list.prepend(...this.pending.splice(0).reverse().map(row));
    while (this.list.childElementCount > SHOWN) this.list.lastChild.remove();
    this.#noteAmount();
  }

  #refill() {
    this.pending = [];
    const passing = [];
    for (let at = this.entries.length - 1; at >= 0 && passing.length < SHOWN; at--) {
      if (this.#passes(this.entries[at])) passing.push(this.entries[at]);
    }
    this.list.replaceChildren(...passing.map(row));
    this.#noteAmount();
  }

  #passes(entry) {
    const wanted = this.filter.value;
    if (wanted === ALL || wanted === "") return true;
    return wanted === DAEMON ? entry.say !== undefined : wanted === `port ${entry.port}`;
  }

  #filters(ports) {
    const names = [...new Set(ports.map(({ name }) => name))];
    const text = JSON.stringify(names);
    if (text === this.names) return;
    this.names = text;
    const before = this.filter.value;
    const option = (value, words) => element("option", { value, text: words });
    this.filter.replaceChildren(
      option(ALL, "Everything"),
      option(DAEMON, "What the daemon says"),
      ...names.map((name) => option(`port ${name}`, `Port ${plain(name)}`)),
    );
    this.filter.value = [...this.filter.options].some(({ value }) => value === before) ? before : ALL;
  }

  #hold() {
    this.held = !this.held;
    this.heldNew = 0;
    setAttribute(this.hold, "aria-pressed", String(this.held));
    setText(this.hold, this.held ? "Go on" : "Hold still");
    if (this.held) this.#noteHeld();
    else this.#refill();
  }

  #noteHeld() {
    setText(this.note, this.heldNew === 0 ? "The list holds still." : `The list holds still; ${this.heldNew} more came in.`);
  }

  #noteAmount() {
    if (this.held) return;
    setText(this.note, this.list.childElementCount === 0 ? "Nothing has come in or gone out yet." : "");
  }

  #save() {
    this.page.act({ do: "save", minutes: SAVED_MINUTES }, ({ file }) => `Saved ${file}`);
  }
}

function row({ at, port, direction, text, say, before }) {
  const time = element("time", { text: timeOfDay(at) });
  const lines = [];
  if (before > 0) lines.push(element("p", { class: "skipped", text: `▲ ${before.toLocaleString("en")} left out before this` }));
  if (say !== undefined) return element("li", { class: "said" }, ...lines, time, element("span", { class: "words", text: plain(say) }));
  const way = direction === "in" ? [named(port), " →"] : ["→ ", named(port)];
  return element(
    "li",
    { class: direction },
    ...lines,
    time,
    element("span", { class: "way" }, ...way),
    element("code", { text: plain(text) }),
  );
}
