"""Whose clock goes out where, and which rules had a say in it (ruling 26)."""

from __future__ import annotations

import pytest

from rules.compiler.clocks import ClockChoice, clock_choices
from rules.rulefile.reading import read_rules

PORTS = "[ports]\nseq = { input = true }\nkeys = { input = true }\nrack = { output = true }\n"
SEQ = '[[rules]]\nfrom = "seq"\nto = "rack"\n'
KEYS = '[[rules]]\nfrom = "keys"\nto = "rack"\n'
LEFT, SOME = "otherwise = true\n", "match = { channel = 1 }\n"


def choice(rules: str, ports: str = PORTS) -> ClockChoice:
    """The choice for the rack."""
    return clock_choices(read_rules([("rules.toml", (ports + rules).encode())]))["rack"]


@pytest.mark.parametrize(
    ("rules", "source", "rivals"),
    [
        (SEQ, "seq", {}),
        (SEQ + SEQ.replace("seq", "keys") + SOME, "seq", {}),
        (SEQ + SOME, None, {}),
        (SEQ + KEYS, None, {"seq": 0, "keys": 1}),
        (SEQ + KEYS + LEFT, "seq", {"seq": 0, "keys": 1}),
        (SEQ + LEFT + KEYS, "keys", {"keys": 1, "seq": 0}),
        (SEQ + LEFT + KEYS + LEFT, None, {"seq": 0, "keys": 1}),
        (SEQ + SOME + KEYS + LEFT, "keys", {}),
        (SEQ + SEQ + LEFT, "seq", {}),
        (SEQ + KEYS + '[[rules.zones]]\nto = []\n', "seq", {}),
        (SEQ.replace('"seq"', '["seq", "keys"]'), None, {"seq": 0, "keys": 0}),
    ],
)  # fmt: skip
def test_the_source_and_its_rivals(rules: str, source: str | None, rivals: dict[str, int]) -> None:
    """The one that plays everything, else the one that plays what is left; rivals with the numbers of their rules."""
    found = choice(rules)
    assert (found.source, list(found.rivals.items())) == (source, list(rivals.items()))


@pytest.mark.parametrize(("clock", "source"), [("keys", "keys"), ("none", None)])
def test_a_written_clock_has_no_rivals(clock: str, source: str | None) -> None:
    """The rule file decides."""
    found = choice(SEQ + KEYS, PORTS.replace("{ output = true }", f'{{ output = true, clock = "{clock}" }}'))
    assert (found.source, found.rivals) == (source, {})


def test_a_device_stands_for_its_port() -> None:
    """Rules that lead to two devices of one port are rivals there; ports that can't send have no clock."""
    devices = '[devices]\norgan = { port = "rack" }\nbass = { port = "rack" }\n'
    rules = read_rules([("rules.toml", (PORTS + devices + SEQ.replace("rack", "organ") + KEYS).encode())])
    assert [(name, [*found.rivals]) for name, found in clock_choices(rules).items()] == [("rack", ["seq", "keys"])]
