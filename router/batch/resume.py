"""What is done already: a small record beside the results, so that a long run can be taken up where it stopped.

A result is done if an earlier run with `--resume` wrote it, by the same rules and options, from a recording that still
has its size and time, and if the result has its size and time too. Whatever else an earlier run wrote and nobody has
touched since is ours, and may be replaced where the recording or the rules have changed, or deleted where its port has
fallen silent.

The record is a text file, `.pointsman-resume`, in the folder of the results: a line `done` with a digest for each
recording, a line `result` for each result. Lines that can't be read are passed over, so that a crash costs no more than
the line it fell on. Results are named as seen from the folder, which may be moved.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Final, TextIO

from router.batch.job import FileResult, Stamp, stamp_of
from router.batch.plan import Job, left_over, possible_results
from router.files.regular_files import open_regular
from router.text.formatting import why
from router.text.version import version
from rules.errors import MachineError

RECORD_NAME: Final = ".pointsman-resume"

_DIGEST_BYTES: Final = 16


def fingerprint(texts: Sequence[bytes], options: object) -> str:
    """Return what stands for rules, options and version: what decides the result beside the recording.

    `options` is anything whose `repr` tells it from other options.
    """
    return _digest(version(), [hashlib.sha256(text).hexdigest() for text in texts], repr(options)).hex()


class RunRecord:
    """The record in the folder `folder`. `made_by` is a fingerprint, `ports` as for `plan`.

    Raises MachineError if the record can't be read or written.
    """

    def __init__(self, folder: Path, made_by: str, ports: Sequence[str], *, read_only: bool = False) -> None:
        self._folder = os.path.realpath(folder)
        self._made_by, self._ports = made_by, ports
        self._known: dict[str, set[bytes]] = {"done": set(), "result": set()}
        path = folder / RECORD_NAME
        try:
            if os.path.lexists(path):
                self._read(path)
            if not read_only:
                folder.mkdir(parents=True, exist_ok=True)
            self._file = None if read_only else _opened(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        except OSError as error:
            raise MachineError(f"{path}, which --resume goes by, can't be used: {why(error)}") from error

    def _read(self, path: Path) -> None:
        with _opened(path, os.O_RDONLY) as file:
            for line in file:
                kind, _, text = line.strip().partition(" ")
                if kind in self._known and len(text) == 2 * _DIGEST_BYTES:
                    try:
                        self._known[kind].add(bytes.fromhex(text))
                    except ValueError:
                        continue

    def is_done(self, job: Job) -> bool:
        """Return whether an earlier run did this, and nothing has changed since."""
        try:
            stamp = stamp_of(job.source.stat())
        except OSError:
            return False
        return self._done(job, stamp) in self._known["done"]

    def may_replace(self, job: Job) -> bool:
        """Return whether all that would be overwritten was written by an earlier run, and not touched since."""
        there = [path for path in self._results(job) if _stamp(path) is not None]
        return bool(there) and all(map(self._is_ours, there))

    def note(self, job: Job, result: FileResult) -> None:
        """Put down that a recording is done, and delete what we wrote before for ports that are silent now.

        What can't be put down is done again by the next run, and no more.
        """
        if result.stamp is None or self._file is None:
            return
        results = self._results(job)
        foreign = self._tidied(left_over(results, result.targets))
        lines = [f"\ndone {self._done(job, result.stamp).hex()}"]
        for path in results:
            if path not in foreign and (stamp := _stamp(path)) is not None:
                lines.append(f"\nresult {self._ours(path, stamp).hex()}")
        try:
            self._file.write("".join(lines))
            self._file.flush()
        except OSError:
            return

    def _tidied(self, leftovers: Sequence[str]) -> set[str]:
        """Delete those that are ours; return the others."""
        return {path for path in leftovers if not (self._is_ours(path) and _deleted(path))}

    def _is_ours(self, path: str) -> bool:
        """Return whether an earlier run wrote a file that is there, and nobody has touched it since."""
        stamp = _stamp(path)
        return stamp is not None and self._ours(path, stamp) in self._known["result"]

    def close(self) -> None:
        """Close the record."""
        if self._file is not None:
            self._file.close()

    def _results(self, job: Job) -> list[str]:
        return [] if job.target is None else possible_results(job.target, self._ports)

    def _done(self, job: Job, stamp: Stamp) -> bytes:
        results = [(self._name(path), _stamp(path)) for path in self._results(job)]
        return _digest(self._made_by, os.path.abspath(job.source), stamp, results)

    def _ours(self, path: str, stamp: Stamp) -> bytes:
        return _digest(self._name(path), stamp)

    def _name(self, path: str) -> str:
        return os.path.relpath(path, self._folder)


def _opened(path: Path, flags: int) -> TextIO:
    """The record as text. A link in its place could lead anywhere, and isn't followed."""
    handle = open_regular(path, flags, follow_links=False)
    return os.fdopen(handle, "r" if flags == os.O_RDONLY else "a", encoding="ascii", errors="replace")


def _digest(*parts: object) -> bytes:
    return hashlib.blake2b(json.dumps(parts).encode(), digest_size=_DIGEST_BYTES).digest()


def _stamp(result: str) -> Stamp | None:
    """Return what changes with a result; None if there is none. A link in its place is no result of ours."""
    try:
        return stamp_of(os.lstat(result))
    except OSError:
        return None


def _deleted(path: str) -> bool:
    """Delete a file; whether that could be done."""
    try:
        os.unlink(path)
    except OSError:
        return False
    return True
