"""Rule files that are right: everything in them is read into the values that it means."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from rules.fields.when import Term, When
from rules.fields.written_messages import DelayedMessage, TimedMessage
from rules.midi.notation import STANDARD, MessageText, Naming
from rules.rulefile.port_tables import Port
from rules.rulefile.reading import Reading, read_rule_set, read_rules
from rules.rulefile.rule_tables import Outlet, Rule
from rules.steps.base import Step
from rules.steps.chord import ChordStep
from rules.steps.delay import DelayStep
from rules.steps.echo import EchoStep
from rules.steps.latch import LatchStep
from rules.steps.length import LengthStep
from rules.steps.map import MapStep
from rules.steps.rechannel import RechannelStep
from rules.steps.send import SendStep
from rules.steps.snap import SnapStep
from rules.steps.thin import ThinStep
from rules.steps.transpose import TransposeStep
from rules.steps.value_map import End
from rules.steps.velocity import VelocityStep

EVERYTHING = (Path(__file__).parent / "everything.toml").read_bytes()
PORTS = b'[ports]\nkeys = { input = "Pit Keyboard*" }\nrack = { output = "Interface*" }\n'


@pytest.fixture(scope="module")
def everything() -> Reading:
    """The file that has every key, read."""
    return read_rule_set([("everything.toml", EVERYTHING)])


def rule(lines: str) -> Rule:
    """One rule from keys to rack with some lines more."""
    text = PORTS + f'[[rules]]\nfrom = "keys"\nto = "rack"\n{lines}\n'.encode()
    return read_rules([("rules.toml", text)]).rules[0]


def only_step(step: str) -> Step:
    """The one step of a rule."""
    return rule(f"steps = [{{ {step} }}]").steps[0].step


def test_ports_devices_and_tempo(everything: Reading) -> None:
    """Ports know their directions, devices their channel, range and setup messages, the file its tempo."""
    ruleset = everything.ruleset
    assert ruleset.bpm == 96.5
    assert {name: (port.can_receive, port.can_send) for name, port in ruleset.ports.items()} == {
        "seq": (True, True),
        "keys": (True, False),
        "pads": (True, False),
        "rack": (False, True),
        "take": (True, True),
        "desk": (True, True),
        "plain": (True, True),
    }
    assert (ruleset.ports["seq"], ruleset.ports["desk"].both) == (Port(both="Step Box*"), "Desk*")
    organ = ruleset.devices["organ"]
    assert (organ.port, organ.channel, organ.notes, organ.outside) == ("rack", 4, (36, 96), "octave")
    assert [each.message.moved_to(4) for each in organ.setup] == [b"\xc3\x11", b"\xb3\x07\x09"]
    assert ruleset.devices["wide"].notes == (60, 60)
    assert ruleset.port_of("organ") == "rack"
    assert (organ.channels, organ.returns) == (None, None)
    assert (ruleset.devices["wide"].channels, ruleset.devices["wide"].returns) == (frozenset(range(1, 17)), "take")
    assert (ruleset.ports["take"].channels, ruleset.ports["keys"].channels) == (frozenset({1, 2, 3, 16}), None)
    assert ruleset.port_of("rack") == "rack"


def test_no_files_make_an_empty_set_of_rules() -> None:
    """Without ports too, at 120 beats a minute."""
    ruleset = read_rules([])
    assert (ruleset.rules, dict(ruleset.ports), ruleset.bpm) == ((), {}, 120.0)
    assert read_rules([("empty.toml", b"")]) == ruleset


def test_switches_start_where_they_say(everything: Reading) -> None:
    """All three sorts do; those that say nothing start where the documentation says."""
    switches = everything.ruleset.switches
    up, song, key = switches["up"], switches["song"], switches["key"]
    assert (up.mode, up.controller, up.initial, up.pass_on) == ("momentary", 67, False, False)  # type: ignore[union-attr]
    assert (song.first, song.values) == ("chorus", ("verse", "chorus", "3rd one"))  # type: ignore[union-attr]
    assert (key.first, key.numbers) == (2, (-6, 6))  # type: ignore[union-attr]
    assert [trigger.note for trigger in song.set] == [36, None]  # type: ignore[union-attr]
    assert song.advance[0].by == -1  # type: ignore[union-attr]


@pytest.mark.parametrize(("numbers", "first"), [("-6..6", 0), ("3..9", 3), ("-9..-2", -2), ("..5", 0)])
def test_a_number_switch_starts_near_zero(numbers: str, first: int) -> None:
    """Without `initial` a number switch begins at the number nearest to 0."""
    text = PORTS + f'[switches]\nkey = {{ numbers = "{numbers}" }}\n'.encode()
    assert read_rules([("rules.toml", text)]).switches["key"].first == first


def test_rules_keep_the_order_of_the_file(everything: Reading) -> None:
    """Single names and lists of names mean the same."""
    sequencer, keyboard = everything.ruleset.rules
    assert (sequencer.name, sequencer.source) == ("sequencer", ("seq",))
    assert sequencer.to == (
        Outlet(channels=frozenset({11}), to=("organ",)),
        Outlet(channels=frozenset({1, 2, 3}), to=("kit", "wide")),
        Outlet(channels=frozenset({4}), to=()),
    )
    assert keyboard.source == ("keys", "pads")
    assert keyboard.to == (Outlet(to=("organ",)),)
    assert keyboard.chase == (64, 7, "program", "channel-pressure", "pitch-bend")
    assert len(keyboard.steps) == 31
    assert [zone.to for zone in keyboard.zones] == [
        (Outlet(to=("organ", "take")),),
        None,
        (Outlet(channels=frozenset({1}), to=("wide",)),),
    ]


def test_open_ends_of_ranges_reach_to_the_end_of_what_is_counted(everything: Reading) -> None:
    """Notes follow `middle_c` of the file."""
    match = everything.ruleset.rules[1].match
    assert match[0].channel == frozenset({1, 3, 4, 5})
    assert match[0].notes == frozenset({*range(48), 60})
    assert match[1].velocity == frozenset(range(64, 128))
    assert match[2].value == (-8192, -1)
    assert match[3].controller == frozenset({64, 7})
    assert match[3].value == (64, 127)
    assert match[3].kinds == frozenset({"controller", "channel-mode"})
    assert match[4].program == frozenset({0, 5, 6, 7, 8, 9})
    assert match[4].kinds == frozenset({"program"})


def test_conditions_on_switches(everything: Reading) -> None:
    """`and` binds tighter than `or`."""
    when = everything.ruleset.rules[1].when
    assert when == When(
        ((Term("up", None, False), Term("song", "verse", True)), (Term("key", "-2..2", False),)),
    )
    assert str(when) == "up and not song = verse or key = -2..2"


@pytest.mark.parametrize(
    ("short", "step"),
    [
        ("rechannel = 4", RechannelStep(to=4)),
        ("rechannel = { 1 = 4 }", RechannelStep(moves={1: 4})),
        ("rechannel = { to = 4 }", RechannelStep(to=4)),
        ("transpose = 12", TransposeStep(by=12)),
        ("transpose = { by = 12 }", TransposeStep(by=12)),
        ("transpose = { by = 1, except_channels = [] }", TransposeStep(by=1, except_channels=frozenset())),
        ("velocity = 100", VelocityStep(fixed=100)),
        ("velocity = { percent = 50 }", VelocityStep(percent=50)),
        ("delay = 250", DelayStep(ms=Fraction(250))),
        ("delay = 0.1", DelayStep(ms=Fraction(1, 10))),
        ("delay = { beats = 0.25 }", DelayStep(beats=Fraction(1, 4))),
        ('delay = { beats = "1/3" }', DelayStep(beats=Fraction(1, 3))),
        ('delay = { beats = "1.5" }', DelayStep(beats=Fraction(3, 2))),
        ("echo = { ms = 3 }", EchoStep(ms=Fraction(3), times=1, decay=30, transpose=0)),
        ("length = 120", LengthStep(ms=Fraction(120))),
        ('length = "1/8."', LengthStep(note_value=Fraction(3, 4))),
        ('delay = { note_value = "1/4t" }', DelayStep(note_value=Fraction(2, 3))),
        ('echo = { note_value = "1/1", ms = 5 }', EchoStep(note_value=Fraction(4), ms=Fraction(5))),
        ("latch = true", LatchStep(until="next")),
        ('snap = ["C", "Bb"]', SnapStep(pitches=frozenset({0, 10}), others="move")),
        ("chord = [0, 4, 7]", ChordStep(notes=(0, 4, 7), keys={})),
        ("thin = 20", ThinStep(ms=Fraction(20))),
        ('send = "start"', SendStep(messages=(DelayedMessage(MessageText(b"\xfa", None)),))),
        (
            'send = ["clock", "program 4 17"]',
            SendStep(
                messages=(DelayedMessage(MessageText(b"\xf8", None)), DelayedMessage(MessageText(b"\xc3\x10", 4)))
            ),
        ),
        (
            'map = { from = "note", to = "note C3" }',
            MapStep.model_validate({"from": End("note", None), "to": End("note", 48)}),
        ),
        (
            'map = { from = "cc 7", to = "aftertouch" }',
            MapStep.model_validate({"from": End("controller", 7), "to": End("channel-pressure", None)}),
        ),
        ('map = { notes = { C4 = "D4" } }', MapStep(notes={60: 62})),
    ],
)
def test_short_and_long_forms(short: str, step: Step) -> None:
    """A short form is read as the long one that it stands for."""
    assert only_step(short) == step


def test_kinds_to_be_chased_may_have_other_names() -> None:
    """As everywhere."""
    switch = '[switches]\nup = { from = "keys", note = 1 }\n'
    chasing = rule(f'when = "up"\nchase = ["program-change", "aftertouch", "volume"]\n{switch}')
    assert chasing.chase == ("program", "channel-pressure", 7)


def test_a_single_step_needs_no_list() -> None:
    """`steps = { ... }` is one step, and its `when` is read."""
    stage = rule("steps = { transpose = 12 }").steps[0]
    assert (stage.step, stage.when) == (TransposeStep(by=12), None)


def test_naming_holds_for_its_own_file() -> None:
    """`middle_c` and `first_program` count in the file that gives them, and in no other (ruling 18)."""
    body = b'[[rules]]\nfrom = "keys"\nto = "rack"\nmatch = [{ notes = "C3" }, { program = 1 }]\n'
    reading = read_rule_set([("a.toml", b'middle_c = "C3"\nfirst_program = 0\n' + PORTS + body), ("b.toml", body)])
    first, second = (rule.match for rule in reading.ruleset.rules)
    assert (first[0].notes, first[1].program) == (frozenset({60}), frozenset({1}))
    assert (second[0].notes, second[1].program) == (frozenset({48}), frozenset({0}))
    assert [place.source.naming for place in reading.rules] == [Naming(3, 0), STANDARD]


def test_files_add_up() -> None:
    """Rules of several files stand one after the other; names of one file are known in all; unnamed rules count on."""
    first = (
        b'clock.bpm = 100\n[[rules]]\nfrom = "keys"\nto = "organ"\n'
        b'[[rules]]\nname = "second"\nfrom = "keys"\nto = "rack"\n'
    )
    second = PORTS + b'[devices]\norgan = { port = "rack" }\n\n[[rules]]\nfrom = "keys"\nto = "organ"\n'
    reading = read_rule_set([("z.toml", first), ("a.toml", second)])
    assert [rule.name for rule in reading.ruleset.rules] == ["rule 1", "second", "rule 3"]
    assert [str(place) for place in reading.rules] == ["z.toml:2", "z.toml:5", "a.toml:7"]
    assert [place.words for place in reading.rules] == ["rule 1", 'rule "second"', "rule 3"]
    assert reading.ruleset.bpm == 100


def test_each_part_has_the_line_that_it_begins_in(everything: Reading) -> None:
    """Ports, devices, switches, rules and their steps, what switches send, and tests."""
    assert str(everything.ports["rack"]) == "everything.toml:19"
    assert str(everything.devices["wide"]) == "everything.toml:27"
    assert str(everything.switches["key"]) == "everything.toml:38"
    assert [place.line for place in everything.rules] == [42, 48]
    assert everything.rules[1].inside("steps", 6).problem("odd").line == 68
    assert [place.line for place in everything.on_switch] == [113]
    assert [(place.line, place.words) for place in everything.tests] == [(121, 'test "part 11 reaches only the organ"')]


def test_tests_have_their_messages_with_times_and_ports(everything: Reading) -> None:
    """And the switches that they set."""
    test = everything.ruleset.tests[0]
    assert test.play == (
        TimedMessage(MessageText(b"\x9a\x3c\x64", 11)),
        TimedMessage(MessageText(b"\x8a\x3c\x40", 11), Fraction(12), "keys"),
    )
    assert test.expect == {
        "organ": (TimedMessage(MessageText(b"\x90\x3c\x64", None), Fraction(0)),),
        "take": (),
    }
    assert test.switches == {"up": True, "song": "verse", "key": -2}


def test_names_with_spaces() -> None:
    """Names may have several words: in conditions, tables and tests."""
    text = b"""
[ports]
"left hand" = { input = "Pit Keyboard*" }
"big rack" = { output = "Interface*" }
[switches]
"far pedal" = { from = "left hand", controller = "sustain" }
[[rules]]
from = "left hand"
to = "big rack"
when = "not far pedal"
[[tests]]
name = "left"
from = "left hand"
play = "at 1.5 ms from left hand note-on 1 C4 100"
expect = { "big rack" = "note-on 1 C4 100" }
"""
    ruleset = read_rules([("rules.toml", text)])
    assert ruleset.rules[0].when == When(((Term("far pedal", None, True),),))
    assert ruleset.tests[0].play == (TimedMessage(MessageText(b"\x90\x3c\x64", 1), Fraction(3, 2), "left hand"),)


def test_a_byte_order_mark_is_no_matter() -> None:
    """A file that begins with the byte order mark of UTF-8 is read as any other, with the same lines."""
    assert read_rules([("rules.toml", b"\xef\xbb\xbf" + EVERYTHING)]) == read_rules([("rules.toml", EVERYTHING)])


def test_line_ends_are_no_matter() -> None:
    """A file from another system, with CR LF, is read as any other."""
    assert read_rules([("rules.toml", EVERYTHING.replace(b"\n", b"\r\n"))]) == read_rules([("rules.toml", EVERYTHING)])
