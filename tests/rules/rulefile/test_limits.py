"""Rule files beyond the limits: each is refused in words before anything slow is done with it."""

from __future__ import annotations

import pytest

from rules.errors import RuleFileError
from rules.rulefile.document import parse
from rules.rulefile.limits import check_text
from rules.rulefile.reading import Reading, read_rule_set

PORTS = "[ports]\nkeys = { input = true }\nrack = { output = true }\n"
RULE = '[[rules]]\nfrom = "keys"\nto = "rack"\n'
HEADER = "write the header of a table, such as [ports.keys]"


def read(*texts: str) -> Reading:
    """Return the rules of some files."""
    return read_rule_set([(f"{number}.toml", text.encode()) for number, text in enumerate(texts)])


def refusal(*texts: str) -> str:
    """Return what is said about files that are refused."""
    with pytest.raises(RuleFileError, match=r"\w") as raised:
        read(*texts)
    return str(raised.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (".".join(["a"] * 20_000) + " = 1", f"a key of more than 8 parts: {HEADER}"),
        (" . ".join(["'a'"] * 9) + " = 1", f"a key of more than 8 parts: {HEADER}"),
        ("[" + ".".join(['"a"'] * 9) + "]", f"a key of more than 8 parts: {HEADER}"),
        ("a = { b = 1, " + ".".join("abcdefghi") + " = 2 }", f"a key of more than 8 parts: {HEADER}"),
        ("bpm = 1" + "0" * 1_000, "a word or number of more than 1,000 characters: shorten it"),
        ("bpm = 1." + "0" * 1_001, "a word or number of more than 1,000 characters: shorten it"),
        ("k" * 1_001 + " = 1", "a word or number of more than 1,000 characters: shorten it"),
        ('a = "' + "x" * 100_000 + '"', "a text of more than 100,000 characters: shorten it"),
        ('a = """' + "x\n" * 50_000 + '"""', "a text of more than 100,000 characters: shorten it"),
        ("a = '''" + "x\n" * 50_000 + "'''", "a text of more than 100,000 characters: shorten it"),
    ],
)
def test_what_takes_a_parser_too_long_is_refused_before(text: str, words: str) -> None:
    """The line is right, also behind comments and texts that look like keys."""
    before = '# a.b.c.d.e.f.g.h.i.j\nx = \'a.b.c.d.e.f.g.h.i.j\'\ny = """\n\\""" a.b.c.d.e.f.g.h.i"""\n'
    assert refusal(before + text) == f"0.toml:5: {words}"


def test_many_dotted_keys_and_commas() -> None:
    """A file has a limited number of both."""
    dotted = "".join(f"a{number}.b.c.d.e.f.g.h = 1\n" for number in range(7_200))
    assert refusal(dotted) == f"0.toml:7143: more than 50,000 dots in keys: {HEADER}"
    assert (
        refusal("a = [" + "1," * 500_001 + "]")
        == "0.toml: this file has more than 500,000 commas: split it into several"
    )


@pytest.mark.parametrize(
    "text",
    [
        "a.b.c.d.e.f.g.h = 1",
        "a = [1.5, -2.25, 1e3, 07:32:00.5, 1979-05-27T07:32:00Z]",
        'a = \'C4..C5\'\nb = "..B3"\nc = \'\'\'it\'s\'\'\'\nd = """"x"""""\n',
        'a = "x\\\\"\nb = "\\"a.b.c.d.e.f.g.h.i\\""\n',
        "\ta\t=\t1\n\n[b]\n[[c]]\n# " + "x" * 200_000,
    ],
)
def test_what_is_usual_is_left_to_the_parser(text: str) -> None:
    """No limit concerns it."""
    check_text("rig.toml", text)
    assert parse("rig.toml", text.encode())[0] == text


def test_what_is_no_toml_is_left_to_the_parser() -> None:
    """Quotes without an end, and quotes that only backslashes follow, are looked at once."""
    for text in ('a = "x', "a = '''x\n" * 3, '"\\' * 100, '"""' + '\\"""' * 100):
        check_text("rig.toml", text)


SPLIT = "this table has more than 10,000 entries: split it into several"
TOGETHER = "all files together have more than 10,000 entries in `rules`"
ZONES = "zones = [" + '{ notes = "C4" },' * 4_000 + "]\n"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (
            "[ports]\n" + "".join(f"p{number} = {{ input = true }}\n" for number in range(1_001)),
            "1: all files together have more than 1,000 entries in `ports`",
        ),
        (PORTS + RULE * 10_001, f"4: {TOGETHER}"),
        (PORTS + RULE + ZONES + RULE * 6_000, f"4: {TOGETHER}"),
        (PORTS + RULE + "match = [" + "{ channel = 1 }," * 5_001 + "]", f"4: rule 1: {SPLIT}"),
        ("".join(f"k{number} = 1\n" for number in range(10_001)), f"1: {SPLIT}"),
    ],
    ids=["ports", "rules", "zones", "one rule", "keys"],
)
def test_more_than_a_rig_can_need_is_refused(text: str, words: str) -> None:
    """Nothing of it is validated, and no error follows from what wasn't read."""
    assert refusal(text) == f"0.toml:{words}"


def test_files_count_together() -> None:
    """The limit is that of the whole rig, and the error is at the file that goes beyond it."""
    rules = "".join(f'[[rules]]\nname = "{{0}} {number}"\nfrom = "keys"\nto = "rack"\n' for number in range(5_001))
    files = (PORTS, *(rules.replace("{0}", letter) for letter in "abc"))
    assert refusal(*files) == "2.toml:1: all files together have more than 10,000 entries in `rules`"


def test_many_problems_are_counted() -> None:
    """50 are shown and 1,000 kept; the others are only counted."""
    with pytest.raises(RuleFileError, match="more problems") as raised:
        read(PORTS + '[[rules]]\nfrom = 1\nto = "rack"\n' * 3_000)
    error = raised.value
    assert (len(error.problems), error.amount) == (1_000, 3_000)
    assert str(error).splitlines() == [*map(str, error.problems[:50]), "... and 2,950 more problems"]


def test_many_unknown_keys_of_one_table_are_counted() -> None:
    """A table with thousands of faults isn't worded to its end."""
    with pytest.raises(RuleFileError, match="more problems") as raised:
        read(PORTS + RULE + "".join(f"key{number} = 1\n" for number in range(4_000)))
    assert (len(raised.value.problems), raised.value.amount) == (1_000, 4_000)


def test_only_some_unknown_names_are_compared_with_the_known_ones() -> None:
    """To compare takes time for each pair of names: a hundred unknown ones get a hint, the others none."""
    rules = "".join(f'[[rules]]\nfrom = "kyes{number}"\nto = "rack"\n' for number in range(300))
    with pytest.raises(RuleFileError, match="no port") as raised:
        read(PORTS + rules)
    texts = [problem.text for problem in raised.value.problems]
    assert [
        text for text in texts if "the only port that messages come from is keys" in text or "did you mean" in text
    ] == texts[:100]
    assert texts[100] == '`from`: there is no port named "kyes100"'


def test_rules_lead_over_a_limited_number_of_ways() -> None:
    """Each way from a port to a device is computed by itself, so that few rules can need much."""
    ports = "".join(f"in{number} = {{ input = true }}\nout{number} = {{ output = true }}\n" for number in range(150))
    sources, targets = ([f"{kind}{number}" for number in range(150)] for kind in ("in", "out"))
    rule = f"[[rules]]\nfrom = {sources}\nto = {targets}\nwhen = 'nothing'\n"
    words = "the rules lead over more than 20,000 ways from a port to a device: use fewer names"
    assert refusal(f"[ports]\n{ports}{rule}") == f"0.toml:302: rule 1: {words}"
