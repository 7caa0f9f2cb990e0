"""JACK: a MIDI system that can die and come back."""

from __future__ import annotations

import contextlib
import ctypes
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from router.system import Client, MidiIn, MidiOut, OpenInput, OpenOutput, System, asking
from rules.errors import MachineError

if TYPE_CHECKING:
    from router.backend import RawInput, RawOutput

HEARTBEAT: Final = "heartbeat"

_PROBE_SECONDS: Final = 5.0


class Jack(System):
    """A JACK server, which can die and come back.

    Once it has died, everything of ours is dead with it, and making a new client frees the old ones behind our back:
    they must not be touched again. A server that hangs lets everybody hang who asks it for something, so that a child
    process asks first.
    """

    name = "JACK"
    sysex_limit = 16_379
    sysex_sticks = True

    _child: subprocess.Popen[bytes] | None = None
    _is_lost = False

    def is_ours(self, name: str) -> bool:
        """By the client's name, to which JACK may have added a number; and so are the heartbeats of other daemons."""
        client, _, port = name.partition(":")
        return port == HEARTBEAT or any(
            re.fullmatch(rf"{re.escape(own)}(-\d\d)?", client) for own in (self.client, *self._labels)
        )

    def input_names(self) -> list[str]:
        """The ports that can be listened to; none once the server is lost."""
        return [] if self._is_lost else super().input_names()

    def output_names(self) -> list[str]:
        """The ports that can be sent to; none once the server is lost."""
        return [] if self._is_lost else super().output_names()

    def _make_in(self, name: str) -> MidiIn:
        with self._making():
            return super()._make_in(name)

    def _make_out(self, name: str) -> MidiOut:
        with self._making():
            return super()._make_out(name)

    @contextlib.contextmanager
    def _making(self) -> Iterator[None]:
        """A client that can't be made means that the server has died, and that all others have just been freed."""
        if self._is_lost:
            raise MachineError("JACK doesn't answer")
        try:
            yield
        except Exception:
            self._is_lost = True
            self._leave_alone()
            raise

    def _leave_alone(self) -> None:
        """Never touch any client again, not even to delete it."""
        for client in self._clients:
            _never_free(client)
        self._forget()

    def loopback(self) -> tuple[RawInput, RawOutput] | None:
        """On the two clients that look for ports, so that it costs none of its own."""
        with asking("JACK can't be used"):
            before = set(self.input_names())
            self._look_out.open_virtual_port(HEARTBEAT)
            names = self.input_names()
            new = [name for name in names if name not in before and self.is_ours(name)]
            self._look_in.open_port(names.index(new[0]), HEARTBEAT)
            return OpenInput(self._look_in, _keep), OpenOutput(self._look_out, _keep)

    def lose(self) -> None:
        """The server is dead, or hangs: whoever asks it for something may wait for ever."""
        self._is_lost = True

    def revive(self) -> bool:
        """True once the server answers and new clients are made, the old ones gone."""
        if self._clients and self._look_in.get_message() is not None:
            super().close()  # the heartbeat has come back: the server had only been hanging
            return self._try_again()
        if self._child is None:
            self._child = _probe(self._api)
            return False
        code = self._child.poll()
        if code is None:
            return False
        self._child = None
        if code == -signal.SIGALRM:
            return False  # it hangs, and so would we
        self._bury()
        return code == 0 and self._try_again()

    def _try_again(self) -> bool:
        self._stop_asking()
        self._is_lost = False
        try:
            self._begin()
        except MachineError:
            return False
        return True

    def _bury(self) -> None:
        """The server is dead. Inputs are deleted, for their queues are large.

        An output would first wait a second for the dead to take what it had sent, so it is left as it is.
        """
        for client in self._clients:
            if hasattr(client, "get_message"):
                client.delete()
            else:
                _never_free(client)
        self._forget()

    def _stop_asking(self) -> None:
        if self._child is not None:
            self._child.kill()
            self._child.wait()
            self._child = None

    def close(self) -> None:
        """Delete all clients, unless the server might never let us."""
        self._stop_asking()
        if self._is_lost:
            self._leave_alone()
        else:
            super().close()


_ASK: Final = """
import signal, sys, rtmidi
signal.alarm(int(sys.argv[2]))
rtmidi.MidiOut(int(sys.argv[1]), name="pointsman-probe").delete()
"""


def _probe(api: int) -> subprocess.Popen[bytes]:
    """A child that ends well if a client can be made, and is ended by a signal if the server only hangs."""
    return subprocess.Popen(
        [sys.executable, "-c", _ASK, str(api), str(int(_PROBE_SECONDS))],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def _keep(client: Client) -> None:
    """The clients that look for ports outlive their loopback."""


def _never_free(client: object) -> None:
    """Keep an object for ever, beyond the end of Python: freeing it would touch memory that is gone."""
    ctypes.pythonapi.Py_IncRef(ctypes.py_object(client))
