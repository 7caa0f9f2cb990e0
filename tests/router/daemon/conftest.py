"""What tests of the daemon share."""

from __future__ import annotations

import pytest

from tests.support.live_rig import LiveRig


@pytest.fixture
def rig() -> LiveRig:
    """The loop with the usual rules."""
    return LiveRig()
