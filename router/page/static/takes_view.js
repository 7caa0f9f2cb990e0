// What is recorded and what plays.

import { drawn, element, named, setAttribute, setText } from "./dom.js";
import { picture } from "./marks.js";
import { lasting } from "./words.js";

export class TakesView {
  constructor(page) {
    this.page = page;
    this.recording = element("div", { class: "tape", role: "group", "aria-label": "Recording" });
    this.playing = element("div", { class: "tape", role: "group", "aria-label": "Playing" });
    this.place = element("div", { class: "tapes" }, this.recording, this.playing);
    this.words = element("p", { class: "tape-words" });
    this.time = element("span", { class: "tape-time" });
    this.button = element("button", { type: "button", on: { click: () => this.#press() } });
    this.recording.append(this.words, this.time, this.button);
    this.progress = element("progress", { max: "1", value: "0" });
    this.played = element("p", { class: "tape-words" });
    this.pause = this.#takeButton("pause");
    this.next = this.#takeButton("next");
    this.takeButtons = element("div", { class: "buttons" }, this.pause, this.next);
    this.playing.append(this.played, this.progress, this.takeButtons);
    this.began = null; // ms, when the take under way began
    setInterval(() => this.#tick(), 250);
  }

  #takeButton(command) {
    return element("button", { type: "button", on: { click: () => this.page.act({ do: "take", command }) } });
  }

  #press() {
    this.page.act({ do: "record", on: !this.page.store.state.recording });
  }

  show(state) {
    const isOn = Boolean(state.recording);
    this.began = isOn && typeof state.recording_s === "number" ? performance.now() - state.recording_s * 1000 : null;
    setAttribute(this.recording, "data-on", isOn);
    this.words.replaceChildren(
      picture("mark reel", drawn(isOn ? "circle" : "rect", isOn ? { cx: 12, cy: 12, r: 8 } : { x: 5, y: 5, width: 14, height: 14 })),
      ...(isOn ? ["Recording ", named(lastPart(state.recording))] : ["Not recording"]),
    );
    this.button.hidden = !this.page.store.mayControl;
    setText(this.button, isOn ? "Stop recording" : "Record");
    this.#tick();
    this.#playing(state.playing ?? null);
  }

  #tick() {
    const isLive = document.documentElement.dataset.link === "live";
    if (this.began === null) setText(this.time, "");
    else if (isLive) setText(this.time, lasting((performance.now() - this.began) / 1000));
  }

  #playing(take) {
    this.playing.hidden = take === null;
    if (take === null) return;
    const bar = take.bar > 0 ? `bar ${take.bar}, ` : "";
    this.played.replaceChildren(
      picture("mark reel", drawn("path", { d: take.paused ? "M7 4v16M17 4v16" : "M7 4l13 8-13 8z" })),
      take.waits ? "Waits to begin: " : take.paused ? "Paused: " : "Playing ",
      named(lastPart(take.file)),
      ` ${bar}${lasting(take.seconds)} of ${lasting(take.of)}`,
    );
    this.takeButtons.hidden = !this.page.store.mayControl;
    const waitsForOrder = take.waits && !take.paused; // a pedal, and not a clock
    this.pause.hidden = waitsForOrder;
    setText(this.pause, take.paused ? "Go on" : "Pause");
    setText(this.next, waitsForOrder ? "Begin" : "Next take");
    setAttribute(this.progress, "aria-label", "How far the take has played");
    this.progress.value = take.of > 0 ? Math.min(take.seconds / take.of, 1) : 0;
  }
}

/** Return the name of a file without its folders. */
function lastPart(path) {
  return path.split("/").at(-1);
}
