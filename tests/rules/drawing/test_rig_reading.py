"""What the picture of a rig shows, in words."""

from __future__ import annotations

from rules.drawing.view import Exit, RuleView
from tests.support.rig_views import PORTS, view_of

RULE = """
[[rules]]
name = "tune"
from = "keys"
"""


def rule_of(rest: str) -> RuleView:
    """The only rule of a rig."""
    (rule,) = view_of(RULE + rest).rules
    return rule


def test_the_line_into_a_rule_says_which_channels_it_takes() -> None:
    """What else it asks for is in its box."""
    rule = rule_of('match = { channel = "1..4", kind = "note" }\nto = "organ"')
    assert (rule.number, rule.name, rule.sources) == (1, "tune", ("keys",))
    assert (rule.label, rule.asks) == ("ch 1-4", "only kind note")


def test_several_conditions_keep_their_channels() -> None:
    """The line says all channels, the box which go with what."""
    rule = rule_of('match = [{ channel = 1 }, { channel = 2, kind = "note" }]\nto = "organ"')
    assert (rule.label, rule.asks) == ("ch 1-2", "only channel 1 or kind note and channel 2")


def test_the_rest_is_told_as_such() -> None:
    """`otherwise` stands in words."""
    assert rule_of('otherwise = true\nto = "rack2"').asks == "what no other rule matches"
    assert rule_of('otherwise = true\nmatch = { kind = "note" }\nto = "rack2"').asks == (
        "only kind note, where no other rule matches"
    )


def test_lines_out_of_a_rule_say_channels_before_and_at_the_device() -> None:
    """A table by channel has a line for each device, after all steps."""
    rule = rule_of('steps = [{ rechannel = { 1 = 11 } }]\nto = { 11 = "organ", 10 = ["kit", "rack2"] }')
    assert rule.exits == (
        Exit("organ", "ch 11 \u2192 4"),
        Exit("kit", "ch 10"),
        Exit("rack2", "ch 10"),
    )


def test_what_depends_on_switches_is_marked() -> None:
    """A rule, and a zone of another one."""
    rule = rule_of('match = { channel = 1 }\nwhen = "song = chorus"\nto = "organ"')
    assert (rule.when, [leaving.sometimes for leaving in rule.exits]) == ("song = chorus", [True])
    split = rule_of('[[rules.zones]]\nnotes = "..B3"\nto = "organ"\n[[rules.zones]]\nwhen = "up"\nto = "kit"')
    assert [leaving.sometimes for leaving in split.every_exit] == [False, True]


def test_steps_are_told_in_words_with_their_switches_and_curves() -> None:
    """As a trace tells them."""
    rule = rule_of('steps = [{ transpose = 12, when = "up" }, { velocity = 100 }, { delay = 40 }]\nto = "rack2"')
    assert rule.steps == ("transpose by +12, while up", "velocity fixed at 100 (curve A)", "delay of 40 ms")


def test_zones_have_keys_names_and_exits() -> None:
    """One without a name has its number; one without notes takes all keys."""
    rule = rule_of(
        '[[rules.zones]]\nname = "left"\nnotes = ["C2..B2", "C4"]\nsteps = [{ transpose = -12 }]\nto = "organ"\n'
        '[[rules.zones]]\nvelocity = "100.."\nto = "rack2"'
    )
    assert [(zone.name, zone.asks, zone.keys) for zone in rule.zones] == [
        ("left", "notes C2..B2, C4", ((36, 47), (60, 60))),
        ("zone 2", "velocity 100..", ((0, 127),)),
    ]
    assert rule.zones[0].steps == ("transpose by -12",)
    assert [leaving.target for leaving in rule.every_exit] == ["organ", "rack2"]


def test_sources_and_outputs_tell_their_facts() -> None:
    """Names of the computer, cables, clock, switches, devices with channel and range, and which rules lead there."""
    view = view_of(RULE + 'match = { channel = 1 }\nto = "organ"')
    keys, pads = view.sources
    assert (keys.name, keys.facts) == ("keys", ('"Pit Keyboard*"', "turns up"))
    assert (pads.name, pads.facts) == ("pads", ("turns song",))
    rack1, rack2 = view.outputs
    assert rack1.port.facts == ('"Rack*1"', "5-pin DIN", "clock from keys")
    assert rack1.devices[0].facts == ("channel 4", "C2..C7, others by octaves", "1 setup message", "from rule 1")
    assert (rack2.port.name, rack2.port.facts, rack2.devices) == ("rack2", (), ())


def test_a_port_for_both_directions_is_an_output_only_where_something_goes_there() -> None:
    """A keyboard whose input nobody uses isn't drawn twice."""
    ports = '[ports]\nkeys = "Keys*"\nrack = "Rack*"\n'
    view = view_of('[[rules]]\nfrom = "keys"\nto = "rack"', ports)
    assert [source.name for source in view.sources] == ["keys", "rack"]
    assert [output.port.name for output in view.outputs] == ["rack"]


def test_switches_tell_states_what_turns_them_and_which_rules_they_decide_in() -> None:
    """And what they send."""
    view = view_of(
        RULE + 'when = "up"\nto = "organ"\n[[on_switch]]\nwhen = "song = chorus"\n'
        'send = { organ = ["program 20", "controller volume 90"] }\ndo = "panic"'
    )
    assert dict(view.switches) == {
        "up": "on while held; by soft pedal of keys; decides in rule 1",
        "song": "verse, chorus; verse first; chorus: note C1 of pads",
        "when song = chorus": "sends 2 messages to organ; panic",
    }


def test_findings_stand_at_what_they_are_about() -> None:
    """All channels into one: at the rule. A device that nothing leads to: at the device."""
    view = view_of(RULE + 'to = "organ"')
    (rule,) = view.rules
    (mark,) = (mark for mark in rule.marks if mark.severity == "doubt")
    assert mark.text == (
        'all channels: organ: All 16 channels go into channel 4 of "organ". '
        "If you mean only some, name them in `match`."
    )
    kit = view.outputs[0].devices[1]
    assert [mark.text.partition(". ")[0] for mark in kit.marks] == ["unreached: No rule leads here"]
    assert [mark.number for mark in view.marks] == list(range(1, len(view.marks) + 1))
    assert mark in view.marks


def test_a_finding_stands_at_each_part_that_has_a_share_in_it() -> None:
    """Two devices on one channel of one port."""
    ports = PORTS.replace('kit = { port = "rack1", channel = 10 }', 'kit = { port = "rack1", channel = 4 }')
    view = view_of(RULE + 'match = { channel = 1 }\nto = ["organ", "kit"]', ports)
    organ, kit = view.outputs[0].devices
    shared = [mark for mark in organ.marks if mark in kit.marks]
    assert [mark.severity for mark in shared] == ["doubt"]


def test_curves_have_letters_places_and_each_shape_once() -> None:
    """In the order in which a note meets them."""
    view = view_of(
        RULE + 'steps = [{ velocity = { louder = 0.5 } }, { velocity = { limit = "20..90" } }]\nto = "organ"\n'
        '[[rules]]\nname = "same"\nfrom = "pads"\nsteps = [{ velocity = { louder = 0.5, channel = 2 } }]\nto = "kit"'
    )
    assert [(curve.letters, curve.words, curve.places) for curve in view.curves] == [
        ("A", "louder by 0.5", ('rule "tune"', 'rule "same"')),
        ("B", "limited to 20..90", ('rule "tune"',)),
    ]


OWN = """
[ports]
keys = { input = true }
seq = { input = true }
drums = { output = true, clock = "own" }
[clock]
follow = "seq"
start = { from = "keys", note = "C1" }
tap = [{ from = "keys", note = "D1" }, { from = "seq", note = "D1" }]
"""


def test_ports_say_what_our_clock_has_to_do_with_them() -> None:
    """What hears it, what it follows, and what starts or taps it."""
    view = view_of("", OWN)
    facts = {end.name: end.facts for end in (*view.sources, *(output.port for output in view.outputs))}
    assert "your clock" in facts["drums"]
    assert "your clock: start, tap" in facts["keys"]
    assert {"your clock follows it", "your clock: tap"} <= set(facts["seq"])


def test_ends_and_long_presses_are_told() -> None:
    """Where a switch stops though its kind goes round, or the other way; and how long a pedal is held."""
    ports = PORTS.replace('values = ["verse", "chorus"]', 'values = ["verse", "chorus"], wrap = false').replace(
        'mode = "momentary" }', 'long = 600 }\nkey = { numbers = "0..3", wrap = true }'
    )
    told = dict(view_of(RULE + 'to = "organ"', ports).switches)
    assert told["up"] == "on or off, off first; by soft pedal of keys, held 600 ms"
    assert told["song"] == "verse, chorus; verse first, stops at the ends; chorus: note C1 of pads"
    assert told["key"] == "0 to 3, 0 first, goes round"


def test_songs_are_told_as_their_switch() -> None:
    """The ways from one to the next, what each sends, and the rules that they open."""
    ports = PORTS[: PORTS.index("[switches]")]
    view = view_of(
        '[set_list]\nnext = { from = "pads", note = "C4" }\n'
        '[[songs]]\nname = "Tide"\nsend = { organ = "program 2" }\nrules = ["tune"]\n[[songs]]\nname = "Ebb"\n'
        + RULE
        + 'to = "organ"',
        ports,
    )
    assert dict(view.switches) == {
        "song": "Tide, Ebb; Tide first, stops at the ends; +1: note C4 of pads; decides in rule 1",
        "when song = Tide": "sends 1 message to organ",
    }
    assert view.rules[0].when == "song = Tide"
