"""What `page` was asked to do."""

from __future__ import annotations

from typing import Final, NamedTuple

from router.daemon.run_settings import STANDARD_NAME

STANDARD_PORT: Final = 8765
"""The port of the page, unless another is given: none that IANA has given to a service that a stage computer has."""


class PageSettings(NamedTuple):
    """What `page` shall serve: the page of the daemon `name`, on a port of this computer.

    With `share` other devices of the network reach it, by a token in the address. `control` lets the page do more than
    show, and silence everything.
    """

    name: str = STANDARD_NAME
    port: int = STANDARD_PORT
    share: bool = False
    control: bool = False
