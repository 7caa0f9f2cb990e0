"""What each DIN connection would carry if all sources played at full rate: more than it can is worth knowing.

Full rate is that of a DIN connection, 3,125 bytes a second, from each source. What `send` writes isn't counted, and nor
is portamento control: nobody presses a pedal a thousand times a second. Without running status a byte that comes is a
byte that goes, so a rule that leads on is a load of 100 %.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from rules.behaviour.behaviour import STATUSES, Way
from rules.behaviour.regions import Region
from rules.behaviour.turning import switch_dimension
from rules.findings.branch_ways import BranchWays, SourcedWay
from rules.findings.examples import example, friendly
from rules.findings.finding import Finding
from rules.findings.heaviest import heaviest, size_of
from rules.midi.controllers import PORTAMENTO_CONTROL
from rules.midi.messages import CONTROLLER
from rules.program.byte_tables import ALL

_Stream = tuple[int, int, int]
"""An output, a source, and a status of its messages."""

_FULL: Final = Fraction(1)
_FRIENDLY: Final = tuple(sorted(STATUSES, key=friendly))
_PLAYED: Final = Region(ALL & ~(1 << PORTAMENTO_CONTROL))


@dataclass(frozen=True, slots=True)
class FullLoad:
    """What a DIN output carries when each of some sources plays at full rate: 1 is all that it can.

    `sources` have their share, by name. `heaviest` is what makes the largest share: messages of one source.
    """

    port: str
    sources: dict[str, Fraction]
    heaviest: SourcedWay | None

    @property
    def load(self) -> Fraction:
        """All shares together."""
        return sum(self.sources.values(), Fraction(0))


def full_loads(ways: BranchWays) -> list[FullLoad]:
    """The load of each DIN output, in file order, also of those that get nothing."""
    targets = {ways.pipeline.ports.index(name): name for name in ways.ruleset.din_outputs}
    arriving: dict[_Stream, list[Way]] = {}
    for source, way in ways.all_leaving:
        if way.form.target not in targets:
            continue
        played = way if way.status & 0xF0 != CONTROLLER else way.within(_PLAYED)
        if played is not None and not way.literal:
            arriving.setdefault((way.form.target, source, way.status), []).append(played)
    return [_full_load(ways, name, target, arriving) for target, name in targets.items()]


def _full_load(ways: BranchWays, name: str, target: int, arriving: Mapping[_Stream, Sequence[Way]]) -> FullLoad:
    """The load of one output."""
    layout = ways.pipeline.layout
    initial = {switch_dimension(layout, name): 1 << field.first for name, field in layout.fields.items()}
    shares: dict[str, Fraction] = {}
    most = Fraction(0)
    shown: SourcedWay | None = None
    for source, source_name in enumerate(ways.pipeline.sources):
        share = Fraction(0)
        for status in _FRIENDLY:
            if leading := arriving.get((target, source, status)):
                size = size_of(status)
                found = heaviest(leading, status, initial, int(share * size))
                if found is not None and Fraction(found.size, size) > share:
                    share = Fraction(found.size, size)
                    if share > most:
                        most, shown = share, SourcedWay(source, found.way)
        if share:
            shares[source_name] = share
    return FullLoad(name, shares, shown)


def din_findings(ways: BranchWays) -> Iterator[Finding]:
    """One finding for each DIN output that could get more than it carries."""
    for each in full_loads(ways):
        if each.load <= _FULL or each.heaviest is None:
            continue
        shares = ", ".join(f"{name} {_percent(share)}" for name, share in each.sources.items())
        yield Finding(
            "DIN load",
            "remark",
            ways.reading.ports[each.port],
            f"All sources at full rate would need {_percent(each.load)} of this DIN connection ({shares}).",
            "See what a take needs: `pointsman check RULES --take FILE.mid`. A `thin` step makes it less.",
            example=example(ways.pipeline, each.heaviest),
        )


def _percent(load: Fraction) -> str:
    return f"{round(load * 100)} %"
