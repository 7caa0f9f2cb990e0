"""Which ports of the computer are made by daemons and commands that run: no keyboard, and no module."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from contextlib import suppress
from typing import Final

from router.daemon.control_client import running_daemons
from rules.errors import MachineError

_COMMANDS: Final = r"pointsman(?:-[a-z]+)?"


class OwnPorts:
    """Says whether a port is Pointsman's own. Which daemons run is asked again whenever other ports are there."""

    def __init__(self) -> None:
        self._known: dict[str, bool] = {}

    def __call__(self, port: str) -> bool:
        """Return whether a daemon or another command has made this port."""
        if port not in self._known:
            self._known[port] = is_own_port(port, _daemons())
        return self._known[port]


def _daemons() -> Sequence[str]:
    with suppress(MachineError):  # a system without control sockets has none
        return running_daemons()
    return ()


def is_own_port(port: str, daemons: Iterable[str]) -> bool:
    """Return whether a port of the computer belongs to one of the `daemons`, or to a command of ours.

    Its client is named after them, with the name of the port behind it; JACK adds a number where a name is taken.
    """
    names = "|".join([_COMMANDS, *map(re.escape, daemons)])
    return re.fullmatch(rf"(?:{names})(?: [^:]*)?(?:-\d\d)?", port.partition(":")[0]) is not None
