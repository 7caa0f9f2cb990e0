"""On which channel arrives what a source sends, once the steps of its port are done with it."""

from __future__ import annotations

from collections.abc import Iterable

from rules.compiler.compiler import Compiler
from rules.compiler.reach import through
from rules.midi.messages import NOTE_ON
from rules.program.forms import Form
from rules.rulefile.ruleset import RuleSet


def arriving_channels(ruleset: RuleSet, source: str, channels: Iterable[int]) -> dict[int, int]:
    """Return, for each channel (1-16) whose notes can be told from those of the others, the one that they arrive on.

    A channel whose notes are dropped, or that becomes several, isn't among them. Of several that become one, the one
    that stays as it is counts, else the lowest.
    """
    if not ruleset.ports[source].steps:
        return {channel: channel for channel in sorted(channels)}
    links = Compiler(ruleset, ()).port_steps(source)
    found: dict[int, int] = {}
    for channel in sorted(channels):
        forms = [Form(NOTE_ON | channel - 1)]
        for link in links:
            forms = through(link, forms)
        leaving = {form.channel for form in forms if form.kind == NOTE_ON and form.channel is not None}
        if len(leaving) == 1:
            found[channel] = leaving.pop()
    by_arrival: dict[int, int] = {}
    for channel, arriving in sorted(found.items(), key=lambda pair: (pair[0] != pair[1], pair[0])):
        by_arrival.setdefault(arriving, channel)
    return {channel: arriving for channel, arriving in found.items() if by_arrival[arriving] == channel}
