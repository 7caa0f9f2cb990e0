"""Which ports of the computer are made by Pointsman itself: by a daemon, or by another command that runs."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Final

_COMMANDS: Final = r"pointsman(?:-[a-z]+)?"


def is_own_port(port: str, daemons: Iterable[str]) -> bool:
    """Return whether a port of the computer belongs to one of the `daemons`, or to a command of ours.

    Its client is named after them, with the name of the port behind it; JACK adds a number where a name is taken.
    """
    names = "|".join([_COMMANDS, *map(re.escape, daemons)])
    return re.fullmatch(rf"(?:{names})(?: [^:]*)?(?:-\d\d)?", port.partition(":")[0]) is not None
