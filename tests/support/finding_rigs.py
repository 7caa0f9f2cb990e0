"""Random small rigs in which much is wrong: few names and numbers, so that things meet."""

from __future__ import annotations

import random
from typing import Any

from tests.support.rule_strategies import toml_of

Table = dict[str, Any]

NOTES = ("60", "62", "..60", "62..", "60..62", "61..")
CHANNELS: tuple[int | str, ...] = (1, 2, "1..2", 10)
SWITCHES: dict[str, Table] = {
    "up": {"from": "keys", "controller": 64},
    "song": {"values": ["one", "two", "three"], "set": [{"from": "keys", "note": 63, "value": "two"}]},
}
WHENS = ("up", "not up", "song = two", "song = three", "up and song = one", "not song = one")


def finding_rig(seed: int) -> Table:
    """Return the tables of a rule file; the same seed gives the same ones."""
    return _Maker(random.Random(seed)).rig()


def finding_rules(seed: int) -> str:
    """Return the same as a rule file."""
    return toml_of(finding_rig(seed))


class _Maker:
    def __init__(self, chance: random.Random) -> None:
        self._chance = chance
        self._switches = chance.sample(sorted(SWITCHES), chance.choice((0, 0, 1, 1, 2)))
        self._returns = chance.random() < 0.3

    def rig(self) -> Table:
        chance = self._chance
        sources = ["keys", "pads"][: chance.choice((1, 2, 2))]
        outputs = ["rack", "box"][: chance.choice((1, 2))]
        ports: Table = {name: {"input": True} for name in sources}
        if chance.random() < 0.25:
            ports[chance.choice(sources)]["steps"] = [self._step()]
        for name in outputs:
            ports[name] = {"output": True} | ({"connection": "din"} if chance.random() < 0.6 else {})
        names = ["organ", "bass", "flute"][: chance.randint(1, 3)]
        devices = {name: self._device(sources, outputs) for name in names}
        switches = {name: SWITCHES[name] for name in self._switches}
        rules = [self._rule(number, sources, [*names, *names, *outputs]) for number in range(chance.randint(1, 3))]
        return {"ports": ports, "devices": devices, "switches": switches, "rules": rules, "on_switch": []}

    def _device(self, sources: list[str], outputs: list[str]) -> Table:
        chance = self._chance
        device: Table = {"port": chance.choice(outputs)}
        if chance.random() < 0.7:
            device["channel"] = chance.choice((1, 2, 3))
        if chance.random() < 0.5:
            device["notes"] = chance.choice(("60..72", "..62", "62.."))
            device["outside"] = chance.choice(("pass", "pass", "drop"))
        if self._returns and chance.random() < 0.6:
            device["returns"] = chance.choice(sources)
        return device

    def _rule(self, number: int, sources: list[str], targets: list[str]) -> Table:
        chance = self._chance
        rule: Table = {"name": f"rule {number + 1}", "from": chance.sample(sources, chance.randint(1, len(sources)))}
        form = chance.random()
        if form < 0.75:
            rule["match"] = self._condition()
        elif form < 0.85:
            rule["otherwise"] = True
        if self._switches and chance.random() < 0.4:
            rule["when"] = self._when()
        rule["steps"] = [self._step() for _ in range(chance.choice((0, 0, 1, 1, 2)))]
        rule["to"] = self._to(targets)
        if chance.random() < 0.4:
            rule["zones"] = [self._zone(targets) for _ in range(chance.randint(1, 3))]
        for part in (rule, *rule.get("zones", ())):
            if part["steps"] and "rechannel" in part["steps"][-1]:
                part["steps"].append({"filter": {"drop": {"controller": 1}}})  # else it may change nothing: an error
        return rule

    def _zone(self, targets: list[str]) -> Table:
        chance = self._chance
        zone: Table = {"notes": chance.choice(NOTES)} if chance.random() < 0.8 else {"channel": chance.choice(CHANNELS)}
        if chance.random() < 0.2:
            zone["velocity"] = "62.."
        if self._switches and chance.random() < 0.3:
            zone["when"] = self._when()
        zone["steps"] = [self._step()] if chance.random() < 0.3 else []
        if chance.random() < 0.7:
            zone["to"] = self._to(targets)
        return zone

    def _to(self, targets: list[str]) -> Any:
        chance = self._chance
        if chance.random() < 0.2:
            return {1: chance.choice(targets), "2..3": chance.choice(targets)}
        return chance.sample(sorted(set(targets)), 1) if chance.random() < 0.8 else chance.choice(targets)

    def _condition(self) -> Table:
        chance = self._chance
        found: Table = {"channel": chance.choice(CHANNELS)} if chance.random() < 0.6 else {}
        form = chance.random()
        if form < 0.35:
            found |= {"kind": "note", "notes": chance.choice(NOTES)}
        elif form < 0.5:
            found |= {"notes": chance.choice(NOTES)}
        elif form < 0.6:
            found |= {"kind": "note-on", "velocity": chance.choice(("..60", "62.."))}
        elif form < 0.7:
            found |= {"controller": chance.choice((1, 64)), "value": chance.choice(("..60", "62.."))}
        elif form < 0.75:
            found |= {"program": 60}
        return found or {"kind": "note"}

    def _when(self) -> str:
        return self._chance.choice([when for when in WHENS if all(name in self._switches for name in _named(when))])

    def _step(self) -> Table:
        chance = self._chance
        steps: list[Table] = [
            {"transpose": chance.choice((1, -1))},
            {"filter": {chance.choice(("keep", "drop")): self._condition()}},
            {"filter": {"keep": {"channel": chance.choice(CHANNELS)}}},
            {"rechannel": chance.choice((1, 2, 3))},
            {"velocity": {"limit": "60..62"}},
            {"map": {"programs": {60: 62}}},
            {"map": {"controllers": {1: 64}}},
            {"map": {"from": "controller 1", "to": "controller 1", "out": "127..0"}},
            {"echo": {"ms": 10, "times": 2, "decay": 0, "transpose": chance.choice((0, 1))}},
            {"delay": 10},
            {"thin": 10},
            {"length": 10},
        ]
        if not self._returns:
            steps += [
                {"send": {"messages": ["program 1 60", "note-on 1 62 60"], "pass_on": chance.random() < 0.5}},
                {"map": {"from": "controller 64", "to": "note 62"}},
            ]
        step = chance.choice(steps)
        if self._switches and chance.random() < 0.2:
            step = step | {"when": self._when()}
        return step


def _named(when: str) -> list[str]:
    return [name for name in SWITCHES if name in when.replace("=", " ").split()]
