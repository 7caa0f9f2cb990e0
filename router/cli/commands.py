"""All commands: what help lists, and the module of each, which is loaded only where its command is wanted."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Mapping
from importlib import import_module
from types import MappingProxyType
from typing import Any, Final

from router.cli.parsing import command

GROUPS: Final[Mapping[str, Mapping[str, str]]] = MappingProxyType(
    {
        "set up": {
            "ports": "list the computer's MIDI ports, with lines for the rule file",
            "learn": "show what you press, with lines for the rule file",
            "check": "find mistakes in rule files, and run their tests",
            "compare": "show what other rules would do differently",
            "plan": "give every device a channel of its own",
            "draw": "draw the rig as a picture",
            "songs": "show the set list, for the wall",
            "soundcheck": "play a soft note on each device",
        },
        "play": {
            "run": "apply rules live, between the computer's ports",
            "play": "play recordings in time, as an input",
            "status": "show ports, switches and tempo of the daemon",
            "page": "show the daemon on a page, for phones and browsers",
            "switch": "change a switch of the daemon",
            "song": "go to another song of the daemon",
            "clock": "start, continue or stop the daemon's clock, or set its tempo",
            "tap": "tap the tempo of the daemon's clock",
            "panic": "silence everything",
            "reload": "read the rule files again",
        },
        "find out": {
            "listen": "show each message that arrives",
            "trace": "show where a message goes, and why",
            "send": "send a message, to try a cable",
            "report": "write a file about the daemon, to be sent to a helper",
        },
        "record and repair": {
            "record": "record what is played to a .mid file",
            "rewrite": "apply rules to .mid files",
        },
        "help": {
            "help": "show the manual, a page for each topic",
        },
    }
)
"""Names and lines for the list, in the order in which help shows them, by what a player does with them.

The module `router.cli.NAME` has the texts of its help (`ABOUT`, `MORE`) and `add_options`, which says what to call.
"""

COMMANDS: Final[Mapping[str, str]] = MappingProxyType(
    {name: line for commands in GROUPS.values() for name, line in commands.items()}
)
"""All of them, without their groups."""


def add_commands(commands: Any, wanted: str, *, others: bool = True) -> None:
    """Add a parser for each command; only that of the `wanted` one knows its options.

    Where nobody will see the list, the `others` are left out: they take as long as all the rest of a command line.
    """
    for name, line in COMMANDS.items():
        if name == wanted:
            module = import_module(f"router.cli.{name}")
            module.add_options(command(commands.add_parser, name, module.ABOUT, module.MORE, help=line))
        elif others:
            commands.add_parser(name, help=line)


class GroupedCommands(argparse.RawDescriptionHelpFormatter):
    """Help that shows the commands under the titles of their groups."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog)
        # argparse forgets that the lines of commands are indented twice, and would break that of the longest.
        self._action_max_length = max(map(len, COMMANDS)) + 2 * self._indent_increment

    def _format_action(self, action: argparse.Action) -> str:
        if not isinstance(action, argparse._SubParsersAction):
            return super()._format_action(action)
        return "\n".join(self._groups({line.dest: line for line in action._get_subactions()}))

    def _groups(self, lines: Mapping[str, argparse.Action]) -> Iterator[str]:
        """Yield each group that has commands: its title, and a line for each command below it."""
        for title, names in GROUPS.items():
            if names:
                head = f"{'':{self._current_indent}}{title}:\n"
                self._indent()
                yield head + "".join(self._format_action(lines[name]) for name in names)
                self._dedent()
