"""What a command reads is never what it writes: with --force, a picture would replace the recording it is of."""

from __future__ import annotations

import os
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from router.text.formatting import plain
from router.text.usage import UsageError


def spare_inputs(outputs: Iterable[Path], inputs: Iterable[str]) -> None:
    """Raise UsageError if a file to be written is one that was read, under any of its names."""
    read = list(inputs)
    for output in outputs:
        for name in read:
            if _is_same(output, name):
                raise UsageError(f"{plain(str(output))} is what the command reads: write to another name")


def _is_same(output: Path, name: str) -> bool:
    with suppress(OSError):  # one of them isn't there
        return os.path.samefile(output, name)
    return False
