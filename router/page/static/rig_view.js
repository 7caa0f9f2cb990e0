// The view Rig: inputs, rules and devices as a track plan, what sounds, and the messages of a line.

import { element, named, plain, setAttribute, setText } from "./dom.js";
import { LinePanel } from "./line_panel.js";
import { planOf } from "./rig_plan.js";
import { Tracks } from "./tracks.js";
import { count, lasting } from "./words.js";

const LIT_MS = 180; // that a light stays on after a message
const NOTES_SHOWN = 3; // names of notes on a device
const LONG_S = 30; // a note that is held longer needs a look
const BUSY = 0.8; // of what a DIN cable can carry

export function rigView(page) {
  return new RigView(page, document.getElementById("view-rig"));
}

class RigView {
  constructor(page, place) {
    this.page = page;
    this.plan = null;
    this.nodes = new Map(); // key -> what is shown of it
    this.seen = {}; // messages by port
    this.columns = ["inputs", "rules", "devices"].map((name) => element("div", { class: `column ${name}` }));
    this.tracks = new Tracks((line) => this.#choose({ line }));
    this.board = element("div", { class: "board" }, this.tracks.place, ...this.columns);
    this.hint = element("p", { class: "hint", text: "Tap a name or a line: you see the last messages there, and why." });
    this.panel = new LinePanel(page, (choice) => this.#choose(choice));
    this.sounding = element("div", { class: "sounding", role: "group", "aria-label": "Held notes" });
    place.append(
      element("div", { class: "plan" }, this.board, this.hint),
      element("div", { class: "beneath" }, this.panel.place, this.sounding),
    );
    new ResizeObserver(() => this.#lay()).observe(this.board);
  }

  update(changed, isShown) {
    const state = this.page.store.state;
    if (state === null || !state.rig) return;
    if (!isShown) {
      this.seen = { ...state.activity };
      return;
    }
    if (changed.has("rig")) this.#build(state.rig);
    if (changed.has("ports") || changed.has("rig")) this.#ports(state.ports ?? []);
    if (changed.has("sounding") || changed.has("rig")) this.#sounding(state.sounding ?? []);
    if (changed.has("activity")) this.#activity(state.activity ?? {});
  }

  // -- the plan ---------------------------------------------------------------------------------------------------

  #build(rig) {
    const text = JSON.stringify(rig);
    if (text === this.built) return;
    this.built = text;
    this.plan = planOf(rig);
    this.nodes.clear();
    const cable = (port) => element("div", { class: "cable" }, this.#node(port), ...port.devices.map((one) => this.#node(one)));
    this.#fill(0, "Inputs", this.plan.inputs.map((one) => this.#node(one)));
    this.#fill(1, "Rules", this.plan.rules.map((one) => this.#node(one)));
    this.#fill(2, "Devices", this.plan.outputs.map(cable));
    this.tracks.draw(this.plan.lines);
    this.panel.takePlan(this.plan);
    this.#lay();
  }

  #fill(column, title, nodes) {
    this.columns[column].replaceChildren(
      element("h2", { class: "column-title", text: title }),
      element("div", { class: "nodes" }, ...nodes),
    );
  }

  #node(one) {
    const lamp = element("span", { class: "light", "aria-hidden": "true" });
    const note = element("span", { class: "node-note" });
    const place = element(
      "button",
      { type: "button", class: `node ${one.kind}`, on: { click: () => this.#choose({ node: one }) } },
      lamp,
      element("span", { class: "node-words" }, named(one.name), note),
    );
    this.nodes.set(one.key, { one, place, lamp, note, timer: null });
    if (one.kind === "rule") {
      setAttribute(place, "data-closed", !one.open);
      setText(note, one.open ? "" : "closed");
    } else if (one.kind === "device") setText(note, one.channel === null ? "" : `channel ${one.channel}`);
    return place;
  }

  #lay() {
    if (this.plan === null || this.board.offsetWidth === 0) return;
    this.tracks.lay(this.board, (key) => this.nodes.get(key)?.place);
  }

  #choose({ node = null, line = null }) {
    const lines = line !== null ? [line] : this.plan.lines.filter((one) => one.from === node.key || one.to === node.key);
    const lit = new Set(lines.flatMap((one) => [one.from, one.to]));
    if (node !== null) lit.add(node.key);
    this.tracks.choose(lines);
    for (const [key, shown] of this.nodes) setAttribute(shown.place, "data-chosen", lit.has(key));
    this.panel.show(node, line, lines);
  }

  // -- what goes on ---------------------------------------------------------------------------------------------------

  #ports(ports) {
    for (const port of ports) {
      const shown = this.nodes.get(`${port.direction} ${port.name}`);
      if (shown === undefined) continue;
      const isThere = port.state === "open";
      setAttribute(shown.place, "data-missing", !isThere);
      const load = port.load ?? null;
      setAttribute(shown.place, "data-busy", load !== null && load > BUSY);
      const words = isThere ? (load === null ? "" : `DIN ${Math.round(load * 100)} %`) : `▲ ${plain(port.state)}`;
      setText(shown.note, words);
    }
  }

  #activity(activity) {
    for (const [name, amount] of Object.entries(activity)) {
      if (this.seen[name] === amount) continue;
      for (const direction of ["in", "out"]) this.#flash(this.nodes.get(`${direction} ${name}`));
    }
    this.seen = { ...activity };
  }

  #flash(shown) {
    if (shown === undefined) return;
    shown.lamp.classList.add("on");
    clearTimeout(shown.timer);
    shown.timer = setTimeout(() => shown.lamp.classList.remove("on"), LIT_MS);
  }

  #sounding(sounding) {
    const held = new Map(sounding.map((one) => [one.device ? `device ${one.device}` : `out ${one.port}`, one]));
    for (const [key, shown] of this.nodes) {
      if (shown.one.kind !== "device") continue;
      const one = held.get(key);
      shown.lamp.classList.toggle("on", one !== undefined);
      setAttribute(shown.place, "data-sounds", one !== undefined);
      setText(shown.note, one === undefined ? (shown.one.channel === null ? "" : `channel ${shown.one.channel}`) : noteWords(one.notes));
    }
    this.tracks.light(new Set([...held.keys()]));
    this.sounding.replaceChildren(
      element("h2", { class: "part-title", text: "Held notes" }),
      ...(sounding.length === 0
        ? [element("p", { class: "quiet", text: "Nothing sounds." })]
        : [element("ul", {}, ...sounding.map(soundingLine))]),
    );
  }
}

function noteWords(notes) {
  const more = notes.length - NOTES_SHOWN;
  return more > 0 ? `${notes.slice(0, NOTES_SHOWN).join(" ")} +${more}` : notes.join(" ");
}

function soundingLine(one) {
  const isLong = one.longest_s > LONG_S;
  return element(
    "li",
    { "data-long": isLong },
    named(one.device || one.port),
    element("span", { class: "notes", text: one.notes.join(" ") }),
    element("span", { class: "held", text: `${isLong ? "▲ " : ""}${count(one.notes.length, "note")}, held ${lasting(one.longest_s)}` }),
  );
}
