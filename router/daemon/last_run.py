"""What a daemon leaves for the next one of its name: how switches stood, how it ended, and the rules that it played.

The files are in the user's folder for states, which outlives a power cut; sockets don't. Each is written whole or not
at all.
"""

from __future__ import annotations

import json
import os
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from router.files.atomic_writing import write_new
from router.files.clock import SYSTEM_CLOCK, Clock
from router.files.disk import DISK, Disk
from router.files.regular_files import read_regular
from router.files.rule_files import RuleTexts
from router.files.temporary_file import remove_abandoned_files
from router.files.user_folders import state_folder
from rules.errors import MachineError
from rules.program.switch_states import State

RESTORED_WITHIN_S: Final = 12 * 3600.0
"""How long after a crash (seconds) the switches are set as they were: the same evening, not the next."""

_EVERY_S: Final = 1.0  # seconds between a change and the write, and so between two writes
_ALIVE_EVERY_S: Final = 60.0  # seconds after which it is written that the daemon still runs
_LAST_WRITE_S: Final = 3.0  # seconds that the end waits for the disk
_MOST_BYTES: Final = 64 * 1024 * 1024
_PRIVATE: Final = os.stat_result((0o600, *(0,) * 9))


@dataclass(frozen=True, slots=True)
class LastRun:
    """How the last daemon of a name stood: `ended` is whether somebody ended it, `at` when it last said so (seconds
    since 1970), `rules` its rule files and folders with full paths."""

    ended: bool
    at: float
    rules: tuple[str, ...]
    switches: Mapping[str, State]

    def restored(self, arguments: Sequence[str], now: float) -> Mapping[str, State] | None:
        """Return how switches are to stand now (seconds since 1970); None: as the rule files say.

        They are restored after an end that nobody asked for, with the same rule files. A clock that went back, as on a
        small computer after a power cut, is no reason against it.
        """
        if self.ended or self.rules != full_paths(arguments) or now - self.at > RESTORED_WITHIN_S:
            return None
        return self.switches


def full_paths(arguments: Sequence[str]) -> tuple[str, ...]:
    """Rule files and folders as written, with full paths."""
    return tuple(os.path.abspath(argument) for argument in arguments)


def read_last_run(name: str) -> LastRun | None:
    """Return how the last daemon of this name stood; None where none ran, or what it left can't be read."""
    told = _read(_state_file(name))
    try:
        switches = {str(switch): state for switch, state in told["switches"].items()}
        if not all(isinstance(state, bool | int | str) for state in switches.values()):
            return None
        return LastRun(told["ended"] is True, float(told["at"]), tuple(map(str, told["rules"])), switches)
    except (KeyError, TypeError, ValueError, AttributeError):
        return None


def read_last_rules(name: str, arguments: Sequence[str]) -> RuleTexts | None:
    """The rule files that the last daemon of this name played with the same arguments; None where there are none."""
    told = _read(_rules_file(name))
    try:
        if tuple(told["arguments"]) != full_paths(arguments):
            return None
        return tuple((str(file), str(text).encode("latin-1")) for file, text in told["files"])
    except (KeyError, TypeError, ValueError):
        return None


class RunKeeper:
    """Writes how a daemon stands, at most once a second and in a thread of its own. `say` is told once when it can't.

    `switches` tells how the switches stand, from any thread. Nobody looks whether they have changed: `note_change` says
    so. At rest the thread sleeps for a minute at a time.
    """

    def __init__(
        self,
        name: str,
        arguments: Sequence[str],
        switches: Callable[[], Mapping[str, State]],
        say: Callable[[str], None],
        clock: Clock = SYSTEM_CLOCK,
        disk: Disk = DISK,
    ) -> None:
        self._name = name
        self._arguments = full_paths(arguments)
        self._switches = switches
        self._say = say
        self._clock = clock
        self._disk = disk
        self._rules: RuleTexts | None = None
        self._written_rules: RuleTexts | None = None
        self._written: Mapping[str, State] | None = None
        self._written_at = 0.0
        self._failed = False
        self._changed = threading.Event()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._work, name="last run", daemon=True)

    def start(self) -> None:
        """Write that the daemon runs: an end without a further word is a crash from now on."""
        self._thread.start()

    def keep_rules(self, texts: RuleTexts) -> None:
        """Keep the rules in force: the next start may need them."""
        self._rules = texts
        self._changed.set()

    def note_change(self) -> None:
        """Have it written that switches stand otherwise. Waits for nothing: for the loop."""
        self._changed.set()

    def end(self) -> None:
        """Write that the daemon was ended, if the disk answers."""
        if self._thread.is_alive():
            self._ending.set()
            self._changed.set()
            self._thread.join(_LAST_WRITE_S)

    def _work(self) -> None:
        remove_abandoned_files(state_folder())
        self._look()
        while self._wait():
            self._look()
        self._look()

    def _wait(self) -> bool:
        """Wait for a change, and for others that may follow it; return False at the end."""
        self._changed.wait(_ALIVE_EVERY_S)
        self._changed.clear()
        return not self._ending.wait(_EVERY_S)

    def _look(self) -> None:
        failed = False
        for write in (self._write_rules, self._write_state):  # one that finds no room takes none from the other
            try:
                write()
            except (MachineError, OSError) as error:
                if not self._failed and not failed:
                    self._say(f"the states of switches can't be saved for the next daemon: {error}")
                    self._changed.set()  # there may be room in a second; after that, with the next change or minute
                failed = True
        self._failed = failed

    def _write_rules(self) -> None:
        rules = self._rules
        if rules is None or rules is self._written_rules:
            return
        files = [[file, text.decode("latin-1")] for file, text in rules]
        self._write(_rules_file(self._name), {"arguments": self._arguments, "files": files})
        self._written_rules = rules

    def _write_state(self) -> None:
        states, now, ended = self._switches(), self._clock.wall_s(), self._ending.is_set()
        if ended or states != self._written or abs(now - self._written_at) >= _ALIVE_EVERY_S:
            state = {"ended": ended, "at": now, "rules": self._arguments, "switches": dict(states)}
            self._write(_state_file(self._name), state)
            self._written, self._written_at = states, now

    def _write(self, path: Path, told: Mapping[str, Any]) -> None:
        data = json.dumps(told).encode()
        self._disk.make_folder(path.parent)
        write_new({path: data}, like=_PRIVATE, replace=True, disk=self._disk)


def _state_file(name: str) -> Path:
    return state_folder() / f"{name}.state.json"


def _rules_file(name: str) -> Path:
    return state_folder() / f"{name}.rules.json"


def _read(path: Path) -> Any:
    """Return what a file holds; None where it can't be read."""
    try:
        return json.loads(read_regular(path, _MOST_BYTES))
    except (OSError, ValueError, RecursionError):
        return None
