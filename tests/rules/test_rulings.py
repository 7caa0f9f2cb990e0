"""Every ruling about messages, played on the engine and on the slow model alike."""

from __future__ import annotations

import pytest

from tests.rules.playing import MakeSubject, expected, make_model, played
from tests.rules.rulings import CASES, Case
from tests.rules.subjects import make_engine


@pytest.mark.parametrize("make", [make_engine, make_model], ids=["engine", "model"])
@pytest.mark.parametrize("case", CASES.values(), ids=[f"ruling_{name}" for name in CASES])
def test_ruling(case: Case, make: MakeSubject) -> None:
    """What comes out is what the ruling says, worked out by hand."""
    assert played(make, case.text, case.played, case.reload_texts) == expected(case.sent)


def test_every_ruling_about_messages_has_an_example() -> None:
    """Rulings 1 to 30 and 34 are about messages, and each has an example at least."""
    assert {int(name.partition("_")[0]) for name in CASES} == {*range(1, 31), 34}
