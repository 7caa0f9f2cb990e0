"""Results of many files on the disk, so that a hundred thousand of them take no memory to speak of."""

from __future__ import annotations

import pickle
from array import array
from collections.abc import Collection, Iterator
from tempfile import SpooledTemporaryFile
from typing import Final

from router.batch.job import FileResult
from router.text.formatting import why
from rules.errors import MachineError

_IN_MEMORY: Final = 1 << 20
"""So many bytes of results are held before they go to the disk."""

_NONE: Final = -1


class Spool(Collection[FileResult]):
    """Results in the order of their files, whatever order they come in; a file without a result is passed over."""

    def __init__(self, files: int) -> None:
        self._places = array("q", [_NONE]) * files
        self._file = SpooledTemporaryFile(max_size=_IN_MEMORY)  # noqa: SIM115 - closed at the end of the `with`
        self._end = 0
        self._amount = 0

    def put(self, at: int, result: FileResult) -> None:
        """Keep the result of the file with number `at`. Raises MachineError if the disk refuses."""
        data = pickle.dumps(result, pickle.HIGHEST_PROTOCOL)
        try:
            self._file.seek(self._end)
            self._file.write(data)
        except OSError as error:
            raise MachineError(f"the summary can't be saved in the folder for temporary files: {why(error)}") from error
        self._places[at] = self._end
        self._end += len(data)
        self._amount += 1

    def __len__(self) -> int:
        return self._amount

    def __iter__(self) -> Iterator[FileResult]:
        for place in self._places:
            if place != _NONE:
                self._file.seek(place)
                yield pickle.load(self._file)

    def __contains__(self, result: object) -> bool:
        return any(one == result for one in self)

    def __enter__(self) -> Spool:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()
