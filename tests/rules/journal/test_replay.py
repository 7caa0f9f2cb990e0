"""Parity: the journal of a performance, played again, gives the identical messages, ports and times."""

from collections.abc import Callable
from functools import cache

from hypothesis import given
from hypothesis import strategies as st

import rules.journal.format as journal
from rules.compiler.compiler import compile_rules
from rules.engine.delivery import Sent
from rules.engine.session import Session
from rules.journal.format import BACK, IN, LEFT, LOST, NAMES, OUT, PANIC, RULES, STATE, TURN, WALL, Record, pack, unpack
from rules.journal.replay import replay
from rules.program.pipeline import Pipeline
from rules.program.switch_states import State
from rules.rulefile.reading import read_rules
from tests.support.outgoing_records import went_out

MS = 1_000_000

PORTS = """
bpm = 90
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
FILES = {text: (("rules.toml", text.encode()),) for text in (FIRST, SECOND)}
SETS = {text: read_rules(files) for text, files in FILES.items()}


@cache
def compiled(text: str, ports: tuple[str, ...] = ()) -> Pipeline:
    """The pipeline of a text."""
    return compile_rules(SETS[text], ports)


class Performance:
    """A session played as the daemon plays it: everything is logged, and what is due goes out at odd moments."""

    def __init__(self) -> None:
        self.log: list[Record] = []
        self.now = 5
        self.session = Session(SETS[FIRST], compiled(FIRST))
        self.log.append((RULES, self.now, 0, journal.rules_data(FILES[FIRST])))
        self.play(self.session.start)
        self.log.append((NAMES, self.now, 0, journal.names_data(journal.Names(("keys", "seq"), ("rack", "box")))))

    def play(self, call: Callable[..., None], *arguments: object) -> None:
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

    def come_back(self, port: str) -> None:
        """An output returns."""
        self.note(BACK, 0, port.encode())
        self.play(self.session.return_output, port)

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


KEYS = st.tuples(st.sampled_from([0x90, 0x90, 0x80, 0xB0, 0xE0]), st.sampled_from([24, 60, 62, 64, 67]))
MESSAGES = st.tuples(KEYS, st.sampled_from([0, 1, 64, 100, 127])).map(lambda drawn: bytes((*drawn[0], drawn[1])))
SYSTEM = st.sampled_from([b"\xf8", b"\xf8", b"\xf8", b"\xfa", b"\xfc", b"\xfe", b"\xf0\x01\xf7"])
STEPS = st.one_of(
    st.tuples(st.just("arrive"), st.integers(0, 1), MESSAGES),
    st.tuples(st.just("arrive"), st.integers(0, 1), MESSAGES | SYSTEM),
    st.just(("advance",)),
    st.tuples(st.just("lose"), st.integers(0, 1)),
    st.tuples(st.just("come_back"), st.sampled_from(["rack", "box"])),
    st.tuples(st.just("turn"), st.just("up"), st.booleans()),
    st.tuples(st.just("turn"), st.just("song"), st.sampled_from(["verse", "chorus"])),
    st.tuples(st.just("panic"), st.just(False)),
    st.tuples(st.just("replace"), st.sampled_from([FIRST, SECOND])),
)
WAITS = st.sampled_from([0, 1, 3 * MS, 20 * MS, 21 * MS, 170 * MS, 600 * MS])


@given(st.lists(st.tuples(WAITS, STEPS), max_size=40), st.booleans())
def test_the_journal_of_a_performance_gives_it_again(steps: list[tuple[int, tuple]], leaves: bool) -> None:  # type: ignore[type-arg]
    """Notes, pedals, delays, echoes, clock, active sensing, lost and returned ports, switches, panic, new rules."""
    performance = Performance()
    for wait, (verb, *arguments) in steps:
        performance.now += wait
        getattr(performance, verb)(*arguments)
    if leaves:
        performance.leave()
    written = b"".join(map(pack, performance.log))
    assert replay(unpack(written)) == went_out(performance.log)


def test_every_key_of_a_panic_is_played_again() -> None:
    """The 2,048 note-offs as well."""
    performance = Performance()
    performance.panic(True)
    assert len(went_out(performance.log)) > 2048
    assert replay(performance.log) == went_out(performance.log)


def test_what_was_due_by_the_last_record_goes_out() -> None:
    """A journal that a crash has ended tells all that happened until then."""
    performance = Performance()
    performance.arrive(1, bytes((0x90, 60, 100)))
    performance.now += 9 * MS
    performance.advance()
    assert went_out(performance.log)[-1] == (0, bytes((0x90, 60, 100)), 5 + 7 * MS)
    assert replay(performance.log) == went_out(performance.log)


def test_records_that_only_tell_are_no_events() -> None:
    """Names, switches and the time on the wall; and nothing at all happens without rules."""
    told: list[Record] = [(WALL, 9, 0, b"1.5"), (STATE, 9, 0, b"{}")]
    performance = Performance()
    assert replay([*performance.log, *told]) == went_out(performance.log)
    assert replay([(IN, 0, 0, bytes((0x90, 60, 100)))]) == []
