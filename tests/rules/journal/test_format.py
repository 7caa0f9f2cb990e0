"""The journal as bytes: every record comes back, and a torn end costs only the record that it tore."""

from bisect import bisect_right
from itertools import accumulate

import pytest
from hypothesis import given
from hypothesis import strategies as st

import rules.journal.format as journal
from rules.journal.format import IN, OUT, RECORD_KINDS, Names, Record, pack, unpack

DATA = st.binary(max_size=20) | st.integers(250, 600).map(lambda size: bytes(range(256)) * 3)
RECORDS = st.lists(
    st.tuples(st.sampled_from(sorted(RECORD_KINDS)), st.integers(0, 2**64 - 1), st.integers(0, 65535), DATA),
    max_size=12,
)


@given(RECORDS)
def test_every_record_comes_back(records: list[Record]) -> None:
    """What was packed is unpacked, in order, and nothing is left over."""
    data = b"".join(map(pack, records))
    assert list(unpack(data)) == records


@given(RECORDS, st.data())
def test_a_torn_journal_gives_all_records_before_the_tear(records: list[Record], data: st.DataObject) -> None:
    """A kill in the midst of a write costs the record in the making, and nothing else."""
    ends = list(accumulate((len(pack(record)) for record in records), initial=0))
    cut = data.draw(st.integers(0, ends[-1]))
    torn = b"".join(map(pack, records))[:cut]
    whole = bisect_right(ends, cut) - 1
    assert list(unpack(torn)) == records[:whole]


@given(RECORDS, st.integers(1, 4096))
def test_zeros_at_the_end_are_no_records(records: list[Record], zeros: int) -> None:
    """A power cut may leave a file longer than what was written, and filled with zeros."""
    data = b"".join(map(pack, records))
    assert list(unpack(data + bytes(zeros))) == records


@given(RECORDS)
def test_reading_may_begin_behind_the_head_of_a_file(records: list[Record]) -> None:
    """The head of a file is stepped over by saying where to begin."""
    data = journal.HEAD + b"".join(map(pack, records))
    assert list(unpack(data, len(journal.HEAD))) == records


@pytest.mark.parametrize(
    "record", [(0, 0, 0, b""), (99, 0, 0, b""), (IN, -1, 0, b""), (IN, 2**64, 0, b""), (OUT, 0, 65536, b"")]
)
def test_what_a_journal_cannot_hold_is_refused(record: Record) -> None:
    """A record outside its ranges is an error at once, not a puzzle for the reader."""
    with pytest.raises(ValueError, match="outside"):
        pack(record)


@given(st.lists(st.tuples(st.text(max_size=9), st.binary(max_size=200))).map(tuple))
def test_rule_files_come_back_byte_for_byte(texts: tuple[tuple[str, bytes], ...]) -> None:
    """Rule files are kept as bytes, whatever their encoding."""
    assert journal.rules_in(journal.rules_data(texts)) == texts


def test_numbers_have_names() -> None:
    """Players and ports are called as in the rule file; a number that isn't told still has a name."""
    names = journal.names_in(journal.names_data(Names(("keys", "pads"), ("rack",))))
    assert (names.player(1), names.port(0)) == ("pads", "rack")
    assert (names.player(2), names.port(1)) == ("input 3", "output 2")


def test_players_that_are_takes_are_known() -> None:
    """They have the name of the input that they play as; a journal without any is written as before."""
    told = Names(("keys", "pads", "keys"), ("rack",), frozenset({2}))
    assert journal.names_in(journal.names_data(told)) == told
    assert b"takes" not in journal.names_data(Names(("keys",), ("rack",)))


@given(st.floats(0, 4e9))
def test_the_time_on_the_wall_comes_back(seconds: float) -> None:
    """To the fraction of a second."""
    assert journal.wall_in(journal.wall_data(seconds)) == seconds


def test_kinds_keep_their_numbers() -> None:
    """Journals and reports of earlier versions stay readable: a new kind gets a new number."""
    names = ["RULES", "NAMES", "IN", "OUT", "LOST", "BACK", "TURN", "PANIC", "LEFT", "WALL"]
    names += ["STATE", "RECORDED", "RENAMED", "TAKE", "ORDER", "SKIPPED", "TEMPO"]
    assert [getattr(journal, name) for name in names] == list(range(1, 18))
    assert sorted(RECORD_KINDS) == list(range(1, 18))


@pytest.mark.parametrize("order", ["start", "tap", 96.5])
def test_orders_to_our_clock_come_back(order: str | float) -> None:
    """A word, or a tempo."""
    assert journal.order_in(journal.order_data(order)) == order


def test_what_our_clock_left_out_and_its_tempo_come_back() -> None:
    """To the nanosecond, and to the fraction of a beat a minute."""
    assert journal.skipped_in(journal.skipped_data(1 << 60)) == 1 << 60
    assert journal.tempo_in(journal.tempo_data(119.75, is_running=True)) == (119.75, True)
