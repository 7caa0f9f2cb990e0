"""The form of a case: what it may hold, and what is refused."""

from __future__ import annotations

import pytest

from tests.rulings.cases import parse_case

RULES = '[[rules]]\nfrom = "keys"\nto = "synth"\n'
PLAYED = "----- played\nat 0 keys clock\n"


def case(played: str = PLAYED, sent: str = "", head: str = "Ruling 4\n\nIt passes.\n", rules: str = RULES) -> str:
    """A case as text."""
    return f"{head}\n----- rules\n{rules}{played}----- sent\n{sent}"


def test_a_case_has_rulings_a_sentence_and_ports() -> None:
    """The ruling that it shows comes first, and a rule file without ports gets those of all cases."""
    read = parse_case(case(head="Rulings 9, 4\n\nA note\npasses.\n", sent="at 0 synth clock\n"), "a.txt")
    assert (read.rulings, read.sentence) == ((9, 4), "A note\npasses.")
    assert read.rules.startswith("[ports]\nkeys  = { input = true }\n")
    assert read.rules.endswith(RULES)
    assert (read.played, read.sent, read.reloads) == ("at 0 keys clock", "at 0 synth clock", ())


def test_a_case_may_be_a_live_session() -> None:
    """Its events have a heading of their own."""
    assert parse_case(case(played="----- played live\nat 5 wait\n"), "a").is_live
    assert not parse_case(case(), "a").is_live


def test_what_precedes_the_tables_stays_there() -> None:
    """Settings of the whole file go before the ports; a file with ports of its own is left as it is."""
    assert parse_case(case(rules='middle_c = "C3"\n' + RULES), "a").rules.startswith('middle_c = "C3"\n[ports]\n')
    own = "[ports]\nkeys = { input = true }\n" + RULES
    assert parse_case(case(rules=own), "a").rules == own


def test_for_is_written_out() -> None:
    """Each number in its turn, the inner ones within."""
    sent = "for a 1..2\n  for b 3..4\n    at 0 x {a} {b}\n  at 1 x {a}\nat 2 x\n"
    lines = ["at 0 x 1 3", "at 0 x 1 4", "at 1 x 1", "at 0 x 2 3", "at 0 x 2 4", "at 1 x 2", "at 2 x"]
    assert parse_case(case(sent=sent), "a").sent.split("\n") == lines


def test_remarks_are_left_out() -> None:
    """Sharps of keys and numbers of tracks are no remarks."""
    sent = "# first the clock\nat 0 synth clock  # at once\nat 1 synth#2 note-on 1 C#4 5\n"
    assert parse_case(case(sent=sent), "a").sent == "at 0 synth clock\nat 1 synth#2 note-on 1 C#4 5"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (case(head="It passes.\n"), "write `Ruling` and its number"),
        (case(head="Ruling 4\n"), "write `Ruling` and its number"),
        (case(played=""), "the sections are"),
        (case(played=PLAYED + PLAYED), "the sections are"),
        (case(played="----- played\n"), "nothing is played"),
        (case(played=PLAYED + "at 1 reload\n"), "1 reloads are played, and 0 rule files follow"),
        (case(played=f"----- rules after reload\n{RULES}{PLAYED}"), "0 reloads are played, and 1 rule files follow"),
        (case(sent="  at 0 synth clock\n"), "is indented"),
    ],
)
def test_what_is_refused(text: str, said: str) -> None:
    """A file of another form fails by name, rather than to test less than it seems to."""
    with pytest.raises(ValueError, match=said):
        parse_case(text, "a.txt")
