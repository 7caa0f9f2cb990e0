"""Random switches, and the triggers by which a player turns them, moves our clock, and goes from song to song."""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import strategies as st

from tests.support.value_strategies import Draw, Table, one_of, rarely

LONGS = (200, 230)
"""How long a press may have to last, in milliseconds."""

BPMS = (60, 97.3, 120, 125, 240)
"""Tempos of our clock: with these, its messages come at whole milliseconds, or at odd times."""


@st.composite
def triggers(draw: Draw, sources: Sequence[str], with_kinds: bool = True) -> Table:
    """A note, pedal, program or transport message that turns something."""
    found: Table = {"from": draw(st.sampled_from(sources))}
    forms: list[Table] = [{"note": 48}, {"note": 60}, {"controller": 64}, {"controller": 67}, {"controller": 20}]
    forms += [{"program": 1}, {"kind": "start"}] if with_kinds else []
    found |= draw(st.sampled_from(forms))
    if "kind" not in found and rarely(draw, 3):
        found["channel"] = draw(one_of(1, [1, 2]))
    if rarely(draw, 3):
        found["pass_on"] = True
    if found.keys() & {"note", "controller"} and rarely(draw, 3):
        found["long"] = draw(one_of(*LONGS))
    return found


@st.composite
def switches(draw: Draw, sources: Sequence[str]) -> dict[str, Table]:
    """Up to three switches, one of each kind."""
    found: dict[str, Table] = {}
    if draw(st.booleans()):
        mode = draw(one_of("momentary", "toggle"))
        found["up"] = draw(triggers(sources, with_kinds=mode == "toggle")) | {"mode": mode}
        if mode == "toggle" and draw(st.booleans()):
            found["up"]["initial"] = True
    if draw(st.booleans()):
        song: Table = {"values": draw(one_of(["verse", "chorus"], ["verse", "chorus", "last one"]))}
        song["set"] = [draw(triggers(sources)) | {"value": draw(one_of("verse", "chorus"))}]
        song["advance"] = [
            draw(triggers(sources)) | {"by": draw(one_of(1, -1, 2))} for _ in range(draw(st.integers(0, 1)))
        ]
        if rarely(draw, 3):
            song["wrap"] = False
        found["song"] = song
    if draw(st.booleans()):
        key: Table = {"numbers": draw(one_of("-2..2", "0..1"))}
        key["advance"] = [draw(triggers(sources)) | {"by": draw(one_of(1, -1, 3))}]
        key["set"] = [draw(triggers(sources)) | {"value": draw(one_of(0, 1))} for _ in range(draw(st.integers(0, 1)))]
        if rarely(draw, 3):
            key["wrap"] = True
        found["key"] = key
    return found


@st.composite
def clock_tables(draw: Draw, sources: Sequence[str]) -> Table:
    """A `[clock]`, perhaps one that follows another clock, and what moves it."""
    found: Table = {}
    if draw(st.booleans()):
        found["bpm"] = draw(one_of(*BPMS))
    form = draw(one_of("follows", "goes on", "goes on", "by itself"))
    if form != "by itself":
        found["follow"] = draw(st.sampled_from(sources))
    if form == "goes on":
        found["go_on"] = True
    for order in ("start", "continue", "stop", "tap"):
        if rarely(draw, 3):
            found[order] = [draw(triggers(sources)) for _ in range(draw(st.integers(1, 2)))]
    return found


@st.composite
def set_lists(draw: Draw, sources: Sequence[str]) -> Table:
    """A `[set_list]`: often next and previous are one pedal, pressed short or long."""
    found: Table = {}
    if draw(st.booleans()):
        pedal: Table = {"from": draw(st.sampled_from(sources)), **draw(one_of({"controller": 67}, {"note": 48}))}
        found = {"next": pedal, "previous": pedal | {"long": draw(one_of(*LONGS))}}
    else:
        for where in ("next", "previous"):
            if draw(st.booleans()):
                found[where] = [draw(triggers(sources))]
    if draw(st.booleans()):
        found["wrap"] = True
    return found
