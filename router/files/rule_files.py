"""Rule files on the disk: which ones a command means, in which order, and their bytes.

The order decides what a musician hears (ruling 7): as on the command line, and by name within a folder.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from router.files.file_names import RULE_SUFFIX, is_hidden, is_midi_name, is_rule_name
from router.files.regular_files import read_regular
from router.text.formatting import why
from router.text.usage import UsageError
from rules.errors import MachineError

MOST_BYTES: Final = 4_000_000
"""How large one rule file may be: a thousand times what a large rig needs, and still read in a moment."""

MOST_TOGETHER: Final = 16_000_000
"""How large all rule files of a rig may be together, in bytes."""

RuleTexts = tuple[tuple[str, bytes], ...]
"""Rule files as the reader wants them: the name as the user wrote it, and the bytes."""


def read_rule_files(arguments: Sequence[str]) -> RuleTexts:
    """Return the bytes of every rule file meant by `arguments`, files and folders.

    Raises MachineError for what is missing, too large or can't be read, UsageError for a MIDI file in the place of a
    rule file.
    """
    paths = [path for argument in arguments for path in _meant_by(argument)]
    texts = []
    room = MOST_TOGETHER
    for path in dict.fromkeys(paths):
        text = _content(path)
        room -= len(text)
        if room < 0:
            size = f"{MOST_TOGETHER // 1_000_000} MB"
            raise MachineError(f"{path}: with this one the rule files are larger than {size} together; leave some out")
        texts.append((str(path), text))
    return tuple(texts)


def _meant_by(argument: str) -> list[Path]:
    path = Path(argument)
    if not os.path.isdir(path):
        if is_midi_name(argument):
            raise UsageError(
                f"{argument} is a MIDI file, but a rule file ({RULE_SUFFIX}) is wanted here, before the files"
            )
        return [path]
    try:
        found = sorted(
            entry
            for entry in path.iterdir()
            if is_rule_name(entry.name) and not is_hidden(entry.name) and os.path.isfile(entry)
        )
    except OSError as error:
        raise MachineError(f"{argument}: the folder can't be read: {why(error)}") from error
    if not found:
        raise MachineError(
            f"{argument}: there is no rule file ({RULE_SUFFIX}) in this folder: name another folder or a file"
        )
    return found


def _content(path: Path) -> bytes:
    try:
        return read_regular(path, MOST_BYTES)
    except OSError as error:
        if error.errno == errno.EFBIG:
            size = f"{MOST_BYTES // 1_000_000} MB"
            raise MachineError(f"{path}: the rule file is larger than {size}: split it into several files") from error
        raise MachineError(f"{path}: the rule file can't be read: {why(error)}") from error
