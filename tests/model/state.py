"""What all parts of the slow model share: rules, players, switches, what is held, and what is still to come."""

from __future__ import annotations

from collections.abc import Sequence

from rules.rulefile.ruleset import RuleSet
from rules.rulefile.stages import Stage
from rules.timing.delays import AT_ONCE, Delay, Later
from tests.model.agenda import Agenda
from tests.model.chain import At, Memory
from tests.model.facts import InKey
from tests.model.ledger import Item, Ledger
from tests.model.merging import Merge, Output
from tests.model.reach import Reach
from tests.model.routing import Emission, Way


class State:
    """One for each model. Players go by number: `players` are their sources, `hands` what outputs know them as."""

    def __init__(self, ruleset: RuleSet, later: Later) -> None:
        self.ruleset = ruleset
        self.later = later
        self.players: list[str] = []
        self.hands: list[str] = []
        self.switches: dict[str, bool | int | str] = {name: switch.first for name, switch in ruleset.switches.items()}
        self.memory = Memory()
        self.ledger = Ledger()
        self.agenda = Agenda()
        self.merge = self._merge({})
        self._reach = Reach(ruleset)
        self._orders = 0

    def play_by(self, ruleset: RuleSet) -> None:
        """Other rules from now on."""
        self.ruleset = ruleset
        self._reach = Reach(ruleset)

    def forget_outputs(self) -> None:
        """After a panic nothing is known of the outputs but who has chosen sounds there."""
        self.ledger.presses.clear()
        self.ledger.rests.clear()
        self.merge = self._merge(self.merge.choosing)

    def _merge(self, choosing: dict[Output, set[str]]) -> Merge:
        return Merge(self.ledger, lambda player: self.hands[player], self.shares_banks, choosing=choosing)

    def shares_banks(self, output: Output) -> bool:
        """Whether two sources can choose sounds at an output (ruling 16)."""
        return self._reach.shares_banks(output)

    def order(self) -> int:
        """The turn of what comes about now, after all that came about before."""
        self._orders += 1
        return self._orders

    def after(self, now: int, delay: Delay) -> int:
        """When something is due that has a delay, or none."""
        return now if delay == AT_ONCE else self.later(now, delay)

    def way(self) -> Way:
        """The way through the rules as the switches are now."""
        return Way(self.ruleset, dict(self.switches))

    def exists(self, port: str) -> bool:
        """Whether there is such an output."""
        return port in self.ruleset.ports and self.ruleset.ports[port].can_send

    def item(self, emission: Emission, player: int, in_key: InKey | None) -> Item:
        """A message on its way out."""
        hand = self.hands[player]
        return Item(emission.port, emission.message, player, hand, in_key, emission.flow.copy, self.order())

    def stage_at(self, at: At) -> Stage | None:
        """The step at a place of the rule file with its `when`; None if there is none."""
        kind, name, *numbers = at
        ruleset = self.ruleset
        stages: Sequence[Stage] = ()
        if kind == "port" and name in ruleset.ports and ruleset.ports[str(name)].can_receive:
            stages = ruleset.ports[str(name)].steps
        if kind == "device" and name in ruleset.devices:
            stages = ruleset.devices[str(name)].steps
        for rule in ruleset.rules:
            if kind in ("rule", "zone") and rule.name == name:
                stages = rule.steps if kind == "rule" else ()
                if kind == "zone" and int(numbers[0]) < len(rule.zones):
                    stages = rule.zones[int(numbers[0])].steps
        number = int(numbers[-1])
        return stages[number] if number < len(stages) else None

    def step_at(self, at: At) -> object:
        """The step alone; None if there is none."""
        stage = self.stage_at(at)
        return None if stage is None else stage.step
