"""Lengths of time as people write them on a command line: 90s, 5m, 1h30m."""

from __future__ import annotations

import re
from typing import Final

_FORM: Final = re.compile(r"(?:(\d+(?:\.\d+)?)h)?(?:(\d+(?:\.\d+)?)m)?(?:(\d+(?:\.\d+)?)s?)?")
_MOST: Final = 7 * 24 * 3600


def parse_duration(text: str) -> float:
    """Return the seconds that `text` means. Raises ValueError with words for the user."""
    match = _FORM.fullmatch(text.strip().lower())
    parts = match.groups() if match is not None and text.strip() else ()
    hours, minutes, seconds = (float(part or 0) for part in parts) if parts else (0.0, 0.0, 0.0)
    total = hours * 3600 + minutes * 60 + seconds
    if not 0 < total <= _MOST:
        raise ValueError(f'"{text}" is no length of time: write it like 90s, 5m or 1h30m, a week at most')
    return total


def in_words(seconds: float) -> str:
    """Return a length of time in the form in which it is written: `90` is 1m30s, `0.5` is 0.5s."""
    whole = int(seconds)
    hours, minutes, rest = whole // 3600, whole // 60 % 60, seconds - whole // 60 * 60
    parts = [f"{hours}h" if hours else "", f"{minutes}m" if minutes else "", f"{rest:g}s" if rest else ""]
    return "".join(parts) or "0s"
