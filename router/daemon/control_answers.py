"""Answers as lines of the control socket: bytes go ahead of the rest, in pieces.

{"piece": ["journal", "BASE64"]} is one of them. Encoded in one go, a long recording would hold up the music.
"""

from __future__ import annotations

import json
from binascii import a2b_base64, b2a_base64
from collections.abc import Iterator, Mapping
from itertools import chain
from typing import Any, Final

from router.daemon.control_socket import line_of
from rules.errors import MachineError

LONGEST_ANSWER_LINE: Final = 16 * 1024 * 1024
_PIECE: Final = 48 * 1024


def answer_lines(answer: Mapping[str, Any]) -> Iterator[bytes]:
    """Return the lines of an answer; pieces are encoded one by one, as they are wanted.

    Raises TypeError at once for what is no plain value.
    """
    held = {key: value for key, value in answer.items() if isinstance(value, bytes)}
    last = line_of({"ok": True, **{key: value for key, value in answer.items() if key not in held}})
    return chain(_piece_lines(held), [last])


def _piece_lines(held: Mapping[str, bytes]) -> Iterator[bytes]:
    for key, value in held.items():
        for at in range(0, max(len(value), 1), _PIECE):
            yield line_of({"piece": [key, b2a_base64(value[at : at + _PIECE], newline=False).decode("ascii")]})


def refusal_line(words: str) -> bytes:
    """Return the line of an answer that can't be given, in words."""
    return line_of({"ok": False, "error": words})


class AnswerReader:
    """Puts one answer together from its lines."""

    def __init__(self) -> None:
        self._held: dict[str, bytearray] = {}

    def take(self, line: bytes) -> dict[str, Any] | None:
        """Take in a line; return the answer with the last one, values of type bytes as bytes, and None before that.

        Raises MachineError, in the daemon's words, where there is no answer; ValueError for a line of none.
        """
        told = told_in(line)
        if "piece" in told:
            try:
                key, data = told["piece"]
                self._held.setdefault(key, bytearray()).extend(a2b_base64(data, strict_mode=True))
            except TypeError as error:
                raise ValueError("no piece of an answer") from error
            return None
        if "ok" not in told:
            raise ValueError("no answer of a daemon")
        if not told.pop("ok"):
            raise MachineError(str(told.get("error")))
        return told | {key: bytes(value) for key, value in self._held.items()}


def told_in(line: bytes) -> dict[str, Any]:
    """Return what a line of a daemon tells. Raises ValueError for what isn't one."""
    told = json.loads(line)
    if not isinstance(told, dict):
        raise ValueError("no line of a daemon")
    return told
