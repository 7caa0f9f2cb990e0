"""The slow model, held against the examples that were worked out by hand for each ruling."""

from __future__ import annotations

import pytest

from tests.rules.playing import expected, make_model, played
from tests.rules.rulings import CASES, Case


@pytest.mark.parametrize("case", CASES.values(), ids=[f"ruling_{name}" for name in CASES])
def test_model(case: Case) -> None:
    """The model sends what the example says."""
    assert played(make_model, case.text, case.played, case.reload_texts) == expected(case.sent)


def test_every_ruling_about_messages_has_an_example() -> None:
    """Rulings 1 to 30 are about messages, and each has an example at least."""
    assert {int(name.partition("_")[0]) for name in CASES} == set(range(1, 31))
