"""What a recording means for the DIN connections that it goes out on."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.compiler.compiler import compile_rules
from rules.errors import MidiFileError
from rules.rig.din_load import DinLoad, din_loads
from rules.rulefile.reading import read_rules
from rules.smf.midi_file import read
from rules.smf.report import Playing
from rules.smf.rewriting import Rewriter
from tests.support import mido_reader
from tests.support.din_wire import waits_by_bytes
from tests.support.smf_bytes import END, chunk, header, one_track

EXAMPLES = Path(__file__).parents[3] / "examples"
RIG = """
[ports]
seq = { input = true }
slow = { output = true, connection = "din" }
fast = { output = true }
"""
ALL = RIG + '[[rules]]\nfrom = "seq"\nto = ["slow", "fast"]\n'
DOUBLED = (
    RIG + '[[rules]]\nfrom = "seq"\nto = "slow"\n[[rules]]\nfrom = "seq"\nsteps = [{ transpose = 12 }]\nto = "slow"'
)
CHORD = "00 90 3C 64 00 90 40 64 00 90 43 64 60 80 3C 40 00 80 40 40 00 80 43 40"
MICROSECOND = 1_000


def loads(rules: str, data: bytes, source: str = "seq") -> list[DinLoad]:
    """The loads of a file that plays as one source."""
    ruleset = read_rules([("rules.toml", rules.encode())])
    return din_loads(ruleset, compile_rules(ruleset), read(data), Playing(source))


def test_only_din_connections_are_looked_at() -> None:
    """USB is faster than any player; a DIN connection that nothing goes to has a load as well: none."""
    (slow,) = loads(ALL, one_track(CHORD + END))
    assert (slow.port, slow.size) == ("slow", 18)
    (silent,) = loads(RIG + '[[rules]]\nfrom = "seq"\nto = "fast"\n', one_track(CHORD + END))
    assert (silent.port, silent.size, silent.worst, silent.busiest) == ("slow", 0, None, (0.0, 0))


def test_the_worst_moment_has_its_bar_and_beat() -> None:
    """The last note of a chord on the third beat of the second bar, in 3/4 time."""
    data = one_track(f"00 FF 58 04 03 02 18 08 84 60 {CHORD[2:]} {END}".replace("84 60", "83 60"))
    (load,) = loads(ALL, data)
    assert load.worst is not None
    assert (load.worst.message.hex(), load.worst.wait) == ("904364", 6 * 320_000)
    assert load.beat == (2, 3)
    assert load.worst.at == 2_500_000_000


def test_a_layer_on_one_connection_doubles_its_load() -> None:
    """Six notes at once need 18 bytes: the last one waits for fifteen."""
    (load,) = loads(DOUBLED, one_track(CHORD + END))
    assert load.worst is not None
    assert load.worst.wait == 15 * 320_000
    share, second = load.busiest
    assert share == pytest.approx(36 * 320e-6)
    assert second == 0


def test_loads_and_waits_in_columns_add_up() -> None:
    """All columns together hold every byte, and the longest wait is one of theirs."""
    (load,) = loads(DOUBLED, one_track(CHORD + END))
    assert load.worst is not None
    assert sum(load.loads(10)) / 10 * load.length == pytest.approx(load.size * 320_000)
    assert max(load.waits(10)) == load.worst.wait


def test_the_recording_of_the_examples_is_that_of_a_wire_byte_by_byte() -> None:
    """What the demo writes for each cable, read by mido and put on a wire byte by byte, waits as long at worst."""
    rules = (EXAMPLES / "two-modules.toml").read_text()
    data = (EXAMPLES / "recording.mid").read_bytes()
    ruleset = read_rules([("rules.toml", rules.encode())])
    rewriter = Rewriter(ruleset, compile_rules(ruleset), Playing("pit"), per_port=True)
    outputs = rewriter.rewrite(data).outputs
    found = loads(rules, data, "pit")
    assert [load.port for load in found] == ["cable_a", "cable_b", "cable_c"]
    for load in found:
        worst = max(waits_by_bytes(mido_reader.on_wire(outputs[load.port])))
        assert load.worst is not None
        assert abs(load.worst.wait - worst) < MICROSECOND


NOTES = st.lists(
    st.tuples(st.integers(0, 5), st.integers(0, 3), st.sampled_from(["90 3C 64", "C0 05", "B0 07 40", "E0 00 40"])),
    min_size=1,
    max_size=60,
)


@given(NOTES, st.sampled_from([24, 96, 480]))
def test_any_recording_waits_as_on_a_wire_byte_by_byte(notes: list[tuple[int, int, str]], division: int) -> None:
    """Tempo changes and all."""
    body = "".join(f"00 FF 51 03 0{tempo} 40 00 {delta:02X} {message} " for delta, tempo, message in notes)
    data = header(1, midi_format=0, division=division) + chunk(b"MTrk", bytes.fromhex(body + END))
    (load,) = loads(ALL, data)
    assert load.worst is not None
    assert abs(load.worst.wait - max(waits_by_bytes(mido_reader.on_wire(data)))) < MICROSECOND


def test_a_file_of_patterns_is_refused() -> None:
    """The tracks of format 2 have no time in common."""
    data = header(1, midi_format=2) + chunk(b"MTrk", bytes.fromhex(CHORD + END))
    with pytest.raises(MidiFileError, match="export each one"):
        loads(ALL, data)
