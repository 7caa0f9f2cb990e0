"""Rule files and performances as text, played on anything that behaves like the engine.

A performance is a line an event, times in milliseconds, at 120 beats a minute to begin with:

    at 0 keys note-on 1 C4 100          a message arrives from the port "keys"
    at 0 keys#2 note-on 1 C4 100        from a second player (a track, say) of that port
    at 0 keys+take note-on 1 C4 100     from a take that plays as that port, with a hand of its own
    at 5 turn up on                     a switch is set by hand
    at 5 release keys                   a source is lost; `release keys+take`: the take ends
    at 5 panic          at 5 panic every key
    at 5 tempo 90                       the tempo is another one, in beats a minute
    at 5 begin                          a live session begins
    at 5 return rack                    an output is there again
    at 5 rename keys piano              a port has another name in the next rule file
    at 5 reload                         the next rule file takes over
    at 5 close                          the last event of a file
    at 5 settle                         the end of a file

What comes out is written alike: `at 10 synth note-on 1 C4 100`, with `synth#2` for what the second player of a port
sent, and `synth+take` for what a take did. At the end everything that is pending is let out.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from math import floor
from typing import Protocol

from rules.midi.notation import Naming, format_message, parse_whole_message
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.schema import RuleFile
from rules.rulefile.song_switch import rule_in_songs, song_action, song_switch
from rules.rulefile.song_tables import SONG, SetList
from rules.rulefile.switch_tables import OnOffSwitch, ValueSwitch
from rules.timing.delays import Delay, Later
from tests.model import NEVER, Model
from tests.model.tempos import Tempos

Sent = tuple[str, bytes, int, int]
"""Port, bytes, the time when it was due, player."""


class Subject(Protocol):
    """What can be played: the model, or the engine in the model's clothes."""

    @property
    def next_due(self) -> int: ...  # noqa: D102
    def add_player(self, source: str) -> int: ...  # noqa: D102
    def add_hand(self, source: str) -> int: ...  # noqa: D102
    def join(self, player: int) -> None: ...  # noqa: D102
    def part(self, player: int, now: int, out: list[Sent]) -> None: ...  # noqa: D102
    def feed(self, player: int, message: bytes, now: int, out: list[Sent]) -> object: ...  # noqa: D102
    def advance(self, now: int, out: list[Sent]) -> None: ...  # noqa: D102
    def turn(self, switch: str, value: bool | int | str, now: int, out: list[Sent]) -> None: ...  # noqa: D102
    def begin(self, now: int, out: list[Sent]) -> None: ...  # noqa: D102
    def return_port(self, port: str, now: int, out: list[Sent]) -> None: ...  # noqa: D102
    def release(self, player: int, now: int, out: list[Sent]) -> None: ...  # noqa: D102
    def silence(self, now: int, out: list[Sent], every_key: bool = False) -> None: ...  # noqa: D102
    def retime(self, now: int) -> object: ...  # noqa: D102
    def rename(self, old: str, new: str) -> None: ...  # noqa: D102
    def replace(self, new: RuleSet, now: int, out: list[Sent]) -> None: ...  # noqa: D102
    def close(self, now: int, out: list[Sent]) -> None: ...  # noqa: D102
    def settle(self, now: int, out: list[Sent]) -> None: ...  # noqa: D102


MakeSubject = Callable[[RuleSet, Later], Subject]


def make_model(ruleset: RuleSet, later: Later) -> Subject:
    """The slow model."""
    return Model(ruleset, later)


def milliseconds(now: int, delay: Delay) -> int:
    """`later` in whole milliseconds at 120 quarter notes a minute, half up."""
    return now + floor(delay.ms + delay.beats * 500 + Fraction(1, 2))


def ruleset_of(*texts: str) -> RuleSet:
    """Rule files as one set of rules; unnamed rules are "rule 1", "rule 2"."""
    files = []
    for text in texts:
        raw = tomllib.loads(text)
        naming = Naming(3 if raw.get("middle_c") == "C3" else 4, raw.get("first_program", 1))
        files.append(RuleFile.model_validate(raw, context=naming))
    rules = [rule for file in files for rule in file.rules]
    songs = [song for file in files for song in file.songs]
    set_list = next((file.set_list for file in files if file.set_list is not None), SetList())
    actions = [action for song in songs if (action := song_action(song)) is not None]
    return RuleSet(
        ports={name: port for file in files for name, port in file.ports.items()},
        devices={name: device for file in files for name, device in file.devices.items()},
        switches={name: switch for file in files for name, switch in file.switches.items()}
        | ({SONG: song_switch(set_list, songs)} if songs else {}),
        rules=tuple(
            rule_in_songs(rule if rule.name else rule.model_copy(update={"name": f"rule {number}"}), songs)
            for number, rule in enumerate(rules, start=1)
        ),
        on_switch=(*actions, *(entry for file in files for entry in file.on_switch)),
        songs=tuple(songs),
    )


@dataclass(slots=True)
class Stage:
    """A subject with its players, and the rule files that are still to come."""

    subject: Subject
    ruleset: RuleSet
    reloads: list[RuleSet]
    tempos: Tempos = field(default_factory=Tempos)
    players: dict[str, int] = field(default_factory=dict)
    playing: set[int] = field(default_factory=set)
    out: list[Sent] = field(default_factory=list)

    def play(self, line: str) -> None:
        """One line of a performance."""
        at, time, word, *rest = line.split()
        assert at == "at", line
        now = int(time)
        if word in ("begin", "return", "turn", "tempo", "release", "panic", "reload", "close", "settle"):
            self.subject.advance(now, self.out)
        match word:
            case "turn":
                self.subject.turn(rest[0], self._value(rest[0], " ".join(rest[1:])), now, self.out)
            case "tempo":
                self.tempos.set(now, Fraction(rest[0]))
                self.subject.retime(now)
            case "begin":
                self.subject.begin(now, self.out)
            case "return":
                self.subject.return_port(rest[0], now, self.out)
            case "release":
                player = self._player(rest[0])
                if "+" in rest[0]:
                    self.subject.part(player, now, self.out)
                    self.playing.discard(player)
                else:
                    self.subject.release(player, now, self.out)
            case "panic":
                self.subject.silence(now, self.out, every_key=rest == ["every", "key"])
            case "rename":
                self.subject.rename(*rest)
                names = {name: name.replace(rest[0], rest[1], 1) for name in self.players}
                self.players = {
                    names[name] if _port(name) == rest[0] else name: player for name, player in self.players.items()
                }
            case "reload":
                self.ruleset = self.reloads.pop(0)
                self.subject.replace(self.ruleset, now, self.out)
            case "close":
                self.subject.close(now, self.out)
            case "settle":
                self.subject.settle(now, self.out)
            case _:
                self.subject.feed(self._player(word), bytes_of(" ".join(rest)), now, self.out)

    def finish(self) -> None:
        """Lets out what is pending."""
        self.subject.advance(NEVER - 1, self.out)

    def _player(self, name: str) -> int:
        is_take = "+" in name
        if name not in self.players:
            self.players[name] = (self.subject.add_hand if is_take else self.subject.add_player)(_port(name))
        player = self.players[name]
        if is_take and player not in self.playing:
            self.playing.add(player)
            self.subject.join(player)
        return player

    def _value(self, switch: str, text: str) -> bool | int | str:
        kind = self.ruleset.switches[switch]
        if isinstance(kind, OnOffSwitch):
            return {"on": True, "off": False}[text]
        return text if isinstance(kind, ValueSwitch) else int(text)

    def written(self) -> list[str]:
        """What came out, as lines."""
        others = {player: name.removeprefix(_port(name)) for name, player in self.players.items()}
        return [
            f"at {due} {port}{others.get(player, '')} {format_message(message)}"
            for port, message, due, player in self.out
        ]


def _port(name: str) -> str:
    """The port of a player: `keys` of `keys`, `keys#2` and `keys+take`."""
    return name.partition("#")[0].partition("+")[0]


def bytes_of(text: str) -> bytes:
    """A message in words; what starts with F7 is taken as hex, since it is none by itself."""
    return bytes.fromhex(text) if text.startswith("F7") else parse_whole_message(text)


def played(make: MakeSubject, rules: str, performance: str, reloads: Iterable[str] = ()) -> list[str]:
    """What comes out when `performance` is played with `rules`."""
    ruleset, tempos = ruleset_of(rules), Tempos()
    stage = Stage(make(ruleset, tempos.later), ruleset, [ruleset_of(text) for text in reloads], tempos)
    for line in lines_of(performance):
        stage.play(line)
    stage.finish()
    return stage.written()


def expected(text: str) -> list[str]:
    """What should come out, each message in the form in which it is printed."""
    lines = [line.split(maxsplit=3) for line in lines_of(text)]
    return [f"{at} {time} {port} {format_message(bytes_of(message))}" for at, time, port, message in lines]


def lines_of(text: str) -> list[str]:
    """The lines of a text, without indent, empty ones and comments (`  # ...`)."""
    lines = [line.partition("  # ")[0].strip() for line in text.splitlines()]
    return [line for line in lines if line]
