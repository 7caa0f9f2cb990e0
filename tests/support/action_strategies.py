"""Random lists of messages that go out by themselves: what switches and songs send, and ask of our clock."""

from __future__ import annotations

from collections.abc import Sequence

from hypothesis import strategies as st

from tests.support.step_strategies import whens
from tests.support.switch_strategies import triggers
from tests.support.value_strategies import Draw, Rig, Table, one_of, rarely


@st.composite
def turns(draw: Draw, rig: Rig) -> Table:
    """An `[[on_switch]]`."""
    turn: Table = {"when": draw(whens(rig)), "send": draw(_sends(rig))}
    if rig.takes_time and draw(st.booleans()):
        turn["bpm"] = draw(one_of(40, 90, 120, 180, 300))
    turn |= draw(_orders(rig))
    return turn | ({"initially": False} if rarely(draw) else {})


@st.composite
def songs(draw: Draw, rig: Rig, names: Sequence[str], rules: Sequence[str]) -> list[Table]:
    """`[[songs]]` of these names, which may open some of the rules."""
    found = []
    for name in names:
        song: Table = {"name": name}
        if draw(st.booleans()):
            song["bpm"] = draw(one_of(40, 90, 120, 180, 300))
        if draw(st.booleans()):
            song["send"] = draw(_sends(rig))
        if rarely(draw, 3):
            song["set"] = [draw(triggers(rig.sources))]
        if rarely(draw, 3):
            song["rules"] = draw(st.lists(st.sampled_from(rules), min_size=1, max_size=2, unique=True))
        found.append(song | draw(_orders(rig)) | ({"initially": False} if rarely(draw) else {}))
    return found


@st.composite
def _orders(draw: Draw, rig: Rig) -> Table:
    """Rarely, what a switch asks of our clock."""
    if not rig.takes_time or not rarely(draw, 3):
        return {}
    return {"do": draw(one_of(["clock start"], ["clock stop"], ["clock continue"], ["clock stop", "clock start"]))}


@st.composite
def _sends(draw: Draw, rig: Rig) -> dict[str, list[str]]:
    messages = ["program 3", "controller 2 7 9", "note-on 60 90", "note-off D4 10", "start", "controller 64 0"]
    names = draw(st.lists(st.sampled_from(rig.targets), min_size=1, max_size=2, unique=True))
    fixed = {name for name in names if "channel" in rig.devices.get(name, {})}
    send = {name: draw(with_pauses(messages)) for name in names}
    for name in fixed:
        send[name] = [message.replace("controller 2 7", "controller 7") for message in send[name]]
    return send


@st.composite
def with_pauses(draw: Draw, messages: Sequence[str]) -> list[str]:
    """One to three messages of a list, some of them at a time."""
    found, at = [], 0
    for message in draw(st.lists(st.sampled_from(messages), min_size=1, max_size=3)):
        pause = draw(one_of(0, 0, 0, 10, 30))
        at += pause
        found.append(f"at {at} ms {message}" if pause else message)
    return found
