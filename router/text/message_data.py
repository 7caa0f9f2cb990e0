"""Messages for programs, as the data of `--json` have them."""

from __future__ import annotations

from rules.midi.notation import STANDARD, Naming, format_message, in_hex


def message_data(message: bytes, naming: Naming = STANDARD) -> dict[str, str]:
    """Return a message in words, and its bytes in hexadecimal."""
    return {"message": format_message(message, naming), "bytes": in_hex(message)}
