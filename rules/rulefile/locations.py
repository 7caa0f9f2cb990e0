"""Where something stands in a rule file: its file and line, and in words the rule and step."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

from rules.errors import Problem
from rules.midi.notation import STANDARD, Naming
from rules.rulefile.positions import Path, Positions, find_positions
from rules.steps.registry import STEP_KEYS

_NAMED: Final = {"ports": "port", "devices": "device", "switches": "switch"}
_NUMBERED: Final = {"zones": "zone", "set": "set", "advance": "advance"}
_LONGEST_TEXT: Final = 600


@dataclass(slots=True, eq=False)
class SourceFile:
    """One rule file as read: its name as the user gave it, its text, its tables, and how it counts notes and programs.

    `rules_before` is how many rules stand in the files before it.
    """

    name: str
    text: str
    data: dict[str, Any]
    naming: Naming = STANDARD
    rules_before: int = 0
    _positions: Positions | None = field(default=None, repr=False)

    def line(self, path: Path) -> int:
        """The line of a path, or of what stands around it. Steps of the path that the file doesn't have are left out.

        The text is scanned when it is first asked for: a file without errors needs no lines to run.
        """
        if self._positions is None:
            self._positions = find_positions(self.text)
        return self._positions.line(self.located(path))

    def located(self, path: Path) -> Path:
        """The path as it stands in the file.

        Errors come with the path of the long form: a single table where a list may be, a short form, a line of a `to`
        table. What isn't written isn't in the result.
        """
        here: Any = self.data
        found: list[str | int] = []
        for part in path:
            if isinstance(here, dict) and isinstance(part, int) and found[-1:] == ["to"] and part < len(here):
                part = list(here)[part]
            if part in here if isinstance(here, dict) else isinstance(here, list) and part in range(len(here)):
                here = here[part]
                found.append(part)
        return tuple(found)

    def forget(self) -> None:
        """Forget tables and lines piece by piece: those of a large file, freed in one go, would hold up the music."""
        waiting: list[Any] = [self.data]
        while waiting:
            inside = waiting.pop()
            while inside:
                part = inside.pop() if isinstance(inside, list) else inside.popitem()[1]
                if isinstance(part, list | dict):
                    waiting.append(part)
        if self._positions is not None:
            lines = self._positions.lines
            while lines:
                lines.popitem()

    def value(self, path: Path) -> Any:
        """Return what is written at a path, or around it."""
        here: Any = self.data
        for part in self.located(path):
            here = here[part]
        return here

    def problem(self, path: Path, text: str, *, about: Path | None = None) -> Problem:
        """A problem at a path. What of the path the words for the place don't tell stands before the text.

        `about` is the path to tell of, where it isn't the one whose line is given.
        """
        told = path if about is None else about
        place, covered = self.described(told)
        rest = self.located(told)[len(self.located(told[:covered])) :]
        if rest and isinstance(rest[0], int):  # an entry of a list that is a short form of its step
            place, rest = f"{place}, entry {rest[0] + 1}", rest[1:]
        text = f"`{_dotted(rest)}`: {text}" if rest else text
        return Problem(self.name, self.line(path), printable(place), printable(text))

    def described(self, path: Path) -> tuple[str, int]:
        """The rule, device or switch and the step of a path in words, and how many parts of the path they tell."""
        match path:
            case (("ports" | "devices" | "switches") as section, str(name), *_):
                words = [f'{_NAMED[section]} "{name}"']
            case ("rules", int(number), *_):
                words = [self._titled("rule", "rules", number, self.rules_before)]
            case ("tests", int(number), *_):
                words = [self._titled("test", "tests", number, 0)]
            case ("promises", int(number), *_):
                words = [self._titled("promise", "promises", number, 0)]
            case ("songs", int(number), *_):
                words = [self._titled("song", "songs", number, 0)]
            case ("set_list", *_):
                return "[set_list]", 1
            case ("on_switch", int(number), *_):
                words = [f"[[on_switch]] {number + 1}"]
            case ("clock", *_):
                return "[clock]", 1
            case _:
                return "", 0
        at = 2
        while at + 1 < len(path) and isinstance(entry := path[at + 1], int):
            if path[at] == "steps":
                key = self._step_key(path[: at + 2])
                words.append(f"step {entry + 1} ({key})" if key else f"step {entry + 1}")
                at += 3 if path[at + 2 : at + 3] == (key,) else 2
            elif path[at] in _NUMBERED:
                words.append(self._numbered(path[: at + 2], _NUMBERED[str(path[at])], entry))
                at += 2
            else:
                break
        return ", ".join(words), at

    def _titled(self, what: str, section: str, number: int, before: int) -> str:
        name = self.value((section, number, "name"))
        return f'{what} "{name}"' if isinstance(name, str) else f"{what} {before + number + 1}"

    def _numbered(self, path: Path, what: str, number: int) -> str:
        name = self.value((*path, "name")) if what == "zone" else None
        return f'{what} "{name}"' if isinstance(name, str) else f"{what} {number + 1}"

    def _step_key(self, path: Path) -> str | None:
        """The main key of a step, if there is exactly one."""
        entry = self.value(path)
        keys = [key for key in entry if key in STEP_KEYS] if isinstance(entry, dict) else []
        return keys[0] if len(keys) == 1 else None


@dataclass(frozen=True, slots=True)
class Location:
    """Where one table of a rule file stands."""

    source: SourceFile
    path: Path

    @property
    def file(self) -> str:
        """The file's name as the user gave it."""
        return self.source.name

    @property
    def line(self) -> int:
        """The line it begins in."""
        return self.source.line(self.path)

    @property
    def words(self) -> str:
        """What it is: `rule "keyboard"`."""
        return self.source.described(self.path)[0]

    def inside(self, *path: str | int) -> Location:
        """A place within this one."""
        return Location(self.source, (*self.path, *path))

    def problem(self, text: str) -> Problem:
        """A problem at this place."""
        return self.source.problem(self.path, text)

    def __str__(self) -> str:
        return f"{self.file}:{self.line}"


def _dotted(path: Path) -> str:
    """A path for people: `match 2.channel`, members of lists counted from 1."""
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"{',' if text[-1:].isdigit() else ''} {part + 1}"
        else:
            text += f".{part}" if text else part
    return text


def printable(text: str) -> str:
    """The text on one line and not too long, control characters shown by their numbers."""
    if len(text) > _LONGEST_TEXT:
        text = f"{text[: _LONGEST_TEXT // 2]} ... {text[-_LONGEST_TEXT // 2 :]}"
    return "".join(letter if letter.isprintable() else f"\\x{ord(letter):02x}" for letter in text)
