"""The events of a track, as what can be sent to a port."""

from __future__ import annotations

import pytest

from rules.playback.live_messages import LiveMessages


@pytest.mark.parametrize(
    ("event", "messages"),
    [
        ("90 3C 64", ["90 3C 64"]),
        ("F0 03 7D 01 F7", ["F0 7D 01 F7"]),
        ("F7 01 F8", ["F8"]),
        ("F7 04 FA F8 F2 01", ["FA", "F8"]),
        ("F7 07 90 3C 64 F2 01 02 F8", ["90 3C 64", "F2 01 02", "F8"]),
        ("F7 05 F0 7D 01 F7 FA", ["F0 7D 01 F7", "FA"]),
        ("F7 01 FE", []),
        ("F7 02 F4 05", []),
        ("F7 00", []),
    ],
)
def test_an_event_sends_complete_messages(event: str, messages: list[str]) -> None:
    """Sysex whole, escapes as all that they hold; active sensing would end the take by its silence (ruling 27)."""
    assert LiveMessages().of_event(bytes.fromhex(event)) == [bytes.fromhex(message) for message in messages]


def test_a_sysex_in_packets_is_sent_whole() -> None:
    """It goes out with its last packet; clock in between doesn't end it."""
    track = LiveMessages()
    assert track.of_event(bytes.fromhex("F0 02 7D 01")) == []
    assert track.of_event(bytes.fromhex("F7 01 F8")) == [b"\xf8"]
    assert track.of_event(bytes.fromhex("F7 01 02")) == []
    assert track.of_event(bytes.fromhex("F7 02 03 F7")) == [bytes.fromhex("F0 7D 01 02 03 F7")]
    assert track.faulty == 0


def test_what_is_no_message_is_counted() -> None:
    """A sysex without an end, and bytes that mean nothing."""
    track = LiveMessages()
    track.of_event(bytes.fromhex("F0 02 7D 01"))
    assert track.of_event(bytes.fromhex("F0 02 7D F7")) == [bytes.fromhex("F0 7D F7")]
    track.of_event(bytes.fromhex("F7 02 3C 64"))
    assert track.faulty == 3
