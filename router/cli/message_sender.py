"""What `send` does: opens a port, sends, and ends the notes.

The data (`--json`) is one object; notes that were ended are among what was sent:

    {"command": "send", "ok": true, "port": "Rack:Rack MIDI 1",
     "sent": [{"message": "note-on 1 C4 100", "bytes": "90 3C 64"},
              {"message": "note-off 1 C4 64", "bytes": "80 3C 40"}]}
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from contextlib import ExitStack
from fractions import Fraction
from typing import Final, NamedTuple

from router.cli.message_arguments import read_timed_messages
from router.files.clock import SYSTEM_CLOCK, Clock
from router.files.interrupts import ended_like_ctrl_c
from router.midi.backend import Backend
from router.midi.backend_choice import choose_backend
from router.midi.event_loop import EventLoop, nothing_arrives
from router.midi.output_port import OutputPort
from router.midi.port_manager import PortManager
from router.text.exit_codes import FINE
from router.text.formatting import plain
from router.text.message_data import message_data
from router.text.terminal import is_terminal, say
from router.text.usage import UsageError
from rules.errors import MachineError
from rules.midi.messages import NOTE_OFF, OFF_VELOCITY, is_note_off, is_note_on
from rules.midi.notation import format_message
from rules.ports.patterns import Wanted, bare_name


class SendSettings(NamedTuple):
    """What `send` shall send, and where: to the `port` that a pattern means, or from a `virtual` port of our own.

    `words` are the messages as written, which may have times. Notes are ended `hold_s` seconds after the last message.
    A virtual port waits `wait_s` seconds for somebody to connect, None until Enter is pressed.
    """

    port: str
    words: tuple[str, ...]
    virtual: bool = False
    hold_s: float = 0.5
    wait_s: float | None = None
    backend: str | None = None
    json: bool = False


_NAME: Final = "send"
_CONNECT_S: Final = 1.0  # seconds that somebody gets to connect, where nobody can press Enter
_LAST_SENDS_NS: Final = 3_000_000_000
_NS_PER_MS: Final = 1_000_000


def send(settings: SendSettings, backend: Backend | None = None, clock: Clock = SYSTEM_CLOCK) -> int:
    """Send, and end the notes; return the exit code. Raises UsageError or MachineError."""
    messages = read_timed_messages(settings.words)
    with ended_like_ctrl_c(), ExitStack() as closing:
        ports = PortManager(backend or choose_backend(settings.backend, "pointsman-send"), clock)
        closing.callback(ports.close)
        output_port = _open(ports, settings, clock.now_ns())
        port = bare_name(output_port.computer_port)
        if settings.virtual:
            _wait_for_somebody(settings, clock)
        _refuse_too_long([message for _, message in messages], output_port)
        sent = _play(ports, output_port, messages, settings.hold_s, clock)
        if complaint := output_port.complaint(clock.now_ns(), "the MIDI system"):
            raise MachineError(complaint)
    _tell(port, sent, settings.json)
    return FINE


def _open(ports: PortManager, settings: SendSettings, now: int) -> OutputPort:
    events = ports.want([Wanted(_NAME, "out", settings.port, virtual=settings.virtual)], now)
    output_port = ports.outputs[_NAME]
    if not output_port.is_open:
        words = events[0].words.removeprefix(f'output "{_NAME}": ') if events else "the MIDI system doesn't answer"
        raise UsageError(f'{words.removesuffix("; waiting for it")}; "pointsman ports" lists all ports')
    return output_port


def _wait_for_somebody(settings: SendSettings, clock: Clock) -> None:
    """Wait for a program to connect to our port; nothing tells when one has."""
    if settings.wait_s is None and is_terminal(sys.stdin):
        say([f'The port "{plain(settings.port)}" is there now. Connect it, then press Enter.'])
        sys.stdout.flush()
        sys.stdin.readline()
    else:
        clock.sleep_s(_CONNECT_S if settings.wait_s is None else settings.wait_s)


def _refuse_too_long(messages: Sequence[bytes], output_port: OutputPort) -> None:
    """Refuse messages that the system can't carry, before any is sent."""
    longest = max(len(message) for message in messages)
    if output_port.limit is not None and longest > output_port.limit:
        raise MachineError(
            f"a sysex of {longest:,} bytes is too long for this MIDI system: it carries at most {output_port.limit:,}"
        )


def _play(
    ports: PortManager,
    output_port: OutputPort,
    messages: Sequence[tuple[Fraction, bytes]],
    hold_s: float,
    clock: Clock,
) -> list[bytes]:
    """Send each message at its time (ms), and end what then sounds, even if Ctrl-C or its like comes in between."""
    begin, sent = clock.now_ns(), []
    try:
        for after, message in messages:
            _wait_until(begin + int(after * _NS_PER_MS), ports, clock)
            sent.append(message)
            output_port.send(message, clock.now_ns())
        ports.flush(_LAST_SENDS_NS)
        ends = note_offs(sent)
        if ends:
            _wait_until(clock.now_ns() + round(hold_s * 1e9), ports, clock)
    finally:
        for message in note_offs(sent):
            output_port.send(message, clock.now_ns())
        ports.flush(_LAST_SENDS_NS)
    return [*sent, *ends]


def _wait_until(end: int, ports: PortManager, clock: Clock) -> None:
    """Wait until a time (ns), and let ports send what is still to go meanwhile."""
    if clock.now_ns() < end:
        EventLoop(nothing_arrives, lambda now: min(ports.pump(now), end), clock).run(lambda: clock.now_ns() >= end)


def note_offs(messages: Sequence[bytes]) -> list[bytes]:
    """Return what ends the notes that sound after some messages, in the order in which they began."""
    sounding: dict[tuple[int, int], None] = {}
    for message in messages:
        channel = message[0] & 0x0F
        if is_note_on(message):
            sounding[channel, message[1]] = None
        elif is_note_off(message):
            sounding.pop((channel, message[1]), None)
    return [bytes((NOTE_OFF | channel, key, OFF_VELOCITY)) for channel, key in sounding]


def _tell(port: str, sent: Sequence[bytes], as_json: bool) -> None:
    if as_json:
        listed = [message_data(message) for message in sent]
        say([json.dumps({"command": "send", "ok": True, "port": port, "sent": listed}, indent=2)])
    else:
        say([f"to {plain(port)}:", *(f"  {format_message(message)}" for message in sent)])
