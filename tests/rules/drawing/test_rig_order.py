"""A rig in the order of its picture."""

from __future__ import annotations

from rules.drawing.rig_order import in_order
from tests.support.rig_views import view_of

TANGLED = """
[[rules]]
name = "one"
from = "pads"
match = { channel = 1 }
to = ["rack2", "kit"]
[[rules]]
name = "two"
from = "keys"
match = { channel = 1 }
to = "organ"
"""


def test_lines_that_would_cross_do_not() -> None:
    """Sources, outputs and devices change places with their neighbours; every exit is in the order of its target."""
    view = in_order(view_of(TANGLED))
    assert [source.name for source in view.sources] == ["pads", "keys"]
    assert [rule.name for rule in view.rules] == ["one", "two"]
    assert [output.port.name for output in view.outputs] == ["rack2", "rack1"]
    assert [device.name for device in view.outputs[1].devices] == ["kit", "organ"]
    assert [leaving.target for leaving in view.rules[0].exits] == ["rack2", "kit"]


def test_nothing_is_lost() -> None:
    """All else of the view stays as it is."""
    before = view_of(TANGLED)
    after = in_order(before)
    assert {rule.name for rule in after.rules} == {rule.name for rule in before.rules}
    assert (after.switches, after.marks, after.curves, after.title) == (
        before.switches,
        before.marks,
        before.curves,
        before.title,
    )
