"""The RIFF form of a MIDI file (.rmi): chunks with little-endian lengths, one of which, "data", holds the file.

From memory: "RIFF", size, "RMID", then chunks of type, size, content and a padding byte where the size is odd. The
wrapper is kept byte for byte; the writer corrects its two sizes and the padding when the file inside grew or shrank.
"""

from __future__ import annotations

from dataclasses import dataclass

from rules.errors import MidiFileError
from rules.smf.damage import DamageLog


@dataclass(frozen=True, slots=True)
class RiffWrapper:
    """Where the file lies inside its wrapper: from `begin` up to `finish`; its size stands in the four bytes before."""

    begin: int
    finish: int


def find(data: bytes, log: DamageLog) -> RiffWrapper | None:
    """Return the wrapper around the MIDI file in `data`, None if there is none.

    Raises MidiFileError if a wrapper holds no MIDI file.
    """
    if data[:4] != b"RIFF" or data[8:12] != b"RMID":
        return None
    at = 12
    while at + 8 <= len(data):
        finish = at + 8 + int.from_bytes(data[at + 4 : at + 8], "little")
        if data[at : at + 4] == b"data":
            if finish > len(data):
                log.note(at + 4, f"the RIFF chunk claims {finish - at - 8} bytes, {len(data) - at - 8} are there")
            return RiffWrapper(at + 8, min(finish, len(data)))
        at = finish + (finish - at) % 2
    raise MidiFileError(12, "a RIFF file without a data chunk, so without a MIDI file")


def rewrap(data: bytes, wrapper: RiffWrapper, inner: bytes) -> bytes:
    """Return the wrapped file `data` with `inner` in place of the MIDI file it held."""
    if len(inner) == wrapper.finish - wrapper.begin:
        return data[: wrapper.begin] + inner + data[wrapper.finish :]
    odd_before = (wrapper.finish - wrapper.begin) % 2
    rest = data[wrapper.finish + odd_before :]
    padding = (data[wrapper.finish : wrapper.finish + odd_before] or b"\0") if len(inner) % 2 else b""
    whole = b"".join((data[8 : wrapper.begin - 4], len(inner).to_bytes(4, "little"), inner, padding, rest))
    behind = max(0, len(data) - 8 - int.from_bytes(data[4:8], "little"))  # bytes after the wrapper aren't counted
    return data[:4] + max(0, len(whole) - behind).to_bytes(4, "little") + whole
