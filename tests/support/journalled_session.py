"""A session whose journal is written as the daemon writes it, and two rule files to play in it."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import rules.journal.format as journal
from rules.compiler.compiler import compile_rules
from rules.engine.delivery import Sent
from rules.engine.session import Session
from rules.journal.format import BACK, IN, LEFT, LOST, NAMES, ORDER, OUT, PANIC, RULES, SKIPPED, TAKE, TURN, Record
from rules.program.pipeline import Pipeline
from rules.program.switch_states import State
from rules.rulefile.reading import read_rules

MS = 1_000_000

PORTS = """
clock.bpm = 90
[ports]
keys = { input = "Keys" }
seq = { input = "Seq" }
rack = { output = "Rack", clock = "seq" }
box = { output = "Box" }
[devices]
organ = { port = "rack", channel = 4, setup = ["program 17"] }
[switches]
up = { from = "keys", controller = "soft pedal", mode = "momentary" }
song = { values = ["verse", "chorus"], initial = "verse", set = [{ from = "keys", note = "C1", value = "chorus" }] }
[[on_switch]]
when = "song = chorus"
send = { organ = ["program 20"] }
"""
FIRST = (
    PORTS
    + """
[[rules]]
name = "keys"
from = "keys"
steps = [{ transpose = 12, when = "up" }, { echo = { beats = "1/2", times = 3 } }]
to = ["organ", "box"]
[[rules]]
name = "late"
from = "seq"
steps = [{ delay = { ms = 7 } }, { thin = { ms = 20 } }]
to = "rack"
"""
)
MOVED = PORTS.replace('keys = { input = "Keys" }\nseq =', 'new = { input = "New" }\nkeys = { input = "Keys" }\nseq =')
SECOND = (
    MOVED
    + """
[[rules]]
name = "keys"
from = "keys"
when = "song = chorus"
steps = [{ velocity = { percent = 50 } }, { delay = { beats = 1 } }]
to = "box"
"""
)
CLOCKED = SECOND.replace('box = { output = "Box" }', 'box = { output = "Box", clock = "own" }').replace(
    "clock.bpm = 90", 'clock = { bpm = 90, follow = "seq", go_on = true }'
)
"""The same with a clock of our own that `box` hears."""
NAMED = journal.Names(("keys", "seq"), ("rack", "box"))
FILES = {text: (("rules.toml", text.encode()),) for text in (FIRST, SECOND, CLOCKED)}
SETS = {text: read_rules(files) for text, files in FILES.items()}


@cache
def compiled(text: str, ports: tuple[str, ...] = ()) -> Pipeline:
    """The pipeline of a text."""
    return compile_rules(SETS[text], ports)


class Performance:
    """A session played as the daemon plays it: everything is logged, and what is due goes out at odd moments."""

    def __init__(
        self,
        files: tuple[tuple[str, bytes], ...] = FILES[FIRST],
        names: journal.Names = NAMED,
    ) -> None:
        ruleset = SETS[FIRST] if files == FILES[FIRST] else read_rules(files)
        self.log: list[Record] = []
        self.now = 5
        self.take: int | None = None
        self.session = Session(ruleset, compile_rules(ruleset))
        self.log.append((RULES, self.now, 0, journal.rules_data(files)))
        self.play(self.session.start)
        self.log.append((NAMES, self.now, 0, journal.names_data(names)))

    def play(self, call: Callable[..., object], *arguments: object) -> None:
        """Calls the session, and logs what goes out."""
        out: list[Sent] = []
        call(*arguments, self.now, out)
        self.log += [(OUT, due, target, message) for target, message, due, _ in out]

    def note(self, kind: int, number: int = 0, data: bytes = b"") -> None:
        """Logs what happens."""
        self.log.append((kind, self.now, number, data))

    def arrive(self, player: int, message: bytes) -> None:
        """A message."""
        self.note(IN, player, message)
        self.play(self.session.arrive, player, message)

    def advance(self) -> None:
        """The loop looks what is due; no record tells of it."""
        self.play(self.session.advance)

    def lose(self, player: int) -> None:
        """An input goes."""
        self.note(LOST, player)
        self.play(self.session.lose, player)

    def play_take(self, message: bytes) -> None:
        """A message of a take that plays as `keys`."""
        if self.take is None:
            self.play(self.session.begin_take, "keys")
            self.take = self.session.takes["keys"]
            self.note(TAKE, self.take, b"keys")
            takes = frozenset(self.session.takes.values())
            names = journal.Names(self.session.player_names, self.session.pipeline.ports, takes)
            self.note(NAMES, 0, journal.names_data(names))
        self.arrive(self.take, message)

    def end_take(self) -> None:
        """The take ends, if one plays."""
        if self.take is not None:
            self.note(LOST, self.take, journal.ENDED)
            self.play(lambda now, out: self.session.end_take(self.take or 0, now, out))
            self.take = None

    def come_back(self, port: str) -> None:
        """An output returns."""
        self.note(BACK, 0, port.encode())
        self.play(self.session.return_output, port)

    def order(self, order: str | float) -> None:
        """Our clock is asked for something."""
        self.note(ORDER, 0, journal.order_data(order))
        self.play(self.session.order_clock, order)

    def stand_still(self, time: int) -> None:
        """The computer stands still for a while."""
        begin = self.session.clock.due
        self.now += time
        if begin < self.now:
            self.note(SKIPPED, 0, journal.skipped_data(begin))
            self.play(self.session.skip_clock, begin)

    def turn(self, switch: str, state: State) -> None:
        """A switch is turned by command."""
        self.play(self.session.turn, switch, state)
        self.note(TURN, 0, journal.turn_data(switch, state))

    def panic(self, every_key: bool) -> None:
        """Everything is silenced."""
        self.note(PANIC, 0, bytes((every_key,)))
        self.play(lambda now, out: self.session.panic(now, out, every_key))

    def replace(self, text: str) -> None:
        """New rules."""
        self.note(RULES, 0, journal.rules_data(FILES[text]))
        self.play(self.session.replace, SETS[text], compiled(text, self.session.pipeline.ports))

    def leave(self) -> None:
        """The end."""
        self.note(LEFT)
        self.play(self.session.leave)
