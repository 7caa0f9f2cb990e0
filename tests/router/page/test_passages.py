"""The last messages that took a way through the rules, and why."""

from __future__ import annotations

from router.page.passages import Asked, passages
from rules.journal.format import RECORDED, TRIMMED, WALL, pack, wall_data
from tests.support.journalled_session import MS, Performance

ON, OFF = bytes((0x90, 60, 100)), bytes((0x80, 60, 10))


def played(*messages: tuple[int, bytes]) -> bytes:
    """A journal in which these players have sent these messages, a second apart."""
    performance = Performance()
    performance.log.append((WALL, 0, 0, wall_data(1_700_000_000.0)))
    for number, (player, message) in enumerate(messages):
        performance.now = (number + 1) * 1_000 * MS
        performance.arrive(player, message)
    return b"".join(map(pack, performance.log))


def arrived(journal: bytes, asked: Asked) -> list[str]:
    """What had arrived."""
    return [one["arrived"] for one in passages(journal, asked)]


JOURNAL = played((0, ON), (1, b"\x91\x40\x50"), (0, OFF))


def test_a_line_from_a_port_shows_what_came_from_there() -> None:
    """The newest first."""
    assert arrived(JOURNAL, Asked(source="seq")) == ["from seq: note-on 2 E4 80"]
    assert arrived(JOURNAL, Asked(source="keys")) == ["from keys: note-off 1 C4 10", "from keys: note-on 1 C4 100"]


def test_a_line_to_a_port_or_device_shows_what_went_there() -> None:
    """By the rule that leads there."""
    assert arrived(JOURNAL, Asked(target="box")) == ["from keys: note-on 1 C4 100"]
    assert arrived(JOURNAL, Asked(target="organ")) == ["from keys: note-on 1 C4 100"]
    assert arrived(JOURNAL, Asked(target="rack", source="seq")) == ["from seq: note-on 2 E4 80"]
    assert arrived(JOURNAL, Asked(target="nowhere")) == []


def test_a_rule_shows_what_it_took() -> None:
    """With the steps of that rule alone."""
    (one,) = passages(JOURNAL, Asked(rule="late"))
    assert one["arrived"] == "from seq: note-on 2 E4 80"
    assert one["why"][0] == 'rule "late": matches'
    assert not any('"keys"' in line for line in one["why"])
    assert passages(JOURNAL, Asked(rule="no such rule")) == []


def test_each_says_when_it_came_and_what_went_out_at_once() -> None:
    """In seconds since 1970."""
    one = passages(JOURNAL, Asked(source="keys"))[-1]
    assert one["at"] == 1_700_000_001.0
    assert one["sent"] == ["to rack: note-on 4 C4 100", "to box: note-on 1 C4 100"]


def test_no_more_than_ten_are_told() -> None:
    """The last ones."""
    journal = played(*[(0, bytes((0x90 if number % 2 == 0 else 0x80, 40 + number, 64))) for number in range(24)])
    found = passages(journal, Asked(source="keys"))
    assert [one["at"] - 1_700_000_000 for one in found] == [*range(24, 14, -1)]


def test_values_in_a_row_are_one() -> None:
    """And it says how many they were."""
    journal = played(*[(0, bytes((0xB0, 7, number))) for number in range(5)])
    assert arrived(journal, Asked(source="keys")) == ["from keys: controller 1 volume 4 (the last of 5)"]


def test_an_empty_journal_tells_nothing() -> None:
    """A daemon that has just begun, before its rules are in force."""
    for journal in (b"", pack((RECORDED, 5, 0, TRIMMED))):
        assert passages(journal, Asked(source="keys")) == []
