"""A short soak over a real sound server, as scripts/endurance/soak_live.py plays it for minutes."""

from __future__ import annotations

import subprocess
import sys

from endurance import soak_live
from tests.live.server import may_be_realtime


def test_a_soak_finds_nothing() -> None:
    """A few seconds, with new rules: nothing hangs, nothing is lost, and no process is left."""
    command = [sys.executable, soak_live.__file__, "0.05", "--rate", "200"]
    if may_be_realtime():
        command += ["--priority", "5"]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 0, done.stdout
    assert " 0 violations" in done.stdout
