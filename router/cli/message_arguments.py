"""Messages as they stand on a command line."""

from __future__ import annotations

from collections.abc import Sequence

from router.text.usage import UsageError
from rules.errors import NotationError
from rules.midi.notation import STANDARD, Naming, parse_whole_message


def read_messages(words: Sequence[str], naming: Naming = STANDARD) -> list[bytes]:
    """Read the messages of a command line: several, each in quotes, or a single one in words. Raises UsageError.

    A word of a single message may be in quotes too, as in `controller 1 "all notes off" 0`.
    """
    try:
        return [parse_whole_message(word, naming) for word in words]
    except NotationError as error:
        of_several = error
    try:
        return [parse_whole_message(" ".join(words), naming)]
    except NotationError as error:
        raise UsageError(str(of_several if any(" " in word for word in words) else error)) from error
