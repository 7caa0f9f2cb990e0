"""A recording played through the rules, message by message."""

from __future__ import annotations

import pytest

from rules.compiler.compiler import compile_rules
from rules.errors import MidiFileError
from rules.rulefile.reading import read_rules
from rules.smf.midi_file import read
from rules.smf.take_playing import played
from rules.smf.tempo import tempo_map
from tests.support.smf_bytes import END, one_track

PORTS = "[ports]\nseq = { input = true }\nrack = { output = true }\nbox = { output = true }\n"
NOTE = "00 90 3C 64 60 80 3C 40"


def sent(rule: str, body: str) -> list[tuple[int, int, str]]:
    """Port, tick and bytes of all that a rule makes of a track."""
    ruleset = read_rules([("rules.toml", f'{PORTS}[[rules]]\nfrom = "seq"\n{rule}\n'.encode())])
    file = read(one_track(body))
    found = played(file, [0], compile_rules(ruleset), tempo_map(file, None, ruleset.bpm))
    return [(each.port, each.tick, each.message.hex()) for each in found]


def test_messages_come_in_time_at_their_ports() -> None:
    """Delayed ones when they are due, those of a file's end too."""
    assert sent('steps = [{ delay = { beats = 1 } }]\nto = ["box", "rack"]', NOTE + END) == [
        (1, 96, "903c64"), (0, 96, "903c64"), (1, 192, "803c40"), (0, 192, "803c40"),
    ]  # fmt: skip


def test_sysex_comes_as_it_is_sent() -> None:
    """Without the length that the file writes; meta events aren't sent."""
    assert sent('to = "rack"', f"00 FF 01 02 41 42 00 F0 03 7D 01 F7 {END}") == [(0, 0, "f07d01f7")]


def test_too_many_delayed_messages_are_refused() -> None:
    """With the byte at which there were too many."""
    with pytest.raises(MidiFileError, match="too many messages"):
        sent(
            'steps = [{ echo = { ms = 60000, times = 64, decay = 0 } }]\nto = "rack"',
            NOTE.replace("60", "00") * 300 + END,
        )
