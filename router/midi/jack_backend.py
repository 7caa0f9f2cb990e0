"""JACK: a MIDI system that can die and come back."""

from __future__ import annotations

import contextlib
import ctypes
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from router.midi.jack_library import JackWires
from router.midi.rtmidi_backend import Client, Library, MidiIn, MidiOut, OpenInput, OpenOutput, RtmidiBackend, asking
from rules.errors import MachineError

if TYPE_CHECKING:
    from router.midi.backend import RawInput, RawOutput

HEARTBEAT: Final = "heartbeat"
SILENCE: Final = "silence"

_PROBE_S: Final = 5.0

_LONGEST_NAME: Final = 60
"""Bytes of a client's name: 63, less the number that JACK adds where a name is taken."""

_SERVER_VARIABLE: Final = "JACK_DEFAULT_SERVER"
_USUAL_SERVER: Final = "default"


class JackBackend(RtmidiBackend):
    """A JACK server, which can die and come back.

    Once it has died, everything of ours is dead with it, and making a new client frees the old ones behind our back:
    they must not be touched again. A server that hangs lets everybody hang who asks it for something, so that a child
    process asks first.

    An input that listens to one port only reads the sender's own memory. Where the server has dropped a period, the
    sender may clear it meanwhile, and python-rtmidi (1.5.8) crashes, with all of us. Of an input that listens to two
    ports the server makes a copy first. So a port that never sends is connected to each of our inputs.
    """

    name = "JACK"
    sysex_limit = 16_379
    sysex_sticks = True

    _child: subprocess.Popen[bytes] | None = None
    _wires: JackWires | None = None
    _silence = ""

    def __init__(self, library: Library, api: int, client: str) -> None:
        if client == os.environ.get(_SERVER_VARIABLE, _USUAL_SERVER):
            raise MachineError(f'a client called "{client}", as the JACK server is, would cut it off: use another name')
        super().__init__(library, api, client)

    def is_ours(self, name: str) -> bool:
        """By the client's name, to which JACK may have added a number; and so are what other daemons have made for
        themselves alone."""
        return name.endswith((f":{HEARTBEAT}", f":{SILENCE}")) or self._is_of_our_clients(name)

    def _is_of_our_clients(self, name: str) -> bool:
        return any(re.match(rf"{re.escape(own)}(-\d\d)?:", name) for own in (self.client, *self._labels))

    def input_names(self) -> list[str]:
        """The ports that can be listened to; none once the server is lost."""
        return [] if self.is_lost else super().input_names() if self._wires is None else self._wires.senders()

    def output_names(self) -> list[str]:
        """The ports that can be sent to; none once the server is lost."""
        return [] if self.is_lost else super().output_names() if self._wires is None else self._wires.receivers()

    def _make_in(self, name: str) -> MidiIn:
        with self._making(name):
            return super()._make_in(name)

    def _make_out(self, name: str) -> MidiOut:
        with self._making(name):
            return super()._make_out(name)

    @contextlib.contextmanager
    def _making(self, name: str) -> Iterator[None]:
        """Take a failure to make a client as the death of the server, which has just freed all others."""
        if len(name.encode()) > _LONGEST_NAME:  # which it refuses as well, though it lives
            raise MachineError(f'the name "{name}" is too long for JACK: write at most {_LONGEST_NAME} bytes')
        if self.is_lost:
            raise MachineError("JACK doesn't answer")
        try:
            yield
        except Exception:
            self.is_lost = True
            self._abandon_clients()
            raise

    def _abandon_clients(self) -> None:
        """Give up all clients: they must not be touched again, not even to delete them."""
        for client in self._clients:
            _never_free(client)
        self._forget()

    def _forget(self) -> None:
        super()._forget()
        self._wires = None

    # -- inputs -------------------------------------------------------------------------------------------------------

    def open_input(self, name: str, label: str, named: bool = False) -> RawInput:
        """Connect as everywhere, with silence connected as well."""
        with self._with_silence():
            return super().open_input(name, label, named and self._has_room_for(label))

    def open_output(self, name: str, label: str, named: bool = False) -> RawOutput:
        """Connect as everywhere."""
        return super().open_output(name, label, named and self._has_room_for(label))

    def _has_room_for(self, label: str) -> bool:
        """Whether a client may be called after a port of this name; a port of the rules plays on without that."""
        return len(f"{self.client} {label}".encode()) <= _LONGEST_NAME

    def virtual_input(self, label: str) -> RawInput:
        """Make a port as everywhere, with silence connected to it."""
        with self._with_silence():
            return super().virtual_input(label)

    def loopback(self) -> tuple[RawInput, RawOutput] | None:
        """Use the two clients that look for ports, so that the loopback needs none of its own."""
        with asking("JACK can't be used"):
            heartbeat = self._make_port(self._look_out, HEARTBEAT)
            with self._with_silence():
                self._look_in.open_port(self.input_names().index(heartbeat), HEARTBEAT)
            return OpenInput(self._look_in, _keep), OpenOutput(self._look_out, _keep)

    def _make_port(self, client: Client, port: str) -> str:
        """Make a port that sends; return its full name."""
        before = set(self.input_names())
        client.open_virtual_port(port)
        return next(name for name in self.input_names() if name not in before and self._is_of_our_clients(name))

    def _begin(self) -> None:
        super()._begin()
        with contextlib.suppress(MachineError):  # it is only less safe without
            self._wires = JackWires()
        if self._wires is not None:
            with asking("JACK can't be used"):
                self._silence = self._make_port(self._make_out(self.client), SILENCE)

    @contextlib.contextmanager
    def _with_silence(self) -> Iterator[None]:
        """Connect silence to the input of ours that is made meanwhile.

        To no other: another command of our name may run, and one that waits for our silence waits for us.
        """
        before = set(self.output_names()) if self._wires is not None else set()
        yield
        if self._wires is not None:
            for name in self.output_names():
                if name not in before and self._is_of_our_clients(name):
                    self._wires.connect(self._silence, name)

    # -- death --------------------------------------------------------------------------------------------------------

    def lose(self) -> None:
        """Touch nothing of the server any more: it is dead or hangs, and asking it could take for ever."""
        self.is_lost = True

    def revive(self) -> bool:
        """Return whether the server answers again and new clients are made, the old ones gone."""
        if self._clients and self._look_in.get_message() is not None:
            self.is_lost = False
            self.close()  # the heartbeat has come back: the server had only been hanging
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
        self._delete_dead_clients()
        return code == 0 and self._try_again()

    def _try_again(self) -> bool:
        self._stop_asking()
        self.is_lost = False
        try:
            self._begin()
        except MachineError:
            return False
        return True

    def _delete_dead_clients(self) -> None:
        """Delete the inputs of a dead server, since their queues are large.

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
        if self.is_lost:
            self._abandon_clients()
            return
        if self._wires is not None:
            self._wires.close()
        super().close()


_ASK: Final = """
import signal, sys, rtmidi
signal.alarm(int(sys.argv[2]))
rtmidi.MidiOut(int(sys.argv[1]), name="pointsman-probe").delete()
"""


def _probe(api: int) -> subprocess.Popen[bytes]:
    """Start a child that ends with 0 if a client can be made, and by a signal if the server only hangs."""
    return subprocess.Popen(
        [sys.executable, "-c", _ASK, str(api), str(int(_PROBE_S))],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def _keep(client: Client) -> None:
    """Do nothing: the clients that look for ports outlive their loopback."""


def _never_free(client: object) -> None:
    """Keep an object for ever, beyond the end of Python: freeing it would touch memory that is gone."""
    ctypes.pythonapi.Py_IncRef(ctypes.py_object(client))
