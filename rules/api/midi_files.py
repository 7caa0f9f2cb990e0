"""Standard MIDI Files through loaded rules, bytes in and bytes out."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import Final

from rules.api.loading import Rules
from rules.errors import MidiFileError
from rules.smf.report import Playing, Rewritten
from rules.smf.rewriting import Rewriter

_NO_TRACKS: Final[Mapping[str, str]] = MappingProxyType({})


def rewrite_midi(
    data: bytes,
    rules: Rules,
    *,
    source: str | None = None,
    tracks: Mapping[str, str] = _NO_TRACKS,
    per_port: bool = False,
    strict: bool = False,
) -> Rewritten:
    """Send a .mid file through rules. `data` is all of its bytes; what no rule touches keeps its form.

    `source` is the input port that the recording plays as. It may be left out where the rules listen to one port only.
    `tracks` gives single tracks to other input ports, by track name or by number from 1 (`"#2"`).

    The results are in `outputs`: one file under the name "", or with `per_port` one for each port that gets a message,
    under the port's name. `report` counts what became of the messages and lists what is damaged in the file. A `strict`
    reading refuses a damaged file instead. Each call begins with switches as the rule files say, and nothing held.
    Calls may run side by side in several threads.

    Raises MidiFileError, with `offset` in bytes from 0, for what can't be read, and for two ports that would play the
    same channel of one file. Raises ValueError for a port that the rules don't have, and for a missing `source`.

    Sources: Standard MIDI Files 1.0 (RP-001); rulings 29 and 32 for the order of events.

    >>> from rules.api.loading import load_rules
    >>> loaded = load_rules({"rig.toml": '''
    ... [ports]
    ... seq = { input = true }
    ... rack = { output = true }
    ... [[rules]]
    ... name = "up"
    ... from = "seq"
    ... steps = [{ transpose = 12 }]
    ... to = "rack"
    ... '''})
    >>> recording = bytes.fromhex(
    ...     "4D546864 00000006 0000 0001 0060 4D54726B 0000000C 00903C64 60803C40 00FF2F00"
    ... )
    >>> rewritten = rewrite_midi(recording, loaded)
    >>> rewritten.outputs[""][22:30].hex(" ").upper()
    '00 90 48 64 60 80 48 40'
    >>> rewritten.report.changed, rewritten.report.matched
    (2, {'up': 2})
    """
    played_as = _source(source, rules)
    for name in tracks.values():
        rules.require_input(name)
    spare = _spare_rewriters(rules, played_as, tuple(tracks.items()), per_port, strict)
    try:
        rewriter = spare.pop()
    except IndexError:
        playing = Playing(played_as, dict(tracks))
        rewriter = Rewriter(rules.ruleset, rules.compiled, playing, per_port=per_port, strict=strict)
    try:
        rewritten = rewriter.rewrite(data)
    except MidiFileError:
        spare.append(rewriter)
        raise
    spare.append(rewriter)  # not after any other exception, such as Ctrl-C: that may have left it half-way
    return rewritten


@lru_cache(maxsize=16)
def _spare_rewriters(
    rules: Rules, source: str, tracks: tuple[tuple[str, str], ...], per_port: bool, strict: bool
) -> list[Rewriter]:
    """Return the rewriters for these rules and options that nobody uses now.

    A rewriter serves one call at a time, and its tables are worth keeping for the next. Taking one from a list and
    putting it back are single steps, so that threads need no lock.
    """
    return []


def _source(source: str | None, rules: Rules) -> str:
    if source is not None:
        rules.require_input(source)
        return source
    listened_to = list(dict.fromkeys(name for rule in rules.ruleset.rules for name in rule.source))
    if len(listened_to) == 1:
        return listened_to[0]
    raise ValueError(
        f"write which port the recording plays as: source is one of {', '.join(listened_to)}"
        if listened_to
        else "the rule files have no rule, so nothing would come out"
    )
