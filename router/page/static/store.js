// What the daemon has said last, by the keys of its status.

export class Store {
  /** The last state; null until the first one has come. */
  state = null;
  /** Whether the page may do more than look and panic. */
  mayControl = false;
  /** When each key came (ms of performance.now): a beat goes on while it waits to be shown. */
  came = {};
  #changed = new Set();
  #heed;

  /** `heed` is called when something is there to be shown: at most once until `changed` is asked. */
  constructor(heed) {
    this.#heed = heed;
  }

  replace(state, mayControl) {
    const before = Object.keys(this.state ?? {});
    this.state = state;
    this.mayControl = mayControl;
    this.#note([...before, ...Object.keys(state), "mayControl"]);
  }

  change(change) {
    if (this.state === null) return;
    Object.assign(this.state, change);
    this.#note(Object.keys(change));
  }

  /** Return the keys that have changed since this was asked last. */
  changed() {
    const keys = this.#changed;
    this.#changed = new Set();
    return keys;
  }

  #note(keys) {
    if (keys.length === 0) return;
    const first = this.#changed.size === 0;
    const now = performance.now();
    for (const key of keys) {
      this.#changed.add(key);
      this.came[key] = now;
    }
    if (first) this.#heed();
  }
}
