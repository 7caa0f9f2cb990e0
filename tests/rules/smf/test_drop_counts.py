"""What comes to nothing is counted by channel and reason, whichever route a file takes."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from rules.analysis.trace import trace
from rules.compiler.compiler import compile_rules
from rules.errors import MidiFileError
from rules.midi.messages import NOTE_OFF, NOTE_ON, SYSEX
from rules.program.loss_reasons import Drops, in_order
from rules.rulefile.reading import read_rules
from rules.rulefile.ruleset import RuleSet
from rules.smf import vlq
from rules.smf.midi_file import read
from rules.smf.report import FileReport, Playing, Rewritten
from rules.smf.rewriting import Rewriter
from tests.support.rule_strategies import toml_of
from tests.support.smf_bytes import END, chunk, header, one_track

RIG = """
[ports]
keys = { input = true }
pads = { input = true }
rack = { output = true }
synth = { output = true }
"""


def rewritten(rules: str, data: bytes, route: str = "patch", **options: Any) -> Rewritten:
    """What becomes of a file that `keys` plays."""
    ruleset = read_rules([("rules.toml", rules.encode())])
    return Rewriter(ruleset, compile_rules(ruleset), Playing("keys"), route=route, **options).rewrite(data)


def dropped(rules: str, body: str, **options: Any) -> Drops:
    """What is dropped of a track in hex, the same by all routes."""
    reports = [rewritten(RIG + rules, one_track(body + END), route, **options).report for route in ("patch", "general")]
    assert reports[0].drops == reports[1].drops
    assert all(sum(report.drops.values()) == report.dropped for report in reports)
    return reports[0].drops


RULE = '[[rules]]\nfrom = "keys"\n'


@pytest.mark.parametrize(
    ("rules", "body", "expected"),
    [
        (RULE + 'match = { channel = 1 }\nto = "rack"', "00 91 3C 40 00 81 3C 40", {(2, "no rule"): 2}),
        (RULE + 'match = { channel = 1 }\nto = "rack"', "00 F0 01 F7 00 F7 01 F8", {(None, "no rule"): 2}),
        (RULE + 'to = { 1 = "rack" }', "00 92 3C 40 00 82 3C 40", {(3, "no destination"): 2}),
        (RULE + "to = []", "00 C2 05", {(3, "no destination"): 1}),
        (RULE + 'steps = [{ transpose = 12 }]\nto = "rack"', "00 90 78 40 00 80 78 40", {(1, "out of range"): 2}),
        (RULE + 'steps = [{ filter = { drop = { controller = 7 } } }]\nto = "rack"', "00 B4 07 40", {(5, "filter"): 1}),
        (
            RULE + 'steps = [{ map = { programs = { "1" = 2 }, others = "drop" } }]\nto = "rack"',
            "00 C0 05",
            {(1, "map"): 1},
        ),
        (RULE + 'steps = [{ send = "program 3" }]\nto = "rack"', "00 E0 00 50", {(1, "send"): 1}),
        (
            RULE + 'steps = [{ thin = 500 }]\nto = "rack"',
            "00 B0 07 40 01 B0 07 41 01 B0 07 42 00 B0 07 43",
            {(1, "thin"): 2},
        ),
        (RULE + 'steps = [{ length = 5 }]\nto = "rack"', "00 90 3C 40 40 80 3C 40", {(1, "length"): 1}),
        (RULE + 'to = "rack"\n[[rules.zones]]\nnotes = "C3..B3"', "00 90 60 40 00 80 60 40", {(1, "no zone"): 2}),
        (
            '[switches]\nup = { from = "keys", controller = 80 }\n' + RULE + 'to = "rack"',
            "00 B0 50 7F 00 B0 50 00",
            {(1, "switch"): 2},
        ),
        (
            '[devices]\nbass = { port = "rack", channel = 4, notes = "C1..C3", outside = "drop" }\n'
            + RULE
            + 'to = "bass"',
            "00 90 60 40 00 80 60 40",
            {(1, "out of range"): 2},
        ),
    ],
)
def test_reasons(rules: str, body: str, expected: Drops) -> None:
    """Each way to come to nothing has its name; note-offs count too."""
    assert dropped(rules, body) == expected


def test_the_end_of_a_note_goes_with_its_beginning() -> None:
    """The filter asks for velocities, which only note-ons have: what it stops has no end either."""
    rules = RULE + 'steps = [{ filter = { drop = { velocity = "100.." } } }]\nto = "rack"'
    quiet, loud = "00 90 3C 40 00 80 3C 40", "00 90 3C 64 00 A0 3C 10 00 80 3C 40"
    assert dropped(rules, f"{quiet} {loud} {quiet} 00 90 3C 64 00 90 3C 00") == {(1, "filter"): 5}


def test_the_first_rule_that_drops_a_message_gives_the_reason() -> None:
    """And one that another rule lets through isn't dropped."""
    first = RULE + 'match = { channel = "1..2" }\nsteps = [{ filter = { drop = { kind = "program" } } }]\nto = "rack"\n'
    second = RULE + 'match = { channel = "2..3" }\nto = { 3 = "rack" }'
    assert dropped(first + second, "00 C0 05 00 C1 05 00 C2 05") == {(1, "filter"): 1, (2, "filter"): 1}


def test_what_a_switch_decides_is_counted_by_the_switch() -> None:
    """The filter is there only while the pedal is down."""
    rules = (
        '[switches]\ndown = { from = "keys", controller = 80, mode = "momentary", pass_on = true }\n'
        + RULE
        + 'when = "down"\nsteps = [{ filter = { drop = { kind = "program" } } }]\nto = "rack"'
    )
    body = "00 C0 05 00 B0 50 7F 00 C0 05 00 C0 06 00 B0 50 00 00 C0 05"
    assert dropped(rules, body) == {(1, "no rule"): 3, (1, "filter"): 2}


def test_what_was_overtaken_on_several_channels_has_none() -> None:
    """Which of them came to nothing isn't known any more, only how many."""
    rules = RIG + '[[rules]]\nfrom = ["keys", "pads"]\nsteps = [{ delay = 60 }]\nto = "rack"'
    ruleset = read_rules([("rules.toml", rules.encode())])
    rewriter = Rewriter(ruleset, compile_rules(ruleset), Playing("keys", {"#1": "pads"}))
    programs = f"00 C0 09 00 C1 09 {END}"  # of another source: so bank selects wait, and the first is overtaken
    for banks, drops in (
        ("00 B0 00 01 00 B0 00 02", {(1, "other"): 1}),
        ("00 B0 00 01 00 B0 00 02 00 B1 00 01 00 B1 00 02", {(17, "other"): 2}),
    ):
        data = header(2) + chunk(b"MTrk", bytes.fromhex(programs)) + chunk(b"MTrk", bytes.fromhex(banks + END))
        assert rewriter.rewrite(data).report.drops == drops


def test_counts_are_listed_in_order() -> None:
    """By channel, then by reason; what has no channel comes last."""
    drops: Drops = {(None, "filter"): 1, (17, "thin"): 2, (2, "other"): 3, (2, "no rule"): 4, (1, "filter"): 5}
    assert list(in_order(drops)) == [(1, "filter"), (2, "no rule"), (2, "other"), (17, "thin"), (None, "filter")]


# -- Against the slow way: the story of each message ------------------------------------------------------------------

STEPS: list[dict[str, Any]] = [
    {"transpose": 30},
    {"transpose": {"by": 60, "except_channels": 2}},
    {"transpose": -40, "when": "not up"},
    {"velocity": {"fixed": 90}},
    {"filter": {"drop": {"controller": 7}}},
    {"filter": {"drop": {"kind": ["pitch-bend", "sysex"]}}},
    {"filter": {"keep": {"notes": "..80"}}},
    {"filter": {"drop": {"velocity": "64.."}}},
    {"filter": {"drop": {"controller": 7, "value": "..63"}}, "when": "up"},
    {"map": {"programs": {"1": 2}, "others": "drop"}},
    {"map": {"from": "note C3", "to": "note C4"}},
]
MATCHES = [{"channel": 1}, {"channel": 2}, {"kind": "note"}, {"notes": "60.."}, {"kind": "sysex"}, {"velocity": "50.."}]
ZONES = [{"notes": "0..50"}, {"notes": "40..90"}, {"kind": "note"}, {"channel": 2}]
ENDS: list[Any] = ["rack", "bass", [], {"1": "rack"}, {"2": ["bass", "rack"], "5": "rack"}]
REASON_OF = {
    "filter": "filter",
    "transpose": "out of range",
    "map": "map",
    "outside": "out of range",
    "`to`": "no destination",
}


@st.composite
def rule_files(draw: st.DrawFn) -> dict[str, Any]:
    """A rule file whose rules ask nothing of what came before."""
    steps = st.lists(st.sampled_from(STEPS), max_size=2)
    rules = []
    for number in range(draw(st.integers(1, 3))):
        rule: dict[str, Any] = {"name": f"rule {number + 1}", "from": "keys", "to": draw(st.sampled_from(ENDS))}
        if draw(st.booleans()):
            rule["match"] = draw(st.sampled_from(MATCHES))
        if draw(st.integers(0, 3)) == 0:
            rule["otherwise"] = True
        if draw(st.integers(0, 3)) == 0:
            rule["when"] = draw(st.sampled_from(["up", "not up"]))
        if draw(st.integers(0, 3)) == 0:
            rule["zones"] = draw(st.lists(st.sampled_from(ZONES), min_size=1, max_size=2))
        rule["steps"] = draw(steps)
        rules.append(rule)
    ports = {"keys": {"input": True, "steps": draw(steps)}, "rack": {"output": True}}
    bass = {"port": "rack", "channel": 4, "notes": "30..70", "outside": draw(st.sampled_from(["drop", "pass"]))}
    switches = {"up": {"from": "keys", "controller": 80}}
    return {"ports": ports, "devices": {"bass": bass}, "switches": switches, "rules": rules, "on_switch": []}


NOTES = st.builds(
    lambda channel, key, velocity: [bytes((NOTE_ON | channel, key, velocity)), bytes((NOTE_OFF | channel, key, 64))],
    st.integers(0, 2),
    st.sampled_from([5, 36, 48, 60, 75, 100]),
    st.sampled_from([20, 70, 127]),
)
OTHERS = st.sampled_from(
    [b"\xb0\x07\x10", b"\xb1\x07\x50", b"\xb2\x0a\x40", b"\xc0\x00", b"\xc1\x05", b"\xe0\x00\x20", b"\xf0\x01\xf7"]
).map(lambda message: [message])
PERFORMANCES = st.lists(st.one_of(NOTES, OTHERS), max_size=15)


def reason_told(ruleset: RuleSet, message: bytes) -> str | None:
    """Why a message comes to nothing, read off its story; None where it arrives."""
    if message[0] == SYSEX:
        message = b"\xf0\x7d\xf7"
    lines = trace(ruleset, "keys", message)
    if any(line.outcomes for line in lines):
        return None
    for line in lines:
        if line.text.endswith("dropped"):
            words = [word.strip() for word in line.text.rpartition(": ")[2].split() + line.text.split()]
            return next(REASON_OF[word] for word in words if word in REASON_OF)
    return "no zone" if any(": not in this zone" in line.text for line in lines) else "no rule"


@settings(max_examples=50, phases=(Phase.explicit, Phase.reuse, Phase.generate))
@given(rule_files(), PERFORMANCES)
def test_reasons_are_those_of_the_story(file: dict[str, Any], played: list[list[bytes]]) -> None:
    """What is counted is what `trace` says of each message; the end of a note goes with its beginning."""
    text = toml_of(file)
    ruleset = read_rules([("rules.toml", text.encode())])
    expected: Counter[tuple[int | None, str]] = Counter()
    for messages in played:
        why = reason_told(ruleset, messages[0])
        if why is not None:
            channel = (messages[0][0] & 0x0F) + 1 if messages[0][0] < SYSEX else None
            expected[channel, why] += len(messages)
    body = b"".join(b"\1" + message for messages in played for message in messages)
    data = header(1) + chunk(b"MTrk", body + b"\0\xff\x2f\0")
    pipeline = compile_rules(ruleset)
    for route in ("patch", "general"):
        told = Rewriter(ruleset, pipeline, Playing("keys"), route=route).rewrite(data).report.drops
        assert told == in_order(expected)


# -- The sums ---------------------------------------------------------------------------------------------------------

MESSAGES = st.builds(
    lambda kind, channel, first, second: bytes((kind | channel, first, second)[: 2 if kind in (0xC0, 0xD0) else 3]),
    st.sampled_from([0x80, 0x90, 0x90, 0x90, 0xA0, 0xB0, 0xC0, 0xD0, 0xE0]),
    st.integers(0, 1),
    st.sampled_from([60, 61, 7, 80, 0]),
    st.sampled_from([0, 10, 64, 100]),
)
SYSEX_EVENTS = st.sampled_from([b"\xf0\x02\x7d\xf7", b"\xf7\x01\xfa", b"\xf7\x02\x01\x02"])
TRACKS = st.lists(
    st.tuples(st.sampled_from([0, 0, 5, 20, 200]), st.one_of(MESSAGES, MESSAGES, SYSEX_EVENTS)), max_size=14
)
ANY_STEPS = [
    "{ rechannel = { 1 = 1, 2 = 1 } }",
    '{ filter = { drop = { velocity = "64.." } } }',
    '{ transpose = 12, when = "up" }',
    "{ echo = { ms = 60, times = 2 } }",
    "{ delay = 60 }",
    "{ thin = 20 }",
    "{ length = 30 }",
    '{ map = { from = "controller 7", to = "note C3" } }',
    '{ send = ["program 3"] }',
]


def count_messages(data: bytes) -> int:
    """How many messages a file has; meta events are none."""
    file = read(data)
    return sum(event[4][0] != 0xFF for track in file.tracks for event in file.events(track))


@settings(max_examples=60)
@given(st.lists(st.sampled_from(ANY_STEPS), max_size=2), TRACKS, TRACKS, st.booleans())
def test_the_sums_are_right(
    steps: list[str], first: list[tuple[int, bytes]], second: list[tuple[int, bytes]], per_port: bool
) -> None:
    """What came in and what was added, without what was dropped, is what the results have; all drops have a reason."""
    switch = '[switches]\nup = { from = "keys", controller = 80, mode = "momentary" }\n'
    ends = '["rack", "synth"]' if per_port else '"rack"'
    rules = f'{RIG}{switch}[[rules]]\nfrom = ["keys", "pads"]\nsteps = [{", ".join(steps)}]\nto = {ends}\n'
    tracks = [b"".join(vlq.encode(delta) + message for delta, message in track) for track in (first, second)]
    data = header(2) + b"".join(chunk(b"MTrk", track + b"\x60\xff\x2f\0") for track in tracks)
    ruleset = read_rules([("rules.toml", rules.encode())])
    playing = Playing("keys", {"#2": "pads"})
    try:
        result = Rewriter(ruleset, compile_rules(ruleset), playing, per_port=per_port).rewrite(data)
    except MidiFileError:
        return
    report: FileReport = result.report
    came_out = sum(map(count_messages, result.outputs.values()))
    assert report.messages + report.added - report.dropped == came_out
    assert sum(report.drops.values()) == report.dropped


def test_sysex_for_several_ports_is_in_one_file_once() -> None:
    """It is one message there, and none was added."""
    report = rewritten(f'{RIG}{RULE}to = ["rack", "synth"]', one_track(f"00 F0 02 7D F7 {END}")).report
    assert (report.messages, report.added, report.dropped) == (1, 0, 0)
