"""What the page shows of rule files: read here, since the daemon that plays them has better things to do."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from router.files.rule_files import RuleTexts
from rules.compiler.switch_guards import guard_of, layout_of
from rules.errors import RuleFileError
from rules.fields.when import When
from rules.midi.notation import STANDARD, Naming
from rules.program.guards import holds
from rules.program.switch_states import Layout, State
from rules.rulefile.reading import Reading, read_rule_set
from rules.rulefile.rule_tables import Rule
from rules.rulefile.ruleset import RuleSet
from rules.rulefile.switch_tables import NumberSwitch, OnOffSwitch, ValueSwitch

_MOST_TEXT: Final = 60_000
"""Bytes of rule files that the page shows together: far more than fits on a phone, and sent to each."""


@dataclass(frozen=True, slots=True)
class RuleFacts:
    """Rules in force. `naming` is how each port's file counts notes and programs."""

    ruleset: RuleSet
    naming: Mapping[str, Naming]
    layout: Layout

    def naming_of(self, port: str) -> Naming:
        """How the file of a port, or else the first file, counts."""
        return self.naming.get(port) or next(iter(self.naming.values()), STANDARD)

    def device_at(self, port: str, channel: int) -> str | None:
        """The device that hears a channel (1-16) of a port; None where that isn't known."""
        devices = [name for name, device in self.ruleset.devices.items() if device.port == port]
        own = [name for name in devices if self.ruleset.devices[name].channel == channel]
        every = [name for name in devices if self.ruleset.devices[name].channel is None]
        found = own or every
        return found[0] if len(found) == 1 else None

    def rig(self, switches: Mapping[str, State], ports: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
        """Return ports, devices and rules; which of the rules are open now, and which ports are missing."""
        rules = [
            {
                "name": rule.name,
                "from": list(rule.source),
                "to": list(dict.fromkeys(name for one in rule.branches() for out in one.outlets for name in out.to)),
                "open": self._is_open(rule, switches),
            }
            for rule in self.ruleset.rules
        ]
        devices = [
            {"name": name, "port": device.port, "channel": device.channel}
            for name, device in self.ruleset.devices.items()
        ]
        return {"ports": [_port(port) for port in ports], "rules": rules, "devices": devices}

    def _is_open(self, rule: Rule, switches: Mapping[str, State]) -> bool:
        if not self._holds(rule.when, switches):
            return False
        return not rule.zones or any(self._holds(zone.when, switches) for zone in rule.zones)

    def _holds(self, when: When | None, switches: Mapping[str, State]) -> bool:
        if when is None:
            return True
        word = self.layout.initial
        for name, state in switches.items():
            if name in self.layout.fields and state in self.layout.fields[name].states:
                word = self.layout.turned(word, name, state)
        return holds(guard_of(self.layout, when), word)

    def about_song(self, name: str) -> str | None:
        """The player's notes about a song; None where there are none."""
        return next((song.about or None for song in self.ruleset.songs if song.name == name), None)

    def switch_states(self, switches: Mapping[str, State]) -> dict[str, dict[str, Any]]:
        """Return each switch: what it is at, what it can be at, and its kind."""
        return {
            name: {"at": switches.get(name, switch.first), **_kind(switch)}
            for name, switch in self.ruleset.switches.items()
        }


def read_facts(texts: RuleTexts) -> RuleFacts | None:
    """Return what the rules in force say; None where another version of Pointsman plays them."""
    try:
        reading = read_rule_set(texts)
    except RuleFileError:
        return None
    return RuleFacts(reading.ruleset, _naming(reading), layout_of(reading.ruleset.switches))


def _naming(reading: Reading) -> dict[str, Naming]:
    return {name: place.source.naming for name, place in reading.ports.items()}


def shown_files(texts: RuleTexts, problems: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Return rule files with what is wrong in each, by line. Where they are too long, the text is None."""
    room = _MOST_TEXT
    shown = []
    for name, content in texts:
        room -= len(content)
        errors = [
            {"line": problem["line"], "words": ": ".join(filter(None, (problem["place"], problem["text"])))}
            for problem in problems
            if problem["file"] == name
        ]
        text = content.decode("utf-8", "replace").removeprefix("\ufeff") if room >= 0 else None
        shown.append({"name": name, "text": text, "errors": errors})
    return shown


def _port(port: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "name": port["name"],
        "direction": port["direction"],
        "device_of_computer": port["computer_port"],
        "missing": port["state"] != "open",
    }


def _kind(switch: OnOffSwitch | ValueSwitch | NumberSwitch) -> dict[str, Any]:
    match switch:
        case OnOffSwitch():
            return {"kind": "on-off", "values": []}
        case ValueSwitch():
            return {"kind": "values", "values": list(switch.values)}
        case NumberSwitch():
            return {"kind": "numbers", "values": list(switch.numbers)}
