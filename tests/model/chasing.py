"""`chase`: what a rule that opens sends of the values that came before (ruling 25)."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

from rules.rulefile.rule_tables import Rule
from tests.model import facts
from tests.model.booking import Booking
from tests.model.chain import Follow, Moment, onward
from tests.model.facts import InKey
from tests.model.ledger import Family, Press
from tests.model.lists import Switches
from tests.model.merging import Out
from tests.model.routing import Branch, Emission, Way, branches_of, once
from tests.model.state import State
from tests.model.timing import Start


class Chasing:
    """The last values of all players."""

    def __init__(self, state: State, booking: Booking) -> None:
        self.state = state
        self.booking = booking
        self.known: dict[tuple[int, int, int], tuple[InKey, bytes]] = {}
        self.lost: set[tuple[int, int, int]] = set()

    def turned(self, before: Switches, after: Switches, now: int, out: Out) -> None:
        """Switches have turned: what the rules that they open have to chase."""
        for rule in self.state.ruleset.rules:
            for branch in branches_of(rule):
                if rule.chase and not branch.is_open(before) and branch.is_open(after):
                    self._chase(rule, branch, now, out)

    def forget(self, player: int) -> None:
        """Nobody chases what this player played."""
        self.known = {place: value for place, value in self.known.items() if place[0] != player}
        self.lost &= self.known.keys()

    def lose(self, player: int) -> None:
        """The source is lost: what it has played until now holds nothing any more."""
        self.lost |= {place for place in self.known if place[0] == player}

    def _chase(self, rule: Rule, branch: Branch, now: int, out: Out, only: str = "") -> None:
        """Sends the last values that a rule wants; for one port only, past the steps that would keep them."""
        for place in self._last_known(rule.source, rule.chase):
            known, (in_key, message) = place[0], self.known[place]
            moment = Moment(dict(self.state.switches), self.state.memory, known, in_key)
            way = self.state.way()
            flows = way.into_rules(self.state.players[known], message, moment)
            outs = onward(flows, _along(way, rule, branch), moment)
            name = f" chase {self.state.ruleset.rules.index(rule)} {branch.number}"
            emissions = once(e for each in outs for e in way.at_stop(each, moment, name))
            if only or place in self.lost:
                emissions = once(end for each in emissions for end in _ends(each) if only in ("", end.port))
            # Values are chased, nothing else: they fire no `send` and make no notes.
            emissions = [e for e in emissions if not e.flow.sent and not facts.is_note(e.message)]
            if place in self.lost:
                emissions = [e for e in emissions if not _holds(e.message)]
            start = Start(known, in_key, in_key, Family(), now)
            self.booking.emit_all(emissions, start, Press(way, []), now, out)

    def chase_at(self, port: str, now: int, out: Out) -> None:
        """What a port that has returned is to know: the last values by the rules that are open now."""
        for rule in self.state.ruleset.rules:
            for branch in branches_of(rule):
                if rule.chase and branch.is_open(self.state.switches):
                    self._chase(rule, branch, now, out, port)

    def know(self, player: int, arrived: bytes, message: bytes) -> None:
        """Remembers the last `message` behind each controller, program, bend and pressure that any rule chases."""
        kind = facts.kind_of(arrived)
        thing = facts.number_of(arrived) if facts.is_controller(arrived) else kind
        if 0xB0 <= arrived[0] <= 0xEF and any(thing in rule.chase for rule in self.state.ruleset.rules):
            in_key = facts.in_key_of(player, message)
            self.known[player, arrived[0], facts.number_of(arrived)] = (in_key, message)
            self.lost.discard((player, arrived[0], facts.number_of(arrived)))

    def _last_known(self, sources: tuple[str, ...], wanted: tuple[int | str, ...]) -> list[tuple[int, int, int]]:
        """Where the last values are that a rule chases: by source and player, then as listed, then by channel."""
        statuses = {"program": 0xC0, "channel-pressure": 0xD0, "pitch-bend": 0xE0}
        found = []
        mine = [player for source in sources for player, its in enumerate(self.state.players) if its == source]
        for player, thing, channel in product(mine, wanted, range(16)):
            status, number = (statuses[thing], 0) if isinstance(thing, str) else (0xB0, thing)
            if (player, status | channel, number) in self.known:
                found.append((player, status | channel, number))
        return found


def _along(way: Way, rule: Rule, branch: Branch) -> Follow:
    """What one branch of a rule makes of a flow."""
    return lambda flow, moment: way.along(rule, [branch], flow, moment)


def _holds(message: bytes) -> bool:
    """Whether a value is away from rest."""
    return facts.is_held_like_a_note(message) and not facts.is_at_rest(message)


def _ends(emission: Emission) -> list[Emission]:
    """What an emission is at the ports, past the steps that keep things, with the delays before them."""
    if not emission.is_kept:
        return [emission]
    way = emission.flow.way
    ends = [end for each in emission.behind for end in _ends(each)]
    return [replace(end, flow=replace(end.flow, way=(*way, *end.flow.way))) for end in ends]
