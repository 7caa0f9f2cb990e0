"""The last lines of the log, for those who watch."""

from __future__ import annotations

from router.daemon.recent_lines import RecentLines
from router.files.clock import Clock


def test_a_line_goes_on_to_the_log_and_is_remembered() -> None:
    """With the time of day."""
    logged: list[str] = []
    lines = RecentLines(logged.append, Clock(wall_s=lambda: 1.7e9))
    lines.say("playing")
    assert logged == ["playing"]
    assert lines.after(None) == [(1.7e9, "playing")]


def test_each_line_is_told_once() -> None:
    """Also where the same words are said again."""
    lines = RecentLines(lambda text: None)
    lines.say("again")
    (first,) = lines.after(None)
    lines.say("again")
    assert [line.text for line in lines.after(first)] == ["again"]
    assert lines.after(lines.after(first)[-1]) == []


def test_no_more_than_200_lines_are_remembered() -> None:
    """Of a longer absence the last ones are told; a line without an end is cut."""
    lines = RecentLines(lambda text: None)
    lines.say("x" * 5_000)
    (first,) = lines.after(None)
    assert len(first.text) == 1_000
    for number in range(300):
        lines.say(str(number))
    assert [line.text for line in lines.after(first)] == [str(number) for number in range(100, 300)]
