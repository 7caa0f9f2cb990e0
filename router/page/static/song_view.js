// The song in large type, and the way to the next.

import { drawn, element, named, plain, setAttribute, setText } from "./dom.js";
import { picture } from "./marks.js";

export class SongView {
  constructor(page) {
    this.page = page;
    this.title = element("h2", { class: "song-title" });
    this.about = element("p", { class: "song-about" });
    this.where = element("p", { class: "song-where" });
    this.previous = this.#button("previous", -1, "M15 5l-7 7 7 7");
    this.next = this.#button("next", 1, "M9 5l7 7-7 7");
    this.buttons = element("div", { class: "buttons song-buttons" }, this.previous, this.next);
    this.place = element("div", { class: "song", role: "group", "aria-label": "Song" }, this.title, this.about, this.where, this.buttons);
    this.songs = null;
  }

  #button(word, by, way) {
    const label = element("span", { text: word === "next" ? "Next" : "Previous" });
    const arrow = picture("arrow", drawn("path", { d: way }));
    const turn = () => this.#at(by) !== null && this.page.act({ do: "song", to: word });
    return element("button", { type: "button", class: word, on: { click: turn } }, ...(by < 0 ? [arrow, label] : [label, arrow]));
  }

  /** The place of another song, or null at an end of the list. */
  #at(by) {
    const { names, at, wrap } = this.songs;
    const to = at + by;
    if (to >= 0 && to < names.length) return to;
    return wrap ? (to + names.length) % names.length : null;
  }

  show(songs) {
    this.songs = songs ?? null;
    this.place.hidden = this.songs === null;
    if (this.songs === null) return;
    const next = this.#at(1);
    this.title.replaceChildren(named(songs.names[songs.at]));
    setText(this.about, (songs.about ?? "").split("\n").map(plain).join("\n"));
    this.about.hidden = !songs.about;
    this.where.replaceChildren(
      `${songs.at + 1} of ${songs.names.length}, `,
      ...(next === null ? ["the last song"] : ["next: ", named(songs.names[next])]),
    );
    this.buttons.hidden = !this.page.store.mayControl;
    setAttribute(this.previous, "aria-disabled", this.#at(-1) === null ? "true" : null);
    setAttribute(this.next, "aria-disabled", next === null ? "true" : null);
  }
}
