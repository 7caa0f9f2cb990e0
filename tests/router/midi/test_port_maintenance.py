"""What is done for the ports while nothing plays."""

from __future__ import annotations

import pytest

from rules.ports.patterns import Wanted
from tests.support.fake_midi_system import FakeInput
from tests.support.port_rig import KEYS, NOTE, OFF, SECOND, Rig


def test_tidying_waits_until_nobody_plays() -> None:
    """Two seconds of silence; not a moment earlier."""
    rig = Rig()
    for _ in range(20):
        rig.stage.play(NOTE)
        rig.scan()
    assert rig.backend.tidied == 0
    for _ in range(8):
        rig.scan()
    assert rig.backend.tidied == 0
    rig.scan()
    assert rig.backend.tidied == 1


def test_spares_are_kept_while_music_is_about() -> None:
    """Until half a minute after the start, or the last message."""
    rig = Rig()
    rig.scan(29)
    assert rig.backend.keeps_ready
    rig.scan(1)
    assert not rig.backend.keeps_ready
    rig.stage.play(NOTE)
    rig.scan()
    assert rig.backend.keeps_ready


def test_a_loose_plug_is_tidied_up_after_even_while_music_plays() -> None:
    """A computer has no room for a client more each time."""
    rig = Rig()
    rig.backend.untidy = 8
    for times in (0, 1):
        rig.stage.play(NOTE)
        rig.scan()
        assert rig.backend.tidied == times
        rig.backend.untidy = 9


def test_an_input_that_may_be_stuck_is_opened_anew_in_a_long_silence() -> None:
    """Once, and only if it was heard before; it hears what comes next."""
    rig = Rig()
    rig.stage.play(NOTE)
    rig.scan()
    opened = rig.backend.opened
    for _ in range(10):
        rig.scan(10)
    assert rig.backend.opened == opened + 1
    assert len(rig.stage.listeners) == 1
    assert rig.passes()


def test_an_input_that_refuses_to_be_closed_spoils_no_look_around(monkeypatch: pytest.MonkeyPatch) -> None:
    """While one is opened anew, the old one may refuse to go: what came and went meanwhile is told all the same."""

    def refuse(self: FakeInput) -> None:
        raise RuntimeError("no such port")

    rig = Rig()
    rig.stage.play(NOTE)
    rig.scan()
    monkeypatch.setattr(FakeInput, "close", refuse)
    rig.ports.reopen_silent(rig.now + 2 * SECOND)
    rig.hub.unplug(rig.rack)
    assert rig.scan()[0] == ("lost", 'output "rack": Rack has gone')
    assert len(rig.stage.listeners) == 2
    rig.rack = rig.hub.plug("Rack", sends=False)
    rig.scan()
    assert rig.passes()


def test_a_cure_opens_silent_inputs_anew_and_loses_nothing() -> None:
    """What is heard just now isn't stuck: it stays, and so does the message that shows it."""
    rig = Rig(KEYS, Wanted("pads", "in", "Pads"))
    pads = rig.hub.plug("Pads")
    rig.scan()
    pads.play(NOTE)
    rig.stage.play(NOTE)
    rig.scan()
    opened = rig.backend.opened
    rig.ports.reopen_silent(rig.now + SECOND // 2)
    rig.scan()
    assert rig.backend.opened == opened
    rig.ports.reopen_silent(rig.now + 2 * SECOND)
    rig.stage.play(NOTE, OFF)  # after the loop has polled, before the look
    rig.ports.scan(rig.now)
    rig.ports.scan(rig.now)
    assert rig.backend.opened == opened + 2
    received = [rig.input_port("keys").get_message() for _ in range(3)]
    assert received == [(list(NOTE), 0.0), (list(OFF), 0.0), None]
    assert (len(rig.stage.listeners), len(pads.listeners)) == (1, 1)
    pads.play(OFF)
    assert rig.input_port("pads").get_message() == (list(OFF), 0.0)


# -- the rest ---------------------------------------------------------------------------------------------------------
