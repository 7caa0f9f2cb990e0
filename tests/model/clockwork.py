"""Our clock, slow and simple: where each clock message is, by adding up the tempos from the beginning (ruling 38)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

MS = 1_000_000
MINUTE = 60_000 * MS

Order = str | float
"""A word, or a tempo (BPM)."""


def tempos(orders: Sequence[tuple[int, Order]], bpm: float) -> list[tuple[int, Fraction]]:
    """From which time (ns) on which tempo (BPM) counts: those that are set, and those that are tapped."""
    found = [(0, Fraction(bpm))]
    taps: list[int] = []
    for time, order in orders:
        if order == "tap":
            if taps and time - taps[-1] < 200 * MS:
                continue
            if taps and (time - taps[-1] > 2_000 * MS or _is_far_off(taps, time)):
                taps = []
            taps = [*taps, time][-8:]
            if len(taps) > 1:
                found.append((time, Fraction(float(MINUTE / Fraction(taps[-1] - taps[0], len(taps) - 1)))))
        elif not isinstance(order, str):
            found.append((time, Fraction(order)))
    return found


def _is_far_off(taps: Sequence[int], time: int) -> bool:
    if len(taps) < 2:
        return False
    beat = Fraction(taps[-1] - taps[0], len(taps) - 1)
    return abs(time - taps[-1] - beat) > beat / 4


def clock_times(changes: Sequence[tuple[int, Fraction]], end: int) -> Iterator[Fraction]:
    """Yield when each clock message is due (ns, exact), up to the end: at each 24th of a quarter note that passes."""
    number = 0
    for at, (begin, bpm) in enumerate(changes):
        until = changes[at + 1][0] if at + 1 < len(changes) else end
        interval = MINUTE / bpm / 24
        passed = sum(
            (Fraction(changes[one + 1][0] - start) * tempo * 24 / MINUTE)
            for one, (start, tempo) in enumerate(changes[:at])
        )
        while (time := begin + (number - passed) * interval) <= until:
            yield time
            number += 1


def _nearest(time: Fraction) -> int:
    """The whole nanosecond at which something goes out."""
    return int(time + Fraction(1, 2))


def sent(
    orders: Sequence[tuple[int, Order]], bpm: float, end: int, other: Sequence[tuple[int, str]] = ()
) -> list[tuple[Fraction, str]]:
    """All that an output hears: clock messages, and what moves the song, in order.

    `other` is what comes from the clock that ours follows. From its first message on ours is silent: this one neither
    stops again, nor does it start or continue a song long before its first clock message.
    """
    alone_until = min([end, *(time for time, words in other if words in ("clock", "start", "continue"))])
    ticks = [tick for tick in clock_times(tempos(orders, bpm), end) if _nearest(tick) <= alone_until]
    found = [(tick, 0, 0, "clock") for tick in ticks]
    found += [(Fraction(time), 0, 0, words) for time, words in other if words == "clock"]
    found += [(Fraction(time), 1, len(orders), words) for time, words in other if words != "clock"]
    for place, (time, order) in enumerate(orders):
        if order not in ("start", "continue", "stop"):
            continue
        as_it_goes = clock_times(tempos(orders[: place + 1], bpm), time + MS) if time < alone_until else ()
        near = [tick for tick in as_it_goes if time < _nearest(tick) < time + MS and order != "stop"]
        following = [Fraction(at) for at, _ in (*orders[place + 1 :], *other) if at > time]
        found.append((min([*near[:1], *following]) if near else Fraction(time), 1, place, str(order)))
    return [(time, words) for time, _, _, words in sorted(found)]
