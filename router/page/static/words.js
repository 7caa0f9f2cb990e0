// How the page speaks: times, durations, numbers and plurals.

/** Return the time of day of seconds since 1970: 20:14:05. */
export function timeOfDay(seconds) {
  const at = new Date(seconds * 1000);
  return [at.getHours(), at.getMinutes(), at.getSeconds()].map(twoDigits).join(":");
}

/** Return how long something has lasted: 0:07, 12:04, 1:02:33. */
export function lasting(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  const rest = `${Math.floor(whole / 60) % 60}:${twoDigits(whole % 60)}`;
  return whole < 3600 ? rest : `${Math.floor(whole / 3600)}:${rest.padStart(5, "0")}`;
}

function twoDigits(number) {
  return String(number).padStart(2, "0");
}

/** Return `1 note`, `3 notes`. */
export function count(amount, one) {
  return `${amount.toLocaleString("en")} ${amount === 1 ? one : `${one}s`}`;
}

/** Return a tempo with at most one digit behind the point: 124 or 97.5. */
export function tempo(bpm) {
  return (Math.round(bpm * 10) / 10).toLocaleString("en", { useGrouping: false });
}

/** Return the state of a switch as it is written after `switch NAME=`. */
export function stateWord(state) {
  if (typeof state === "boolean") return state ? "on" : "off";
  return String(state);
}
