"""What reading a file builds: the forms of the tables that it has, and no others, since a start waits for each."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[3]

BUILT = """
import sys
from rules.fields.table_model import TableModel
from rules.rulefile.reading import read_rules
from rules.steps.registry import STEP_KEYS

def tables(model):
    for table in model.__subclasses__():
        yield table
        yield from tables(table)

text = '''
[ports]
keys = { input = true }
rack = { output = true }
[[rules]]
from = "keys"
steps = [{ transpose = 12 }]
to = "rack"
'''
read_rules([("small.toml", text.encode())])
print(*sorted({table.__name__ for table in tables(TableModel) if table.__pydantic_complete__}))
print(*(key for key in STEP_KEYS if f"rules.steps.{key}" in sys.modules))
"""


def test_a_small_file_builds_the_forms_of_its_own_tables_only() -> None:
    """Of the steps only that which is written; no devices, switches, zones or tests."""
    done = subprocess.run([sys.executable, "-c", BUILT], cwd=ROOT, capture_output=True, text=True, check=True)
    built, loaded = done.stdout.splitlines()
    assert built.split() == ["OneSection", "TransposeStep"]
    assert loaded.split() == ["transpose"]
