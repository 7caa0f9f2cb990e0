"""The end of a session on its ports: what waits is sent, within limits."""

from __future__ import annotations

import pytest

from rules.ports.patterns import Wanted
from tests.support.fake_midi_system import FakeInput
from tests.support.port_rig import KEYS, NOTE, OFF, RACK, SECOND, Rig, told


@pytest.mark.parametrize("server", [False, True])
def test_leaving_sends_what_waits(server: bool) -> None:
    """Even on a slow wire; then everything is closed."""
    rig = Rig(Wanted("rack", "out", "Rack*", connection="din"), KEYS, server=server)
    for _ in range(4):
        rig.ports.outputs["rack"].send(OFF, 0)
    rig.ports.flush(SECOND)
    assert rig.rack.heard == [OFF] * 4
    rig.ports.close()
    assert (rig.ports.inputs, rig.stage.listeners, rig.backend.closed) == ([], [], True)


def test_leaving_waits_as_long_as_a_slow_wire_needs() -> None:
    """Without any patience beyond that."""
    rig = Rig(Wanted("rack", "out", "Rack*", connection="din"))
    for _ in range(20):
        rig.ports.outputs["rack"].send(OFF, rig.now)
    rig.ports.flush(0)
    assert rig.rack.heard == [OFF] * 20


def test_leaving_waits_no_longer_than_a_service_manager(monkeypatch: pytest.MonkeyPatch) -> None:
    """It would end us in the midst of anything; what waits then is counted as lost."""
    monkeypatch.setattr("router.midi.port_manager.LONGEST_FLUSH_NS", 0)
    rig = Rig(Wanted("rack", "out", "Rack*", connection="din"))
    output_port = rig.ports.outputs["rack"]
    for _ in range(20):
        output_port.send(OFF, rig.now)
    rig.ports.flush(60 * SECOND)
    rig.ports.close()
    assert output_port.lost == 20 - len(rig.rack.heard) > 0


def test_what_waits_makes_way_for_silence() -> None:
    """Said by port, and only where something was dropped; also at a port that is about to close."""
    wanted = [Wanted(name, "out", f"{name}*", connection="din") for name in ("Rack", "Box", "Idle")]
    rig = Rig(RACK)
    box, _ = rig.hub.plug("Box"), rig.hub.plug("Idle")
    other = b"\x90\x40\x64"
    rig.ports.want(wanted, rig.now)
    outputs = rig.ports.outputs
    for message in (NOTE, other, other):
        outputs["Rack"].send(message, rig.now)
    for message in (NOTE, other):
        outputs["Box"].send(message, rig.now)
    rig.ports.want(wanted[:1], rig.now)
    outputs["Box"].send(OFF, rig.now)
    rig.ports.drop_unwanted()
    assert told(rig.ports.make_way()) == [
        ("dropping", 'output "Rack": dropped 2 messages that waited, so that silence comes first'),
        ("dropping", 'output "Box": dropped 1 message that waited, so that silence comes first'),
    ]
    assert rig.ports.make_way() == []
    outputs["Rack"].send(OFF, rig.now)
    rig.ports.flush(SECOND)
    assert (rig.rack.heard, box.heard) == ([NOTE, OFF], [NOTE, OFF])


def test_leaving_a_server_that_has_just_died_touches_nothing_of_it() -> None:
    """Not yet missed, but it is asked before: what is dead with it must not even be closed."""
    rig = Rig(server=True)
    rig.hub.die()
    raw = rig.input_port("keys").raw
    assert isinstance(raw, FakeInput)
    rig.ports.flush(SECOND)
    rig.ports.close()
    assert (rig.backend.losses, rig.backend.closed, raw.closed) == (1, True, False)


def test_leaving_a_dead_server_takes_no_time() -> None:
    """What waits there is lost; nothing is waited for."""
    rig = Rig(server=True)
    rig.die()
    rig.ports.flush(60 * SECOND)
    rig.ports.close()
    assert rig.backend.closed
