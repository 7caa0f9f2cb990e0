"""The ports of a session: found, lost, found again, wanted anew, and the death of a sound server."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Sequence
from typing import Any

import pytest

from rules.errors import MachineError
from rules.midi.messages import CONTROLLER
from rules.ports.patterns import Wanted
from rules.timing.delays import NEVER
from tests.support.fake_midi_system import FakeBackend, FakeInput, FakeOutput
from tests.support.port_rig import KEYS, NOTE, OFF, RACK, SECOND, TAKE, Rig, told

VOLUME = b"\xb0\x07\x40"


def failing(words: str) -> Callable[[], list[str]]:
    """A list of ports that can't be had."""

    def names() -> list[str]:
        raise MachineError(words)

    return names


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


# -- wanted anew ------------------------------------------------------------------------------------------------------


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


# -- a sound server ---------------------------------------------------------------------------------------------------


def test_names_that_can_not_be_read_are_told_once_and_tried_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is open plays on meanwhile."""
    rig = Rig()
    with monkeypatch.context() as broken:
        broken.setattr(rig.backend, "input_names", failing("the ports can't be listed"))
        assert rig.scan() == [("unlisted", "the ports can't be listed")]
        assert rig.scan() == []
        assert rig.passes()
    rig.hub.unplug(rig.stage)
    assert rig.scan()[0] == ("lost", 'input "keys": Pit Keyboard has gone')
    with monkeypatch.context() as broken:
        broken.setattr(rig.backend, "input_names", failing("the ports can't be listed"))
        assert rig.scan() == [("unlisted", "the ports can't be listed")]


def test_a_server_that_dies_is_missed_and_waited_for() -> None:
    """All ports are lost with it, nothing is touched, nothing freezes; when it is back, all are opened anew."""
    rig = Rig(KEYS, RACK, TAKE, server=True)
    assert rig.die() == [
        ("server lost", "fake doesn't answer any more; waiting for it"),
        ("lost", 'input "keys": lost with it'),
        ("lost", 'output "rack": lost with it'),
        ("lost", 'output "take": lost with it'),
    ]
    rig.ports.outputs["rack"].send(NOTE, rig.now)
    assert (rig.ports.inputs, rig.backend.losses) == ([], 1)
    assert {port["state"] for port in rig.ports.state()} == {"server lost"}
    rig.hub.revive()
    assert rig.scan() == [
        ("server back", "fake is back"),
        ("found", 'input "keys": Pit Keyboard is back'),
        ("found", 'output "rack": Rack is back'),
        ("found", 'output "take": other programs find it as "take" again'),
    ]
    assert rig.passes()


def test_nothing_is_opened_on_a_server_that_has_just_died() -> None:
    """Not yet missed, but it is asked before: new rules wait for it, and play once it is back."""
    rig = Rig(server=True)
    rig.hub.die()
    opened = rig.backend.opened
    assert rig.ports.want([KEYS, RACK, TAKE], rig.now) == []
    assert rig.backend.opened == opened
    assert rig.die()[0][0] == "server lost"
    rig.hub.revive()
    assert ("found", 'output "take": other programs find it as "take"') in rig.scan()


def test_rules_that_change_while_the_server_is_away() -> None:
    """They count when it is back."""
    rig = Rig(server=True)
    rig.die()
    assert rig.ports.want([KEYS], rig.now) == []
    rig.ports.drop_unwanted()
    rig.hub.revive()
    assert rig.scan() == [("server back", "fake is back"), ("found", 'input "keys": Pit Keyboard is back')]


def test_a_hiccup_of_the_server_is_told() -> None:
    """At most once a minute: what was played in that moment may be lost. Each hiccup is told once, not again later."""
    rig = Rig(server=True)
    loopback = rig.hub.find("pointsman:heartbeat")
    told: list[tuple[str, str]] = []
    for _ in range(40):
        rig.ports.pump(rig.now)
        for listener in loopback.listeners:
            listener.waiting.clear()
        told += rig.scan(0.2)
    assert told == [("dropping", "fake had a hiccup: what you played in that moment may be lost")]
    told = [line for _ in range(800) for line in rig.scan(0.2)]
    assert told == []


def test_a_server_that_fails_is_reported_and_missed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever its heartbeat raises ends nothing; when it takes beats again, everything is opened anew."""
    send = FakeOutput.send_message
    fails = False

    def beat(self: FakeOutput, message: Sequence[int]) -> None:
        if fails and self.virtual:
            raise RuntimeError("broken pipe")
        send(self, message)

    monkeypatch.setattr(FakeOutput, "send_message", beat)
    rig = Rig(server=True)
    reported: list[str] = []
    rig.ports.report = lambda: reported.append(traceback.format_exc())
    fails = True
    said = [rig.scan(0.3) for _ in range(10)]
    fails = False
    assert any(("server lost", "fake doesn't answer any more; waiting for it") in told for told in said)
    assert all("broken pipe" in text for text in reported)
    assert len(reported) >= 5
    for _ in range(10):
        rig.scan(0.3)
    assert rig.passes()


# -- while it is quiet ------------------------------------------------------------------------------------------------


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
