"""Rule files loaded for a Python program: one value that can be handed to threads and to other processes."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Final

from rules.compiler.compiler import compile_reading
from rules.midi.suggestions import nearest, those_known
from rules.program.pipeline import Pipeline
from rules.program.switch_states import State
from rules.rulefile.reading import read_rule_set
from rules.rulefile.ruleset import RuleSet

Files = tuple[tuple[str, bytes], ...]
"""Rule files in order: the name of each, and its contents."""


class Rules:
    """Rule files, read, checked and compiled. `load_rules` makes it; nothing changes it afterwards.

    It can be used by several threads, and pickled for other processes. The pickle holds the texts of the rule files
    and nothing else: a process that unpickles it reads them, once for as many pickles of the same texts as it gets.
    Two of them are equal if their files have the same names and contents in the same order.
    """

    __slots__ = ("_files", "compiled", "ruleset")

    def __init__(self, files: Files) -> None:
        """Use `load_rules` instead."""
        self._files: Final = files
        reading = read_rule_set(files)
        self.ruleset: Final[RuleSet] = reading.ruleset
        """What the files say, as the other modules of this package want it."""
        self.compiled: Final[Pipeline] = compile_reading(reading)
        """The same as tables."""

    @property
    def files(self) -> tuple[str, ...]:
        """The names of the rule files, in order."""
        return tuple(name for name, _ in self._files)

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the rules, in order; an unnamed one is called "rule 3" by its place."""
        return self.compiled.rules

    @property
    def inputs(self) -> tuple[str, ...]:
        """The ports that messages can come from, under their names in the rule files."""
        return self.compiled.sources

    @property
    def outputs(self) -> tuple[str, ...]:
        """The ports that messages can go to, under their names in the rule files."""
        return tuple(self.compiled.ports[number] for number in self.compiled.present)

    def require_input(self, port: str) -> None:
        """Raise ValueError unless messages can come from `port`."""
        if port not in self.inputs:
            known = those_known("input port", "input ports", self.inputs)
            raise ValueError(f'there is no input port named "{port}": {known}{nearest(port, self.inputs)}')

    @property
    def switches(self) -> dict[str, State]:
        """The states that the switches begin with: on or off (bool), a value (str) or a number (int)."""
        layout = self.compiled.layout
        return {name: layout.state(layout.initial, name) for name in self.ruleset.switches}

    def __reduce__(self) -> tuple[object, tuple[Files]]:
        return _restored, (self._files,)

    def __eq__(self, other: object) -> bool:
        return self._files == other._files if isinstance(other, Rules) else NotImplemented

    def __hash__(self) -> int:
        return hash(self._files)

    def __repr__(self) -> str:
        return f"<Rules: {', '.join(self.files)}>"


@lru_cache(maxsize=16)
def _restored(files: Files) -> Rules:
    """Return the rules of a pickle: a job runner may send the same ones along with every file."""
    return Rules(files)


def load_rules(files: Mapping[str, str | bytes]) -> Rules:
    """Read rule files. `files` has their contents by name, in the order in which their rules are to apply.

    The files add up: names that one defines are known in the others. A name only serves to tell where a mistake is.
    The tests that rule files carry are checked for mistakes, but not run.

    Raises RuleFileError with all mistakes of all files; its `problems` have file, line, place and text of each.

    >>> load_rules({"rig.toml": '''
    ... [ports]
    ... keys = { input = "Pit Keyboard*" }
    ... rack = { output = "4x4 Interface*" }
    ... [[rules]]
    ... name = "all of it"
    ... from = "keys"
    ... to = "rack"
    ... '''}).names
    ('all of it',)
    >>> load_rules({"rig.toml": "clock.bpm = 0"})
    Traceback (most recent call last):
    rules.errors.RuleFileError: rig.toml:1: [clock]: `bpm`: 0 is not a tempo: write a number from 10 to 1000
    """
    return Rules(tuple((name, _as_bytes(text)) for name, text in files.items()))


def _as_bytes(text: str | bytes) -> bytes:
    """Return a text as a file would have it; half a surrogate pair becomes bytes that the reader refuses in words."""
    return text.encode("utf-8", "surrogatepass") if isinstance(text, str) else bytes(text)
