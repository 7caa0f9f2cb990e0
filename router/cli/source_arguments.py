"""Which source plays a recording: what `--from` says, held against the rules."""

from __future__ import annotations

from collections.abc import Sequence

from router.text.formatting import plain
from router.text.usage import UsageError
from rules.midi.suggestions import nearest
from rules.rulefile.ruleset import RuleSet
from rules.smf.report import Playing


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
    raise UsageError(f"write as which port the recording plays: --from {' or --from '.join(known)}")
