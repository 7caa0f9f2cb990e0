// Elements made without markup: whatever a name holds, it is text.

const SVG = "http://www.w3.org/2000/svg";

/** Return an element. `given`: text, on (listeners by event), anything else is an attribute; null and false are left out. */
export function element(tag, given = {}, ...children) {
  return fill(document.createElement(tag), given, children);
}

/** Return an element of a picture, as `element` does. */
export function drawn(tag, given = {}, ...children) {
  return fill(document.createElementNS(SVG, tag), given, children);
}

function fill(made, given, children) {
  for (const [key, value] of Object.entries(given)) {
    if (key === "text") made.textContent = value;
    else if (key === "on") for (const [event, act] of Object.entries(value)) made.addEventListener(event, act);
    else setAttribute(made, key, value);
  }
  made.append(...children);
  return made;
}

/** Set an attribute, or remove it where the value is null or false; nothing is written that is there already. */
export function setAttribute(one, key, value) {
  if (value === null || value === undefined || value === false) {
    if (one.hasAttribute(key)) one.removeAttribute(key);
  } else {
    const text = value === true ? "" : String(value);
    if (one.getAttribute(key) !== text) one.setAttribute(key, text);
  }
}

/** Set the text of an element; nothing is written that is there already, so that no reader is disturbed. */
export function setText(one, text) {
  if (one.textContent !== text) one.textContent = text;
}

/** Return a name of the rule files or of the computer: it can't change the order of the text around it. */
export function named(name, given = {}) {
  return element("bdi", { class: "name", ...given, text: plain(name) });
}

/** Return text with its control characters, and those that turn the direction of writing, shown as codes. */
export function plain(text) {
  return String(text).replace(/[\u0000-\u001f\u007f-\u009f\u2028\u2029\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]/g, code);
}

function code(character) {
  const number = character.charCodeAt(0).toString(16);
  return number.length > 2 ? `\\u${number.padStart(4, "0")}` : `\\x${number.padStart(2, "0")}`;
}
