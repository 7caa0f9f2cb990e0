"""What a take means for DIN connections, as `check --take` prints it: in words, as a small plot, and as data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any, Final

from router.text import durations
from router.text.formatting import number, plain
from router.text.message_data import message_data
from rules.midi.notation import Naming, format_message

if TYPE_CHECKING:
    from rules.rig.din_load import DinLoad

_COLUMNS: Final = 60
_ROWS: Final = 5
_NS_PER_MS: Final = 1_000_000
_HEARD_NS: Final = 1_000_000
"""A wait below 1 ms isn't worth a plot."""


def din_lines(loads: Sequence[DinLoad], namings: Sequence[Naming]) -> Iterator[str]:
    """Yield the lines for the load of each connection; `namings` say how the file of each names notes."""
    if not loads:
        yield from ("", 'No output is a DIN connection: write connection = "din" on the port that is one.')
    for load, naming in zip(loads, namings, strict=True):
        yield ""
        yield from _words(load, naming)
        if load.worst is not None:
            yield from _plot("load", "%", [100 * each for each in load.loads(_COLUMNS)], load.length)
        if load.worst is not None and load.worst.wait >= _HEARD_NS:
            yield from _plot("late", "ms", [wait / _NS_PER_MS for wait in load.waits(_COLUMNS)], load.length)


def _words(load: DinLoad, naming: Naming) -> Iterator[str]:
    worst = load.worst
    if worst is None:
        yield f"{plain(load.port)} (DIN): the take sends nothing here."
        return
    most, begin = load.busiest
    yield f"{plain(load.port)} (DIN): {number(len(load.messages))} messages, {number(load.size)} bytes"
    yield f"  Busiest second: {100 * most:.0f} % of what it can carry, from {_clock_time(begin)}"
    if not worst.wait:
        yield "  No message is late."
        return
    where = f"bar {load.beat.bar}, beat {load.beat.beat}, at " if load.beat is not None else ""
    yield f"  Worst moment: {where}{_clock_time(worst.at)}"
    yield f"    {plain(format_message(worst.message, naming))} is {worst.wait / _NS_PER_MS:.1f} ms late."


def _plot(title: str, unit: str, values: Sequence[float], length: int) -> Iterator[str]:
    """Yield a plot of columns: the highest value at the top left, times below."""
    top = max(values)
    label = f"{top:.0f} {unit}" if top >= 10 else f"{top:.1f} {unit}"
    width = max(len(label), len(title), 6)
    heights = [-(-value * _ROWS // top) if top else 0 for value in values]
    for row in range(_ROWS, 0, -1):
        left = label if row == _ROWS else title if row == _ROWS - 1 else ""
        columns = "".join("#" if height >= row else " " for height in heights)
        yield f"  {left:>{width}} |{columns}".rstrip()
    yield f"  {'0':>{width}} +{'-' * len(values)}"
    end = _clock_time(length)
    yield f"  {'':>{width}}  0:00{end:>{len(values) - 4}}"


def _clock_time(ns: int) -> str:
    return durations.to_a_millisecond((ns + _NS_PER_MS // 2) // _NS_PER_MS)


def din_data(load: DinLoad, naming: Naming) -> dict[str, Any]:
    """Return the load of a connection for programs."""
    most, begin = load.busiest
    worst = load.worst
    return {
        "port": load.port,
        "messages": len(load.messages),
        "bytes": load.size,
        "busiest_second": {"load": round(most, 4), "seconds": _seconds(begin)},
        "worst": None
        if worst is None
        else {
            **message_data(worst.message, naming),
            "late_ms": worst.wait / _NS_PER_MS,
            "seconds": _seconds(worst.at),
            "bar": load.beat.bar if load.beat is not None else None,
            "beat": load.beat.beat if load.beat is not None else None,
            "track": worst.track + 1,
        },
        "columns": {
            "load": [round(each, 4) for each in load.loads(_COLUMNS)],
            "late_ms": [wait / _NS_PER_MS for wait in load.waits(_COLUMNS)],
        },
    }


def _seconds(ns: int) -> float:
    return round(ns / 1_000_000_000, 6)
