"""Random tracks: well-formed in every form the standard allows, with what they say beside their bytes."""

from __future__ import annotations

from dataclasses import dataclass

from hypothesis import strategies as st

from rules.smf import vlq


@dataclass(frozen=True, slots=True)
class Written:
    """An event of a random track: its delta time, its message, whether its status byte is left out, its bytes."""

    delta: int
    message: bytes
    running: bool
    form: bytes


def _padded(number: int, padding: int) -> bytes:
    form = vlq.encode(number)
    return b"\x80" * min(padding, 4 - len(form)) + form


DELTAS = st.one_of(st.just(0), st.integers(0, 200), st.integers(0, vlq.LARGEST))
PADDING = st.sampled_from((0, 0, 0, 1, 3))
DATA = st.integers(0, 127)
# few channels and keys, so that running status is common
CHANNEL_MESSAGES = st.builds(
    lambda kind, channel, data: bytes((kind | channel, *data[: 1 if kind in (0xC0, 0xD0) else 2])),
    st.sampled_from((0x80, 0x90, 0x90, 0x90, 0xA0, 0xB0, 0xC0, 0xD0, 0xE0)),
    st.integers(0, 1),
    st.tuples(DATA, DATA),
)
METAS = st.builds(
    lambda kind, content, padding: bytes((0xFF, kind)) + _padded(len(content), padding) + content,
    st.integers(0, 127).filter(lambda kind: kind != 0x2F),
    st.binary(max_size=6),
    PADDING,
)
SYSEX = st.builds(
    lambda status, content, padding: bytes((status,)) + _padded(len(content), padding) + content,
    st.sampled_from((0xF0, 0xF7)),
    st.binary(max_size=6),
    PADDING,
)
MESSAGES = st.one_of(CHANNEL_MESSAGES, CHANNEL_MESSAGES, CHANNEL_MESSAGES, METAS, SYSEX)


@st.composite
def tracks(draw: st.DrawFn, *, over_meta: bool = False) -> list[Written]:
    """Draw a track that ends with its end of track; `over_meta` lets running status go on over meta events too."""
    written = []
    in_force = 0
    for message in [*draw(st.lists(MESSAGES, max_size=12)), b"\xff\x2f\x00"]:
        delta = draw(DELTAS)
        running = message[0] == in_force and draw(st.booleans())
        form = _padded(delta, draw(PADDING)) + (message[1:] if running else message)
        written.append(Written(delta, message, running, form))
        if message[0] < 0xF0:
            in_force = message[0]
        elif message[0] != 0xFF or not over_meta:
            in_force = 0
    return written


def body_of(track: list[Written]) -> bytes:
    """Return the bytes of a random track."""
    return b"".join(event.form for event in track)


def said_by(track: list[Written]) -> list[tuple[int, bytes]]:
    """Return what a random track says: (tick, message) of each event."""
    tick = 0
    said = []
    for event in track:
        tick += event.delta
        said.append((tick, event.message))
    return said
