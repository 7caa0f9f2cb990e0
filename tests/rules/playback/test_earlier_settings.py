"""What is set before a take is played from a bar on."""

from __future__ import annotations

import pytest

from rules.midi.notation import format_message, parse_whole_message
from rules.playback.earlier_settings import EarlierSettings


def in_words(*messages: str) -> list[str]:
    """Messages in the form in which they are printed."""
    return [format_message(parse_whole_message(message)) for message in messages]


def settings(*messages: str) -> list[str]:
    """What sets all that these messages of one source had set."""
    earlier = EarlierSettings()
    for message in messages:
        earlier.note(0, parse_whole_message(message))
    return [format_message(message) for _, message in earlier.messages()]


@pytest.mark.parametrize(
    ("played", "sent"),
    [
        (["note-on 1 C4 100", "sysex F0 7D F7", "start"], []),
        (["controller 1 volume 90", "controller 1 volume 100"], ["controller 1 volume 100"]),
        (["program 1 5", "program 2 7", "program 1 6"], ["program 1 6", "program 2 7"]),
        (
            ["controller 1 0 1", "program 1 5", "controller 1 0 2"],
            ["controller 1 0 1", "program 1 5", "controller 1 0 2"],
        ),
        (["pitch-bend 1 100", "pitch-bend 1 -3", "channel-pressure 1 9"], ["pitch-bend 1 -3", "channel-pressure 1 9"]),
        (["controller 1 sustain 127"], ["controller 1 sustain 127"]),
        (
            ["controller 1 volume 90", "controller 1 expression 9", "pitch-bend 1 5", "controller 1 121 0"],
            ["controller 1 121 0", "controller 1 volume 90"],
        ),
        (["controller 1 126 1", "controller 1 127 0"], ["controller 1 127 0"]),
        (["controller 1 6 12"], []),
    ],
)
def test_the_last_of_each_is_sent(played: list[str], sent: list[str]) -> None:
    """Each channel's; a bank select before the program that it belongs to; notes and sysex are left out."""
    assert settings(*played) == in_words(*sent)


def test_parameters_are_set_again_with_their_choice() -> None:
    """Two parameters, each with its data, and steps from there; what was chosen last is chosen in the end."""
    bend_range = ["controller 1 101 0", "controller 1 100 0"]
    tuning = ["controller 1 101 0", "controller 1 100 1"]
    entered = ["controller 1 6 12", "controller 1 38 5", "controller 1 96 0"]
    played = [*bend_range, "controller 1 6 1", *entered, *tuning, "controller 1 6 64"]
    assert settings(*played) == in_words(*bend_range, *entered, *tuning, "controller 1 6 64", *tuning)
