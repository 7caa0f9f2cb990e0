"""Which outputs several holders can reach."""

from __future__ import annotations

import pytest

from rules.compiler.compiler import compile_rules
from rules.rulefile.reading import read_rules

PORTS = (
    "[ports]\nkeys = { input = true }\npads = { input = true }\nrack = { output = true }\nsynth = { output = true }\n"
)


def places(*rules: str, banks: bool = False) -> set[tuple[str, int]]:
    """The shared (port, channel 1-16) of a rule file."""
    text = PORTS + "".join(f"[[rules]]\n{rule}\n" for rule in rules)
    pipeline = compile_rules(read_rules([("rules.toml", text.replace("; ", "\n").encode())]))
    return {(pipeline.ports[port], channel + 1) for port, channel in (pipeline.banks if banks else pipeline.shared)}


def all_of(port: str) -> set[tuple[str, int]]:
    """All channels of a port."""
    return {(port, channel) for channel in range(1, 17)}


@pytest.mark.parametrize(
    ("rules", "shared"),
    [
        (['from = "keys"; to = "rack"'], set()),
        (['from = "keys"; to = ["rack", "synth"]'], set()),
        (['from = "keys"; to = "rack"', 'from = "pads"; to = "synth"'], set()),
        (['from = "keys"; to = "rack"', 'from = "pads"; to = "rack"'], all_of("rack")),
        (['from = ["keys", "pads"]; to = "synth"'], all_of("synth")),
        (['from = "keys"; to = "rack"; steps = [{ rechannel = 4 }]'], {("rack", 4)}),
        (['from = "keys"; to = "rack"; match = { channel = 2 }; steps = [{ rechannel = 4 }]'], set()),
        (['from = "keys"; to = "rack"', 'from = "pads"; match = { channel = 3 }; to = "rack"'], {("rack", 3)}),
        (
            ['from = "keys"; match = { channel = 1 }; to = "rack"; steps = [{ map = { notes = { 60 = 61 } } }]'],
            {("rack", 1)},
        ),
        (['from = "keys"; match = { channel = 1 }; to = "rack"; steps = [{ transpose = 12 }]'], set()),
        (
            [
                'from = "keys"; match = { channel = 1 }; to = "rack"',
                'from = "keys"; match = { channel = 1 }; to = "rack"; steps = [{ transpose = 12 }]',
            ],
            {("rack", 1)},
        ),
        (['from = "keys"; match = { channel = 5 }; to = "rack"; steps = [{ delay = 5 }]'], {("rack", 5)}),
    ],
)
def test_an_output_is_shared_where_two_can_meet(rules: list[str], shared: set[tuple[str, int]]) -> None:
    """Two sources, two channels or two keys that reach one channel share it; so does what goes through a memory."""
    assert places(*rules) == shared


SWITCHED = """
[ports]
keys = {{ input = true, steps = [{steps}] }}
rack = {{ output = true }}
[switches]
up = {{ from = "{from_port}", note = "C1" }}
[[rules]]
from = "keys"
match = {{ channel = 1 }}
when = "{when}"
to = "rack"
"""
ONLY_UP = '{ filter = { drop = { channel = 1 } }, when = "not up" }'
ONLY_DOWN = '{ filter = { drop = { channel = 1 } }, when = "up" }'


def shared_of(steps: str, when: str, from_port: str = "keys") -> set[tuple[str, int]]:
    """The same of a port with steps, a rule that asks for a switch, and where that is turned."""
    text = SWITCHED.format(steps=steps, when=when, from_port=from_port)
    if from_port == "pads":
        text = text.replace("[ports]", "[ports]\npads = { input = true }")
    pipeline = compile_rules(read_rules([("rules.toml", text.encode())]))
    return {(pipeline.ports[port], channel + 1) for port, channel in pipeline.shared}


@pytest.mark.parametrize("when", ["up", "not up"])
def test_what_passes_with_a_switch_on_comes_to_rules_with_it_off(when: str) -> None:
    """It may turn the switch between the steps of its port and the rules."""
    assert shared_of(ONLY_UP, when) == {("rack", 1)}
    assert shared_of(ONLY_DOWN, when) == {("rack", 1)}


@pytest.mark.parametrize(
    ("steps", "when", "shared"),
    [
        (f"{ONLY_UP}, {{ delay = 5 }}", "up", {("rack", 1)}),
        (f"{ONLY_UP}, {{ delay = 5 }}", "not up", set()),
        (f"{ONLY_DOWN}, {{ delay = 5 }}, {ONLY_UP}", "up", set()),
    ],
)
def test_a_step_with_a_memory_keeps_a_switch_as_it_was(steps: str, when: str, shared: set[tuple[str, int]]) -> None:
    """Where another port turns it: behind a delay nothing meets that the steps before it have dropped."""
    assert shared_of(steps, when, "pads") == shared


def test_banks_are_shared_by_sources_only() -> None:
    """One source's bank selects and programs stay in order by themselves (ruling 16)."""
    assert places('from = "keys"; to = "rack"; steps = [{ rechannel = 4 }]', banks=True) == set()
    assert places('from = ["keys", "pads"]; to = "rack"; steps = [{ rechannel = 4 }]', banks=True) == {("rack", 4)}
    notes_only = 'from = ["keys", "pads"]; to = "rack"; match = { kind = "note" }'
    assert places(notes_only, banks=True) == set()


def test_what_a_send_writes_is_known_by_both_its_data_bytes() -> None:
    """A value below 64 fires nothing in a step behind it, so that no bank select comes of it."""
    for value, shared in (("0", set()), ("64", {("rack", 1)})):
        keys = (
            'from = "keys"; match = { kind = "note", channel = 1 }; to = "rack"; '
            f'steps = [{{ send = "controller 80 {value}" }}, {{ send = "controller bank 1" }}]'
        )
        assert places(keys, 'from = "pads"; match = { channel = 1 }; to = "rack"', banks=True) == shared
