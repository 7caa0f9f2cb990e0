"""One message's way through the tables."""

from __future__ import annotations

from rules.compiler.compiler import compile_rules
from rules.engine.engine import Engine
from rules.engine.evaluation import Emission, Walk
from rules.midi.messages import split_message
from rules.rulefile.reading import read_rules
from rules.timing.delays import steady_nanoseconds

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


def walked(engine: Engine, message: bytes, *, trying: bool = False, catching_up: bool = False) -> list[Emission]:
    """What becomes of a message."""
    table = engine.pipeline.tables[0]
    walk = Walk(engine, 0, 0, 0, engine.word, message, table)
    walk.trying, walk.catching_up = trying, catching_up
    walk.follow(table, *split_message(message))
    return walk.emissions


def bytes_of(emissions: list[Emission]) -> list[bytes]:
    """The messages alone."""
    return [emission.message for emission in emissions]


def test_a_walk_takes_every_lane() -> None:
    """Two rules are two emissions, in file order."""
    engine = engine_of("{ transpose = 12 }", "{ rechannel = 2 }")
    assert bytes_of(walked(engine, NOTE_ON)) == [b"\x90\x48\x64", b"\x91\x3c\x64"]


def test_a_walk_sees_the_switches_as_its_own_message_turned_them() -> None:
    """A trigger that may pass goes through rules that it has just opened."""
    engine = engine_of('{ map = { controllers = { 20 = 21 } }, when = "up" }')
    assert bytes_of(walked(engine, b"\xb0\x14\x7f")) == [b"\xb0\x15\x7f"]
    assert bytes_of(walked(engine, b"\xb0\x14\x00")) == [b"\xb0\x14\x00"]


def test_a_trial_changes_nothing() -> None:
    """Neither a switch nor what a `send` knows of its pedal, and nothing is fired."""
    engine = engine_of('{ send = { messages = ["program 4"], pass_on = true } }')
    assert bytes_of(walked(engine, b"\xb0\x14\x7f", trying=True)) == [b"\xb0\x14\x7f"]
    assert engine.word == engine.pipeline.layout.start
    assert bytes_of(walked(engine, b"\xb0\x14\x7f")) == [b"\xb0\x14\x7f", b"\xc0\x03"]


def test_catching_up_fires_nothing_but_is_remembered() -> None:
    """A pedal that is down already doesn't fire when it is moved on."""
    engine = engine_of('{ send = { messages = ["program 4"], pass_on = true } }')
    assert bytes_of(walked(engine, b"\xb0\x40\x7f", catching_up=True)) == [b"\xb0\x40\x7f"]
    assert bytes_of(walked(engine, b"\xb0\x40\x7e")) == [b"\xb0\x40\x7e"]


def test_delays_add_up_on_the_way() -> None:
    """The lag of an emission is the sum of what it went through."""
    engine = engine_of("{ delay = 5 }, { delay = 7 }")
    (emission,) = walked(engine, NOTE_ON)
    assert emission.lag.due(0, engine.later) == 12_000_000


def test_a_gate_stands_on_the_way_of_values_only() -> None:
    """What a `thin` lets through or keeps is judged later; notes made behind it know nothing of it."""
    engine = engine_of('{ thin = 30 }, { map = { from = "controller 7", to = "note 60" } }, { delay = 5 }')
    (value,) = walked(engine, b"\xb0\x08\x7f")
    (note,) = walked(engine, b"\xb0\x07\x7f")
    assert len(value.way) == 2
    assert value.lag.due(0, engine.later) == 0
    assert not note.way
    assert note.lag.due(0, engine.later) == 5_000_000


def test_emissions_are_alike_by_port_bytes_and_delay() -> None:
    """A delay behind a gate counts as much as one before it (ruling 7)."""
    engine = engine_of("{ delay = 5 }, { thin = 30 }", "{ thin = 30 }, { delay = 5 }", "{ thin = 30 }")
    before, behind, without = walked(engine, b"\xe0\x00\x50")
    assert before.likeness == behind.likeness != without.likeness


def test_an_answer_that_is_remembered_is_given_once() -> None:
    """Several ways of one message ask the same; the next message asks anew."""
    engine = engine_of("{ delay = 5 }")
    answers = iter([True, False])
    walk = Walk(engine, 0, 0, 0, engine.word, NOTE_ON, engine.pipeline.tables[0])
    assert [walk.first_time(("pedal",), lambda: next(answers)) for _ in range(2)] == [True, True]
    assert next(answers) is False


def test_release_shapes_follow_each_other() -> None:
    """A note keeps how its release is to be shaped, through steps with a memory too."""
    shape = "{ velocity = { percent = 50, release = true } }"
    engine = engine_of(f"{shape}, {{ delay = 5 }}, {shape}")
    (emission,) = walked(engine, NOTE_ON)
    assert emission.release is not None
    assert (emission.message[2], emission.release[100]) == (25, 25)
