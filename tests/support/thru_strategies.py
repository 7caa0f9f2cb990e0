"""Random set-ups of plain cables, changed again and again while things are held.

Rules without steps and conditions keep every message on the engine's short ways, so what these note of it has to be
made into full entries at each reload. Two or three ports each way, and other channels than the first, so that a number
that is taken for another shows.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from hypothesis import strategies as st

Table = dict[str, Any]
Draw = Callable[[st.SearchStrategy[Any]], Any]

SOURCES = ["keys", "pads", "seq"]
OUTPUTS = ["synth", "rack", "dry"]
CHANNELS = [1, 6, 6, 11]
KEYS = [60, 60, 63, 72]
HELD = [1, 64, 64, 67]
OTHERS = [0, 32, 7, 6, 100, 101]


@st.composite
def thru_files(draw: Draw) -> list[Table]:
    """A rule file and two to five that follow it: the same ports in any order, some of them away, other cables."""
    sources, outputs = SOURCES[: draw(st.integers(2, 3))], OUTPUTS[: draw(st.integers(2, 3))]
    return [draw(_files(sources, outputs)) for _ in range(draw(st.integers(3, 6)))]


@st.composite
def _files(draw: Draw, sources: Sequence[str], outputs: Sequence[str]) -> Table:
    here = draw(st.lists(st.sampled_from(sources), min_size=1, unique=True))
    there = draw(st.lists(st.sampled_from(outputs), min_size=1, unique=True))
    ports = {**{name: {"input": True} for name in here}, **{name: {"output": True} for name in there}}
    devices: dict[str, Table] = {}
    if draw(st.booleans()):
        devices["organ"] = {"port": draw(st.sampled_from(there)), "channel": draw(st.sampled_from([1, 6, 11]))}
    targets = [*there, *devices]
    rules = [
        {
            "name": f"rule {number}",
            "from": draw(st.lists(st.sampled_from(here), min_size=1, max_size=2, unique=True)),
            "to": draw(st.lists(st.sampled_from(targets), min_size=1, max_size=2, unique=True)),
        }
        for number in range(draw(st.integers(1, 3)))
    ]
    ordered = dict(draw(st.permutations(list(ports.items()))))
    return {"ports": ordered, "devices": devices, "switches": {}, "rules": rules, "on_switch": []}


@st.composite
def thru_performances(draw: Draw, files: Sequence[Table], most: int = 60) -> list[str]:
    """Lines for `tests.support.playing`: much is held, and all the files are played."""
    sources = sorted({name for file in files for name, port in file["ports"].items() if "input" in port})
    reloads, lines, now = len(files) - 1, [], 0
    for _ in range(draw(st.integers(reloads, most))):
        now += draw(st.sampled_from([0, 1, 3]))
        what = draw(st.integers(0, 9))
        if what == 9 and reloads:
            reloads -= 1
            lines.append(f"at {now} reload")
        else:
            lines.append(f"at {now} {draw(st.sampled_from(sources))} {draw(_messages())}")
    return lines


@st.composite
def _messages(draw: Draw) -> str:
    channel, key = draw(st.sampled_from(CHANNELS)), draw(st.sampled_from(KEYS))
    value = draw(st.sampled_from([0, 0, 40, 90, 127]))
    match draw(st.sampled_from(["note", "note", "held", "bend", "pressure", "key", "other", "program"])):
        case "note":
            return f"note-on {channel} {key} {value}"
        case "held":
            return f"controller {channel} {draw(st.sampled_from(HELD))} {value}"
        case "bend":
            return f"pitch-bend {channel} {draw(st.sampled_from([0, 0, 512, -8192]))}"
        case "pressure":
            return f"channel-pressure {channel} {value}"
        case "key":
            return f"key-pressure {channel} {key} {value}"
        case "other":
            return f"controller {channel} {draw(st.sampled_from(OTHERS))} {value}"
    return f"program {channel} {draw(st.sampled_from([1, 9]))}"
