"""The behaviour of compiled rules: every way that messages take, exactly, from the tables.

A *way* leads from a region of incoming messages (see `regions`) to an output port, and says what arrives there. All
messages of its region take it, so the ways of a source are few however many messages there are: all 1,314,816 short
channel messages in every state of the switches. Several ways may lead from one message. What no way leads from comes
to nothing.

    behaviour = Behaviour(pipeline)
    for way in behaviour.ways(source, 0x90):    # source by number, status of the incoming messages
        way.region, way.form.target, way.form.status, way.written, way.delay

A message is followed as if nothing were held and nothing due (ruling 9), so a note-off is one whose note-on isn't
known. Where a node goes by what it remembers, the region asks for that: `Region.remembers`. What a switch sends when it
turns, chased values and setups are no ways of a message.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from typing import Final, NamedTuple

from rules.behaviour.form_joining import joined
from rules.behaviour.regions import NOTHING_GIVEN, Dimension, DimensionKind, Given, Region, given_of, met
from rules.behaviour.turning import NOT_TURNED, Turned, conditions, turned_by
from rules.midi.messages import KEY_PRESSURE, LENGTH, NOTE_ON, SYSEX, split_message
from rules.program.byte_tables import ALL, FIRST, NO_BYTE, constant, gate_of
from rules.program.forms import Form
from rules.program.node import NodeResult
from rules.program.pipeline import Pipeline
from rules.program.tables import AnyNode, Lane, Table
from rules.steps.trigger_node import TriggerNode
from rules.timing.delays import AT_ONCE, Delay

_NO_FORM: Final = Form(0)

STATUSES: Final = range(0x80, 0x100)
"""Every status that a message can have when it arrives; a note-on of velocity 0 arrives as the note-off it is."""


class Way(NamedTuple):
    """One way from incoming messages to an output port.

    `status` is that of the messages as they arrive. The gates of `form` are for their data bytes, its tables and its
    status say what they become, its target is the number of the port. `given` says for which switches, as they were
    before, and for what nodes remember. It goes out after `delay`, and a note `lasts` a fixed time (None: as long as
    its key is held). Of what a `send` step wrote, `literal` is true, and a system message has its bytes in `written`.
    """

    status: int
    form: Form
    given: Given = NOTHING_GIVEN
    delay: Delay = AT_ONCE
    lasts: Delay | None = None
    literal: bool = False
    written: bytes = b""

    @property
    def region(self) -> Region:
        """The incoming messages that go this way."""
        return Region(self.form.gate_one, self.form.gate_two, self.given)

    def within(self, region: Region) -> Way | None:
        """Return the same way for the messages of a region alone; None if there are none."""
        shared = self.region.meet(region)
        if shared is None:
            return None
        form = self.form._replace(gate_one=shared.firsts, gate_two=shared.seconds)
        return self._replace(form=form, given=shared.given)

    def arriving(self, first: int, second: int) -> bytes:
        """Return what arrives for the data bytes of a message: its bytes, of a system message its status alone."""
        form = self.form
        if self.written:
            return self.written
        if form.status >= SYSEX:
            return bytes((form.status,))
        one = form.one[first if form.feed_one == FIRST else second]
        if LENGTH[form.status] == 2:
            return bytes((form.status, one))
        return bytes((form.status, one, form.two[first if form.feed_two == FIRST else second]))


def whole_region(status: int) -> Region:
    """Return the region of all messages of a status."""
    if status >= SYSEX:
        return Region(1, 1)
    if LENGTH[status] == 2:
        return Region(ALL, 1)
    return Region(ALL, ALL & ~1) if status & 0xF0 == NOTE_ON else Region()


class Behaviour:
    """The ways of all sources of a pipeline, found when they are first asked for.

    `region` gives the messages of a status that are looked at, which are all as a rule; of others it says nothing.
    """

    def __init__(self, pipeline: Pipeline, region: Callable[[int], Region] = whole_region) -> None:
        self.pipeline = pipeline
        self.region: Final = region
        self._rows: dict[tuple[Table, int], _Row] = {}
        self._ways: dict[tuple[int, int], Sequence[Way]] = {}

    def ways(self, source: int, status: int) -> Sequence[Way]:
        """Return every way from messages of a status (80-FF) that arrive from a source, by its number."""
        key = source, status
        if key not in self._ways:
            found = joined((way.form, way._replace(form=_NO_FORM)) for way in self._walk(source, status))
            self._ways[key] = tuple(way._replace(form=form) for form, way in found)
        return self._ways[key]

    def outcome(self, source: int, message: bytes, word: int) -> list[Way]:
        """Return the ways that one message takes, with the switches at a word; some may be up to what is remembered."""
        status, first, second = split_message(message)
        return [
            way
            for way in self.ways(source, status)
            if way.form.gate_one >> first & 1 and way.form.gate_two >> second & 1 and self.holds(way.given, word)
        ]

    def holds(self, given: Given, word: int) -> bool:
        """Return whether the switches of a word are as a region asks; what it asks of memory isn't looked at."""
        fields = self.pipeline.layout.fields
        for dimension, gate in given:
            if dimension.kind == "switch":
                field = fields[str(dimension.name)]
                if not gate >> ((word & field.mask) >> field.shift) & 1:
                    return False
        return True

    def forget(self) -> None:
        """Forget what was found, piece by piece: freeing thousands of ways in one go would hold up the music."""
        while self._ways:
            self._ways.popitem()
        while self._rows:
            self._rows.popitem()

    # -- the walk -----------------------------------------------------------------------------------------------------

    def _walk(self, source: int, status: int) -> Iterator[Way]:
        """Follow all messages of a status: through the steps of the port, past its switches, through the rules."""
        table = self.pipeline.tables[source]
        whole = self.region(status)
        if not whole.exists:
            return
        start = Way(status, Form(status, gate_one=whole.firsts, gate_two=whole.seconds))
        if self._row(table, status).turning:
            yield from self._enter(table, [start])
            return
        arrived: list[Way] = []
        rules = table
        for way in self._follow(table, start, NOT_TURNED):
            if way.form.node is None:
                yield way
            else:
                assert way.form.node.after is not None
                rules = way.form.node.after
                arrived.append(way._replace(form=way.form._replace(node=None)))
        yield from self._enter(rules, arrived)

    def _enter(self, table: Table, arrived: Sequence[Way]) -> Iterator[Way]:
        """Follow messages that come to the rules, in order: what they turn is turned for those that come after them."""
        for number, way in enumerate(arrived):
            parts = [(way, NOT_TURNED)]
            for before in arrived[: number + 1]:
                for lane, firsts in self._row(table, before.form.status).turning:
                    parts = [after for part in parts for after in self._turn(part, before, lane, firsts)]
            for part, turned in parts:
                yield from self._follow(table, part, turned)

    def _turn(self, part: tuple[Way, Turned], before: Way, lane: Lane, firsts: int) -> Iterator[tuple[Way, Turned]]:
        """Divide the messages of a way by what they turn when `before`, which became of them, comes to a trigger."""
        way, turned = part
        node = lane.node
        if not isinstance(node, TriggerNode):  # it asks our clock for something, and turns nothing
            yield part
            return
        form = before.form.having_one(firsts)
        left = [way.region]
        for seconds, remembered, pressed in node.presses(form.status):
            pulled = form.having_two(seconds & _passing(lane.gate))
            if not pulled.exists:
                continue
            memory = Dimension("memory", (node.key, False, form.status, form.one, form.feed_one))
            # A `thin` on its way keeps no message from a switch: it only comes later to the rules.
            certain = tuple(entry for entry in before.given if entry[0].kind != "thin")
            given = met(certain, given_of({memory: remembered}))
            if given is None:
                continue
            region = Region(pulled.gate_one, pulled.gate_two, given)
            if (inside := way.within(region)) is not None:
                yield inside, turned_by(node, pressed, self.pipeline.layout, turned)
            left = [piece for one in left for piece in one.without(region)]
        for region in left:
            if (outside := way.within(region)) is not None:
                yield outside, turned

    def _follow(self, table: Table, way: Way, turned: Turned) -> Iterator[Way]:
        """Follow messages from a table on, to ports; those that come to the end of a port's steps keep their node."""
        for lane, firsts in self._row(table, way.form.status).lanes:
            for at in self._along(way, lane, firsts, turned):
                node = lane.node
                if node is None:
                    yield _arrived(at)
                elif not node.keeps_word:
                    yield at._replace(form=at.form._replace(node=node.main))
                else:
                    assert node.main.after is not None
                    for result in node.results(at.form.status):
                        behind = _behind(at, node, result)
                        if behind is not None:
                            yield from self._follow(node.main.after, behind, turned)

    def _along(self, way: Way, lane: Lane, firsts: int, turned: Turned) -> Iterator[Way]:
        """Return what takes a lane, for each setting of the switches that opens it."""
        form = way.form.having_one(firsts).having_two(_passing(lane.gate))
        if not form.exists:
            return
        one = (form.one, form.feed_one) if lane.feed_one == FIRST else (form.two, form.feed_two)
        two = (form.one, form.feed_one) if lane.feed_two == FIRST else (form.two, form.feed_two)
        release = None if way.literal else _one_after_the_other(form.release, lane.release)
        made = form._replace(
            status=lane.status,
            one=one[0].translate(lane.one),
            feed_one=one[1],
            two=two[0].translate(lane.two),
            feed_two=two[1],
            release=release,
            target=lane.target,
            rule=lane.rule or form.rule,
        )
        for open_given in conditions(lane.guard, turned, self.pipeline.layout):
            given = met(way.given, open_given)
            if given is not None:
                yield way._replace(form=made, given=given)

    def _row(self, table: Table, status: int) -> _Row:
        key = table, status
        if key not in self._rows:
            self._rows[key] = _row_of(table, status)
        return self._rows[key]


class _Row(NamedTuple):
    """The lanes under one status of a table, each with the first bytes under which it stands; triggers apart."""

    lanes: Sequence[tuple[Lane, int]]
    turning: Sequence[tuple[Lane, int]]


def _row_of(table: Table, status: int) -> _Row:
    row = table.rows[status & 0x7F]
    cells: dict[tuple[Lane, ...], int] = {}
    if row.count(row[0]) == len(row):
        cells[row[0].lanes] = ALL
    else:
        for first, cell in enumerate(row):
            cells[cell.lanes] = cells.get(cell.lanes, 0) | 1 << first
    gates: dict[Lane, int] = {}
    turning: list[tuple[Lane, int]] = []
    for lanes, firsts in cells.items():
        for lane in lanes:
            if lane.turns:  # their order counts, and only within a cell there is one
                turning.append((lane, firsts))
            else:
                gates[lane] = gates.get(lane, 0) | firsts
    return _Row(list(gates.items()), turning)


@lru_cache(maxsize=4096)
def _passing(gate: bytes) -> int:
    """The second data bytes that the gate of a lane lets through, one bit each."""
    return gate_of(byte for byte in range(128) if gate[byte] != NO_BYTE)


def _arrived(way: Way) -> Way:
    """A way at its end. A `thin` holds back neither notes nor what a `send` wrote (ruling 6)."""
    if way.given and (way.literal or way.form.status < KEY_PRESSURE):
        return way._replace(given=tuple(entry for entry in way.given if entry[0].kind != "thin"))
    return way


def _behind(way: Way, node: AnyNode, result: NodeResult) -> Way | None:
    """Return one thing that a node makes of what comes to it; None where nothing can come of it."""
    came = way.form.having_one(result.gate_one).having_two(result.gate_two)
    if not came.exists:
        return None
    made = _written(came, result) if result.written else _made(came, result)
    given = way.given
    if result.remembered != ALL and not (node.thins and way.literal):
        # A value that makes notes is remembered by the note, any other by the message that came.
        by = made if made.kind == NOTE_ON and not result.written else came
        asked = met(given, ((_memory(node, by, result), result.remembered),))
        if asked is None:
            return None
        given = asked
    way = way._replace(
        form=made,
        given=given,
        delay=way.delay if result.after is AT_ONCE else way.delay + result.after,
        lasts=way.lasts if result.lasts is None else result.lasts,
    )
    if result.written:
        return way._replace(literal=True, written=result.written if made.status >= SYSEX else b"")
    return way


def _memory(node: AnyNode, form: Form, result: NodeResult) -> Dimension:
    """The dimension of what a node remembers, by the messages that it goes by."""
    kind: DimensionKind = "thin" if node.thins else "memory"
    return Dimension(kind, (node.main.memory_key, result.of_pair, form.status, form.one, form.feed_one))


def _written(form: Form, result: NodeResult) -> Form:
    """A message that a step wrote, in place of what came."""
    status, first, second = split_message(result.written)
    return form._replace(status=status, one=constant(first), two=constant(second), release=None)


def _made(form: Form, result: NodeResult) -> Form:
    """What the tables of a node make of what came."""
    one = (form.one, form.feed_one) if result.feed_one == FIRST else (form.two, form.feed_two)
    two = (form.one, form.feed_one) if result.feed_two == FIRST else (form.two, form.feed_two)
    return form._replace(
        status=result.status,
        one=one[0].translate(result.one),
        feed_one=one[1],
        two=two[0].translate(result.two),
        feed_two=two[1],
        release=form.release if result.lasts is None else None,  # its note-off is the step's own
    )


def _one_after_the_other(first: bytes | None, second: bytes | None) -> bytes | None:
    """Two tables for release velocities as one."""
    return second if first is None else first if second is None else first.translate(second)
