// What the page says besides what it shows: to readers of the screen, and in a notice above the bar.

import { element, plain } from "./dom.js";

const GATHER_MS = 1000; // what happens within it is said in one go
const NOTICE_MS = 8000;

let gathered = [];
let timer = null;
let hiding = null;

/** Have a reader of the screen say something, when it has finished what it says now. */
export function say(words) {
  gathered.push(plain(words));
  timer ??= setTimeout(() => {
    document.getElementById("said").textContent = gathered.slice(0, 5).join(". ");
    gathered = [];
    timer = null;
  }, GATHER_MS);
}

/** Show something that the person at the page has to know now: what failed, or what is done. */
export function notice(words, isFine = false) {
  const place = document.getElementById("notice");
  clearTimeout(hiding);
  const hide = () => {
    place.hidden = true;
  };
  place.className = isFine ? "notice fine" : "notice";
  place.replaceChildren(
    element("p", { text: plain(words) }),
    element("button", { type: "button", class: "plain", text: "OK", on: { click: hide } }),
  );
  place.hidden = false;
  hiding = setTimeout(hide, NOTICE_MS);
}
