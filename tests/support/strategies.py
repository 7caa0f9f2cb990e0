"""Random rule files and performances: few channels, keys and controllers, so that they get in each other's way."""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from hypothesis import strategies as st

Table = dict[str, Any]
Draw = Callable[[st.SearchStrategy[Any]], Any]

CHANNELS = [1, 1, 2, 2, 3]
KEYS = [60, 60, 62, 64, 72, 48]
VELOCITIES = [1, 30, 64, 100, 127]
VALUES = [0, 0, 1, 30, 63, 64, 90, 127, 127]
BENDS = [-8192, -100, 0, 0, 1, 512, 8191]
HELD = [1, 64, 64, 66, 67]
PARAMETERS = [98, 99, 100, 101, 6, 38, 96]
PLAIN = [7, 7, 39, 20, 33, 84, 10]
MODES = [120, 121, 121, 123, 123, 126, 122]
BANKS = [0, 32]
CONTROLLERS = [*HELD, *PARAMETERS, *PLAIN, *MODES, *BANKS]
SOURCES = ["keys", "pads", "seq"]
OUTPUTS = ["synth", "rack", "dry"]


def one_of(*values: Any) -> st.SearchStrategy[Any]:
    """One of these values."""
    return st.sampled_from(values)


def rarely(draw: Draw, chance: int = 4) -> bool:
    """True once in `chance` times; False is the simpler one."""
    return bool(draw(st.integers(0, chance - 1)) == chance - 1)


@dataclass(frozen=True, slots=True)
class Rig:
    """The names that rules may use."""

    sources: Sequence[str]
    outputs: Sequence[str]
    devices: Mapping[str, Table]
    switches: Mapping[str, Table]

    @property
    def targets(self) -> list[str]:
        """What a rule may lead to."""
        return [*self.outputs, *self.devices]

    @property
    def numbers(self) -> list[str]:
        """The number switches."""
        return [name for name, switch in self.switches.items() if "numbers" in switch]


# Conditions


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


# Steps


@st.composite
def steps(draw: Draw, rig: Rig, place: str) -> Table:
    """One entry of `steps` for a place: `port`, `rule`, `zone` or `device`."""
    names = ["transpose", "transpose", "filter", "filter", "velocity", "map", "map", "rechannel"]
    names += ["echo"] if place != "port" else []
    names += ["delay", "thin", "length"]
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
    return draw(one_of(10, 20, 35, {"ms": 50}, {"beats": 0.1}, {"beats": "1/12", "ms": 5}))


@st.composite
def echoes(draw: Draw, rig: Rig) -> Any:
    """A few copies."""
    return {
        "ms": draw(one_of(15, 40)),
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
    return draw(one_of(10, 25, 60, {"beats": 0.1}))


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
    "rechannel": rechannels,
    "send": sends,
}


@st.composite
def chains(draw: Draw, rig: Rig, place: str, most: int = 2) -> list[Table]:
    """A few steps; the last of a device isn't a `rechannel`."""
    return [draw(steps(rig, place)) for _ in range(draw(st.integers(0, most)))]


# Switches


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
        found["song"] = song
    if draw(st.booleans()):
        key: Table = {"numbers": draw(one_of("-2..2", "0..1"))}
        key["advance"] = [draw(triggers(sources)) | {"by": draw(one_of(1, -1, 3))}]
        key["set"] = [draw(triggers(sources)) | {"value": draw(one_of(0, 1))} for _ in range(draw(st.integers(0, 1)))]
        found["key"] = key
    return found


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


# Rules


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
        found["setup"] = draw(_with_pauses(["program 1", "controller 7 100", "controller 0 2"]))
    return found


@st.composite
def rule_files(draw: Draw, most_rules: int = 4) -> list[Table]:
    """A rule file, and up to two variants of it for reloads."""
    sources = SOURCES[: draw(st.integers(1, 3))]
    outputs = OUTPUTS[: draw(st.integers(1, 3))]
    rig = Rig(sources, outputs, {}, draw(switches(sources)))
    named = {name: draw(devices(rig)) for name in ("organ", "bass")[: draw(st.integers(0, 2))]}
    rig = Rig(sources, outputs, named, rig.switches)
    ports: dict[str, Table] = {}
    for name in sources:
        ports[name] = {"input": True}
        if rarely(draw):
            ports[name]["steps"] = draw(chains(rig, "port", most=1))
    for name in outputs:
        ports[name] = {"output": True}
        if draw(st.booleans()):
            ports[name]["clock"] = draw(st.sampled_from([*sources, "none"]))
        if rarely(draw):
            ports[name]["pass_reset"] = True
    first = {
        "ports": ports,
        "devices": named,
        "switches": dict(rig.switches),
        "rules": [draw(rules(rig)) for _ in range(draw(st.integers(1, most_rules)))],
        "on_switch": [draw(_turns(rig)) for _ in range(draw(st.integers(0, 2)))] if rig.switches else [],
    }
    for number, rule in enumerate(first["rules"]):
        rule["name"] = f"rule {number + 1}"
    return [first, *(draw(_variants(first, rig)) for _ in range(draw(st.integers(0, 2))))]


@st.composite
def _turns(draw: Draw, rig: Rig) -> Table:
    messages = ["program 3", "controller 2 7 9", "note-on 60 90", "note-off D4 10", "start", "controller 64 0"]
    names = draw(st.lists(st.sampled_from(rig.targets), min_size=1, max_size=2, unique=True))
    fixed = {name for name in names if "channel" in rig.devices.get(name, {})}
    send = {name: draw(_with_pauses(messages)) for name in names}
    for name in fixed:
        send[name] = [message.replace("controller 2 7", "controller 7") for message in send[name]]
    turn: Table = {"when": draw(whens(rig)), "send": send}
    return turn | ({"initially": False} if rarely(draw) else {})


@st.composite
def _with_pauses(draw: Draw, messages: Sequence[str]) -> list[str]:
    """One to three messages of a list, some of them at a time."""
    found, at = [], 0
    for message in draw(st.lists(st.sampled_from(messages), min_size=1, max_size=3)):
        pause = draw(one_of(0, 0, 0, 10, 30))
        at += pause
        found.append(f"at {at} ms {message}" if pause else message)
    return found


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
    if rig.switches and rarely(draw, 3):
        variant["on_switch"] = [*variant["on_switch"][:1], draw(_turns(rig))]
    for device in variant["devices"].values():
        if "setup" in device and rarely(draw):
            device["setup"] = device["setup"][:1]
    if len(rig.outputs) > 1 and rarely(draw, 3):
        _take_out(variant, draw(st.sampled_from(rig.outputs)))
    if len(rig.sources) > 1 and rarely(draw, 3):
        _take_out_source(variant, draw(st.sampled_from(rig.sources)))
    if draw(st.booleans()):
        variant["ports"] = dict(draw(st.permutations(list(variant["ports"].items()))))
    if "key" in variant["switches"] and rarely(draw):
        variant["switches"]["key"] |= {"numbers": "0..3"}
    return variant


def _take_out(file: Table, port: str) -> None:
    """Takes a port out, with the devices at it and all that leads there."""
    gone = {port, *(name for name, device in file["devices"].items() if device["port"] == port)}
    del file["ports"][port]
    file["devices"] = {name: device for name, device in file["devices"].items() if name not in gone}
    for part in (part for rule in file["rules"] for part in (rule, *rule.get("zones", ())) if "to" in part):
        part["to"] = _without(part["to"], gone)
    for turn in file["on_switch"]:
        turn["send"] = {name: messages for name, messages in turn["send"].items() if name not in gone}


def _take_out_source(file: Table, source: str) -> None:
    """Takes an input out, unless a switch listens to it or no rule would be left."""
    left = [{**rule, "from": [name for name in rule["from"] if name != source]} for rule in file["rules"]]
    left = [rule for rule in left if rule["from"]]
    if left and f"'{source}'" not in str(file["switches"]):
        file["rules"] = left
        del file["ports"][source]
        for port in file["ports"].values():
            if port.get("clock") == source:
                del port["clock"]


def _without(to: Any, gone: set[str]) -> Any:
    if isinstance(to, dict):
        return {channels: _without(names, gone) for channels, names in to.items()}
    return [name for name in ([to] if isinstance(to, str) else to) if name not in gone]


# Performances

_SIGNALS = ["clock", "start", "stop", "continue", "song-position 5", "reset", "active-sensing", "tune-request"]


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
    players = [*sources, *sources, f"{sources[0]}#2"]
    staying = [port for port in first["ports"] if all("output" in file["ports"].get(port, {}) for file in files)]
    reloads = len(files) - 1
    lines, now = [], 0
    for _ in range(draw(st.integers(1, most))):
        now += draw(one_of(0, 0, 1, 3, 7, 25, 60))
        what = draw(st.integers(0, 39))
        if what == 39 and reloads:
            reloads -= 1
            lines.append(f"at {now} reload")
        elif what == 38:
            others = ["panic", "panic every key", "settle", "close", "begin", *(f"return {port}" for port in staying)]
            lines.append(f"at {now} {draw(st.sampled_from(others))}")
        elif what == 37:
            lines.append(f"at {now} release {draw(st.sampled_from(players))}")
        elif what in (35, 36) and first["switches"]:
            lines.append(f"at {now} turn {draw(_settings(first['switches']))}")
        else:
            lines.append(f"at {now} {draw(st.sampled_from(players))} {draw(messages())}")
    return lines


@st.composite
def _settings(draw: Draw, found: Mapping[str, Table]) -> str:
    name = draw(st.sampled_from(sorted(found)))
    values = {"up": ["on", "off"], "song": ["verse", "chorus"], "key": ["0", "1"]}[name]
    return f"{name} {draw(st.sampled_from(values))}"


# Written out


def toml_of(file: Table) -> str:
    """A rule file as text, a line an entry."""
    lines = []
    for group in ("ports", "devices", "switches"):
        lines += [f"[{group}]", *(f"{name} = {_value(table)}" for name, table in file[group].items())]
    for group in ("rules", "on_switch"):
        for table in file[group]:
            lines += [f"[[{group}]]", *(f"{key} = {_value(value)}" for key, value in table.items())]
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "{ " + ", ".join(f'"{key}" = {_value(item)}' for key, item in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_value, value)) + "]"
    return f'"{value}"' if isinstance(value, str) else str(value)
