"""The two routes of a file: straight through the tables, or through the engine. Both must give the same."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

from rules.compile import compile_rules
from rules.errors import MidiFileError
from rules.language.reading import read_rules
from rules.smf.rewriting import FileReport, Playing, Rewriter
from rules.smf.stream import streams
from tests.rules.smf.build import END, chunk, header, one_track, unhex
from tests.rules.smf.tracks import Written, body_of, tracks
from tests.strategies import one_of, toml_of

MATCHES = [
    {"channel": 1},
    {"channel": 2},
    {"kind": "note"},
    {"notes": "60.."},
    {"kind": "controller"},
    {"kind": "sysex"},
]
STEPS: list[dict[str, Any]] = [
    {"transpose": 12},
    {"transpose": {"by": 60, "outside": "fold"}},
    {"rechannel": {"1": 5}},
    {"velocity": {"fit": "20..127"}},
    {"velocity": {"always": 90}},
    {"filter": {"drop": {"controller": 7}}},
    {"filter": {"drop": {"kind": ["pitch-bend", "sysex"]}}},
    {"filter": {"keep": {"notes": "..80"}}},
    {"filter": {"drop": {"controller": 7, "value": "..63"}}},
    {"map": {"controllers": {"20": 21}}},
    {"map": {"programs": {"1": 2}, "others": "drop"}},
]


@st.composite
def static_rules(draw: st.DrawFn) -> dict[str, Any]:
    """A rule file without switches and memory, often one whose tables alone decide."""
    rules = []
    for number in range(draw(st.integers(1, 2))):
        rule: dict[str, Any] = {"name": f"rule {number + 1}", "from": "keys", "to": draw(one_of("rack", "synth"))}
        if draw(st.booleans()):
            rule["match"] = draw(st.sampled_from(MATCHES))
        rule["steps"] = draw(st.lists(st.sampled_from(STEPS), max_size=2))
        rules.append(rule)
    ports: dict[str, Any] = {"keys": {"input": True}, "rack": {"output": True}, "synth": {"output": True}}
    return {"ports": ports, "devices": {}, "switches": {}, "rules": rules, "on": []}


FILES = st.lists(tracks(over_meta=True), min_size=1, max_size=3)


def file_of(bodies: list[list[Written]]) -> bytes:
    """A format 1 file of these tracks."""
    return header(len(bodies)) + b"".join(chunk(b"MTrk", body_of(track)) for track in bodies)


@settings(
    max_examples=40,
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
@given(static_rules(), st.booleans(), st.lists(FILES, min_size=1, max_size=4))
def test_both_routes_give_the_same(rules: dict[str, Any], per_port: bool, files: list[list[list[Written]]]) -> None:
    """The bytes of every output and the report agree, but for the name of the route."""
    ruleset = read_rules([("rules.toml", toml_of(rules).encode())])
    pipeline = compile_rules(ruleset)
    assume(streams(pipeline, per_port))
    ways = [
        Rewriter(ruleset, pipeline, Playing("keys"), per_port=per_port, route=route) for route in ("stream", "general")
    ]
    for bodies in files:
        data = file_of(bodies)
        (stream, told), (general, also_told) = (came_of(way, data) for way in ways)
        assert stream == general
        if told is not None and also_told is not None:
            assert (told.route, also_told.route) == ("stream", "general")
            assert replace(told, route="") == replace(also_told, route="")


def came_of(way: Rewriter, data: bytes) -> tuple[dict[str, bytes] | str, FileReport | None]:
    """The results of a file with the report, or why there are none."""
    try:
        rewritten = way.rewrite(data)
    except MidiFileError as error:
        return str(error), None
    return rewritten.outputs, rewritten.report


CHANNEL_1 = """
[ports]
keys = { input = true }
rack = { output = true }
[[rules]]
from = "keys"
match = { channel = 1 }
to = "rack"
"""
HIGH_VOLUME = CHANNEL_1.replace("{ channel = 1 }", '{ controller = "volume", value = "64.." }')


def routed(rules: str, body: str, *, per_port: bool = False) -> tuple[dict[str, bytes], FileReport]:
    """What the stream route makes of a track in hex: its body by output, and the report."""
    ruleset = read_rules([("rules.toml", rules.encode())])
    rewritten = Rewriter(ruleset, compile_rules(ruleset), Playing("keys"), per_port=per_port).rewrite(one_track(body))
    assert rewritten.report.route == "stream"
    return {name: data[22:] for name, data in rewritten.outputs.items()}, rewritten.report


def test_dropped_time_is_counted_once() -> None:
    """Behind dropped messages, a note that stays and dropped ones again, the end of the track is where it was."""
    body = "8105 F0 01 F7  8105 91 3C 40  8105 80 18 5E  8105 F0 01 F7  00 FF 2F 00"
    assert routed(CHANNEL_1, body)[0] == {"": unhex("830F 80 18 5E  8105 FF 2F 00")}


def test_a_port_without_messages_gets_no_file() -> None:
    """Messages that fit no rule make no file for the port that others would have gone to."""
    assert routed(CHANNEL_1, f"00 91 3C 40  60 81 3C 40  {END}", per_port=True)[0] == {}


def test_a_port_with_messages_gets_its_file_whatever_the_rules_ask() -> None:
    """Messages that are judged one by one, by their value, make a file as others do."""
    outputs, report = routed(HIGH_VOLUME, f"00 B0 07 50  60 B0 07 10  {END}", per_port=True)
    assert outputs == {"rack": unhex("00 B0 07 50  60 FF 2F 00")}
    assert (report.messages, report.dropped, report.left) == (2, 1, {1: 1})


def test_sysex_that_two_rules_take_goes_once() -> None:
    """It is one message in the file, and none was added."""
    rules = CHANNEL_1 + '[[rules]]\nfrom = "keys"\nto = "rack"\nmatch = { kind = "sysex" }\n' * 2
    outputs, report = routed(rules, f"00 F0 03 7D 01 F7 {END}")
    assert outputs == {"": unhex("00 F0 03 7D 01 F7 00 FF 2F 00")}
    assert (report.changed, report.dropped, report.added) == (0, 0, 0)
