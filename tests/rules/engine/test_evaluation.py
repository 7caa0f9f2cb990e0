"""One message's way through the tables."""

from __future__ import annotations

from fractions import Fraction

from rules.compiler.compiler import compile_rules
from rules.engine.engine import Engine
from rules.engine.evaluation import Evaluation
from rules.program.event import Event, Family
from rules.rulefile.reading import read_rules
from rules.timing.delays import Delay, steady_nanoseconds

PORTS = "[ports]\nkeys = { input = true }\nrack = { output = true }\nsynth = { output = true }\n"
SWITCH = '[switches]\nup = { from = "keys", controller = 20, mode = "momentary", pass_on = true }\n'
NOTE_ON = b"\x90\x3c\x64"


def engine_of(*steps: str, head: str = SWITCH) -> Engine:
    """An engine with one rule for each list of steps, all from the keys to the rack."""
    rules = "".join(f'[[rules]]\nfrom = "keys"\nto = "rack"\nsteps = [{each}]\n' for each in steps)
    engine = Engine(
        compile_rules(read_rules([("rules.toml", f"{PORTS}{head}{rules}".encode())])), steady_nanoseconds(120)
    )
    engine.add_player("keys")
    return engine


def evaluated(engine: Engine, message: bytes, *, trying: bool = False, known: bool = False) -> list[Event]:
    """What becomes of a message."""
    table = engine.pipeline.tables[0]
    start = Event(0, 0, 0, message, 0, Family(engine.word))
    start.known = known
    evaluation = Evaluation(engine, start, table, 0, [])
    evaluation.trying = trying
    evaluation.run()
    return evaluation.events


def bytes_of(events: list[Event]) -> list[bytes]:
    """The messages alone."""
    return [event.message for event in events]


def test_an_evaluation_takes_every_lane() -> None:
    """Two rules are two events, in file order."""
    engine = engine_of("{ transpose = 12 }", "{ rechannel = 2 }")
    assert bytes_of(evaluated(engine, NOTE_ON)) == [b"\x90\x48\x64", b"\x91\x3c\x64"]


def test_an_evaluation_sees_the_switches_as_its_own_message_turned_them() -> None:
    """A trigger that may pass goes through rules that it has just opened."""
    engine = engine_of('{ map = { controllers = { 20 = 21 } }, when = "up" }')
    assert bytes_of(evaluated(engine, b"\xb0\x14\x7f")) == [b"\xb0\x15\x7f"]
    assert bytes_of(evaluated(engine, b"\xb0\x14\x00")) == [b"\xb0\x14\x00"]


def test_a_trial_changes_nothing() -> None:
    """Neither a switch nor what a `send` knows of its pedal, and nothing is fired."""
    engine = engine_of('{ send = { messages = ["program 4"], pass_on = true } }')
    assert bytes_of(evaluated(engine, b"\xb0\x14\x7f", trying=True)) == [b"\xb0\x14\x7f"]
    assert engine.word == engine.pipeline.layout.initial
    assert bytes_of(evaluated(engine, b"\xb0\x14\x7f")) == [b"\xb0\x14\x7f", b"\xc0\x03"]


def test_chasing_fires_nothing_but_is_remembered() -> None:
    """A pedal that is down already doesn't fire when it is moved on."""
    engine = engine_of('{ send = { messages = ["program 4"], pass_on = true } }')
    assert bytes_of(evaluated(engine, b"\xb0\x40\x7f", known=True)) == [b"\xb0\x40\x7f"]
    assert bytes_of(evaluated(engine, b"\xb0\x40\x7e")) == [b"\xb0\x40\x7e"]


def test_delays_add_up_on_the_way() -> None:
    """An event is as late as the sum of what it went through, and knows where nothing overtakes."""
    (event,) = evaluated(engine_of("{ delay = 5 }, { delay = 7 }"), NOTE_ON)
    assert event.lasting == Delay(Fraction(12))
    assert [place[-1] for place, _ in event.names] == ["delay", "delay"]


def test_a_copy_holds_up_nothing() -> None:
    """Behind an echo only the note itself waits for others (ruling 22)."""
    note, copy = evaluated(engine_of("{ echo = { ms = 20 } }, { delay = 5 }"), NOTE_ON)
    assert (len(note.names), len(copy.names), copy.lasting) == (1, 0, Delay(Fraction(25)))


def test_an_evaluation_ends_at_a_node_that_waits() -> None:
    """A value goes to the `thin`, as late as it is by then; what it becomes behind is nobody's business yet."""
    engine = engine_of("{ delay = 5 }, { thin = 30 }, { transpose = 12 }")
    (value,) = evaluated(engine, b"\xb0\x07\x7f")
    assert value.node is not None
    assert (value.target, value.message, value.lasting) == (
        engine.target_of(value.node),
        value.message,
        Delay(Fraction(5)),
    )
    assert value.target < 0


def test_notes_go_past_a_node_that_thins() -> None:
    """A note that is made behind it isn't held back, and has all its delays (ruling 23)."""
    engine = engine_of('{ thin = 30 }, { map = { from = "controller 7", to = "note 60" } }, { delay = 5 }')
    note, value = evaluated(engine, b"\xb0\x07\x7f")
    assert (note.target, note.message, note.lasting) == (0, b"\x90\x3c\x7f", Delay(Fraction(5)))
    assert value.target < 0
    (other,) = evaluated(engine, b"\xb0\x08\x7f")
    assert other.target < 0


def test_release_shapes_follow_each_other() -> None:
    """A note keeps how its release is to be shaped, through steps with a memory too."""
    shape = "{ velocity = { percent = 50, release = true } }"
    engine = engine_of(f"{shape}, {{ delay = 5 }}, {shape}")
    (event,) = evaluated(engine, NOTE_ON)
    assert event.release is not None
    assert (event.message[2], event.release[100]) == (25, 25)
