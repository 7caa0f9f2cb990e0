"""Where the page can be reached: its addresses, and a code for the camera of a phone."""

from __future__ import annotations

import socket
import struct
import sys
from collections.abc import Iterable, Iterator
from contextlib import suppress
from ipaddress import ip_address
from typing import Final

_SIOCGIFADDR: Final = 0x8915  # netdevice(7): the address of an interface
_REQUEST: Final = struct.Struct("16s24x")
_ADDRESS: Final = slice(20, 24)

LOOPBACK: Final = "127.0.0.1"
EVERYWHERE: Final = "0.0.0.0"


def network_addresses() -> list[str]:
    """Return the addresses (IPv4) that this computer has in its networks, without its own loopback."""
    return [address for address in dict.fromkeys(_addresses()) if not ip_address(address).is_loopback]


def _addresses() -> Iterator[str]:
    if sys.platform != "linux":
        with suppress(OSError):
            yield from socket.gethostbyname_ex(socket.gethostname())[2]
        return
    import fcntl

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        for _, name in socket.if_nameindex():
            with suppress(OSError):  # an interface without an address
                answer = fcntl.ioctl(asking, _SIOCGIFADDR, _REQUEST.pack(name.encode()))
                yield socket.inet_ntoa(answer[_ADDRESS])


def page_addresses(hosts: Iterable[str], port: int, token: str | None) -> list[str]:
    """Return what to open in a browser, for each host."""
    query = "" if token is None else f"?token={token}"
    return [f"http://{host}:{port}/{query}" for host in hosts]


def code_lines(address: str) -> list[str]:
    """Return an address as a QR code (ISO/IEC 18004) for a terminal, two rows of it a line."""
    import segno

    rows = [list(row) for row in segno.make(address, error="l", micro=False).matrix_iter(border=2)]
    if len(rows) % 2:
        rows.append([0] * len(rows[0]))
    # light is drawn, dark is the terminal's own background: most terminals are dark
    return ["".join(_BLOCKS[top, bottom] for top, bottom in zip(*pair, strict=True)) for pair in _pairs(rows)]


_BLOCKS: Final = {(0, 0): "█", (0, 1): "▀", (1, 0): "▄", (1, 1): " "}


def _pairs(rows: list[list[int]]) -> Iterator[tuple[list[int], list[int]]]:
    for at in range(0, len(rows), 2):
        yield rows[at], rows[at + 1]
