"""What a picture of the rig shows, in words and numbers, before anything has a place on the page."""

from __future__ import annotations

from dataclasses import dataclass, field

from rules.findings.finding import Severity
from rules.midi.notation import STANDARD, Naming
from rules.steps.velocity import Shape


@dataclass(frozen=True, slots=True)
class Mark:
    """A finding: its number in the picture, how grave it is in a word, where it is and what it says.

    `others` are further places that have a part in it.
    """

    number: int
    severity: Severity
    place: str
    text: str
    others: tuple[str, ...] = ()

    @property
    def label(self) -> str:
        """What stands at the part of the rig that it is about."""
        return f"{self.severity} {self.number}"


@dataclass(frozen=True, slots=True)
class Exit:
    """A way out of a rule: to a port or device, with the channels in words; `sometimes` while switches allow it."""

    target: str
    label: str
    sometimes: bool = False


@dataclass(frozen=True, slots=True)
class ZoneView:
    """One zone of a split: its name, what it asks for, its keys as ranges (ends included), steps and exits."""

    name: str
    asks: str
    keys: tuple[tuple[int, int], ...]
    when: str
    steps: tuple[str, ...]
    exits: tuple[Exit, ...]


@dataclass(frozen=True, slots=True)
class RuleView:
    """One rule: its number from 1, name, sources, the channels that it takes, and in words what it asks for and does.

    A rule with zones has its exits there. `naming` says how its file names notes.
    """

    number: int
    name: str
    sources: tuple[str, ...]
    label: str
    asks: str
    when: str
    steps: tuple[str, ...]
    exits: tuple[Exit, ...]
    zones: tuple[ZoneView, ...] = ()
    marks: tuple[Mark, ...] = ()
    naming: Naming = STANDARD

    @property
    def every_exit(self) -> tuple[Exit, ...]:
        """The exits of the rule, or of all its zones."""
        return (*self.exits, *(leaving for zone in self.zones for leaving in zone.exits))


@dataclass(frozen=True, slots=True)
class EndView:
    """A source, an output port, or a device at one: its name, facts a line each, and findings."""

    name: str
    facts: tuple[str, ...] = ()
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True, slots=True)
class OutputView:
    """An output port with the devices at it."""

    port: EndView
    devices: tuple[EndView, ...] = ()


@dataclass(frozen=True, slots=True)
class Curve:
    """A velocity curve: its letters in the picture, its words, where it is used, and its shape."""

    letters: str
    words: str
    places: tuple[str, ...]
    shape: Shape


@dataclass(frozen=True, slots=True)
class RigView:
    """The whole rig. `switches` and `marks` are a line of text each below the picture, `more_marks` those without."""

    title: str
    sources: tuple[EndView, ...]
    rules: tuple[RuleView, ...]
    outputs: tuple[OutputView, ...]
    switches: tuple[tuple[str, str], ...] = ()
    marks: tuple[Mark, ...] = ()
    more_marks: int = 0
    curves: tuple[Curve, ...] = field(default=())
