"""Synonyms for kinds of message are understood; other words only lead to the right one."""

from __future__ import annotations

import pytest

from rules.fields.conditions import KINDS
from rules.midi.kind_names import KIND_SYNONYMS, kind_hint, kind_named


def test_synonyms_stand_for_kinds_and_are_none_themselves() -> None:
    """So that a kind has one name when it is written."""
    assert set(KIND_SYNONYMS.values()) <= KINDS
    assert not KINDS & KIND_SYNONYMS.keys()


@pytest.mark.parametrize(
    ("word", "kind"),
    [
        ("cc", "controller"),
        ("control-change", "controller"),
        ("aftertouch", "channel-pressure"),
        ("poly-aftertouch", "key-pressure"),
        ("program-change", "program"),
        ("notes", "note"),
        ("note", "note"),
        ("pressure", "pressure"),
    ],
)
def test_a_synonym_is_the_kind_that_it_means(word: str, kind: str) -> None:
    """Any other word stays as it is, to be judged by whoever knows what is allowed."""
    assert kind_named(word) == kind


@pytest.mark.parametrize(
    ("word", "hint"),
    [
        ("pressure", ' - did you mean "channel-pressure"?'),
        ("Mode", ' - did you mean "channel-mode"?'),
        ("bend", ' - did you mean "pitch-bend"?'),
        ("contoller", ' - did you mean "controller"?'),
        ("tuba", ""),
    ],
)
def test_other_words_bring_the_kind_that_is_meant(word: str, hint: str) -> None:
    """Before a word that merely looks alike."""
    assert kind_hint(word, KINDS) == hint


def test_a_kind_that_is_not_allowed_is_not_proposed() -> None:
    """Where only programs can stand, a mode message can't."""
    assert kind_hint("mode", {"program"}) == ""
