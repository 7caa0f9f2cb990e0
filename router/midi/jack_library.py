"""The JACK library itself, for what python-rtmidi doesn't offer: connecting ports, and listing them fast.

python-rtmidi asks the library for all names again for each name. With 20 ports that keeps a message waiting for a
millisecond, four times a second.
"""

from __future__ import annotations

import ctypes
import errno
from importlib import import_module
from typing import Final

from rules.errors import MachineError

_NO_START_SERVER: Final = 1
_NAME: Final = b"pointsman-wires"

# jack/types.h
_MIDI: Final = b"8 bit raw midi"
_IS_INPUT: Final = 1
_IS_OUTPUT: Final = 2


class JackWires:
    """A client without ports, which costs nothing while nobody asks it for anything.

    Raises MachineError where there is no library, or no server.
    """

    def __init__(self) -> None:
        self._library = _library()
        self._client = self._library.jack_client_open(_NAME, _NO_START_SERVER, None)
        if not self._client:
            raise MachineError("JACK refuses a client that connects ports")

    def senders(self) -> list[str]:
        """The full names of the MIDI ports that can be listened to, in the order in which python-rtmidi lists them."""
        return self._names(_IS_OUTPUT)

    def receivers(self) -> list[str]:
        """The full names of the MIDI ports that can be sent to."""
        return self._names(_IS_INPUT)

    def _names(self, flags: int) -> list[str]:
        names: list[str] = []
        found = self._library.jack_get_ports(self._client, None, _MIDI, flags)
        if found:  # no ports are a null pointer
            while (name := found[len(names)]) is not None:
                names.append(name.decode("utf-8", "replace"))
            self._library.jack_free(found)
        return names

    def connect(self, output: str, into: str) -> bool:
        """Connect an output to an input, by their full names; whether they are connected now."""
        answer = self._library.jack_connect(self._client, output.encode(), into.encode())
        return answer in (0, errno.EEXIST)

    def close(self) -> None:
        """Leave the server. What is connected stays so."""
        self._library.jack_client_close(self._client)


def _library() -> ctypes.CDLL:
    """The library that python-rtmidi uses itself: another one might speak to the server in another way.

    It is found through the module that is linked with it. Raises MachineError.
    """
    try:
        library = ctypes.CDLL(import_module("rtmidi._rtmidi").__file__)
        library.jack_client_open.restype = ctypes.c_void_p
        library.jack_client_open.argtypes = [ctypes.c_char_p, ctypes.c_int, ctypes.c_void_p]
        library.jack_connect.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_char_p]
        library.jack_get_ports.restype = ctypes.POINTER(ctypes.c_char_p)
        library.jack_get_ports.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_char_p, ctypes.c_ulong]
        library.jack_free.argtypes = [ctypes.c_void_p]
        library.jack_client_close.argtypes = [ctypes.c_void_p]
    except (ImportError, OSError, AttributeError) as error:
        raise MachineError(f"the JACK library can't be used: {error}") from error
    return library
