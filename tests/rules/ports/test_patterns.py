"""Which computer port a name of ours means, and what a reload opens and closes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.ports.patterns import (
    Ambiguous,
    Found,
    Missing,
    PortChanges,
    Wanted,
    bare_name,
    find_port,
    port_changes,
    wanted_ports,
)
from rules.rulefile.reading import read_rule_set

ALSA = [
    "Midi Through:Midi Through Port-0 14:0",
    "Step Box:Step Box MIDI 1 20:0",
    "4x4 Interface:4x4 Interface MIDI 1 24:0",
    "4x4 Interface:4x4 Interface MIDI 2 24:1",
    "Pad [A]:out 28:0",
    "Rack:Rack MIDI 1 32:0",
    "Rack:Rack MIDI 1 36:0",
]


@pytest.mark.parametrize(
    ("pattern", "index"),
    [
        ("Step Box*", 1),
        ("step box*", 1),
        ("*STEP*", 1),
        ("Step Box:Step Box MIDI ?", 1),
        ("4x4 Interface*1", 2),
        ("4x4 Interface*2", 3),
        ("Step Box", 1),
        ("midi through port-0", 0),
        ("pad [a]*", 4),
        ("Rack*#1", 5),
        ("Rack* #2", 6),
        ("Rack #2", 6),
        ("4x4 Interface* #2", 3),
    ],
)
def test_a_pattern_means_one_port(pattern: str, index: int) -> None:
    """Case and ALSA's numbers don't matter, brackets are letters, the device or its port will do, #2 is the second."""
    assert find_port(pattern, ALSA) == Found(index)


@pytest.mark.parametrize("pattern", ["Pit Key*", "Step", "[a-z]*", "Rack*#3", "Step Box MIDI 1 20:0", "", "#1"])
def test_a_pattern_means_nothing(pattern: str) -> None:
    """Parts of names don't match by themselves, nor does what no longer is there."""
    assert find_port(pattern, ALSA) == Missing()


def test_several_candidates_are_listed() -> None:
    """Which ones, by their names and in the computer's order."""
    both = ("4x4 Interface:4x4 Interface MIDI 1", "4x4 Interface:4x4 Interface MIDI 2")
    assert find_port("4x4*", ALSA) == Ambiguous(both)
    assert find_port("Rack", ALSA) == Ambiguous(("Rack:Rack MIDI 1", "Rack:Rack MIDI 1"))


def test_hidden_ports_are_never_meant() -> None:
    """Our own ports are passed over: a pattern for everything means the only other port."""
    assert find_port("*", ["pointsman:keys 128:0", "Pit Keyboard 20:0"], hidden={0}) == Found(1)
    assert find_port("pointsman*", ["pointsman:keys 128:0"], hidden={0}) == Missing()


def test_a_name_that_ends_like_a_choice_is_a_name_first() -> None:
    """A port that is really called "Pad #2" is found by its name."""
    assert find_port("Pad #2", ["Pad", "Pad #2", "Pad"]) == Found(1)
    assert find_port("Pad #2", ["Pad", "Pad"]) == Found(1)


names = st.lists(st.text(alphabet="ab:? *#[1", max_size=8), max_size=6)


@given(names, st.integers(0, 5))
def test_a_whole_name_means_itself_or_its_equals(computer: list[str], at: int) -> None:
    """Every port can be named; where equal names, or wild letters in them, leave a doubt, a number ends it."""
    if at >= len(computer):
        return
    found = find_port(computer[at], computer)
    if found != Found(at):
        assert isinstance(found, Ambiguous)
        assert computer[at] in found.candidates


@given(names, st.text(alphabet="ab:?*#1", max_size=6), st.sets(st.integers(0, 5)))
def test_what_is_found_is_there_and_not_hidden(computer: list[str], pattern: str, hidden: set[int]) -> None:
    """Whatever the pattern: an index of a port that may be meant, or at least two candidates, or none."""
    found = find_port(pattern, computer, hidden)
    if isinstance(found, Found):
        assert found.index in set(range(len(computer))) - hidden
    elif isinstance(found, Ambiguous):
        assert len(found.candidates) > 1


@pytest.mark.parametrize(
    ("name", "bare"),
    [
        ("Box:Box MIDI 1 20:0", "Box:Box MIDI 1"),
        ("Box 20:0", "Box"),
        ("system:midi_capture_1", "system:midi_capture_1"),
        (" 1:1", " 1:1"),
        ("  1:1", "  1:1"),
        ("Box  1:1", "Box "),
    ],
)
def test_bare_names(name: str, bare: str) -> None:
    """Only the numbers at the end go, and not where nothing would be left."""
    assert bare_name(name) == bare


RULES = """
[ports]
seq = "Step Box*"
keys = { input = "Pit Key*" }
rack = { output = "4x4*1", connection = "din" }
take = { output = true, virtual = true }
loop = {}
"""


def test_wanted_ports_of_a_rule_file() -> None:
    """Inputs first, in file order; `true` or nothing means our own name."""
    ruleset = read_rule_set([("rules.toml", RULES.encode())]).ruleset
    assert wanted_ports(ruleset) == (
        Wanted("seq", "in", "Step Box*"),
        Wanted("keys", "in", "Pit Key*"),
        Wanted("loop", "in", "loop"),
        Wanted("seq", "out", "Step Box*"),
        Wanted("rack", "out", "4x4*1", connection="din"),
        Wanted("take", "out", "take", virtual=True),
        Wanted("loop", "out", "loop"),
    )
    assert wanted_ports(ruleset)[0].words == 'input "seq"'
    assert wanted_ports(ruleset)[4].words == 'output "rack"'


KEYS = Wanted("keys", "in", "Pit Key*")
RACK = Wanted("rack", "out", "4x4*1")


@pytest.mark.parametrize(
    ("before", "wanted", "expected"),
    [
        ((), (KEYS,), PortChanges((KEYS,), (), ())),
        ((KEYS,), (), PortChanges((), (), (KEYS,))),
        ((KEYS, RACK), (RACK, KEYS), PortChanges((), (RACK, KEYS), ())),
        ((KEYS,), (Wanted("keys", "out", "Pit Key*"),), PortChanges((Wanted("keys", "out", "Pit Key*"),), (), (KEYS,))),
        ((KEYS,), (Wanted("keys", "in", "*"),), PortChanges((Wanted("keys", "in", "*"),), (), (KEYS,))),
    ],
    ids=["new", "gone", "same", "other direction", "other pattern"],
)
def test_only_what_changes_is_opened_or_closed(
    before: tuple[Wanted, ...], wanted: tuple[Wanted, ...], expected: PortChanges
) -> None:
    """What is wanted and not there is added, what is no longer wanted is dropped, the rest stays open."""
    assert port_changes(before, wanted) == expected


def test_another_wire_keeps_the_port_open() -> None:
    """The wire is how we send, not where: the port stays, as it is wanted now."""
    slow = Wanted("rack", "out", "4x4*1", connection="din")
    assert port_changes([RACK], [slow]) == PortChanges((), (slow,), ())


ports = st.lists(
    st.builds(Wanted, st.sampled_from("abc"), st.sampled_from(["in", "out"]), st.sampled_from("xy"), st.booleans()),
    unique_by=lambda port: (port.name, port.direction),
)


@given(ports, ports)
def test_changes_lead_from_what_was_to_what_is_wanted(before: list[Wanted], wanted: list[Wanted]) -> None:
    """Nothing is both kept and opened or closed; after the changes exactly the wanted ports are there."""
    told = port_changes(before, wanted)
    assert {*told.keep, *told.drop} == set(before)
    assert {*told.keep, *told.add} == set(wanted)
    assert not set(told.keep) & {*told.add, *told.drop}
