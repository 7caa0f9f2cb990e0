"""The engine is measured against the slow model, with random rules and random performances.

POINTSMAN_EXAMPLES raises the number of examples; `scripts/compare-with-model` does that from the command line.
"""

from __future__ import annotations

import os

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.rules.comparing import difference
from tests.strategies import performances, rule_files, toml_of

EXAMPLES = int(os.environ.get("POINTSMAN_EXAMPLES", "150"))


@settings(
    max_examples=EXAMPLES, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(st.data())
def test_engine_does_what_the_model_does(data: st.DataObject) -> None:
    """Port, bytes, time and player of every message are the same, whatever rules are played and replaced how."""
    files = data.draw(rule_files(), label="rule files")
    performance = data.draw(performances(files), label="performance")
    told = difference([toml_of(file) for file in files], performance)
    assert not told, told
