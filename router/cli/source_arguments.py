"""Which source plays a recording: what `--from` says, held against the rules."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from router.text.formatting import plain
from router.text.usage import UsageError
from rules.midi.suggestions import nearest
from rules.rulefile.ruleset import RuleSet
from rules.smf.midi_file import MidiFile
from rules.smf.report import Playing
from rules.smf.track_sources import missing_tracks, track_name

_MOST_TRACKS: Final = 20
"""How many tracks are named where one is missing."""


def playing_for(texts: Sequence[str], ruleset: RuleSet) -> Playing:
    """Read the texts of `--from`: `seq` for every track not named, `Track name=keys` or `#2=keys` for one track.

    The source of the other tracks may be left out where the rules have only one. Raises UsageError.
    """
    defaults: list[str] = []
    tracks: dict[str, str] = {}
    for text in texts:
        track, named, source = text.rpartition("=")
        source = known_source(source.strip(), ruleset)
        if not named:
            defaults.append(source)
        elif not track.strip():
            raise UsageError(
                f'--from "{plain(text)}": write the name of a track before the =, or its number as in "#2={source}"'
            )
        elif tracks.setdefault(track.strip(), source) != source:
            raise UsageError(f'--from: the track "{plain(track.strip())}" is given to two sources: write it once')
    if len(set(defaults)) > 1:
        raise UsageError(
            f"--from {' and --from '.join(defaults)}: a recording plays as one source. "
            'Write --from "Track name=SOURCE" for single tracks'
        )
    return Playing(defaults[0] if defaults else _only_source(ruleset), tracks)


def playing_in(texts: Sequence[str], ruleset: RuleSet, file: MidiFile) -> Playing:
    """Return what `playing_for` does, for one recording. Raises UsageError also for tracks that it doesn't have."""
    playing = playing_for(texts, ruleset)
    missing = missing_tracks(file, playing)
    if missing:
        raise UsageError(f'--from: there is no track "{plain(missing[0])}": write one of {tracks_in_words(file)}')
    return playing


def tracks_in_words(file: MidiFile) -> str:
    """Return the tracks of a file as they may be asked for: numbers, with names where there are any."""
    names = [track_name(file, number) for number in range(len(file.tracks))]
    named = [f'#{number} "{plain(name)}"' if name else f"#{number}" for number, name in enumerate(names, 1)]
    left = len(named) - _MOST_TRACKS
    return ", ".join(named[:_MOST_TRACKS]) + (f" and {left} more" if left > 0 else "")


def sources(ruleset: RuleSet) -> list[str]:
    """Return the ports that rules listen to, in the order in which the rules name them."""
    return list(dict.fromkeys(source for rule in ruleset.rules for source in rule.source))


def known_source(source: str, ruleset: RuleSet) -> str:
    """Return `source` if it is the name of a port that can receive; raise UsageError otherwise."""
    receiving = [name for name, port in ruleset.ports.items() if port.can_receive]
    if source in receiving:
        return source
    if source in ruleset.ports:
        raise UsageError(f"--from {source}: this port is an output: write one of {', '.join(receiving) or 'none'}")
    raise UsageError(
        f'there is no input port named "{plain(source)}": '
        f"--from can be {', '.join(receiving) or 'none'}{nearest(source, receiving)}"
    )


def _only_source(ruleset: RuleSet) -> str:
    known = sources(ruleset)
    if len(known) == 1:
        return known[0]
    if not known:
        raise UsageError("the rule files have no rule: write at least one [[rules]]")
    raise UsageError(
        f"this recording can play as several ports. Choose one: {', '.join(f'--from {port}' for port in known)}"
    )
