// Switches as tiles: to be pressed where the page may, else as states.

import { drawn, element, named, plain, setAttribute, setText } from "./dom.js";
import { stateWord } from "./words.js";

const MOST_CHOICES = 4; // values that have a button each; where there are more, a list opens
const LONGEST_CHOICE = 12; // characters

export class SwitchTiles {
  constructor(page) {
    this.page = page;
    this.list = element("div", { class: "switches" });
    this.place = element("div", { class: "switch-part" }, element("h2", { class: "part-title", text: "Switches" }), this.list);
    this.tiles = new Map();
    this.made = "";
  }

  /** Show switches by name. Their tiles are made again only if others are needed: a finger may be on one. */
  show(switches) {
    const names = Object.keys(switches);
    this.place.hidden = names.length === 0;
    const needed = JSON.stringify([this.page.store.mayControl, names.map((name) => [name, switches[name].kind, switches[name].values])]);
    if (needed !== this.made) {
      this.made = needed;
      this.tiles = new Map(names.map((name) => [name, this.#tile(name, switches[name])]));
      this.list.replaceChildren(...[...this.tiles.values()].map((tile) => tile.place));
    }
    for (const [name, tile] of this.tiles) tile.show(switches[name].at);
  }

  #tile(name, { kind, values }) {
    const turn = (value) => this.page.act({ do: "switch", name, value: stateWord(value) });
    if (kind === "on-off") return this.page.store.mayControl ? onOffButton(name, turn) : onOffState(name);
    if (!this.page.store.mayControl) return valueState(name);
    if (kind === "numbers") return numberStepper(name, values, turn);
    const fits = values.length <= MOST_CHOICES && values.every((value) => value.length <= LONGEST_CHOICE);
    return fits ? choices(name, values, turn) : openingList(name, values, turn);
  }
}

/** A signal: its arm is level for off, and raised for on. */
function signal() {
  return drawn(
    "svg",
    { class: "signal", viewBox: "0 0 32 32", "aria-hidden": "true", focusable: "false" },
    drawn("path", { class: "post", d: "M25 3v26M20 29h10" }),
    drawn("path", { class: "arm", d: "M25 9H4v6h21z" }),
  );
}

function onOffButton(name, turn) {
  const word = element("span", { class: "state", "aria-hidden": "true" });
  let isOn = false;
  const place = element(
    "button",
    { type: "button", role: "switch", class: "tile on-off", "aria-checked": "false", on: { click: () => turn(!isOn) } },
    signal(),
    element("span", { class: "tile-words" }, named(name), word),
  );
  const show = (at) => {
    isOn = at;
    setAttribute(place, "aria-checked", String(at));
    setText(word, stateWord(at));
  };
  return { place, show };
}

function onOffState(name) {
  const word = element("span", { class: "state" });
  const place = element("div", { class: "tile on-off shown" }, signal(), element("span", { class: "tile-words" }, named(name), word));
  const show = (at) => {
    setAttribute(place, "data-on", at);
    setText(word, stateWord(at));
  };
  return { place, show };
}

function valueState(name) {
  const word = element("span", { class: "state" });
  const place = element("div", { class: "tile value shown" }, element("span", { class: "tile-words" }, named(name), word));
  return { place, show: (at) => setText(word, plain(stateWord(at))) };
}

let groups = 0;

/** One of a few values, as radio buttons: the arrow keys go from one to the other. */
function choices(name, values, turn) {
  const group = `choice-${groups++}`;
  let stands = null;
  const inputs = values.map((value) =>
    element("input", { type: "radio", name: group, class: "unseen", on: { change: () => choose(value) } }),
  );
  const mark = () => inputs.forEach((input, at) => (input.checked = values[at] === stands));
  const choose = (value) => turn(value).then((done) => done === null && mark());
  const labels = values.map((value, at) => element("label", { class: "choice" }, inputs[at], named(value)));
  const place = element("fieldset", { class: "tile wide" }, element("legend", {}, named(name)), ...labels);
  const show = (at) => {
    if (at === stands) return;
    stands = at;
    mark();
  };
  return { place, show };
}

/** One of many values, as a list that opens. */
function openingList(name, values, turn) {
  let stands = null;
  const select = element("select", {}, ...values.map((value) => element("option", { value, text: plain(value) })));
  select.addEventListener("change", async () => {
    if ((await turn(select.value)) === null) select.value = stands;
  });
  const place = element("label", { class: "tile wide" }, named(name), select);
  const show = (at) => {
    if (at === stands) return;
    stands = at;
    select.value = at;
  };
  return { place, show };
}

function numberStepper(name, [lowest, highest], turn) {
  let stands = 0;
  const step = (by, sign) =>
    element(
      "button",
      { type: "button", class: "step", on: { click: () => inRange(stands + by) && turn(stands + by) } },
      element("span", { "aria-hidden": "true", text: sign }),
    );
  const inRange = (number) => number >= lowest && number <= highest;
  const less = step(-1, "−");
  const more = step(1, "+");
  const number = element("span", { class: "state" });
  const place = element("div", { class: "tile numbers", role: "group" }, named(name), less, number, more);
  setAttribute(place, "aria-label", plain(name));
  const show = (at) => {
    stands = at;
    setText(number, String(at).replace("-", "−"));
    setAttribute(less, "aria-label", `${plain(name)} down, now ${at}`);
    setAttribute(more, "aria-label", `${plain(name)} up, now ${at}`);
    setAttribute(less, "aria-disabled", inRange(at - 1) ? null : "true");
    setAttribute(more, "aria-disabled", inRange(at + 1) ? null : "true");
  };
  return { place, show };
}
