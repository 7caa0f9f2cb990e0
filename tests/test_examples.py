"""The rule files in examples/: each is sound, proves itself, and the demo's rewrite gives what it promises."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import pytest

from rules.analysis.rule_tests import run_tests
from rules.compiler.compiler import compile_rules
from rules.findings.findings import findings_of
from rules.midi.messages import NOTE_OFF, NOTE_ON
from rules.rulefile.reading import read_rule_set, read_rules
from rules.smf.report import Playing, Rewritten
from rules.smf.rewriting import Rewriter
from tests.support import mido_reader
from tests.support.midicsv import Event

EXAMPLES = Path(__file__).parents[1] / "examples"
RULE_FILES = sorted(path.name for path in EXAMPLES.glob("*.toml"))
RECORDING = (EXAMPLES / "recording.mid").read_bytes()
PARTS = {"cable_a": {2: 3}, "cable_b": {3: 3}, "cable_c": {4: 1, 5: 2, 6: 10}}
"""What the demo promises: by cable, the tracks that play there, and on which channel."""


def test_all_are_here() -> None:
    """There is a rule file for each of the jobs that the examples are to show."""
    assert RULE_FILES == [
        "drums-in-time.toml",
        "echoes-in-time.toml",
        "one-keyboard-two-modules.toml",
        "pads-to-kit.toml",
        "pedal-transposes.toml",
        "repair-takes.toml",
        "set-list.toml",
        "shy-keyboard.toml",
        "split-and-layer.toml",
        "two-keyboards-one-module.toml",
        "two-modules.toml",
    ]


@pytest.mark.parametrize("name", RULE_FILES)
def test_example_proves_itself(name: str) -> None:
    """An example reads and compiles without a finding, and at least two tests of its own pass."""
    reading = read_rule_set([(name, (EXAMPLES / name).read_bytes())])
    assert findings_of(reading) == ()
    outcomes = run_tests(reading, compile_rules(reading.ruleset))
    assert len(outcomes) >= 2
    assert [str(fault) for outcome in outcomes for fault in outcome.faults] == []


@pytest.mark.parametrize("name", RULE_FILES)
def test_example_ends_its_notes(name: str) -> None:
    """Its tests send note-offs as well as note-ons, and see them come out: starting notes alone proves little."""
    tests = read_rules([(name, (EXAMPLES / name).read_bytes())]).tests
    sent = {timed.message.data[0] & 0xF0 for test in tests for timed in test.play}
    expected = {timed.message.data[0] & 0xF0 for test in tests for timeds in test.expect.values() for timed in timeds}
    assert {NOTE_ON, NOTE_OFF} <= sent & expected


@pytest.mark.parametrize("name", RULE_FILES)
def test_example_opens_with_its_story(name: str) -> None:
    """A comment at the head tells the situation and what the file does, in two or three sentences."""
    head = (EXAMPLES / name).read_text().split("\n\n")[0].split("\n#\n")[0]
    lines = head.splitlines()
    assert all(line.startswith("# ") for line in lines)
    story = " ".join(line.removeprefix("# ") for line in lines)
    assert 2 <= len(re.findall(r"[.](?: |$)", story)) <= 3


def test_commands_in_the_stories_name_what_is_there() -> None:
    """Where an example says how to call it, the command names the example itself."""
    for name in RULE_FILES:
        for command in re.findall(r"^#\s+pointsman (.*)$", (EXAMPLES / name).read_text(), re.MULTILINE):
            assert command.startswith(f"rewrite {name} ")


@pytest.fixture(scope="module")
def demo() -> Rewritten:
    """Give the demo: the rehearsal take through two-modules.toml, a file for each port."""
    return _rewritten("two-modules.toml", per_port=True)


def test_demo_report(demo: Rewritten) -> None:
    """Both parts that were on wrong channels change, nothing is dropped, and the reset goes out on all three cables."""
    report = demo.report
    moved = [event for event in mido_reader.events(RECORDING) if event.channel in (11, 12)]
    assert list(demo.outputs) == list(PARTS)
    assert (report.changed, report.dropped, report.added) == (len(moved), 0, 2)
    assert report.unended == 1
    assert report.matched == {"each part to its instrument": report.messages}
    assert (report.damage, report.remarks) == ((), ())


@pytest.mark.parametrize("port", PARTS)
def test_demo_file(demo: Rewritten, port: str) -> None:
    """Each cable gets its parts whole, every event at its time and in its order, on the channel that is heard there."""
    channels = PARTS[port]
    events = mido_reader.events(RECORDING)
    here = [event for event in events if event.channel is None or event.track in channels]
    assert mido_reader.events(demo.outputs[port]) == [_moved(event, channels) for event in here]


def test_demo_notes(demo: Rewritten) -> None:
    """No note is lost or heard twice: the three files together have as many as the take, in the same keys."""
    heard = [_note_ons(data) for data in demo.outputs.values()]
    assert [len(notes) for notes in heard] == [356, 104, 624 + 104 + 1114]
    assert [note for notes in heard for note in notes] == _note_ons(RECORDING)


def test_repaired_take() -> None:
    """The folder repair moves two parts of a take and leaves every other event where it was."""
    rewritten = _rewritten("repair-takes.toml")
    channels = {2: 3, 3: 4, 4: 1, 5: 2, 6: 10}
    expected = [_moved(event, channels) for event in mido_reader.events(RECORDING)]
    assert mido_reader.events(rewritten.outputs[""]) == expected
    assert (rewritten.report.dropped, rewritten.report.added) == (0, 0)


def _rewritten(name: str, *, per_port: bool = False) -> Rewritten:
    """The recording through an example that listens to one port."""
    ruleset = read_rules([(name, (EXAMPLES / name).read_bytes())])
    playing = Playing(ruleset.rules[0].source[0])
    return Rewriter(ruleset, compile_rules(ruleset), playing, per_port=per_port).rewrite(RECORDING)


def _moved(event: Event, channels: Mapping[int, int]) -> Event:
    """The event on the channel that its track is to have."""
    return event if event.channel is None else event._replace(channel=channels[event.track])


def _note_ons(data: bytes) -> list[tuple[int, int | bytes]]:
    """Track and key of every note that sounds in a file."""
    events = mido_reader.events(data)
    return [(event.track, event.data[0]) for event in events if event.kind == "Note_on_c" and event.data[1]]
