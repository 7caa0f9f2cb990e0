"""What arrives at each output, a channel of a port, and what the output is called."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from rules.findings.branch_ways import BranchWays, SourcedWay


class Output(NamedTuple):
    """A port by number, and a channel 0-15."""

    port: int
    channel: int


def ways_by_output(ways: BranchWays, kind: int) -> Mapping[Output, list[SourcedWay]]:
    """The ways at whose end messages of a kind arrive, by output; not those of a list that a step sends."""
    found: dict[Output, list[SourcedWay]] = {}
    for each in ways.all_leaving:
        form = each.way.form
        if form.kind == kind and form.rule and not each.way.literal:
            found.setdefault(Output(form.target, form.status & 0x0F), []).append(each)
    return found


def output_words(ways: BranchWays, output: Output) -> str:
    """The devices at an output, else the port and its channel."""
    port = ways.pipeline.ports[output.port]
    devices = ways.ruleset.devices.items()
    here = [f'"{name}"' for name, device in devices if device.port == port and device.hears(output.channel)]
    return " and ".join(here) or f"{port}, channel {output.channel + 1}"
