"""Songs put among the rest of a draft, as the switch, actions and conditions that they are."""

from __future__ import annotations

from collections.abc import Iterator

from rules.rulefile.draft import Draft, Placed
from rules.rulefile.song_switch import rule_in_songs, song_action, song_switch
from rules.rulefile.song_tables import SONG, SetList
from rules.rulefile.switch_tables import Trigger


def place_songs(draft: Draft) -> None:
    """Add what the songs are: once all files are read, and before anything is checked.

    What songs send comes before what `[[on_switch]]` sends. Where a song is faulty, nobody knows what the switch can be
    at, nor which rules are open.
    """
    draft.song_triggers = list(_triggers(draft))
    if not draft.songs:
        return
    songs = [entry.value for entry in draft.songs]
    actions = [(song_action(entry.value), entry.place) for entry in draft.songs]
    draft.on_switch[:0] = [Placed(action, place) for action, place in actions if action is not None]
    if (own := draft.taken.get(("switch", SONG))) is not None:
        draft.clashes.append(own.problem(f'the songs are the switch "{SONG}" already: give this one another name'))
        draft.broken.pop(SONG, None)
    if draft.has_faulty_song:
        draft.switches.pop(SONG, None)
        draft.broken[SONG] = "switches"
        return
    set_list, place = SetList(), draft.songs[0].place
    if draft.set_lists:
        set_list, place = draft.set_lists[0].value, draft.set_lists[0].place
    draft.song_switch = draft.switches[SONG] = Placed(song_switch(set_list, songs), place)
    draft.rules = [Placed(rule_in_songs(entry.value, songs), entry.place) for entry in draft.rules]


def _triggers(draft: Draft) -> Iterator[Placed[Trigger]]:
    for listed in draft.set_lists:
        yield from (Placed(one, listed.place.inside("next", n)) for n, one in enumerate(listed.value.next))
        yield from (Placed(one, listed.place.inside("previous", n)) for n, one in enumerate(listed.value.previous))
    for entry in draft.songs:
        yield from (Placed(one, entry.place.inside("set", n)) for n, one in enumerate(entry.value.set))
