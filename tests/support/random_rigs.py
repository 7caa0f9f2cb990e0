"""Whole rigs by chance, small and large, with names as people give them and worse: what a picture has to cope with."""

from __future__ import annotations

import random

from tests.support.rule_strategies import toml_of
from tests.support.value_strategies import Table

WORDS = ("left hand", "organ", "solo", "second voice of the choir", "ostinato", "pad", "kit", "Bläser", "Ноты", "低音")
MARKUP = ("</text><script>alert(1)</script>", 'a "quoted" & <b>bold</b> name', "]]>", "&amp;", "it's")
PORTS = ("keys", "pads", "seq", "upper manual", "wind controller", "a port whose name is much too long for a box")
OUTPUTS = ("rack1", "rack2", "usb", "stage left", "the long cable that goes all the way to the other side")
DEVICES = (
    "organ",
    "strings",
    "kit",
    "reed box",
    "bell box",
    "piano",
    "bass",
    "horns",
    "a module with a very long name",
)
STEPS: tuple[Table, ...] = (
    {"transpose": 12},
    {"transpose": "key"},
    {"delay": {"ms": 40}},
    {"echo": {"beats": 0.5, "times": 3, "decay": 40}},
    {"velocity": {"points": [[1, 20], [64, 80], [127, 120]]}},
    {"velocity": {"louder": 0.5}},
    {"velocity": {"scale_to": "20..110"}},
    {"filter": {"drop": {"kind": ["program", "channel-pressure"]}}},
    {"thin": 20},
    {"map": {"notes": {"C3": "C2", "D3": "D2", "E3": "E2"}, "others": "drop"}},
    {"transpose": 1, "when": "up"},
)
WHENS = ("up", "not up", "song = chorus", "song = verse and not up", "key = -1..1")
SWITCHES: Table = {
    "up": {"from": "keys", "controller": "soft pedal", "mode": "momentary"},
    "song": {"values": ["verse", "chorus"], "set": [{"from": "keys", "note": "C1", "value": "chorus"}]},
    "key": {"numbers": "-2..2", "advance": [{"from": "keys", "note": "E1", "by": 1}]},
}


def random_rig(seed: int, rules: int) -> bytes:
    """Return a rule file with so many rules; the same seed gives the same one."""
    chance = random.Random(seed)
    sources = ["keys", *chance.sample(PORTS[1:], chance.randint(0, len(PORTS) - 1))]
    outputs = chance.sample(OUTPUTS, chance.randint(1, len(OUTPUTS)))
    devices = chance.sample(DEVICES, chance.randint(0, len(DEVICES)))
    targets = [*outputs, *devices * 3]
    data: Table = {
        "ports": {name: _input(chance, name) for name in sources} | {name: _output(chance, name) for name in outputs},
        "devices": {name: _device(chance, outputs) for name in devices},
        "switches": SWITCHES,
        "rules": [_rule(chance, sources, targets) for _ in range(rules)],
        "on_switch": [{"when": "song = chorus", "send": {targets[0]: ["program 49"]}}],
    }
    for number, rule in enumerate(data["rules"]):
        rule["name"] = f"{rule['name']} {number}"
    return toml_of(data).encode()


def _input(chance: random.Random, name: str) -> Table:
    port: Table = {"input": f"{name.title()} {chance.choice(MARKUP)}*"}
    if chance.random() < 0.3:
        port["steps"] = [{"velocity": {"scale_to": "20..127"}}]
    return port


def _output(chance: random.Random, name: str) -> Table:
    port: Table = {"output": f"Interface {name}*", "connection": chance.choice(["din", "usb"])}
    if chance.random() < 0.3:
        port["clock"] = "keys"
    return port


def _device(chance: random.Random, outputs: list[str]) -> Table:
    device: Table = {"port": chance.choice(outputs)}
    if chance.random() < 0.8:
        device["channel"] = chance.randint(1, 16)
    if chance.random() < 0.3:
        device |= {"notes": "C2..C6", "outside": chance.choice(["drop", "octave"])}
    if chance.random() < 0.3:
        device["setup"] = ["program 17", "controller volume 100"]
    return device


def _rule(chance: random.Random, sources: list[str], targets: list[str]) -> Table:
    rule: Table = {
        "name": chance.choice((*WORDS, *MARKUP)),
        "from": chance.sample(sources, min(len(sources), chance.choice([1, 1, 1, 2]))),
        "steps": chance.sample(STEPS, chance.choice([0, 0, 1, 1, 2, 3])),
    }
    if chance.random() < 0.7:
        rule["match"] = {"channel": chance.sample(range(1, 17), chance.choice([1, 1, 2, 5]))}
    if chance.random() < 0.25:
        rule["when"] = chance.choice(WHENS)
    if chance.random() < 0.2:
        rule["zones"] = [_zone(chance, targets) for _ in range(chance.randint(1, 4))]
    elif chance.random() < 0.2:
        rule["to"] = {"1..4": chance.choice(targets), "5..16": sorted(set(chance.sample(targets, 1)))}
    else:
        rule["to"] = sorted(set(chance.sample(targets, min(len(targets), chance.choice([1, 1, 2, 3])))))
    return rule


def _zone(chance: random.Random, targets: list[str]) -> Table:
    low = chance.randint(0, 100)
    zone: Table = {"notes": f"{low}..{chance.randint(low, 127)}", "to": chance.choice(targets)}
    if chance.random() < 0.5:
        zone["name"] = chance.choice((*WORDS, *MARKUP))
    if chance.random() < 0.3:
        zone["when"] = chance.choice(WHENS)
    if chance.random() < 0.4:
        zone["steps"] = [chance.choice(STEPS)]
    return zone
