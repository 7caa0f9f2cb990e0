"""Ports of new rules: what stays, what closes after its note-offs, and what moves."""

from __future__ import annotations

from rules.ports.patterns import Wanted
from tests.support.port_rig import KEYS, NOTE, OFF, RACK, TAKE, Rig, told


def test_ports_that_stay_are_not_touched() -> None:
    """Not even where a new pattern means the same; what has arrived meanwhile is still there."""
    rig = Rig()
    opened = rig.backend.opened
    rig.stage.play(NOTE)
    assert rig.ports.want([Wanted("keys", "in", "*board"), RACK], rig.now) == []
    rig.ports.drop_unwanted()
    assert rig.backend.opened == opened
    assert rig.input_port("keys").get_message() is not None
    assert rig.input_port("keys").wanted.pattern == "*board"


def test_what_is_no_longer_wanted_closes_after_its_note_offs() -> None:
    """An output can be sent to until it is dropped; an input is lost at once, so that its notes end."""
    rig = Rig()
    assert told(rig.ports.want([], rig.now)) == [
        ("lost", 'input "keys": no longer wanted'),
        ("lost", 'output "rack": no longer wanted'),
    ]
    assert rig.ports.inputs == []
    rig.ports.outputs["rack"].send(OFF, rig.now)
    rig.ports.drop_unwanted()
    assert rig.rack.heard == [OFF]
    assert (rig.ports.outputs, rig.stage.listeners) == ({}, [])


def test_note_offs_on_a_slow_wire_are_sent_before_the_port_closes() -> None:
    """The port lives on until they are out, though nobody can reach it any more."""
    slow = Wanted("rack", "out", "Rack*", connection="din")
    rig = Rig(slow)
    rig.ports.want([], rig.now)
    output_port = rig.ports.outputs["rack"]
    for _ in range(5):
        output_port.send(OFF, rig.now)
    rig.ports.drop_unwanted()
    assert (rig.ports.outputs, output_port.is_open) == ({}, True)
    for _ in range(6):
        rig.scan(0.001)
    assert (rig.rack.heard, output_port.is_open) == ([OFF] * 5, False)


def test_a_name_that_moves_to_another_port() -> None:
    """The old one is silenced, the new one is found; an input lets go."""
    rig = Rig()
    other = rig.hub.plug("Module")
    events = rig.ports.want([Wanted("keys", "in", "Mod*"), Wanted("rack", "out", "Mod*")], rig.now)
    assert told(events) == [
        ("lost", 'input "keys": no longer Pit Keyboard'),
        ("lost", 'output "rack": no longer Rack'),
        ("found", 'input "keys": Module'),
        ("found", 'output "rack": Module'),
    ]
    rig.ports.drop_unwanted()
    assert b"\xb0\x7b\x00" in rig.rack.heard
    rig.ports.outputs["rack"].send(NOTE, rig.now)
    assert other.heard == [NOTE]
    assert NOTE not in rig.rack.heard


def test_a_port_under_a_new_name() -> None:
    """Opened for the new name before the old one lets go of it."""
    rig = Rig(RACK)
    events = rig.ports.want([Wanted("organ", "out", "Rack*")], rig.now)
    assert told(events) == [("lost", 'output "rack": no longer wanted'), ("found", 'output "organ": Rack')]
    rig.ports.drop_unwanted()
    rig.ports.outputs["organ"].send(NOTE, rig.now)
    assert rig.rack.heard == [NOTE]


def test_rules_that_came_to_nothing_leave_the_ports_as_they_were() -> None:
    """Wanted, but never dropped: the next ones find everything still open."""
    rig = Rig()
    rig.ports.want([TAKE], rig.now)
    assert told(rig.ports.want([KEYS, RACK], rig.now)) == [("lost", 'output "take": no longer wanted')]
    rig.ports.drop_unwanted()
    assert rig.passes()
    assert list(rig.ports.outputs) == ["rack"]


def test_the_wire_of_an_open_port_may_change() -> None:
    """It is how we send, not where."""
    rig = Rig()
    assert rig.ports.want([KEYS, Wanted("rack", "out", "Rack*", connection="din")], rig.now) == []
    for _ in range(3):
        rig.ports.outputs["rack"].send(NOTE, rig.now)
    assert rig.rack.messages == [NOTE]
