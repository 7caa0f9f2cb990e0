"""Which source plays a track."""

from __future__ import annotations

import pytest

from rules.compiler.compiler import compile_rules
from rules.rulefile.reading import read_rules
from rules.smf.report import Playing
from rules.smf.rewriting import Rewriter
from tests.support.smf_bytes import END, one_track

RULES = """
[ports]
seq = { input = true }
bass = { input = true }
rack = { output = true }
[[rules]]
from = "seq"
to = "rack"
[[rules]]
from = "bass"
steps = [{ rechannel = 5 }]
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
    assert rewritten.report.remarks == ('no track is called "Bass "',)
