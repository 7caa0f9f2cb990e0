"""Random steps, and the conditions that they and rules ask for."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from hypothesis import strategies as st

from tests.support.value_strategies import CONTROLLERS, Draw, Rig, Table, one_of, rarely


@st.composite
def conditions(draw: Draw, for_drop: bool = False) -> Table:
    """One table of `match`, `keep`, `drop` or a zone."""
    found: Table = {}
    form = draw(one_of("notes", "velocity", "kind", "controller", "value", "bend", "program", "channel", "both"))
    if form in ("notes", "both"):
        found["notes"] = draw(one_of("..61", "62..", "60", 64, "..59", "60..72"))
    if form in ("velocity", "both"):
        found["velocity"] = draw(one_of("64..", "..63", "100", "1..30"))
    if form == "kind":
        kinds = [
            "note",
            "note-on",
            "controller",
            "channel-mode",
            "pitch-bend",
            "channel-pressure",
            "key-pressure",
            "program",
            "sysex",
        ]
        found["kind"] = draw(
            st.one_of(st.sampled_from(kinds), st.lists(st.sampled_from(kinds), min_size=1, max_size=3))
        )
    if form == "controller":
        found["controller"] = draw(st.one_of(st.sampled_from(CONTROLLERS), one_of("0..32", "64..69", "120..")))
        if rarely(draw):
            found["value"] = draw(one_of("64..", "..63", 0))
    if form == "value":
        found["value"] = draw(one_of("64..", "..63", 0, "1.."))
    if form == "bend":
        found |= {"kind": "pitch-bend", "value": draw(one_of("0..", "..-1", 0, "-8192..100"))}
    if form == "program":
        found["program"] = draw(one_of(1, 2, "2.."))
    has_channel = found.get("kind") != "sysex" and "sysex" not in found.get("kind", ())
    if form == "channel" or (has_channel and rarely(draw)):
        found["channel"] = draw(one_of(1, 2, "1..2", [1, 3]))
    if form in ("notes", "velocity") and rarely(draw):
        found["kind"] = "note"
    return found


def some_conditions() -> st.SearchStrategy[Any]:
    """One table or a list of two."""
    return st.one_of(conditions(), st.lists(conditions(), min_size=1, max_size=2))


@st.composite
def whens(draw: Draw, rig: Rig) -> str:
    """A condition on the switches that there are."""
    terms = {
        "up": ["up", "not up"],
        "song": ["song = verse", "not song = verse", "song = chorus"],
        "key": ["key = 1", "key = 0..", "not key = ..0"],
    }
    choices = [term for name in rig.switches for term in terms[name]]
    first = draw(st.sampled_from(choices))
    if not rarely(draw, 3):
        return str(first)
    return f"{first} {draw(one_of('and', 'or'))} {draw(st.sampled_from(choices))}"


@st.composite
def steps(draw: Draw, rig: Rig, place: str) -> Table:
    """One entry of `steps` for a place: `port`, `rule`, `zone` or `device`."""
    names = ["transpose", "transpose", "filter", "filter", "velocity", "map", "map", "rechannel"]
    names += ["echo", "chord"] if place != "port" else []
    names += ["delay", "thin", "length", "latch", "snap"]
    if rig.takes_time:
        names += ["delay", "length", "latch", "snap"] * 3 + (["echo", "chord"] * 3 if place != "port" else [])
    names += ["send", "send"] if place in ("rule", "zone") else []
    if place == "device":
        names = [name for name in names if name != "rechannel"]
    name = draw(st.sampled_from(names))
    step = {name: draw(_STEPS[name](rig))}
    if rig.switches and rarely(draw, 3):
        step["when"] = draw(whens(rig))
    return step


@st.composite
def transposes(draw: Draw, rig: Rig) -> Any:
    """Semitones or a switch, with or without `outside`."""
    by = draw(one_of(12, -12, 1, 2, 60, -50, 127))
    if rig.numbers and draw(st.booleans()):
        by = draw(st.sampled_from(rig.numbers))
    if draw(st.booleans()):
        return by
    long: Table = {"by": by, "outside": draw(one_of("drop", "octave"))}
    return long | ({"except_channels": draw(one_of(1, [2, 3]))} if rarely(draw) else {})


@st.composite
def filters(draw: Draw, rig: Rig) -> Any:
    """Keep, drop, or both."""
    form = draw(one_of("drop", "keep", "both"))
    return {key: draw(some_conditions()) for key in ("keep", "drop") if form in (key, "both")}


@st.composite
def velocities(draw: Draw, rig: Rig) -> Any:
    """Each shape, some with a channel or with release."""
    shape = draw(
        one_of(
            {"points": [[1, 20], [64, 80], [127, 120]]},
            {"quieter": 0.5},
            {"louder": 1},
            {"percent": 50},
            {"percent": 150, "add": -10},
            {"add": 40},
            {"fixed": 90},
            {"limit": "30..100"},
            {"scale_to": "20..127"},
        )
    )
    extra: Table = {"channel": draw(one_of(1, [2, 3]))} if rarely(draw) else {}
    return shape | extra | ({"release": True} if draw(st.booleans()) else {})


@st.composite
def maps(draw: Draw, rig: Rig) -> Any:
    """Tables, and values from one end to another."""
    form = draw(one_of("notes", "controllers", "programs", "ends", "ends", "ends"))
    others = draw(one_of("pass", "drop"))
    if form == "notes":
        return {"notes": draw(one_of({"60": 62, "62": 60}, {"60": 64, "72": 64}, {"48": 36})), "others": others}
    if form == "controllers":
        table = draw(one_of({"64": 66}, {"7": 1, "1": 7}, {"20": 64}, {"0": 7}, {"20": 6}, {"64": 20}))
        return {"controllers": table, "others": others}
    if form == "programs":
        return {"programs": {"1": 2}, "others": others}
    sources = [
        "controller 64",
        "controller 1",
        "controller 7",
        "controller 20",
        "pitch-bend",
        "channel-pressure",
        "note",
    ]
    sources += ["note 60", "key-pressure", "key-pressure 60", "program"]
    source = draw(st.sampled_from(sources))
    targets = [
        "controller 64",
        "controller 1",
        "controller 20",
        "controller 0",
        "pitch-bend",
        "channel-pressure",
        "program",
    ]
    targets += ["key-pressure 60"] if source != "program" else []
    targets += ["note 62", "note 62"] if source != "program" else []
    targets += ["note"] if source.startswith("note") else []
    target = draw(st.sampled_from(targets))
    found = {"from": source, "to": target}
    if draw(st.booleans()):
        found["out"] = draw(one_of("0..100", "127..0", "1..1")) if target != "pitch-bend" else draw(one_of("-512..511"))
    if {source, target} & {"controller 1", "controller 7", "controller 20"} and draw(st.booleans()):
        found["bits"] = 14
    return found


@st.composite
def delays(draw: Draw, rig: Rig) -> Any:
    """Milliseconds or beats."""
    return draw(one_of(10, 20, 35, {"ms": 50}, {"beats": 0.1}, {"beats": "1/12", "ms": 5}, "1/64t", "1/16", "1/8."))


@st.composite
def echoes(draw: Draw, rig: Rig) -> Any:
    """A few copies."""
    return {
        **draw(one_of({"ms": 15}, {"ms": 40}, {"beats": "1/12"}, {"beats": 0.2}, {"note_value": "1/16", "ms": 5})),
        "times": draw(one_of(1, 2, 3)),
        "decay": draw(one_of(0, 30, 80)),
        "transpose": draw(one_of(0, 0, 12, 2)),
    }


@st.composite
def thins(draw: Draw, rig: Rig) -> Any:
    """A short time."""
    return draw(one_of(10, 30))


@st.composite
def lengths(draw: Draw, rig: Rig) -> Any:
    """A short time, or beats."""
    return draw(one_of(10, 25, 60, {"beats": 0.1}, {"note_value": "1/32"}, "1/8", {"beats": 0.5, "ms": 5}))


@st.composite
def latches(draw: Draw, rig: Rig) -> Any:
    """Until the next key, or until its own."""
    return draw(one_of(True, {"until": "again"}))


@st.composite
def snaps(draw: Draw, rig: Rig) -> Any:
    """A few pitches, others moved or dropped."""
    return draw(one_of(["C", "E"], ["C", "D", "E", "G", "A"], {"pitches": ["C", "D"], "others": "drop"}))


@st.composite
def chords(draw: Draw, rig: Rig) -> Any:
    """Two or three notes, for all keys or by key."""
    return draw(one_of([0, 2], [0, 4, 7], [-12, 12], {"keys": {"60": [0, 2], "62": [0, 70]}}))


@st.composite
def rechannels(draw: Draw, rig: Rig) -> Any:
    """To one channel, or by a table."""
    return draw(one_of(1, 2, {"1": 2}, {"1": 2, "2": 1}, {"2": 3, "3": 3}))


SENDABLE = [
    "note-on 60 80",
    "note-on 1 62 90",
    "note-off D4 10",
    "program 3",
    "controller 64 127",
    "controller 2 7 90",
    "controller 0 1",
    "pitch-bend +100",
    "start",
    "sysex F0 7D 01 F7",
    "controller 123 0",
    "controller 121 0",
    "controller 6 5",
    "controller 100 1",
]


@st.composite
def sends(draw: Draw, rig: Rig) -> Any:
    """One to three messages, kept or in place of what came."""
    messages = draw(st.lists(st.sampled_from(SENDABLE), min_size=1, max_size=3))
    if rarely(draw):
        messages = [*messages, *(f"at 20 ms {message}" for message in messages[:1])]
    return draw(one_of(messages, {"messages": messages, "pass_on": True}))


_STEPS: dict[str, Callable[[Rig], st.SearchStrategy[Any]]] = {
    "transpose": transposes,
    "filter": filters,
    "velocity": velocities,
    "map": maps,
    "delay": delays,
    "echo": echoes,
    "thin": thins,
    "length": lengths,
    "latch": latches,
    "snap": snaps,
    "chord": chords,
    "rechannel": rechannels,
    "send": sends,
}


@st.composite
def chains(draw: Draw, rig: Rig, place: str, most: int = 2) -> list[Table]:
    """A few steps; the last of a device isn't a `rechannel`."""
    return [draw(steps(rig, place)) for _ in range(draw(st.integers(0, most + rig.takes_time)))]
