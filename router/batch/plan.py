"""Where the result of each file goes.

Everything is decided before the first file is touched, so that no result can meet another result or an input, whichever
worker comes first. Of a hundred thousand files little more than their names is kept.
"""

from __future__ import annotations

import os
import unicodedata
from array import array
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import overload

from router.batch.rewrite_settings import RewriteSettings
from router.batch.search import FileIdentity, FoundFile, LinkedFolder, Unusable, real_path
from router.files.file_names import for_port, is_midi_name
from router.text.usage import UsageError


@dataclass(frozen=True, slots=True)
class Job:
    """One file to rewrite. `target` is where its result goes: None for nowhere (a dry run), `source` for in place.

    Results by port lie beside the target: with `-o .` that may be the source as well, and yet nothing is `in_place`.
    """

    source: Path
    target: Path | None
    size: int
    in_place: bool = False
    replace: bool = False
    """True where an earlier run of ours wrote what is there."""
    again: bool = False
    """True where a worker of ours may have written what is there, and was ended before it could say so."""
    made: frozenset[str] = frozenset()
    """In place: digests of what the same rules have made of it in earlier runs."""


@dataclass(frozen=True, slots=True)
class ResultDestination:
    """Where results go: into the folder `path`, or, with `whole`, to `path` itself; None in place or nowhere."""

    path: Path | None
    whole: bool = False
    in_place: bool = False

    def of(self, path: Path, below: str) -> Path | None:
        """Return where the result of the file `path` goes, which is `below` as seen from its argument."""
        if self.in_place:
            return path
        if self.path is None or self.whole:
            return self.path
        return self.path / below


def destination(settings: RewriteSettings) -> ResultDestination:
    """Return where the results go. Raises UsageError if that isn't said, or can't be meant."""
    if settings.in_place:
        if settings.per_port:
            raise UsageError("--per-port makes several files of one, so --in-place can't be used: write -o FOLDER")
        return ResultDestination(None, in_place=True)
    if settings.out is None:
        if settings.dry_run:
            return ResultDestination(None)
        raise UsageError("write where the results go: -o FOLDER, --in-place, or --dry-run to write nothing")
    out = Path(settings.out)
    is_folder = os.path.isdir(out) or settings.out.endswith(("/", os.sep))
    if is_folder or not is_midi_name(out.name):
        if os.path.exists(out) and not is_folder:
            raise UsageError(f"-o {settings.out}: this file isn't a MIDI file: name a folder or a .mid file")
        return ResultDestination(out)
    if len(settings.files) != 1 or os.path.isdir(settings.files[0]):
        raise UsageError(f"-o {settings.out} names one file, but there may be several results: name a folder")
    return ResultDestination(out, whole=True)


class BatchPlan(Sequence[Job | Unusable]):
    """What to do with each file, in order. Jobs are made when they are asked for: kept are names and sizes."""

    def __init__(self, to: ResultDestination) -> None:
        self._to = to
        self._paths: list[str] = []
        self._below = array("q")  # where in its path begins what is below the argument
        self._sizes = array("q")
        self._unusable: dict[int, Unusable] = {}
        self.linked_folders: list[Path] = []
        """Links to folders that were not followed."""

    def add(self, item: FoundFile | Unusable) -> None:
        """Put a file behind the others."""
        if isinstance(item, Unusable):
            self._unusable[len(self._paths)] = item
            self._append(str(item.path), 0, 0)
        else:
            path = str(item.path)
            self._append(path, len(path) - len(str(item.below)), item.size)

    def _append(self, path: str, below: int, size: int) -> None:
        self._paths.append(path)
        self._below.append(below)
        self._sizes.append(size)

    def refuse(self, at: int, reason: str) -> None:
        """Say why the file with number `at` can't be done after all."""
        self._unusable[at] = Unusable(Path(self._paths[at]), reason, refused=True)

    def keep(self, numbers: Sequence[int]) -> None:
        """Leave out all files but those with these numbers, which are in order."""
        self._paths = [self._paths[at] for at in numbers]
        self._below = array("q", (self._below[at] for at in numbers))
        self._sizes = array("q", (self._sizes[at] for at in numbers))
        self._unusable = {new: self._unusable[old] for new, old in enumerate(numbers) if old in self._unusable}

    def unusable(self, at: int) -> Unusable | None:
        """Return why the file with number `at` can't be done; None if it can."""
        return self._unusable.get(at)

    def size(self, at: int) -> int:
        """Return the bytes of the file with number `at`."""
        return self._sizes[at]

    def __len__(self) -> int:
        return len(self._paths)

    @overload
    def __getitem__(self, at: int) -> Job | Unusable: ...
    @overload
    def __getitem__(self, at: slice) -> list[Job | Unusable]: ...
    def __getitem__(self, at: int | slice) -> Job | Unusable | list[Job | Unusable]:
        if isinstance(at, slice):
            return [self[one] for one in range(*at.indices(len(self)))]
        if at in self._unusable:
            return self._unusable[at]
        path = Path(self._paths[at])
        target = self._to.of(path, self._paths[at][self._below[at] :])
        return Job(path, target, self._sizes[at], self._to.in_place)


def plan(
    found: Iterable[FoundFile | Unusable | LinkedFolder], to: ResultDestination, ports: Sequence[str]
) -> BatchPlan:
    """Return what to do with each file, in order. A file named twice is done once.

    `ports` are the output ports that may get a file each, or [""] for one result a file. A result never meets an input
    (unless rewritten in place) nor the result of an earlier file, nor one whose name only looks like its own: such
    files are refused.
    """
    planned = BatchPlan(to)
    identities: list[FileIdentity | None] = []
    for item in found:
        if isinstance(item, LinkedFolder):
            planned.linked_folders.append(item.path)
            continue
        planned.add(item)
        identities.append(item.identity if isinstance(item, FoundFile) else None)
    inputs = {identity for identity in identities if identity is not None}
    claims: dict[str, int] = {}
    looks = _SimilarNames()
    kept = []
    for at in range(len(planned)):
        job = planned[at]
        if isinstance(job, Job):
            target = None if to.in_place else job.target
            results = [str(real_path(job.source))] if target is None else possible_results(target, ports)
            claimed = [result for result in results if result in claims]
            met = [result for result in claimed if identities[claims[result]] != identities[at]]
            if claimed == results and not met:
                continue
            if met:
                planned.refuse(at, _clash(met[0], planned[claims[met[0]]]))
            elif target is not None and (clash := looks.clash(results, job.source)):
                planned.refuse(at, clash)
            else:
                claims.update(dict.fromkeys(results, at))
                if target is not None and (harm := _harm(results, inputs, identities[at])):
                    planned.refuse(at, harm)
        kept.append(at)
    if len(kept) < len(planned):
        planned.keep(kept)
    return planned


def possible_results(target: Path, ports: Sequence[str]) -> list[str]:
    """Return all files that may be written for `target`, in one form for every way to write where they go."""
    return [str(_settled(for_port(target, port))) for port in ports]


def left_over(results: Iterable[str], made: Iterable[str]) -> list[str]:
    """Return those of the possible `results` that are there and were not `made`.

    What was made has two names where two ports differ in case only, and the disk ignores that.
    """
    made = set(made)
    rest = [path for path in results if path not in made]
    new = {_identity(path, by_link=False) for path in made} if rest else set()
    return [path for path in rest if (there := _identity(path, by_link=False)) is not None and there not in new]


def _clash(result: str, rival: Job | Unusable) -> str:
    path = rival.source if isinstance(rival, Job) else rival.path
    return f"its result would be {result}, as that of {path}. Rewrite them in two runs, to two folders"


class _SimilarNames:
    """The names of results as they look on disks that take "Take.mid" for "take.mid", or one form of é for another."""

    def __init__(self) -> None:
        self._sources: dict[str, str] = {}

    def clash(self, results: Iterable[str], source: Path) -> str:
        """Say with which earlier file one of the `results` may clash on the disk where it goes; "" for none."""
        for result in results:
            earlier = self._sources.setdefault(_look(result), str(source))
            if earlier != str(source) and _may_meet(earlier, str(source), result):
                return (
                    f"its result {result} and that of {earlier} may be one file on this disk. Their names differ only "
                    "in case, or in how accents are stored. Rewrite them in two runs, to two folders"
                )
        return ""


def _look(path: str) -> str:
    """The one form of all names that look the same but for case."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", path).casefold())


def _may_meet(earlier: str, source: str, result: str) -> bool:
    """Return whether the disk where `result` goes may give it the name that looks the same, of the result of `earlier`.

    Without writing there this is known only where it is the disk of the recordings, and their own names differ in
    nothing else: then it has told them apart.
    """
    one, other = _identity(earlier), _identity(source)
    if one == other:
        return False  # a recording by two names has the same result twice
    alike = _look(os.path.realpath(earlier)) == _look(os.path.realpath(source))
    ground = next(filter(None, (_identity(str(folder)) for folder in Path(result).parents)), None)
    return not alike or one is None or ground is None or one[0] != ground[0]


def _harm(results: Iterable[str], inputs: set[FileIdentity], own: FileIdentity | None) -> str:
    """Return what a result would overwrite that is to be read; "" for nothing."""
    for result in results:
        if (harmed := _identity(result)) in inputs:
            if harmed == own:
                return "the result would overwrite the file itself: use --in-place, which keeps a backup, or another -o"
            return f"the result would overwrite {result}, which is one of the files to rewrite: use another -o"
    return ""


def _settled(path: Path) -> Path:
    """One form for every way to write where a new file goes."""
    return real_path(path.parent) / path.name


def _identity(path: str, *, by_link: bool = True) -> FileIdentity | None:
    try:
        status = os.stat(path, follow_symlinks=by_link)
    except OSError:
        return None
    return status.st_dev, status.st_ino
