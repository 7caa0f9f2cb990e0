"""The command `draw`: the rig as a picture, its velocity curves, or a recording before and after the rules."""

from __future__ import annotations

import argparse
from typing import Final

from router.cli.parsing import add_more_rules, add_playing, file_name

ABOUT: Final = """\
Draw the rig as a picture: sources, rules, devices, and the channels between them. Print it for the wall or the next
player. It fits on one A4 page, and says everything without colours. Browsers show SVG files, and print them.
With --take it draws a recording before and after the rules, with what they moved and dropped."""

MORE: Final = """\
examples:
  pointsman draw pit.toml                         writes pit.svg
  pointsman draw rules/ -o rig.svg                all rule files of a folder, together
  pointsman draw pit.toml --curves -o curves.svg  only the velocity curves, larger
  pointsman draw pit.toml --take take.mid         writes take.svg: the recording before and after the rules
  pointsman draw --take take.mid                  the recording as it is

Names that are too long are shortened. A browser shows the whole name when the pointer is on it."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.usage = (
        "pointsman draw [-h] [-o FILE] [--curves] [--force] [--json] RULES...\n"
        "       pointsman draw [-h] [-o FILE] [--from SOURCE] [--force] [--json] --take FILE [RULES...]"
    )
    parser.set_defaults(call=_call, strays="rules")
    add = parser.add_argument
    add("rules", metavar="RULES", type=file_name, nargs="*", help="rule files, and folders of them")
    add(
        "-o",
        "--out",
        metavar="FILE",
        type=file_name,
        help="the picture to write (default: the name of the rule file or recording, with .svg, in this folder)",
    )
    add("--curves", action="store_true", help="draw only the velocity curves (default: the rig)")
    add(
        "--take", metavar="FILE", type=file_name, help="draw this .mid file, before and after the rules (default: none)"
    )
    add_more_rules(parser)
    add_playing(parser)
    add("--force", action="store_true", help="replace a picture that exists (default: refuse)")
    add("--json", action="store_true", help="print what was drawn as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    from router.cli.picture_writer import DrawSettings, draw

    return draw(
        DrawSettings(
            rules=(*arguments.rules, *arguments.more_rules),
            out=arguments.out,
            curves=arguments.curves,
            take=arguments.take,
            playing=tuple(arguments.playing),
            force=arguments.force,
            json=arguments.json,
        )
    )
