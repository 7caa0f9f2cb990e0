"""Where the tracks of a file lie, also when chunk lengths are wrong.

A chunk is four bytes of type, a length in four bytes, and as many bytes of content. Unknown types are skipped. Where
lengths and chunks don't fit together, two things tell the truth: a track begins with MTrk, and it ends with the
end-of-track event FF 2F 00. Every search runs once over the file, however many chunks are damaged.

Source: Standard MIDI Files 1.0 (RP-001), "Chunks" and "Track Chunks".
"""

from __future__ import annotations

import re
from bisect import bisect_left
from typing import Final, NamedTuple

from rules.errors import MidiFileError
from rules.program.native import i64, read_i32_be
from rules.smf.damage import DamageLog, counted

TRACK: Final = b"MTrk"
TRACK_NUMBER: Final = int.from_bytes(TRACK)
MOST_TRACKS: Final = 65_535
"""How many tracks a header can count."""
END: Final = b"\xff\x2f\x00"
SEAM: Final = END + TRACK
TAG: Final = re.compile(rb"MT(?:rk|hd)")


class Track(NamedTuple):
    """A track in the data of its file: its chunk header at `start`, its events from `body` up to `end`.

    `cut` says that the file ends before the track's claimed length does.
    """

    start: int
    body: int
    end: int
    cut: bool


class _Finder:
    """Walks the chunks between the header at `begin` and `finish`."""

    def __init__(self, data: bytes, begin: int, finish: int, log: DamageLog) -> None:
        self.data = data
        self.begin = begin
        self.finish = finish
        self.log = log
        tags = [match.start() for match in TAG.finditer(data, begin + 14, finish - 4)]  # with room for a length
        self.tags = [at for at in tags if data[at : at + 4] == TRACK]
        self.files = [at for at in tags if data[at : at + 4] == b"MThd"]
        self.ended_tags = [at for at in self.tags if data[at - 3 : at] == END]

    def tracks(self) -> tuple[Track, ...]:
        found: list[Track] = []
        at = self._after_header()
        while at < self.finish:
            _require_room(found)
            kind = self.data[at : at + 4]
            if not self._is_chunk(at):
                at = self._over_stray_bytes(at)
            elif kind == b"MThd":
                self._note_second_file(at)
                break
            elif kind.lower() == b"mtrk":
                found.append(self._track(at, kind))
                at = found[-1].end
            else:
                at += 8 + self._length(at)
        return tuple(found)

    def _length(self, at: int) -> int:
        return int.from_bytes(self.data[at + 4 : at + 8])

    def _after_header(self) -> int:
        """Return where the header's own length leads, unless a track says otherwise."""
        claimed = self.begin + 8 + self._length(self.begin)
        tag = _first_from(self.tags, self.begin + 14)
        if claimed >= self.finish or not self._is_chunk(claimed):
            if tag is None:
                return min(claimed, self.finish)
            if tag < claimed:
                self.log.note(
                    self.begin + 4,
                    f"the header claims {claimed - self.begin - 8} bytes, but a track begins at byte {tag}",
                )
                return tag
        return claimed

    def _is_chunk(self, at: int) -> bool:
        """Return whether a chunk begins here: a printable type, and a length that fits unless it is a track or file."""
        kind = self.data[at : at + 4]
        if self.finish - at < 8:
            return False
        if kind in (TRACK, b"MThd"):
            return True
        if not all(0x20 <= byte < 0x7F for byte in kind):
            return False
        return kind.lower() == b"mtrk" or at + 8 + self._length(at) <= self.finish

    def _over_stray_bytes(self, at: int) -> int:
        """Step from bytes that are no chunk to the next track or second file, or to the end."""
        places = [place for place in (_first_from(self.tags, at), _first_from(self.files, at)) if place is not None]
        if not places:
            return self.finish
        self.log.note(at, f"{counted(min(places) - at, 'byte')} outside any chunk, kept unread")
        return min(places)

    def _note_second_file(self, at: int) -> None:
        self.log.note(
            at, f"a second MIDI file of {self.finish - at} bytes begins here; it is kept, but no rule reaches it"
        )

    def _track(self, at: int, kind: bytes) -> Track:
        if kind != TRACK:
            self.log.note(at, f"chunk type {kind.decode('ascii')} is read as MTrk")
        body = at + 8
        claimed = body + self._length(at)
        end = self._end_of_track(body, claimed)
        cut = claimed > self.finish and end == self.finish
        if cut:
            self.log.note(
                at + 4, f"the track claims {counted(claimed - body, 'byte')}, but the file ends after {end - body}"
            )
        elif end != claimed:
            self.log.note(at + 4, f"the track claims {counted(claimed - body, 'byte')}, but it ends after {end - body}")
        return Track(at, body, end, cut)

    def _end_of_track(self, body: int, claimed: int) -> int:
        """Return where the track really ends: its claimed end, unless the bytes themselves contradict it."""
        data, finish = self.data, self.finish
        following = _first_from(self.ended_tags, body)
        if following is not None and following < claimed:
            return following  # the length reaches into the next track
        if claimed > finish:
            following = _first_from(self.tags, body)
            return finish if following is None else following
        if claimed == finish or self._is_chunk(claimed) or data[max(body, claimed - 3) : claimed] == END:
            return claimed
        following = _first_from(self.tags, claimed)
        late = data.find(END, max(body, claimed - 2), finish if following is None else following)
        return claimed if late < 0 else late + len(END)


def find_tracks(data: bytes, begin: int, finish: int, log: DamageLog) -> tuple[Track, ...]:
    """Return the tracks of the file whose header lies at `begin` and whose bytes end at `finish`, in order.

    What is damaged is noted in `log`, which raises MidiFileError if it is strict. Raises MidiFileError for more tracks
    than a header can count.
    """
    return _undamaged(data, begin, finish) or _Finder(data, begin, finish, log).tracks()


def _undamaged(data: bytes, begin: i64, finish: i64) -> tuple[Track, ...]:
    """The tracks of a file that is one track behind the other up to its end, as nearly all are; none for any other.

    Where one track seems to end and the next to begin, one does: no length has swallowed a track.
    """
    found: list[Track] = []
    at: i64 = begin + 8 + i64(read_i32_be(data, begin + 4))
    while begin < at and at + 8 <= finish:
        body = at + 8
        end: i64 = body + i64(read_i32_be(data, at + 4))
        if read_i32_be(data, at) != TRACK_NUMBER or end < body + 3 or end > finish or data[end - 3 : end] != END:
            return ()
        found.append(Track(at, body, end, False))
        _require_room(found)
        at = end
    return tuple(found) if at == finish and _count_seams(data, begin + 14, finish) == len(found) - 1 else ()


def _count_seams(data: bytes, at: i64, finish: i64) -> i64:
    """Return how often a track seems to end and the next to begin; bytes FF are rare, the way to the next one short."""
    found: i64 = 0
    at = data.find(b"\xff", at, finish)
    while at >= 0:
        if at + 7 <= finish and data[at + 1] == 0x2F and data.startswith(SEAM, at):
            found += 1
        at = data.find(b"\xff", at + 1, finish)
    return found


def _require_room(found: list[Track]) -> None:
    """Raise MidiFileError at the first track that is one too many."""
    if len(found) > MOST_TRACKS:
        raise MidiFileError(found[-1].start, f"the file has more than {MOST_TRACKS:,} tracks: split it")


def _first_from(places: list[int], at: int) -> int | None:
    index = bisect_left(places, at)
    return places[index] if index < len(places) else None
