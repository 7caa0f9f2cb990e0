"""The JACK library itself, for the one thing that python-rtmidi doesn't offer: connecting ports that are there."""

from __future__ import annotations

import ctypes
import errno
from importlib import import_module
from typing import Final

from rules.errors import MachineError

_NO_START_SERVER: Final = 1
_NAME: Final = b"pointsman-wires"


class JackConnections:
    """A client without ports, which costs nothing while nobody asks it for anything.

    Raises MachineError where there is no library, or no server.
    """

    def __init__(self) -> None:
        self._library = _library()
        self._client = self._library.jack_client_open(_NAME, _NO_START_SERVER, None)
        if not self._client:
            raise MachineError("JACK refuses a client that connects ports")

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
        library.jack_client_close.argtypes = [ctypes.c_void_p]
    except (ImportError, OSError, AttributeError) as error:
        raise MachineError(f"the JACK library can't be used: {error}") from error
    return library
