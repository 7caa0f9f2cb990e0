"""One or several examples for each ruling, worked out by hand: a rule file, a performance, what comes out.

The name of each begins with the number of its ruling. The rulings themselves are listed in DEVELOPERS.md.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

RIG = """
[ports]
keys  = { input = true }
pads  = { input = true }
seq   = { input = true }
synth = { output = true }
rack  = { output = true }
"""
THRU = """
[[rules]]
from = ["keys", "pads"]
to = "synth"
"""


@dataclass(frozen=True, slots=True)
class Case:
    """`rules` stands under RIG unless it has ports of its own; `sent` is what comes out when `played` comes in."""

    rules: str
    played: str
    sent: str
    reloads: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """The rule file."""
        return whole(self.rules)

    @property
    def reload_texts(self) -> tuple[str, ...]:
        """The rule files that take over."""
        return tuple(whole(rules) for rules in self.reloads)


def whole(rules: str) -> str:
    """A rule file with the ports that all examples use; what stands before the first table stays there."""
    if "[ports]" in rules:
        return rules
    top, bracket, rest = rules.partition("[")
    return f"{top}{RIG}{bracket}{rest}"


CASES: dict[str, Case] = {}


def case(example: Callable[[], Case]) -> Callable[[], Case]:
    """Collects an example under its name, with its sentence as the explanation."""
    assert example.__doc__
    CASES[example.__name__.removeprefix("ruling_")] = example()
    return example


# Matching


@case
def ruling_1_a_split_takes_pedals_along() -> Case:
    """A condition on notes restricts only what has a note: the pedal reaches both halves of a split."""
    return Case(
        """
        [[rules]]
        from = "keys"
        [[rules.zones]]
        notes = "..B3"
        to = "synth"
        [[rules.zones]]
        notes = "C4.."
        to = "rack"
        """,
        """
        at 0 keys controller 1 sustain 127
        at 1 keys note-on 1 B3 100
        at 2 keys note-on 1 C4 100
        at 3 keys poly-pressure 1 C4 9
        at 4 keys program 1 5
        """,
        """
        at 0 synth controller 1 sustain 127
        at 0 rack controller 1 sustain 127
        at 1 synth note-on 1 B3 100
        at 2 rack note-on 1 C4 100
        at 3 rack poly-pressure 1 C4 9
        at 4 synth program 1 5
        at 4 rack program 1 5
        """,
    )


@case
def ruling_1_kind_note_keeps_the_rest_out() -> Case:
    """`kind = "note"` in a zone leaves pedals and pressure of keys out."""
    return Case(
        """
        [[rules]]
        from = "keys"
        to = "synth"
        [[rules.zones]]
        kind = "note"
        notes = "C4.."
        """,
        """
        at 0 keys controller 1 sustain 127
        at 1 keys note-on 1 C4 100
        at 2 keys poly-pressure 1 C4 9
        at 3 keys note-off 1 C4 64
        at 4 keys note-on 1 B3 100
        """,
        """
        at 1 synth note-on 1 C4 100
        at 3 synth note-off 1 C4 64
        """,
    )


@case
def ruling_1_drop_takes_only_what_has_a_velocity() -> Case:
    """`drop` by velocity takes soft notes, not what has no velocity; a dropped note-on takes its note-off along."""
    return Case(
        """
        [[rules]]
        from = "keys"
        to = "synth"
        steps = [{ filter = { drop = { velocity = "..19" } } }]
        """,
        """
        at 0 keys controller 1 volume 3
        at 1 keys note-on 1 C4 19
        at 2 keys note-off 1 C4 64
        at 3 keys note-on 1 C4 20
        at 4 keys note-off 1 C4 10
        """,
        """
        at 0 synth controller 1 volume 3
        at 3 synth note-on 1 C4 20
        at 4 synth note-off 1 C4 10
        """,
    )


@case
def ruling_1_match_by_velocity_lets_the_wheel_by() -> Case:
    """In `match`, too, a velocity says nothing about a bend or about sysex."""
    return Case(
        """
        [[rules]]
        from = "keys"
        to = "synth"
        match = { velocity = "100.." }
        """,
        """
        at 0 keys note-on 1 C4 99
        at 1 keys note-on 1 D4 100
        at 2 keys pitch-bend 1 +512
        at 3 keys sysex F0 7D 01 F7
        """,
        """
        at 1 synth note-on 1 D4 100
        at 2 synth pitch-bend 1 +512
        at 3 synth sysex F0 7D 01 F7
        """,
    )


@case
def ruling_2_controller_selects_its_kind() -> Case:
    """`controller` and `value` let nothing but controllers by."""
    return Case(
        """
        [[rules]]
        from = "keys"
        to = "synth"
        match = { controller = "volume", value = "100.." }
        """,
        """
        at 0 keys controller 1 volume 99
        at 1 keys controller 1 volume 100
        at 2 keys controller 1 pan 100
        at 3 keys note-on 1 C4 100
        at 4 keys pitch-bend 1 0
        """,
        "at 1 synth controller 1 volume 100",
    )


@case
def ruling_2_a_list_is_any_of() -> Case:
    """Two tables in `match` are alternatives."""
    return Case(
        """
        [[rules]]
        from = "keys"
        to = "synth"
        match = [{ program = 5 }, { controller = 123 }, { kind = "note", notes = "C4" }]
        """,
        """
        at 0 keys program 1 5
        at 1 keys program 1 6
        at 2 keys controller 1 123 0
        at 3 keys controller 1 sustain 127
        at 4 keys note-on 1 C4 1
        at 5 keys note-on 1 D4 1
        """,
        """
        at 0 synth program 1 5
        at 2 synth controller 1 123 0
        at 4 synth note-on 1 C4 1
        """,
    )


@case
def ruling_2_controller_and_mode_are_two_kinds() -> Case:
    """`kind = "controller"` is 0-119, `kind = "mode"` the mode messages 120-127."""
    return Case(
        """
        [[rules]]
        from = "keys"
        to = "synth"
        match = { kind = "controller" }
        [[rules]]
        from = "keys"
        to = "rack"
        match = { kind = "mode" }
        """,
        """
        at 0 keys controller 1 119 1
        at 1 keys controller 1 120 0
        """,
        """
        at 0 synth controller 1 119 1
        at 1 rack controller 1 120 0
        """,
    )


@case
def ruling_3_note_on_takes_its_off_along() -> Case:
    """`kind = "note-on"` means whole notes, and a note-on of velocity 0 is a note-off."""
    return Case(
        """
        [[rules]]
        from = "keys"
        to = "synth"
        match = { kind = "note-on" }
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-on 1 C4 0
        at 2 keys note-off 1 D4 5
        at 3 keys poly-pressure 1 C4 5
        """,
        """
        at 0 synth note-on 1 C4 100
        at 1 synth note-on 1 C4 0
        at 2 synth note-off 1 D4 5
        """,
    )


@case
def ruling_3_note_off_may_send() -> Case:
    """A rule for note-offs fires its `send` when a key is let go, in either form."""
    return Case(
        """
        [[rules]]
        from = "keys"
        to = "synth"
        match = { kind = "note-off", notes = "C4" }
        steps = [{ send = "program 3 9" }]
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-off 1 C4 64
        at 2 keys note-on 1 C4 0
        at 3 keys note-off 1 D4 64
        """,
        """
        at 1 synth program 3 9
        at 2 synth program 3 9
        """,
    )


@case
def ruling_4_a_rule_without_match_takes_all_but_clock() -> Case:
    """Every channel message and sysex passes; clock goes by port, and this port has its clock from elsewhere."""
    return Case(
        """
        [ports]
        keys  = { input = true }
        synth = { output = true, clock = "none" }
        [[rules]]
        from = "keys"
        to = "synth"
        """,
        """
        at 0 keys note-off 16 C-1 127
        at 1 keys poly-pressure 2 G9 1
        at 2 keys controller 3 127 0
        at 3 keys program 4 128
        at 4 keys pressure 5 0
        at 5 keys pitch-bend 6 -8192
        at 6 keys sysex F0 7E 7F F7
        at 7 keys clock
        at 8 keys song-position 5
        """,
        """
        at 0 synth note-off 16 C-1 127
        at 1 synth poly-pressure 2 G9 1
        at 2 synth controller 3 127 0
        at 3 synth program 4 128
        at 4 synth pressure 5 0
        at 5 synth pitch-bend 6 -8192
        at 6 synth sysex F0 7E 7F F7
        """,
    )


OTHERWISE = """
[[rules]]
name = "drums"
from = "keys"
match = { channel = 10, notes = "..B3" }
steps = [{ filter = { drop = { notes = "C2" } } }]
to = "rack"
[[rules]]
name = "rest"
from = "keys"
otherwise = true
to = "synth"
"""


@case
def ruling_5_otherwise_takes_what_no_rule_takes() -> Case:
    """A note that fits another rule is taken, even if that rule drops it later; all else is left over."""
    return Case(
        OTHERWISE,
        """
        at 0 keys note-on 10 B3 100
        at 1 keys note-on 10 C4 100
        at 2 keys note-on 10 C2 100
        at 3 keys note-on 9 B3 100
        """,
        """
        at 0 rack note-on 10 B3 100
        at 1 synth note-on 10 C4 100
        at 3 synth note-on 9 B3 100
        """,
    )


@case
def ruling_5_a_rule_for_notes_does_not_take_the_pedal() -> Case:
    """A pedal goes along with the notes but counts as taken only where its kind is named or no note is asked for."""
    return Case(
        OTHERWISE,
        "at 0 keys controller 10 sustain 127",
        """
        at 0 rack controller 10 sustain 127
        at 0 synth controller 10 sustain 127
        """,
    )


@case
def ruling_5_a_named_kind_counts_as_taken() -> Case:
    """Where a rule names controllers, the pedal is taken."""
    return Case(
        """
        [[rules]]
        from = "keys"
        match = [{ kind = ["note", "controller"], notes = "..B3" }]
        to = "rack"
        [[rules]]
        from = "keys"
        otherwise = true
        to = "synth"
        """,
        """
        at 0 keys controller 10 sustain 127
        at 1 keys program 10 1
        """,
        """
        at 0 rack controller 10 sustain 127
        at 1 synth program 10 1
        """,
    )


@case
def ruling_5_a_rule_that_is_switched_off_takes_nothing() -> Case:
    """Only a `when` that holds now counts; two rules for what is left over both get it."""
    return Case(
        """
        [switches]
        up = { from = "pads", note = "C1" }
        [[rules]]
        from = "keys"
        when = "up"
        to = "rack"
        [[rules]]
        from = "keys"
        otherwise = true
        to = "synth"
        [[rules]]
        from = "keys"
        otherwise = true
        steps = [{ transpose = 12 }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 turn up on
        at 2 keys note-on 1 D4 100
        """,
        """
        at 0 synth note-on 1 C4 100
        at 0 synth note-on 1 C5 100
        at 2 rack note-on 1 D4 100
        """,
    )


@case
def ruling_6_zones_judge_the_key_as_played() -> Case:
    """A split looks at the played key, whatever the rule's steps do; a filter looks at its place in the chain."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ transpose = 12 }]
        to = "synth"
        [[rules.zones]]
        notes = "..B3"
        steps = [{ filter = { drop = { notes = "B4" } } }]
        [[rules.zones]]
        notes = "C4..B4"
        to = "rack"
        """,
        """
        at 0 keys note-on 1 B3 100
        at 1 keys note-on 1 A3 100
        at 2 keys note-on 1 C4 100
        at 3 keys note-on 1 C5 100
        """,
        """
        at 1 synth note-on 1 A4 100
        at 2 rack note-on 1 C5 100
        """,
    )


@case
def ruling_6_port_steps_come_before_the_split() -> Case:
    """What the port's own steps make of a key is the key as played."""
    return Case(
        """
        [ports]
        keys  = { input = true, steps = [{ transpose = -12 }] }
        synth = { output = true }
        rack  = { output = true }
        [[rules]]
        from = "keys"
        [[rules.zones]]
        notes = "..B3"
        to = "synth"
        [[rules.zones]]
        notes = "C4.."
        to = "rack"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-on 1 C5 100
        """,
        """
        at 0 synth note-on 1 C3 100
        at 1 rack note-on 1 C4 100
        """,
    )


@case
def ruling_6_when_is_judged_on_arrival() -> Case:
    """A switch that turns while a note is delayed changes nothing for that note."""
    return Case(
        """
        [switches]
        up = { from = "pads", note = "C1" }
        [[rules]]
        from = "keys"
        steps = [{ delay = 100 }, { transpose = 12, when = "up" }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 10 turn up on
        at 20 keys note-on 1 D4 100
        """,
        """
        at 100 synth note-on 1 C4 100
        at 120 synth note-on 1 D5 100
        """,
    )


@case
def ruling_7_nothing_goes_out_twice() -> Case:
    """One message never sends two identical messages to an output; different ones all go, in file order."""
    return Case(
        """
        [devices]
        organ = { port = "synth", channel = 1 }
        [[rules]]
        from = "keys"
        to = "synth"
        [[rules]]
        from = "keys"
        steps = [{ transpose = 12 }]
        to = ["organ", "synth"]
        [[rules]]
        from = "keys"
        to = ["synth", "rack"]
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-off 1 C4 64
        at 2 keys pitch-bend 2 0
        """,
        """
        at 0 synth note-on 1 C4 100
        at 0 synth note-on 1 C5 100
        at 0 rack note-on 1 C4 100
        at 1 synth note-off 1 C4 64
        at 1 synth note-off 1 C5 64
        at 1 rack note-off 1 C4 64
        at 2 synth pitch-bend 2 0
        at 2 synth pitch-bend 1 0
        at 2 rack pitch-bend 2 0
        """,
    )


@case
def ruling_7_two_rules_into_a_thinned_device_send_once() -> Case:
    """What two rules bring to a device alike is one message there, for its `thin` too."""
    return Case(
        """
        [devices]
        organ = { port = "synth", steps = [{ thin = 30 }] }
        [[rules]]
        from = "keys"
        to = "organ"
        [[rules]]
        from = "keys"
        to = "organ"
        """,
        "at 0 keys pitch-bend 1 100",
        "at 0 synth pitch-bend 1 100",
    )


# Devices


@case
def ruling_8_the_device_sets_the_channel_last() -> Case:
    """A device's channel comes after all steps, its own too; a device without channel keeps what comes."""
    return Case(
        """
        [devices]
        organ = { port = "synth", channel = 4, steps = [{ transpose = { by = 12, except_channels = 3 } }] }
        module = { port = "rack" }
        [[rules]]
        from = "keys"
        to = ["organ", "module"]
        """,
        """
        at 0 keys note-on 2 C4 100
        at 1 keys note-on 3 C4 100
        at 2 keys sysex F0 01 F7
        """,
        """
        at 0 synth note-on 4 C5 100
        at 0 rack note-on 2 C4 100
        at 1 synth note-on 4 C4 100
        at 1 rack note-on 3 C4 100
        at 2 synth sysex F0 01 F7
        at 2 rack sysex F0 01 F7
        """,
    )


@case
def ruling_8_a_range_may_drop_or_fold() -> Case:
    """`outside` drops keys that the device lacks, or moves them to the nearest octave that it has."""
    return Case(
        """
        [devices]
        organ = { port = "synth", notes = "C2..C7", outside = "drop" }
        bass = { port = "rack", notes = "C2..C3", outside = "fold" }
        plain = { port = "rack", channel = 9, notes = "C2..C3" }
        [[rules]]
        from = "keys"
        to = ["organ", "bass", "plain"]
        """,
        """
        at 0 keys note-on 1 B1 100
        at 1 keys note-on 1 D7 100
        """,
        """
        at 0 rack note-on 1 B2 100
        at 0 rack note-on 9 B1 100
        at 1 rack note-on 1 D2 100
        at 1 rack note-on 9 D7 100
        """,
    )


@case
def ruling_8_outlets_go_by_the_channel_at_the_end() -> Case:
    """A table by channel judges the channel that a message has after the steps; sysex goes to every name once."""
    return Case(
        """
        [devices]
        organ = { port = "synth", channel = 4 }
        strings = { port = "rack", channel = 4 }
        [[rules]]
        from = "keys"
        steps = [{ rechannel = { 1 = 11 } }]
        to = { 11 = "strings", "2..4" = ["organ", "strings"] }
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-on 3 C4 100
        at 2 keys note-on 5 C4 100
        at 3 keys sysex F0 01 F7
        """,
        """
        at 0 rack note-on 4 C4 100
        at 1 synth note-on 4 C4 100
        at 1 rack note-on 4 C4 100
        at 3 rack sysex F0 01 F7
        at 3 synth sysex F0 01 F7
        """,
    )


# Notes, pedals and what is held

SWITCHED = """
[switches]
up = { from = "pads", note = "C1" }
[[rules]]
from = "keys"
when = "up"
to = "rack"
[[rules]]
from = "keys"
when = "not up"
to = "synth"
"""


@case
def ruling_9_a_note_off_goes_where_its_note_went() -> Case:
    """Whatever the rules say by now, the note-off follows the note-on."""
    return Case(
        SWITCHED,
        """
        at 0 keys note-on 1 C4 100
        at 1 turn up on
        at 2 keys note-on 1 D4 100
        at 3 turn up off
        at 4 keys note-off 1 C4 33
        at 5 keys note-off 1 D4 44
        """,
        """
        at 0 synth note-on 1 C4 100
        at 2 rack note-on 1 D4 100
        at 4 synth note-off 1 C4 33
        at 5 rack note-off 1 D4 44
        """,
    )


@case
def ruling_9_transposing_mid_note_strands_nothing() -> Case:
    """The note-off has the key and the delay that the note-on got."""
    return Case(
        """
        [switches]
        key = { numbers = "-6..6" }
        late = { from = "pads", note = "C1" }
        [[rules]]
        from = "keys"
        steps = [{ transpose = "key" }, { delay = 50, when = "late" }]
        to = "synth"
        """,
        """
        at 0 turn late on
        at 0 turn key 3
        at 0 keys note-on 1 C4 100
        at 10 turn key -1
        at 10 turn late off
        at 100 keys note-off 1 C4 64
        at 200 keys note-on 1 C4 100
        """,
        """
        at 50 synth note-on 1 D#4 100
        at 150 synth note-off 1 D#4 64
        at 200 synth note-on 1 B3 100
        """,
    )


@case
def ruling_9_holders_are_told_apart_by_channel() -> Case:
    """The same key on two channels is two holders: each note-off answers its own note-on."""
    return Case(
        """
        [[rules]]
        from = "keys"
        match = { channel = 1, velocity = "64.." }
        to = "rack"
        [[rules]]
        from = "keys"
        match = { channel = 2 }
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-on 2 C4 100
        at 2 keys note-off 2 C4 64
        at 3 keys note-off 1 C4 64
        """,
        """
        at 0 rack note-on 1 C4 100
        at 1 synth note-on 2 C4 100
        at 2 synth note-off 2 C4 64
        at 3 rack note-off 1 C4 64
        """,
    )


@case
def ruling_9_a_note_made_from_a_value_ends_where_it_sounds() -> Case:
    """Pressure that made a note ends it when it falls, also where its rule has been switched off meanwhile."""
    return Case(
        """
        [switches]
        up = { from = "pads", note = "C1" }
        [[rules]]
        from = "keys"
        when = "up"
        steps = [{ map = { from = "pressure", to = "note D4" } }]
        to = "synth"
        """,
        """
        at 0 turn up on
        at 1 keys pressure 1 100
        at 2 turn up off
        at 3 keys pressure 1 0
        """,
        """
        at 1 synth note-on 1 D4 100
        at 3 synth note-off 1 D4 64
        """,
    )


@case
def ruling_10_a_second_on_to_the_same_target_passes() -> Case:
    """Both note-ons pass, and each note-off."""
    return Case(
        THRU,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-on 1 C4 90
        at 2 keys note-off 1 C4 64
        at 3 keys note-off 1 C4 65
        """,
        """
        at 0 synth note-on 1 C4 100
        at 1 synth note-on 1 C4 90
        at 2 synth note-off 1 C4 64
        at 3 synth note-off 1 C4 65
        """,
    )


@case
def ruling_10_a_second_on_elsewhere_ends_the_first() -> Case:
    """The old note is ended before the new one begins elsewhere; the second release has nothing left to end."""
    return Case(
        SWITCHED,
        """
        at 0 keys note-on 1 C4 100
        at 1 turn up on
        at 2 keys note-on 1 C4 90
        at 3 keys note-off 1 C4 60
        """,
        """
        at 0 synth note-on 1 C4 100
        at 2 synth note-off 1 C4 64
        at 2 rack note-on 1 C4 90
        at 3 rack note-off 1 C4 60
        """,
    )


@case
def ruling_10_a_note_off_ends_what_sounds_before_what_does_not() -> Case:
    """A soft note that was dropped is not in the way of the loud one after it: the first note-off ends that."""
    return Case(
        """
        [[rules]]
        from = "keys"
        to = "synth"
        steps = [{ filter = { drop = { velocity = "..19" } } }]
        """,
        """
        at 0 keys note-on 1 C4 10
        at 1 keys note-on 1 C4 100
        at 2 keys note-off 1 C4 64
        at 3 keys note-off 1 C4 64
        """,
        """
        at 1 synth note-on 1 C4 100
        at 2 synth note-off 1 C4 64
        """,
    )


@case
def ruling_11_offs_wait_for_the_last_holder() -> Case:
    """Two sources on one note: note-ons pass, note-offs wait, then as many go out as note-ons went, as they came."""
    return Case(
        THRU,
        """
        at 0 keys note-on 1 C4 100
        at 1 pads note-on 1 C4 90
        at 2 keys note-off 1 C4 11
        at 3 pads note-on 1 C4 0
        """,
        """
        at 0 synth note-on 1 C4 100
        at 1 synth note-on 1 C4 90
        at 3 synth note-off 1 C4 11
        at 3 synth note-on 1 C4 0
        """,
    )


@case
def ruling_11_two_channels_made_one() -> Case:
    """Two channels of one source that a device makes one are two holders."""
    return Case(
        """
        [devices]
        organ = { port = "synth", channel = 4 }
        [[rules]]
        from = "keys"
        to = "organ"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-on 2 C4 90
        at 2 keys note-off 2 C4 22
        at 3 keys note-on 2 D4 90
        at 4 keys note-off 2 D4 44
        at 5 keys note-off 1 C4 55
        """,
        """
        at 0 synth note-on 4 C4 100
        at 1 synth note-on 4 C4 90
        at 3 synth note-on 4 D4 90
        at 4 synth note-off 4 D4 44
        at 5 synth note-off 4 C4 22
        at 5 synth note-off 4 C4 55
        """,
    )


@case
def ruling_11_octaves_folded_onto_one_key() -> Case:
    """Two keys folded onto one key of the device are two holders of it."""
    return Case(
        """
        [devices]
        bass = { port = "rack", notes = "C2..B2", outside = "fold" }
        [[rules]]
        from = "keys"
        to = "bass"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-on 1 C5 90
        at 2 keys note-off 1 C4 22
        at 3 keys note-off 1 C5 33
        """,
        """
        at 0 rack note-on 1 C2 100
        at 1 rack note-on 1 C2 90
        at 3 rack note-off 1 C2 22
        at 3 rack note-off 1 C2 33
        """,
    )


@case
def ruling_11_what_one_holder_sends_is_not_touched() -> Case:
    """Overlapping notes in two tracks of one source are one holder: they pass as they were."""
    return Case(
        THRU,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys#2 note-on 1 C4 90
        at 2 keys note-off 1 C4 22
        at 3 keys#2 note-off 1 C4 33
        """,
        """
        at 0 synth note-on 1 C4 100
        at 1 synth#2 note-on 1 C4 90
        at 2 synth note-off 1 C4 22
        at 3 synth#2 note-off 1 C4 33
        """,
    )


@case
def ruling_12_offs_keep_their_form() -> Case:
    """Note-offs leave in the form and with the release velocity in which they came."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ transpose = 1 }, { velocity = 50 }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-off 1 C4 0
        at 2 keys note-on 1 C4 100
        at 3 keys note-on 1 C4 0
        at 4 keys note-on 1 C4 100
        at 5 keys note-off 1 C4 127
        """,
        """
        at 0 synth note-on 1 C#4 50
        at 1 synth note-off 1 C#4 0
        at 2 synth note-on 1 C#4 50
        at 3 synth note-on 1 C#4 0
        at 4 synth note-on 1 C#4 50
        at 5 synth note-off 1 C#4 127
        """,
    )


@case
def ruling_12_an_unknown_off_takes_todays_rules() -> Case:
    """A note-off without known note-on goes by today's rules, with velocity conditions taken as met."""
    return Case(
        """
        [[rules]]
        from = "keys"
        match = { velocity = "100.." }
        steps = [{ transpose = 12 }]
        to = "synth"
        [[rules]]
        from = "keys"
        steps = [{ filter = { drop = { velocity = "..99" } } }]
        to = "rack"
        """,
        """
        at 0 keys note-off 1 C4 5
        at 1 keys note-on 1 C4 0
        """,
        """
        at 0 synth note-off 1 C5 5
        at 0 rack note-off 1 C4 5
        at 1 synth note-on 1 C5 0
        at 1 rack note-on 1 C4 0
        """,
    )


@case
def ruling_12_an_unknown_off_ends_nobody_elses_note() -> Case:
    """A stray note-off from another source doesn't end a note that is held."""
    return Case(
        THRU,
        """
        at 0 keys note-on 1 C4 100
        at 1 pads note-off 1 C4 64
        at 2 keys note-off 1 C4 64
        at 3 pads note-off 1 C4 64
        """,
        """
        at 0 synth note-on 1 C4 100
        at 2 synth note-off 1 C4 64
        at 3 synth note-off 1 C4 64
        """,
    )


@case
def ruling_13_a_pedal_is_released_where_it_was_pressed() -> Case:
    """The release of a pedal goes to today's place and to every place that got the press."""
    return Case(
        SWITCHED,
        """
        at 0 keys controller 1 sustain 127
        at 1 turn up on
        at 2 keys controller 1 sustain 90
        at 3 keys controller 1 sustain 30
        at 4 keys controller 1 sustain 0
        """,
        """
        at 0 synth controller 1 sustain 127
        at 2 rack controller 1 sustain 90
        at 3 rack controller 1 sustain 30
        at 3 synth controller 1 sustain 0
        at 4 rack controller 1 sustain 0
        """,
    )


@case
def ruling_13_bends_and_pressure_come_back_to_rest() -> Case:
    """Bend, pressure and modulation come back to rest where they were away from it; other controllers stay."""
    return Case(
        SWITCHED,
        """
        at 0 keys pitch-bend 1 +100
        at 0 keys pressure 1 50
        at 0 keys controller 1 modulation 60
        at 0 keys controller 1 volume 70
        at 1 turn up on
        at 2 keys pitch-bend 1 +50
        at 3 keys pitch-bend 1 0
        at 3 keys pressure 1 0
        at 3 keys controller 1 modulation 0
        at 3 keys controller 1 volume 0
        """,
        """
        at 0 synth pitch-bend 1 +100
        at 0 synth pressure 1 50
        at 0 synth controller 1 modulation 60
        at 0 synth controller 1 volume 70
        at 2 rack pitch-bend 1 +50
        at 3 rack pitch-bend 1 0
        at 3 synth pitch-bend 1 0
        at 3 rack pressure 1 0
        at 3 synth pressure 1 0
        at 3 rack controller 1 modulation 0
        at 3 synth controller 1 modulation 0
        at 3 rack controller 1 volume 0
        """,
    )


@case
def ruling_13_a_turned_round_pedal_is_judged_by_what_goes_out() -> Case:
    """A pedal that a `map` turns round rests when what goes out rests: at 127 of what comes in."""
    return Case(
        """
        [switches]
        up = { from = "pads", note = "C1" }
        [[rules]]
        from = "keys"
        when = "not up"
        steps = [{ map = { from = "controller sustain", to = "controller sustain", out = "127..0" } }]
        to = "synth"
        """,
        """
        at 0 keys controller 1 sustain 0
        at 1 turn up on
        at 2 keys controller 1 sustain 20
        at 3 keys controller 1 sustain 127
        """,
        """
        at 0 synth controller 1 sustain 127
        at 3 synth controller 1 sustain 0
        """,
    )


@case
def ruling_13_poly_pressure_follows_its_note() -> Case:
    """Pressure of a held key goes where the note went; of a key that isn't held by today's rules."""
    return Case(
        SWITCHED,
        """
        at 0 keys note-on 1 C4 100
        at 1 turn up on
        at 2 keys poly-pressure 1 C4 50
        at 3 keys poly-pressure 1 D4 60
        at 4 keys note-off 1 C4 64
        at 5 keys poly-pressure 1 C4 0
        """,
        """
        at 0 synth note-on 1 C4 100
        at 2 synth poly-pressure 1 C4 50
        at 3 rack poly-pressure 1 D4 60
        at 4 synth note-off 1 C4 64
        at 5 rack poly-pressure 1 C4 0
        at 5 synth poly-pressure 1 C4 0
        """,
    )


@case
def ruling_13_what_a_thin_holds_back_does_not_come_after_the_rest() -> Case:
    """A bend that a `thin` still holds back when the bend comes to rest elsewhere gives way to the rest."""
    return Case(
        """
        [switches]
        up = { from = "pads", note = "C1" }
        [[rules]]
        from = "keys"
        when = "not up"
        steps = [{ thin = 30 }]
        to = "synth"
        """,
        """
        at 0 keys pitch-bend 1 +100
        at 5 keys pitch-bend 1 +200
        at 6 turn up on
        at 7 keys pitch-bend 1 0
        """,
        """
        at 0 synth pitch-bend 1 +100
        at 30 synth pitch-bend 1 0
        """,
    )


@case
def ruling_13_what_a_send_sends_stays() -> Case:
    """Nobody holds down what a `send` sends: a pad may leave a pedal down, and another take it up."""
    return Case(
        """
        [[rules]]
        from = "pads"
        match = { kind = "note", notes = "C1" }
        steps = [{ send = "controller 1 sustain 127" }]
        to = "synth"
        [[rules]]
        from = "pads"
        match = { kind = "note", notes = "D1" }
        steps = [{ send = "controller 1 sustain 0" }]
        to = "synth"
        """,
        """
        at 0 pads note-on 10 C1 100
        at 1 pads note-off 10 C1 64
        at 2 pads note-on 10 D1 100
        at 3 pads note-off 10 D1 64
        """,
        """
        at 0 synth controller 1 sustain 127
        at 2 synth controller 1 sustain 0
        """,
    )


@case
def ruling_14_the_highest_pedal_wins() -> Case:
    """Two holders of one pedal: the highest value counts, and only changes go out."""
    return Case(
        THRU,
        """
        at 0 keys controller 1 sustain 100
        at 1 pads controller 1 sustain 127
        at 2 keys controller 1 sustain 0
        at 3 keys controller 1 sustain 40
        at 4 pads controller 1 sustain 0
        at 5 keys controller 1 sustain 0
        at 6 keys controller 1 sustain 0
        """,
        """
        at 0 synth controller 1 sustain 100
        at 1 synth controller 1 sustain 127
        at 4 synth controller 1 sustain 40
        at 5 synth controller 1 sustain 0
        at 6 synth controller 1 sustain 0
        """,
    )


@case
def ruling_14_of_other_controllers_the_last_wins() -> Case:
    """Volume, bend and pressure of two holders pass as they come."""
    return Case(
        THRU,
        """
        at 0 keys controller 1 volume 100
        at 1 pads controller 1 volume 50
        at 2 keys pitch-bend 1 +5
        at 3 pads pitch-bend 1 0
        at 4 keys pressure 1 5
        at 5 pads pressure 1 0
        """,
        """
        at 0 synth controller 1 volume 100
        at 1 synth controller 1 volume 50
        at 2 synth pitch-bend 1 +5
        at 3 synth pitch-bend 1 0
        at 4 synth pressure 1 5
        at 5 synth pressure 1 0
        """,
    )


@case
def ruling_15_all_notes_off_spares_the_others() -> Case:
    """While another holder sounds on the channel, all notes off becomes note-offs for the sender's own notes."""
    return Case(
        THRU,
        """
        at 0 keys note-on 1 C4 100
        at 0 keys note-on 1 E4 100
        at 1 pads note-on 1 C4 90
        at 2 keys controller 1 123 0
        at 3 pads note-off 1 C4 33
        at 4 keys note-off 1 E4 44
        at 5 pads controller 1 123 0
        """,
        """
        at 0 synth note-on 1 C4 100
        at 0 synth note-on 1 E4 100
        at 1 synth note-on 1 C4 90
        at 2 synth note-off 1 E4 64
        at 3 synth note-off 1 C4 64
        at 3 synth note-off 1 C4 33
        at 4 synth note-off 1 E4 44
        at 5 synth controller 1 123 0
        """,
    )


@case
def ruling_15_on_another_channel_nobody_is_in_the_way() -> Case:
    """A note on another output channel or port doesn't hold a mode message back; the note-off after it still passes."""
    return Case(
        THRU,
        """
        at 0 keys note-on 1 C4 100
        at 1 pads note-on 2 C4 90
        at 2 keys controller 1 120 0
        at 3 keys note-off 1 C4 64
        """,
        """
        at 0 synth note-on 1 C4 100
        at 1 synth note-on 2 C4 90
        at 2 synth controller 1 120 0
        at 3 synth note-off 1 C4 64
        """,
    )


@case
def ruling_15_echoes_after_all_notes_off_still_end() -> Case:
    """A copy that comes after all notes off has its note-off all the same."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ echo = { ms = 100, decay = 0 } }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 10 keys controller 1 123 0
        at 50 keys note-off 1 C4 33
        """,
        """
        at 0 synth note-on 1 C4 100
        at 10 synth controller 1 123 0
        at 100 synth note-on 1 C4 100
        at 150 synth note-off 1 C4 33
        """,
    )


@case
def ruling_15_after_a_reset_what_others_hold_is_sent_again() -> Case:
    """Reset all controllers passes; pedals and bend of others are sent again after it."""
    return Case(
        THRU,
        """
        at 0 keys controller 1 soft-pedal 60
        at 0 keys controller 1 sustain 100
        at 1 keys pitch-bend 1 +100
        at 2 pads controller 1 sustain 127
        at 3 pads controller 1 121 0
        at 4 pads controller 1 sustain 0
        at 5 keys controller 1 sustain 0
        """,
        """
        at 0 synth controller 1 soft-pedal 60
        at 0 synth controller 1 sustain 100
        at 1 synth pitch-bend 1 +100
        at 2 synth controller 1 sustain 127
        at 3 synth controller 1 121 0
        at 3 synth controller 1 sustain 100
        at 3 synth controller 1 soft-pedal 60
        at 3 synth pitch-bend 1 +100
        at 5 synth controller 1 sustain 0
        """,
    )


@case
def ruling_15_what_is_sent_again_goes_out_on_the_output_channel() -> Case:
    """Another's bend is sent again on the channel where it went out, not on the one where it came in."""
    return Case(
        """
        [devices]
        organ = { port = "synth", channel = 2 }
        [[rules]]
        from = "keys"
        to = "organ"
        """,
        """
        at 0 keys pitch-bend 3 +512
        at 1 keys controller 3 sustain 127
        at 2 keys controller 1 121 0
        """,
        """
        at 0 synth pitch-bend 2 +512
        at 1 synth controller 2 sustain 127
        at 2 synth controller 2 121 0
        at 2 synth controller 2 sustain 127
        at 2 synth pitch-bend 2 +512
        """,
    )


@case
def ruling_15_a_bend_that_another_overrode_is_not_sent_again() -> Case:
    """After a reset the bend is where it was for the others: the last one had brought it back to the middle."""
    return Case(
        """
        [[rules]]
        from = ["keys", "pads"]
        steps = [{ rechannel = 1 }]
        to = "synth"
        """,
        """
        at 0 keys pitch-bend 2 +512
        at 1 pads pitch-bend 1 0
        at 2 keys controller 1 121 0
        """,
        """
        at 0 synth pitch-bend 1 +512
        at 1 synth pitch-bend 1 0
        at 2 synth controller 1 121 0
        """,
    )


@case
def ruling_15_a_note_goes_on_where_its_own_send_did_not_end_it() -> Case:
    """A `send` of all notes off ends the note at its own output; where the note sounds as well, it is still held."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ send = { messages = ["controller 123 0"], keep = true } }]
        to = "synth"
        [[rules]]
        from = "keys"
        to = "rack"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 release keys
        """,
        """
        at 0 synth note-on 1 C4 100
        at 0 synth controller 1 123 0
        at 0 rack note-on 1 C4 100
        at 1 rack note-off 1 C4 64
        """,
    )


@case
def ruling_15_a_reset_forgets_nothing_that_is_still_to_come() -> Case:
    """What was played after a delayed reset, and goes out after it, still comes to rest."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ delay = 35 }]
        to = "synth"
        """,
        """
        at 0 keys controller 1 121 0
        at 20 keys controller 1 mod 64
        at 100 release keys
        """,
        """
        at 35 synth controller 1 121 0
        at 55 synth controller 1 mod 64
        at 100 synth controller 1 mod 0
        """,
    )


@case
def ruling_15_after_all_notes_off_nobody_is_waited_for() -> Case:
    """Echoes that it ended, and whose note-offs are still to come, hold back no later note-off."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ echo = { ms = 40, times = 2, decay = 0 } }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 200 keys note-off 1 C4 33
        at 210 keys controller 1 123 0
        """,
        """
        at 0 synth note-on 1 C4 100
        at 40 synth note-on 1 C4 100
        at 80 synth note-on 1 C4 100
        at 210 synth controller 1 123 0
        at 210 synth note-off 1 C4 33
        at 240 synth note-off 1 C4 33
        at 280 synth note-off 1 C4 33
        """,
    )


@case
def ruling_16_data_goes_to_what_its_holder_selected() -> Case:
    """Before data from another holder its own selection is sent again."""
    return Case(
        THRU,
        """
        at 0 keys controller 1 101 0
        at 0 keys controller 1 100 0
        at 1 keys controller 1 6 2
        at 2 pads controller 1 99 3
        at 2 pads controller 1 98 4
        at 3 keys controller 1 38 7
        at 4 keys controller 1 38 8
        at 5 pads controller 1 96 0
        """,
        """
        at 0 synth controller 1 101 0
        at 0 synth controller 1 100 0
        at 1 synth controller 1 6 2
        at 2 synth controller 1 99 3
        at 2 synth controller 1 98 4
        at 3 synth controller 1 101 0
        at 3 synth controller 1 100 0
        at 3 synth controller 1 38 7
        at 4 synth controller 1 38 8
        at 5 synth controller 1 99 3
        at 5 synth controller 1 98 4
        at 5 synth controller 1 96 0
        """,
    )


@case
def ruling_16_data_without_a_selection_is_dropped() -> Case:
    """Data from a holder that selected nothing would go to another's parameter: dropped, until nothing is selected."""
    return Case(
        THRU,
        """
        at 0 pads controller 1 6 1
        at 1 keys controller 1 101 0
        at 1 keys controller 1 100 0
        at 2 pads controller 1 6 2
        at 3 keys controller 1 101 127
        at 3 keys controller 1 100 127
        at 4 pads controller 1 6 3
        """,
        """
        at 0 synth controller 1 6 1
        at 1 synth controller 1 101 0
        at 1 synth controller 1 100 0
        at 3 synth controller 1 101 127
        at 3 synth controller 1 100 127
        at 4 synth controller 1 6 3
        """,
    )


@case
def ruling_16_bank_select_waits_where_two_sources_meet() -> Case:
    """Where two sources share an output channel, a bank select goes out right before its own program change."""
    return Case(
        THRU,
        """
        at 0 keys controller 1 32 5
        at 0 keys controller 1 0 1
        at 1 pads program 1 10
        at 2 keys controller 1 0 2
        at 3 keys program 1 20
        at 4 pads controller 1 0 7
        at 5 settle
        """,
        """
        at 1 synth program 1 10
        at 3 synth controller 1 0 2
        at 3 synth controller 1 32 5
        at 3 synth program 1 20
        at 5 synth controller 1 0 7
        """,
    )


@case
def ruling_16_bank_select_passes_where_one_source_is_alone() -> Case:
    """A source that shares the output but not the channel with another has its bank select pass at once."""
    return Case(
        """
        [[rules]]
        from = "keys"
        match = { channel = "1..4" }
        to = "synth"
        [[rules]]
        from = "pads"
        match = { channel = 10 }
        to = "synth"
        [[rules]]
        from = "seq"
        match = { kind = "note" }
        to = "synth"
        """,
        """
        at 0 keys controller 1 0 1
        at 1 pads controller 10 32 1
        """,
        """
        at 0 synth controller 1 0 1
        at 1 synth controller 10 32 1
        """,
    )


def _resets(port: str, at: int, channel: int) -> str:
    messages = [f"controller {channel} {number} 0" for number in (64, 66, 69, 123, 120)]
    return "\n".join(f"at {at} {port} {message}" for message in [*messages, f"pitch-bend {channel} 0"])


@case
def ruling_16_what_a_start_sends_chooses_sounds_too() -> Case:
    """A bank select waits for its program change where another source chooses sounds by a `send`, too."""
    return Case(
        """
        [[rules]]
        from = "pads"
        match = { kind = "start" }
        steps = [{ send = ["controller bank 1", "program 3"] }]
        to = "rack"
        [[rules]]
        from = "keys"
        to = "rack"
        """,
        """
        at 0 keys controller 1 bank 5
        at 1 pads start
        at 2 keys program 1 9
        """,
        """
        at 1 rack controller 1 bank 1
        at 1 rack program 1 3
        at 2 rack controller 1 bank 5
        at 2 rack program 1 9
        """,
    )


@case
def ruling_16_what_a_start_selects_is_not_what_others_selected() -> Case:
    """A parameter number that clock and transport send counts: before data the own choice is sent again."""
    return Case(
        """
        [[rules]]
        from = "pads"
        match = { kind = "start" }
        steps = [{ send = ["controller 2 101 0", "controller 2 100 1", "controller 2 6 70"] }]
        to = "rack"
        [[rules]]
        from = "keys"
        to = "rack"
        """,
        """
        at 0 keys controller 2 101 0
        at 1 keys controller 2 100 2
        at 2 pads start
        at 3 keys controller 2 6 64
        """,
        """
        at 0 rack controller 2 101 0
        at 1 rack controller 2 100 2
        at 2 rack controller 2 101 0
        at 2 rack controller 2 100 1
        at 2 rack controller 2 6 70
        at 3 rack controller 2 101 0
        at 3 rack controller 2 100 2
        at 3 rack controller 2 6 64
        """,
    )


@case
def ruling_16_a_bank_does_not_wait_for_a_send_that_never_fires() -> Case:
    """A `send` that only ever sees values below 64 chooses no sound, so nobody has to wait for it."""
    return Case(
        """
        [[rules]]
        from = "pads"
        match = { value = "..63" }
        steps = [{ send = "program 3" }]
        to = "rack"
        [[rules]]
        from = "keys"
        to = "rack"
        """,
        "at 0 keys controller 1 bank 5",
        "at 0 rack controller 1 bank 5",
    )


@case
def ruling_17_panic_ends_everything() -> Case:
    """Offs for what sounds, then pedals up, all notes and sound off and bend to the middle on each channel."""
    resets = "\n".join(_resets(port, 4, channel) for port in ("synth", "rack") for channel in range(1, 17))
    return Case(
        """
        [[rules]]
        from = "keys"
        to = ["synth", "rack"]
        match = { channel = [1, 3] }
        steps = [{ delay = 10, when = "late" }]
        [switches]
        late = { from = "pads", note = "C1" }
        """,
        """
        at 0 keys note-on 3 C4 100
        at 1 keys note-on 3 D4 100
        at 2 keys note-off 3 D4 64
        at 3 turn late on
        at 3 keys note-on 1 E4 100
        at 4 panic
        at 20 keys note-off 3 C4 64
        """,
        f"""
        at 0 synth note-on 3 C4 100
        at 0 rack note-on 3 C4 100
        at 1 synth note-on 3 D4 100
        at 1 rack note-on 3 D4 100
        at 2 synth note-off 3 D4 64
        at 2 rack note-off 3 D4 64
        at 4 synth note-off 3 C4 64
        at 4 rack note-off 3 C4 64
        {resets}
        at 30 synth note-off 3 C4 64
        at 30 rack note-off 3 C4 64
        """,
    )


@case
def ruling_17_panic_lets_go_of_every_pedal() -> Case:
    """A soft pedal that is down comes up as well, and so does whatever else is held away from rest."""
    resets = "\n".join(_resets("synth", 2, channel) for channel in range(1, 17))
    return Case(
        """
        [ports]
        keys  = { input = true }
        synth = { output = true }
        [[rules]]
        from = "keys"
        to = "synth"
        """,
        """
        at 0 keys controller 2 67 127
        at 1 keys controller 2 modulation 40
        at 2 panic
        """,
        f"""
        at 0 synth controller 2 67 127
        at 1 synth controller 2 modulation 40
        at 2 synth controller 2 67 0
        at 2 synth controller 2 modulation 0
        {resets}
        """,
    )


@case
def ruling_17_panic_with_every_key() -> Case:
    """For instruments that ignore all notes off, each of the 128 keys of each channel gets a note-off: 2,048."""
    resets = []
    for channel in range(1, 17):
        resets += [f"at 1 synth note-off {channel} {key} 64" for key in range(128)]
        resets.append(_resets("synth", 1, channel))
    return Case(
        """
        [ports]
        keys  = { input = true }
        synth = { output = true }
        [[rules]]
        from = "keys"
        to = "synth"
        """,
        "at 0 keys program 2 1\nat 1 panic every key",
        "\n".join(["at 0 synth program 2 1", *resets]),
    )


# Steps


@case
def ruling_18_each_file_counts_as_it_says() -> Case:
    """With `middle_c = "C3"` key 60 is C3, with `first_program = 0` programs count from 0."""
    return Case(
        """
        middle_c = "C3"
        first_program = 0
        [[rules]]
        from = "keys"
        match = [{ kind = "note", notes = "C3" }, { program = 4 }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 60 100
        at 1 keys note-on 1 48 100
        at 2 keys program 1 5
        at 3 keys program 1 4
        """,
        """
        at 0 synth note-on 1 C4 100
        at 2 synth program 1 5
        """,
    )


@case
def ruling_19_transpose_moves_all_keys() -> Case:
    """Notes, pressure of keys and the key of portamento control move; what leaves 0-127 is dropped; channel 10 too."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ transpose = 12 }]
        to = "synth"
        """,
        """
        at 0 keys note-on 10 C4 100
        at 1 keys poly-pressure 1 C4 5
        at 2 keys controller 1 portamento-control 60
        at 3 keys controller 1 volume 60
        at 4 keys note-on 1 116 100
        at 5 keys note-off 1 116 64
        at 6 keys note-on 1 115 100
        """,
        """
        at 0 synth note-on 10 C5 100
        at 1 synth poly-pressure 1 C5 5
        at 2 synth controller 1 portamento-control 72
        at 3 synth controller 1 volume 60
        at 6 synth note-on 1 127 100
        """,
    )


@case
def ruling_19_fold_finds_the_nearest_octave() -> Case:
    """`fold` brings a key back by octaves; `except_channels` leaves the drums alone."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ transpose = { by = -30, outside = "fold", except_channels = 10 } }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 29 100
        at 1 keys note-on 1 0 100
        at 2 keys note-on 1 30 100
        at 3 keys note-on 10 0 100
        """,
        """
        at 0 synth note-on 1 11 100
        at 1 synth note-on 1 6 100
        at 2 synth note-on 1 0 100
        at 3 synth note-on 10 0 100
        """,
    )


def _velocities(step: str, pairs: dict[int, int]) -> Case:
    played = "\n".join(f"at {n} keys note-on 1 {n} {velocity}" for n, velocity in enumerate(pairs))
    sent = "\n".join(f"at {n} synth note-on 1 {n} {velocity}" for n, velocity in enumerate(pairs.values()))
    return Case(f'[[rules]]\nfrom = "keys"\nsteps = [{{ velocity = {step} }}]\nto = "synth"\n', played, sent)


@case
def ruling_20_points() -> Case:
    """Straight lines between the points, half up: 20 + 31 * 60 / 63 = 49.52; flat outside."""
    return _velocities(
        "{ points = [[10, 20], [64, 80], [120, 100]] }", {1: 20, 10: 20, 37: 50, 64: 80, 92: 90, 120: 100, 127: 100}
    )


@case
def ruling_20_softer_and_harder() -> Case:
    """127 * (v / 127) ** 2 for softer 1 (64: 32.25), and the root of v / 127 for harder 1 (64: 90.16)."""
    return _velocities("{ softer = 1 }", {1: 1, 64: 32, 90: 64, 127: 127})


@case
def ruling_20_harder() -> Case:
    """127 * (v / 127) ** 0.5: 64 gives 90.16, 1 gives 11.27."""
    return _velocities("{ harder = 1 }", {1: 11, 64: 90, 127: 127})


@case
def ruling_20_percent_before_add() -> Case:
    """50 percent of 25 is 12.5, and 10 makes 22.5: half up, 23; the result stays within 1-127."""
    return _velocities("{ percent = 50, add = 10 }", {1: 11, 25: 23, 127: 74})


@case
def ruling_20_clamps() -> Case:
    """Whatever is added, 1-127 stays 1-127."""
    return _velocities("{ add = -100 }", {1: 1, 101: 1, 102: 2, 127: 27})


@case
def ruling_20_within_and_fit() -> Case:
    """`within` limits, `fit` spreads 1-127 over its range: 20 + 63 * 107 / 126 = 73.5 for 64, half up."""
    return _velocities('{ fit = "20..127" }', {1: 20, 64: 74, 127: 127})


@case
def ruling_20_within() -> Case:
    """`within` cuts off at its ends."""
    return _velocities('{ within = "30..100" }', {1: 30, 30: 30, 64: 64, 127: 100})


@case
def ruling_20_release_only_if_asked() -> Case:
    """`release = true` shapes release velocities of the 8n form; 0 stays 0 and the 9n form is left alone."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ velocity = { percent = 50, release = true } }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-off 1 C4 80
        at 2 keys note-on 1 C4 100
        at 3 keys note-off 1 C4 0
        at 4 keys note-on 1 C4 100
        at 5 keys note-on 1 C4 0
        at 6 keys note-off 1 D4 80
        """,
        """
        at 0 synth note-on 1 C4 50
        at 1 synth note-off 1 C4 40
        at 2 synth note-on 1 C4 50
        at 3 synth note-off 1 C4 0
        at 4 synth note-on 1 C4 50
        at 5 synth note-on 1 C4 0
        at 6 synth note-off 1 D4 40
        """,
    )


@case
def ruling_20_release_is_shaped_through_steps_with_a_memory() -> Case:
    """The release velocity is shaped by the steps that the note went through, whatever came between them."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [
            { velocity = { add = 10, release = true } },
            { delay = 5 },
            { velocity = { percent = 50, release = true } },
        ]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 90
        at 100 keys note-off 1 C4 30
        """,
        """
        at 5 synth note-on 1 C4 50
        at 105 synth note-off 1 C4 20
        """,
    )


@case
def ruling_21_a_controller_becomes_a_bend() -> Case:
    """0..127 over -8192..8191: the middle, 64, is the middle of the bend, and each half is scaled by itself."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ map = { from = "controller modulation", to = "pitch-bend" } }]
        to = "synth"
        """,
        """
        at 0 keys controller 1 modulation 0
        at 1 keys controller 1 modulation 64
        at 2 keys controller 1 modulation 127
        at 3 keys controller 1 modulation 32
        at 4 keys controller 1 volume 32
        """,
        """
        at 0 synth pitch-bend 1 -8192
        at 1 synth pitch-bend 1 +0
        at 2 synth pitch-bend 1 +8191
        at 3 synth pitch-bend 1 -4096
        at 4 synth controller 1 volume 32
        """,
    )


@case
def ruling_21_scaling_a_bend_keeps_its_middle() -> Case:
    """A bend scaled to a quarter: 0 stays 0, and nothing jumps beside it."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ map = { from = "pitch-bend", to = "pitch-bend", out = "-2048..2047" } }]
        to = "synth"
        """,
        """
        at 0 keys pitch-bend 1 -8192
        at 1 keys pitch-bend 1 0
        at 2 keys pitch-bend 1 +8191
        at 3 keys pitch-bend 1 +1
        at 4 keys pitch-bend 1 -2
        """,
        """
        at 0 synth pitch-bend 1 -2048
        at 1 synth pitch-bend 1 +0
        at 2 synth pitch-bend 1 +2047
        at 3 synth pitch-bend 1 +0
        at 4 synth pitch-bend 1 +0
        """,
    )


@case
def ruling_21_fourteen_bits_act_at_once() -> Case:
    """With `bits = 14` the coarse half acts at once with a fine half of 0, then the fine half refines it."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ map = { from = "controller modulation", to = "pitch-bend", bits = 14 } }]
        to = "synth"
        """,
        """
        at 0 keys controller 1 1 64
        at 1 keys controller 1 33 1
        at 2 keys controller 1 1 127
        at 3 keys controller 1 33 127
        """,
        """
        at 0 synth pitch-bend 1 +0
        at 1 synth pitch-bend 1 +1
        at 2 synth pitch-bend 1 +8064
        at 3 synth pitch-bend 1 +8191
        """,
    )


@case
def ruling_21_tables_of_notes() -> Case:
    """A table moves the keys that it names, with their offs and pressure; `others` says what becomes of the rest."""
    return Case(
        """
        [[rules]]
        from = "pads"
        steps = [{ map = { notes = { "C3" = "C1", "D3" = "D1" }, others = "drop" } }]
        to = "synth"
        """,
        """
        at 0 pads note-on 10 C3 100
        at 1 pads poly-pressure 10 C3 5
        at 2 pads note-off 10 C3 64
        at 3 pads note-on 10 E3 100
        at 4 pads controller 10 modulation 5
        """,
        """
        at 0 synth note-on 10 C1 100
        at 1 synth poly-pressure 10 C1 5
        at 2 synth note-off 10 C1 64
        at 4 synth controller 10 modulation 5
        """,
    )


@case
def ruling_21_a_pedal_plays_a_note() -> Case:
    """A controller made into a note: on at 64 and above while nothing is held, off below 64; no note in between."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ map = { from = "controller sustain", to = "note C2" } }]
        to = "synth"
        """,
        """
        at 0 keys controller 1 sustain 63
        at 1 keys controller 1 sustain 64
        at 2 keys controller 1 sustain 127
        at 3 keys controller 1 sustain 63
        at 4 keys controller 1 sustain 0
        """,
        """
        at 1 synth note-on 1 C2 64
        at 3 synth note-off 1 C2 64
        """,
    )


@case
def ruling_21_a_pad_moves_a_controller() -> Case:
    """A note made into a controller has its velocity as value, its off the value 0."""
    return Case(
        """
        [[rules]]
        from = "pads"
        steps = [{ map = { from = "note C1", to = "controller sustain", in = "1..127", out = "1..127" } }]
        to = "synth"
        """,
        """
        at 0 pads note-on 1 C1 90
        at 1 pads note-off 1 C1 64
        at 2 pads note-on 1 D1 90
        """,
        """
        at 0 synth controller 1 sustain 90
        at 1 synth controller 1 sustain 1
        at 2 synth note-on 1 D1 90
        """,
    )


@case
def ruling_21_a_released_pad_chooses_no_program() -> Case:
    """A pad made into a program change chooses when it is hit; letting it go chooses nothing."""
    return Case(
        """
        [[rules]]
        from = "pads"
        steps = [{ map = { from = "note C1", to = "program", out = "4..4" } }]
        to = "synth"
        """,
        """
        at 0 pads note-on 1 C1 90
        at 1 pads note-off 1 C1 64
        """,
        "at 0 synth program 1 5",
    )


@case
def ruling_21_a_value_that_stays_up_plays_no_second_note() -> Case:
    """A note is made where the value crosses to 64, and lasts until it falls below."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ map = { from = "pressure", to = "note D4" } }]
        to = "synth"
        """,
        """
        at 1 keys pressure 1 100
        at 2 keys pressure 1 110
        at 3 keys pressure 1 10
        at 4 keys pressure 1 70
        at 5 keys pressure 1 0
        """,
        """
        at 1 synth note-on 1 D4 100
        at 3 synth note-off 1 D4 64
        at 4 synth note-on 1 D4 70
        at 5 synth note-off 1 D4 64
        """,
    )


@case
def ruling_21_a_pair_plays_a_note() -> Case:
    """The coarse half of a pair makes a note where it crosses to 64, and ends it where it falls below."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ map = { from = "controller mod", to = "note D4", bits = 14 } }]
        to = "synth"
        """,
        """
        at 0 keys controller 1 mod 63
        at 1 keys controller 1 mod 64
        at 2 keys controller 1 33 127
        at 3 keys controller 1 mod 20
        """,
        """
        at 1 synth note-on 1 D4 64
        at 3 synth note-off 1 D4 64
        """,
    )


@case
def ruling_22_delay_moves_everything() -> Case:
    """A beat is a quarter note, 500 ms at 120; notes, pedals and sysex wait alike, and the off as long as its on."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ delay = { beats = 0.5 } }, { delay = 10 }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys controller 1 sustain 127
        at 2 keys sysex F0 01 F7
        at 100 keys note-off 1 C4 64
        """,
        """
        at 260 synth note-on 1 C4 100
        at 261 synth controller 1 sustain 127
        at 262 synth sysex F0 01 F7
        at 360 synth note-off 1 C4 64
        """,
    )


@case
def ruling_22_nothing_overtakes_on_one_rule_and_channel() -> Case:
    """When a delay is switched off, what comes next waits for what is still pending; other channels don't."""
    return Case(
        """
        [switches]
        late = { from = "pads", note = "C1" }
        [[rules]]
        from = "keys"
        steps = [{ delay = 100, when = "late" }]
        to = "synth"
        """,
        """
        at 0 turn late on
        at 0 keys note-on 1 C4 100
        at 10 turn late off
        at 10 keys note-on 1 D4 100
        at 10 keys note-on 2 E4 100
        at 20 keys note-off 1 D4 64
        at 200 keys note-off 1 C4 64
        """,
        """
        at 10 synth note-on 2 E4 100
        at 100 synth note-on 1 C4 100
        at 100 synth note-on 1 D4 100
        at 110 synth note-off 1 D4 64
        at 300 synth note-off 1 C4 64
        """,
    )


@case
def ruling_22_what_goes_nowhere_holds_up_nothing() -> Case:
    """A message that was delayed, and that no rule took then, is not in the way of what comes after it."""
    return Case(
        """
        [ports]
        keys  = { input = true, steps = [{ delay = 50, when = "up" }] }
        pads  = { input = true }
        synth = { output = true }
        [switches]
        up = { from = "pads", note = "C1" }
        [[rules]]
        from = "keys"
        when = "not up"
        to = "synth"
        """,
        """
        at 0 turn up on
        at 10 keys controller 1 volume 1
        at 20 turn up off
        at 30 keys controller 1 volume 2
        """,
        "at 30 synth controller 1 volume 2",
    )


@case
def ruling_22_echo_is_for_notes_only() -> Case:
    """Copies come softer and higher, their offs as long after; a copy below velocity 1 would end the echo."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ echo = { ms = 100, times = 3, decay = 50, transpose = 12 } }]
        to = "synth"
        """,
        """
        at 0 keys controller 1 sustain 127
        at 0 keys note-on 1 C4 2
        at 50 keys note-off 1 C4 64
        """,
        """
        at 0 synth controller 1 sustain 127
        at 0 synth note-on 1 C4 2
        at 50 synth note-off 1 C4 64
        at 100 synth note-on 1 C5 1
        at 150 synth note-off 1 C5 64
        at 200 synth note-on 1 C6 1
        at 250 synth note-off 1 C6 64
        """,
    )


@case
def ruling_22_every_copy_is_a_holder() -> Case:
    """A copy that comes while the note is still held: the note's off waits for the copy's."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ echo = { ms = 100, decay = 0 } }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 150 keys note-off 1 C4 60
        """,
        """
        at 0 synth note-on 1 C4 100
        at 100 synth note-on 1 C4 100
        at 250 synth note-off 1 C4 60
        at 250 synth note-off 1 C4 60
        """,
    )


@case
def ruling_22_echoes_hold_nothing_up() -> Case:
    """Behind an echo a delay keeps the order of what is played: copies that are still to come make nothing late."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ echo = { ms = 500, decay = 0 } }, { delay = 10 }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-off 1 C4 64
        at 100 keys note-on 1 D4 100
        at 101 keys note-off 1 D4 64
        """,
        """
        at 10 synth note-on 1 C4 100
        at 11 synth note-off 1 C4 64
        at 110 synth note-on 1 D4 100
        at 111 synth note-off 1 D4 64
        at 510 synth note-on 1 C4 100
        at 511 synth note-off 1 C4 64
        at 610 synth note-on 1 D4 100
        at 611 synth note-off 1 D4 64
        """,
    )


@case
def ruling_22_echoes_hold_nothing_up_behind_a_delayed_port() -> Case:
    """A copy's note-off comes later than all else from its port, and lets it by."""
    return Case(
        """
        [ports]
        keys  = { input = true, steps = [{ delay = 20 }] }
        synth = { output = true }
        [[rules]]
        from = "keys"
        steps = [{ echo = { ms = 15, times = 1, decay = 0, transpose = 12 } }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 100 keys note-off 1 C4 33
        at 101 keys controller 1 volume 1
        """,
        """
        at 20 synth note-on 1 C4 100
        at 35 synth note-on 1 C5 100
        at 120 synth note-off 1 C4 33
        at 121 synth controller 1 volume 1
        at 135 synth note-off 1 C5 33
        """,
    )


@case
def ruling_22_loss_of_the_source_drops_ons_and_sends_offs() -> Case:
    """When a source is lost, pending note-ons are dropped, pending note-offs go out, and what is held is ended."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ delay = 100 }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 0 keys note-on 1 E4 100
        at 0 keys controller 1 sustain 127
        at 110 keys note-off 1 C4 33
        at 120 keys note-on 1 G4 100
        at 120 keys program 1 3
        at 130 release keys
        """,
        """
        at 100 synth note-on 1 C4 100
        at 100 synth note-on 1 E4 100
        at 100 synth controller 1 sustain 127
        at 130 synth note-off 1 C4 33
        at 130 synth note-off 1 E4 64
        at 130 synth controller 1 sustain 0
        """,
    )


@case
def ruling_23_thin_lets_the_last_value_arrive() -> Case:
    """At most one value each 20 ms for each controller and channel; the last one always arrives."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ thin = 20 }]
        to = "synth"
        """,
        """
        at 0 keys controller 1 volume 1
        at 5 keys controller 1 volume 2
        at 6 keys controller 2 volume 3
        at 7 keys controller 1 pan 4
        at 8 keys controller 1 volume 5
        at 50 keys controller 1 volume 6
        at 51 keys pitch-bend 1 +1
        at 52 keys pitch-bend 1 +2
        at 53 keys pitch-bend 1 +3
        """,
        """
        at 0 synth controller 1 volume 1
        at 6 synth controller 2 volume 3
        at 7 synth controller 1 pan 4
        at 20 synth controller 1 volume 5
        at 50 synth controller 1 volume 6
        at 51 synth pitch-bend 1 +1
        at 71 synth pitch-bend 1 +3
        """,
    )


@case
def ruling_23_thin_leaves_pedals_and_parameters_alone() -> Case:
    """Pedals, banks, data entry, parameter numbers, mode messages, notes and programs are never thinned."""
    numbers = [0, 32, 6, 38, 96, 97, 98, 99, 100, 101, 64, 65, 66, 67, 68, 69, 121, 127]
    messages = [f"controller 1 {number} {value}" for number in numbers for value in (1, 2)]
    messages += ["program 1 1", "program 1 2", "note-on 1 C4 1", "note-on 1 C4 2"]
    return Case(
        '[[rules]]\nfrom = "keys"\nsteps = [{ thin = 20 }]\nto = "synth"\n',
        "\n".join(f"at {time} keys {message}" for time, message in enumerate(messages)),
        "\n".join(f"at {time} synth {message}" for time, message in enumerate(messages)),
    )


@case
def ruling_23_a_pair_is_one_value() -> Case:
    """The fine half goes with its coarse half: both pass or wait; a new coarse half forgets a waiting fine one."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ thin = 20 }]
        to = "synth"
        """,
        """
        at 0 keys controller 1 7 1
        at 1 keys controller 1 39 2
        at 2 keys controller 1 7 3
        at 3 keys controller 1 39 4
        at 4 keys controller 1 7 5
        at 30 keys controller 1 39 6
        at 31 keys controller 1 39 7
        """,
        """
        at 0 synth controller 1 7 1
        at 1 synth controller 1 39 2
        at 20 synth controller 1 7 5
        at 30 synth controller 1 39 6
        at 40 synth controller 1 39 7
        """,
    )


@case
def ruling_23_what_waits_goes_its_way_of_arrival() -> Case:
    """Neither a switch nor a reload changes where the last value goes: that was settled when it came."""
    return Case(
        """
        [switches]
        up = { from = "pads", note = "C1" }
        [[rules]]
        from = "keys"
        steps = [{ thin = 50 }, { map = { controllers = { volume = "pan" } }, when = "up" }]
        to = "synth"
        """,
        """
        at 0 keys controller 1 volume 10
        at 10 keys controller 1 volume 20
        at 20 turn up on
        at 30 reload
        at 60 keys controller 1 volume 30
        """,
        """
        at 0 synth controller 1 volume 10
        at 50 synth controller 1 volume 20
        at 60 rack controller 1 volume 30
        """,
        (
            """
            [switches]
            up = { from = "pads", note = "C1" }
            [[rules]]
            from = "keys"
            to = "rack"
            """,
        ),
    )


@case
def ruling_23_notes_made_of_thinned_values_are_not_held_back() -> Case:
    """A note goes out when it is struck, and none is left out, also where the values that make it are thinned."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ thin = 50 }, { map = { from = "controller volume", to = "note C4" } }]
        to = "synth"
        """,
        """
        at 0 keys controller 1 volume 10
        at 10 keys controller 1 volume 90
        at 20 keys controller 1 volume 0
        """,
        """
        at 10 synth note-on 1 C4 90
        at 20 synth note-off 1 C4 64
        """,
    )


@case
def ruling_24_send_swallows_its_trigger() -> Case:
    """A note-on, a program change or a pedal going down fires; nothing of what came passes."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ send = ["start", "controller volume 90"] }]
        to = "synth"
        """,
        """
        at 0 keys note-on 2 C4 100
        at 1 keys note-off 2 C4 64
        at 2 keys program 3 1
        at 3 keys controller 4 sustain 64
        at 4 keys controller 4 sustain 127
        at 5 keys controller 4 sustain 63
        at 6 keys controller 4 sustain 90
        at 7 keys pitch-bend 1 +1
        """,
        """
        at 0 synth start
        at 0 synth controller 2 volume 90
        at 2 synth start
        at 2 synth controller 3 volume 90
        at 3 synth start
        at 3 synth controller 4 volume 90
        at 6 synth start
        at 6 synth controller 4 volume 90
        """,
    )


@case
def ruling_24_keep_lets_it_pass_first() -> Case:
    """With `keep` what came goes first; sent notes end when their trigger is let go."""
    return Case(
        """
        [[rules]]
        from = "keys"
        match = { channel = 1 }
        steps = [{ send = { messages = ["note-on 2 C2 50", "program 3 7"], keep = true } }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-off 1 C4 33
        """,
        """
        at 0 synth note-on 1 C4 100
        at 0 synth note-on 2 C2 50
        at 0 synth program 3 7
        at 1 synth note-off 1 C4 33
        at 1 synth note-off 2 C2 33
        """,
    )


@case
def ruling_24_a_pedal_holds_the_note_it_sends() -> Case:
    """A note sent by a pedal ends when the pedal comes up."""
    return Case(
        """
        [[rules]]
        from = "keys"
        match = { controller = "sustain" }
        steps = [{ send = "note-on 2 C2 50" }]
        to = "synth"
        """,
        """
        at 0 keys controller 1 sustain 100
        at 1 keys controller 1 sustain 90
        at 2 keys controller 1 sustain 10
        """,
        """
        at 0 synth note-on 2 C2 50
        at 2 synth note-off 2 C2 64
        """,
    )


# Switches


@case
def ruling_24_a_pedal_that_comes_up_in_another_zone_may_fire_again() -> Case:
    """The steps of a rule act before its zones: they see every value, whichever zone takes it."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ send = "program 5" }]
        [[rules.zones]]
        value = "64.."
        to = "synth"
        [[rules.zones]]
        value = "..63"
        to = "rack"
        """,
        """
        at 0 keys controller 1 sustain 100
        at 1 keys controller 1 sustain 0
        at 2 keys controller 1 sustain 100
        """,
        """
        at 0 synth program 1 5
        at 2 synth program 1 5
        """,
    )


@case
def ruling_24_a_start_that_is_sent_fires_only_where_it_is_named() -> Case:
    """Clock and transport fire a `send` if `match` names them, also when an earlier step sent them."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ send = ["start", "program 4"] }, { send = { messages = ["controller volume 1"], keep = true } }]
        to = "synth"
        """,
        "at 0 keys note-on 1 C4 100",
        """
        at 0 synth start
        at 0 synth program 1 4
        at 0 synth controller 1 volume 1
        """,
    )


@case
def ruling_24_a_note_off_that_is_sent_ends_the_note_itself() -> Case:
    """A `send` may end the very note that fired it: when the key is let go, nothing is left to end."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ send = { messages = ["note-off D4 10"], keep = true } }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 D4 100
        at 9 keys note-off 1 D4 64
        """,
        """
        at 0 synth note-on 1 D4 100
        at 0 synth note-off 1 D4 10
        """,
    )


@case
def ruling_25_a_switch_swallows_its_trigger() -> Case:
    """Press and release are swallowed before any rule, and the switch has turned before rules see what comes next."""
    return Case(
        """
        [switches]
        up = { from = "keys", note = "C1" }
        [[rules]]
        from = "keys"
        steps = [{ transpose = 12, when = "up" }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-on 1 C1 100
        at 2 keys note-off 1 C1 64
        at 3 keys note-on 1 D4 100
        at 4 keys note-on 5 C1 100
        at 5 keys note-on 1 E4 100
        """,
        """
        at 0 synth note-on 1 C4 100
        at 3 synth note-on 1 D5 100
        at 5 synth note-on 1 E4 100
        """,
    )


@case
def ruling_25_thru_lets_the_trigger_pass() -> Case:
    """With `thru` the trigger goes on to the rules, which see the switch as turned; `hold` falls on release."""
    return Case(
        """
        [switches]
        up = { from = "keys", controller = "soft pedal", mode = "hold", thru = true }
        [[rules]]
        from = "keys"
        when = "up"
        to = "rack"
        [[rules]]
        from = "keys"
        when = "not up"
        to = "synth"
        """,
        """
        at 0 keys controller 1 soft-pedal 63
        at 1 keys controller 1 soft-pedal 64
        at 2 keys controller 1 soft-pedal 0
        """,
        """
        at 0 synth controller 1 soft-pedal 63
        at 1 rack controller 1 soft-pedal 64
        at 2 synth controller 1 soft-pedal 0
        at 2 rack controller 1 soft-pedal 0
        """,
    )


@case
def ruling_25_toggle_flips_on_the_crossing_only() -> Case:
    """Half-pedals send many values above 64; only the way across turns the switch."""
    return Case(
        """
        [switches]
        up = { from = "keys", controller = "soft pedal" }
        [[rules]]
        from = "keys"
        steps = [{ transpose = 12, when = "up" }]
        to = "synth"
        """,
        """
        at 0 keys controller 1 soft-pedal 64
        at 1 keys controller 1 soft-pedal 70
        at 2 keys controller 1 soft-pedal 90
        at 3 keys note-on 1 C4 100
        at 4 keys controller 1 soft-pedal 0
        at 5 keys controller 1 soft-pedal 127
        at 6 keys note-on 1 D4 100
        """,
        """
        at 3 synth note-on 1 C5 100
        at 6 synth note-on 1 D4 100
        """,
    )


@case
def ruling_25_hold_comes_on_by_the_crossing_only() -> Case:
    """A pedal that was down already doesn't turn on again what another let go."""
    return Case(
        """
        [switches]
        up = { from = "keys", controller = "sustain", mode = "hold" }
        [[rules]]
        from = "keys"
        when = "up"
        to = "synth"
        """,
        """
        at 0 keys controller 1 sustain 100
        at 1 keys controller 2 sustain 100
        at 2 keys controller 2 sustain 0
        at 3 keys controller 1 sustain 120
        at 4 keys note-on 1 C4 100
        at 5 keys controller 1 sustain 0
        at 6 keys controller 1 sustain 100
        at 7 keys note-on 1 D4 100
        """,
        "at 7 synth note-on 1 D4 100",
    )


@case
def ruling_25_values_and_numbers() -> Case:
    """Values are chosen or gone through in a circle; numbers stop at their ends."""
    return Case(
        """
        [switches]
        song = { values = ["verse", "chorus"], set = [{ from = "pads", note = "C1", value = "chorus" }], step = [
          { from = "pads", note = "D1", by = 1 },
        ] }
        key = { numbers = "-1..1", step = [{ from = "pads", note = "E1", by = 1 }] }
        [[rules]]
        from = "keys"
        when = "song = chorus"
        steps = [{ transpose = "key" }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 1
        at 1 pads note-on 1 C1 100
        at 2 keys note-on 1 C4 2
        at 3 pads note-on 1 E1 100
        at 4 pads note-on 1 E1 100
        at 5 keys note-on 1 D4 3
        at 6 pads note-on 1 D1 100
        at 7 keys note-on 1 E4 4
        at 8 pads note-on 1 D1 100
        at 9 keys note-on 1 F4 5
        """,
        """
        at 2 synth note-on 1 C4 2
        at 5 synth note-on 1 D#4 3
        at 9 synth note-on 1 F#4 5
        """,
    )


@case
def ruling_25_hold_falls_when_its_source_vanishes() -> Case:
    """A pedal that is unplugged while it is down doesn't leave its switch on; what the fall sends goes out."""
    return Case(
        """
        [devices]
        organ = { port = "rack", channel = 7 }
        [switches]
        up = { from = "pads", controller = "soft pedal", mode = "hold" }
        [[rules]]
        from = "keys"
        steps = [{ transpose = 12, when = "up" }]
        to = "synth"
        [[on]]
        switch = "not up"
        send = { organ = "program 3", synth = ["controller volume 1", "controller 5 volume 2"] }
        """,
        """
        at 0 pads controller 1 soft-pedal 127
        at 1 keys note-on 1 C4 100
        at 2 release pads
        at 3 keys note-on 1 D4 100
        """,
        """
        at 1 synth note-on 1 C5 100
        at 2 rack program 7 3
        at 2 synth controller 1 volume 1
        at 2 synth controller 5 volume 2
        at 3 synth note-on 1 D4 100
        """,
    )


@case
def ruling_25_a_rule_that_opens_catches_up() -> Case:
    """`catch_up` sends the last known values when a switch opens the rule."""
    return Case(
        """
        [devices]
        organ = { port = "rack", channel = 7 }
        [switches]
        up = { from = "pads", note = "C1" }
        [[rules]]
        from = "keys"
        when = "up"
        catch_up = ["sustain", "program", "volume"]
        to = "organ"
        """,
        """
        at 0 keys controller 1 volume 50
        at 1 keys controller 1 volume 60
        at 2 keys program 1 9
        at 3 keys controller 1 pan 5
        at 4 pads note-on 1 C1 100
        at 5 keys controller 1 volume 70
        """,
        """
        at 4 rack program 7 9
        at 4 rack controller 7 volume 60
        at 5 rack controller 7 volume 70
        """,
    )


# Clock and transport

CLOCKED = """
[ports]
seq   = { input = true }
keys  = { input = true }
synth = { output = true, clock = "seq" }
rack  = { output = true }
other = { output = true, clock = "none" }
[[rules]]
from = "keys"
to = ["synth", "rack", "other"]
"""


@case
def ruling_25_catching_up_goes_through_the_steps_of_the_port() -> Case:
    """A rule that opens catches up with what its port's steps make of the last value."""
    return Case(
        """
        [ports]
        keys  = { input = true, steps = [{ map = { from = "controller mod", to = "pitch-bend", out = "0..8191" } }] }
        pads  = { input = true }
        synth = { output = true }
        [switches]
        up = { from = "pads", note = "C1" }
        [[rules]]
        from = "keys"
        when = "up"
        catch_up = ["pitch-bend"]
        to = "synth"
        """,
        """
        at 0 keys controller 1 mod 127
        at 1 turn up on
        """,
        "at 1 synth pitch-bend 1 +8191",
    )


@case
def ruling_26_clock_goes_by_port() -> Case:
    """Once to every output from its clock source; unset, from the one source with a rule without match to it."""
    return Case(
        CLOCKED,
        """
        at 0 seq start
        at 1 seq clock
        at 2 keys clock
        at 3 seq song-position 4
        at 4 keys continue
        """,
        """
        at 0 synth start
        at 1 synth clock
        at 2 rack clock
        at 3 synth song-position 4
        at 4 rack continue
        """,
    )


@case
def ruling_26_two_candidates_are_none() -> Case:
    """Where two sources have a rule without match to an output, neither's clock goes there."""
    return Case(THRU, "at 0 keys clock\nat 1 pads clock\nat 2 seq clock", "")


@case
def ruling_26_transport_may_trigger() -> Case:
    """Start may turn a switch, which swallows it, and fire a `send`."""
    return Case(
        CLOCKED
        + """
        [switches]
        up = { from = "seq", kind = "stop" }
        [[rules]]
        from = "seq"
        match = { kind = "start" }
        steps = [{ send = "program 5 1" }]
        to = "other"
        [[rules]]
        from = "keys"
        when = "up"
        match = { kind = "note" }
        steps = [{ transpose = 12 }]
        to = "other"
        """,
        """
        at 0 seq start
        at 1 keys note-on 1 C4 1
        at 2 seq stop
        at 3 keys note-on 1 D4 1
        """,
        """
        at 0 synth start
        at 0 other program 5 1
        at 1 synth note-on 1 C4 1
        at 1 rack note-on 1 C4 1
        at 1 other note-on 1 C4 1
        at 3 synth note-on 1 D4 1
        at 3 rack note-on 1 D4 1
        at 3 other note-on 1 D4 1
        at 3 other note-on 1 D5 1
        """,
    )


@case
def ruling_26_a_lost_clock_source_stops() -> Case:
    """A clock source that is lost while running sends one stop; one that stood still sends none."""
    return Case(
        CLOCKED,
        """
        at 0 seq start
        at 1 keys start
        at 2 keys stop
        at 3 release seq
        at 4 release seq
        at 5 release keys
        """,
        """
        at 0 synth start
        at 1 rack start
        at 2 rack stop
        at 3 synth stop
        """,
    )


@case
def ruling_26_a_clock_source_that_ran_before_a_reload() -> Case:
    """Whoever gets the clock of a running source by new rules is stopped as well when the source is lost."""
    return Case(
        """
        [ports]
        keys  = { input = true }
        synth = { output = true, clock = "none" }
        [[rules]]
        from = "keys"
        to = "synth"
        """,
        """
        at 0 keys start
        at 1 reload
        at 2 keys clock
        at 3 release keys
        """,
        """
        at 2 synth clock
        at 3 synth stop
        """,
        (
            """
            [ports]
            keys  = { input = true }
            synth = { output = true }
            [[rules]]
            from = "keys"
            to = "synth"
            """,
        ),
    )


@case
def ruling_27_sensing_and_reset_stay_here() -> Case:
    """Active sensing is never forwarded, reset only to an output that asks for it."""
    return Case(
        """
        [ports]
        keys  = { input = true }
        synth = { output = true, reset = true }
        rack  = { output = true }
        [[rules]]
        from = "keys"
        to = ["synth", "rack"]
        """,
        """
        at 0 keys active-sensing
        at 1 keys reset
        at 2 keys tune-request
        """,
        """
        at 1 synth reset
        at 2 synth tune-request
        at 2 rack tune-request
        """,
    )


@case
def ruling_28_the_clock_waits_for_nothing() -> Case:
    """Clock and transport pass at once and in their own order, where a rule delays all else."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ delay = 100 }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys clock
        at 2 keys start
        at 3 keys clock
        """,
        """
        at 1 synth clock
        at 2 synth start
        at 3 synth clock
        at 100 synth note-on 1 C4 100
        """,
    )


# Time


@case
def ruling_29_what_is_due_goes_before_what_arrives() -> Case:
    """At one time a delayed message goes first; among delayed ones the order of origin counts."""
    return Case(
        """
        [[rules]]
        from = "keys"
        match = { channel = 1 }
        steps = [{ delay = 100 }]
        to = "synth"
        [[rules]]
        from = "keys"
        match = { channel = 2 }
        steps = [{ delay = 50 }]
        to = "synth"
        [[rules]]
        from = "keys"
        match = { channel = 3 }
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 50 keys note-on 2 C4 100
        at 100 keys note-on 3 C4 100
        """,
        """
        at 100 synth note-on 1 C4 100
        at 100 synth note-on 2 C4 100
        at 100 synth note-on 3 C4 100
        """,
    )


@case
def ruling_29_echoes_sum_no_rounding() -> Case:
    """A third of a beat is 166.67 ms: copies come at 166.67, 333.33 and 500, each rounded half up by itself."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ echo = { beats = "1/3", times = 3, decay = 0 } }]
        to = "synth"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-off 1 C4 64
        """,
        """
        at 0 synth note-on 1 C4 100
        at 1 synth note-off 1 C4 64
        at 167 synth note-on 1 C4 100
        at 168 synth note-off 1 C4 64
        at 333 synth note-on 1 C4 100
        at 334 synth note-off 1 C4 64
        at 500 synth note-on 1 C4 100
        at 501 synth note-off 1 C4 64
        """,
    )


# Reload


@case
def ruling_30_what_is_held_lives_on() -> Case:
    """Notes, pedals, switches and pending echoes outlive a reload; new notes take the new rules."""
    return Case(
        """
        [switches]
        up = { from = "pads", note = "C1" }
        [[rules]]
        from = "keys"
        steps = [{ echo = { ms = 100, decay = 0 } }]
        to = "synth"
        """,
        """
        at 0 turn up on
        at 0 keys controller 1 sustain 127
        at 0 keys note-on 1 C4 100
        at 10 reload
        at 20 keys note-on 1 D4 100
        at 30 keys note-off 1 C4 64
        at 40 keys controller 1 sustain 0
        """,
        """
        at 0 synth controller 1 sustain 127
        at 0 synth note-on 1 C4 100
        at 20 rack note-on 1 D4 100
        at 30 synth note-off 1 C4 64
        at 40 rack controller 1 sustain 0
        at 40 synth controller 1 sustain 0
        at 100 synth note-on 1 C4 100
        at 130 synth note-off 1 C4 64
        """,
        (
            """
            [switches]
            up = { from = "pads", note = "C1" }
            [[rules]]
            from = "keys"
            when = "up"
            to = "rack"
            """,
        ),
    )


@case
def ruling_30_a_bend_goes_again_after_a_reset_by_who_came_with_the_new_rules() -> Case:
    """A bend is held through a reload like a pedal: a reset by another source, which came with it, sends it again."""
    return Case(
        """
        [[rules]]
        from = "keys"
        to = ["synth", "rack"]
        """,
        """
        at 0 keys pitch-bend 1 +500
        at 1 keys controller 1 sustain 127
        at 2 reload
        at 3 pads controller 1 121 0
        at 4 keys pitch-bend 1 +0
        at 5 pads controller 1 121 0
        """,
        """
        at 0 synth pitch-bend 1 +500
        at 0 rack pitch-bend 1 +500
        at 1 synth controller 1 sustain 127
        at 1 rack controller 1 sustain 127
        at 3 synth controller 1 121 0
        at 3 synth controller 1 sustain 127
        at 3 synth pitch-bend 1 +500
        at 4 synth pitch-bend 1 +0
        at 4 rack pitch-bend 1 +0
        at 5 synth controller 1 121 0
        at 5 synth controller 1 sustain 127
        """,
        (
            """
            [[rules]]
            from = "keys"
            to = ["synth", "rack"]
            [[rules]]
            from = "pads"
            to = "synth"
            """,
        ),
    )


@case
def ruling_30_a_source_that_goes_is_lost() -> Case:
    """What comes from a port that the new rules don't know ends, as if it had been unplugged."""
    return Case(
        THRU,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys controller 1 sustain 127
        at 2 reload
        at 3 keys note-off 1 C4 64
        """,
        """
        at 0 synth note-on 1 C4 100
        at 1 synth controller 1 sustain 127
        at 2 synth note-off 1 C4 64
        at 2 synth controller 1 sustain 0
        """,
        (
            """
            [ports]
            pads  = { input = true }
            synth = { output = true }
            [[rules]]
            from = "pads"
            to = "synth"
            """,
        ),
    )


@case
def ruling_30_a_note_made_from_a_value_still_ends_with_it() -> Case:
    """A controller that holds a note ends it when it falls, though the new rules do nothing with it."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ map = { from = "controller volume", to = "note D4" } }]
        to = "synth"
        """,
        """
        at 0 keys controller 1 volume 100
        at 1 reload
        at 2 keys controller 1 volume 90
        at 3 keys controller 1 volume 10
        """,
        """
        at 0 synth note-on 1 D4 100
        at 2 rack controller 1 volume 90
        at 3 synth note-off 1 D4 64
        at 3 rack controller 1 volume 10
        """,
        (
            """
            [[rules]]
            from = "keys"
            to = "rack"
            """,
        ),
    )


@case
def ruling_30_a_port_that_goes_gets_its_offs() -> Case:
    """What a vanishing port has sounding is ended at once, its pedals come up, and its note-offs are not lost."""
    return Case(
        """
        [[rules]]
        from = "keys"
        to = ["synth", "rack"]
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys controller 1 sustain 127
        at 2 reload
        at 3 keys note-off 1 C4 33
        at 4 keys controller 1 sustain 0
        """,
        """
        at 0 synth note-on 1 C4 100
        at 0 rack note-on 1 C4 100
        at 1 synth controller 1 sustain 127
        at 1 rack controller 1 sustain 127
        at 2 rack note-off 1 C4 64
        at 2 rack controller 1 sustain 0
        at 3 synth note-off 1 C4 33
        at 4 synth controller 1 sustain 0
        """,
        (
            """
            [ports]
            keys  = { input = true }
            synth = { output = true }
            [[rules]]
            from = "keys"
            to = "synth"
            """,
        ),
    )


@case
def ruling_34_escapes_go_as_what_they_hold() -> Case:
    """What a file hides in an F7 escape goes with clock and transport if it is F1-F3, F6 or F8-FE, else with sysex."""
    return Case(
        """
        [ports]
        keys  = { input = true }
        pads  = { input = true }
        synth = { output = true, clock = "pads" }
        [[rules]]
        from = "keys"
        to = "synth"
        """,
        """
        at 0 pads F7 F8
        at 1 pads F7 F9
        at 2 pads F7 FD
        at 3 pads F7 FE
        at 4 pads F7 FF
        at 5 keys F7 F9
        at 6 keys F7 FF
        at 7 keys F7 7D 01
        """,
        """
        at 0 synth F7 F8
        at 1 synth F7 F9
        at 2 synth F7 FD
        at 3 synth F7 FE
        at 6 synth F7 FF
        at 7 synth F7 7D 01
        """,
    )


WITHOUT_RACK = """
[ports]
keys  = { input = true }
synth = { output = true }
[[rules]]
from = "keys"
to = "synth"
"""


@case
def ruling_30_a_note_off_on_its_way_to_a_port_that_goes() -> Case:
    """The note sounds and its note-off is still delayed when the port goes: it goes out before."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ delay = 50 }]
        to = "rack"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 100 keys note-off 1 C4 33
        at 120 reload
        """,
        """
        at 50 rack note-on 1 C4 100
        at 120 rack note-off 1 C4 33
        """,
        (WITHOUT_RACK,),
    )


@case
def ruling_30_the_off_of_a_note_that_went_with_its_port() -> Case:
    """A note that was ended with its port has nothing left to end: its note-off doesn't stray to another port."""
    return Case(
        """
        [[rules]]
        from = "keys"
        to = "rack"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 reload
        at 2 keys note-off 1 C4 33
        """,
        """
        at 0 rack note-on 1 C4 100
        at 1 rack note-off 1 C4 64
        """,
        (WITHOUT_RACK,),
    )


@case
def ruling_30_offs_that_waited_go_before_the_port_does() -> Case:
    """As many note-offs go out as note-ons went, also those that were held back for another holder (ruling 11)."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [{ rechannel = 1 }]
        to = "rack"
        """,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys note-on 2 C4 90
        at 2 keys note-off 1 C4 33
        at 3 reload
        """,
        """
        at 0 rack note-on 1 C4 100
        at 1 rack note-on 1 C4 90
        at 3 rack note-off 1 C4 64
        at 3 rack note-off 1 C4 33
        """,
        (WITHOUT_RACK,),
    )


@case
def ruling_30_hands_stay_the_same_when_ports_move() -> Case:
    """Whoever holds a key or a pedal still does where the rules name their ports in another order."""
    return Case(
        THRU,
        """
        at 0 keys note-on 1 C4 100
        at 1 keys controller 1 sustain 127
        at 2 pads note-on 1 C4 90
        at 3 reload
        at 4 keys note-off 1 C4 33
        at 5 keys controller 1 sustain 0
        at 6 pads note-off 1 C4 44
        """,
        """
        at 0 synth note-on 1 C4 100
        at 1 synth controller 1 sustain 127
        at 2 synth note-on 1 C4 90
        at 5 synth controller 1 sustain 0
        at 6 synth note-off 1 C4 33
        at 6 synth note-off 1 C4 44
        """,
        (
            """
            [ports]
            seq   = { input = true }
            pads  = { input = true }
            rack  = { output = true }
            keys  = { input = true }
            synth = { output = true }
            """
            + THRU,
        ),
    )


@case
def ruling_30_what_others_hold_from_before_is_not_cut() -> Case:
    """A note that another source began by older rules sounds on until it lets go, though nobody shares it now."""
    return Case(
        THRU,
        """
        at 0 pads note-on 1 C4 90
        at 1 reload
        at 2 keys note-on 1 C4 100
        at 3 keys note-off 1 C4 33
        at 4 pads note-off 1 C4 44
        """,
        """
        at 0 synth note-on 1 C4 90
        at 2 synth note-on 1 C4 100
        at 4 synth note-off 1 C4 33
        at 4 synth note-off 1 C4 44
        """,
        (
            """
            [[rules]]
            from = "keys"
            to = "synth"
            """,
        ),
    )


@case
def ruling_30_another_sort_of_step_in_the_same_place_remembers_anew() -> Case:
    """A `map` that is edited from one thing into another doesn't take the other's memory for its own."""
    return Case(
        """
        [[rules]]
        name = "wheel"
        from = "keys"
        steps = [{ map = { from = "controller modulation", to = "note C4" } }]
        to = "synth"
        """,
        """
        at 0 keys controller 1 modulation 127
        at 1 reload
        at 2 keys controller 1 modulation 64
        at 3 keys controller 1 modulation 0
        """,
        """
        at 0 synth note-on 1 C4 127
        at 2 synth pitch-bend 1 +0
        at 3 synth note-off 1 C4 64
        at 3 synth pitch-bend 1 -8192
        """,
        (
            """
            [[rules]]
            name = "wheel"
            from = "keys"
            steps = [{ map = { from = "controller modulation", to = "pitch-bend", bits = 14 } }]
            to = "synth"
            """,
        ),
    )


@case
def ruling_22_a_pedal_comes_up_after_it_went_down() -> Case:
    """A pedal that is let go on a quicker way, before its press has gone out, waits for that; and so does what comes
    next."""
    return Case(
        """
        [switches]
        song = { values = ["verse", "chorus"], set = [{ from = "keys", note = "C1", value = "chorus" }] }
        [[rules]]
        name = "late"
        from = "keys"
        match = { kind = "controller" }
        when = "song = verse"
        steps = [{ delay = 100 }]
        to = "rack"
        [[rules]]
        name = "soon"
        from = "keys"
        match = { kind = "controller" }
        when = "song = chorus"
        to = "rack"
        """,
        """
        at 0 keys controller 1 sustain 127
        at 10 keys note-on 1 C1 100
        at 20 keys controller 1 sustain 0
        at 30 keys controller 1 sustain 100
        at 40 keys controller 2 sustain 127
        at 200 keys controller 1 sustain 0
        """,
        """
        at 40 rack controller 2 sustain 127
        at 100 rack controller 1 sustain 127
        at 100 rack controller 1 sustain 0
        at 100 rack controller 1 sustain 100
        at 200 rack controller 1 sustain 0
        """,
    )


@case
def ruling_16_a_switch_may_turn_between_a_port_and_its_rules() -> Case:
    """The pads can meet the keys on channel 3 only by a message that turns a switch on its way from the steps of its
    port to the rules. Whether it is one that chooses sounds isn't asked: bank selects wait there."""
    return Case(
        """
        [ports]
        keys = { input = true }
        pads = { input = true, steps = [{ rechannel = 2, when = "song = chorus" }] }
        synth = { output = true }
        [switches]
        song = { values = ["verse", "chorus"], set = [{ from = "pads", note = "C1", thru = true, value = "chorus" }] }
        [[rules]]
        name = "keys"
        from = "keys"
        to = "synth"
        [[rules]]
        name = "pads"
        from = "pads"
        match = { channel = 3 }
        when = "song = chorus"
        to = "synth"
        """,
        """
        at 0 keys controller 3 0 1
        at 1 keys program 3 20
        at 2 keys controller 4 0 1
        """,
        """
        at 1 synth controller 3 0 1
        at 1 synth program 3 20
        at 2 synth controller 4 0 1
        """,
    )


@case
def ruling_9_what_a_send_sent_lets_go_of_nothing() -> Case:
    """A program change made a note, and comes again: it doesn't end the note, though the low value that it sent to the
    next `send` looks like a pedal that comes up. Its note-offs are another's to send."""
    return Case(
        """
        [[rules]]
        from = "keys"
        steps = [
          { send = ["controller 100 1", "note-on 60 80"] },
          { send = { messages = ["controller 6 5"], keep = true } },
        ]
        to = "rack"
        """,
        """
        at 0 keys program 2 90
        at 1 keys program 2 1
        """,
        """
        at 0 rack controller 2 100 1
        at 0 rack note-on 2 C4 80
        at 0 rack controller 2 6 5
        at 1 rack controller 2 100 1
        at 1 rack note-on 2 C4 80
        at 1 rack controller 2 6 5
        """,
    )


@case
def ruling_15_a_reset_ends_what_came_two_ways_at_once() -> Case:
    """A bend that goes to one place on two ways goes out once, and is at rest on both after a reset: a source that is
    lost then has nothing of it to end."""
    return Case(
        """
        [[rules]]
        name = "thinned"
        from = "keys"
        steps = [{ thin = 30 }]
        to = "synth"
        [[rules]]
        name = "plain"
        from = "keys"
        to = "synth"
        """,
        """
        at 0 keys pitch-bend 3 +512
        at 100 keys controller 3 121 0
        at 200 release keys
        """,
        """
        at 0 synth pitch-bend 3 +512
        at 100 synth controller 3 121 0
        """,
    )


@case
def ruling_16_bank_selects_do_not_wait_for_what_no_switch_lets_through() -> Case:
    """The keys come to channel 2 only where a switch stands in two ways at once, so the pads have it for themselves."""
    return Case(
        """
        [switches]
        song = { values = ["verse", "chorus"], set = [{ from = "keys", note = "C1", value = "chorus" }] }
        [[rules]]
        name = "pads"
        from = "pads"
        to = "synth"
        [[rules]]
        name = "keys"
        from = "keys"
        match = { channel = 2 }
        when = "song = chorus"
        steps = [{ delay = 35 }, { rechannel = 3, when = "song = chorus" }]
        to = "synth"
        """,
        """
        at 0 pads controller 2 32 64
        """,
        """
        at 0 synth controller 2 32 64
        """,
    )
