"""The routes of a file: in its place, straight through the tables, or through the engine. All must give the same."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

from rules.compiler.compiler import compile_rules
from rules.errors import MidiFileError
from rules.rulefile.reading import read_rules
from rules.smf.general_route import are_independent
from rules.smf.report import FileReport, Playing
from rules.smf.rewriting import Rewriter
from rules.smf.static_sources import static_sources
from tests.support.rule_strategies import toml_of
from tests.support.smf_bytes import END, chunk, header, one_track, unhex
from tests.support.smf_tracks import Written, body_of, tracks
from tests.support.value_strategies import one_of

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
    {"transpose": {"by": 60, "outside": "octave"}},
    {"rechannel": {"1": 5}},
    {"velocity": {"scale_to": "20..127"}},
    {"velocity": {"fixed": 90}},
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
    return {"ports": ports, "devices": {}, "switches": {}, "rules": rules, "on_switch": []}


WAYS = [("general", False), ("stream", False), ("stream", True), ("patch", False), ("patch", True)]
"""The routes, by rows and by bytes."""

FILES = st.lists(tracks(over_meta=True), min_size=1, max_size=3)


def file_of(bodies: list[list[Written]]) -> bytes:
    """A format 1 file of these tracks."""
    return header(len(bodies)) + b"".join(chunk(b"MTrk", body_of(track)) for track in bodies)


@settings(
    max_examples=30,
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)
@given(static_rules(), st.booleans(), st.lists(FILES, min_size=1, max_size=4))
def test_all_routes_give_the_same(rules: dict[str, Any], per_port: bool, files: list[list[list[Written]]]) -> None:
    """The bytes of every output and the report agree, but for the name of the route, whichever loops are taken."""
    ruleset = read_rules([("rules.toml", toml_of(rules).encode())])
    pipeline = compile_rules(ruleset)
    assume(static_sources(pipeline, per_port))
    ways = [
        Rewriter(ruleset, pipeline, Playing("keys"), per_port=per_port, route=route, by_numbers=by_numbers)
        for route, by_numbers in WAYS
    ]
    for bodies in files:
        data = file_of(bodies)
        expected, report = came_of(ways[0], data)
        for way, (route, _) in zip(ways[1:], WAYS[1:], strict=True):
            outputs, told = came_of(way, data)
            assert outputs == expected
            if report is not None and told is not None:
                assert told.route in (route, "stream", "general")
                assert replace(told, route="general") == report


def is_unusual(message: bytes) -> bool:
    """Sysex, which is dropped or refused, and mode messages, since all notes off can end what other tracks hold."""
    return message[0] in (0xF0, 0xF7) or (message[0] & 0xF0 == 0xB0 and message[1] >= 120)


IN_PLACE: list[dict[str, Any]] = [
    {"rechannel": {"1": 2, "2": 1}},
    {"velocity": {"fixed": 90}},
    {"velocity": {"quieter": 0.5}},
    {"velocity": {"fixed": 64, "channel": 2}},
]


@settings(max_examples=25)
@given(
    st.lists(st.sampled_from(IN_PLACE), max_size=3),
    st.lists(tracks(), min_size=1, max_size=3),
    st.booleans(),
)
def test_what_keeps_its_length_is_patched(
    steps: list[dict[str, Any]], bodies: list[list[Written]], per_port: bool
) -> None:
    """Sound files whose messages all stay are changed in their places, and come out as by the engine."""
    bodies = [[event for event in body if not is_unusual(event.message)] for body in bodies]
    bodies = [[replace(event, running=False, form=b"\0" + event.message) for event in body] for body in bodies]
    rule = {"name": "all", "from": "keys", "to": "rack", "steps": steps}
    ports = {"keys": {"input": True}, "rack": {"output": True}}
    file = {"ports": ports, "devices": {}, "switches": {}, "rules": [rule], "on_switch": []}
    ruleset = read_rules([("rules.toml", toml_of(file).encode())])
    pipeline = compile_rules(ruleset)
    expected, report = came_of(
        Rewriter(ruleset, pipeline, Playing("keys"), per_port=per_port, route="general"), file_of(bodies)
    )
    for by_numbers in (False, True):
        way = Rewriter(ruleset, pipeline, Playing("keys"), per_port=per_port, by_numbers=by_numbers)
        outputs, told = came_of(way, file_of(bodies))
        assert outputs == expected
        assert told is not None
        assert report is not None
        assert told.route == "patch"
        assert replace(told, route="general") == report


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


def routed(
    rules: str, body: str, *, per_port: bool = False, route: str = "stream"
) -> tuple[dict[str, bytes], FileReport]:
    """What the stream route, or another, makes of a track in hex: its body by output, and the report."""
    ruleset = read_rules([("rules.toml", rules.encode())])
    pipeline = compile_rules(ruleset)
    ways = [Rewriter(ruleset, pipeline, Playing("keys"), per_port=per_port, by_numbers=it) for it in (False, True)]
    rewritten, same = (way.rewrite(one_track(body)) for way in ways)
    assert rewritten == same
    assert rewritten.report.route == route
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
    outputs, report = routed(HIGH_VOLUME, f"00 B0 07 50  60 B0 07 10  {END}", per_port=True, route="general")
    assert outputs == {"rack": unhex("00 B0 07 50  60 FF 2F 00")}
    assert (report.messages, report.dropped, report.drops) == (2, 1, {(1, "no rule"): 1})


def test_sysex_that_two_rules_take_goes_once() -> None:
    """It is one message in the file, and none was added."""
    rules = CHANNEL_1 + '[[rules]]\nfrom = "keys"\nto = "rack"\nmatch = { kind = "sysex" }\n' * 2
    outputs, report = routed(rules, f"00 F0 03 7D 01 F7 {END}")
    assert outputs == {"": unhex("00 F0 03 7D 01 F7 00 FF 2F 00")}
    assert (report.changed, report.dropped, report.added) == (0, 0, 0)


SWAPPED = CHANNEL_1.replace("match = { channel = 1 }", "steps = [{ rechannel = { 1 = 5, 5 = 1 } }]")


def route_of(rules: str, data: bytes) -> str:
    """The route that a file takes."""
    ruleset = read_rules([("rules.toml", rules.encode())])
    routes = {
        Rewriter(ruleset, compile_rules(ruleset), Playing("keys"), by_numbers=by_numbers).rewrite(data).report.route
        for by_numbers in (False, True)
    }
    (route,) = routes
    return route


def test_messages_that_keep_their_lengths_are_patched() -> None:
    """Notes that go to another channel stay where they are, with running status and padded delta times."""
    assert route_of(SWAPPED, one_track(f"8000 90 3C 40  808001 3C 00  {END}")) == "patch"


def test_a_dropped_sysex_takes_a_file_out_of_the_patch_route() -> None:
    """A file with sysex that the rules drop is written anew; one without any stays in its place."""
    drops = SWAPPED.replace("rechannel = { 1 = 5, 5 = 1 }", 'filter = { drop = { kind = "sysex" } }')
    assert route_of(drops, one_track(f"00 90 3C 40  60 3C 00  {END}")) == "patch"
    assert route_of(drops, one_track(f"00 F0 01 F7  00 90 3C 40  60 3C 00  {END}")) == "stream"


@pytest.mark.parametrize(
    "body",
    [
        "00 90 3C 40  00 FF 01 00  60 3C 00  00 FF 2F 00",  # running status over a meta event
        "00 90 3C 40  60 3C 00",  # no end
        "00 90 3C 40  00 FF 2F 00  01 02",  # bytes behind the end
        "00 90 3C 40  00 FF 2F 00  00 FF 2F 00",
    ],
)
def test_damage_is_left_to_the_careful_way(body: str) -> None:
    """A damaged track comes out with its damage, and the report says what it is."""
    ruleset = read_rules([("rules.toml", SWAPPED.encode())])
    for by_numbers in (False, True):
        way = Rewriter(ruleset, compile_rules(ruleset), Playing("keys"), by_numbers=by_numbers)
        rewritten = way.rewrite(one_track(body))
        assert rewritten.outputs[""] == one_track(body.replace("90 3C", "94 3C"))
        assert len(rewritten.report.damage) == 1
        assert rewritten.report.route == "general"


def test_a_file_after_one_that_was_given_up_is_counted_afresh() -> None:
    """Notes left open in a track that its route gave up don't count in the next file."""
    ruleset = read_rules([("rules.toml", SWAPPED.encode())])
    for by_numbers in (False, True):
        way = Rewriter(ruleset, compile_rules(ruleset), Playing("keys"), by_numbers=by_numbers)
        assert way.rewrite(one_track("00 90 3C 40")).report.unended == 1
        report = way.rewrite(one_track(f"00 90 3C 40  00 80 3C 40  00 80 3C 40  {END}")).report
        assert (report.messages, report.unended) == (3, 0)


@pytest.mark.parametrize("per_port", [False, True])
def test_all_routes_count_alike_what_another_track_may_end(per_port: bool) -> None:
    """However a file with one port is written, all routes tell the same about notes that another track may end."""
    ruleset = read_rules([("rules.toml", SWAPPED.encode())])
    data = header(2) + chunk(b"MTrk", unhex(f"00 90 3C 40 {END}")) + chunk(b"MTrk", unhex(f"60 B0 7B 00 {END}"))
    ways = [
        Rewriter(
            ruleset, compile_rules(ruleset), Playing("keys"), per_port=per_port, route=route, by_numbers=by_numbers
        )
        for route, by_numbers in WAYS
    ]
    assert {way.rewrite(data).report.unended for way in ways} == {0 if per_port else 1}


def test_all_notes_off_ends_what_is_open() -> None:
    """A note that all notes off ends isn't one that never ends."""
    ruleset = read_rules([("rules.toml", SWAPPED.encode())])
    for route, by_numbers in WAYS:
        way = Rewriter(ruleset, compile_rules(ruleset), Playing("keys"), route=route, by_numbers=by_numbers)
        report = way.rewrite(one_track(f"00 90 3C 40  00 91 3C 40  00 B0 7B 00  {END}")).report
        assert (report.route, report.unended) == (route, 1)


ONTO_CHANNEL_1 = CHANNEL_1.replace("match = { channel = 1 }", "steps = [{ rechannel = 1 }]")


@pytest.mark.parametrize(
    "body",
    [
        pytest.param("00 90 3C 40  00 91 3C 40  60 80 3C 40  60 81 3C 40", id="the unchanged one waits"),
        pytest.param("00 90 3C 40  00 91 3C 40  60 81 3C 40  60 80 3C 40", id="the changed one waits"),
        pytest.param("00 90 3C 40  00 91 3C 40  60 81 3C 40  60 B0 7B 00", id="all notes off lets it go"),
    ],
)
def test_a_note_off_that_waits_for_another_is_neither_dropped_nor_added(body: str) -> None:
    """Where two channels become one, the note-offs go out together, and only what moved to channel 1 has changed."""
    _, report = routed(ONTO_CHANNEL_1, f"{body} {END}", route="general")
    assert (report.messages, report.changed, report.dropped, report.added) == (4, 2, 0, 0)


STRUCK_TWICE = "00 90 3C 40  10 90 3C 50"


@pytest.mark.parametrize("route", ["patch", "stream", "general"])
@pytest.mark.parametrize(
    ("offs", "unended"),
    [
        pytest.param("", 2, id="never ends"),
        pytest.param("60 80 3C 40", 0, id="ends at once"),
        pytest.param("60 80 3C 40  10 80 3C 30", 0, id="ends twice"),
        pytest.param("60 80 3C 40  10 90 3C 40  10 90 3C 00", 0, id="is struck again"),
    ],
)
def test_a_key_struck_twice_stays_as_it_is_on_every_route(route: str, offs: str, unended: int) -> None:
    """One note-off ends both strikes; a second one ends nothing, and passes (rulings 10, 12)."""
    pipeline = compile_rules(ruleset := read_rules([("rules.toml", CHANNEL_1.replace("match = ", "# ").encode())]))
    data = one_track(f"{STRUCK_TWICE} {offs} {END}")
    for by_numbers in (False, True):
        made = Rewriter(ruleset, pipeline, Playing("keys"), route=route, by_numbers=by_numbers).rewrite(data)
        assert made.outputs == {"": data}
        assert (made.report.route, made.report.unended) == (route, unended)
        assert (made.report.changed, made.report.dropped, made.report.added) == (0, 0, 0)


@pytest.mark.parametrize("playing", [Playing("keys"), Playing("pads"), Playing("pads", {"#1": "keys"})])
@pytest.mark.parametrize("second", ["00 FF 01 01 41", "00 91 3C 40  14 91 3C 40  00 81 3C 40  00 81 3C 40"])
def test_what_one_source_plays_where_another_could_stays_as_it_is(playing: Playing, second: str) -> None:
    """Two sources lead to one output, and one of them chooses sounds: no event moves (rulings 11, 16)."""
    rules = CHANNEL_1.replace("match = ", "# ").replace("keys = {", "pads = { input = true }\nkeys = {")
    ruleset = read_rules([("rules.toml", rules.replace('"keys"', '["keys", "pads"]').encode())])
    banks = f"14 B0 00 01  00 B0 20 02  04 C0 05  {STRUCK_TWICE}  04 B0 00 02  60 80 3C 40  10 80 3C 30 {END}"
    data = header(2) + chunk(b"MTrk", unhex(banks)) + chunk(b"MTrk", unhex(f"{second} {END}"))
    made = Rewriter(ruleset, compile_rules(ruleset), playing).rewrite(data)
    assert made.outputs == {"": data}
    assert (made.report.changed, made.report.dropped, made.report.added) == (0, 0, 0)


@pytest.mark.parametrize(
    ("bank", "dropped"),
    [
        pytest.param("00 B0 00 01  00 B0 20 02  00 C0 05", 0, id="until its program change"),
        pytest.param("00 B0 00 01  00 B0 20 02", 0, id="until the end"),
        pytest.param("00 B0 00 01  00 B0 00 02  00 C0 05", 1, id="until another takes its place"),
    ],
)
def test_a_bank_select_that_waits_is_dropped_only_for_another(bank: str, dropped: int) -> None:
    """Where another source has chosen a sound it goes out later; that is no change, unless a second one replaces it."""
    rules = CHANNEL_1.replace("keys = {", "pads = { input = true }\nkeys = {").replace('"keys"', '["keys", "pads"]')
    ruleset = read_rules([("rules.toml", rules.encode())])
    data = header(2) + chunk(b"MTrk", unhex(f"00 C0 09 {END}")) + chunk(b"MTrk", unhex(f"{bank} {END}"))
    playing = Playing("keys", {"#1": "pads"})
    report = Rewriter(ruleset, compile_rules(ruleset), playing).rewrite(data).report
    assert (report.changed, report.dropped, report.added) == (0, dropped, 0)


DOUBLING = """
[ports]
keys = { input = true }
rack = { output = true }
[[rules]]
from = "keys"
match = { channel = 1 }
steps = [{ filter = { drop = { notes = 62 } } }]
to = "rack"
[[rules]]
from = "keys"
match = { channel = 1, notes = 64 }
steps = [{ rechannel = 2 }]
to = "rack"
"""


@pytest.mark.parametrize(
    ("body", "written"),
    [
        ("00 90 3C 40 10 3E 40 10 40 40", "00 90 3C 40 20 40 40 00 91 40 40"),
        ("00 FF 01 00 00 90 3C 40 10 3E 40 10 40 40", "00 FF 01 00 00 90 3C 40 20 40 40 00 91 40 40"),
        ("00 90 3C 40 00 FF 01 00 10 3E 40 10 40 40", "00 90 3C 40 00 FF 01 00 20 90 40 40 00 91 40 40"),
        ("00 90 3C 40 00 FF 01 00 10 3C 00 10 3E 40 10 40 40", "00 90 3C 40 00 FF 01 00 10 3C 00 20 40 40 00 91 40 40"),
    ],
    ids=["no meta event", "before the run", "before what was dropped", "further back"],
)
def test_a_run_is_broken_only_by_a_meta_event_right_before_it(body: str, written: str) -> None:
    """A message that is doubled comes behind one that is dropped: the writer takes over from the loop in between."""
    ruleset = read_rules([("rules.toml", DOUBLING.encode())])
    pipeline = compile_rules(ruleset)
    assert are_independent(pipeline, per_port=False)
    rewriter = Rewriter(ruleset, pipeline, Playing("keys"), route="general")
    assert rewriter.rewrite(one_track(f"{body} {END}")).outputs == {"": one_track(f"{written} {END}")}
