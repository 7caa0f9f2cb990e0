"""A journal played again: the same rules, messages and commands at the same times give the same messages out."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

import rules.journal.format as journal
from rules.compiler.compiler import compile_rules
from rules.engine.delivery import Sent
from rules.engine.pending_limit import MOST_PENDING
from rules.engine.session import Session
from rules.journal.format import NO_NAMES, Names, Record
from rules.program.pipeline import Pipeline
from rules.rulefile.reading import read_rules
from rules.rulefile.ruleset import RuleSet


class Replay:
    """A session that does what records say. Before the first RULES record there is none, and others do nothing.

    `names` is what numbers mean in records that don't begin with the performance: earlier rules have given them.
    """

    def __init__(self, names: Names = NO_NAMES) -> None:
        self.session: Session | None = None
        self._names = names
        self._begins: int | None = None
        self.now = 0

    def feed(self, record: Record, out: list[Sent]) -> None:
        """Play one record; what goes out is appended to `out`. Raises RuleFileError for rules that can't be read."""
        kind, time, number, data = record
        if kind == journal.RECORDED:  # what was due by then was sent, and logged, a moment later perhaps
            return
        self.now = max(self.now, time)
        session = self.session
        if session is not None and self._begins is not None:
            if kind == journal.STATE:
                session.engine.restore(journal.state_in(data))
            if kind in (journal.STATE, journal.WALL):
                return
            in_silence = kind == journal.PANIC
            self._begin(session, self._begins, out, in_silence=in_silence)
            if in_silence:
                return
        if kind == journal.RULES:
            self._rule(data, time, out)
        elif session is None:
            return
        elif kind == journal.IN:
            session.arrive(number, data, time, out)
        elif kind == journal.LOST and data == journal.ENDED:
            session.end_take(number, time, out)
        elif kind == journal.LOST:
            session.lose(number, time, out)
        elif kind == journal.TAKE:
            session.begin_take(data.decode(), time, out)
        elif kind == journal.BACK:
            session.return_output(data.decode(), time, out)
        elif kind == journal.TURN:
            session.turn(*journal.turn_in(data), time, out)
        elif kind == journal.ORDER:
            session.order_clock(journal.order_in(data), time, out)
        elif kind == journal.SKIPPED:
            session.skip_clock(journal.skipped_in(data), time, out)
        elif kind == journal.PANIC:
            session.panic(time, out, every_key=data == b"\x01")
        elif kind == journal.RENAMED:
            session.rename(*journal.renamed_in(data))
        elif kind == journal.LEFT:
            session.leave(time, out)

    def finish(self, out: list[Sent]) -> None:
        """Send what was due by the time of the last record."""
        if self.session is not None:
            if self._begins is not None:
                self._begin(self.session, self._begins, out)
            self.session.advance(self.now, out)

    def _begin(self, session: Session, now: int, out: list[Sent], *, in_silence: bool = False) -> None:
        self._begins = None
        session.start(now, out, in_silence=in_silence)

    def _rule(self, data: bytes, time: int, out: list[Sent]) -> None:
        if self.session is None:
            self.session = Session(
                *_prepared(data, self._names.ports),
                known=self._names.players,
                most_pending=MOST_PENDING,
                known_takes=self._names.takes,
            )
            self._begins = time  # records that come next may tell how the switches stand, and of a silence before it
        else:
            self.session.replace(*_prepared(data, self.session.pipeline.ports), time, out)


@lru_cache(maxsize=8)
def _prepared(data: bytes, ports: tuple[str, ...]) -> tuple[RuleSet, Pipeline]:
    """The rules of a record; an evening of trying this and that has few of them, again and again."""
    ruleset = read_rules(journal.rules_in(data))
    return ruleset, compile_rules(ruleset, ports)


def replay(records: Iterable[Record]) -> list[tuple[int, bytes, int]]:
    """Return what goes out when a journal is played again: (port number, message, due time in ns), in order.

    Of a journal that begins with its session this is, one for one, what its OUT records tell.
    """
    player = Replay()
    out: list[Sent] = []
    for record in records:
        player.feed(record, out)
    player.finish(out)
    return [(target, message, due) for target, message, due, _ in out]
