"""The steps of a rule: one file each, listed here in the order the documentation tells of them.

Adding a step means a new file, its line in `STEPS`, and its tests; the memory of a step that remembers is a node, in
`<name>_node.py` beside it.
"""

from __future__ import annotations

from typing import Final

from rules.steps.base import Step
from rules.steps.chord import ChordStep
from rules.steps.delay import DelayStep
from rules.steps.echo import EchoStep
from rules.steps.filter import FilterStep
from rules.steps.latch import LatchStep
from rules.steps.length import LengthStep
from rules.steps.map import MapStep
from rules.steps.rechannel import RechannelStep
from rules.steps.send import SendStep
from rules.steps.snap import SnapStep
from rules.steps.thin import ThinStep
from rules.steps.transpose import TransposeStep
from rules.steps.velocity import VelocityStep

STEPS: Final[tuple[type[Step], ...]] = (
    RechannelStep,
    FilterStep,
    TransposeStep,
    SnapStep,
    ChordStep,
    VelocityStep,
    MapStep,
    DelayStep,
    EchoStep,
    LengthStep,
    LatchStep,
    ThinStep,
    SendStep,
)
"""Every step there is; the set is closed."""
