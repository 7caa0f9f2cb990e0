// Small pictures next to words: they say nothing to readers of the screen.

import { drawn } from "./dom.js";

/** A triangle: what needs a look. */
export function warning() {
  return picture("mark bad", drawn("path", { d: "M12 3L22 21H2z" }), drawn("path", { class: "cut", d: "M12 10v5M12 17v2" }));
}

/** A tick: all is well. */
export function tick() {
  return picture("mark fine", drawn("path", { d: "M4 12l5 5L20 6" }));
}

/** Return a picture of shapes within 24 by 24; `kind` is its class. */
export function picture(kind, ...shapes) {
  return drawn("svg", { class: kind, viewBox: "0 0 24 24", "aria-hidden": "true", focusable: "false" }, ...shapes);
}
