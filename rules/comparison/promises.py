"""The promises of rule files: proved for all messages and all states of the switches, or refuted by one (ruling 36).

A promise is about what rules do to a message by itself. What is up to messages before it, as what a `thin` holds back,
is decided only where it makes no difference; else the promise is not decidable.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from rules.behaviour.agreement import same_bytes
from rules.behaviour.behaviour import STATUSES, Behaviour, Way
from rules.behaviour.regions import Region, merged, subtracted
from rules.errors import Problem
from rules.fields.matching import split_any
from rules.fields.when import written_states
from rules.midi.messages import LENGTH, NOTE_OFF, SYSEX
from rules.midi.notation import Naming, format_message
from rules.program.byte_tables import IDENTITY
from rules.program.forms import Form
from rules.program.pipeline import Pipeline
from rules.program.switch_states import State
from rules.rulefile.locations import Location
from rules.rulefile.promise_table import Promise
from rules.rulefile.reading import Reading
from rules.rulefile.ruleset import RuleSet
from rules.timing.delays import AT_ONCE

Verdict = Literal["proved", "refuted", "not decidable"]


@dataclass(frozen=True, slots=True)
class Example:
    """A message from a source, and what the switches are at; those that aren't named are in their initial states."""

    source: str
    message: bytes
    switches: Mapping[str, State]


@dataclass(frozen=True, slots=True)
class PromiseResult:
    """How a promise fares: its place, the verdict, and, unless it is proved, the smallest message to show it.

    `example` of a promise that is not decidable breaks it or not, by what came before. `says` is what it does, in
    words.
    """

    promise: Promise
    place: Location
    verdict: Verdict
    example: Example | None = None
    says: str = ""

    @property
    def problem(self) -> Problem:
        """What is wrong, for a promise that isn't proved."""
        if self.verdict == "refuted":
            return self.place.problem(f"broken: {self.says}")
        return self.place.problem(f"not decidable: {self.says}, and that depends on messages before it")


def judge_promises(reading: Reading, pipeline: Pipeline) -> list[PromiseResult]:
    """Judge every promise of rule files by the pipeline that they were compiled to."""
    if not reading.promises:
        return []
    judge = PromiseJudge(reading.ruleset, Behaviour(pipeline))
    results = []
    for promise, place in zip(reading.ruleset.promises, reading.promises, strict=True):
        verdict, example = judge.verdict(promise)
        says = "" if example is None else _says(promise, verdict, example, place.source.naming)
        results.append(PromiseResult(promise, place, verdict, example, says))
    judge.behaviour.forget()
    return results


@dataclass(frozen=True, slots=True)
class _Suspects:
    """The incoming messages of one status that break a promise: for sure, and by what may be remembered."""

    source: str
    status: int
    certain: Sequence[Region]
    possible: Sequence[Region]


class PromiseJudge:
    """Judges promises about a rule set by its behaviour."""

    def __init__(self, ruleset: RuleSet, behaviour: Behaviour) -> None:
        self.behaviour = behaviour
        """The ways of all messages; they may be bounded to some data bytes."""
        self._ruleset = ruleset

    def verdict(self, promise: Promise) -> tuple[Verdict, Example | None]:
        """Return the verdict and, unless it is proved, the smallest example.

        The smallest has the fewest switches that aren't in their initial states, then the lowest status, channel and
        data bytes, then the first source.
        """
        suspects = list(self._suspects(promise))
        example = self._smallest((one, one.certain) for one in suspects)
        if example is not None:
            return "refuted", example
        example = self._smallest((one, one.possible) for one in suspects)
        return ("proved", None) if example is None else ("not decidable", example)

    # -- what breaks a promise ----------------------------------------------------------------------------------------

    def _suspects(self, promise: Promise) -> Iterator[_Suspects]:
        sources = self.behaviour.pipeline.sources
        for source in dict.fromkeys(promise.source):
            for status in STATUSES:
                meant = _meant(promise, status, self.behaviour.region(status))
                if meant:
                    yield self._of_status(promise, source, sources.index(source), status, meant)

    def _of_status(self, promise: Promise, source: str, number: int, status: int, meant: Sequence[Region]) -> _Suspects:
        counting = merged(  # a map of 14 bits makes hundreds of regions, which would be cut by one another
            region
            for way in self.behaviour.ways(number, status)
            for part in meant
            if (inside := way.within(part)) is not None
            for region in self._counting(promise, inside)
        )
        if promise.always:
            return _Suspects(
                source,
                status,
                certain=subtracted(meant, [region.for_any_memory for region in counting]),
                possible=subtracted(meant, counting),
            )
        certain = [region for region in counting if not region.remembers]
        remembering = [region for region in counting if region.remembers]
        # A message breaks it as well that does so for one reason or another, whatever is remembered.
        reached = merged(region.for_any_memory for region in remembering)
        escaping = [region.for_any_memory for region in subtracted(reached, counting)] if remembering else []
        return _Suspects(source, status, certain + subtracted(reached, escaping), counting)

    def _counting(self, promise: Promise, way: Way) -> Iterator[Region]:
        """Return which messages of a way arrive as the promise says."""
        for name in promise.never or promise.always:
            if not self._is_at(way.form, name):
                continue
            parts = [way]
            if promise.unchanged:
                parts = list(self._unchanged(way, name))
            for part in parts:
                form = part.form
                # `never` asks for what has all that `out` names, as `drop` does; `always` restricts what has it.
                kept = split_any(form, promise.out, strictly=bool(promise.never))[0] if promise.out else [form]
                yield from (Region(piece.gate_one, piece.gate_two, part.given) for piece in kept)

    def _is_at(self, form: Form, name: str) -> bool:
        """Whether a form arrives at a device or port; what has no channel arrives at every device of its port."""
        if self.behaviour.pipeline.ports[form.target] != self._ruleset.port_of(name):
            return False
        device = self._ruleset.devices.get(name)
        return device is None or None in (device.channel, form.channel) or device.channel == form.channel

    def _unchanged(self, way: Way, name: str) -> Iterator[Way]:
        """Return the part of a way whose messages arrive at once and as they came, on a device's channel."""
        shapes_release = way.form.release is not None and way.form.release != IDENTITY
        if way.delay != AT_ONCE or way.lasts is not None or shapes_release or (way.written and way.literal):
            return
        device = self._ruleset.devices.get(name)
        status = way.status
        if device is not None and device.channel is not None and status < SYSEX:
            status = status & 0xF0 | (device.channel - 1)
        for firsts, seconds in same_bytes(way.form, Form(status)):
            if (inside := way.within(Region(firsts, seconds))) is not None:
                yield inside

    # -- examples -----------------------------------------------------------------------------------------------------

    def _smallest(self, suspects: Iterable[tuple[_Suspects, Sequence[Region]]]) -> Example | None:
        best: tuple[tuple[int, ...], str] | None = None
        for one, regions in suspects:
            for region in regions:
                found = self._size(one.status, region), one.source
                if best is None or found[0] < best[0]:
                    best = found
        if best is None:
            return None
        (_, kind, channel, first, second, *codes), source = best
        status = kind | channel
        message = bytes((status, first, second))[: LENGTH[status] or 1] if status < SYSEX else _system(status)
        fields = self.behaviour.pipeline.layout.fields
        states = {
            name: field.states[code]
            for (name, field), code in zip(fields.items(), codes, strict=True)
            if code != field.first
        }
        return Example(source, message, states)

    def _size(self, status: int, region: Region) -> tuple[int, ...]:
        """Return what examples are compared by; the last numbers are the codes of the switches."""
        gates = {str(dimension.name): gate for dimension, gate in region.given if dimension.kind == "switch"}
        codes = []
        for name, field in self.behaviour.pipeline.layout.fields.items():
            gate = gates.get(name)
            codes.append(field.first if gate is None or gate >> field.first & 1 else _lowest(gate))
        firsts = [field.first for field in self.behaviour.pipeline.layout.fields.values()]
        turned = sum(code != first for code, first in zip(codes, firsts, strict=True))
        kind, channel = (status & 0xF0, status & 0x0F) if status < SYSEX else (status, 0)
        return (turned, kind, channel, _lowest(region.firsts), _lowest(region.seconds), *codes)


_OFF_KINDS: Final = frozenset({"note-off"})


def _meant(promise: Promise, status: int, region: Region) -> list[Region]:
    """Return the messages of a status and a region that a promise is about, as its `match` says.

    Note-offs go where their note-ons went, so they are meant only by name; so are clock and transport.
    """
    conditions = promise.match
    if status & 0xF0 == NOTE_OFF:
        conditions = tuple(condition for condition in conditions if _OFF_KINDS & (condition.kind or frozenset()))
    elif status > SYSEX:
        conditions = tuple(condition for condition in conditions if condition.kinds is not None)
    elif not conditions:
        return [region]
    if not conditions:
        return []
    form = Form(status, gate_one=region.firsts, gate_two=region.seconds)
    return [Region(piece.gate_one, piece.gate_two) for piece in split_any(form, conditions)[0]]


def _lowest(gate: int) -> int:
    return (gate & -gate).bit_length() - 1


def _system(status: int) -> bytes:
    """A message of a system status, with data of no meaning."""
    if status == SYSEX:
        return b"\xf0\xf7"
    return bytes((status, *(0,) * (LENGTH[status] - 1)))


def _says(promise: Promise, verdict: Verdict, example: Example, naming: Naming) -> str:
    names = " or ".join(promise.never or promise.always)
    as_said = " unchanged" if promise.unchanged else " as promised" if promise.out else ""
    if promise.never:
        does = f"reaches {names}" if verdict == "refuted" else f"may reach {names}"
    else:
        does = f"{'does' if verdict == 'refuted' else 'may'} not reach {names}{as_said}"
    where = f", with {written_states(example.switches.items())}" if example.switches else ""
    return f"{format_message(example.message, naming)} from {example.source} {does}{where}"
