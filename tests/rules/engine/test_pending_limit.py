"""How much may be pending at once, and what is dropped of the excess."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.compiler.compiler import compile_rules
from rules.engine.delivery import Sent
from rules.engine.engine import Engine
from rules.rulefile.reading import read_rules
from rules.timing.delays import NEVER, steady_nanoseconds

HEAD = """
[ports]
keys = { input = true }
rack = { output = true }
synth = { output = true }
"""
DELAY, THIN, LENGTH, ECHO = (
    f'[[rules]]\nfrom = "keys"\nto = "rack"\nsteps = [{steps}]\n'
    for steps in (
        "{ delay = 100 }",
        "{ delay = 100 }, { thin = 20 }",
        "{ delay = 100 }, { length = 50 }",
        "{ echo = { ms = 100, times = 4, decay = 0 } }",
    )
)
SECOND = 1_000_000_000


def engine_of(rules: str, most: int | None) -> Engine:
    """An engine with a player for the keys."""
    engine = Engine(compile_rules(read_rules([("rules.toml", (HEAD + rules).encode())])), steady_nanoseconds(120), most)
    engine.add_player("keys")
    return engine


def played(engine: Engine, *messages: str) -> list[str]:
    """What goes out of messages in hex that come at once."""
    out: list[Sent] = []
    for text in messages:
        engine.feed(0, bytes.fromhex(text), 0, out)
    engine.advance(SECOND, out)
    return [message.hex(" ") for _, message, *_ in out]


def test_the_oldest_goes_first_and_its_note_off_comes_to_nothing() -> None:
    """Three may be pending: the fourth takes the place of the first, and the note-off of that has nothing to end."""
    engine = engine_of(DELAY, 3)
    assert played(engine, "90 3c 40", "90 3e 40", "b0 07 05", "b0 07 06", "80 3c 40") == [
        "90 3e 40",
        "b0 07 05",
        "b0 07 06",
    ]
    assert (engine.excess, engine.sounding) == ({"rack": 1}, 1)


def test_what_ends_something_is_never_dropped() -> None:
    """Note-offs and pedals that are let go stay, however many, and take no room from others."""
    engine = engine_of(DELAY, 1)
    ends = ["80 3c 40", "90 3e 00", "b0 40 00", "e0 00 40"]
    assert played(engine, "90 3c 40", *ends) == ["90 3c 40", *ends]
    assert played(engine_of(DELAY, 1), "b0 40 40", *ends, "90 40 40") == [*ends, "90 40 40"]
    assert engine.excess == {}


def test_a_note_off_that_is_pending_goes_with_its_note_on() -> None:
    """The echoes of a key that was let go at once: of two strikes, the note-off ends the one that is left."""
    engine = engine_of(DELAY, 1)
    assert played(engine, "90 3c 40", "80 3c 40", "90 3e 40", "80 3e 40") == ["90 3e 40", "80 3e 40"]
    engine = engine_of(DELAY, 2)
    assert played(engine, "90 3c 40", "90 3c 41", "80 3c 40", "90 3e 40") == ["90 3c 41", "80 3c 40", "90 3e 40"]
    assert len(engine.scheduler) == 0


def test_each_port_has_a_limit_of_its_own() -> None:
    """What is pending for one takes no room from another, and what was dropped is counted for each."""
    engine = engine_of(DELAY + DELAY.replace("rack", "synth").replace("100", "200"), 1)
    assert played(engine, "b0 07 05", "b0 07 06") == ["b0 07 06", "b0 07 06"]
    assert engine.excess == {"rack": 1, "synth": 1}


def test_what_was_dropped_is_counted_on_by_other_rules() -> None:
    """Ports keep their names there, in whatever order they are listed; the steps that wait are counted together."""
    engine = engine_of(DELAY + LENGTH, 1)
    played(engine, "90 3c 40", "90 3e 40")
    head = "[ports]\nsynth = { output = true }\nkeys = { input = true }\nrack = { output = true }\n"
    rules = read_rules([("rules.toml", (head + DELAY.replace("rack", "synth") + LENGTH + LENGTH).encode())])
    engine.replace(compile_rules(rules, engine.pipeline.ports), SECOND, [])
    out: list[Sent] = []
    for message in ("90 3c 40", "90 3e 40"):
        engine.feed(0, bytes.fromhex(message), SECOND, out)
    assert engine.excess == {"rack": 1, "synth": 1, "": 3}


@pytest.mark.parametrize(("rules", "place"), [(THIN, "rack"), (LENGTH, "")])
def test_what_is_pending_for_a_step_is_limited_as_well(rules: str, place: str) -> None:
    """A note that never came to the step doesn't end there either. Notes pass a `thin`; a `length` waits for them."""
    engine = engine_of(rules, 1)
    assert [text[:5] for text in played(engine, "90 3c 40", "90 3e 40", "80 3c 40", "80 3e 40")] == ["90 3e", "80 3e"]
    assert (engine.excess, engine.sounding) == ({place: 1}, 0)


def test_what_went_out_makes_room() -> None:
    """Only what is pending counts, also after a panic."""
    engine = engine_of(DELAY, 2)
    assert played(engine, "b0 07 05", "b0 07 06") == ["b0 07 05", "b0 07 06"]
    assert len(played(engine_of(DELAY, None), *["b0 07 05"] * 50)) == 50
    out: list[Sent] = []
    for number in range(4):
        now = (number + 2) * SECOND
        engine.feed(0, b"\x90\x3c\x40", now, out)
        engine.feed(0, b"\xb0\x07\x40", now, out)
        engine.silence(now, out)
    assert engine.excess == {}


@given(
    st.sampled_from([DELAY, THIN, LENGTH, ECHO, DELAY + ECHO]),
    st.integers(0, 6),
    st.lists(st.tuples(st.sampled_from([0x80, 0x90, 0xB0, 0xE0]), st.sampled_from([60, 64]), st.integers(0, 90))),
)
def test_nothing_hangs_when_messages_are_dropped(rules: str, most: int, messages: list[tuple[int, int, int]]) -> None:
    """Once the keys are lost, every note that began has ended, and pedals and bends are at rest."""
    engine = engine_of(rules, most)
    out: list[Sent] = []
    now = 0
    for status, first, gap in messages:
        now += gap * 1_000_000
        engine.feed(0, bytes((status, first, gap)), now, out)
    engine.release(0, now, out)
    engine.advance(NEVER - 1, out)
    last = {(message[0] & 0xF0 | 0x10, message[1] if message[0] < 0xE0 else 0): message for _, message, *_ in out}
    for (kind, number), message in last.items():
        if kind == 0x90:
            assert message[0] & 0xF0 == 0x80 or message[2] == 0
        elif kind == 0xF0:
            assert message == b"\xe0\x00\x40"
        elif number == 64:
            assert message[2] == 0
    assert (engine.sounding, engine.next_due) == (0, NEVER)
