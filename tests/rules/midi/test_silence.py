"""What a panic sends, against ruling 17."""

from __future__ import annotations

import pytest

from rules.midi.neutral import panic_messages


@pytest.mark.parametrize("channel", range(16))
def test_each_channel_is_silenced_pedals_first(channel: int) -> None:
    """A pedal that is down would hold the notes that are ended then; the bend goes to the middle."""
    controllers = [bytes((0xB0 | channel, number, 0)) for number in (64, 66, 69, 123, 120)]
    assert panic_messages(channel) == [*controllers, bytes((0xE0 | channel, 0, 64))]


def test_every_key_is_let_go_where_that_is_wanted() -> None:
    """For instruments that ignore all notes off: 128 note-offs a channel, before all else."""
    offs = [bytes((0x83, key, 64)) for key in range(128)]
    assert panic_messages(3, every_key=True) == offs + panic_messages(3)
