"""Which Pointsman the tests run: the source tree, or a wheel that was installed."""

from __future__ import annotations

import os
import sysconfig
from pathlib import Path

import router
import rules
import rules.engine
import rules.smf.direct
from rules.compiled import COMPILED

EXPECTED = os.environ.get("POINTSMAN_EXPECT", "source")
"""`source`, or the kind of wheel that scripts/test-wheel has installed: `pure` or `compiled`."""
INSTALLED = Path(sysconfig.get_path("purelib"))


def test_what_runs_is_what_was_asked_for() -> None:
    """A wheel's tests import what is installed and not the source tree, and the compiled one's engine is compiled."""
    packages = [Path(package.__file__ or "") for package in (router, rules, rules.engine, rules.smf.direct)]
    assert {INSTALLED in path.parents for path in packages} == {EXPECTED != "source"}
    assert (EXPECTED == "compiled") == COMPILED
    assert {path.suffix != ".py" for path in packages[2:]} == {COMPILED}
