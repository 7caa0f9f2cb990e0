"""`thin` in the slow model: what passes, and what waits in place of what waited before (ruling 23)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from rules.steps.thin import ThinStep
from rules.timing.delays import AT_ONCE, Delay
from tests.model import facts
from tests.model.agenda import Pending
from tests.model.chain import Stop
from tests.model.ledger import Item
from tests.model.merging import Out
from tests.model.state import State


@dataclass(slots=True)
class Thin:
    """What one `thin` remembers of one thing (ruling 23)."""

    last: int | None = None
    passing: object = None
    fine_may_follow: bool = False
    coarse: list[Item] = field(default_factory=list)
    fine: list[Item] = field(default_factory=list)
    pending: Pending | None = None


class Thins:
    """All of them. `let_on` lets a value go on behind its step."""

    def __init__(self, state: State, let_on: Callable[[Item, int, Out], None]) -> None:
        self.state = state
        self.let_on = let_on
        self.all: dict[tuple[object, ...], Thin] = {}

    def take(self, item: Item, stop: Stop, step: ThinStep, now: int, out: Out) -> None:
        """A `thin`: an item passes, or waits in place of the one that waited."""
        kind, channel, number = item.message[0] & 0xF0, facts.channel_of(item.message), facts.number_of(item.message)
        is_fine = kind == 0xB0 and 33 <= number <= 63
        thin = self.all.setdefault((*stop.at, channel, kind, number - 32 if is_fine else number), Thin())
        alike = self._alike(item, stop)
        if thin.passing is not alike:
            if is_fine and thin.fine_may_follow:
                thin.passing, thin.fine_may_follow = alike, False
            elif thin.last is None or now >= self.state.later(thin.last, Delay(step.ms)):
                thin.last, thin.passing, thin.fine_may_follow = now, alike, not is_fine
            else:
                return self._wait(thin, item, stop, step, is_fine)
        self.let_on(item, now, out)

    def _alike(self, item: Item, stop: Stop) -> object:
        """What one message brings to a step alike, on whatever ways, passes or waits together."""
        return item.family.alike.setdefault((stop.at, item.message, item.delay), object())

    def _wait(self, thin: Thin, item: Item, stop: Stop, step: ThinStep, is_fine: bool) -> None:
        waiting = thin.fine if is_fine else thin.coarse
        if not (waiting and self._alike(waiting[0], stop) is self._alike(item, stop)):
            waiting.clear()
            if not is_fine:
                thin.fine.clear()
                thin.fine_may_follow = False
        waiting.append(item)
        if thin.pending is None:
            assert thin.last is not None
            due = self.state.later(thin.last, Delay(step.ms))
            pending = Pending(due, item.order, lambda due, out: self._open(thin, due, out))
            thin.pending = self.state.agenda.add(pending)
        thin.pending.order = (thin.coarse or thin.fine)[0].order

    def _open(self, thin: Thin, now: int, out: Out) -> None:
        """The time of a `thin` has come: what waited passes, from now."""
        waiting = [*thin.coarse, *thin.fine]
        assert thin.pending is not None
        order = thin.pending.order
        thin.last, thin.passing = now, None
        thin.fine_may_follow = bool(thin.coarse) and not thin.fine
        thin.coarse.clear()
        thin.fine.clear()
        thin.pending = None
        for item in waiting:
            item.base, item.delay, item.waited, item.order = now, AT_ONCE, 0, order
            self.let_on(item, now, out)

    def forget(self, player: int) -> None:
        """What a player sent waits no longer."""
        for thin in self.all.values():
            thin.coarse = [item for item in thin.coarse if item.player != player]
            thin.fine = [item for item in thin.fine if item.player != player]
            if thin.pending is not None and not thin.coarse and not thin.fine:
                self.state.agenda.remove(thin.pending)
                thin.pending = None
