"""The command `songs`: the set list of rule files, for the wall.

The data (`--json`) is one object:

    {"command": "songs", "ok": true, "sheet": null, "wrap": false, "next": ["note C4 of pads"], "previous": [],
     "songs": [{"number": 1, "name": "Harbour Lights", "bpm": 96.0, "about": ["wait for the singer"],
                "sends": {"organ": ["program 20"]}, "do": [], "rules": ["organ left"], "set": []}]}
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from router.cli.parsing import file_name
from router.text.exit_codes import FINE
from router.text.formatting import count, plain
from router.text.paragraphs import WIDTH
from router.text.terminal import say
from router.text.usage import UsageError

if TYPE_CHECKING:
    from rules.rig.song_sheet import SongSheet

ABOUT: Final = """\
Show the set list: the songs of rule files in order, what each one sends, and which rules are open in it. Hang it on the
wall, or lay it next to the keyboard."""

MORE: Final = """\
examples:
  pointsman songs gig.toml                           show the set list
  pointsman songs gig.toml --sheet songs.svg         and write it for the wall, one A4 page
  pointsman songs gig.toml --sheet songs.txt         the same as text, 80 characters wide

exit codes: 0 the list is shown; 2 a rule file can't be used, or has no songs"""

_INDENT: Final = " " * 6


class SongsSettings(NamedTuple):
    """Of which rule files `songs` shall show the list, and where it is written."""

    rules: tuple[str, ...]
    sheet: str | None = None
    force: bool = False
    json: bool = False


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    add = parser.add_argument
    add("rules", metavar="RULES", type=file_name, nargs="+", help="rule files with songs, or folders of them")
    add("--sheet", metavar="FILE", type=file_name, help="write the list, as .svg or .txt (default: only show it)")
    add("--force", action="store_true", help="replace a file that exists (default: refuse)")
    add("--json", action="store_true", help="print the list as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    return songs(SongsSettings(tuple(arguments.rules), arguments.sheet, arguments.force, arguments.json))


def songs(settings: SongsSettings) -> int:
    """Print the list, and write it; return the exit code. Raises UsageError, RuleFileError or MachineError."""
    from router.cli.sheet_files import check_sheet_name
    from router.files.atomic_writing import write_new
    from router.files.rule_files import read_rule_files
    from router.files.spared_inputs import spare_inputs
    from rules.rig.song_sheet import song_sheet
    from rules.rulefile.reading import read_rule_set

    check_sheet_name(settings.sheet)
    reading = read_rule_set(read_rule_files(settings.rules))
    sheet = song_sheet(reading)
    if not sheet.songs:
        raise UsageError("these rule files have no songs: write a header [[songs]] for each")
    lines = list(_lines(sheet))
    if settings.sheet is not None:
        path = Path(settings.sheet).absolute()
        spare_inputs([path], reading.files)
        write_new({path: _written(path, sheet, lines)}, replace=settings.force)
    if settings.json:
        say([json.dumps(_data(settings, sheet), indent=2)])
    else:
        written = [] if settings.sheet is None else ["", f"{plain(settings.sheet)} written: the set list"]
        say([*lines, *written])
    return FINE


def _written(path: Path, sheet: SongSheet, lines: list[str]) -> bytes:
    from router.cli.sheet_files import sheet_content

    def picture() -> str:
        from rules.drawing.song_picture import song_picture

        return song_picture(sheet)

    return sheet_content(path.name, lines, picture)


def _lines(sheet: SongSheet) -> Iterator[str]:
    """Yield the list as text; no line is longer than 80 characters."""
    yield f"{count(len(sheet.songs), 'song')}:"
    for number, song in enumerate(sheet.songs, start=1):
        yield ""
        room = WIDTH - len(song.tempo) - (2 if song.tempo else 0)
        first, *more = wrap(plain(song.name), room, initial_indent=f"{number:3}.  ", subsequent_indent=_INDENT)
        yield f"{first:{room}}  {song.tempo}" if song.tempo else first
        yield from more
        for line in song.lines:
            yield from wrap(plain(line), WIDTH, initial_indent=_INDENT, subsequent_indent=_INDENT + "  ")
    yield ""
    for note in sheet.notes:
        yield from wrap(plain(note), WIDTH, subsequent_indent="  ")


def _data(settings: SongsSettings, sheet: SongSheet) -> dict[str, Any]:
    return {
        "command": "songs",
        "ok": True,
        "sheet": settings.sheet,
        "wrap": sheet.wraps,
        "next": list(sheet.next),
        "previous": list(sheet.previous),
        "songs": [
            {
                "number": number,
                "name": song.name,
                "bpm": song.bpm,
                "about": list(song.about),
                "sends": {name: list(messages) for name, messages in song.sends},
                "do": list(song.asks),
                "rules": list(song.rules),
                "set": list(song.chosen_by),
            }
            for number, song in enumerate(sheet.songs, start=1)
        ],
    }
