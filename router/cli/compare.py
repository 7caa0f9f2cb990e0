"""The command `compare`: what other rules would do differently.

The data (`--json`) is one object:

    {"command": "compare", "ok": true, "old": ["old.toml"], "new": ["new.toml"], "same": false,
     "messages": [{"from": "seq", "messages": "notes C2..B3", "channels": [11], "when": "", "remembered": false,
                   "before": [], "now": [{"at": "strings on channel 4", "changed": ""}], "alike": false,
                   "besides": false,
                   "text": "notes C2..B3 on channel 11 from seq: were silent, now reach strings on channel 4"}],
     "rig": ["clock of rack: from keys before, from seq now"],
     "take": {"file": "take.mid", "same": 4000, "lost": 2, "gained": 2,
              "moments": [{"tick": 960, "bar": 1, "beat": 3,
                           "before": [{"port": "rack", "message": "note-on 1 C4 100", "bytes": "90 3C 64"}],
                           "now": [as before]}]}}

Where `alike` is true, both make a change that `before` and `now` leave out, and one of them makes no other. `take` is
null without --take, `bar` and `beat` for a file in SMPTE frames. Moments are the first 50 of so many.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from router.cli.parsing import add_playing, file_name
from router.text.exit_codes import FINE
from router.text.formatting import count, number, plain
from router.text.paragraphs import wrapped
from router.text.terminal import say

if TYPE_CHECKING:
    from router.files.rule_files import RuleTexts
    from rules.comparison.comparison_words import ChangedMessages
    from rules.comparison.rule_comparison import RuleComparison
    from rules.comparison.take_comparison import Moment, TakeComparison
    from rules.midi.notation import Naming
    from rules.program.pipeline import Pipeline
    from rules.rulefile.ruleset import RuleSet

ABOUT: Final = """\
Show exactly which messages other rules would treat differently, and what else differs: clock, switches, setups. You
need it before you use an edited rule file on stage. All messages are looked at, in all states of the switches."""

MORE: Final = """\
examples:
  pointsman compare pit.toml pit-new.toml
  pointsman compare old/ new/                          all rule files of each folder, together
  pointsman compare pit.toml pit-new.toml --take take.mid
                                                       also what would change in a recording

The daemon logs the same, shortened to ten lines, when it reads its rule files again."""

_MOST_SHOWN: Final = 10
_MOST_DATA: Final = 50


class CompareSettings(NamedTuple):
    """What `compare` shall do: `old` and `new` are a rule file or a folder each, `playing` the texts of `--from`."""

    old: str
    new: str
    take: str | None = None
    playing: tuple[str, ...] = ()
    json: bool = False


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    add = parser.add_argument
    add("old", metavar="OLD", type=file_name, help="the rules as they were: a rule file, or a folder of them")
    add("new", metavar="NEW", type=file_name, help="the rules as they will be")
    add("--take", metavar="FILE", type=file_name, help="show what would change in this .mid file (default: none)")
    add_playing(parser)
    add("--json", action="store_true", help="print the differences as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    return compare(
        CompareSettings(arguments.old, arguments.new, arguments.take, tuple(arguments.playing), arguments.json)
    )


def compare(settings: CompareSettings) -> int:
    """Print what differs; return the exit code. Raises UsageError, RuleFileError or MachineError."""
    from router.files.rule_files import read_rule_files
    from rules.comparison.rule_comparison import compare_rules
    from rules.compiler.compiler import compile_reading
    from rules.midi.notation import STANDARD
    from rules.rulefile.reading import read_rule_set

    texts = read_rule_files([settings.old]), read_rule_files([settings.new])
    old, new = (read_rule_set(each) for each in texts)
    pipelines = compile_reading(old), compile_reading(new)
    naming = next((place.source.naming for place in (*new.ports.values(), *old.ports.values())), STANDARD)
    sides = (old.ruleset, pipelines[0]), (new.ruleset, pipelines[1])
    found = compare_rules(*sides, naming)
    take = None if settings.take is None else _taken(settings, settings.take, *sides)
    differences = Differences(settings, texts, found, take, naming)
    say([json.dumps(differences.data(), indent=2)] if settings.json else differences.in_words())
    return FINE


def _taken(
    settings: CompareSettings, take: str, old: tuple[RuleSet, Pipeline], new: tuple[RuleSet, Pipeline]
) -> TakeComparison:
    """Compare what becomes of the take. Raises MachineError where it can't be read."""
    from router.cli.source_arguments import playing_in
    from router.files.takes import faults_named, read_take
    from rules.comparison.take_comparison import compare_take
    from rules.smf.midi_file import read

    with faults_named(take):
        file = read(read_take(take))
        before, now = ((*side, playing_in(settings.playing, side[0], file)) for side in (old, new))
        return compare_take(before, now, file)


@dataclass(frozen=True, slots=True)
class Differences:
    """All that differs, and how the rule files name notes."""

    settings: CompareSettings
    texts: tuple[RuleTexts, RuleTexts]
    found: RuleComparison
    take: TakeComparison | None
    naming: Naming

    def in_words(self) -> list[str]:
        """Return the lines to print."""
        lines = self.found.lines()
        if not lines:
            told = ["Both play the same: no message, switch, clock or setup differs."]
        else:
            old, new = plain(self.settings.old), plain(self.settings.new)
            told = [f"{count(len(lines), 'difference')} between {old} and {new}:"]
            told += [line for text in lines for line in wrapped(text, "  ", "    ")]
        return [*told, *self._take_lines()]

    def _take_lines(self) -> Iterator[str]:
        if self.take is None:
            return
        name, take = plain(self.settings.take or ""), self.take
        yield ""
        if not take.moments:
            yield from wrapped(
                f"In {name} nothing changes: {count(take.same, 'message')} go out as before.", hanging="  "
            )
            return
        yield from wrapped(
            f"In {name} {count(take.lost, 'message')} of before will not go out, {number(take.gained)} will go out "
            f"that did not, {number(take.same)} stay the same:",
            hanging="  ",
        )
        for moment in take.moments[:_MOST_SHOWN]:
            yield from wrapped(self._moment(moment), "  ", "    ")
        if len(take.moments) > _MOST_SHOWN:
            yield f"  ... and {count(len(take.moments) - _MOST_SHOWN, 'more moment')}"

    def _moment(self, moment: Moment) -> str:
        from rules.midi.notation import format_message

        def told(sent: Sequence[tuple[str, bytes]]) -> str:
            return ", ".join(f"{format_message(data, self.naming)} to {port}" for port, data in sent) or "nothing"

        where = f"tick {number(moment.tick)}"
        if moment.beat is not None:
            where = f"bar {moment.beat.bar}, beat {moment.beat.beat}"
        return f"{where}: {told(moment.before)} before, {told(moment.now)} now"

    def data(self) -> dict[str, Any]:
        """Return the same for programs."""
        return {
            "command": "compare",
            "ok": True,
            "old": [name for name, _ in self.texts[0]],
            "new": [name for name, _ in self.texts[1]],
            "same": not self.found.lines(),
            "messages": [_changed_data(changed) for changed in self.found.messages],
            "rig": list(self.found.rig),
            "take": self._take_data(),
        }

    def _take_data(self) -> dict[str, Any] | None:
        if self.take is None:
            return None
        return {
            "file": self.settings.take,
            "same": self.take.same,
            "lost": self.take.lost,
            "gained": self.take.gained,
            "moments": [self._moment_data(moment) for moment in self.take.moments[:_MOST_DATA]],
        }

    def _moment_data(self, moment: Moment) -> dict[str, Any]:
        from router.text.message_data import message_data

        def sent(messages: Sequence[tuple[str, bytes]]) -> list[dict[str, str]]:
            return [{"port": port, **message_data(data, self.naming)} for port, data in messages]

        bar, beat = moment.beat if moment.beat is not None else (None, None)
        return {"tick": moment.tick, "bar": bar, "beat": beat, "before": sent(moment.before), "now": sent(moment.now)}


def _changed_data(changed: ChangedMessages) -> dict[str, Any]:
    def results(told: Sequence[tuple[str, str]]) -> list[dict[str, str]]:
        return [{"at": place, "changed": how} for place, how in told]

    return {
        "from": changed.source,
        "messages": changed.messages,
        "channels": sorted(changed.channels),
        "when": changed.when,
        "remembered": changed.remembered,
        "before": results(changed.before),
        "now": results(changed.now),
        "alike": changed.alike,
        "besides": changed.besides,
        "text": changed.text,
    }
