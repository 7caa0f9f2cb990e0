"""All commands: what help lists, and the module of each, which is loaded only where its command is wanted."""

from __future__ import annotations

from importlib import import_module
from types import MappingProxyType
from typing import Any, Final

from router.cli.parsing import command

COMMANDS: Final = MappingProxyType(
    {
        "rewrite": "put recordings through the rules",
        "check": "find mistakes in rule files, run their tests",
        "trace": "say where a message goes, and why",
        "run": "play: the rules between the ports",
        "status": "say how the running daemon stands",
        "panic": "silence everything",
        "reload": "read the rule files anew",
        "switch": "turn a switch of the running daemon",
        "ports": "list the MIDI ports of this computer",
        "listen": "say in words what arrives",
        "send": "send a message to try a cable",
        "learn": "say what you press, and write it down",
        "soundcheck": "a soft note to each device in turn",
        "record": "take what is played to a .mid file",
    }
)
"""Names and lines for the list, in the order in which help shows them.

The module `router.cli.NAME` has the texts of its help (`ABOUT`, `MORE`) and `add_options`, which says what to call.
"""


def add_commands(commands: Any, wanted: str) -> None:
    """Add a parser for each command; only that of the `wanted` one knows its options."""
    for name, line in COMMANDS.items():
        if name != wanted:
            commands.add_parser(name, help=line)
            continue
        module = import_module(f"router.cli.{name}")
        module.add_options(command(commands.add_parser, name, module.ABOUT, module.MORE, help=line))
