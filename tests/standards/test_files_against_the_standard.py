"""Files through the rules, held against what the standards print.

M1 is the MIDI 1.0 Detailed Specification 4.2.1 (1996), RP1 Standard MIDI Files 1.0 (RP-001, 1996).
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.compiler.compiler import compile_rules
from rules.rulefile.reading import read_rules
from rules.smf import vlq
from rules.smf.midi_file import read
from rules.smf.report import Playing
from rules.smf.rewriting import Rewriter
from tests.support import mido_reader
from tests.support.smf_bytes import END, FORMAT_0, FORMAT_1, header, one_track, track

ROUTES = pytest.mark.parametrize("route", ["patch", "stream", "general"])


def rewritten(data: bytes, steps: str = "", route: str = "patch") -> bytes:
    """What one rule from all tracks to one port makes of a file."""
    ports = "[ports]\nseq = { input = true }\nrack = { output = true }\n"
    rules = f'{ports}[[rules]]\nfrom = "seq"\nto = "rack"\n{steps}'
    ruleset = read_rules([("edit.toml", rules.encode())])
    return Rewriter(ruleset, compile_rules(ruleset), Playing("seq"), route=route).rewrite(data).outputs[""]


@ROUTES
@pytest.mark.parametrize(
    "data",
    [
        pytest.param(FORMAT_0, id="RP1, format 0 example"),
        pytest.param(FORMAT_1, id="RP1, format 1 example"),
        pytest.param(
            one_track("00 F0 03 43 12 00 81 48 F7 06 43 12 00 43 12 00 64 F7 04 43 12 00 F7" + END),
            id="RP1, sysex event, a message in three packets",
        ),
        pytest.param(one_track("00 F0 05 43 12 00 07 F7" + END), id="RP1, sysex event"),
        pytest.param(one_track("00 F7 01 FA 60 F7 03 F2 0A 00" + END), id="RP1, sysex event, escapes"),
        pytest.param(one_track("00 90 3C 27 00 40 2B 00 43 25" + END), id="M1 A-1, three notes"),
        pytest.param(one_track("00 90 3C 27 00 3C 00 00 3E 29" + END), id="M1 A-1, an off of velocity 0"),
        pytest.param(one_track("00 B0 7C 00 00 01 37" + END), id="M1 A-2, a mode message"),
        pytest.param(one_track("00 90 43 40 00 B0 40 7F 00 90 43 00 00 B0 7B 00 00 40 00" + END), id="M1 A-5"),
        pytest.param(one_track("00 B0 65 00 00 64 00 00 06 02 00 26 00" + END), id="M1 p.17, bend range"),
        pytest.param(one_track("00 F0 05 7E 7F 09 01 F7 00 F0 07 7F 7F 04 01 00 40 F7" + END), id="M1 p.52, p.57"),
    ],
)
def test_examples_pass_unchanged(data: bytes, route: str) -> None:
    """What the standards print as examples comes out byte for byte."""
    assert rewritten(data, route=route) == data


@ROUTES
def test_format_0_example_an_octave_up(route: str) -> None:
    """In the format 0 example the bytes that hold keys change, and no other: running status and lengths stay."""
    asked = bytes.fromhex(
        "4D546864 00000006 0000 0001 0060  4D54726B 0000003B 00FF580404021808 00FF510307A120 00C005 00C12E 00C246"
        "00923C60 004860 60914F40 60905820 8140823C40 004840 00814F40 00805840 00FF2F00"
    )
    assert rewritten(FORMAT_0, "steps = [{ transpose = 12 }]", route) == asked


@ROUTES
def test_one_instrument_out_of_the_format_1_example(route: str) -> None:
    """Without channel 3 its track keeps its end, 384 ticks from the start, and the others keep every byte."""
    asked = FORMAT_1[: FORMAT_1.rindex(b"MTrk")] + track("83 00 FF 2F 00")
    assert rewritten(FORMAT_1, "steps = [{ filter = { drop = { channel = 3 } } }]", route) == asked


@ROUTES
@pytest.mark.parametrize(
    ("body", "moved"),
    [
        ("00 90 3C 27 00 40 2B 00 43 25", "00 94 3C 27 00 40 2B 00 43 25"),
        ("00 90 3C 27 00 3C 00 00 3E 29", "00 94 3C 27 00 3C 00 00 3E 29"),
        ("00 B0 7C 00 00 01 37", "00 B4 7C 00 00 01 37"),
    ],
)
def test_running_status_examples_on_another_channel(body: str, moved: str, route: str) -> None:
    """Rechannelled, the examples of running status (M1 A-1, A-2) keep it: mode messages move with the rest."""
    assert rewritten(one_track(body + END), "steps = [{ rechannel = 5 }]", route) == one_track(moved + END)


# -- sysex ------------------------------------------------------------------------------------------------------------

A_BEAT_LATER = "steps = [{ delay = { beats = 1 } }]"


@pytest.mark.parametrize(
    "events",
    [
        pytest.param("F0 03 43 01 02 10 F7 02 03 04 10 F7 02 05 F7", id="three packets"),
        pytest.param("F7 05 F0 43 01 02 F7", id="an escape that holds a whole message"),
        pytest.param("F7 00", id="an empty escape"),
    ],
)
def test_a_delay_moves_packets_and_escapes_as_they_are(events: str) -> None:
    """What stands in a track as F7 (RP1, sysex event) comes a beat later, byte for byte."""
    assert rewritten(one_track("00" + events + END), A_BEAT_LATER) == one_track("60" + events + END)


@given(st.lists(st.tuples(st.sampled_from((b"\xf0", b"\xf7")), st.binary(max_size=200)), max_size=5))
def test_delayed_sysex_keeps_its_bytes(parts: list[tuple[bytes, bytes]]) -> None:
    """Whatever packets and escapes a track holds, a delay adds and takes away nothing."""
    events = [status + vlq.encode(len(sent)) + sent for status, sent in parts]
    data = one_track("".join("00" + event.hex() for event in events) + END)
    file = read(rewritten(data, A_BEAT_LATER))
    found = [message for _, _, _, _, message in file.events(file.tracks[0])]
    # clock and transport, if an escape holds them, pass by the rules: they are not delayed, and so come earlier
    assert sorted(found[:-1]) == sorted(events)


# -- clocks and beats -------------------------------------------------------------------------------------------------


def ticks_late(division: int, beats: str) -> int:
    """By how many ticks a delay moves a note at tick 0, as mido reads it."""
    data = header(1, midi_format=0, division=division) + track("00 90 3C 40" + END)
    result = rewritten(data, f"steps = [{{ delay = {{ beats = {beats} }} }}]")
    (note,) = (event for event in mido_reader.events(result) if event.kind == "Note_on_c")
    return note.tick


@pytest.mark.parametrize("division", [24, 48, 96, 480])
@pytest.mark.parametrize(("clocks", "beats"), [(24, "1"), (12, "0.5"), (6, "0.25"), (3, "0.125"), (36, "1.5")])
def test_a_beat_has_24_clocks(division: int, clocks: int, beats: str) -> None:
    """A delay in beats lasts 24 clocks a quarter note (M1 p.30), at every division."""
    assert ticks_late(division, beats) == clocks * division // 24


def test_song_position_10() -> None:
    """Song position 10 is 60 clocks from the start, 240 ticks at 96 a quarter (M1 p.27): two beats and a half."""
    assert ticks_late(96, "2.5") == 240
