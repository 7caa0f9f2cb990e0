"""What songs are to the rest: an ordinary switch named "song", an action for each, and conditions on rules."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from typing import Any

from rules.fields.when import Term, When
from rules.rulefile.rule_tables import OnSwitch, Rule
from rules.rulefile.song_tables import SONG, SetList, Song
from rules.rulefile.switch_tables import AdvanceTrigger, SetTrigger, Trigger, ValueSwitch


def song_switch(set_list: SetList, songs: Sequence[Song]) -> ValueSwitch:
    """Return the switch whose values are the songs. Nothing of it is validated again."""
    return ValueSwitch.model_construct(
        values=tuple(dict.fromkeys(song.name for song in songs)),  # two of one name are a mistake by themselves
        set=tuple(
            SetTrigger.model_construct(**_settings(trigger), value=song.name) for song in songs for trigger in song.set
        ),
        advance=(
            *(AdvanceTrigger.model_construct(**_settings(trigger), by=1) for trigger in set_list.next),
            *(AdvanceTrigger.model_construct(**_settings(trigger), by=-1) for trigger in set_list.previous),
        ),
        wrap=set_list.wrap,
        accept=set_list.accept,
    )


def song_action(song: Song) -> OnSwitch | None:
    """Return what happens when a song begins; None where nothing does."""
    if not song.send and not song.do and song.bpm is None:
        return None
    return OnSwitch.model_construct(
        when=When(((_is(song),),)), send=song.send, do=song.do, bpm=song.bpm, initially=song.initially
    )


def rule_in_songs(rule: Rule, songs: Sequence[Song]) -> Rule:
    """Return a rule that is open only in the songs that name it; one that no song names stays as it is."""
    naming = [song for song in songs if rule.name in song.rules]
    if len(naming) in (0, len(songs)):
        return rule
    others = [song for song in songs if song not in naming]
    in_songs: Sequence[tuple[Term, ...]] = [(_is(song),) for song in naming]
    if len(others) < len(naming):  # the shorter words
        in_songs = [tuple(replace(_is(song), negated=True) for song in others)]
    before: Sequence[tuple[Term, ...]] = [()] if rule.when is None else rule.when.alternatives
    when = When(tuple((*terms, *more) for terms, more in product(before, in_songs)))
    return rule.model_copy(update={"when": when})


def _is(song: Song) -> Term:
    return Term(SONG, song.name, negated=False)


def _settings(trigger: Trigger) -> dict[str, Any]:
    return {name: getattr(trigger, name) for name in Trigger.model_fields}
