"""Findings are those of brute force: every message by itself through the slow model, in every state of the switches."""

from __future__ import annotations

import pytest

from tests.support.finding_difference import finding_differences


@pytest.mark.parametrize("seed", [3, 4, 160, 162, 166, 173])
def test_findings_are_those_of_brute_force(seed: int) -> None:
    """Small random rigs; `scripts/fuzzing/compare_findings.py 300` tries more and larger ones."""
    assert finding_differences(seed) == []
