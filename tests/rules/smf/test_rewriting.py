"""Which source plays a track, and what one file leaves behind for the next."""

from __future__ import annotations

import pytest

from rules.compiler.compiler import compile_rules
from rules.errors import MidiFileError
from rules.rulefile.reading import read_rules
from rules.smf.report import Playing
from rules.smf.rewriting import Rewriter
from tests.support.smf_bytes import END, header, one_track, track

ONE_RULE = """
[ports]
seq = { input = true }
bass = { input = true }
rack = { output = true }
[[rules]]
from = "seq"
to = "rack"
"""
RULES = f"""{ONE_RULE}
[[rules]]
from = "bass"
steps = [{{ rechannel = 5 }}]
to = "rack"
"""


def named(name: bytes, channel: int) -> bytes:
    """A file whose only track has a name, and one note on a channel (1-16)."""
    return one_track(f"00 FF 03 {len(name):02X} {name.hex()} 00 9{channel - 1:X} 3C 40 {END}")


@pytest.mark.parametrize("wanted", ["Bass Line", "Bass Line "])
@pytest.mark.parametrize("name", [b"Bass Line", b"Bass Line   ", b"Bass Line\0\0", b" Bass Line\r\n"])
def test_blanks_and_zeros_around_a_track_name_do_not_matter(name: bytes, wanted: str) -> None:
    """Programs fill names up; whoever reads them doesn't see it. In the file they stay."""
    ruleset = read_rules([("rules.toml", RULES.encode())])
    playing = Playing("seq", {wanted: "bass"})
    rewritten = Rewriter(ruleset, compile_rules(ruleset), playing).rewrite(named(name, 1))
    assert rewritten.outputs[""] == named(name, 5)
    assert not rewritten.report.remarks


def test_a_track_that_is_not_there_is_told_as_it_was_asked_for() -> None:
    """The tracks are then played by the default."""
    ruleset = read_rules([("rules.toml", RULES.encode())])
    playing = Playing("seq", {"Bass ": "bass"})
    rewritten = Rewriter(ruleset, compile_rules(ruleset), playing).rewrite(named(b"Bass Line", 1))
    assert rewritten.outputs[""] == named(b"Bass Line", 1)
    assert rewritten.report.remarks == ('there is no track named "Bass "',)


@pytest.mark.parametrize("by_numbers", [False, True])
@pytest.mark.parametrize("route", ["stream", "patch"])
def test_a_file_that_is_refused_leaves_nothing_to_the_next(route: str, by_numbers: bool) -> None:
    """A note that it left open isn't ended by a note-off in another file."""
    ruleset = read_rules([("rules.toml", ONE_RULE.encode())])
    rewriter = Rewriter(ruleset, compile_rules(ruleset), Playing("seq"), route=route, by_numbers=by_numbers)
    with pytest.raises(MidiFileError, match="five bytes"):
        rewriter.rewrite(one_track(f"00 90 3C 64 81 81 81 81 01 80 3C 40 {END}"))
    rewritten = rewriter.rewrite(one_track(f"00 80 3C 40 {END}"))
    assert (rewritten.report.unended, rewritten.report.route) == (0, route)


@pytest.mark.parametrize(
    ("step", "channel", "is_remarked"),
    [
        ("{ transpose = 12 }", 10, True),
        ("{ transpose = { by = 12, except_channels = 9 } }", 10, True),
        ("{ transpose = { by = 12, except_channels = [] } }", 10, True),
        ("{ transpose = { by = 12, except_channels = 10 } }", 10, False),
        ("{ transpose = 0 }", 10, False),
        ("{ transpose = 12 }", 9, False),
        ("{ velocity = 90 }", 10, False),
    ],
)
def test_drums_that_a_rule_transposed_are_remarked(step: str, channel: int, is_remarked: bool) -> None:
    """Where channel 10 came by a step that moves its keys (ruling 19)."""
    rules = ONE_RULE.replace('to = "rack"', f'to = "rack"\nname = "up"\nsteps = [{step}]')
    ruleset = read_rules([("rules.toml", rules.encode())])
    rewritten = Rewriter(ruleset, compile_rules(ruleset), Playing("seq")).rewrite(named(b"Drums", channel))
    remark = 'rule "up" transposed channel 10, where drums usually are: `except_channels = 10` leaves them'
    assert rewritten.report.remarks == ((remark,) if is_remarked else ())


def test_what_a_step_keeps_going_ends_at_the_last_event() -> None:
    """A note of two beats ends with the file, where its key was let go; none is left without an end (ruling 31)."""
    ruleset = read_rules([("rules.toml", f"{ONE_RULE}steps = [{{ length = {{ beats = 2 }} }}]\n".encode())])
    rewritten = Rewriter(ruleset, compile_rules(ruleset), Playing("seq")).rewrite(
        one_track(f"00 90 3C 64 30 80 3C 21 {END}")
    )
    assert rewritten.outputs[""] == one_track(f"00 90 3C 64 30 80 3C 40 {END}")
    assert (rewritten.report.dropped, rewritten.report.added, rewritten.report.unended) == (1, 1, 0)


def test_each_pattern_of_format_2_is_delayed_by_its_own_tempo() -> None:
    """Half a second is a beat of 96 ticks at 120 BPM, and half a beat at 60."""
    ruleset = read_rules([("rules.toml", f"{ONE_RULE}steps = [{{ delay = 500 }}]\n".encode())])
    slow = "00 FF 51 03 0F 42 40 "
    played = "00 90 3C 40 83 00 80 3C 40 "  # 384 ticks long
    late = "60 90 3C 40 83 00 80 3C 40 ", "30 90 3C 40 83 00 80 3C 40 "
    given = header(2, midi_format=2) + track(played + END) + track(slow + played + END)
    made = header(2, midi_format=2) + track(late[0] + END) + track(slow + late[1] + END)
    assert Rewriter(ruleset, compile_rules(ruleset), Playing("seq", {})).rewrite(given).outputs == {"": made}
