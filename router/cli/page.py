"""The command `page`."""

from __future__ import annotations

import argparse
from typing import Final

from router.cli.parsing import add_daemon_name

ABOUT: Final = """\
Show the running daemon on a page, for a phone at the side of the stage or a browser on this computer. The page shows
trouble, tempo, switches, the rig, what arrives, and the rule files. One tap silences everything."""

MORE: Final = """\
examples:
  pointsman page                         for a browser on this computer
  pointsman page --share                 for phones in the same network; a code for their camera is shown
  pointsman page --share --control       the phone can also turn switches, record and save
  pointsman page --name stage            the daemon that runs with --name stage

Anyone who has the address of a shared page can silence the rig. Other people in the network can read what the page
sends, the address included. Share it only in a network of your own, such as the hotspot of this computer.

The page needs packages that a plain installation doesn't have: pipx install --force '.[page]'"""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    from router.page.page_settings import STANDARD_PORT

    parser.set_defaults(call=_call, json=False)
    add = parser.add_argument
    add("--share", action="store_true", help="let phones in this network reach the page (default: only this computer)")
    add(
        "--control",
        action="store_true",
        help="let the page turn switches, record and save (default: it shows, and can silence everything)",
    )
    add(
        "--port",
        metavar="NUMBER",
        type=_port_number,
        default=STANDARD_PORT,
        help=f"the port of the page on this computer (default: {STANDARD_PORT})",
    )
    add_daemon_name(parser)


def _port_number(text: str) -> int:
    if text.isascii() and text.isdigit() and 1024 <= int(text) <= 65535:
        return int(text)
    raise argparse.ArgumentTypeError(f'"{text}" isn\'t a port that a program may use: write 1024 to 65535')


def _call(arguments: argparse.Namespace) -> int:
    from router.page.page_settings import PageSettings
    from router.page.process import serve_page

    return serve_page(PageSettings(arguments.name, arguments.port, arguments.share, arguments.control))
