// The beat as a row of lamps, the bar, the tempo, and the buttons of our own clock.

import { BeatClock, placeInBar } from "./beat.js";
import { element, named, setAttribute, setText } from "./dom.js";
import { tempo } from "./words.js";

const MANY = 16; // lamps that have no room for a frame each

export class BeatView {
  constructor(page) {
    this.page = page;
    this.clock = new BeatClock();
    this.told = null;
    this.lamps = element("div", { class: "lamps", "aria-hidden": "true" });
    this.bar = element("span", { class: "bar-number" });
    this.bpm = element("span", { class: "bpm" });
    this.from = element("span", { class: "clock-from" });
    this.buttons = element("div", { class: "buttons", role: "group", "aria-label": "Clock" });
    this.place = element(
      "div",
      { class: "beat", role: "group", "aria-label": "Beat" },
      this.lamps,
      element("p", { class: "time" }, this.bar, element("span", { class: "tempo" }, this.bpm, " BPM"), this.from),
    );
    this.lit = null; // the number of the lamp that is on
    this.frame = null;
    this.press = "";
  }

  show(clock) {
    this.told = clock ?? null;
    this.place.hidden = this.told === null;
    if (this.told === null) {
      this.buttons.hidden = true;
      return;
    }
    this.clock.take(this.#isKnown() ? clock : { ...clock, running: false }, this.page.store.came.clock);
    this.#lamps(clock.beats_a_bar);
    this.lamps.hidden = this.bar.hidden = clock.from === null;
    setText(this.bpm, tempo(clock.bpm));
    this.#source(clock);
    this.#buttons(clock);
    this.#light(performance.now());
  }

  /** Whether the daemon is heard: without it nobody knows where in the bar the music is. */
  #isKnown() {
    return document.documentElement.dataset.link === "live";
  }

  /** Follow the beat while it can be seen. */
  run(isShown) {
    const runs = isShown && this.clock.beatsAt(0) !== null;
    if (runs && this.frame === null) this.#next();
    else if (!runs && this.frame !== null) {
      cancelAnimationFrame(this.frame);
      this.frame = null;
    }
  }

  #next() {
    this.frame = requestAnimationFrame((now) => {
      this.#light(now);
      this.#next();
    });
  }

  #lamps(amount) {
    if (this.lamps.childElementCount === amount) return;
    setAttribute(this.lamps, "data-many", amount > MANY);
    this.lamps.replaceChildren(...Array.from({ length: amount }, () => element("span", { class: "lamp" })));
    this.lit = null;
  }

  #light(now) {
    const beats = this.clock.beatsAt(now);
    if (beats === null) {
      if (this.lit !== null) this.lamps.children[this.lit]?.classList.remove("on");
      this.lit = null;
      if (this.#isKnown()) setText(this.bar, this.told.running ? "no bar yet" : "stopped");
      return;
    }
    const { bar, beat } = placeInBar(beats, this.told.beats_a_bar);
    setText(this.bar, `bar ${bar}`);
    if (this.lit === beat - 1) return;
    if (this.lit !== null) this.lamps.children[this.lit]?.classList.remove("on");
    this.lamps.children[beat - 1].classList.add("on");
    this.lit = beat - 1;
  }

  #source(clock) {
    if (clock.from === "own") this.from.replaceChildren("own clock");
    else if (clock.from === null) this.from.replaceChildren("no clock runs");
    else if (clock.take) this.from.replaceChildren("clock of the take");
    else this.from.replaceChildren("clock of ", named(clock.from));
  }

  #buttons(clock) {
    const mine = this.page.store.mayControl && clock.from === "own";
    const press = mine ? `${clock.running}` : "";
    this.buttons.hidden = !mine;
    if (press === this.press) return;
    this.press = press;
    const command = (text, word) =>
      element("button", { type: "button", text, on: { click: () => this.page.act({ do: "clock", command: word }) } });
    const tap = element("button", { type: "button", text: "Tap", on: { click: () => this.page.act({ do: "tap" }) } });
    const transport = clock.running ? [command("Stop", "stop")] : [command("Start", "start"), command("Continue", "continue")];
    const focused = this.buttons.contains(document.activeElement);
    this.buttons.replaceChildren(...(mine ? [...transport, tap] : []));
    if (focused) this.buttons.firstChild?.focus();
  }
}
