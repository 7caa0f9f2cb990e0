// The view Rules: what the last reload changed, and the files with their mistakes marked.

import { element, named, plain, setText } from "./dom.js";
import { warning } from "./marks.js";
import { count, timeOfDay } from "./words.js";

const SURE_MS = 4000; // in which the second press has to come

export function rulesView(page) {
  return new RulesView(page, document.getElementById("view-rules"));
}

class RulesView {
  constructor(page, place) {
    this.page = page;
    this.outcome = element("p", { class: "outcome" });
    this.words = element("ul", { class: "reload-words" });
    this.differences = element("ul", { class: "reload-words" });
    this.summary = element("summary");
    this.more = element("details", {}, this.summary, this.differences);
    this.goingBack = element("p", { class: "outcome", text: "The former rules play, until you save a rule file." });
    this.former = element("button", { type: "button", on: { click: () => this.#goBack() } });
    this.formerNote = element("p", { class: "hint" });
    this.files = element("div", { class: "files" });
    this.sure = null;
    this.shownFiles = "";
    this.#ask(false);
    place.append(
      element(
        "div",
        { class: "reload", role: "group", "aria-label": "Last reload" },
        element("h2", { class: "part-title", text: "Last reload" }),
        this.outcome,
        this.words,
        this.more,
        this.goingBack,
        this.former,
        this.formerNote,
      ),
      this.files,
    );
  }

  update(changed, isShown) {
    const state = this.page.store.state;
    if (state === null || !isShown) return;
    this.#reload(state);
    if (changed.has("rules_files")) this.#files(state.rules_files ?? []);
  }

  #reload({ last_reload: last, former_rules: hasFormer, going_back: goesBack }) {
    if (!last) setText(this.outcome, "The rules have not changed since the daemon began.");
    else setText(this.outcome, `${timeOfDay(last.at)}  ${outcomeWords(last)}`);
    this.#list(this.words, last?.words ?? []);
    const differences = last?.differences ?? [];
    this.#list(this.differences, differences);
    this.more.hidden = differences.length === 0;
    setText(this.summary, `What plays differently (${differences.length})`);
    this.goingBack.hidden = !goesBack;
    this.former.hidden = !this.page.store.mayControl || !hasFormer;
    this.formerNote.hidden = this.former.hidden;
    setText(this.formerNote, "The rules from before the last change play again, until you save a rule file.");
  }

  /** Show lines of text as a list; nothing is made again that is there already. */
  #list(place, texts) {
    const lines = texts.flatMap((one) => one.split("\n"));
    if (lines.length === place.childElementCount && lines.every((line, at) => place.children[at].textContent === plain(line))) return;
    place.replaceChildren(...lines.map((line) => element("li", { text: plain(line) })));
  }

  /** The first press asks, the second one does it: nobody changes all rules by a slip. */
  #goBack() {
    if (this.sure === null) {
      this.#ask(true);
      return;
    }
    this.#ask(false);
    this.page.act({ do: "former rules" }, () => "The former rules play again.");
  }

  #ask(isSure) {
    clearTimeout(this.sure);
    this.sure = isSure ? setTimeout(() => this.#ask(false), SURE_MS) : null;
    setText(this.former, isSure ? "Press again: back to the former rules" : "Back to the former rules");
  }

  #files(files) {
    const text = JSON.stringify(files);
    if (text === this.shownFiles) return;
    this.shownFiles = text;
    this.files.replaceChildren(...files.map(fileText));
  }
}

function outcomeWords({ outcome, refused }) {
  const known = {
    applied: "The new rules play.",
    unchanged: "Nothing has changed.",
    files: "The files can't be used. The rules from before play on.",
    former: "The former rules can't be put in force again. The rules of now play on.",
    new: "The new rules can't be put in force. The rules from before play on.",
  };
  return known[refused ?? outcome] ?? plain(outcome);
}

/** Return a file as it is shown. Without a text it is too long to be sent to every phone. */
function fileText({ name, text, errors }) {
  const byLine = groupedByLine(errors);
  const lines = (text ?? "").replace(/\n$/, "").split("\n");
  const rows = lines.flatMap((line, at) => [codeLine(line, byLine.has(at + 1)), ...mistakes(byLine.get(at + 1), at + 1)]);
  const whole = element("ol", { class: "code" }, ...rows);
  const tooLong = element("p", { class: "quiet", text: "The files are too long to be shown here." });
  return element(
    "section",
    { class: "file", "aria-label": plain(name) },
    element("h2", { class: "part-title" }, named(name)),
    element(
      "p",
      { class: errors.length > 0 ? "verdict bad" : "verdict" },
      ...(errors.length > 0 ? [warning(), element("span", { text: count(errors.length, "mistake") })] : ["no mistakes"]),
    ),
    ...(text === null ? errors.map(mistakeAtLine) : mistakes(byLine.get(0), null)),
    text === null ? tooLong : whole,
  );
}

function groupedByLine(errors) {
  const groups = new Map();
  for (const error of errors) groups.set(error.line ?? 0, [...(groups.get(error.line ?? 0) ?? []), error]);
  return groups;
}

function codeLine(line, isWrong) {
  const kind = /^\s*#/.test(line) ? "comment" : /^\s*\[/.test(line) ? "header" : null;
  return element("li", { class: isWrong ? "wrong" : null }, element("code", { class: kind, text: line === "" ? " " : plain(line.replaceAll("\t", "    ")) }));
}

function mistakeAtLine({ line, words }) {
  return element("p", { class: "mistake" }, warning(), element("span", { text: plain(line ? `line ${line}: ${words}` : words) }));
}

function mistakes(errors, line) {
  return (errors ?? []).map(({ words }) =>
    element(line === null ? "p" : "li", { class: "mistake" }, warning(), element("span", { text: plain(words) })),
  );
}
