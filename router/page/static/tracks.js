// The lines of the rig: drawn behind the names, from the edge of one to the edge of the next.

import { drawn, setAttribute } from "./dom.js";

const STRAIGHT = 0.2; // of the gap, at either end of a line
const SPREAD = 24; // pixels, over which the lines of a box leave it side by side

export class Tracks {
  /** `chosen` is called with the line that was tapped. Readers of the screen find all lines by the names. */
  constructor(chosen) {
    this.place = drawn("svg", { class: "tracks", "aria-hidden": "true", focusable: "false" });
    this.chosen = chosen;
    this.lines = [];
  }

  draw(lines) {
    this.lines = lines.map((line) => {
      const track = drawn("path", { class: "track", "data-closed": !line.open });
      const near = drawn("path", { class: "near", on: { click: () => this.chosen(line) } });
      return { line, track, near };
    });
    this.place.replaceChildren(...this.lines.map(({ track }) => track), ...this.lines.map(({ near }) => near));
  }

  /** Lay the lines between the boxes that `boxOf` gives by key; a line without both ends isn't shown. */
  lay(board, boxOf) {
    const frame = board.getBoundingClientRect();
    setAttribute(this.place, "viewBox", `0 0 ${frame.width} ${frame.height}`);
    setAttribute(this.place, "width", frame.width);
    setAttribute(this.place, "height", frame.height);
    const spread = new Spread(this.lines.map(({ line }) => line));
    for (const { line, track, near } of this.lines) {
      const from = boxOf(line.from)?.getBoundingClientRect();
      const to = boxOf(line.to)?.getBoundingClientRect();
      const d = from && to ? way(frame, from, spread.leaving(line), to, spread.arriving(line)) : null;
      setAttribute(track, "d", d);
      setAttribute(near, "d", d);
    }
  }

  choose(lines) {
    for (const { line, track } of this.lines) setAttribute(track, "data-chosen", lines.includes(line));
  }

  /** Light the lines into what sounds. */
  light(keys) {
    for (const { line, track } of this.lines) setAttribute(track, "data-on", line.open && keys.has(line.to));
  }
}

/** Where the lines of a box leave it and arrive: side by side around its middle, so that they can be seen apart. */
class Spread {
  constructor(lines) {
    this.out = grouped(lines, ({ from }) => from);
    this.in = grouped(lines, ({ to }) => to);
  }

  leaving(line) {
    return share(this.out.get(line.from), line);
  }

  arriving(line) {
    return share(this.in.get(line.to), line);
  }
}

function grouped(lines, keyOf) {
  const groups = new Map();
  for (const line of lines) groups.set(keyOf(line), [...(groups.get(keyOf(line)) ?? []), line]);
  return groups;
}

/** How far from the middle, in pixels. */
function share(lines, line) {
  return ((lines.indexOf(line) + 1) / (lines.length + 1) - 0.5) * SPREAD;
}

function way(frame, from, fromMiddle, to, toMiddle) {
  const x1 = from.right - frame.left;
  const y1 = from.top - frame.top + from.height / 2 + fromMiddle;
  const x2 = to.left - frame.left;
  const y2 = to.top - frame.top + to.height / 2 + toMiddle;
  const straight = (x2 - x1) * STRAIGHT;
  const middle = (x1 + x2) / 2;
  const at = (number) => Math.round(number * 10) / 10;
  return `M${at(x1)} ${at(y1)}h${at(straight)}C${at(middle)} ${at(y1)} ${at(middle)} ${at(y2)} ${at(x2 - straight)} ${at(y2)}H${at(x2)}`;
}
