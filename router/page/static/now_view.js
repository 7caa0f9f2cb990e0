// The view Now: trouble first, then the beat and the song, then what can be pressed.

import { BeatView } from "./beat_view.js";
import { element } from "./dom.js";
import { SongView } from "./song_view.js";
import { SwitchTiles } from "./switch_tiles.js";
import { TakesView } from "./takes_view.js";
import { Trouble } from "./trouble.js";

const SONG = "song"; // the switch that the set list makes

export function nowView(page) {
  return new NowView(page, document.getElementById("view-now"));
}

class NowView {
  constructor(page, place) {
    const trouble = new Trouble();
    const beat = new BeatView(page);
    const song = new SongView(page);
    const switches = new SwitchTiles(page);
    const takes = new TakesView(page);
    const readOnly = element("p", {
      class: "hint",
      text: "This page only looks. PANIC works all the same. Begin the page with --control to press switches here.",
    });
    this.parts = [
      [["trouble"], (state) => trouble.show(state.trouble ?? [])],
      [["clock", "mayControl", "link"], (state) => beat.show(state.clock)],
      [["songs", "mayControl"], (state) => song.show(state.songs)],
      [["switch_states", "songs", "mayControl"], (state) => switches.show(switchesOf(state))],
      [["recording", "recording_s", "playing", "mayControl"], (state) => takes.show(state)],
      [["mayControl"], () => (readOnly.hidden = page.store.mayControl)],
    ];
    this.page = page;
    this.beat = beat;
    place.append(
      trouble.place,
      element("div", { class: "stage" }, beat.place, song.place, beat.buttons),
      element("div", { class: "hands" }, switches.place, takes.place, readOnly),
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
