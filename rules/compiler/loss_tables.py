"""Loss tables: of each message that comes to nothing, why.

A loss table is looked up like the table of a source. Its lanes lead nowhere: their targets are numbers of `REASONS`. Of
the lanes that fit a message the first counts; where none does, no rule matches it. First come those of messages that
arrive somewhere, for what the engine drops all the same; then, in file order, those of messages that are lost on the
way.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from rules.compiler.cells import CellMaker
from rules.compiler.chain import Chain, OutletLink, StepLink, identity_forms
from rules.compiler.sources import SourceEntry
from rules.midi.messages import SYSEX
from rules.program.forms import Form
from rules.program.guards import both
from rules.program.loss_reasons import NO_DESTINATION, NO_ZONE, OTHER, OUT_OF_RANGE, REASONS, SWITCH
from rules.program.switch_states import Layout
from rules.program.tables import Table

_MAY_BE_DROPPED: Final = 0
_ARRIVES: Final = 1
_LOST: Final = 2
_IN_NO_ZONE: Final = 3

_Loss = tuple[int, str, Form]
"""The rank of a lane, why a message is lost there, and the form of these messages."""


def loss_table(steps: Sequence[StepLink], entry: SourceEntry, layout: Layout, cells: CellMaker) -> Table:
    """The loss table of a source, from the steps of its port and the start of its rules."""
    losses = _Losses(steps, entry, layout)
    return cells.table(losses.of(form) for form in identity_forms())


class _Losses:
    def __init__(self, steps: Sequence[StepLink], entry: SourceEntry, layout: Layout) -> None:
        self._steps = steps
        self._entry = entry
        self._layout = layout

    def of(self, form: Form) -> list[Form]:
        """The forms of the lanes of one incoming status, in order."""
        steps: Sequence[StepLink] = self._steps if form.status <= SYSEX else ()
        found = list(self._along(form, steps, OTHER))
        return [_lane_form(why, lost) for _, why, lost in sorted(found, key=lambda loss: loss[0])]

    def _along(self, form: Form, steps: Sequence[StepLink], dropped_by: str) -> Iterator[_Loss]:
        """Return what becomes of a form along the steps of the port, and behind them."""
        if not steps:
            yield from self._routed(form, dropped_by)
            return
        step, rest = steps[0], steps[1:]
        made = step.fold(form)
        yield from ((_LOST, step.step.loss, lost) for lost in remaining(form, made, self._layout))
        for new in made:
            yield from self._behind(step, new, rest, dropped_by)

    def _behind(self, step: StepLink, form: Form, rest: Sequence[StepLink], dropped_by: str) -> Iterator[_Loss]:
        if form.node is not None and step.step.writes_messages:
            yield _MAY_BE_DROPPED, step.step.loss, form
        else:
            yield from self._along(form._replace(node=None), rest, _dropping(step, form, dropped_by))

    def _routed(self, form: Form, dropped_by: str) -> Iterator[_Loss]:
        """Return what becomes of a form that comes to the rules."""
        yield from ((_LOST, SWITCH, piece) for piece in self._entry.kept_by_switches(form))
        yield from ((_ARRIVES, OTHER, piece) for piece in self._entry.let_in(form) if self._entry.clocked(piece))
        for chain, taken in self._entry.branched(form):
            yield from self._followed(taken, chain, dropped_by)
        yield from ((_IN_NO_ZONE, NO_ZONE, taken) for _, taken in self._entry.taken(form))

    def _followed(self, form: Form, chain: Chain, dropped_by: str) -> Iterator[_Loss]:
        """Return where a form ends along a chain: at ports, or on the way."""
        link, rest = chain[0], chain[1:]
        if isinstance(link, OutletLink):
            names = link.names_for(form.channel)
            if not names:
                yield _LOST, NO_DESTINATION, form
            for name in names:
                yield from self._followed(form, link.end_of(name), dropped_by)
            return
        made = link.fold(form)
        why = link.step.loss if isinstance(link, StepLink) else OUT_OF_RANGE
        yield from ((_LOST, why, lost) for lost in remaining(form, made, self._layout))
        for new in made:
            if new.target >= 0:
                yield (_ARRIVES if dropped_by == OTHER else _MAY_BE_DROPPED), dropped_by, new
            elif new.node is not None and isinstance(link, StepLink) and link.step.writes_messages:
                yield _MAY_BE_DROPPED, why, new
            else:
                yield from self._followed(new._replace(node=None), rest, _dropping(link, new, dropped_by))


def _dropping(link: object, form: Form, before: str) -> str:
    """Return why the engine may drop what arrives: the step whose node may do so, or what was so before."""
    if form.node is not None and isinstance(link, StepLink) and link.step.loss != OTHER:
        return link.step.loss
    return before


def _lane_form(why: str, form: Form) -> Form:
    """A form that only says which messages are meant. One status for all makes equal lanes one."""
    return Form(SYSEX, gate_one=form.gate_one, gate_two=form.gate_two, guard=form.guard, target=REASONS.index(why))


def remaining(form: Form, made: Iterable[Form], layout: Layout) -> list[Form]:
    """The parts of a form of which nothing is among the forms made of it."""
    left = [form]
    for part in made:
        left = [piece for one in left for piece in _without(one, part, layout)]
    return left


def _without(form: Form, part: Form, layout: Layout) -> list[Form]:
    """Return what is left of a form when incoming messages of another are taken away: pieces that don't overlap."""
    guard = both(form.guard, part.guard)
    if not guard or not form.gate_one & part.gate_one or not form.gate_two & part.gate_two:
        return [form]
    pieces = []
    if part.guard != form.guard and (shut := both(form.guard, layout.negated(part.guard))):
        pieces.append(form._replace(guard=shut))
    met = form._replace(guard=guard, gate_one=form.gate_one & part.gate_one, gate_two=form.gate_two & part.gate_two)
    return pieces + form._replace(guard=guard).without(met)
