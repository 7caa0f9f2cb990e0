"""Checks of songs: the rules that they name exist, and a set list has songs."""

from __future__ import annotations

from collections.abc import Iterator

from rules.errors import Problem
from rules.rulefile.draft import Draft
from rules.rulefile.references import rule_fault


def check_songs(draft: Draft) -> Iterator[Problem]:
    """What is wrong with songs but for what they send, and what chooses them."""
    if not draft.songs and not draft.has_faulty_song:
        for listed in draft.set_lists[:1]:
            yield listed.place.problem("there are no songs to go through: write a header [[songs]] for each")
    for entry in draft.songs:
        for number, name in enumerate(entry.value.rules):
            if fault := rule_fault(draft, name):
                yield entry.place.inside("rules", number).problem(fault)
