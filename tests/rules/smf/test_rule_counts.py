"""Which rules matched a file's messages."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from rules.compiler.compiler import compile_rules
from rules.rulefile.reading import read_rules
from rules.smf.rule_counts import RuleCounts

RULES = b"""
[ports]
keys = { input = true }
rack = { output = true }
[switches]
up = { from = "keys", controller = 80 }
[[rules]]
name = "low"
from = "keys"
match = { kind = "note", notes = "..59", channel = "1..4" }
to = "rack"
[[rules]]
name = "loud"
from = "keys"
match = { kind = "note-on", velocity = "100.." }
to = "rack"
[[rules]]
name = "while up"
from = "keys"
match = { kind = "program" }
when = "up"
to = "rack"
[[rules]]
name = "sysex"
from = "keys"
match = { kind = "sysex" }
to = "rack"
"""
PIPELINE = compile_rules(read_rules([("rules.toml", RULES)]))
MESSAGES = st.lists(
    st.tuples(
        st.sampled_from([0x80, 0x90, 0xB0, 0xC0, 0xF0]), st.integers(0, 15), st.integers(0, 127), st.integers(1, 127)
    ),
    max_size=40,
)


def taking(kind: int, channel: int, first: int, second: int, up: bool) -> set[str]:
    """The rules that take a message, read off the rule file."""
    found = {"low"} if kind in (0x80, 0x90) and first < 60 and channel < 4 else set()
    found |= {"loud"} if (kind == 0x90 and second >= 100) or kind == 0x80 else set()
    found |= {"while up"} if kind == 0xC0 and up else set()
    return found | ({"sysex"} if kind == 0xF0 else set())


@settings(max_examples=60)
@given(MESSAGES, st.booleans())
def test_every_message_is_counted_where_it_belongs(messages: list[tuple[int, int, int, int]], up: bool) -> None:
    """Each rule's count, and those by channel, are what plain counting gives."""
    tally = RuleCounts(PIPELINE)
    hits, groups = tally.counters(0)
    word = PIPELINE.layout.turned(PIPELINE.layout.initial, "up", up)
    for kind, channel, first, second in messages:
        index = (kind & 0x7F) << 7 if kind == 0xF0 else (kind & 0x7F | channel) << 7 | first
        if groups[index]:
            hits[groups[index]] += 1
        else:
            tally.count_singly(0, index, second, word)
    assert tally.messages == len(messages)
    for wanted in (None, 3, 9):
        some = [one for one in messages if wanted is None or (one[1] == wanted and one[0] != 0xF0)]
        counts = [sum(rule in taking(*one, up) for one in some) for rule in PIPELINE.rules]
        assert tally.matched(wanted) == counts
