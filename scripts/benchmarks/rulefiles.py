"""The rule files that are measured."""

from __future__ import annotations

from rules.compiler.compiler import compile_rules
from rules.program.pipeline import Pipeline
from rules.rulefile.reading import read_rules
from rules.rulefile.ruleset import RuleSet

PORTS = """
[ports]
seq  = { input = true }
keys = { input = true }
rack = { output = true }
"""

EDIT = f"""{PORTS}
[[rules]]
from  = "seq"
steps = [
  {{ filter = {{ drop = {{ channel = 10 }} }} }},
  {{ rechannel = {{ 1 = 4, 2 = 1, 3 = 2, 4 = 3 }} }},
  {{ transpose = 2 }},
  {{ velocity = {{ fixed = 90 }} }},
]
to    = "rack"
"""
"""A channel dropped, four others moved, all transposed, one velocity for all."""

SHIFT = f"""{PORTS}
[[rules]]
from  = "seq"
steps = [{{ transpose = 2 }}]
to    = "rack"
"""
"""All keys transposed, as native code shifts them, which keeps less of a file."""

IN_PLACE = f"""{PORTS}
[[rules]]
from  = "seq"
steps = [
  {{ rechannel = {{ 1 = 4, 2 = 1, 3 = 2, 4 = 3 }} }},
  {{ velocity = {{ fixed = 90 }} }},
]
to    = "rack"
"""
"""Four channels moved, one velocity for all: each message becomes one as long, written in its place."""

ONE_CHANNEL = f"""{PORTS}
[devices]
synth = {{ port = "rack", channel = 1 }}
[[rules]]
from = ["seq", "keys"]
to   = "synth"
"""
"""Two sources on one channel: whatever they play on sixteen channels meets there."""

EDIT_OF_TWO = EDIT.replace('from  = "seq"', 'from  = ["seq", "keys"]')
"""The same edit on two sources, which meet on every channel of one port."""


def compiled(text: str) -> tuple[RuleSet, Pipeline]:
    """A rule file, read and compiled."""
    ruleset = read_rules([("bench.toml", text.encode())])
    return ruleset, compile_rules(ruleset)
