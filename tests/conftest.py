"""What all tests share."""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True)
def _usual_collecting() -> Iterator[None]:
    """The command collects garbage more rarely, which is for a process of its own: the next test finds it as usual."""
    thresholds = gc.get_threshold()
    yield
    gc.set_threshold(*thresholds)
