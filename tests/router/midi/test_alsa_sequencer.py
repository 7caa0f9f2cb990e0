"""What only the kernel knows of the ALSA sequencer."""

from __future__ import annotations

import pytest

from router.midi import alsa_sequencer
from rules.ports.pacing import Pacer


@pytest.mark.parametrize(
    ("name", "number"), [("Pit Keyboard:MIDI 1 20:0", 20), ("Pit Keyboard:MIDI 1", None), ("a 1:2 128:12", 128)]
)
def test_the_number_of_a_client(name: str, number: int | None) -> None:
    """From the end of a port's name."""
    assert alsa_sequencer.client_number(name) == number


class Kernel:
    """A pool of 200 that is read now and then."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.waiting = 0
        self.lost = 0
        monkeypatch.setattr(alsa_sequencer, "pool_of", lambda descriptor, number: (200, 200 - self.waiting))

    def take(self, message: bytes) -> None:
        """What is sent; too much is lost with all that waits."""
        self.waiting += 1 if len(message) <= 3 else 1 - (-len(message) // 28)
        if self.waiting > 200:
            self.lost += self.waiting
            self.waiting = 0


def test_another_program_gets_no_more_than_fits(monkeypatch: pytest.MonkeyPatch) -> None:
    """Asked of the kernel; the longest sysex goes when nothing else waits there, and nothing is ever lost."""
    kernel = Kernel(monkeypatch)
    pacer = Pacer(alsa_sequencer.PoolRoom(5, 128))
    sysex = b"\xf0" + bytes(5_570) + b"\xf7"
    for message in [b"\x90\x3c\x64"] * 500 + [sysex] * 3 + [b"\x80\x3c\x40"] * 10:
        pacer.wait(message)
    now, sent = 0, 0
    while pacer:
        while (taken := pacer.take(now)) is not None:
            kernel.take(taken)
            sent += 1
        assert not pacer or now < pacer.next_time(now) <= now + 500_000
        kernel.waiting = max(0, kernel.waiting - 30)
        now += 500_000
    assert (sent, kernel.lost) == (513, 0)
    kernel.waiting = 0
    assert pacer.allow(64, now) == 64
    kernel.waiting = 170
    assert pacer.allow(64, now) == 20
