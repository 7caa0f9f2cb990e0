"""`.ci/run`, held to what is there: it runs whole only where a change is judged."""

from __future__ import annotations

import re

from tests.support.places import SOURCE

TEXT = (SOURCE / ".ci/run").read_text(encoding="utf-8")


def test_what_it_runs_is_there() -> None:
    """Every script and every test that it names exists, also after a move."""
    named = re.findall(r"\b(?:tests|scripts)/[\w./-]+", TEXT)
    assert len(named) > 10
    assert [name for name in named if not (SOURCE / name).exists()] == []


def test_compiled_code_is_tested_compiled() -> None:
    """The packages that hold machine code have their tests in the run on the compiled wheel."""
    listed = TEXT.partition("compiled=(")[2].partition(")")[0]
    assert {"tests/rules", "tests/model", "tests/rulings", "tests/test_wheel.py"} <= set(listed.split())
    assert 'scripts/test-wheel compiled "${compiled[@]}"' in TEXT
