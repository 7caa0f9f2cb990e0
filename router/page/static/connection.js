// The line to the program that serves the page. It comes back by itself: after sleep, after a lost network, after a
// restart of that program.

const SILENCE_MS = 3500; // the other end speaks at least once a second
const OPENING_MS = 4000; // that a line may take until the first word
const DOUBT_MS = 1500; // of silence after which what can't wait goes out on another line
const LOOK_MS = 500;
const FIRST_WAIT_MS = 250;
const LONGEST_WAIT_MS = 3000;
const ANSWER_MS = 6000;
const SLOW_MS = 60000; // for what writes a recording, reads rules, or looks through minutes of music
const SLOW = new Set(["save", "record", "through", "former rules"]);

export const LIVE = "live";
export const LOST = "lost";
export const REFUSED = "refused"; // the address is no longer valid

export class Connection {
  /** One of LIVE, LOST, REFUSED; "starting" until the other end has spoken or the line has failed for the first time. */
  state = "starting";
  #address;
  #hear;
  #turned;
  #socket = null;
  #speaks = false; // whether the other end has said anything on this line
  #heard = 0; // ms, when it did last; until then, when the line was tried
  #wait = FIRST_WAIT_MS;
  #timer = null;
  #next = 1;
  #asked = new Map(); // of questions that are sent: what answers them
  #waiting = []; // questions that go out as soon as the line is open

  /** `hear` gets each message; `turned` is called when `state` has changed. */
  constructor(address, hear, turned) {
    this.#address = address;
    this.#hear = hear;
    this.#turned = turned;
    setInterval(() => this.look(), LOOK_MS);
    this.#open();
  }

  /**
   * Ask for something: resolves to the data of the answer, or is rejected with words for a person. With `insist` a
   * question waits for the next line, and goes out again if its line breaks off: only for what may be done twice.
   */
  ask(question, insist = false) {
    return new Promise((resolve, reject) => {
      const asked = { question: { id: this.#next++, ...question }, resolve, reject, insist };
      const patience = SLOW.has(question.do) ? SLOW_MS : ANSWER_MS;
      asked.timer = setTimeout(() => this.#giveUp(asked), patience);
      if (insist && this.state === LIVE && performance.now() - this.#heard > DOUBT_MS) this.#lose();
      if (this.state === LIVE) this.#send(asked);
      else if (insist) {
        this.#waiting.push(asked);
        this.#openNow();
      } else this.#fail(asked, "There is no connection: nothing was changed.");
    });
  }

  /** Look whether the other end still speaks. To be called when the device wakes up as well. */
  look() {
    if (this.#socket === null) return;
    if (performance.now() - this.#heard > (this.#speaks ? SILENCE_MS : OPENING_MS)) this.#lose();
  }

  /** Look at once, and if there is no line, try now: the device woke up or has a network again. */
  wake() {
    this.look();
    if (this.state !== LIVE) this.#openNow();
  }

  #openNow() {
    this.#wait = FIRST_WAIT_MS;
    if (this.#socket === null) this.#open();
  }

  #open() {
    clearTimeout(this.#timer);
    const socket = (this.#socket = new WebSocket(this.#address));
    this.#speaks = false;
    this.#heard = performance.now();
    socket.onmessage = (event) => {
      this.#heard = performance.now();
      if (!this.#speaks) this.#begin();
      const message = JSON.parse(event.data);
      if (message.type === "answer") this.#answer(message);
      else this.#hear(message);
    };
    socket.onclose = () => this.#lose();
  }

  #begin() {
    this.#speaks = true;
    this.#wait = FIRST_WAIT_MS;
    this.#turn(LIVE);
    for (const asked of this.#waiting.splice(0)) this.#send(asked);
  }

  #lose() {
    const socket = this.#socket;
    if (socket !== null) {
      socket.onmessage = socket.onclose = null;
      socket.close();
    }
    this.#socket = null;
    for (const asked of [...this.#asked.values()]) {
      if (asked.insist) {
        this.#asked.delete(asked.question.id);
        this.#waiting.push(asked);
      } else this.#fail(asked, "The connection broke off: look whether it happened.");
    }
    if (this.state !== REFUSED) this.#turn(LOST);
    this.#timer = setTimeout(() => this.#open(), this.#wait * (0.8 + 0.4 * Math.random()));
    if (this.#wait > FIRST_WAIT_MS) this.#probe();
    this.#wait = Math.min(this.#wait * 2, LONGEST_WAIT_MS);
  }

  /** Find out whether the program is there, but doesn't let us in any more: a failed line doesn't say. */
  async #probe() {
    try {
      const answer = await fetch(location.pathname + location.search, { cache: "no-store" });
      if (this.state !== LIVE) this.#turn(answer.status === 401 || answer.status === 403 ? REFUSED : LOST);
    } catch {
      if (this.state !== LIVE) this.#turn(LOST);
    }
  }

  #turn(state) {
    if (this.state === state) return;
    this.state = state;
    this.#turned();
  }

  #send(asked) {
    this.#asked.set(asked.question.id, asked);
    this.#socket.send(JSON.stringify(asked.question));
  }

  #answer({ id, ok, error, data }) {
    const asked = this.#asked.get(id);
    if (asked === undefined) return;
    if (!ok) return this.#fail(asked, error ?? "The daemon refused, and gave no reason.");
    this.#forget(asked);
    asked.resolve(data ?? {});
  }

  #giveUp(asked) {
    const sent = this.#asked.has(asked.question.id);
    this.#fail(asked, sent ? "No answer came: look whether it happened." : "There is no connection: nothing was sent.");
  }

  #fail(asked, words) {
    this.#forget(asked);
    asked.reject(new Error(words));
  }

  #forget(asked) {
    clearTimeout(asked.timer);
    this.#asked.delete(asked.question.id);
    const at = this.#waiting.indexOf(asked);
    if (at >= 0) this.#waiting.splice(at, 1);
  }
}
