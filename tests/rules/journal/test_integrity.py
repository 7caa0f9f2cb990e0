"""Which part of a journal can be trusted: all but a torn end, or up to the first byte that is damaged."""

from itertools import accumulate

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.journal import format as journal
from rules.journal.format import BACK, IN, LEFT, NAMES, OUT, RECORDED, RULES, TURN, Record, pack
from rules.journal.integrity import LONGEST_PAUSE, LONGEST_RECORDING, intact_part
from tests.support.journal_samples import MS, NAMED, OFF, ON, packed

LONG_SYSEX = b"\xf0" + bytes(range(128)) * 3 + b"\xf7"
RECORDS: tuple[Record, ...] = (
    (RULES, 0, 0, journal.rules_data((("pit.toml", b"clock.bpm = 90\n"),))),
    NAMED,
    (IN, 90_000 * MS, 0, ON),
    (OUT, 89_999 * MS, 0, ON),
    (IN, 90_000 * MS, 0, LONG_SYSEX),
    (BACK, 90_000 * MS, 0, "Bühne".encode()),
    (TURN, 90_000 * MS, 0, journal.turn_data("up", True)),
    (IN, 90_100 * MS, 0, OFF),
    (RECORDED, 90_200 * MS, 0, b""),
    (LEFT, 90_300 * MS, 0, b""),
)
WHOLE = packed(*RECORDS)
ENDS = list(accumulate((len(pack(record)) for record in RECORDS), initial=0))


@given(st.integers(0, len(WHOLE)), st.sampled_from((0, 1, 30)))
def test_a_torn_end_is_no_damage(cut: int, zeros: int) -> None:
    """A kill, or a power cut that leaves zeros, at any byte."""
    end, damage = intact_part(WHOLE[:cut] + bytes(zeros))
    assert damage == ""
    assert end >= max(whole for whole in ENDS if whole <= cut)


@pytest.mark.parametrize(
    ("record", "damage"),
    [
        ((IN, 1 << 62, 0, ON), "a time more than a day away from the one before it"),
        ((OUT, 90_200 * MS + LONGEST_PAUSE + 1, 0, ON), "a time more than a day away from the one before it"),
        ((IN, 90_000 * MS, 0, ON), "a message came before the one that it follows"),
        ((IN, 90_100 * MS, 0, b"\x90\x3c"), "a message with status 90 has 3 bytes, not 2"),
        ((OUT, 90_100 * MS, 0, b"\x90\x3c\x80"), "data bytes are 00-7F"),
        ((NAMES, 0, 0, b'{"players": [1], "ports": []}'), "text that can't be read"),
        ((NAMES, 0, 0, b'{"players": ["\\ud800"], "ports": []}'), "text that can't be read"),
        ((RULES, 0, 0, b"[" * 100_000), "text that can't be read"),
        ((BACK, 0, 0, b"\xff"), "text that can't be read"),
        ((LEFT, 90_300 * MS, 0, b"what?"), "data where there is none"),
    ],
)
def test_what_cannot_be_is_damage(record: Record, damage: str) -> None:
    """All that lies before it can be trusted, and its byte is told."""
    assert intact_part(packed(*RECORDS[:-2], record, *RECORDS[-2:])) == (ENDS[-3], damage)


def test_a_kind_that_there_is_not_is_damage() -> None:
    """Not the end of the journal, as zeros are."""
    data = bytearray(WHOLE)
    data[ENDS[3]] = 77
    assert intact_part(bytes(data)) == (ENDS[3], "a record of kind 77, which there isn't")


@pytest.mark.parametrize("number", [1, 2, 4, 5, 6, 8])
def test_a_length_that_takes_the_rest_for_its_data_is_damage(number: int) -> None:
    """Else what follows would be lost without a word."""
    _, time, player, data = RECORDS[number]
    damaged = pack((RECORDS[number][0], time, player, data + bytes(1 << 12)))[: -(1 << 12)]
    found = intact_part(packed(*RECORDS[:number]) + damaged + packed(*RECORDS[number + 1 :]))
    assert found == (ENDS[number], "a length that can't be right")


def test_a_recording_may_be_long_and_its_rules_older() -> None:
    """The daemon has run for a year, and plays for three weeks with a day's pause now and then."""
    year = 365 * LONGEST_PAUSE
    times = range(year, year + LONGEST_RECORDING + 1, LONGEST_PAUSE)
    records = [*RECORDS[:2], *((IN, time, 0, ON) for time in times)]
    assert intact_part(packed(*records)).damage == ""
    longer = [*records, (IN, times[-1] + LONGEST_PAUSE, 0, ON)]
    assert intact_part(packed(*longer)).damage == "a time more than 30 days away from the first one"
