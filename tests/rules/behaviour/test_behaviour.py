"""All that becomes of all messages, as ways: against brute force, and worked out by hand."""

from __future__ import annotations

import random

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from rules.behaviour.behaviour import STATUSES, Behaviour, Way, whole_region
from rules.behaviour.regions import Region
from rules.compiler.compiler import compile_rules
from rules.midi.messages import SYSEX
from rules.program.byte_tables import ALL, gate_of, image
from rules.rulefile.reading import read_rules
from tests.support.brute_force import OFTEN
from tests.support.brute_messages import all_switches, any_message, named_bytes
from tests.support.rule_strategies import rule_files, toml_of
from tests.support.way_outcomes import difference

PORTS = "[ports]\nkeys = { input = true }\nrack = { output = true }\nbox = { output = true }\n"
LOW = (1 << 64) - 1
_SAMPLE = 200


def behaviour(rules: str) -> Behaviour:
    """The behaviour of rules from the keys to a rack and a box."""
    return Behaviour(compile_rules(read_rules([("rules.toml", (PORTS + rules).encode())])))


def ways(rules: str, status: int) -> list[Way]:
    """The ways of messages of a status from the keys."""
    return list(behaviour(rules).ways(0, status))


def rule(steps: str, rest: str = "") -> str:
    """A rule from the keys to the rack."""
    return f'[[rules]]\nname = "one"\nfrom = "keys"\nto = "rack"\nsteps = [{steps}]\n{rest}'


@settings(
    max_examples=12,
    derandomize=True,
    database=None,
    deadline=None,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
@given(st.data())
def test_ways_say_what_brute_force_says(data: st.DataObject) -> None:
    """Random rules, random messages and states of the switches: the same arrives, for whatever may be remembered."""
    file = data.draw(rule_files())[0]
    ruleset = read_rules([("rules.toml", toml_of(file).encode())])
    named, switches, chance = sorted(named_bytes(file)), list(all_switches(ruleset)), random.Random(1)
    sources = [name for name, port in ruleset.ports.items() if port.can_receive]
    cases = [(chance.choice(sources), any_message(named, chance), chance.choice(switches)) for _ in range(_SAMPLE)]
    told = difference(ruleset, cases, OFTEN)
    assert not told, f"{toml_of(file)}\n{told}"


def test_the_messages_of_all_statuses_are_all_that_there_are() -> None:
    """1,314,816 short channel messages; a note-on of velocity 0 counts with the note-offs, as which it is followed."""
    sizes = [whole_region(status) for status in STATUSES if status < SYSEX]
    counted = sum(region.firsts.bit_count() * region.seconds.bit_count() for region in sizes)
    assert counted + 16 * 128 == 1_314_816


def test_a_split_has_a_way_for_each_side() -> None:
    """Its region are the keys of the side, at every velocity; its tables say what they become."""
    zones = '[[rules.zones]]\nnotes = "..59"\nsteps = [{ transpose = 12 }]\n[[rules.zones]]\nnotes = "60.."\nto = "box"'
    low, high = ways(rule("", zones), 0x93)
    assert (low.form.target, low.region.firsts) == (0, gate_of(range(60)))
    assert image(low.form.one, low.region.firsts) == gate_of(range(12, 72))
    assert (high.form.target, high.region.firsts) == (1, gate_of(range(60, 128)))
    assert low.region.seconds == high.region.seconds == ALL & ~1


def test_rules_of_one_status_do_not_multiply() -> None:
    """Twenty rules, each with a switch of its own, have twenty ways, not one for each of a million states."""
    names = [f"s{number}" for number in range(20)]
    switches = "".join(f'[switches.{name}]\nfrom = "keys"\nnote = {key}\n' for key, name in enumerate(names))
    rules = "".join(f'[[rules]]\nfrom = "keys"\nto = "rack"\nwhen = "{name}"\nmatch = {{ program = {number} }}\n'
                    for number, name in enumerate(names, 1))  # fmt: skip
    assert len(ways(switches + rules, 0xC0)) == 20


def test_a_switch_that_the_message_turns_is_asked_as_it_was() -> None:
    """A pedal that opens a rule: its press, if passed on, is the first message to go there; while it is on, none."""
    pedal = '[switches]\nup = { from = "keys", controller = 20, pass_on = true, mode = "toggle" }\n'
    found = ways(pedal + rule("", 'when = "up"'), 0xB0)
    pressed = [way for way in found if way.region.firsts == 1 << 20]
    on, off = 2, 1
    gates = [({entry[0].kind: entry[1] for entry in way.given}, way.region.seconds) for way in pressed]
    assert gates == [
        ({"switch": on}, LOW),  # it is let go, and the switch stays on
        ({"switch": off, "memory": LOW}, ALL & ~LOW),  # it rises, and the switch was off
        ({"switch": on, "memory": ALL & ~LOW}, ALL & ~LOW),  # it was down already
    ]


@pytest.mark.parametrize(
    ("step", "status", "asked"),
    [
        ("{ send = { messages = 'program 3' } }", 0xB0, "memory"),
        ("{ thin = 20 }", 0xE0, "thin"),
        ("{ map = { from = 'channel-pressure', to = 'note C4' } }", 0xD0, "memory"),
    ],
)
def test_what_is_up_to_messages_before_says_so(step: str, status: int, asked: str) -> None:
    """A `send` fires where a controller rises, a `thin` may hold back, a note is made where a value rises."""
    found = [way for way in ways(rule(step), status) if way.region.remembers]
    assert {dimension.kind for way in found for dimension, _ in way.given} == {asked}


def test_echo_copies_are_ways_of_their_own() -> None:
    """Each with its delay, and only from keys and velocities that it exists for."""
    found = ways(rule("{ echo = { ms = 10, times = 2, decay = 50, transpose = 60 } }"), 0x90)
    assert [(float(way.delay.ms), way.region.firsts.bit_count()) for way in found] == [(0, 128), (10, 68), (20, 8)]
    # 50 percent of 1 is rounded up to 1, 25 percent of 1 is nothing
    assert [way.region.seconds & 0b11 for way in found] == [0b10, 0b10, 0b00]


def test_a_length_stands_at_its_ways() -> None:
    """A note-off comes to nothing there: the step ends the note."""
    (on,) = ways(rule("{ length = 120 }"), 0x90)
    assert on.lasts is not None
    assert on.lasts.ms == 120
    assert not ways(rule("{ length = 120 }"), 0x80)


def test_bounded_data_bytes() -> None:
    """A behaviour may be asked for some data bytes alone: for who compares it with something slow."""
    pipeline = compile_rules(read_rules([("rules.toml", (PORTS + rule("")).encode())]))
    (way,) = Behaviour(pipeline, lambda status: Region(0b110, 0b110)).ways(0, 0x90)
    assert (way.region.firsts, way.region.seconds) == (0b110, 0b110)
