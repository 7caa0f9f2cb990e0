"""A session on the ports that are open: what arrives goes through it and out again, and all of it is logged.

From its arrival until it is sent, a message waits for all that is done here. While music plays the computer's caches
forget most of it in between, so that each function called and each table looked up costs more than it does in a test.
"""

from __future__ import annotations

import traceback
from collections.abc import Callable, Collection, Sequence
from typing import Any, Final

import rules.journal.format as journal
from router.daemon.latency import Latency
from router.midi.event_loop import MOST_AT_ONCE
from router.midi.input_port import InputPort
from router.midi.output_port import OutputPort
from router.midi.port_manager import PortManager
from rules.engine.delivery import Sent
from rules.engine.session import Session
from rules.journal.format import Record
from rules.midi.messages import SYSEX, message_fault

_MOST_TRACEBACKS: Final = 10

_Played = tuple[int, int, int, bytes, Sequence[Sent]]
"""When a message arrived and when all of it had been sent (ns), its player, itself, and what came of it."""


class Playing:
    """The messages' way. Whatever goes wrong is counted in `errors` and said, and never stops the next message."""

    def __init__(
        self,
        session: Session,
        ports: PortManager,
        log: Callable[[Record], None],
        say: Callable[[str], None],
        now_ns: Callable[[], int],
    ) -> None:
        self.session = session
        self.ports = ports
        self.latency = Latency()
        self.errors = 0
        self._log = log
        self._say = say
        self._now_ns = now_ns
        self._out: list[Sent] = []
        self._played: list[_Played] = []
        self._open_inputs: list[tuple[InputPort, int]] = []
        self._outputs: list[OutputPort | None] = []
        ports.report = self._report

    def _connect(self, without: Collection[str] = ()) -> None:
        """Look up once which player and output each port is. Nothing is sent to the outputs `without`."""
        players = self.session.players
        self._open_inputs = [
            (input_port, players[input_port.name]) for input_port in self.ports.inputs if input_port.name in players
        ]
        outputs = {name: output_port for name, output_port in self.ports.outputs.items() if name not in without}
        self._outputs = [outputs.get(name) for name in self.session.pipeline.ports]

    # -- in ------------------------------------------------------------------------------------------------------------

    def _take_arrived(self) -> bool:
        """Take what has arrived; whether anything had.

        It is logged after all of it has been played: what comes in one period of a sound server comes at once.
        """
        busy = False
        now_ns = self._now_ns
        for input_port, player in self._open_inputs:
            get_message = input_port.get_message
            for _ in range(MOST_AT_ONCE):
                received = get_message()
                if received is None:
                    break
                busy = True
                now = now_ns()
                input_port.messages += 1
                try:
                    message = bytes(received[0])
                    if message_fault(message):
                        self._play_parts(input_port, player, message, now)
                    else:
                        self._play(input_port, player, message, now)
                except Exception:
                    self._report()
        if busy:
            self._log_played()
        return busy

    def _play_parts(self, input_port: InputPort, player: int, part: bytes, now: int) -> None:
        """Play the messages that have become whole with what is no message by itself."""
        for whole in input_port.reassemble(part):
            self._play(input_port, player, whole, now)

    def _play(self, input_port: InputPort, player: int, message: bytes, now: int) -> None:
        """Play a whole message. Whatever goes wrong is counted, and never stops the next one."""
        out = self._out
        try:
            self.session.arrive(player, message, now, out)
        except Exception:
            self._report()
        if out:
            self._hand_over(now)
            self._out = []
            self._played.append((now, self._now_ns(), player, message, out))
        else:
            self._note_nowhere(input_port, player, message)
            self._played.append((now, now, player, message, ()))

    def _play_message(self, player: int, message: bytes, now: int) -> None:
        """Play a whole message of a player that has no port, such as a take. Whatever goes wrong is counted."""
        try:
            self.session.arrive(player, message, now, self._out)
        except Exception:
            self._report()
        self._hand_over(now)
        self._log((journal.IN, now, player, message))
        self._log_sent()

    def _note_nowhere(self, input_port: InputPort, player: int, message: bytes) -> None:
        """Count a message of which nothing comes, now or later. Clock and transport, on most cables, don't count."""
        if message[0] <= SYSEX and self.session.engine.goes_nowhere(player, message):
            input_port.nowhere += 1
            input_port.nowhere_last = message

    # -- out -----------------------------------------------------------------------------------------------------------

    def _send(self, now: int) -> None:
        """Send what the session gave out, and log it."""
        self._hand_over(now)
        self._log_sent()

    def _hand_over(self, now: int) -> None:
        outputs = self._outputs
        for target, message, _, _ in self._out:
            output_port = outputs[target]
            if output_port is not None:
                try:
                    output_port.send(message, now)
                except Exception:
                    self._report()

    def _log_sent(self) -> None:
        self._log_out(self._out)
        self._out.clear()

    def _log_out(self, out: Sequence[Sent]) -> None:
        log = self._log
        for target, message, due, _ in out:
            log((journal.OUT, due, target, message))

    def _log_played(self) -> None:
        """Log what has arrived and what came of it, and how long that took."""
        for now, sent_at, player, message, out in self._played:
            self._log((journal.IN, now, player, message))
            self._log_out(out)
            if out:
                self.latency.note(sent_at - now)
        self._played.clear()

    # -- whatever goes wrong -------------------------------------------------------------------------------------------

    def _safely(self, call: Callable[..., None], *arguments: Any) -> None:
        """Call the session, sends what comes of it, and counts what goes wrong."""
        self._try(call, *arguments, self._out)
        self._send(self._now_ns())

    def _try(self, call: Callable[..., None], *arguments: Any) -> None:
        """Call something; whatever it raises is counted and reported, and what follows is done."""
        try:
            call(*arguments)
        except Exception:
            self._report()

    def _report(self) -> None:
        self.errors += 1
        if self.errors <= _MOST_TRACEBACKS:
            self._say(f"Internal error, the music goes on. Please report: {traceback.format_exc()}")
