"""Tables of notes, controllers and programs: what is looked up in them, and what isn't."""

from __future__ import annotations

import pytest

from rules.compiler.compiler import compile_rules
from rules.engine.engine import Engine
from rules.rulefile.reading import read_rules
from rules.timing.delays import steady_nanoseconds


def mapped(table: str, message: str) -> list[str]:
    """What goes out for a message behind a `map` with this table."""
    rules = "[ports]\nkeys = { input = true }\nrack = { output = true }\n"
    rules += f'[[rules]]\nfrom = "keys"\nto = "rack"\nsteps = [{{ map = {{ {table} }} }}]\n'
    engine = Engine(compile_rules(read_rules([("rules.toml", rules.encode())])), steady_nanoseconds(120))
    out: list[tuple[int, bytes, int, int]] = []
    engine.feed(engine.add_player("keys"), bytes.fromhex(message), 0, out)
    return [sent.hex(" ").upper() for _, sent, *_ in out]


@pytest.mark.parametrize(
    ("table", "message", "expected"),
    [
        ("notes = { 60 = 62 }", "93 3C 40", ["93 3E 40"]),
        ("notes = { 60 = 62 }", "A3 3C 40", ["A3 3E 40"]),
        ("notes = { 60 = 62 }", "93 3D 40", ["93 3D 40"]),
        ("notes = { 60 = 62 }", "B3 3C 40", ["B3 3C 40"]),
        ("controllers = { 1 = 11 }", "B3 01 40", ["B3 0B 40"]),
        ("controllers = { 1 = 11 }", "93 01 40", ["93 01 40"]),
        ("programs = { 1 = 5 }", "C3 00", ["C3 04"]),
        ("programs = { 1 = 5 }", "D3 00", ["D3 00"]),
    ],
)
def test_a_table_is_asked_about_its_own_sort_of_number(table: str, message: str, expected: list[str]) -> None:
    """Keys of notes and of their pressure, controllers, programs; what it lacks, and any other message, passes."""
    assert mapped(table, message) == expected


@pytest.mark.parametrize(
    ("table", "dropped", "passes"),
    [
        ("notes = { 60 = 62 }", "93 3D 40", "B3 01 40"),
        ("controllers = { 1 = 11 }", "B3 02 40", "B3 7B 00"),  # all notes off is no controller
        ("programs = { 1 = 5 }", "C3 01", "D3 01"),
    ],
)
def test_others_of_the_same_sort_may_be_dropped(table: str, dropped: str, passes: str) -> None:
    """Mode messages pass a table of controllers, and whatever else isn't of the table's sort."""
    assert mapped(f'{table}, others = "drop"', dropped) == []
    assert mapped(f'{table}, others = "drop"', passes) == [passes]
