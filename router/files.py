"""Which MIDI files a command means, and where the result of each goes.

Everything is decided before the first file is touched, so that no result can meet another result or an input, whichever
worker comes first. The order is that of the command line, and by name within a folder.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from router.names import MIDI_SUFFIXES, for_port, is_hidden, is_midi_name, is_rule_name
from router.settings import RewriteSettings, UsageError
from router.words import why

Identity = tuple[int, int]
"""What a file is, whatever its names: device and number on the device."""


@dataclass(frozen=True, slots=True)
class Found:
    """A file to rewrite: `path`, and `below`, its path as seen from the argument that led to it (a name, or folders
    and a name). `size` is in bytes."""

    path: Path
    below: Path
    identity: Identity
    size: int


@dataclass(frozen=True, slots=True)
class Unusable:
    """A file or folder that can't be rewritten, and why, in words that say what to do."""

    path: Path
    reason: str
    refused: bool = False
    """True where the file itself is fine, but its result has no place to go."""


@dataclass(frozen=True, slots=True)
class Job:
    """One file to rewrite. `target` is where its result goes: None for nowhere (a dry run), `source` for in place."""

    source: Path
    target: Path | None
    size: int

    @property
    def in_place(self) -> bool:
        """Whether the file itself is rewritten."""
        return self.target == self.source


def find(arguments: Iterable[str], leave_out: Path | None = None) -> Iterator[Found | Unusable]:
    """Yield every file meant by `arguments`: files as they are, folders with all MIDI files in and below them.

    Hidden files and folders are passed over, and so is the folder `leave_out` (where results go) below an argument.
    """
    for argument in arguments:
        path = Path(argument)
        if not os.path.isdir(path):
            yield _judged(path, Path(path.name))
            continue
        inside = list(_walk(path, Path(), leave_out, set()))
        yield from inside
        if not inside:
            endings = ", ".join(sorted(MIDI_SUFFIXES))
            yield Unusable(path, f"no MIDI file ({endings}) is in this folder or below it")


def _judged(path: Path, below: Path) -> Found | Unusable:
    if is_rule_name(path.name):
        return Unusable(path, "this is a rule file; further rule files are given with --rules")
    try:
        status = path.stat()
    except OSError as error:
        return Unusable(path, f"the file can't be read: {why(error)}")
    if not os.path.isfile(path):
        return Unusable(path, "this is no file that has a content of its own")
    return Found(path, below, (status.st_dev, status.st_ino), status.st_size)


def _walk(folder: Path, below: Path, leave_out: Path | None, seen: set[Identity]) -> Iterator[Found | Unusable]:
    """The MIDI files of one folder and those below; a folder that links lead back to is walked once."""
    try:
        status = folder.stat()
        entries = sorted(entry for entry in folder.iterdir() if not is_hidden(entry.name))
    except OSError as error:
        yield Unusable(folder, f"the folder can't be looked into: {why(error)}")
        return
    if (status.st_dev, status.st_ino) in seen:
        return
    seen.add((status.st_dev, status.st_ino))
    for entry in entries:
        if os.path.isdir(entry):
            if leave_out is None or real(entry) != leave_out:
                yield from _walk(entry, below / entry.name, leave_out, seen)
        elif is_midi_name(entry.name):
            yield _judged(entry, below / entry.name)


@dataclass(frozen=True, slots=True)
class Destination:
    """Where results go: into the folder `path`, or, with `whole`, to `path` itself; None in place or nowhere."""

    path: Path | None
    whole: bool = False
    in_place: bool = False

    def of(self, found: Found) -> Path | None:
        """Return where the result of one file goes."""
        if self.in_place:
            return found.path
        if self.path is None or self.whole:
            return self.path
        return self.path / found.below


def destination(settings: RewriteSettings) -> Destination:
    """Return where the results go. Raises UsageError if that isn't said, or can't be meant."""
    if settings.in_place:
        if settings.per_port:
            raise UsageError("--per-port makes several files of one, so --in-place can't hold them: use -o FOLDER")
        return Destination(None, in_place=True)
    if settings.out is None:
        if settings.dry_run:
            return Destination(None)
        raise UsageError("say where the results go: -o FOLDER, or --in-place; --dry-run only looks")
    out = Path(settings.out)
    is_folder = os.path.isdir(out) or settings.out.endswith(("/", os.sep))
    if is_folder or not is_midi_name(out.name):
        if os.path.exists(out) and not is_folder:
            raise UsageError(f"-o {settings.out}: this is a file, and no MIDI file; name a folder or a .mid file")
        return Destination(out)
    if len(settings.files) != 1 or os.path.isdir(settings.files[0]):
        raise UsageError(f"-o {settings.out} names one file, and there may be several results: name a folder")
    return Destination(out, whole=True)


def plan(found: Iterable[Found | Unusable], to: Destination, ports: Sequence[str]) -> list[Job | Unusable]:
    """Return what to do with each file, in order. A file named twice is done once.

    `ports` are the output ports that may get a file each, or [""] for one result a file. A result never meets an input
    (unless rewritten in place) nor the result of an earlier file: such files are refused.
    """
    every = list(found)
    inputs = {file.identity for file in every if isinstance(file, Found)}
    claims: dict[Path, Found] = {}
    planned = (file if isinstance(file, Unusable) else _job(file, to, ports, inputs, claims) for file in every)
    return [job for job in planned if job is not None]


def _job(
    file: Found, to: Destination, ports: Sequence[str], inputs: set[Identity], claims: dict[Path, Found]
) -> Job | Unusable | None:
    """What to do with one file; None if it is being done already."""
    target = to.of(file)
    if to.in_place or target is None:
        results = [real(file.path)]
    else:
        results = [_settled(for_port(target, port)) for port in ports]
    claimed = [result for result in results if result in claims]
    for result in claimed:
        if (rival := claims[result]).identity != file.identity:
            reason = f"its result would be {result}, as that of {rival.path}; rewrite them in two runs, to two folders"
            return Unusable(file.path, reason, refused=True)
    if claimed == results:
        return None
    claims.update(dict.fromkeys(results, file))
    if target is not None and not to.in_place:
        for result in results:
            if (harmed := _identity(result)) in inputs:
                return Unusable(file.path, _harm(result, itself=harmed == file.identity), refused=True)
    return Job(file.path, target, file.size)


def _harm(result: Path, *, itself: bool) -> str:
    if itself:
        return "the result would overwrite the file itself; use --in-place, which keeps a backup, or another -o"
    return f"the result would overwrite {result}, which is one of the files to rewrite; use another -o"


def _settled(path: Path) -> Path:
    """One form for every way to write where a new file goes."""
    return real(path.parent) / path.name


def real(path: Path) -> Path:
    """Where a path leads to in the end, by all links; never an error."""
    return Path(os.path.realpath(path))


def _identity(path: Path) -> Identity | None:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino
