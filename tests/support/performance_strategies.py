"""Random messages, and performances with all that can happen in one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from hypothesis import strategies as st

from tests.support.value_strategies import (
    BANKS,
    BENDS,
    CHANNELS,
    HELD,
    KEYS,
    MODES,
    PARAMETERS,
    PLAIN,
    VALUES,
    VELOCITIES,
    Draw,
    Table,
    one_of,
    rarely,
)

_SIGNALS = ["clock", "start", "stop", "continue", "song-position 5", "reset", "active-sensing", "tune-request"]

TEMPOS = [30, 60, 90, 97.3, 120, 120, 200, 400]


@st.composite
def messages(draw: Draw) -> str:
    """One message in words."""
    kinds = ["note-on"] * 5 + ["note-off"] * 4 + ["held"] * 4 + ["plain"] * 3 + ["pitch-bend"] * 2
    kinds += [
        "key-pressure",
        "channel-pressure",
        "program",
        "program",
        "parameter",
        "parameter",
        "mode",
        "bank",
        "bank",
    ]
    kinds += ["sysex", "signal", "packet"]
    kind = draw(st.sampled_from(kinds))
    if kind == "signal":
        return str(draw(st.sampled_from(_SIGNALS)))
    if kind == "sysex":
        return "sysex F0 7D 02 F7"
    if kind == "packet":
        return str(draw(one_of("F7 7D 02", "F7 F8", "F7 FA", "F7 F9", "F7 FD", "F7 FE", "F7 FF")))
    channel = draw(st.sampled_from(CHANNELS))
    if kind in ("note-on", "note-off", "key-pressure"):
        value = draw(st.sampled_from(VALUES if kind != "note-on" or rarely(draw) else VELOCITIES))
        return f"{kind} {channel} {draw(st.sampled_from(KEYS))} {value}"
    if kind == "pitch-bend":
        return f"pitch-bend {channel} {draw(st.sampled_from(BENDS))}"
    if kind in ("channel-pressure", "program"):
        return f"{kind} {channel} {draw(one_of(1, 2, 90) if kind == 'program' else st.sampled_from(VALUES))}"
    numbers = {"held": HELD, "plain": PLAIN, "parameter": PARAMETERS, "mode": MODES, "bank": BANKS}[kind]
    return f"controller {channel} {draw(st.sampled_from(numbers))} {draw(st.sampled_from(VALUES))}"


@st.composite
def performances(draw: Draw, files: Sequence[Table], most: int = 200) -> list[str]:
    """Lines for `tests.support.playing`, in time."""
    first = files[0]
    sources = [name for name, port in first["ports"].items() if "input" in port]
    players = [*sources, *sources, f"{sources[0]}#2", *draw(one_of([], [], [f"{sources[0]}+take"]))]
    staying = [port for port in first["ports"] if all("output" in file["ports"].get(port, {}) for file in files)]
    reloads = len(files) - 1
    lines, now = [], 0
    for _ in range(draw(st.integers(1, most))):
        now += draw(one_of(0, 0, 1, 3, 7, 25, 60, 200))
        what = draw(st.integers(0, 40))
        if what == 40:
            lines.append(f"at {now} tempo {draw(st.sampled_from(TEMPOS))}")
        elif what == 39 and reloads:
            reloads -= 1
            lines.append(f"at {now} reload")
        elif what == 38:
            others = ["panic", "panic every key", "settle", "close", "begin", *(f"return {port}" for port in staying)]
            lines.append(f"at {now} {draw(st.sampled_from(others))}")
        elif what == 37:
            lines.append(f"at {now} release {draw(st.sampled_from(players))}")
        elif what in (35, 36) and first["switches"]:
            lines.append(f"at {now} turn {draw(settings_of(first['switches']))}")
        else:
            lines.append(f"at {now} {draw(st.sampled_from(players))} {draw(messages())}")
    return lines


@st.composite
def settings_of(draw: Draw, found: Mapping[str, Table]) -> str:
    """A switch, and what it is set to by command."""
    name = draw(st.sampled_from(sorted(found)))
    values = {"up": ["on", "off"], "song": ["verse", "chorus"], "key": ["0", "1"]}[name]
    return f"{name} {draw(st.sampled_from(values))}"
