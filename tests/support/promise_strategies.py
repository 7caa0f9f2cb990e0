"""Random promises about random rule files."""

from __future__ import annotations

from hypothesis import strategies as st

from tests.support.step_strategies import some_conditions
from tests.support.value_strategies import Draw, Table, one_of, rarely


@st.composite
def promises(draw: Draw, file: Table, number: int = 1) -> Table:
    """One promise about the ports and devices of a rule file."""
    sources = [name for name, port in file["ports"].items() if "input" in port]
    targets = [*(name for name, port in file["ports"].items() if "output" in port), *file["devices"]]
    names = st.lists(st.sampled_from(targets), min_size=1, max_size=2, unique=True)
    found: Table = {"name": f"promise {number}", "from": draw(st.sampled_from(sources))}
    if draw(st.booleans()):
        found["match"] = draw(st.one_of(some_conditions(), one_of({"kind": "note-off"}, {"kind": ["start", "sysex"]})))
    found[draw(one_of("never", "always"))] = draw(names)
    if rarely(draw, 3):
        found["out"] = draw(some_conditions())
    if "always" in found and rarely(draw, 3):
        found["unchanged"] = True
    return found
