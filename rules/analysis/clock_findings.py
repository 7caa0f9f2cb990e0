"""Where clock and transport don't go as meant, and the line to write (ruling 26): for `check` and `trace`."""

from __future__ import annotations

from collections.abc import Iterator

from rules.compiler.compiler import Compiler
from rules.errors import Problem
from rules.midi.messages import RESET
from rules.rulefile.reading import Reading


def rival_clocks(compiler: Compiler, reading: Reading) -> Iterator[Problem]:
    """Several sources whose clock could be meant for one output, each with its rule."""
    for name, choice in compiler.clock_choices.items():
        rivals = choice.rivals
        if not rivals:
            continue
        written = {source: f'"{source}" ({reading.rules[number]})' for source, number in rivals.items()}
        if choice.source is None:
            text = f"clock could come from {' or '.join(written.values())}, so none goes out"
        else:
            others = " and ".join(words for source, words in written.items() if source != choice.source)
            text = f"clock comes from {written[choice.source]}, although {others} plays here too"
        first = next(iter(rivals))
        yield reading.ports[name].problem(f'{text}: write clock = "{first}" on port "{name}", or "none"')


def clock_advice(compiler: Compiler, source: str, status: int) -> Iterator[str]:
    """Return why clock, transport or a reset from a source goes to no port, and what to write so that it does."""
    if status == RESET:
        yield "a system reset goes only to ports that ask for it: write `pass_reset = true` on the port"
        return
    choices = compiler.clock_choices
    if not choices:
        yield "no port can send"
        return
    undecided = [name for name, choice in choices.items() if choice.source is None and source in choice.rivals]
    for name in undecided:
        rivals = " or ".join(f'"{rival}"' for rival in choices[name].rivals)
        yield f'the clock of port {name} could come from {rivals}: set clock = "{source}" on port {name}'
    if not undecided:
        ports = " or ".join(choices)
        yield f'no port takes clock and transport from "{source}": set clock = "{source}" on port {ports}'
