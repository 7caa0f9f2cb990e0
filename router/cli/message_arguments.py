"""Messages as they stand on a command line."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from router.text.usage import UsageError
from rules.errors import NotationError
from rules.midi.message_times import split_time, times_in_order
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


def read_timed_messages(words: Sequence[str]) -> list[tuple[Fraction, bytes]]:
    """Read messages that may have times, as in `at 200 ms program 1 4`: each with when it goes out, in ms.

    Raises UsageError.
    """
    try:
        timed = [split_time(word) for word in words]
        if any(time is None and word == "at" for time, word in timed):  # a single message in words
            timed = [split_time(" ".join(words))]
        times = times_in_order(time for time, _ in timed)
    except NotationError as error:
        raise UsageError(str(error)) from error
    messages = read_messages([word for _, word in timed])
    return list(zip(times[: len(messages)], messages, strict=True))
