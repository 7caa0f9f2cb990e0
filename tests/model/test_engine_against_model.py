"""Random rules and performances on the engine and on the slow model, side by side.

`POINTSMAN_EXAMPLES` sets how many are played; the first are always the same. `scripts/fuzzing/compare_with_model.py`
plays others.
"""

from __future__ import annotations

import os

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from tests.support.comparing import difference, live_difference
from tests.support.performance_strategies import performances
from tests.support.rule_strategies import rule_files, toml_of
from tests.support.session_strategies import sessions
from tests.support.thru_strategies import thru_files, thru_performances

EXAMPLES = int(os.environ.get("POINTSMAN_EXAMPLES", "150"))

as_many_each_time = settings(
    max_examples=EXAMPLES,
    derandomize=True,
    database=None,
    phases=[Phase.generate, Phase.shrink],
    suppress_health_check=list(HealthCheck),
)


@as_many_each_time
@given(st.data())
def test_engine_and_model_agree(data: st.DataObject) -> None:
    """The same messages go out at the same times in the same order, with the same pending, whatever the rules say."""
    files = data.draw(rule_files())
    performance = data.draw(performances(files, most=60 if EXAMPLES <= 150 else 200))
    told = difference([toml_of(file) for file in files], performance)
    assert not told, told


@as_many_each_time
@given(st.data())
def test_plain_cables_are_changed_while_things_are_held(data: st.DataObject) -> None:
    """What went the short ways is known in full at every reload, whatever the numbers of its ports are by then."""
    files = data.draw(thru_files())
    performance = data.draw(thru_performances(files))
    told = difference([toml_of(file) for file in files], performance)
    assert not told, told


@as_many_each_time
@given(st.data())
def test_live_sessions_agree_and_end_in_silence(data: st.DataObject) -> None:
    """What is pending follows clocks and tempos that are set, through reloads and pulled cables; in the end nothing
    sounds and nothing is pending."""
    files = data.draw(rule_files(takes_time=True))
    session = data.draw(sessions(files, most=60 if EXAMPLES <= 150 else 200))
    told = live_difference([toml_of(file) for file in files], session)
    assert not told, told
