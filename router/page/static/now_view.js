// The view Now: trouble first, then the beat and the song, then what can be pressed.

import { BeatClock, placeInBar } from "./beat.js";
import { drawn, element, named, plain, setAttribute, setText } from "./dom.js";
import { say } from "./speaking.js";
import { SwitchTiles } from "./switch_tiles.js";
import { lasting, tempo } from "./words.js";

const SONG = "song"; // the switch that the set list makes

export function nowView(page) {
  return new NowView(page, document.getElementById("view-now"));
}

class NowView {
  constructor(page, place) {
    const trouble = new Trouble();
    const beat = new Beat(page);
    const song = new Song(page);
    const switches = new SwitchTiles(page);
    const tape = new Tape(page);
    const readOnly = element("p", {
      class: "hint",
      text: "This page only looks. PANIC works all the same. Begin the page with --control to press switches here.",
    });
    this.parts = [
      [["trouble"], (state) => trouble.show(state.trouble ?? [])],
      [["clock", "mayControl", "link"], (state) => beat.show(state.clock)],
      [["songs", "mayControl"], (state) => song.show(state.songs)],
      [["switch_states", "songs", "mayControl"], (state) => switches.show(switchesOf(state))],
      [["recording", "recording_s", "playing", "mayControl"], (state) => tape.show(state)],
      [["mayControl"], () => (readOnly.hidden = page.store.mayControl)],
    ];
    this.page = page;
    this.beat = beat;
    place.append(
      trouble.place,
      element("div", { class: "stage" }, beat.place, song.place, beat.buttons),
      element("div", { class: "hands" }, switches.place, tape.place, readOnly),
    );
  }

  /** Trouble is heeded in every view; the rest only where it can be seen. */
  update(changed, isShown) {
    const state = this.page.store.state;
    if (state === null) return;
    for (const [keys, show] of isShown ? this.parts : this.parts.slice(0, 1)) {
      if (keys.some((key) => changed.has(key))) show(state);
    }
    this.beat.run(isShown);
  }
}

/** Return the switches without the one of the set list, which has a place of its own. */
function switchesOf(state) {
  const switches = { ...state.switch_states };
  if (state.songs) delete switches[SONG];
  return switches;
}

// -- trouble ----------------------------------------------------------------------------------------------------------

class Trouble {
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

/** A triangle: what needs a look. */
export function warning() {
  return picture("mark bad", drawn("path", { d: "M12 3L22 21H2z" }), drawn("path", { class: "cut", d: "M12 10v5M12 17v2" }));
}

function tick() {
  return picture("mark fine", drawn("path", { d: "M4 12l5 5L20 6" }));
}

/** Return a picture that says nothing to readers of the screen: words next to it do. */
export function picture(kind, ...shapes) {
  return drawn("svg", { class: kind, viewBox: "0 0 24 24", "aria-hidden": "true", focusable: "false" }, ...shapes);
}

// -- beat -------------------------------------------------------------------------------------------------------------

const MANY = 16; // lamps that have no room for a frame each

class Beat {
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

// -- song -------------------------------------------------------------------------------------------------------------

class Song {
  constructor(page) {
    this.page = page;
    this.title = element("h2", { class: "song-title" });
    this.about = element("p", { class: "song-about" });
    this.where = element("p", { class: "song-where" });
    this.previous = this.#button("previous", -1, "M15 5l-7 7 7 7");
    this.next = this.#button("next", 1, "M9 5l7 7-7 7");
    this.buttons = element("div", { class: "buttons song-buttons" }, this.previous, this.next);
    this.place = element("div", { class: "song", role: "group", "aria-label": "Song" }, this.title, this.about, this.where, this.buttons);
    this.songs = null;
  }

  #button(word, by, way) {
    const label = element("span", { text: word === "next" ? "Next" : "Previous" });
    const arrow = picture("arrow", drawn("path", { d: way }));
    const turn = () => this.#at(by) !== null && this.page.act({ do: "song", to: word });
    return element("button", { type: "button", class: word, on: { click: turn } }, ...(by < 0 ? [arrow, label] : [label, arrow]));
  }

  /** The place of another song, or null at an end of the list. */
  #at(by) {
    const { names, at, wrap } = this.songs;
    const to = at + by;
    if (to >= 0 && to < names.length) return to;
    return wrap ? (to + names.length) % names.length : null;
  }

  show(songs) {
    this.songs = songs ?? null;
    this.place.hidden = this.songs === null;
    if (this.songs === null) return;
    const next = this.#at(1);
    this.title.replaceChildren(named(songs.names[songs.at]));
    setText(this.about, plain(songs.about ?? ""));
    this.about.hidden = !songs.about;
    this.where.replaceChildren(
      `${songs.at + 1} of ${songs.names.length}, `,
      ...(next === null ? ["the last song"] : ["next: ", named(songs.names[next])]),
    );
    this.buttons.hidden = !this.page.store.mayControl;
    setAttribute(this.previous, "aria-disabled", this.#at(-1) === null ? "true" : null);
    setAttribute(this.next, "aria-disabled", next === null ? "true" : null);
  }
}

// -- recording and playing --------------------------------------------------------------------------------------------

class Tape {
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
    this.playing.append(this.played, this.progress);
    this.began = null; // ms, when the take under way began
    setInterval(() => this.#tick(), 250);
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
    this.played.replaceChildren(
      picture("mark reel", drawn("path", { d: "M7 4l13 8-13 8z" })),
      ...["Playing ", named(lastPart(take.file)), ` bar ${take.bar}, ${lasting(take.seconds)} of ${lasting(take.of)}`],
    );
    setAttribute(this.progress, "aria-label", "How far the take has played");
    this.progress.value = take.of > 0 ? Math.min(take.seconds / take.of, 1) : 0;
  }
}

/** Return the name of a file without its folders. */
function lastPart(path) {
  return path.split("/").at(-1);
}
