"""What `draw` does: reads rule files and a recording, and writes a picture.

The data (`--json`) is one object, with what doesn't fit on a page of A4 in `left_out`:

    {"command": "draw", "ok": true, "file": "pit.svg", "bytes": 24188, "shows": "3 sources, 5 rules, ...",
     "fits_a4": true, "left_out": []}
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from router.cli.source_arguments import playing_in
from router.files.atomic_writing import write_new
from router.files.rule_files import read_rule_files
from router.files.spared_inputs import spare_inputs
from router.files.takes import faults_named, read_take
from router.text.exit_codes import FINE
from router.text.formatting import plain
from router.text.paragraphs import wrapped
from router.text.terminal import say
from router.text.usage import UsageError
from rules.drawing.svg import Picture
from rules.rulefile.reading import Reading, read_rule_set

if TYPE_CHECKING:
    from rules.drawing.take_notes import TakeNotes
    from rules.smf.midi_file import MidiFile


class DrawSettings(NamedTuple):
    """What `draw` shall do; `out` None: into the current folder, named after the recording or the first rule file.

    `playing` are the texts of `--from`.
    """

    rules: tuple[str, ...] = ()
    out: str | None = None
    curves: bool = False
    take: str | None = None
    playing: tuple[str, ...] = ()
    force: bool = False
    json: bool = False


class Drawing(NamedTuple):
    """A picture, and in words what it doesn't show."""

    picture: Picture
    left_out: tuple[str, ...] = ()


def draw(settings: DrawSettings) -> int:
    """Write a picture; return the exit code. Raises UsageError, RuleFileError or MachineError."""
    _check(settings)
    path = Path(settings.out or f"{Path(settings.take or settings.rules[0]).resolve().stem}.svg")
    if settings.out is not None and path.suffix.lower() != ".svg":
        raise UsageError(f"-o {plain(str(path))}: a picture is an SVG file: end the name in .svg")
    reading = _reading(settings)
    spare_inputs([path], _inputs(settings, reading))
    drawing = _drawing(settings, reading)
    data = drawing.picture.svg().encode()
    write_new({path.absolute(): data}, replace=settings.force)
    say(_as_json(drawing, path, len(data)) if settings.json else _in_words(drawing, path))
    return FINE


def drawing_of(settings: DrawSettings) -> Drawing:
    """Return what is to be drawn. Raises UsageError, RuleFileError or MachineError."""
    _check(settings)
    return _drawing(settings, _reading(settings))


def _reading(settings: DrawSettings) -> Reading | None:
    """Return the rules that are drawn, or that a recording goes through."""
    return read_rule_set(read_rule_files(settings.rules)) if settings.rules else None


def _inputs(settings: DrawSettings, reading: Reading | None) -> list[str]:
    """The names of all files that are read."""
    return [*(reading.files if reading else ()), *([settings.take] if settings.take else [])]


def _drawing(settings: DrawSettings, reading: Reading | None) -> Drawing:
    if settings.take is not None:
        return _take(settings, settings.take, reading)
    assert reading is not None
    return _curves(reading) if settings.curves else _rig(reading)


def _check(settings: DrawSettings) -> None:
    if settings.take is None and not settings.rules:
        raise UsageError("name a rule file, as in: pointsman draw pit.toml; or a recording with --take")
    if settings.take is not None and settings.curves:
        raise UsageError("--curves draws velocity curves, --take a recording: choose one of them")
    if settings.playing and (settings.take is None or not settings.rules):
        raise UsageError("--from says as which port a recording plays: write --take FILE and rule files too")


def _title(reading: Reading) -> str:
    """The names of the rule files, without their folders."""
    return ", ".join(plain(Path(name).name) for name in reading.files)


def _rig(reading: Reading) -> Drawing:
    from rules.drawing.rig_picture import draw_rig
    from rules.drawing.rig_reading import rig_view
    from rules.findings.findings import findings_of

    drawn = draw_rig(rig_view(reading, findings_of(reading), _title(reading)))
    left_out = []
    if not drawn.picture.fits_a4:
        left_out.append("The rig is too large for one A4 page: the picture is longer.")
    if not drawn.has_curves:
        left_out.append("There was no room for the velocity curves: --curves draws them.")
    return Drawing(drawn.picture, tuple(left_out))


def _curves(reading: Reading) -> Drawing:
    from rules.drawing.rig_reading import curves_in
    from rules.drawing.velocity_plot import draw_curves

    curves = curves_in(reading)
    if not curves:
        raise UsageError("there is no velocity step in these rule files: draw the rig, without --curves")
    return Drawing(draw_curves(_title(reading), curves))


def _take(settings: DrawSettings, take: str, reading: Reading | None) -> Drawing:
    from rules.drawing.piano_roll import draw_take
    from rules.drawing.time_axis import TimeAxis
    from rules.rulefile.ruleset import DEFAULT_BPM
    from rules.smf.midi_file import read

    with faults_named(take):
        file = read(read_take(take))
        notes = _notes(settings, file, reading)
    name = plain(Path(take).name)
    title = name if reading is None else f"{name} through {_title(reading)}"
    return Drawing(draw_take(notes, title, TimeAxis(file, reading.ruleset.bpm if reading else DEFAULT_BPM)))


def _notes(settings: DrawSettings, file: MidiFile, reading: Reading | None) -> TakeNotes:
    from rules.drawing.take_notes import notes_as_recorded, notes_through_rules

    if reading is None:
        return notes_as_recorded(file)
    from rules.compiler.compiler import compile_reading

    ruleset = reading.ruleset
    return notes_through_rules(file, ruleset, compile_reading(reading), playing_in(settings.playing, ruleset, file))


def _in_words(drawing: Drawing, path: Path) -> list[str]:
    return [
        line for text in (f"{path} written: {drawing.picture.summary}", *drawing.left_out) for line in wrapped(text)
    ]


def _as_json(drawing: Drawing, path: Path, size: int) -> list[str]:
    found = {
        "command": "draw",
        "ok": True,
        "file": str(path),
        "bytes": size,
        "shows": drawing.picture.summary,
        "fits_a4": drawing.picture.fits_a4,
        "left_out": list(drawing.left_out),
    }
    return [json.dumps(found, indent=2)]
