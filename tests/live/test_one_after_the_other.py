"""Live tests don't run side by side, where the tests share the processors."""

from __future__ import annotations

import pytest


def test_live_tests_stay_together(request: pytest.FixtureRequest) -> None:
    """The library that hands out the tests knows the group of this one by the end of its name."""
    if request.config.getoption("loadgroup", default=False):
        assert request.node.nodeid.endswith("@live")
