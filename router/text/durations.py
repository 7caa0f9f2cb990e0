"""Lengths of time, as people write and read them."""

from __future__ import annotations

import re
from typing import Final

from router.text.formatting import count

_FORM: Final = re.compile(r"(?:(\d+(?:\.\d+)?)h)?(?:(\d+(?:\.\d+)?)m)?(?:(\d+(?:\.\d+)?)s?)?")
_MOST_S: Final = 7 * 24 * 3600


def parse_duration(text: str) -> float:
    """Return the seconds that `text` means, as in 90s, 5m or 1h30m. Raises ValueError with words for the user."""
    match = _FORM.fullmatch(text.strip().lower())
    parts = match.groups() if match is not None and text.strip() else ()
    hours, minutes, seconds = (float(part or 0) for part in parts) if parts else (0.0, 0.0, 0.0)
    total = hours * 3600 + minutes * 60 + seconds
    if not 0 < total <= _MOST_S:
        raise ValueError(f'"{text}" isn\'t a length of time: write it as in 90s, 5m or 1h30m, a week at most')
    return total


def exactly(seconds: float) -> str:
    """Return a length of time that somebody chose in words, without zeros: `1 min 30 s`, `10 min`, `0.5 s`."""
    whole = int(seconds)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, seconds - whole // 60 * 60
    parts = [f"{hours} h" if hours else "", f"{minutes} min" if minutes else "", f"{rest:g} s" if rest else ""]
    return " ".join(filter(None, parts)) or "0 s"


def in_words(seconds: float) -> str:
    """Return a long time in words, to the minute where it is hours: `3 days 4 h`, `2 h 13 min`, `42 s`."""
    minutes, rest = divmod(int(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    days, hours = divmod(hours, 24)
    if days:
        return f"{count(days, 'day')} {hours} h"
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min {rest} s" if minutes else f"{rest} s"


def as_musicians_do(seconds: float) -> str:
    """Return a length of music to the second: `4:07`, `1:02:33`."""
    minutes, rest = divmod(int(seconds + 0.5), 60)
    return f"{minutes}:{rest:02}" if minutes < 60 else f"{minutes // 60}:{minutes % 60:02}:{rest:02}"


def to_a_millisecond(ms: int) -> str:
    """Return a time from the beginning of a recording (ms): `1:02.350`."""
    minutes, rest = divmod(ms, 60_000)
    return f"{minutes}:{rest // 1000:02}.{rest % 1000:03}"


def to_a_hundredth(seconds: float) -> str:
    """Return a short time: `0.12 s`."""
    return f"{seconds:.2f} s"
