"""The history of the daemon: the last minutes, within its bounds, and what still counts of the time before."""

import random
import tracemalloc

from hypothesis import given
from hypothesis import strategies as st

from router.recording.ring_buffer import RingBuffer
from rules.journal.format import IN, NAMES, OUT, RULES, Record, pack, unpack

ON, OFF = bytes((0x90, 60, 100)), bytes((0x80, 60, 64))


def ring_of(limit_ns: int, limit_bytes: int, *chunks: list[Record]) -> RingBuffer:
    """A ring that was given these records, a chunk a list."""
    ring = RingBuffer(limit_ns, limit_bytes)
    for chunk in chunks:
        lasting = tuple(record for record in chunk if record[0] in (RULES, NAMES))
        ring.add(b"".join(map(pack, chunk)), chunk[-1][1], lasting)
    return ring


def test_what_is_young_is_kept_as_it_came() -> None:
    """Within its bounds a ring forgets nothing."""
    chunks: list[list[Record]] = [[(RULES, 0, 0, b"r"), (IN, 1, 0, ON)], [(OUT, 2, 0, ON)]]
    assert list(unpack(ring_of(10, 1000, *chunks).everything())) == [*chunks[0], *chunks[1]]


def test_what_is_old_goes_but_rules_and_held_notes_stay() -> None:
    """The note that nobody let go can be told an hour later."""
    ring = ring_of(10, 1000, [(RULES, 0, 0, b"r"), (IN, 1, 0, ON), (OUT, 1, 0, ON)], [(IN, 50, 1, OFF)])
    assert list(unpack(ring.everything())) == [(IN, 1, 0, ON), (RULES, 0, 0, b"r"), (IN, 50, 1, OFF)]


def test_silence_makes_it_forget_too() -> None:
    """Old is old, also when nothing new comes."""
    ring = ring_of(10, 1000, [(OUT, 1, 0, ON)])
    ring.trim(100)
    assert ring.everything() == b""
    assert ring.size == 0


def test_what_is_as_old_as_may_be_stays() -> None:
    """A moment later it goes; how far the ring reaches back is counted from the oldest chunk's end."""
    ring = ring_of(10, 1000, [(OUT, 1, 0, ON)], [(OUT, 4, 0, OFF)])
    ring.trim(11)
    assert (len(list(unpack(ring.everything()))), ring.span_ns(11)) == (2, 10)
    ring.trim(12)
    assert (list(unpack(ring.everything())), ring.span_ns(12)) == ([(OUT, 4, 0, OFF)], 8)
    ring.trim(100)
    assert ring.span_ns(100) == 0


def test_a_ring_may_be_filled_to_its_bound() -> None:
    """With one byte less the oldest goes, and what is left is counted anew."""
    chunks: list[list[Record]] = [[(RULES, 0, 0, b"r"), (OUT, 0, 0, ON)], [(OUT, 1, 0, OFF)]]
    size = ring_of(10, 1000, *chunks).size
    last = ring_of(10, 1000, chunks[1]).size
    full, short = ring_of(10, size, *chunks), ring_of(10, size - 1, *chunks)
    assert list(unpack(full.everything())) == [*chunks[0], *chunks[1]]
    assert list(unpack(short.everything())) == [chunks[0][0], *chunks[1]]
    assert (full.size, short.size) == (size, last)


def test_a_part_that_begins_where_a_chunk_ends_has_that_chunk() -> None:
    """A record of that very moment may be in it."""
    ring = ring_of(100, 1000, [(OUT, 5, 0, ON)], [(OUT, 9, 0, OFF)])
    assert list(unpack(ring.since(5))) == [(OUT, 5, 0, ON), (OUT, 9, 0, OFF)]
    assert list(unpack(ring.since(6))) == [(OUT, 9, 0, OFF)]
    assert ring.since(10) == b""


def test_a_part_begins_with_the_rules_of_its_time() -> None:
    """The rules that were in force when it began, though later ones are known."""
    ring = ring_of(
        100,
        1000,
        [(RULES, 0, 0, b"a")],
        [(RULES, 5, 0, b"b"), (OUT, 5, 0, ON)],
        [(IN, 9, 0, ON)],
        [(RULES, 12, 0, b"c")],
    )
    assert list(unpack(ring.since(8))) == [(RULES, 5, 0, b"b"), (IN, 9, 0, ON), (RULES, 12, 0, b"c")]


@given(st.lists(st.binary(min_size=3, max_size=60), max_size=40), st.integers(0, 1000))
def test_memory_is_bounded(messages: list[bytes], limit: int) -> None:
    """Whatever comes, the ring is never larger than allowed."""
    ring = RingBuffer(10**9, limit)
    for time, data in enumerate(messages):
        ring.add(pack((OUT, time, 0, data)), time)
        assert ring.size <= limit


def test_rules_that_are_saved_again_and_again_stay_within_the_bounds() -> None:
    """A large rule file counts with all that is kept of it, also of the rules that came after it."""

    def filled() -> RingBuffer:
        ring = RingBuffer(1_000, 40_000)
        for moment in range(200):
            rules: Record = (RULES, moment, 0, random.Random(moment).randbytes(5_000))
            ring.add(pack(rules), moment, (rules,))
        return ring

    tracemalloc.start()
    try:
        ring = filled()
        memory, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert ring.size <= 40_000
    assert memory < 60_000
