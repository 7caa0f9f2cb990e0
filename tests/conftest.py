"""What all tests share."""

from __future__ import annotations

import gc
import signal
from collections.abc import Iterator
from itertools import count
from typing import Any

import pytest
from hypothesis import settings

from tests.live.server import kind_of_server

# Examples take as long as the computer lets them: no test looks at the time.
settings.register_profile("without a deadline", settings.default, deadline=None)
settings.load_profile("without a deadline")

AS_A_TERMINAL_STARTS_US: dict[signal.Signals, Any] = {
    signal.SIGINT: signal.default_int_handler,
    signal.SIGTERM: signal.SIG_DFL,
    signal.SIGHUP: signal.SIG_DFL,
}


def pytest_report_header() -> str:
    """Say which kind of sound server the live tests start."""
    return f"sound servers: {kind_of_server()}"


@pytest.fixture(scope="session", autouse=True)
def _signals_reach_what_tests_start() -> None:
    """Let a run that `nohup` or a shell's background job has ignore signals start programs that don't.

    Programs inherit what is ignored, but no handler: one that does nothing protects the run as well, and they start as
    usual.
    """
    for number in AS_A_TERMINAL_STARTS_US:
        if signal.getsignal(number) == signal.SIG_IGN:
            signal.signal(number, lambda number, frame: None)


@pytest.fixture
def as_a_terminal_starts_us() -> Iterator[None]:
    """For tests that send signals to themselves: what they do without handlers of ours."""
    before = {number: signal.signal(number, usual) for number, usual in AS_A_TERMINAL_STARTS_US.items()}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


_FOLDERS = count(1)


@pytest.fixture(autouse=True)
def _a_state_folder_of_its_own(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """What a daemon of a test leaves for the next start stays in the test."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path_factory.getbasetemp() / f"state-{next(_FOLDERS)}"))


@pytest.fixture(autouse=True)
def _usual_collecting() -> Iterator[None]:
    """The command collects garbage more rarely, which is for a process of its own: the next test finds it as usual."""
    thresholds = gc.get_threshold()
    yield
    gc.set_threshold(*thresholds)
