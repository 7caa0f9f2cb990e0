"""The error of a command line that can't be meant."""

from __future__ import annotations

from rules.errors import PointsmanError


class UsageError(PointsmanError):
    """A command can't do what its arguments ask for. The text says what to write instead."""
