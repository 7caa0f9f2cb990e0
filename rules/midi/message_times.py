"""Messages with a time of their own: `at 200 ms program 4`. One without a time follows the message before it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from fractions import Fraction
from typing import Final

from rules.errors import NotationError

_TIME: Final = re.compile(r"at\s+([0-9]{1,7}(?:\.[0-9]{1,6})?)\s*ms\s+")
_WITHOUT_UNIT: Final = re.compile(r"at\s+[0-9.]+\s+(?!ms\b)")


def split_time(text: str) -> tuple[Fraction | None, str]:
    """Return the time in milliseconds and the message of `at 12 ms MESSAGE`; None where no time is written.

    Raises NotationError for a time in another form.
    """
    text = text.strip()
    if (match := _TIME.match(text)) is not None:
        return Fraction(match[1]), text[match.end() :]
    if _WITHOUT_UNIT.match(text) is not None:
        raise NotationError(f'"{text}": the unit "ms" is missing: write a time as in "at 12 ms note-on 4 C4 100"')
    if text.startswith("at "):
        raise NotationError(f'"{text}": write a time as in "at 12 ms note-on 4 C4 100"')
    return None, text


def times_in_order(times: Iterable[Fraction | None]) -> list[Fraction]:
    """Return when each message of a list goes out, in milliseconds from its beginning.

    Raises NotationError where a time goes back.
    """
    found = [Fraction(0)]
    for time in times:
        if time is not None and time < found[-1]:
            early, late = float(time), float(found[-1])
            raise NotationError(
                f'"at {early:g} ms" comes after "at {late:g} ms": write messages in the order of their times'
            )
        found.append(found[-1] if time is None else time)
    return found[1:]
