"""Bank selects of several sources on one output channel: each belongs to the program change after it (ruling 16)."""

from __future__ import annotations

from collections.abc import Sequence

from rules.program.event import Event
from rules.program.tables import OutputChannel

ChannelHolder = tuple[int, int]
"""Who holds what concerns a whole channel: a hand, and an incoming channel 0-15."""

Going = tuple[int, bytes, int]
"""What goes out: port, message, player."""

_Chooser = tuple[OutputChannel, ChannelHolder]
_Halves = dict[int, Event]
"""Bank selects by controller: the coarse and the fine half."""


class BankSelects:
    """The bank selects of all outputs that have no program change yet.

    `channels` are those where sources can meet. There a bank select waits once another source has chosen a sound; what
    waits is also entered into `waiting`, by player. Until then it passes, and is kept, since another's program change
    may come before its own: then it is `overtaken`, and goes again.
    """

    def __init__(self, channels: frozenset[OutputChannel], waiting: dict[int, list[bytes]]) -> None:
        self.channels = channels
        self._told_waiting = waiting
        self._choosing: dict[OutputChannel, set[int]] = {}
        self._waiting: dict[_Chooser, _Halves] = {}
        self._passed: dict[_Chooser, _Halves] = {}
        self._overtaken: dict[_Chooser, _Halves] = {}

    def choose(self, channel: OutputChannel, holder: ChannelHolder, number: int, event: Event) -> list[Going]:
        """Take a bank select by its controller; return what goes out: itself, or nothing.

        It waits in place of the one with its number that did.
        """
        choosing = self._choosing.setdefault(channel, set())
        if not choosing - {holder[0]}:
            choosing.add(holder[0])
            self._passed.setdefault((channel, holder), {})[number] = event
            self._overtaken.get((channel, holder), {}).pop(number, None)
            return [_going(event)]
        halves = self._waiting.setdefault((channel, holder), {})
        if number in halves:
            self._let_out({number: halves[number]})
        halves[number] = event
        self._told_waiting[event.player].append(event.message)
        return []

    def before_program(self, channel: OutputChannel, holder: ChannelHolder) -> list[Going]:
        """Return the bank selects that go out before a program change, coarse half first."""
        if channel not in self.channels:
            return []
        self._choosing.setdefault(channel, set()).add(holder[0])
        self._passed.pop((channel, holder), None)
        self._overtake([each for each in self._passed if each[0] == channel and each[1][0] != holder[0]])
        waiting = self._waiting.pop((channel, holder), {})
        self._let_out(waiting)
        halves = self._overtaken.pop((channel, holder), {}) | waiting
        return [_going(event) for _, event in sorted(halves.items())]

    def settle(self) -> list[Going]:
        """Take out the bank selects that still wait, at the end of a performance."""
        waiting, self._waiting = self._waiting, {}
        return [going for halves in waiting.values() for going in self._let_out(halves)]

    def change(self, channels: frozenset[OutputChannel]) -> list[Going]:
        """Set where sources can meet from now on; return the bank selects that need not wait any more."""
        self.channels = channels
        stay = {name: halves for name, halves in self._waiting.items() if name[0] in channels}
        self._waiting = {name: halves for name, halves in self._waiting.items() if name[0] not in channels}
        going = self.settle()
        self._waiting = stay
        return going

    def clear(self) -> None:
        """Forget all bank selects. Who chooses sounds where is still known."""
        for state in (self._waiting, self._passed, self._overtaken):
            state.clear()

    def return_port(self, target: int) -> None:
        """Let those that passed go again at a port that has returned: its instrument may have lost them."""
        self._overtake([each for each in self._passed if each[0][0] == target])

    def drop_ports(self, targets: frozenset[int]) -> None:
        """Forget all about ports that are going."""
        for name in [name for name in self._waiting if name[0][0] in targets]:
            self._let_out(self._waiting.pop(name))
        for state in (self._passed, self._overtaken):
            for name in [name for name in state if name[0][0] in targets]:
                del state[name]
        self._choosing = {channel: hands for channel, hands in self._choosing.items() if channel[0] not in targets}

    def _overtake(self, choosers: Sequence[_Chooser]) -> None:
        """Let what passed go again. One half may have been overtaken before, and the other only now."""
        for chooser in choosers:
            self._overtaken.setdefault(chooser, {}).update(self._passed.pop(chooser))

    def _let_out(self, halves: _Halves) -> list[Going]:
        """Return bank selects that wait no more, coarse half first."""
        for event in halves.values():
            self._told_waiting[event.player].remove(event.message)
        return [_going(event) for _, event in sorted(halves.items())]


def _going(event: Event) -> Going:
    return event.target, event.message, event.player
