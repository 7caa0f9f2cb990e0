// Where in the bar the music is, between two messages of the daemon.

const JUMP = 0.5; // quarter notes: what differs by more is another place, not a late message
const CATCH_UP = 0.5; // of being behind: a message that came sooner than the others knows better
const FALL_BACK = 0.05; // of being ahead: most likely this message came late

export class BeatClock {
  /** Quarter notes a minute; null until something is known. */
  bpm = null;
  #beats = null; // at #at
  #at = 0;

  /** Take what the daemon says at `now` (ms). */
  take(clock, now) {
    const told = clock?.running ? clock.beats : null;
    if (told === null || told === undefined) {
      this.#beats = null;
      this.bpm = clock?.bpm ?? null;
      return;
    }
    const expected = this.beatsAt(now);
    this.bpm = clock.bpm;
    this.#at = now;
    const error = expected === null ? Infinity : told - expected;
    this.#beats = Math.abs(error) > JUMP ? told : expected + error * (error > 0 ? CATCH_UP : FALL_BACK);
  }

  /** Return the quarter notes since the start, or null where nothing runs. */
  beatsAt(now) {
    return this.#beats === null ? null : this.#beats + ((now - this.#at) * this.bpm) / 60000;
  }
}

/** Return the bar and the beat in it, both counted from 1. */
export function placeInBar(beats, beatsABar) {
  const whole = Math.max(0, Math.floor(beats));
  return { bar: Math.floor(whole / beatsABar) + 1, beat: (whole % beatsABar) + 1 };
}
