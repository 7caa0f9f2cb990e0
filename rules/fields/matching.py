"""Which part of a form a condition takes.

Conditions on the two data bytes are a rectangle; what it leaves is two disjoint ones. `match`, `keep` and zones are
asked with `strictly` False: what has no note or velocity isn't restricted by a condition on it. `drop` is asked with
True: it takes only what has them (ruling 1). Note-offs whose note-on is unknown come with their velocity conditions
met, and for `drop` not met, so that no note-off is lost (ruling 12).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from rules.fields.conditions import Condition, Kinds
from rules.fields.numbers import Channels
from rules.midi.controllers import FIRST_MODE
from rules.midi.messages import (
    BEND_CENTRE,
    CHANNEL_PRESSURE,
    CONTROLLER,
    KEY_PRESSURE,
    KIND_OF_STATUS,
    NOTE_OFF,
    NOTE_ON,
    PITCH_BEND,
)
from rules.program.byte_tables import ALL, FIRST, gate_of
from rules.program.forms import Form

_CONTROLLERS = gate_of(range(FIRST_MODE))
_MODES = ALL & ~_CONTROLLERS
NOTE_STATUSES: tuple[int, ...] = (NOTE_OFF, NOTE_ON, KEY_PRESSURE)


def split(form: Form, condition: Condition, *, strictly: bool = False) -> tuple[list[Form], list[Form]]:
    """The part of a form that a condition takes, and the rest, as disjoint forms."""
    whole = _of_kind(form, condition.kinds)
    if whole is None or not _channel_fits(form, condition.channel):
        return [], [form]
    part = _with_notes(whole, condition, strictly)
    if part is None:
        return [], [form]
    if condition.controller is not None:
        part = part.having_one(_gate_of(condition.controller))
    if condition.program is not None:
        part = part.having_one(_gate_of(condition.program))
    if condition.value is not None:
        if form.kind == PITCH_BEND:
            return _bends(form, condition.value)
        wanted = gate_of(range(condition.value[0], condition.value[1] + 1))
        part = part.having_one(wanted) if form.kind == CHANNEL_PRESSURE else part.having_two(wanted)
    return ([part] if part.exists else []), form.without(part)


def split_any(form: Form, conditions: Sequence[Condition], *, strictly: bool = False) -> tuple[list[Form], list[Form]]:
    """Return the part of a form that any of the conditions takes, and the rest; no conditions take everything."""
    if not conditions:
        return [form], []
    taken: list[Form] = []
    left = [form]
    for condition in conditions:
        rest: list[Form] = []
        for piece in left:
            inside, outside = split(piece, condition, strictly=strictly)
            taken += inside
            rest += outside
        left = rest
    return taken, left


def statuses_of(condition: Condition) -> frozenset[int]:
    """The statuses (80-FF) of which a condition can take anything at all."""
    return _statuses(condition.kinds, condition.channel)


@lru_cache(maxsize=1024)
def _statuses(kinds: Kinds | None, channel: Channels | None) -> frozenset[int]:
    forms = map(Form, range(0x80, 0x100))
    return frozenset(form.status for form in forms if _of_kind(form, kinds) and _channel_fits(form, channel))


_gate_of = lru_cache(maxsize=1024)(gate_of)
"""The gate for a set of data bytes: many rules ask for the same notes, and each is asked under many statuses."""


def _of_kind(form: Form, kinds: Kinds | None) -> Form | None:
    """The part of the form whose kind is asked for."""
    kind = form.kind
    if kinds is None:
        return form
    if kind == NOTE_OFF:
        return form if kinds & {"note", "note-on", "note-off"} else None
    if kind == NOTE_ON:
        return form if kinds & {"note", "note-on"} else None
    if kind == CONTROLLER:
        wanted = (_CONTROLLERS if "controller" in kinds else 0) | (_MODES if "channel-mode" in kinds else 0)
        part = form.having_one(wanted)
        return part if part.exists else None
    return form if KIND_OF_STATUS.get(kind) in kinds else None


def _channel_fits(form: Form, channel: Channels | None) -> bool:
    return channel is None or form.channel in channel


def _with_notes(form: Form, condition: Condition, strictly: bool) -> Form | None:
    """The part whose note and velocity fit; None where a `drop` asks for what the form doesn't have."""
    if condition.notes is not None:
        if form.kind in NOTE_STATUSES:
            form = form.having_one(_gate_of(condition.notes))
        elif strictly:
            return None
    if condition.velocity is not None:
        if form.kind == NOTE_ON:
            form = form.having_two(_gate_of(condition.velocity))
        elif strictly:
            return None
    return form


def _bends(form: Form, value: tuple[int, int]) -> tuple[list[Form], list[Form]]:
    """A condition on the 14-bit value of a bend."""
    inside: list[Form] = []
    outside: list[Form] = []
    low, high = value[0] + BEND_CENTRE, value[1] + BEND_CENTRE
    for piece in form.spread():
        wanted = _bend_gate(piece.one, piece.two, low, high)
        for pieces, gate in ((inside, wanted), (outside, ALL & ~wanted)):
            part = gated(piece, gate)
            if part.exists:
                pieces.append(part)
    return inside, outside


@lru_cache(maxsize=4096)
def _bend_gate(one: bytes, two: bytes, low: int, high: int) -> int:
    """The values of the feeding byte for which a spread form lies between two bends (0-16383)."""
    return gate_of(number for number in range(128) if low <= two[number] << 7 | one[number] <= high)


def gated(form: Form, gate: int) -> Form:
    """A spread form, only for some values of the byte that feeds it."""
    if form.feed_two == FIRST:
        return form._replace(gate_one=form.gate_one & gate)
    return form._replace(gate_two=form.gate_two & gate)


def counts_as_taken(form: Form, condition: Condition) -> bool:
    """Return whether a condition that takes this form takes it away from `otherwise`.

    A message of the whole channel counts only where no note or velocity is asked for, or its kind is named (ruling 5).
    """
    return form.kind in NOTE_STATUSES or not condition.about_notes or condition.kinds is not None
