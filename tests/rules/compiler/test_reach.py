"""What messages can become behind a link, through nodes too."""

from __future__ import annotations

import pytest

from rules.compiler.compiler import Compiler
from rules.compiler.reach import through
from rules.program.byte_tables import ALL, gate_of
from rules.program.forms import Form
from rules.rulefile.reading import read_rules

PORTS = "[ports]\nkeys = { input = true }\nrack = { output = true }\n"
C4 = Form(0x90, gate_one=1 << 60)


def behind(step: str, form: Form) -> list[tuple[int, int]]:
    """Status and first data bytes of all that can come out of a step."""
    rules = f'{PORTS}[[rules]]\nfrom = "keys"\nto = "rack"\nsteps = [{step}]\n'
    (plan,) = Compiler(read_rules([("rules.toml", rules.encode())]), ()).branches
    forms = through(plan.steps[0], [form])
    return [(made.status, gate_of(made.one[key] for key in range(128) if made.gate_one >> key & 1)) for made in forms]


@pytest.mark.parametrize(
    ("step", "expected"),
    [
        ("{ rechannel = 4 }", [(0x93, 1 << 60)]),
        ("{ transpose = 12 }", [(0x90, 1 << 72)]),
        ("{ delay = 10 }", [(0x90, 1 << 60)]),
        ('{ filter = { drop = { notes = "C4" } } }', []),
        ("{ echo = { ms = 10 } }", [(0x90, ALL)]),
        ('{ send = ["program 2 3", "note-on D4 90"] }', [(0xC1, 1 << 2), (0x90, 1 << 62)]),
    ],
)
def test_all_that_can_come_of_a_note(step: str, expected: list[tuple[int, int]]) -> None:
    """Behind a memory as well: there with any key, where the step says so."""
    assert behind(step, C4) == expected
