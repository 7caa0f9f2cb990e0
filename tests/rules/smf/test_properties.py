"""What holds for every track and every file."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.errors import MidiFileError
from rules.smf.midi_file import damage, read
from rules.smf.track_events import TrackEvent, TrackEvents
from rules.smf.writing import TrackWriter
from tests.support.smf_bytes import FORMAT_1, chunk, header, passed_through
from tests.support.smf_tracks import CHANNEL_MESSAGES, Written, body_of, said_by, tracks

REST = b"\xff\x01\x00"


def is_clean(body: bytes) -> bool:
    """Whether a track carries no running status over a meta event."""
    reader = TrackEvents(body)
    list(reader)
    return not reader.damage


def events_of(body: bytes, *, strict: bool = True) -> list[TrackEvent]:
    """Return the events of a track, which must be sound if `strict`."""
    return list(TrackEvents(body, strict=strict))


@given(tracks())
def test_scanning_tells_what_was_written(track: list[Written]) -> None:
    """Every event of a well-formed track is found with its tick, its message, its place and its form."""
    body = body_of(track)
    events = events_of(body)
    assert [(tick, message) for tick, _, _, _, message in events] == said_by(track)
    assert [body[delta_at:end] for _, delta_at, _, end, _ in events] == [event.form for event in track]
    assert [body[at] < 0x80 for _, _, at, _, _ in events] == [event.running for event in track]


@given(
    st.lists(tracks(over_meta=True), min_size=1, max_size=3),
    st.integers(0, 2),
    st.binary(max_size=9),
    st.binary(max_size=9),
)
def test_every_file_passes_through(bodies: list[list[Written]], midi_format: int, extra: bytes, behind: bytes) -> None:
    """A file comes out byte for byte, whatever its tracks, header, unknown chunks and trailing bytes are."""
    data = header(len(bodies), midi_format=midi_format, extra=extra) + chunk(b"XFIH", extra)
    data += b"".join(chunk(b"MTrk", body_of(track)) for track in bodies) + behind
    assert set(passed_through(data)) == {data}


@given(tracks(over_meta=True), st.data())
def test_edited_track_says_what_it_was_told(track: list[Written], data: st.DataObject) -> None:
    """Whatever is kept, dropped, changed, moved or added, the track written says just that and stays well-formed."""
    body = body_of(track)
    writer = TrackWriter(body)
    expected: list[tuple[int, bytes]] = []
    may_run: list[bool] = []

    def put(tick: int, message: bytes, like: TrackEvent | None) -> None:
        if like is not None and (tick, message) == (like[0], like[4]):
            writer.keep(like)
        else:
            writer.put(tick, message, like)
        expected.append((tick, message))
        may_run.append(like is not None and body[like[2]] < 0x80)

    for event in events_of(body, strict=False):
        tick = max(event[0], writer.tick)
        action = data.draw(st.sampled_from(("keep", "keep", "drop", "change", "add", "delay")))
        if action == "add":
            put(tick, data.draw(CHANNEL_MESSAGES), None)
        if event[4][0] >= 0xF0 or action in ("keep", "add"):
            put(tick, event[4], event)
        elif action == "change":
            put(tick, data.draw(CHANNEL_MESSAGES), event)
        elif action == "delay":
            put(tick + data.draw(st.integers(0, 300)), event[4], event)

    written = writer.body()
    events = events_of(written, strict=is_clean(body))
    rests = len(events) - len(expected)
    said = [(tick, message) for tick, _, _, _, message in events]
    assert [pair for pair in said if pair[1] != REST] == [pair for pair in expected if pair[1] != REST]
    if not rests:
        running = [written[at] < 0x80 for _, _, at, _, _ in events]
        assert all(allowed for runs, allowed in zip(running, may_run, strict=True) if runs)


@given(tracks(over_meta=True), st.sets(st.integers(0, 12)))
def test_events_around_a_dropped_one_keep_their_bytes(track: list[Written], dropped: set[int]) -> None:
    """Only the event right behind a dropped one may change its bytes; all others keep theirs."""
    body = body_of(track)
    writer = TrackWriter(body)
    pieces = []
    for index, event in enumerate(events_of(body, strict=False)):
        if index in dropped and event[4][0] < 0xF0:
            continue
        before = len(writer.body())
        writer.keep(event)
        pieces.append((index, writer.body()[before:]))
    assert all(piece == track[index].form for index, piece in pieces if undisturbed(track, index, dropped))


def undisturbed(track: list[Written], index: int, dropped: set[int]) -> bool:
    """Whether the event before stayed, and with it the status in force: no run that led here lost its beginning."""
    before = index - 1
    if before in dropped and track[before].message[0] < 0xF0:
        return False
    if not track[index].running:
        return True
    while before >= 0 and track[before].message[0] >= 0xF0:  # running status over metas: whose status is it?
        before -= 1
    return before not in dropped


MUTATIONS = st.lists(
    st.tuples(
        st.sampled_from(("set", "set", "flip", "delete", "insert", "cut", "repeat")),
        st.integers(0, 400),
        st.sampled_from((0x00, 0x01, 0x7F, 0x80, 0x90, 0xC5, 0xF0, 0xF7, 0xF8, 0xFF, 0x2F, 0x4D, 0x54))
        | st.integers(0, 255),
    ),
    min_size=1,
    max_size=6,
)
WRAPPED = b"RIFF\x8a\0\0\0RMIDdata\x76\0\0\0" + FORMAT_1


def mutated(data: bytes, mutations: list[tuple[str, int, int]]) -> bytes:
    """Return `data` with each mutation applied in turn, at its place counted round."""
    result = bytearray(data)
    for action, place, byte in mutations:
        at = place % (len(result) + 1)
        if action == "set":
            result[at : at + 1] = bytes((byte,))
        elif action == "flip":
            result[at : at + 1] = bytes(old ^ 1 << byte % 8 for old in result[at : at + 1])
        elif action == "delete":
            del result[at : at + 1 + byte % 8]
        elif action == "insert":
            result[at:at] = bytes((byte,))
        elif action == "cut":
            del result[at:]
        else:
            result[at:at] = result[at : at + byte]
    return bytes(result)


@given(
    st.sampled_from((FORMAT_1, WRAPPED)) | tracks().map(lambda track: header(1) + chunk(b"MTrk", body_of(track))),
    MUTATIONS,
)
def test_mutated_file_is_refused_or_passes_through(data: bytes, mutations: list[tuple[str, int, int]]) -> None:
    """A mutated file raises our own error or comes out byte for byte; a strict reading takes only what is sound."""
    data = mutated(data, mutations)
    try:
        found = damage(read(data))
    except MidiFileError as error:
        refused_at: int | None = error.offset
    else:
        refused_at = None
        assert set(passed_through(data)) == {data}
        assert all(0 <= problem.offset <= len(data) for problem in found)
    try:
        strict_found = damage(read(data, strict=True))
    except MidiFileError as error:
        strict_refused_at: int | None = error.offset
    else:
        strict_refused_at = None
        assert strict_found == ()
    assert refused_at is None or 0 <= refused_at <= len(data)
    assert (strict_refused_at is None) == (refused_at is None and found == ())


@given(st.binary(max_size=200))
def test_any_bytes_as_a_track(body: bytes) -> None:
    """Any bytes at all, taken for a track, are refused with a place inside them or pass through."""
    data = header(1) + chunk(b"MTrk", body)
    try:
        damage(read(data))
    except MidiFileError as error:
        place = error.offset
    else:
        place = 0
        assert set(passed_through(data)) == {data}
    assert 0 <= place <= len(data)
