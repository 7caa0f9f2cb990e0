"""The command `draw`: the rig as a picture, its velocity curves, or a recording before and after the rules.

The data (`--json`) is one object, with what doesn't fit on a page of A4 in `left_out`:

    {"command": "draw", "ok": true, "file": "pit.svg", "bytes": 24188, "shows": "3 sources, 5 rules, ...",
     "fits_a4": true, "left_out": []}
"""

from __future__ import annotations

import argparse
import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

from router.cli.parsing import file_name
from router.text.exit_codes import FINE
from router.text.formatting import plain
from router.text.terminal import say
from router.text.usage import UsageError

if TYPE_CHECKING:
    from rules.rig.svg import Picture

ABOUT: Final = """\
Draw the rig as a picture: sources, rules, devices, and the channels between them. Print it for the wall or the next
player. It fits on one A4 page, and says everything without colours. Browsers show SVG files, and print them."""

MORE: Final = """\
examples:
  pointsman draw pit.toml                         writes pit.svg
  pointsman draw rules/ -o rig.svg                all rule files of a folder, together
  pointsman draw pit.toml --curves -o curves.svg  only the velocity curves, larger

Names that are too long are shortened. A browser shows the whole name when the pointer is on it."""


class DrawSettings(NamedTuple):
    """What `draw` shall do; `out` None: into the current folder, named after the first rule file."""

    rules: tuple[str, ...]
    out: str | None = None
    curves: bool = False
    force: bool = False
    json: bool = False


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    add = parser.add_argument
    add("rules", metavar="RULES", type=file_name, nargs="+", help="rule files, and folders of them")
    add(
        "-o",
        "--out",
        metavar="FILE",
        type=file_name,
        help="the picture to write (default: the name of the first rule file, with .svg, in this folder)",
    )
    add("--curves", action="store_true", help="draw only the velocity curves (default: the rig)")
    add("--force", action="store_true", help="replace a picture that exists (default: refuse)")
    add("--json", action="store_true", help="print what was drawn as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    return draw(DrawSettings(tuple(arguments.rules), arguments.out, arguments.curves, arguments.force, arguments.json))


@dataclass(frozen=True, slots=True)
class Drawing:
    """A picture, whether it fits on A4, and in words what it doesn't show."""

    picture: Picture
    fits: bool
    left_out: tuple[str, ...] = ()


def draw(settings: DrawSettings) -> int:
    """Write a picture; return the exit code. Raises UsageError, RuleFileError or MachineError."""
    from router.files.atomic_writing import write_new

    drawing = _drawn(settings)
    path = Path(settings.out or f"{Path(settings.rules[0]).resolve().stem}.svg")
    data = drawing.picture.svg().encode()
    folder = path.absolute().parent
    write_new({path.absolute(): data}, like=os.stat(folder if folder.exists() else "."), replace=settings.force)
    if settings.json:
        found = {
            "command": "draw",
            "ok": True,
            "file": str(path),
            "bytes": len(data),
            "shows": drawing.picture.summary,
            "fits_a4": drawing.fits,
            "left_out": list(drawing.left_out),
        }
        say([json.dumps(found, indent=2)])
    else:
        say(_words(drawing, path))
    return FINE


def _words(drawing: Drawing, path: Path) -> list[str]:
    lines = [f"{plain(str(path))} written: {drawing.picture.summary}"]
    if not drawing.fits:
        lines.append(
            "The rig is too large for one A4 page: the picture is longer. Draw fewer rule files for a page each."
        )
    return [*lines, *drawing.left_out]


def _drawn(settings: DrawSettings) -> Drawing:
    from router.files.rule_files import read_rule_files
    from rules.analysis.findings import hints_of
    from rules.rig.rig_picture import draw_rig
    from rules.rig.rig_reading import curves_in, rig_view
    from rules.rig.velocity_plot import draw_curves
    from rules.rulefile.reading import read_rule_set

    texts = read_rule_files(settings.rules)
    reading = read_rule_set(texts)
    title = ", ".join(plain(Path(name).name) for name, _ in texts)
    if settings.curves:
        curves = curves_in(reading)
        if not curves:
            raise UsageError("there is no velocity step in these rule files: draw the rig, without --curves")
        picture = draw_curves(title, curves)
        return Drawing(picture, picture.fits_a4)
    drawn = draw_rig(rig_view(reading, hints_of(reading), title))
    left_out = () if drawn.has_curves else ("There was no room for the velocity curves: --curves draws them.",)
    return Drawing(drawn.picture, drawn.picture.fits_a4, left_out)
