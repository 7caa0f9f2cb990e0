"""Forms of single first data bytes, joined to one where they do the same.

A condition on bends leaves a form for each of 128 first bytes (see `Form.spread`). Joined again, they are as few as
what they do.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from typing import TypeVar

from rules.program.byte_tables import FIRST, IDENTITY, SECOND, open_in
from rules.program.forms import Form

Rest = TypeVar("Rest", bound=Hashable)


def joined(forms: Iterable[tuple[Form, Rest]]) -> list[tuple[Form, Rest]]:
    """Return forms, each with what else has to be equal, once each and joined where they differ in first bytes alone.

    Their outgoing first bytes may differ as well: they become one table.
    """
    found: list[tuple[Form, Rest]] = []
    tables: dict[tuple[Form, Rest], dict[int, int]] = {}
    for form, rest in dict.fromkeys(forms):
        made = _of_single_byte(form)
        if made is None:
            found.append((form, rest))
            continue
        first, out = made
        kind = form._replace(one=b"", feed_one=FIRST, gate_one=0), rest
        table = tables.setdefault(kind, {})
        if table.setdefault(first, out) != out:  # two ways from one message: they stay two
            found.append((form, rest))
    return found + [(_joined(form, table), rest) for (form, rest), table in tables.items()]


def _of_single_byte(form: Form) -> tuple[int, int] | None:
    """The one first byte that a form takes, and what it becomes; None for others."""
    if form.gate_one & (form.gate_one - 1):
        return None
    first = form.gate_one.bit_length() - 1
    if form.feed_one == FIRST:
        return first, form.one[first]
    outs = {form.one[second] for second in open_in(form.gate_two)}
    return (first, outs.pop()) if form.feed_one == SECOND and len(outs) == 1 else None


def _joined(form: Form, table: dict[int, int]) -> Form:
    one = IDENTITY
    if any(first != out for first, out in table.items()):
        one = bytes(table.get(byte, byte) for byte in range(128)) + IDENTITY[128:]
    return form._replace(one=one, gate_one=sum(1 << first for first in table))
