"""The numbers and names of random rule files and performances: few of each, so that they meet."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from hypothesis import strategies as st

Table = dict[str, Any]
Draw = Callable[[st.SearchStrategy[Any]], Any]

CHANNELS = [1, 1, 2, 2, 3]
KEYS = [60, 60, 62, 64, 72, 48]
VELOCITIES = [1, 30, 64, 100, 127]
VALUES = [0, 0, 1, 30, 63, 64, 90, 127, 127]
BENDS = [-8192, -100, 0, 0, 1, 512, 8191]
HELD = [1, 64, 64, 66, 67]
PARAMETERS = [98, 99, 100, 101, 6, 38, 96]
PLAIN = [7, 7, 39, 20, 33, 84, 10]
MODES = [120, 121, 121, 123, 123, 126, 122]
BANKS = [0, 32]
CONTROLLERS = [*HELD, *PARAMETERS, *PLAIN, *MODES, *BANKS]
SOURCES = ["keys", "pads", "seq"]
OUTPUTS = ["synth", "rack", "dry"]


def one_of(*values: Any) -> st.SearchStrategy[Any]:
    """One of these values."""
    return st.sampled_from(values)


def rarely(draw: Draw, chance: int = 4) -> bool:
    """True once in `chance` times; False is the simpler one."""
    return bool(draw(st.integers(0, chance - 1)) == chance - 1)


@dataclass(frozen=True, slots=True)
class Rig:
    """The names that rules may use, and whether steps that take time or hold notes are frequent."""

    sources: Sequence[str]
    outputs: Sequence[str]
    devices: Mapping[str, Table]
    switches: Mapping[str, Table]
    takes_time: bool = False

    @property
    def targets(self) -> list[str]:
        """What a rule may lead to."""
        return [*self.outputs, *self.devices]

    @property
    def numbers(self) -> list[str]:
        """The number switches."""
        return [name for name, switch in self.switches.items() if "numbers" in switch]
