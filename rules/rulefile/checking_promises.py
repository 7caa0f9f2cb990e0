"""Checks of the promises in rule files: that each names what exists (ruling 36)."""

from __future__ import annotations

from collections.abc import Iterator

from rules.errors import Problem
from rules.rulefile.draft import Draft
from rules.rulefile.references import destination_fault, source_fault


def check_promises(draft: Draft) -> Iterator[Problem]:
    """Ports, and devices, of each promise."""
    for entry in draft.promises:
        promise, place = entry.value, entry.place
        for number, name in enumerate(promise.source):
            if fault := source_fault(draft, name):
                yield place.inside("from", number).problem(fault)
        for key, names in (("never", promise.never), ("always", promise.always)):
            for number, name in enumerate(names):
                if fault := destination_fault(draft, name):
                    yield place.inside(key, number).problem(fault)
