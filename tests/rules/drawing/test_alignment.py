"""Where the boxes of a column stand."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from rules.drawing.alignment import tops

HEIGHTS = st.lists(st.integers(1, 50).map(float), min_size=1, max_size=8)


def test_boxes_stand_where_they_wish_if_there_is_room() -> None:
    """The wish is about the middle of a box."""
    assert tops([10, 20], [25, 70], 5, 0, 100) == [20, 60]


def test_boxes_with_one_wish_stand_around_it() -> None:
    """None is over another, and the gap between them is kept."""
    assert tops([10, 10], [50, 50], 6, 0, 100) == [37, 53]


def test_boxes_stay_inside() -> None:
    """At both ends; too many begin at the upper end."""
    assert tops([10, 10], [-40, 200], 0, 0, 100) == [0, 90]
    assert tops([60, 60], [0, 0], 0, 5, 100) == [5, 65]


@given(HEIGHTS, st.data())
def test_boxes_never_overlap(heights: list[float], data: st.DataObject) -> None:
    """Whatever they wish for."""
    wishes = data.draw(st.lists(st.floats(-100, 600), min_size=len(heights), max_size=len(heights)))
    found = tops(heights, wishes, 3, 0, 500)
    assert all(
        above + height + 3 <= below + 1e-6 for above, height, below in zip(found, heights, found[1:], strict=False)
    )
    assert found[0] >= 0
    assert found[-1] + heights[-1] <= 500 + 1e-6
