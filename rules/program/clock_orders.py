"""What our clock can be asked for, by switches, triggers and commands."""

from __future__ import annotations

from typing import Final

ClockOrder = str | float
"""One of the words below; a number is a tempo in quarter notes a minute."""

START_ORDER: Final = "start"
CONTINUE_ORDER: Final = "continue"
STOP_ORDER: Final = "stop"
TAP_ORDER: Final = "tap"
