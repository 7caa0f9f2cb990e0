"""`pointsman send`: messages to one port, and notes that end."""

from __future__ import annotations

import io
import json
import signal
import sys
from collections.abc import Sequence

import pytest

from router.cli.message_sender import SendSettings, note_offs, send
from router.files.clock import Clock
from router.text.usage import UsageError
from rules.errors import MachineError
from tests.support.fake_clock import FakeClock
from tests.support.fake_midi_system import FakeBackend, FakeOutput, Hub

NOTE = b"\x90\x3c\x64"
OFF = b"\x80\x3c\x40"


@pytest.fixture
def hub() -> Hub:
    """A computer with a module."""
    hub = Hub()
    hub.plug("Rack:MIDI 1", sends=False)
    return hub


def test_a_note_is_sent_and_ended(hub: Hub, capsys: pytest.CaptureFixture[str]) -> None:
    """After the time that was asked for; both are told."""
    rack, time, heard = hub.find("Rack:MIDI 1"), FakeClock(100), []
    time.on_sleep = lambda: heard.append(list(rack.heard))
    settings = SendSettings("Rack", ("note-on", "1", "C4", "100"), hold_s=2.0)
    assert send(settings, FakeBackend(hub), time.clock) == 0
    assert time.seconds == 102.0
    assert heard == [[NOTE]] * len(heard)
    assert rack.heard == [NOTE, OFF]
    assert capsys.readouterr().out == "to Rack:MIDI 1:\n  note-on 1 C4 100\n  note-off 1 C4 64\n"


def test_several_messages_go_in_order(hub: Hub, capsys: pytest.CaptureFixture[str]) -> None:
    """What sounds in the end is ended; as data, too."""
    words = ("program 1 6", "note-on 1 C4 100", "note-on 1 E4 100", "note-off 1 E4 64", "F8")
    assert send(SendSettings("rack*", words, json=True), FakeBackend(hub), FakeClock().clock) == 0
    heard = [b"\xc0\x05", NOTE, b"\x90\x40\x64", b"\x80\x40\x40", b"\xf8", OFF]
    assert hub.find("Rack:MIDI 1").heard == heard
    told = json.loads(capsys.readouterr().out)
    assert (told["command"], told["ok"], told["port"]) == ("send", True, "Rack:MIDI 1")
    assert [bytes.fromhex(one["bytes"]) for one in told["sent"]] == heard
    assert told["sent"][0]["message"] == "program 1 6"


def test_messages_wait_for_their_times(hub: Hub, capsys: pytest.CaptureFixture[str]) -> None:
    """Counted from the first; one without a time follows the one before it, and notes end after the last."""
    rack, time = hub.find("Rack:MIDI 1"), FakeClock(100)
    heard: dict[bytes, float] = {}
    time.on_sleep = lambda: [heard.setdefault(message, time.seconds) for message in rack.heard]
    words = ("90 3C 64", "at 200 ms program 1 5", "controller 1 volume 90", "at 1000.5 ms start")
    assert send(SendSettings("Rack", words, hold_s=2.0), FakeBackend(hub), time.clock) == 0
    assert rack.heard == [NOTE, b"\xc0\x04", b"\xb0\x07\x5a", b"\xfa", OFF]
    assert time.seconds == pytest.approx(103.0005)
    assert 100.2 <= heard[b"\xc0\x04"] == heard[b"\xb0\x07\x5a"] < 100.3
    assert capsys.readouterr().out.count("\n") == 6


def test_one_message_in_words_may_have_a_time(hub: Hub) -> None:
    """Without quotes, too."""
    time = FakeClock(100)
    send(SendSettings("Rack", ("at", "300", "ms", "program", "1", "5")), FakeBackend(hub), time.clock)
    assert hub.find("Rack:MIDI 1").heard == [b"\xc0\x04"]
    assert time.seconds == pytest.approx(100.3)


@pytest.mark.usefixtures("as_a_terminal_starts_us")
def test_what_interrupts_a_pause_ends_only_what_sounds(hub: Hub) -> None:
    """What is still to come is not sent, and not ended."""

    def interrupted(_: float) -> None:
        raise KeyboardInterrupt

    words = ("90 3C 64", "at 200 ms 90 40 64")
    with pytest.raises(KeyboardInterrupt):
        send(SendSettings("Rack", words), FakeBackend(hub), Clock(sleep_s=interrupted))
    assert hub.find("Rack:MIDI 1").heard == [NOTE, OFF]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("at noon start",), 'write a time as in "at 12 ms note-on 4 C4 100"'),
        (("at 200 ms start", "at 100 ms stop"), '"at 100 ms" comes after "at 200 ms"'),
        (("at 200 ms note-in 1",), '"note-in" is not a kind of message'),
    ],
)
def test_times_that_are_none(hub: Hub, words: tuple[str, ...], told: str) -> None:
    """It is said before a port is opened."""
    with pytest.raises(UsageError, match=told):
        send(SendSettings("Rack", words), FakeBackend(hub))
    assert hub.find("Rack:MIDI 1").heard == []


@pytest.mark.usefixtures("as_a_terminal_starts_us")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_what_interrupts_it_ends_the_note(hub: Hub, monkeypatch: pytest.MonkeyPatch, number: signal.Signals) -> None:
    """Ctrl-C, a request to end, or a closed terminal; that of a terminal may be told while the note is being ended."""

    def interrupted(_: float) -> None:
        signal.raise_signal(number)

    def hear(message: bytes) -> None:
        if message == OFF:
            signal.raise_signal(signal.SIGHUP)
        rack.heard.append(message)

    rack = hub.find("Rack:MIDI 1")
    monkeypatch.setattr(rack, "hear", hear)
    with pytest.raises(KeyboardInterrupt):
        send(SendSettings("Rack", ("90 3C 64",)), FakeBackend(hub), Clock(sleep_s=interrupted))
    assert rack.heard == [NOTE, OFF]


@pytest.mark.parametrize(
    ("port", "words"),
    [
        ("Rock*", 'the computer has no port named "Rock*"; "pointsman ports" lists all ports'),
        ("*", '"*" means Rack:MIDI 1 or Other: write more of the name, or #2 after it for the second'),
    ],
)
def test_a_port_that_is_not_there_or_not_clear(hub: Hub, port: str, words: str) -> None:
    """Nothing is sent; the words say what there is."""
    hub.plug("Other", sends=False)
    with pytest.raises(UsageError) as caught:
        send(SendSettings(port, ("start",)), FakeBackend(hub))
    assert words in str(caught.value)
    assert hub.find("Rack:MIDI 1").heard == []


def test_a_message_that_is_none(hub: Hub) -> None:
    """It is said before a port is opened."""
    backend = FakeBackend(hub)
    with pytest.raises(UsageError, match='"note-in" is not a kind of message'):
        send(SendSettings("Rack", ("note-in", "1", "C4", "100")), backend)
    assert backend.opened == 0


def test_a_sysex_that_is_too_long(hub: Hub) -> None:
    """The system's limit is told, and nothing is sent, not even what stands before it."""
    long = "F0 " + "00 " * 2_000 + "F7"
    with pytest.raises(
        MachineError, match="a sysex of 2,002 bytes is too long for this MIDI system: it carries at most 1,000"
    ):
        send(SendSettings("Rack", ("note-on 1 C4 100", long)), FakeBackend(hub))
    assert hub.find("Rack:MIDI 1").heard == []


def test_a_message_that_the_system_refuses(hub: Hub, monkeypatch: pytest.MonkeyPatch) -> None:
    """What had to wait for the system is not said to be sent if it wasn't; the note ends all the same."""
    send_message = FakeOutput.send_message

    def refuse(self: FakeOutput, message: Sequence[int]) -> None:
        if bytes(message) == NOTE:
            raise RuntimeError("error sending the message")
        send_message(self, message)

    monkeypatch.setattr(FakeOutput, "send_message", refuse)
    with pytest.raises(MachineError, match="1 message dropped: the MIDI system says: error sending the message"):
        send(SendSettings("Rack", ("note-on 1 C4 100",)), FakeBackend(hub, server=True), FakeClock().clock)
    assert hub.find("Rack:MIDI 1").heard == [OFF]


def test_a_port_of_our_own_waits_to_be_connected(
    hub: Hub, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A moment where nobody can press Enter, else until then."""
    heard: list[tuple[float, list[bytes]]] = []
    time = FakeClock(100)
    time.on_sleep = lambda: heard.append((time.seconds, list(hub.find("pointsman:test").heard)))

    monkeypatch.setattr(sys, "stdin", io.StringIO())
    send(SendSettings("test", ("note-on 1 C4 100",), virtual=True), FakeBackend(hub), time.clock)
    assert (heard[0], heard[-1]) == ((101.0, []), (101.5, [NOTE]))
    heard.clear()
    send(SendSettings("test", ("start",), virtual=True, wait_s=3.0), FakeBackend(hub), time.clock)
    assert heard == [(104.5, [])]

    class Terminal(io.StringIO):
        """Somebody who presses Enter."""

        def isatty(self) -> bool:
            return True

    capsys.readouterr()
    monkeypatch.setattr(sys, "stdin", Terminal("\n"))
    send(SendSettings("test", ("start",), virtual=True), FakeBackend(hub), time.clock)
    assert len(heard) == 1
    assert capsys.readouterr().out.startswith('The port "test" is there now. Connect it, then press Enter.\n')


@pytest.mark.parametrize(
    ("messages", "ends"),
    [
        ([NOTE], [OFF]),
        ([NOTE, OFF], []),
        ([NOTE, b"\x90\x3c\x00"], []),
        ([NOTE, NOTE], [OFF]),
        ([b"\x91\x3c\x64", NOTE], [b"\x81\x3c\x40", OFF]),
        ([OFF, b"\xb0\x40\x7f", b"\xfa"], []),
    ],
)
def test_what_ends_the_notes(messages: list[bytes], ends: list[bytes]) -> None:
    """One note-off for each key that still sounds."""
    assert note_offs(messages) == ends
