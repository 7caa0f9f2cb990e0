"""Ctrl-C and its like, for commands that must end in good order."""

from __future__ import annotations

import signal

import pytest

from router.files.interrupts import ended_like_ctrl_c

ENDINGS = [signal.SIGTERM, signal.SIGHUP]


def interrupted_twice(first: signal.Signals, second: signal.Signals, ended: list[str]) -> None:
    """Do something, and end it in order, unless the second signal stops even that."""
    try:
        signal.raise_signal(first)
    finally:
        signal.raise_signal(second)
        ended.append("in order")


@pytest.mark.usefixtures("as_a_terminal_starts_us")
@pytest.mark.parametrize("number", [signal.SIGINT, *ENDINGS])
def test_what_ends_a_command_ends_it_as_ctrl_c_does(number: signal.Signals) -> None:
    """What it has begun is ended by it, and the signals are handled as before afterwards."""
    with pytest.raises(KeyboardInterrupt), ended_like_ctrl_c():
        signal.raise_signal(number)
    handlers = [signal.getsignal(ending) for ending in (*ENDINGS, signal.SIGINT)]
    assert handlers == [signal.SIG_DFL, signal.SIG_DFL, signal.default_int_handler]


@pytest.mark.usefixtures("as_a_terminal_starts_us")
@pytest.mark.parametrize("first", [signal.SIGINT, *ENDINGS])
@pytest.mark.parametrize("second", ENDINGS)
def test_what_is_ended_in_order_is_stopped_by_no_second_signal(first: signal.Signals, second: signal.Signals) -> None:
    """A closed terminal is told twice; what was begun still comes to its end."""
    ended: list[str] = []
    with pytest.raises(KeyboardInterrupt), ended_like_ctrl_c():
        interrupted_twice(first, second, ended)
    assert ended == ["in order"]


@pytest.mark.usefixtures("as_a_terminal_starts_us")
@pytest.mark.parametrize("first", [signal.SIGINT, *ENDINGS])
def test_a_second_ctrl_c_stops_even_that(first: signal.Signals) -> None:
    """Whoever presses it while things are ended doesn't want to wait."""
    ended: list[str] = []
    with pytest.raises(KeyboardInterrupt), ended_like_ctrl_c():
        interrupted_twice(first, signal.SIGINT, ended)
    assert ended == []


@pytest.mark.usefixtures("as_a_terminal_starts_us")
def test_who_is_to_outlive_the_terminal_does() -> None:
    """Whoever started us so that its closing means nothing knows why."""
    signal.signal(signal.SIGHUP, signal.SIG_IGN)
    with ended_like_ctrl_c():
        signal.raise_signal(signal.SIGHUP)
    assert signal.getsignal(signal.SIGHUP) == signal.SIG_IGN
