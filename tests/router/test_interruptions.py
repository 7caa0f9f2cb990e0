"""Ctrl-C and its like, for commands that must end in good order."""

from __future__ import annotations

import signal
from collections.abc import Iterator

import pytest

from router.interruptions import ended_like_ctrl_c

ENDINGS = [signal.SIGTERM, signal.SIGHUP]


@pytest.fixture
def _as_a_terminal_starts_us() -> Iterator[None]:
    """A test run may have been started so that its own terminal can be closed."""
    before = {number: signal.signal(number, signal.SIG_DFL) for number in ENDINGS}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.mark.usefixtures("_as_a_terminal_starts_us")
@pytest.mark.parametrize("number", [signal.SIGINT, *ENDINGS])
def test_what_ends_a_command_ends_it_as_ctrl_c_does(number: signal.Signals) -> None:
    """What it has begun is ended by it, and the signals are handled as before afterwards."""
    with pytest.raises(KeyboardInterrupt), ended_like_ctrl_c():
        signal.raise_signal(number)
    assert [signal.getsignal(ending) for ending in ENDINGS] == [signal.SIG_DFL, signal.SIG_DFL]


@pytest.mark.usefixtures("_as_a_terminal_starts_us")
def test_who_is_to_outlive_the_terminal_does() -> None:
    """Whoever started us so that its closing means nothing knows why."""
    signal.signal(signal.SIGHUP, signal.SIG_IGN)
    with ended_like_ctrl_c():
        signal.raise_signal(signal.SIGHUP)
    assert signal.getsignal(signal.SIGHUP) == signal.SIG_IGN
