"""Which port of the computer each of our names means. Values in, values out: nothing is opened here."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final, Literal

if TYPE_CHECKING:  # commands that know no rule files need not load what reads them
    from rules.rulefile.port_tables import Port
    from rules.rulefile.ruleset import RuleSet

Direction = Literal["in", "out"]

_ALSA_NUMBERS: Final = re.compile(r" \d+:\d+$")
"""What ALSA appends to a name: client and port number, which change when a device is plugged in again."""

_WHICH: Final = re.compile(r"(.*?) *#([1-9]\d?)")


@dataclass(frozen=True, slots=True)
class Wanted:
    """One direction of a port of ours.

    `pattern` is what the computer calls it, or the name of the port to be made if it is `virtual`; `connection` is
    "din" for a 5-pin cable. Two ports of one name, direction, pattern and kind are the same port.
    """

    name: str
    direction: Direction
    pattern: str
    virtual: bool = False
    connection: Literal["din", "usb"] = "usb"

    @property
    def identity(self) -> tuple[str, Direction, str, bool]:
        """What makes it this port and no other; the connection may change while it stays open."""
        return self.name, self.direction, self.pattern, self.virtual

    @property
    def words(self) -> str:
        """What to call it: `input "keys"`."""
        return f'{"input" if self.direction == "in" else "output"} "{self.name}"'


def wanted_ports(ruleset: RuleSet) -> tuple[Wanted, ...]:
    """Every port of a rule set, inputs before outputs, in file order."""
    directions: tuple[Direction, ...] = ("in", "out")
    return tuple(_wanted(ruleset, directions))


def _wanted(ruleset: RuleSet, directions: Sequence[Direction]) -> Iterator[Wanted]:
    for direction in directions:
        for name, port in ruleset.ports.items():
            if port.can_receive if direction == "in" else port.can_send:
                yield Wanted(name, direction, _pattern(name, port, direction), port.virtual, port.connection)


def _pattern(name: str, port: Port, direction: Direction) -> str:
    """Return what the computer calls a port: `true`, or nothing at all, means our name."""
    told = port.both if port.both is not None else port.input if direction == "in" else port.output
    return told if isinstance(told, str) else name


# -- names -------------------------------------------------------------------------------------------------------------


def bare_name(computer_name: str) -> str:
    """A computer's name for a port without ALSA's numbers: `Step Box:Step Box MIDI 1 20:0` loses the ` 20:0`."""
    bare = _ALSA_NUMBERS.sub("", computer_name)
    return bare if bare.strip() else computer_name  # nothing else is left by which to name it


@dataclass(frozen=True, slots=True)
class Found:
    """A pattern means exactly one port, at this index of the names."""

    index: int


@dataclass(frozen=True, slots=True)
class Missing:
    """A pattern means no port that is there."""


@dataclass(frozen=True, slots=True)
class Ambiguous:
    """A pattern means several ports: their bare names, in the computer's order."""

    candidates: tuple[str, ...]


def find_port(pattern: str, names: Sequence[str], hidden: Collection[int] = ()) -> Found | Missing | Ambiguous:
    """Return which of the computer's `names` a pattern means; those at `hidden` indexes, our own, are never meant.

    `*` stands for any letters, `?` for one, case is ignored. The pattern is held against whole names first; where none
    fits, against what stands before the first colon (the device), then against what stands behind it (its port). A
    ` #2` at the end chooses the second of all that fit, which tells equal names apart.
    """
    fits = matching_ports(pattern, names, hidden)
    if not fits:
        return Missing()
    if len(fits) == 1:
        return Found(fits[0])
    return Ambiguous(tuple(bare_name(names[index]) for index in fits))


def matching_ports(pattern: str, names: Sequence[str], hidden: Collection[int] = ()) -> list[int]:
    """The indexes of all ports that a pattern may mean, as `find_port` understands it."""
    shown = [(index, bare_name(name)) for index, name in enumerate(names) if index not in hidden]
    fits = _fitting(pattern, shown)
    if not fits and (which := _WHICH.fullmatch(pattern)):
        fits = _fitting(which[1], shown)[int(which[2]) - 1 :][:1]
    return [index for index, _ in fits]


def _fitting(pattern: str, shown: Sequence[tuple[int, str]]) -> list[tuple[int, str]]:
    """The names that a pattern fits: as a whole, else by device, else by the device's port."""
    fits = _glob(pattern).fullmatch
    whole = [one for one in shown if fits(one[1])]
    if whole:
        return whole
    device = [one for one in shown if fits(one[1].partition(":")[0])]
    return device or [one for one in shown if ":" in one[1] and fits(one[1].partition(":")[2])]


@lru_cache(maxsize=256)
def _glob(pattern: str) -> re.Pattern[str]:
    """A pattern of `*` and `?` only: brackets are common in names of ports (ruling 7)."""
    parts = ({"*": ".*", "?": "."}.get(letter, re.escape(letter)) for letter in pattern)
    return re.compile("".join(parts), re.IGNORECASE | re.DOTALL)


# -- reload ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PortChanges:
    """What a reload means for ports: to open, to leave as they are (as they are wanted now), and to close."""

    add: tuple[Wanted, ...]
    keep: tuple[Wanted, ...]
    drop: tuple[Wanted, ...]


def port_changes(before: Iterable[Wanted], wanted: Iterable[Wanted]) -> PortChanges:
    """Return what to do with the ports there were `before`, so that the `wanted` ones are there."""
    before, wanted = tuple(before), tuple(wanted)
    had = {port.identity for port in before}
    stays = {port.identity for port in wanted}
    return PortChanges(
        add=tuple(port for port in wanted if port.identity not in had),
        keep=tuple(port for port in wanted if port.identity in had),
        drop=tuple(port for port in before if port.identity not in stays),
    )
