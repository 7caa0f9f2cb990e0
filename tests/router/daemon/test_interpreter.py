"""How often the interpreter looks for garbage, and what it does not look for at all."""

from __future__ import annotations

import gc
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from router.daemon.interpreter import collect_seldom, end_without_collecting, ignore_old_objects, want_no_plugins

ROOT = Path(__file__).parents[3]


@pytest.fixture(autouse=True)
def _as_before() -> Iterator[None]:
    before = gc.get_threshold()
    yield
    gc.unfreeze()
    gc.set_threshold(*before)


def test_looking_becomes_rare() -> None:
    """A hundred times as rare as by itself."""
    gc.set_threshold(700, 10, 10)
    collect_seldom()
    assert gc.get_threshold()[0] >= 70_000


def test_what_was_made_before_is_never_looked_at_again() -> None:
    """So that no message waits for a look at all that a start has made."""
    kept = [[number] for number in range(100)]
    ignore_old_objects()
    assert gc.get_freeze_count() > len(kept)
    assert not any(one is kept for one in gc.get_objects())


def test_nothing_is_looked_at_when_the_process_ends() -> None:
    """What was made is frozen first, however often that was asked for; what is to be done at the end is done."""
    program = (
        "import atexit, gc\n"
        "from router.daemon.interpreter import end_without_collecting\n"
        "atexit.register(lambda: print(gc.get_freeze_count() > 1_000))\n"
        "end_without_collecting()\n"
        "end_without_collecting()\n"
        "print(gc.get_freeze_count())\n"
    )
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["0", "True"]
    end_without_collecting()
    assert gc.get_freeze_count() == 0


def test_pydantic_looks_for_no_plugins(monkeypatch: pytest.MonkeyPatch) -> None:
    """Unless somebody has said what it is to do."""
    monkeypatch.setenv("PYDANTIC_DISABLE_PLUGINS", "one")
    want_no_plugins()
    assert os.environ["PYDANTIC_DISABLE_PLUGINS"] == "one"
    monkeypatch.delenv("PYDANTIC_DISABLE_PLUGINS")
    want_no_plugins()
    assert os.environ["PYDANTIC_DISABLE_PLUGINS"] == "__all__"
