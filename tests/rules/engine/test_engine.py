"""The engine by itself: what it appends, when it wants to be called, and that nothing is left sounding."""

from __future__ import annotations

from functools import cache

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rules.compiler.compiler import compile_rules
from rules.engine.engine import Engine
from rules.engine.ledger import StruckAgain
from rules.program.pipeline import Pipeline
from rules.rulefile.reading import read_rules
from rules.timing.delays import NEVER, steady_nanoseconds

LATER = steady_nanoseconds(120)
Sent = tuple[int, bytes, int, int]
PORTS = "[ports]\nkeys = { input = true }\npads = { input = true }\nrack = { output = true }\n"
SWITCH = '[switches]\nup = { from = "pads", note = 1, mode = "momentary" }\n'
NOTE_ON, NOTE_OFF, BEND = b"\x90\x3c\x64", b"\x80\x3c\x40", b"\xe0\x00\x50"


@cache
def pipeline_of(rules: str) -> Pipeline:
    """The pipeline of a file."""
    return compile_rules(read_rules([("rules.toml", rules.encode())]))


def engine_of(rules: str, head: str = "") -> Engine:
    """An engine with the rules of a file."""
    return Engine(pipeline_of(PORTS + head + rules), LATER)


def rule(more: str = "", source: str = "keys") -> str:
    """A rule to the rack with something more in it."""
    return f'[[rules]]\nfrom = "{source}"\nto = "rack"\n{more}\n'


def test_what_goes_out_is_appended() -> None:
    """The caller's list keeps what it had; port number, bytes, time and player come behind it."""
    engine = engine_of(rule())
    engine.add_player("pads")
    keys = engine.add_player("keys")
    out: list[Sent] = [(9, b"\xfa", 0, 0)]
    engine.feed(keys, NOTE_ON, 5, out)
    assert out == [(9, b"\xfa", 0, 0), (engine.pipeline.ports.index("rack"), NOTE_ON, 5, keys)]


def test_a_switch_must_exist() -> None:
    """A switch that no rule file names is a mistake of the caller."""
    engine = engine_of(rule())
    with pytest.raises(KeyError, match="up"):
        engine.turn("up", True, 0, [])


def test_what_is_delayed_waits_for_its_time() -> None:
    """`next_due` says when, and `advance` lets out what is due by then and no more."""
    engine = engine_of(rule("steps = [{ delay = 20 }]"))
    keys = engine.add_player("keys")
    out: list[Sent] = []
    assert engine.next_due == NEVER
    engine.feed(keys, NOTE_ON, 0, out)
    engine.feed(keys, NOTE_OFF, 5_000_000, out)
    assert (out, engine.next_due) == ([], 20_000_000)
    engine.advance(20_000_000, out)
    assert ([message for _, message, *_ in out], engine.next_due) == ([NOTE_ON], 25_000_000)


def test_a_message_comes_after_what_was_due_before_it() -> None:
    """Feeding lets out first what should have gone already (ruling 29)."""
    engine = engine_of(rule("steps = [{ delay = 20 }]") + rule(source="pads"))
    keys, pads = engine.add_player("keys"), engine.add_player("pads")
    out: list[Sent] = []
    engine.feed(keys, NOTE_ON, 0, out)
    engine.feed(pads, b"\x90\x24\x64", 30_000_000, out)
    assert [(message, due) for _, message, due, _ in out] == [(NOTE_ON, 20_000_000), (b"\x90\x24\x64", 30_000_000)]


def test_sounding_counts_notes_until_they_end() -> None:
    """A layer of two sounds twice; the note-off ends both."""
    engine = engine_of(rule() + rule("steps = [{ transpose = 12 }]"))
    keys = engine.add_player("keys")
    engine.feed(keys, NOTE_ON, 0, [])
    assert engine.sounding == 2
    engine.feed(keys, NOTE_OFF, 1, [])
    assert engine.sounding == 0


def test_turning_a_switch_opens_and_shuts_rules() -> None:
    """By command, as by a pedal."""
    engine = engine_of(rule('when = "up"'), SWITCH)
    keys = engine.add_player("keys")
    out: list[Sent] = []
    engine.feed(keys, b"\xb0\x07\x10", 0, out)
    engine.turn("up", True, 1, out)
    engine.feed(keys, b"\xb0\x07\x20", 2, out)
    assert [message for _, message, *_ in out] == [b"\xb0\x07\x20"]
    with pytest.raises(ValueError, match="not in tuple"):
        engine.turn("up", "high", 3, out)


def test_replaced_rules_end_a_note_where_it_began() -> None:
    """The note-off goes to the key of the old rules, the next note to that of the new ones (ruling 30)."""
    engine = engine_of(rule())
    keys = engine.add_player("keys")
    out: list[Sent] = []
    engine.feed(keys, NOTE_ON, 0, out)
    new = read_rules([("rules.toml", (PORTS + rule("steps = [{ transpose = 2 }]")).encode())])
    engine.replace(compile_rules(new, engine.pipeline.ports), 1, out)
    engine.feed(keys, NOTE_OFF, 2, out)
    engine.feed(keys, NOTE_ON, 3, out)
    assert [message for _, message, *_ in out] == [NOTE_ON, NOTE_OFF, b"\x90\x3e\x64"]


@pytest.mark.parametrize("rules", [rule(), rule() + rule(source="pads")], ids=["alone", "shared"])
def test_a_key_struck_again_stays_on_the_fast_path(rules: str) -> None:
    """Its cell stands for all its note-ons, each of which sounds, until the one note-off (ruling 10)."""
    engine = engine_of(rules)
    keys = engine.add_player("keys")
    for _ in range(3):
        engine.feed(keys, NOTE_ON, 0, [])
    (held,) = engine.players[keys].presses.values()
    assert isinstance(held, StruckAgain)
    assert held.times == 3
    out: list[Sent] = []
    engine.feed(keys, NOTE_OFF, 1, out)
    assert [message for _, message, *_ in out] == [NOTE_OFF]
    assert engine.sounding == 0
    for _ in range(3):
        engine.feed(keys, NOTE_ON, 2, [])
    assert engine.sounding == 3


CHANNEL_MESSAGES = st.builds(
    lambda kind, channel, key, value: bytes((kind | channel, key, value))[: 2 if kind in (0xC0, 0xD0) else 3],
    st.sampled_from([0x80, 0x90, 0x90, 0x90, 0xA0, 0xB0, 0xC0, 0xD0, 0xE0]),
    st.integers(0, 1),
    st.sampled_from([1, 60, 62, 64, 67, 123]),
    st.sampled_from([0, 1, 64, 100, 127]),
)
FEEDS = st.lists(st.tuples(st.integers(0, 1), CHANNEL_MESSAGES), max_size=30)
RULES = st.lists(
    st.tuples(
        st.sampled_from(["keys", "pads"]),
        st.sampled_from(
            ["", "{ transpose = 2 }", "{ delay = 1 }", "{ echo = { ms = 1 } }", '{ transpose = 1, when = "up" }']
        ),
    ),
    min_size=1,
    max_size=3,
).map(lambda found: "".join(rule(f"steps = [{step}]", source) for source, step in found))


def still_on(out: list[Sent]) -> set[tuple[int, int, int]]:
    """The notes of an output that a note-on began and nothing ended since; all notes off (123) ends a channel's."""
    notes: set[tuple[int, int, int]] = set()
    for port, message, *_ in out:
        if message[0] & 0xF0 == 0x90 and message[2]:
            notes.add((port, message[0] & 15, message[1]))
        elif message[0] & 0xF0 in (0x80, 0x90):
            notes.discard((port, message[0] & 15, message[1]))
        elif message[0] & 0xF0 == 0xB0 and message[1] == 123:
            notes = {note for note in notes if note[:2] != (port, message[0] & 15)}
    return notes


@settings(max_examples=30, suppress_health_check=[HealthCheck.too_slow])
@given(RULES, FEEDS)
def test_losing_every_source_ends_every_note(rules: str, feeds: list[tuple[int, bytes]]) -> None:
    """Whatever was played, nothing sounds, is pending or away from rest once all sources are gone."""
    engine = engine_of(rules, SWITCH)
    players = [engine.add_player("keys"), engine.add_player("pads")]
    out: list[Sent] = []
    for now, (number, message) in enumerate(feeds):
        engine.feed(players[number], message, now * 400_000, out)
    end = len(feeds) * 400_000
    for player in players:
        engine.release(player, end, out)
    engine.advance(NEVER - 1, out)
    assert engine.sounding == 0
    assert still_on(out) == set()
    bends = {(port, message[0] & 15): message for port, message, *_ in out if message[0] & 0xF0 == 0xE0}
    assert set(bends.values()) <= {bytes((0xE0 | channel, 0, 64)) for channel in range(16)}


@settings(max_examples=15, suppress_health_check=[HealthCheck.too_slow])
@given(RULES, FEEDS, st.booleans())
def test_panic_reaches_every_channel(rules: str, feeds: list[tuple[int, bytes]], every_key: bool) -> None:
    """Every note that is known ends, and all sixteen channels are told so (ruling 17)."""
    engine = engine_of(rules, SWITCH)
    players = [engine.add_player("keys"), engine.add_player("pads")]
    out: list[Sent] = []
    for now, (number, message) in enumerate(feeds):
        engine.feed(players[number], message, now * 400_000, out)
    began = len(out)
    engine.silence(len(feeds) * 400_000, out, every_key)
    assert (still_on(out), engine.sounding) == (set(), 0)
    panic = [message for _, message, *_ in out[began:]]
    for channel in range(16):
        assert {
            bytes((0xB0 | channel, 120, 0)),
            bytes((0xB0 | channel, 123, 0)),
            bytes((0xE0 | channel, 0, 64)),
        } <= set(panic)
        keys = {message[1] for message in panic if message[0] == 0x80 | channel}
        assert not every_key or keys == set(range(128))


ANSWERED = (
    rule("steps = [{ transpose = 12 }]")
    + rule("steps = [{ filter = { keep = { notes = '0..50' } } }, { delay = 3 }]")
    + rule("steps = [{ rechannel = { 1 = 5 } }]", source="pads")
)
PLAYED = st.lists(
    st.tuples(
        st.integers(0, 1),
        st.sampled_from([0x80, 0x90, 0x91, 0x94, 0xA0, 0xB0, 0xC0, 0xD0, 0xE0]),
        st.sampled_from([0, 1, 48, 60, 64, 123]),
        st.sampled_from([0, 1, 64, 127]),
        st.integers(0, 2_000_000),
    ),
    max_size=60,
)


def ledger(engine: Engine) -> object:
    """What an engine's players hold."""
    return [(sorted(player.presses), sorted(player.rests)) for player in engine.players], engine.sounding


@pytest.mark.parametrize(
    "rules",
    [rule(), rule("steps = [{ transpose = 12 }]"), rule() + rule(source="pads"), ANSWERED],
    ids=["straight", "transposed", "shared", "layered and late"],
)
@given(played=PLAYED)
def test_an_answer_is_what_feeding_would_have_sent(rules: str, played: list[tuple[int, int, int, int, int]]) -> None:
    """The one message, and the same note of it in the ledger; where there is none, nothing has changed."""
    asked, fed = engine_of(rules), engine_of(rules)
    for engine in (asked, fed):
        for source in ("keys", "pads"):
            engine.add_player(source)
    now = 0
    for player, status, first, second, gap in played:
        now += gap
        message = bytes((status, first)) if status in (0xC0, 0xD0) else bytes((status, first, second))
        before = ledger(asked)
        out: list[Sent] = []
        answer = asked.answer(player, message, now)
        if answer is None:
            assert ledger(asked) == before
            asked.feed(player, message, now, out)
        wanted: list[Sent] = []
        fed.feed(player, message, now, wanted)
        assert [data for _, data, *_ in wanted] == ([data for _, data, *_ in out] if answer is None else [answer])
        assert ledger(asked) == ledger(fed)


def test_a_port_that_returns_loses_nothing_that_is_under_way() -> None:
    """The first port as well as any other: what is delayed comes behind the silence."""
    engine = engine_of(rule("steps = [{ delay = 20 }]"))
    keys = engine.add_player("keys")
    out: list[Sent] = []
    engine.feed(keys, NOTE_ON, 0, out)
    engine.return_port(0, 5_000_000, out)
    engine.advance(NEVER - 1, out)
    assert [(message, due) for _, message, due, _ in out if message == NOTE_ON] == [(NOTE_ON, 20_000_000)]


def test_what_was_due_before_a_source_is_lost_goes_out() -> None:
    """Of what is delayed, only what was still to come then is dropped, but for the note-offs."""
    engine = engine_of(rule("steps = [{ delay = 20 }]"))
    keys = engine.add_player("keys")
    out: list[Sent] = []
    for number in range(3):
        engine.feed(keys, bytes((0xB0, 7, number)), number * 10_000_000, out)
    engine.release(keys, 30_000_000, out)
    engine.advance(NEVER - 1, out)
    assert [(message, due) for _, message, due, _ in out] == [
        (b"\xb0\x07\x00", 20_000_000),
        (b"\xb0\x07\x01", 30_000_000),
    ]
