"""Random live sessions: all that can happen in one, with clocks of others that come and go."""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import strategies as st

from tests.support.performance_strategies import TEMPOS, messages, settings_of
from tests.support.value_strategies import Draw, Table, one_of


@st.composite
def sessions(draw: Draw, files: Sequence[Table], most: int = 200) -> list[str]:
    """Lines for `tests.support.live_stages`, in time: clocks that speed up, stop and take over from each other, too."""
    first = files[0]
    sources = [name for name, port in first["ports"].items() if "input" in port]
    players = [*sources, *draw(one_of([], [], [f"{sources[0]}+take"]))]
    staying = [port for port in first["ports"] if all("output" in file["ports"].get(port, {}) for file in files)]
    switches = first["switches"] | ({"song": {}} if "songs" in first else {})
    reloads, now = len(files) - 1, 0
    lines: list[tuple[int, str]] = []
    for _ in range(draw(st.integers(1, most))):
        now += draw(one_of(0, 0, 1, 3, 7, 25, 60))
        match draw(st.integers(0, 39)):
            case 39 if reloads:
                reloads -= 1
                lines.append((now, "reload"))
            case 38:
                others = ["panic", "panic every key", *(f"return {port}" for port in staying)]
                lines.append((now, draw(st.sampled_from(others))))
            case 37:
                lines.append((now, f"pull {draw(st.sampled_from(players))}"))
            case 36 if switches:
                lines.append((now, f"turn {draw(settings_of(switches))}"))
            case 35:
                lines.append((now, f"tempo {draw(st.sampled_from(TEMPOS))}"))
            case 34:
                lines.append((now, f"clock {draw(one_of('start', 'start', 'continue', 'stop', 'tap'))}"))
            case _:
                lines.append((now, f"{draw(st.sampled_from(players))} {draw(messages())}"))
    followed = [file["clock"]["follow"] for file in files if "follow" in file.get("clock", {})]
    for source in players:
        if source in followed or draw(st.booleans()):
            lines += [(at, f"{source} {message}") for at, message in draw(_clocks(now))]
    if draw(st.booleans()):
        lines += [(at, "clock tap") for at in draw(_taps(now))]
    in_time = sorted(lines, key=lambda line: line[0])
    return [f"at {at} {words}" for at, words in in_time] + [f"at {max(now, in_time[-1][0]) + 1} leave"]


@st.composite
def _clocks(draw: Draw, end: int) -> list[tuple[int, str]]:
    """The clock of one source: stretches at a pace of their own, some apart so that the clock has stopped.

    Some have a song that starts with them and stops at their end, some come late all at once.
    """
    found: list[tuple[int, str]] = []
    at = draw(one_of(0, 5, 100))
    for _ in range(draw(st.integers(1, 5))):
        pace, blur, many = draw(one_of(5, 12, 20, 21, 40)), draw(one_of(0, 0, 1, 10)), draw(one_of(2, 7, 13, 30, 60))
        before = draw(one_of([], [], ["start"], ["continue"], ["song-position 5", "continue"]))
        found += [(at, message) for message in before]
        at += draw(one_of(0, 1, 30)) if before else 0
        for number in range(many):
            found.append((at + (blur if number % 3 == 1 else 0), "clock"))
            at += pace
        found += [(at, message) for message in draw(one_of([], [], [], ["stop"]))]
        gap = draw(one_of(0, 0, 30, 90, 200, 600))
        at += gap
        if gap and draw(st.booleans()):
            found += [(at, "clock")] * min(12, gap // pace)
    return [(time, message) for time, message in found if time <= end]


@st.composite
def _taps(draw: Draw, end: int) -> list[int]:
    """A few taps, more or less in time."""
    at, beat = draw(one_of(0, 50, 300)), draw(one_of(210, 333, 500))
    found = []
    for _ in range(draw(st.integers(2, 8))):
        found.append(at)
        at += beat + draw(one_of(0, 0, 0, -15, 20, 200))
    return [time for time in found if time <= end]
