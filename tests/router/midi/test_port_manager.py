"""The ports of a session: found, lost and found again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from router.midi.output_port import OutputPort
from rules.errors import MachineError
from rules.midi.messages import CONTROLLER
from rules.ports.patterns import Wanted
from rules.timing.delays import NEVER
from tests.support.fake_midi_system import FakeBackend, FakeOutput
from tests.support.port_rig import KEYS, NOTE, OFF, RACK, SECOND, TAKE, Rig, told

VOLUME = b"\xb0\x07\x40"


def test_ports_are_found_by_pattern() -> None:
    """Both directions, said in words without numbers, and nothing more is said later."""
    rig = Rig()
    assert told(rig.first) == [("found", 'input "keys": Pit Keyboard'), ("found", 'output "rack": Rack')]
    assert rig.passes()
    assert rig.scan() == []


def test_what_made_way_for_silence_is_told() -> None:
    """Of which output, and how much."""
    rig = Rig(KEYS, Wanted("rack", "out", "Rack*", connection="din"))
    for _ in range(100):
        rig.ports.outputs["rack"].send(VOLUME, rig.now)
    (event,) = rig.ports.make_way()
    assert (event.kind, event.wanted, event.words.partition(" messages ")[2]) == (
        "dropping",
        Wanted("rack", "out", "Rack*", connection="din"),
        "that waited, so that silence comes first",
    )
    dropped = int(event.words.removeprefix('output "rack": dropped ').split()[0])
    assert dropped == rig.ports.outputs["rack"].dropped > 50


def test_only_ports_that_return_are_opened_in_haste(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first time a port gets a client of its own name, which takes long; a spare stands in when it returns."""
    named: list[tuple[str, bool]] = []
    for kind in ("open_input", "open_output"):
        whole = getattr(FakeBackend, kind)

        def noted(self: FakeBackend, name: str, label: str, named_after: bool = False, whole: Any = whole) -> Any:
            named.append((label, named_after))
            return whole(self, name, label)

        monkeypatch.setattr(FakeBackend, kind, noted)
    rig = Rig()
    assert named == [("keys", True), ("rack", True)]
    rig.hub.unplug(rig.stage)
    rig.scan()
    rig.hub.plug("Pit Keyboard", receives=False)
    rig.scan()
    assert named[2:] == [("keys", False)]


def test_missing_ports_are_waited_for() -> None:
    """Said once; opened when they appear, whatever else comes and goes."""
    rig = Rig(Wanted("pads", "in", "Pad*"))
    assert told(rig.first) == [("waiting", 'input "pads": the computer has no port named "Pad*"; waiting for it')]
    other = rig.hub.plug("Other")
    assert rig.scan() == []
    rig.hub.plug("Pad Box")
    rig.hub.unplug(other)
    assert rig.scan() == [("found", 'input "pads": Pad Box')]
    assert [input_port.name for input_port in rig.ports.inputs] == ["pads"]


def test_a_device_that_is_unplugged_and_plugged_in_again() -> None:
    """It has another number then; what is sent meanwhile is counted as lost."""
    rig = Rig()
    rig.hub.unplug(rig.stage)
    rig.hub.unplug(rig.rack)
    assert rig.scan() == [
        ("lost", 'input "keys": Pit Keyboard has gone'),
        ("lost", 'output "rack": Rack has gone'),
        ("waiting", 'input "keys": the computer has no port named "Pit Key*"; waiting for it'),
        ("waiting", 'output "rack": the computer has no port named "Rack*"; waiting for it'),
    ]
    rig.ports.outputs["rack"].send(NOTE, rig.now)
    assert (rig.ports.inputs, rig.ports.outputs["rack"].lost) == ([], 1)
    rig.stage, rig.rack = rig.hub.plug("Pit Keyboard"), rig.hub.plug("Rack", sends=False)
    assert rig.scan() == [("found", 'input "keys": Pit Keyboard is back'), ("found", 'output "rack": Rack is back')]
    assert rig.passes()


def test_a_device_that_was_away_between_two_looks() -> None:
    """The new number tells: it is lost and found at once."""
    rig = Rig(KEYS)
    rig.hub.unplug(rig.stage)
    rig.hub.plug("Pit Keyboard")
    assert rig.scan() == [
        ("lost", 'input "keys": Pit Keyboard has gone'),
        ("found", 'input "keys": Pit Keyboard is back'),
    ]


def test_a_device_that_comes_back_under_the_same_number() -> None:
    """Where the system tells that the connection no longer stands, it is lost and found all the same."""
    rig = Rig(KEYS, RACK, numbered=False, tells=True)
    rig.hub.unplug(rig.stage)
    rig.hub.unplug(rig.rack)
    rig.stage, rig.rack = rig.hub.plug("Pit Keyboard", receives=False), rig.hub.plug("Rack", sends=False)
    assert [kind for kind, _ in rig.scan()] == ["lost", "lost", "found", "found"]
    assert rig.passes()
    assert rig.scan() == []


def test_a_port_that_cannot_be_asked_costs_no_word_of_another(monkeypatch: pytest.MonkeyPatch) -> None:
    """A keyboard that has gone is told at the next look: what it held would never end."""
    rig = Rig(tells=True)
    raw = rig.ports.outputs["rack"]
    rig.hub.unplug(rig.stage)

    def fail(self: OutputPort) -> bool:
        raise OSError("no answer")

    with monkeypatch.context() as broken:
        broken.setattr(OutputPort, "is_cut_off", property(fail))
        with pytest.raises(OSError, match="no answer"):
            rig.scan()
    assert raw.is_open
    assert ("lost", 'input "keys": Pit Keyboard has gone') in rig.scan()


def test_several_candidates_are_listed_once() -> None:
    """Until one of them goes; with a number either can be had."""
    rig = Rig(Wanted("first", "out", "Box*"), Wanted("second", "out", "Box*#2"))
    boxes = [rig.hub.plug("Box"), rig.hub.plug("Box")]
    ambiguous = '"Box*" means Box or Box: write more of the name, or #2 after it for the second'
    assert rig.scan() == [("ambiguous", f'output "first": {ambiguous}'), ("found", 'output "second": Box')]
    rig.ports.outputs["second"].send(NOTE, 0)
    assert (boxes[0].heard, boxes[1].heard) == ([], [NOTE])
    rig.hub.plug("Other")
    assert rig.scan() == []
    rig.hub.unplug(boxes[0])
    assert rig.scan() == [("ambiguous", 'output "first": Box is output "second" already')]


def test_one_port_is_not_opened_under_two_names() -> None:
    """Two outputs that are one instrument would end each other's notes."""
    rig = Rig(RACK, Wanted("module", "out", "Ra*"), Wanted("back", "in", "Rack*"))
    assert told(rig.first)[1:] == [
        ("found", 'output "rack": Rack'),
        ("ambiguous", 'output "module": Rack is output "rack" already'),
    ]


def test_virtual_ports_are_made_and_never_connected_to_ourselves() -> None:
    """Others find them by our name; a pattern for everything doesn't mean them."""
    rig = Rig(TAKE, Wanted("from-daw", "in", "from-daw", virtual=True), Wanted("all", "in", "*"))
    assert told(rig.first) == [
        ("found", 'input "from-daw": other programs find it as "from-daw"'),
        ("found", 'input "all": Pit Keyboard'),
        ("found", 'output "take": other programs find it as "take"'),
    ]
    rig.hub.find("pointsman:from-daw").hear(NOTE)
    assert rig.input_port("from-daw").get_message() == (list(NOTE), 0.0)
    rig.ports.outputs["take"].send(OFF, 0)
    assert rig.hub.find("pointsman:take").heard == [OFF]


def test_where_there_are_no_virtual_ports_the_rules_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the port's name, and before anything was opened or closed."""
    rig = Rig()
    monkeypatch.setattr(FakeBackend, "has_virtual", False)
    with pytest.raises(MachineError, match='output "take": fake has no virtual ports: name a port of the computer'):
        rig.ports.want([TAKE], rig.now)
    assert rig.passes()


def test_a_port_that_cannot_be_opened_is_tried_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the system says is said once; the next look may be luckier."""
    rig = Rig(KEYS)

    def busy(self: FakeBackend, name: str, label: str, named: bool) -> None:
        raise MachineError("somebody else has it")

    with monkeypatch.context() as patch:
        patch.setattr(FakeBackend, "open_output", busy)
        assert told(rig.ports.want([KEYS, RACK], rig.now)) == [("waiting", 'output "rack": somebody else has it')]
        assert rig.scan() == []
    assert rig.scan() == [("found", 'output "rack": Rack')]


def test_what_is_refused_is_told_by_port() -> None:
    """A sysex that is too long for the system."""
    rig = Rig()
    rig.ports.outputs["rack"].send(b"\xf0" + bytes(2_000) + b"\xf7", rig.now)
    words = 'output "rack": 1 sysex refused, of up to 2,002 bytes; fake carries 1,000'
    assert rig.scan() == [("dropping", words)]


def test_the_state_of_all_ports() -> None:
    """For `status`: inputs first."""
    rig = Rig(KEYS, RACK, Wanted("pads", "in", "Pads"))
    rig.input_port("keys").messages = 5
    rig.input_port("keys").faulty = 1
    states = [(port["name"], port["direction"], port["state"], port["computer_port"]) for port in rig.ports.state()]
    assert states == [
        ("keys", "in", "open", "Pit Keyboard"),
        ("pads", "in", "missing", None),
        ("rack", "out", "open", "Rack"),
    ]
    assert (rig.ports.state()[0]["messages"], rig.ports.state()[0]["lost"]) == (5, 1)


def test_what_waits_goes_on_if_one_message_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    """The next ones of the same output and of the others; each loss is told at its port."""
    send = FakeOutput.send_message

    def broken(self: FakeOutput, message: Sequence[int]) -> None:
        if bytes(message) == OFF:
            raise RuntimeError("error sending the message")
        send(self, message)

    monkeypatch.setattr(FakeOutput, "send_message", broken)
    rig = Rig(Wanted("rack", "out", "Rack*", connection="din"), Wanted("box", "out", "Box*", connection="din"))
    box = rig.hub.plug("Box", sends=False)
    rig.scan()
    for output_port in rig.ports.outputs.values():
        for message in (NOTE, OFF, NOTE):
            output_port.send(message, rig.now)
    for _ in range(4):
        rig.now += SECOND
        wake = rig.ports.pump(rig.now)
    assert (rig.rack.heard, box.heard, wake) == ([NOTE, NOTE], [NOTE, NOTE], NEVER)
    words = "1 message dropped: fake says: error sending the message"
    assert rig.scan() == [("dropping", f'output "rack": {words}'), ("dropping", f'output "box": {words}')]


def test_a_port_that_refuses_its_silence_is_dropped_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """A name that moves to another port leaves the old one silent, as far as that lets it be."""
    send = FakeOutput.send_message

    def broken(self: FakeOutput, message: Sequence[int]) -> None:
        if message[0] & 0xF0 == CONTROLLER:
            raise RuntimeError("error sending the message")
        send(self, message)

    monkeypatch.setattr(FakeOutput, "send_message", broken)
    rig = Rig(RACK)
    box = rig.hub.plug("Box", sends=False)
    rig.ports.want([Wanted("rack", "out", "Box*")], rig.now)
    rig.ports.drop_unwanted()
    rig.ports.outputs["rack"].send(NOTE, rig.now)
    assert len(rig.rack.heard) == 16
    assert box.heard == [NOTE]


def test_a_system_that_finds_out_by_itself_that_it_is_dead_is_missed_at_once() -> None:
    """However well its heart still seems to beat; and it comes back as any other."""
    rig = Rig(KEYS, server=True)
    rig.backend.is_lost = True
    assert [kind for kind, _ in rig.scan()] == ["server lost", "lost"]
    assert [kind for kind, _ in rig.scan()] == ["server back", "found"]
