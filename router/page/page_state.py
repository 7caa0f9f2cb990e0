"""What the page shows, made of what the daemon says and of its rule files."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from router.daemon.troubles import troubles
from router.files.clock import SYSTEM_CLOCK, Clock
from router.text.durations import in_words
from router.text.formatting import plain
from rules.midi.messages import SYSEX
from rules.midi.notation import STANDARD, format_message, format_note

if TYPE_CHECKING:
    from router.page.rule_facts import RuleFacts

State = dict[str, Any]

LONG_HELD_S: Final = 30.0
"""A note that sounds for longer is worth a look: it may hang."""

_OURS: Final = frozenset({"sounding", "sounding_notes", "last_reload", "pid", "recording_since", "activity"})
"""Keys of the daemon's that are shown in another form, or not at all."""

_MOST_REMEMBERED: Final = 400  # entries of the log for a browser that comes
_WORST_FIRST: Final = ("port", "rules", "error", "late", "lost", "held", "cable")
_UNKNOWN_RIG: Final[State] = {"ports": [], "rules": [], "devices": []}


class PageState:
    """Takes in lines of `watch`; gives what of the page changes by each. `log` is what was said and played last."""

    def __init__(self, clock: Clock = SYSTEM_CLOCK) -> None:
        self._clock = clock
        self._daemon: State = {}
        self._shown: State = {}
        self._facts: RuleFacts | None = None
        self._files: list[State] = []
        self._rig_of: tuple[object, ...] = ()
        self._rig: State = _UNKNOWN_RIG
        self.log: deque[State] = deque(maxlen=_MOST_REMEMBERED)

    @property
    def whole(self) -> State:
        """Everything that the page shows, but the log."""
        return self._shown

    @property
    def serial(self) -> int | None:
        """Which reload the daemon is at; None before it is known."""
        told = self._daemon.get("last_reload")
        return None if told is None else told["serial"]

    @property
    def problems(self) -> Sequence[Mapping[str, Any]]:
        """What is wrong in the rule files that were judged last."""
        problems: Sequence[Mapping[str, Any]] = self._daemon["last_reload"]["problems"]
        return problems

    @property
    def shows_found(self) -> bool:
        """Whether the files that were judged last are of interest, and not those in force: they can't be used."""
        return bool(self._daemon["last_reload"]["refused"] == "files")

    def begin(self, told: Mapping[str, Any]) -> None:
        """Begin anew with the whole state of a daemon."""
        self._daemon = dict(told)
        self.log.clear()
        self._facts, self._files, self._rig_of = None, [], ()
        self._shown = self._made()

    def change(self, told: Mapping[str, Any]) -> State:
        """Take in what has changed; return what changes by it."""
        self._daemon.update(told)
        return self._news()

    def use_rules(self, facts: RuleFacts | None, files: list[State]) -> State:
        """Take in the rules in force and the rule files to show; return what changes by it."""
        self._facts, self._files, self._rig_of = facts, files, ()
        return self._news()

    def _news(self) -> State:
        now = self._made()
        new = {key: value for key, value in now.items() if key not in self._shown or self._shown[key] != value}
        self._shown = now
        return new

    # -- the log ------------------------------------------------------------------------------------------------------

    def entries(self, messages: Sequence[Sequence[Any]], said: Sequence[Sequence[Any]] = ()) -> list[State]:
        """Return messages and lines of the daemon's log in words, in the order of their times, and remember them."""
        entries = [self._entry(*message) for message in messages]
        entries += [{"at": at / 1e6, "say": plain(line)} for at, line in said]
        if said:
            entries.sort(key=lambda entry: float(entry["at"]))
        self.log += entries
        return entries

    def _entry(self, at: int, direction: str, port: str, data: str, length: int) -> State:
        text = self._in_words(port, bytes.fromhex(data), length)
        return {"at": at / 1e6, "port": port, "direction": direction, "text": text}

    def _in_words(self, port: str, message: bytes, length: int) -> str:
        if message[0] == SYSEX and len(message) < length:
            return f"sysex of {length:,} bytes: {message.hex(' ').upper()} ..."
        return format_message(message, STANDARD if self._facts is None else self._facts.naming_of(port))

    # -- the state ----------------------------------------------------------------------------------------------------

    def _made(self) -> State:
        told, now = self._daemon, self._clock.wall_s()
        since, reload = told["recording_since"], told["last_reload"]
        sounding = self._sounding(now)
        return {
            **{key: value for key, value in told.items() if key not in _OURS},
            "songs": self._songs(told.get("songs")),
            "activity": told.get("activity") or _activity(told["ports"]),
            "recording_s": None if since is None else int(max(0.0, now - since)),
            "sounding": sounding,
            "trouble": self._trouble(sounding),
            "rig": self._rig_now(),
            "switch_states": {} if self._facts is None else self._facts.switch_states(told["switches"]),
            "rules_files": self._files,
            "last_reload": {key: reload[key] for key in ("at", "outcome", "refused", "words", "differences")},
            "former_rules": reload["has_former"],
            "going_back": reload["going_back"],
        }

    def _rig_now(self) -> State:
        """The rig, made again only when it may be another: to ask which rules are open takes its time."""
        if self._facts is None:
            return _UNKNOWN_RIG
        ports = [(port["name"], port["state"], port["computer_port"]) for port in self._daemon["ports"]]
        rig_of = (self._facts, ports, self._daemon["switches"])
        if rig_of != self._rig_of:
            self._rig_of = rig_of
            self._rig = self._facts.rig(self._daemon["switches"], self._daemon["ports"])
        return self._rig

    def _songs(self, songs: Mapping[str, Any] | None) -> State | None:
        """The songs, with the player's notes about the one of now."""
        if songs is None:
            return None
        about = None if self._facts is None else self._facts.about_song(songs["names"][songs["at"]])
        return {**songs, "about": about}

    def _sounding(self, now: float) -> list[State]:
        """Return the notes that sound, by device; by port where no device is known for their channel."""
        found: dict[tuple[str | None, str], list[Mapping[str, Any]]] = {}
        for note in self._daemon["sounding"]:
            device = None if self._facts is None else self._facts.device_at(note["port"], note["channel"])
            found.setdefault((device, note["port"]), []).append(note)
        return [
            {
                "device": device,
                "port": port,
                "notes": [self._note(port, note["key"]) for note in notes],
                "longest_s": int(max(0.0, now - min(note["since"] for note in notes))),
            }
            for (device, port), notes in found.items()
        ]

    def _note(self, port: str, key: int) -> str:
        return format_note(key, STANDARD if self._facts is None else self._facts.naming_of(port))

    def _trouble(self, sounding: Sequence[State]) -> list[State]:
        found = [{"kind": kind, "words": words.strip()} for kind, words in troubles(self._daemon)]
        found += [{"kind": "held", "words": words} for words in _long_held(sounding)]
        return sorted(found, key=lambda one: _WORST_FIRST.index(one["kind"]))


def _long_held(sounding: Sequence[State]) -> Iterator[str]:
    for one in sounding:
        if one["longest_s"] >= LONG_HELD_S:
            place = one["device"] or f"output {one['port']}"
            yield f"{plain(place)}: a note has sounded for {in_words(one['longest_s'])}; if it hangs, press PANIC"


def _activity(ports: Sequence[Mapping[str, Any]]) -> dict[str, int]:
    counts: dict[str, int] = {}
    for port in ports:
        counts[port["name"]] = counts.get(port["name"], 0) + port["messages"]
    return counts
