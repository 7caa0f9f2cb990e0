"""Random rule files, several of one rig each, as reloads bring them."""

from __future__ import annotations

import copy
import json
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from hypothesis import strategies as st

from tests.support.action_strategies import songs, turns, with_pauses
from tests.support.step_strategies import chains, conditions, sends, some_conditions, whens
from tests.support.switch_strategies import BPMS, LONGS, clock_tables, set_lists, switches
from tests.support.value_strategies import HELD, OUTPUTS, SOURCES, Draw, Rig, Table, one_of, rarely


def _outlets(draw: Draw, rig: Rig) -> Any:
    names = st.lists(st.sampled_from(rig.targets), min_size=1, max_size=2, unique=True)
    form = draw(one_of("name", "list", "table"))
    if form == "name":
        return draw(st.sampled_from(rig.targets))
    if form == "list":
        return draw(names)
    return {draw(one_of("1", "1..2")): draw(st.sampled_from(rig.targets)), draw(one_of("2", "2..16", "3")): draw(names)}


def _ends_in_rechannel(stages: Sequence[Table]) -> bool:
    return bool(stages) and "rechannel" in stages[-1]


@st.composite
def rules(draw: Draw, rig: Rig) -> Table:
    """One rule, with or without zones."""
    sources = draw(st.lists(st.sampled_from(rig.sources), min_size=1, max_size=2, unique=True))
    rule: Table = {"from": sources}
    form = draw(one_of("all", "all", "match", "match", "otherwise", "offs", "signals"))
    if form == "match":
        rule["match"] = draw(some_conditions())
    if form == "otherwise":
        rule["otherwise"] = True
        if rarely(draw):
            rule["match"] = draw(some_conditions())
    if form == "offs":
        rule["match"] = {"kind": "note-off", "notes": draw(one_of(60, "..63"))}
    if form == "signals":
        rule["match"] = {"kind": draw(one_of("start", ["start", "stop"], ["song-position", "start"]))}
    if rig.switches and draw(st.booleans()):
        rule["when"] = draw(whens(rig))
        if draw(st.booleans()):
            wanted = [*HELD, 7, 20, "program", "channel-pressure", "pitch-bend"]
            rule["chase"] = draw(st.lists(st.sampled_from(wanted), min_size=1, max_size=3, unique=True))
    rule["steps"] = draw(chains(rig, "rule"))
    if form in ("offs", "signals"):
        rule["steps"] = [{"send": draw(sends(rig))}]
    rule["to"] = _outlets(draw, rig)
    if form not in ("offs", "signals") and rarely(draw, 3):
        rule["zones"] = [draw(_zones(rig)) for _ in range(draw(st.integers(1, 2)))]
    _mend_rechannels(rule)
    return rule


@st.composite
def _zones(draw: Draw, rig: Rig) -> Table:
    zone: Table = draw(conditions())
    if rig.switches and rarely(draw):
        zone["when"] = draw(whens(rig))
    zone["steps"] = draw(chains(rig, "zone", most=1))
    if draw(st.booleans()):
        zone["to"] = _outlets(draw, rig)
    return zone


def _mend_rechannels(rule: Table) -> None:
    """A `rechannel` right before a device with a channel is an error, so none comes last."""
    for part in (rule, *rule.get("zones", ())):
        if _ends_in_rechannel(part["steps"]):
            part["steps"].append({"filter": {"drop": {"controller": 10}}})


@st.composite
def devices(draw: Draw, rig: Rig) -> Table:
    """An instrument with or without channel, range and steps."""
    found: Table = {"port": draw(st.sampled_from(rig.outputs))}
    if draw(st.booleans()):
        found["channel"] = draw(one_of(1, 2))
    if rarely(draw):
        found |= {"notes": draw(one_of("60..72", "48..60")), "outside": draw(one_of("drop", "octave"))}
    found["steps"] = draw(chains(rig, "device", most=1)) if draw(st.booleans()) else []
    if draw(st.booleans()):
        found["setup"] = draw(with_pauses(["program 1", "controller 7 100", "controller 0 2"]))
    return found


@st.composite
def rule_files(draw: Draw, most_rules: int = 4, *, takes_time: bool = False) -> list[Table]:
    """A rule file, and up to two variants of it for reloads.

    If that is wanted, many steps take time or hold notes, there is a clock, and the switch "song" may be a set list.
    """
    sources = SOURCES[: draw(st.integers(1, 3))]
    outputs = OUTPUTS[: draw(st.integers(1, 3))]
    found = draw(switches(sources))
    has_songs = takes_time and "song" in found and draw(st.booleans())
    rig = Rig(sources, outputs, {}, found, takes_time)
    named = {name: draw(devices(rig)) for name in ("organ", "bass")[: draw(st.integers(0, 2))]}
    rig = replace(rig, devices=named)
    ports: dict[str, Table] = {}
    for name in sources:
        ports[name] = {"input": True}
        if rarely(draw):
            ports[name]["steps"] = draw(chains(rig, "port", most=1))
    for name in outputs:
        ports[name] = {"output": True}
        if draw(st.booleans()):
            ports[name]["clock"] = draw(st.sampled_from([*sources, "none"]))
        if takes_time and not rarely(draw, 3):
            ports[name]["clock"] = "own"
        if rarely(draw):
            ports[name]["pass_reset"] = True
        if rarely(draw, 3):
            ports[name]["connection"] = "din"
    first: Table = {
        "ports": ports,
        "devices": named,
        "switches": dict(rig.switches),
        "rules": [draw(rules(rig)) for _ in range(draw(st.integers(1, most_rules)))],
        "on_switch": [draw(turns(rig)) for _ in range(draw(st.integers(0, 2)))] if rig.switches else [],
    }
    for number, rule in enumerate(first["rules"]):
        rule["name"] = f"rule {number + 1}"
    if takes_time and draw(one_of(True, True, False)):
        first["clock"] = draw(clock_tables(sources))
    if has_songs:
        names = first["switches"].pop("song")["values"]
        first["set_list"] = draw(set_lists(sources))
        first["songs"] = draw(songs(rig, names, [rule["name"] for rule in first["rules"]]))
    return [first, *(draw(_variants(first, rig)) for _ in range(draw(st.integers(0, 2))))]


@st.composite
def _variants(draw: Draw, first: Table, rig: Rig) -> Table:
    """The same rig with some rules changed, dropped or added, perhaps in another order or without one of its ports."""
    variant = copy.deepcopy(first)
    fresh = []
    for rule in variant["rules"]:
        fate = draw(one_of("keep", "keep", "drop", "change"))
        if fate == "keep":
            fresh.append(rule)
        elif fate == "change":
            fresh.append(draw(rules(rig)) | {"name": rule["name"]})
    if not fresh or rarely(draw):
        fresh.append(draw(rules(rig)) | {"name": "new"})
    variant["rules"] = fresh
    if "clock" in variant and draw(st.booleans()):
        _change_clock(draw, variant, rig)
    if rig.switches and rarely(draw, 3):
        variant["on_switch"] = [*variant["on_switch"][:1], draw(turns(rig))]
    for device in variant["devices"].values():
        if "setup" in device and rarely(draw):
            device["setup"] = device["setup"][:1]
    if len(rig.outputs) > 1 and rarely(draw, 3):
        _take_out(variant, draw(st.sampled_from(rig.outputs)))
    if len(rig.sources) > 1 and rarely(draw, 3):
        _take_out_source(variant, draw(st.sampled_from(rig.sources)))
    _change_songs(draw, variant)
    if draw(st.booleans()):
        variant["ports"] = dict(draw(st.permutations(list(variant["ports"].items()))))
    if "key" in variant["switches"] and rarely(draw):
        variant["switches"]["key"] |= {"numbers": "0..3"}
    if rarely(draw, 3):
        _change_presses(draw, variant["switches"])
    return variant


def _change_songs(draw: Draw, file: Table) -> None:
    """Songs name only rules that there are; the last one may be gone, and some have another tempo."""
    there = [rule["name"] for rule in file["rules"]]
    if len(file.get("songs", ())) > 2 and rarely(draw):
        del file["songs"][-1]
    for song in file.get("songs", ()):
        if "rules" in song:
            song["rules"] = [name for name in song["rules"] if name in there]
        if "bpm" in song and rarely(draw):
            song["bpm"] = draw(one_of(90, 150))


def _change_clock(draw: Draw, file: Table, rig: Rig) -> None:
    """Our clock has another tempo, follows another clock or none, or is heard elsewhere."""
    clock = file["clock"]
    match draw(st.integers(0, 3)):
        case 0:
            clock["bpm"] = draw(one_of(*BPMS))
        case 1:
            clock["go_on"] = not clock.get("go_on", False)
        case 2 if "follow" in clock:
            del clock["follow"]
        case 2:
            clock["follow"] = draw(st.sampled_from(rig.sources))
        case 3:
            file["ports"][draw(st.sampled_from(rig.outputs))]["clock"] = draw(one_of("own", "none"))


def _change_presses(draw: Draw, found: dict[str, Table]) -> None:
    """Some notes and controllers have to be held for another time, or for none."""
    for switch in found.values():
        for trigger in [switch] if "from" in switch else [*switch.get("set", ()), *switch.get("advance", ())]:
            if trigger.keys() & {"note", "controller"} and draw(st.booleans()):
                trigger["long"] = draw(one_of(*LONGS))
            else:
                trigger.pop("long", None)


def _take_out(file: Table, port: str) -> None:
    """Takes a port out, with the devices at it and all that leads there."""
    gone = {port, *(name for name, device in file["devices"].items() if device["port"] == port)}
    del file["ports"][port]
    file["devices"] = {name: device for name, device in file["devices"].items() if name not in gone}
    for part in (part for rule in file["rules"] for part in (rule, *rule.get("zones", ())) if "to" in part):
        part["to"] = _without(part["to"], gone)
    for turn in (*file["on_switch"], *file.get("songs", ())):
        if "send" in turn:
            turn["send"] = {name: messages for name, messages in turn["send"].items() if name not in gone}


def _take_out_source(file: Table, source: str) -> None:
    """Takes an input out, unless anything listens to it, or no rule would be left."""
    left = [{**rule, "from": [name for name in rule["from"] if name != source]} for rule in file["rules"]]
    left = [rule for rule in left if rule["from"]]
    listening = [file.get(part) for part in ("switches", "clock", "set_list", "songs")]
    if left and f"'{source}'" not in str(listening):
        file["rules"] = left
        del file["ports"][source]
        for port in file["ports"].values():
            if port.get("clock") == source:
                del port["clock"]


def _without(to: Any, gone: set[str]) -> Any:
    if isinstance(to, dict):
        return {channels: _without(names, gone) for channels, names in to.items()}
    return [name for name in ([to] if isinstance(to, str) else to) if name not in gone]


def toml_of(file: Table) -> str:
    """A rule file as text, a line an entry."""
    lines = []
    for group in ("clock", "ports", "devices", "switches", "set_list"):
        if group in file:
            lines += [f"[{group}]", *(f"{_value(name)} = {_value(table)}" for name, table in file[group].items())]
    for group in ("songs", "rules", "on_switch", "promises"):
        for table in file.get(group, ()):
            lines += [f"[[{group}]]", *(f"{key} = {_value(value)}" for key, value in table.items())]
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_value(str(key))} = {_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else str(value)
