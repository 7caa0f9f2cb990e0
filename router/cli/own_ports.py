"""Which ports of the computer are made by daemons and commands that run: no keyboard, and no module."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress

from router.daemon.control_client import running_daemons
from router.midi.own_ports import is_own_port
from rules.errors import MachineError


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
