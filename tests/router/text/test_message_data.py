"""Messages for programs."""

from __future__ import annotations

from router.text.message_data import message_data
from rules.midi.notation import Naming


def test_a_message_is_told_in_words_and_bytes() -> None:
    """The words name notes as the rule file does."""
    assert message_data(b"\x90\x3c\x64") == {"message": "note-on 1 C4 100", "bytes": "90 3C 64"}
    assert message_data(b"\x90\x3c\x64", Naming(middle_c=3))["message"] == "note-on 1 C3 100"
