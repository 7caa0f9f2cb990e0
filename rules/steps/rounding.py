"""Halves go upwards (ruling 20)."""

from __future__ import annotations


def rounded_quotient(number: int, by: int) -> int:
    """The whole number nearest to a quotient, halves upwards; `by` is positive.

    Whole numbers throughout: exact as fractions are, and many times faster where a table takes 128 of them.
    """
    return (2 * number + by) // (2 * by)
