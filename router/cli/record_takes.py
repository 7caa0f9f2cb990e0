"""What `record` does: records the daemon or ports, and saves what was played.

The data (`--json`) is one object; `file` is null where nobody played:

    {"command": "record", "ok": true, "file": "take-20261125-201407.mid", "seconds": 247.1, "messages": 4711,
     "held": 0, "lost": 0, "tracks": [{"name": "keys in", "messages": 1204, "held": 0}]}

`held` notes and pedals were still down at the end and are let go there; `lost` messages could not be written.
With `--recover` it is {"command": "record", "ok": true, "files": [...], "problems": [...]}.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any, Final, NamedTuple

from router.daemon.control_client import ask_daemon
from router.daemon.run_settings import STANDARD_NAME
from router.daemon.signals import signals_heeded
from router.files.clock import SYSTEM_CLOCK, Clock
from router.files.file_names import is_midi_name
from router.midi.backend_choice import choose_backend
from router.recording.automatic_takes import NOBODY_PLAYED, in_words
from router.recording.journal_files import SUFFIX, numbered, target_of
from router.recording.port_recording import record_ports
from router.recording.recorder import LAST_SECONDS
from router.recording.take_names import take_name
from router.recording.takes import BusyError, Saved, left_behind, save, save_all, save_records
from router.text.durations import exactly
from router.text.exit_codes import FINE, INCOMPLETE
from router.text.formatting import count, plain
from router.text.terminal import complain, problem, say
from router.text.usage import UsageError
from rules.errors import MachineError


class RecordSettings(NamedTuple):
    """What `record` shall do: record the daemon `name`, or ports of the computer (`ports`, patterns) and of our own
    (`virtual`, names).

    `last` is how many seconds to save from the daemon's history, `stop` ends a recording that goes on, `recover` are
    folders and files with what was left behind. `duration_s` is in seconds, None until Ctrl-C; `out` a file or folder.
    """

    name: str = STANDARD_NAME
    out: str | None = None
    last: float | None = None
    duration_s: float | None = None
    stop: bool = False
    recover: tuple[str, ...] = ()
    ports: tuple[str, ...] = ()
    virtual: tuple[str, ...] = ()
    backend: str | None = None
    json: bool = False


_PAUSE_S: Final = 0.1  # seconds between two looks whether it is over
_ASK_EVERY_S: Final = 1.0
_SAVING_S: Final = 60.0  # seconds that a daemon that leaves may take to save its recording
_CLIENT: Final = "pointsman record"


def record(settings: RecordSettings, clock: Clock = SYSTEM_CLOCK) -> int:
    """Record, and print what was saved; return the exit code. Raises MachineError or UsageError."""
    if settings.recover:
        return _recover(settings)
    target = where(settings.out, clock.wall_s())
    if settings.last is not None:
        _tell(_save_last(settings, target), 0, settings)
    elif settings.stop:
        answer = ask_daemon(settings.name, "record-stop")
        _tell(save(Path(answer["journal"])), answer["lost"], settings)
    elif settings.ports or settings.virtual:
        _tell(*_record_ports(settings, target, clock), settings)
    else:
        _tell(*_record_daemon(settings, target, clock), settings)
    return FINE


def where(out: str | None, wall: float) -> Path:
    """The full path of the .mid file that `-o` asks for. Raises UsageError for another kind of file."""
    name = f"{take_name(wall)}.mid"
    path = Path(os.path.abspath(out)) if out is not None else Path.cwd() / name
    if path.is_dir() or (out or "").endswith(os.sep):
        return path / name
    if not is_midi_name(path.name):
        raise UsageError(f"{out} isn't a .mid file, and there is no such folder: write it as in -o take.mid")
    return path


# -- from the daemon ---------------------------------------------------------------------------------------------------


def _save_last(settings: RecordSettings, target: Path) -> Saved:
    """Return what the daemon remembers, as a file; nobody had to ask for it before."""
    if (settings.last or 0) > LAST_SECONDS:
        complain([f"the daemon remembers only the last {exactly(LAST_SECONDS)}: this is all of it"])
    told = ask_daemon(settings.name, "last", patience_s=_SAVING_S, seconds=settings.last)
    return save_records(told["journal"], target)


def _record_daemon(settings: RecordSettings, target: Path, clock: Clock) -> tuple[Saved | Path | None, int]:
    """Until it is over; should the daemon leave before, or somebody else end it, it is saved all the same."""
    is_over = _Until(settings.duration_s, clock)
    with signals_heeded(is_over.ask, _go_on):
        journal = Path(ask_daemon(settings.name, "record", path=str(target))["journal"])
        free = next(path for path in numbered(target_of(journal)) if not path.exists())
        complain([f'recording the daemon "{settings.name}" {_how_long(settings)}'])
        asked = clock.now_ns()
        while not is_over():
            clock.sleep_s(_PAUSE_S)
            if clock.now_ns() - asked > _ASK_EVERY_S * 1e9:
                asked = clock.now_ns()
                if not _goes_on(settings.name, journal):
                    complain(["the recording ended, because the daemon ended or another terminal ended it"])
                    return _save_for_others(journal, free, clock), 0
        answer = ask_daemon(settings.name, "record-stop")
        return save(Path(answer["journal"])), answer["lost"]


def _goes_on(name: str, journal: Path) -> bool:
    """Return whether our recording is still the daemon's."""
    try:
        return bool(ask_daemon(name, "record")["journal"] == str(journal))
    except MachineError:
        return False


def _save_for_others(journal: Path, free: Path, clock: Clock) -> Saved | Path | None:
    """Wait for a recording to be saved under the name that was `free` by the process that ended it, else save it.

    Return None if nobody played, so that there is no file.
    """
    deadline = clock.now_ns() + _SAVING_S * 1e9
    while journal.exists():
        try:
            return save(journal)
        except BusyError:
            if clock.now_ns() > deadline:
                raise
            clock.sleep_s(_PAUSE_S)
    return free if free.exists() else None


# -- from ports --------------------------------------------------------------------------------------------------------


def _record_ports(settings: RecordSettings, target: Path, clock: Clock) -> tuple[Saved | Path, int]:
    backend = choose_backend(settings.backend, _CLIENT)
    try:
        is_over = _Until(settings.duration_s, clock)
        with signals_heeded(is_over.ask, _go_on):
            complain([f"recording {_how_long(settings)}"])
            journal, lost = record_ports(backend, settings.ports, settings.virtual, target, is_over, clock=clock)
            return save(journal), lost
    finally:
        backend.close()


# -- what was left behind ----------------------------------------------------------------------------------------------


def _recover(settings: RecordSettings) -> int:
    """Make .mid files of journals that nobody writes any more."""
    words: list[str] = []
    problems: list[str] = []
    files = save_all((journal for name in settings.recover for journal in _meant(name)), words.append, problems.append)
    if settings.json:
        data = {"command": "record", "ok": not problems, "files": [str(path) for path in files], "problems": problems}
        say([json.dumps(data, indent=2)])
    else:
        say(words if words or problems else ["there is nothing to recover"])
        complain(problem(text) for text in problems)
    return INCOMPLETE if problems else FINE


def _meant(name: str) -> list[Path]:
    """The journals of a folder, or one. Raises UsageError."""
    path = Path(name)
    if path.is_dir():
        return left_behind(path)
    if not path.name.endswith(SUFFIX):
        raise UsageError(f"{name} isn't a journal: name one that ends with {SUFFIX}, or a folder")
    return [path]


# -- the end -----------------------------------------------------------------------------------------------------------


class _Until:
    """Says when it is over: after a while, or when somebody wants it."""

    def __init__(self, duration_s: float | None, clock: Clock) -> None:
        self._now_ns = clock.now_ns
        self._deadline = None if duration_s is None else clock.now_ns() + duration_s * 1e9
        self._asked = False

    def ask(self) -> None:
        """Ask it to end. May be called by a signal."""
        self._asked = True

    def __call__(self) -> bool:
        return self._asked or (self._deadline is not None and self._now_ns() >= self._deadline)


def _go_on() -> None:
    """Do nothing: a hang-up without a terminal ends no recording."""


def _how_long(settings: RecordSettings) -> str:
    if settings.duration_s is None:
        return "until Ctrl-C"
    return f"for {exactly(settings.duration_s)}; Ctrl-C ends it earlier"


def _tell(saved: Saved | Path | None, lost: int, settings: RecordSettings) -> None:
    """Print what was saved: what is known of it, only its name, or None where nobody played."""
    if settings.json:
        say([json.dumps({"command": "record", "ok": True, **_data(saved), "lost": lost}, indent=2)])
    else:
        say([_words(saved)])
        if lost:
            complain([problem(f"{count(lost, 'message')} could not be written to the disk")])
    if isinstance(saved, Saved) and saved.undeleted:
        complain([problem(saved.undeleted)])


def _words(saved: Saved | Path | None) -> str:
    if saved is None:
        return NOBODY_PLAYED
    return in_words(saved) if isinstance(saved, Saved) else f"saved as {plain(str(saved))}"


def _data(saved: Saved | Path | None) -> dict[str, Any]:
    if saved is None or isinstance(saved, Path):
        return {"file": None if saved is None else str(saved)}
    take = saved.take
    return {
        "file": None if saved.path is None else str(saved.path),
        "seconds": take.seconds,
        "messages": take.messages,
        "held": take.held,
        "tracks": [{"name": one.name, "messages": one.messages, "held": one.held} for one in take.tracks],
    }
