"""Where clock and transport don't go as meant, and the line to write (ruling 26): for `check` and `trace`."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from rules.compiler.compiler import Compiler
from rules.findings.branch_ways import BranchWays, SourcedWay
from rules.findings.examples import example
from rules.findings.finding import Finding
from rules.midi.messages import RESET, TRANSPORT
from rules.rulefile.clock_table import OWN
from rules.rulefile.reading import Reading
from rules.rulefile.ruleset import DEFAULT_BPM

_OURS: Final = "Start and stop your clock instead, with the triggers of [clock]."


def clock_findings(compiler: Compiler, ways: BranchWays) -> Iterator[Finding]:
    """Two clocks or transports for one output, ours that no output hears, and beats with no tempo but the usual one."""
    yield from _rival_clocks(compiler, ways.reading)
    yield from _unheard_clock(ways.reading)
    yield from _two_transports(ways)
    yield from _no_tempo(ways)


def _rival_clocks(compiler: Compiler, reading: Reading) -> Iterator[Finding]:
    """Several sources whose clock could be meant for one output, each with its rule."""
    for name, choice in compiler.clock_choices.items():
        rivals = choice.rivals
        if not rivals:
            continue
        written = {source: f'"{source}" ({reading.rules[number]})' for source, number in rivals.items()}
        if choice.source is None:
            text = f"Clock could come from {' or '.join(written.values())}, so none goes out."
        else:
            others = " and ".join(words for source, words in written.items() if source != choice.source)
            text = f"Clock comes from {written[choice.source]}, although {others} plays here too."
        remedy = f'Write clock = "{next(iter(rivals))}" on port "{name}", or "none".'
        rules = tuple(reading.rules[number] for number in rivals.values())
        yield Finding("two clocks", "doubt", reading.ports[name], text, remedy, others=rules)


def _unheard_clock(reading: Reading) -> Iterator[Finding]:
    """Our clock is started, or follows a clock, and no output hears it."""
    ruleset = reading.ruleset
    if any(port.clock == OWN for port in ruleset.ports.values()):
        return
    written = ruleset.clock
    text = "No output hears your clock, so starts, stops and clock messages go nowhere."
    remedy = 'Write clock = "own" on the ports that are to hear it.'
    if reading.clock is not None and (written.start or written.go or written.stop or written.go_on):
        yield Finding("unheard clock", "doubt", reading.clock, text, remedy)
    for entry, place in zip(ruleset.on_switch, reading.on_switch, strict=True):
        if any(effect.startswith("clock ") for effect in entry.do):
            yield Finding("unheard clock", "doubt", place, text, remedy)


def _two_transports(ways: BranchWays) -> Iterator[Finding]:
    """An output that follows the transport of one source, and gets transport that a rule sends for another."""
    clocked = {each.way.form.target: each.source for each in ways.leaving.get("", ())}
    own = {number for number in ways.pipeline.present if _hears_ours(ways, number)}
    found: dict[tuple[int, int], Finding] = {}
    for each in ways.all_leaving:
        form = each.way.form
        if not each.way.written or form.status not in TRANSPORT:
            continue
        if form.target not in own and clocked.get(form.target, each.source) == each.source:
            continue
        branch = ways.by_label[form.rule]
        port = ways.pipeline.ports[form.target]
        clock = "your clock" if form.target in own else f'"{ways.pipeline.sources[clocked[form.target]]}"'
        finding = Finding(
            "two transports",
            "doubt",
            ways.reading.ports[port],
            f'Transport comes from {clock}, and rule "{branch.name}" sends some too.',
            _OURS
            if form.target in own
            else 'Send it to the source of the clock, or write clock = "none" on this port.',
            about=branch.name,
            example=example(ways.pipeline, each),
            others=(branch.place,),
        )
        found.setdefault((form.target, branch.number), finding)
    yield from found.values()


def _hears_ours(ways: BranchWays, number: int) -> bool:
    return ways.reading.ruleset.ports[ways.pipeline.ports[number]].clock == OWN


def _no_tempo(ways: BranchWays) -> Iterator[Finding]:
    """Steps that count beats, where no file has a tempo and no output a clock."""
    reading = ways.reading
    clock = reading.ruleset.clock
    if clock.bpm is not None or clock.follow is not None:
        return
    if any(port.clock not in (None, "none") for port in reading.ruleset.ports.values()):
        return
    counting: dict[str, SourcedWay] = {}
    for each in ways.all_leaving:
        lasts = each.way.lasts
        if each.way.delay.beats or (lasts is not None and lasts.beats):
            counting.setdefault(each.way.form.rule, each)
    seen = set()
    for branch in ways.branches:
        shown = counting.get(branch.label)
        if shown is not None and branch.number not in seen:
            seen.add(branch.number)
            yield Finding(
                "no tempo",
                "remark",
                branch.rule_place,
                f"It counts beats, and no clock or tempo is named: until a clock comes they go at {DEFAULT_BPM:g} BPM.",
                "Write `bpm` below the header [clock].",
                example=example(ways.pipeline, shown),
            )


def clock_advice(compiler: Compiler, source: str, status: int) -> Iterator[str]:
    """Return why clock, transport or a reset from a source goes to no port, and what to write so that it does."""
    if status == RESET:
        yield "a system reset goes only to ports that ask for it: write `pass_reset = true` on the port"
        return
    choices = compiler.clock_choices
    if not choices:
        yield "no port can send"
        return
    if compiler.ruleset.clock.follow == source:
        yield f'your clock follows {source}, and no port hears it: write clock = "{OWN}" on the port'
        return
    undecided = [name for name, choice in choices.items() if choice.source is None and source in choice.rivals]
    for name in undecided:
        rivals = " or ".join(f'"{rival}"' for rival in choices[name].rivals)
        yield f'the clock of port {name} could come from {rivals}: set clock = "{source}" on port {name}'
    if not undecided:
        ports = " or ".join(choices)
        yield f'no port takes clock and transport from "{source}": set clock = "{source}" on port {ports}'
