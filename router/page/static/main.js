// Begins the page: the line to the daemon, the four views, and PANIC.

import { Connection, LIVE, REFUSED } from "./connection.js";
import { setAttribute, setText } from "./dom.js";
import { logView } from "./log_view.js";
import { nowView } from "./now_view.js";
import { rigView } from "./rig_view.js";
import { rulesView } from "./rules_view.js";
import { notice, say } from "./speaking.js";
import { Store } from "./store.js";
import { timeOfDay } from "./words.js";

const PANIC_SHOWN_MS = 2500;

const root = document.documentElement;
const store = new Store(() => requestAnimationFrame(show));
const connection = new Connection(liveAddress(), hear, showLink);
const page = { store, act };
const views = { now: nowView(page), rig: rigView(page), log: logView(page), rules: rulesView(page) };
let shown = null; // the name of the view
let daemonGone = false;
let lastHeard = null; // seconds since 1970, when the daemon was heard last

function liveAddress() {
  return `${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/live${location.search}`;
}

function hear(message) {
  if (message.type === "gone" || message.type === "back") daemonGone = message.type === "gone";
  else if (message.type === "state") {
    daemonGone = false;
    views.log.beginAgain();
    store.replace(message.state, message.may_control);
  } else if (message.type === "change") store.change(message.change);
  else if (message.type === "log") views.log.hear(message);
  if (!daemonGone) lastHeard = Date.now() / 1000;
  showLink();
}

/** Ask the daemon for something, and show words if it fails; returns what it answered, or null. */
async function act(question, fine = null) {
  try {
    const data = await connection.ask(question);
    if (fine !== null) notice(fine(data), true);
    return data;
  } catch (error) {
    notice(error.message);
    return null;
  }
}

// -- what is shown ----------------------------------------------------------------------------------------------------

function show() {
  const changed = store.changed();
  for (const [name, view] of Object.entries(views)) view.update(changed, name === shown);
}

function turnTo() {
  const wanted = location.hash.slice(1);
  shown = Object.hasOwn(views, wanted) ? wanted : "now";
  setAttribute(root, "data-view", shown);
  for (const name of Object.keys(views)) document.getElementById(`view-${name}`).hidden = name !== shown;
  for (const tab of document.querySelectorAll(".tabs a")) {
    setAttribute(tab, "aria-current", tab.dataset.view === shown ? "page" : null);
  }
  document.title = `${document.getElementById(`${shown}-title`).textContent} - Pointsman`;
  scrollTo(0, 0);
  views[shown].update(new Set([...Object.keys(store.state ?? {}), "mayControl", "link"]), true);
}

function showLink() {
  const link = daemonGone && connection.state === LIVE ? "gone" : connection.state;
  const banner = document.getElementById("banner");
  banner.hidden = link === LIVE && store.state !== null;
  setText(banner, banner.hidden ? "" : linkWords(link));
  if (root.dataset.link === link) return;
  if (link === LIVE && ["lost", "gone"].includes(root.dataset.link)) say("The connection is back");
  root.dataset.link = link;
  views.now.update(new Set(["link"]), shown === "now");
}

function linkWords(link) {
  const since = lastHeard === null ? "" : ` What you see is from ${timeOfDay(lastHeard)}.`;
  if (link === REFUSED) return `This address is no longer valid: scan the new code, or open the new address.${since}`;
  if (link === "gone") return `The daemon is not running, or doesn't answer. The page waits for it.${since}`;
  if (link === "lost") return `There is no connection to the page's computer. The page tries again.${since}`;
  return "Connecting to the daemon ...";
}

// -- panic ------------------------------------------------------------------------------------------------------------

let panicTimer = null;

async function panic() {
  const note = document.getElementById("panic-note");
  const button = document.getElementById("panic");
  const answer = (words, state) => {
    setText(note, words);
    setAttribute(button, "data-state", state);
    clearTimeout(panicTimer);
    if (state !== "asked") panicTimer = setTimeout(() => answer("ends all notes", "asked"), PANIC_SHOWN_MS);
  };
  answer("sending ...", "asked");
  try {
    await connection.ask({ do: "panic" }, true);
    answer("done: silent", "done");
    say("Panic: all notes ended");
  } catch (error) {
    answer("failed", "failed");
    notice(`PANIC failed. ${error.message}`);
  }
}

document.getElementById("panic").addEventListener("click", panic);
addEventListener("hashchange", turnTo);
for (const event of ["online", "pageshow", "focus"]) addEventListener(event, () => connection.wake());
document.addEventListener("visibilitychange", () => document.hidden || connection.wake());
turnTo();
showLink();
