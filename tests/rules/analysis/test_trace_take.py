"""One moment of a take: what sounds, what each message becomes, and where it goes."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.analysis.trace_take import HeldInTake, TakeArrival, TakeDeparture, TakeMoment, trace_take
from rules.compiler.compiler import compile_rules
from rules.errors import MidiFileError
from rules.midi.messages import ACTIVE_SENSING, CLOCK, MTC
from rules.midi.notation import format_message
from rules.program.switch_states import State
from rules.rulefile.reading import read_rules
from rules.smf.midi_file import MidiFile, read
from rules.smf.take_playing import played
from rules.smf.tempo import tempo_map
from tests.support.smf_bytes import END, header, one_track, track

EXAMPLES = Path(__file__).parents[3] / "examples"
PORTS = """
[ports]
keys = { input = true }
pads = { input = true }
rack = { output = true }
[devices]
organ = { port = "rack", channel = 4 }
"""
FOREVER = 1 << 40
BEAT = 96


def moment(
    rules: str, body: str, begin: int, end: int, switches: Mapping[str, State] | None = None, take: bytes = b""
) -> TakeMoment:
    """What happens in a stretch of a take; its track is written in hex, 96 ticks to the quarter note."""
    ruleset = read_rules([("rules.toml", (PORTS + rules).encode())])
    file = read(take or one_track(body + END))
    return trace_take(file, ["keys", "pads"][: len(file.tracks)], ruleset, begin, end, switches)


def told(happened: TakeArrival | TakeDeparture) -> list[str]:
    """The story of a message, indented."""
    assert isinstance(happened, TakeArrival)
    return ["  " * line.depth + line.text for line in happened.lines]


ORGAN = '[[rules]]\nfrom = "keys"\nmatch = { channel = 1 }\nto = "organ"\n'
TWO_NOTES = "00 90 3C 64 60 40 64 60 80 3C 40 00 40 40"  # C4 for two beats, E4 in the second of them


def test_what_sounds_and_since_when() -> None:
    """A note that was pressed before, and where it sounds."""
    found = moment(ORGAN, TWO_NOTES, BEAT, 2 * BEAT)
    assert found.held == (HeldInTake(0, 0, "keys", 0x90, 60, (("rack", 4, 60),), ("rack",)),)


def test_what_becomes_of_each_message() -> None:
    """Only messages of the moment, each with its way."""
    (only,) = moment(ORGAN, TWO_NOTES, BEAT, 2 * BEAT).happened
    assert isinstance(only, TakeArrival)
    assert (only.tick, only.track, only.source) == (BEAT, 0, "keys")
    assert told(only) == [
        'rule "rule 1": matches',
        "  note-on 1 E4 100: to organ",
        "    arrives at port rack: note-on 4 E4 100",
    ]
    assert only.went == (("rack", bytes((0x93, 0x40, 0x64))),)


def test_an_end_goes_where_its_note_went() -> None:
    """Whatever the rules are, it is answered by what sounds; after it nothing is held."""
    found = moment(ORGAN, TWO_NOTES, 2 * BEAT, 3 * BEAT)
    assert told(found.happened[0])[0] == "ends what its note-on began, whatever the rules are now"
    assert len(found.held) == 2
    assert moment(ORGAN, TWO_NOTES, 3 * BEAT, 4 * BEAT) == TakeMoment((), {}, ())


def test_what_comes_later() -> None:
    """A delayed message goes out in another moment than the one in which it came; until then it doesn't sound."""
    rules = '[[rules]]\nfrom = "keys"\nsteps = [{ delay = { beats = 1 } }]\nto = "rack"\n'
    assert moment(rules, TWO_NOTES, BEAT - 1, BEAT).held == ()
    later, arrival = moment(rules, TWO_NOTES, BEAT, 2 * BEAT).happened
    assert later == TakeDeparture(BEAT, "rack", bytes((0x90, 60, 100)), 0)
    assert isinstance(arrival, TakeArrival)
    assert arrival.went == ()
    assert told(arrival)[-1].endswith("arrives at port rack: note-on 1 E4 100, 1 beat later")


@pytest.mark.parametrize("steps", ["{ delay = { beats = 2 } }", "{ delay = { beats = 2 } }, { length = 4000 }"])
def test_a_key_let_go_sounds_until_its_delayed_end(steps: str) -> None:
    """It sounds from its delayed note-on to its delayed note-off, and was pressed when it was pressed."""
    rules = f'[[rules]]\nfrom = "keys"\nsteps = [{steps}]\nto = "rack"\n'
    body = "00 90 30 64 10 80 30 40 50 90 3C 64 30 80 3C 40"  # C3, then C4 in the second beat, for half a beat
    pressed = 16 + 80
    (held,) = [one for one in moment(rules, body, pressed + 2 * BEAT + 30, 5 * BEAT).held if one.number == 60]
    assert (held.since, held.sounds) == (pressed, (("rack", 1, 60),))
    if "length" not in steps:
        assert moment(rules, body, pressed + 2 * BEAT + 49, 5 * BEAT).held == ()


def test_copies_sound_until_their_ends() -> None:
    """While one echo sounds, its key is long up; between the copies nothing sounds."""
    rules = '[[rules]]\nfrom = "keys"\nsteps = [{ echo = { beats = 2, times = 1 } }]\nto = "rack"\n'
    body = "60 90 3C 64 30 80 3C 40"
    assert moment(rules, body, 2 * BEAT, 3 * BEAT).held == ()
    (copy,) = moment(rules, body, 3 * BEAT + 30, 4 * BEAT).held
    assert (copy.since, copy.sounds) == (BEAT, (("rack", 1, 60),))
    assert moment(rules, body, 3 * BEAT + 49, 4 * BEAT).held == ()


def test_a_pedal_is_held_and_sounds_nothing() -> None:
    """It is away from rest at the port."""
    (pedal,) = moment(ORGAN, "00 B0 40 7F", BEAT, 2 * BEAT).held
    assert (pedal.since, pedal.status, pedal.number, pedal.sounds, pedal.ports) == (0, 0xB0, 64, (), ("rack",))


def test_switches_are_as_they_are_there() -> None:
    """As given at the beginning, and as pads have turned them since."""
    rules = '[switches]\nup = { from = "keys", note = "C1" }\n' + ORGAN.replace("to =", 'when = "up"\nto =')
    body = "00 90 18 64 10 80 18 00"
    assert moment(rules, body, 0, BEAT).switches == {"up": False}
    assert moment(rules, body, BEAT, 2 * BEAT).switches == {"up": True}
    assert moment(rules, body, BEAT, 2 * BEAT, {"up": True}).switches == {"up": False}


def test_each_track_has_its_source() -> None:
    """And is a hand of its own."""
    take = header(2) + track(f"00 90 3C 64 {END}") + track(f"00 90 3C 64 {END}")
    first, second = moment(ORGAN, "", 0, BEAT, take=take).happened
    assert told(first)[-1].endswith("arrives at port rack: note-on 4 C4 100")
    assert told(second) == ['goes nowhere: no rule has `from = "pads"`']


def test_clock_is_left_out() -> None:
    """It comes 24 times in a quarter note; start and stop are told."""
    found = moment(ORGAN, "00 F7 01 F8 00 F7 01 FA", 0, BEAT)
    assert [format_message(one.message) for one in found.happened] == ["F7 FA"]


def test_after_the_end_nothing_happens() -> None:
    """What was never let go is held there still."""
    found = moment(ORGAN, "00 90 3C 64", 50 * BEAT, 51 * BEAT)
    assert (len(found.held), found.happened) == (1, ())


def test_pieces_without_a_common_time_are_refused() -> None:
    """A file of format 2 has no bars that all its tracks share."""
    take = header(1, midi_format=2) + track(END)
    with pytest.raises(MidiFileError, match="format 2"):
        moment(ORGAN, "", 0, BEAT, take=take)


def went(found: TakeMoment) -> list[tuple[str, bytes]]:
    """All that goes out in a moment."""
    sent = []
    for one in found.happened:
        sent += list(one.went) if isinstance(one, TakeArrival) else [(one.port, one.message)]
    return sent


def sent_by(file: MidiFile, rules: bytes, source: str, begin: int, end: int) -> list[tuple[str, bytes]]:
    """What `rewrite` writes for a stretch of a take."""
    ruleset = read_rules([("rules.toml", rules)])
    pipeline = compile_rules(ruleset)
    sources = [pipeline.sources.index(source)] * len(file.tracks)
    times = tempo_map(file, bpm=ruleset.bpm)
    pulses = (CLOCK, ACTIVE_SENSING, MTC)
    return [
        (pipeline.ports[one.port], one.message)
        for one in played(file, sources, pipeline, times)
        if begin <= one.tick < end and one.message[0] not in pulses
    ]


@pytest.mark.parametrize(
    ("example", "source"),
    [("echoes-in-time", "keyboard"), ("repair-takes", "take"), ("shy-keyboard", "small_keyboard")],
)
def test_what_goes_out_is_what_is_rewritten(example: str, source: str) -> None:
    """In a few moments of the demo recording, through rules with echoes, channels and velocities."""
    rules = (EXAMPLES / f"{example}.toml").read_bytes()
    ruleset = read_rules([("rules.toml", rules)])
    assert source in ruleset.ports
    file = read((EXAMPLES / "recording.mid").read_bytes())
    beat = file.division
    for begin in (0, 10 * beat, 37 * beat):
        found = trace_take(file, [source] * len(file.tracks), ruleset, begin, begin + 2 * beat)
        assert went(found) == sent_by(file, rules, source, begin, begin + 2 * beat)


STEPS = ("{ delay = { beats = 0.5 } }", "{ echo = { beats = 0.25, times = 2 } }", "{ thin = 20 }", "{ length = 100 }")
EVENTS = st.lists(
    st.tuples(
        st.sampled_from([0, 5, 30]), st.sampled_from(["90 3C 64", "80 3C 40", "90 40 50", "B0 40 7F", "B0 01 09"])
    ),
    max_size=30,
)


@settings(max_examples=25)
@given(EVENTS, st.sampled_from(STEPS), st.integers(200, 900))
def test_moments_add_up_to_the_take(events: list[tuple[int, str]], step: str, length: int) -> None:
    """Cut into moments of any length, nothing is told twice, and nothing is missing."""
    rules = (PORTS + f'[[rules]]\nfrom = "keys"\nsteps = [{step}]\nto = "rack"\n').encode()
    body = " ".join(f"{delta:02X} {message}" for delta, message in events)
    file = read(one_track(f"{body} {END}"))
    last = sum(delta for delta, _ in events) + 10 * BEAT
    ruleset = read_rules([("rules.toml", rules)])
    found = []
    for begin in range(0, last, length):
        end = min(begin + length, last)
        found += went(trace_take(file, ["keys"], ruleset, begin, end))
    assert found == sent_by(file, rules, "keys", 0, last)
