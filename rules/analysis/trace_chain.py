"""Along a chain: what its links make of a message, and where it arrives, in words."""

from __future__ import annotations

from collections.abc import Sequence

from rules.analysis.node_recorder import NodeRecorder, Passing
from rules.analysis.trace_line import TraceLine
from rules.compiler.chain import Chain, DeliverLink, OutletLink, RangeLink, StepLink
from rules.midi.messages import split_message
from rules.midi.notation import Naming, format_message
from rules.program.forms import form_of
from rules.program.guards import holds
from rules.program.switch_states import Layout
from rules.timing.delays import AT_ONCE, Delay, in_words


class ChainStory:
    """Follows messages along chains to `ports`, with the switches at `word`."""

    def __init__(self, ports: Sequence[str], layout: Layout, word: int, naming: Naming) -> None:
        self._ports = ports
        self._layout = layout
        self._word = word
        self._naming = naming

    def follow(self, chain: Chain, passing: Sequence[Passing], depth: int) -> list[TraceLine]:
        """Return the way of messages to the end of a chain."""
        lines: list[TraceLine] = []
        for link in chain:
            if isinstance(link, OutletLink):
                for one in passing:
                    lines += self._divide(link, one, depth)
                return lines
            story, passing = self.through(link, passing, depth)
            lines += story
            if not passing:
                return lines
            if isinstance(link, DeliverLink):
                return lines + self._arrivals(link, passing, depth)
        return lines

    def _divide(self, link: OutletLink, one: Passing, depth: int) -> list[TraceLine]:
        """To every name that its channel leads to."""
        channel = form_of(one.message).channel
        names = link.names_for(channel)
        if not names:
            return [TraceLine(depth, f"{self._told(one)}: `to` has nothing for channel {channel}, so it is dropped")]
        lines = []
        for name in names:
            lines.append(TraceLine(depth, f"{self._told(one)}: to {name}", target=name))
            lines += self.follow(link.end_of(name), [one], depth + 1)
        return lines

    def _arrivals(self, link: DeliverLink, passing: Sequence[Passing], depth: int) -> list[TraceLine]:
        return [self.arrival(link.target, one, depth) for one in passing]

    def arrival(self, target: int, one: Passing, depth: int) -> TraceLine:
        """Return the line of a message that arrives at a port, by its number."""
        port = self._ports[target]
        later = later_words(one.delay)
        text = f"arrives at port {port}: {self._told(one)}{later}"
        return TraceLine(depth, text, ((port, one.message),), late=bool(later), is_arrival=True)

    def through(self, link: object, passing: Sequence[Passing], depth: int) -> tuple[list[TraceLine], list[Passing]]:
        """Return what one link makes of each message, and the words for it."""
        lines: list[TraceLine] = []
        after: list[Passing] = []
        for one in passing:
            made = self._made(link, one)
            after += made
            if isinstance(link, StepLink):
                lines.append(TraceLine(depth, self._step_words(link, one, made)))
            elif isinstance(link, RangeLink) and [new.message for new in made] != [one.message]:
                told = ", ".join(map(self._told, made)) or "dropped"
                lines.append(TraceLine(depth, f"outside the notes of the device: {told}"))
        return lines, after

    def _step_words(self, link: StepLink, one: Passing, made: Sequence[Passing]) -> str:
        if link.when is not None and not holds(link.open, self._word):
            return f"{link.step.words(self._naming)}: not now, it waits for {link.when}"
        if [new.message for new in made] == [one.message] and made[0].delay == one.delay:
            return f"{link.step.words(self._naming)}: passes unchanged"
        told = ", ".join(self._told(new) + later_words(new.delay) for new in made)
        return f"{link.step.words(self._naming)}: {told or 'dropped'}"

    def _made(self, link: object, one: Passing) -> list[Passing]:
        """The messages that one link makes of one message."""
        assert isinstance(link, StepLink | RangeLink | DeliverLink)
        form = form_of(one.message)
        _, first, second = split_message(one.message)
        made: list[Passing] = []
        for new in link.fold(form):
            if not new.exists or not holds(new.guard, self._word):
                continue
            recorder, lane = NodeRecorder(self._layout, self._word, one), new.lane()
            if new.node is not None:
                recorder.hand(new.node, new.status, lane.first(first, second), lane.second(first, second))
            else:
                recorder.note(new.status, lane.first(first, second), lane.second(first, second), one.delay)
            made += recorder.made
        return made

    def _told(self, one: Passing) -> str:
        return format_message(one.message, self._naming)


def later_words(delay: Delay) -> str:
    """How much later a message goes out; empty where it does at once."""
    return "" if delay == AT_ONCE else f", {in_words(delay)} later"
