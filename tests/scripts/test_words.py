"""Long sentences and words to avoid are found wherever a text can hide, and nothing else is."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.places import SOURCE

SCRIPT = SOURCE / "scripts/checks/words.py"
LONG = " ".join(["word"] * 26)
FITTING = " ".join(["word"] * 25)


def check(project: Path, *options: str) -> subprocess.CompletedProcess[str]:
    """Run the script on a project folder."""
    command = [sys.executable, str(SCRIPT), str(project), *options]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def faults_in(project: Path, name: str, text: str) -> list[str]:
    """Return the lines that the script prints when one file has this text; the exit code agrees with them."""
    path = project / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    answer = check(project)
    assert answer.stderr == ""
    assert answer.returncode == (1 if answer.stdout else 0)
    return answer.stdout.splitlines()


@pytest.mark.parametrize(
    "text",
    [
        "The pedal stands here.",
        "It stood there.",
        "The file lies in a folder.",
        "The log tells it.",
        "You are told.",
        "It begins anew.",
        "Mend the file.",
        "The mended file.",
        "It is beside the result.",
        "The press is swallowed.",
        "It shall play.",
        "They play by turns.",
        "It sounds so long.",
        "Save it in whatever way.",
        "The channel may be left away.",
        "Leave it away.",
        "See what came of it.",
        "There is no port of this name.",
        'The word "x" is no channel.',
        "Whoever plays hears it.",
        "We are sorry.",
        "It is a mistake of ours.",
    ],
)
def test_words_to_avoid(tmp_path: Path, text: str) -> None:
    """Each word of the list is found in a page, in each of its forms, with file and line."""
    (found,) = faults_in(tmp_path, "README.md", f"# Title\n\n{text}\n")
    assert found.startswith("README.md:3: ")


@pytest.mark.parametrize(
    "text",
    [
        "There is no port named x.",
        "It is no longer there.",
        "A standard is understood, and outstanding.",
        "Besides, a line is relied on.",
        "Recommended, amended, commended.",
        "Write `left away`, `swallow` or `shall` as code.",
        "Leave, and go away.",
        "[mend-takes.toml](examples/mend-takes.toml) is a file.",
    ],
)
def test_words_that_only_look_like_them(tmp_path: Path, text: str) -> None:
    """What is part of another word, code, or the name of a file is left alone."""
    assert faults_in(tmp_path, "README.md", text) == []


def test_long_sentences_of_a_page(tmp_path: Path) -> None:
    """A sentence may go on over lines; items, cells, headings and code end it."""
    text = f"{LONG[:60]}\n{LONG[60:]}.\n\n- {FITTING}\n- {FITTING}\n\n| {FITTING} | {FITTING} |\n|---|---|\n"
    text += f"\n```console\n{LONG}\n```\n\n{FITTING}. {FITTING}!\n"
    (found,) = faults_in(tmp_path, "router/manual/run.md", text)
    assert found.startswith("router/manual/run.md:1: a sentence of 26 words")


def test_comments_of_rule_files(tmp_path: Path) -> None:
    """Comments in the blocks of a page and in the examples are read too; the rules themselves aren't."""
    (found,) = faults_in(tmp_path, "README.md", '```toml\nname = "stands"\nto = []  # stands\n```\n')
    assert found.startswith("README.md:3: ")
    (tmp_path / "README.md").unlink()
    text = f'# {FITTING}\n# and one.\n\nname = "it stands"\nto = []  # it stands\n'
    first, second = faults_in(tmp_path, "examples/a.toml", text)
    assert first.startswith("examples/a.toml:1: a sentence of 27 words")
    assert second.startswith('examples/a.toml:5: "stands"')


@pytest.mark.parametrize(
    "code",
    [
        'print("it stands here")',
        'raise ValueError("it stands here")',
        'def words(self): return "it stands here"',
        'say([f"{name} stands here"])',
        "fault(f\"it {'stands' if one else 'stays'} here\")",
        "fault(f\"file{'s' if many else ''} stand{'' if many else 's'} here\")",
        'fault("it st" + "ands here")',
        'fault(one + " stands here")',
        'fault("it %s, it stands" % name)',
        'fault("it {} stands".format(name))',
        'known = {"a": "it stands here"}',
        'known = ("stands",)',
        'add("--json", help=f"it stands {here}")',
        'TEXT: Final = """\\\nit\nstands here"""',
        'def f(text="it stands here"): ...',
        'Channel = Annotated[int, _single("it stands here", 1, 16)]',
        'channel: Annotated[int, _single("it stands here", 1, 16)]',
        'fault(known or f"it stands {here}")',
        "fault(f\"{one}: {other('it stands here')}\")",
        'lines += ["a"] if one else ["it stands here"]',
        'case = lambda: "it stands here"',
        'text = "it"\ntext += " stands here"',
    ],
)
def test_messages(tmp_path: Path, code: str) -> None:
    """However a message is put together in the program, the word is found."""
    found = faults_in(tmp_path, "router/one.py", code)
    assert found
    assert all('"stand' in line for line in found)


@pytest.mark.parametrize(
    "code",
    [
        '"""It stands here."""',
        'def f():\n    """It stands here."""',
        'class A:\n    """It stands here."""\n    size = 1\n    """It stands here."""',
        "# it stands here",
        'mode: Literal["stands", "it stands"]',
        'mode = Annotated[Literal["it stands here"], Field()]',
        'if text == "it stands here": ...',
        'assert text, "it stands here"',
        '_FORM = re.compile(r"it stands here")',
        'def f(text: "it stands here") -> "it stands": ...',
        "stands = shall = told",
        f'print("{FITTING}. {FITTING}")',
        f'print(f"{FITTING[:-5]} {{known}}")',
        f'TEXT = """\\\n{FITTING}\n\n{FITTING}\n\nexamples:\n  {FITTING}   {FITTING}\n"""',
        'print("kinds are one, two, three, four, five, six, seven, eight, nine, ten, one, two, three, four, five, six, '
        'seven, eight, nine, ten, one, two, three, four, five, six")',
    ],
)
def test_what_no_player_reads(tmp_path: Path, code: str) -> None:
    """Docstrings, comments, types, comparisons and expressions are left alone, and texts that are short enough."""
    assert faults_in(tmp_path, "rules/one.py", code) == []


def test_long_messages(tmp_path: Path) -> None:
    """A sentence is counted over all pieces of a message; what only the running program knows is one word."""
    half = " ".join(["word"] * 13)
    (found,) = faults_in(tmp_path, "rules/one.py", f'x = 1\nfault(\n    f"{half} {{name}} "\n    "{half}"\n)\n')
    assert found.startswith("rules/one.py:3: a sentence of 27 words")


def test_list(tmp_path: Path) -> None:
    """--list shows every text of the program with what it belongs to, and marks those with a fault."""
    (tmp_path / "router").mkdir()
    (tmp_path / "router/one.py").write_text('def f():\n    say(f"all {count} is well")\n    add(help="it stands")\n')
    answer = check(tmp_path, "--list")
    assert answer.returncode == 0
    assert answer.stdout.splitlines() == [
        "  router/one.py:2  [say()]  all ... is well",
        "! router/one.py:3  [add(help=)]  it stands",
    ]


@pytest.mark.parametrize(
    "line",
    [
        '  notice("The pedal stands here.");',
        "  say(`The pedal of ${name} stands here.`);",
        "  say(`${one ? 'a' : \"b\"} stands here`);",
        'const a = "//"; notice("It stands here");',
    ],
)
def test_a_text_in_a_script_of_the_page_is_found(tmp_path: Path, line: str) -> None:
    """In strings and templates, with file and line."""
    (found,) = faults_in(tmp_path, "router/page/static/main.js", f"// A comment stands here.\n{line}\n")
    assert found.startswith("router/page/static/main.js:2: ")


@pytest.mark.parametrize("line", ["<p>The pedal stands here.</p>", '<nav aria-label="It stands here">'])
def test_a_text_in_the_markup_of_the_page_is_found(tmp_path: Path, line: str) -> None:
    """What is seen, and what a reader of the screen says."""
    (found,) = faults_in(tmp_path, "router/page/static/index.html", f"<!-- It stands here. -->\n{line}\n")
    assert found.startswith("router/page/static/index.html:2: ")


@pytest.mark.parametrize("line", ["// It stands here.", "/* It stands\n here. */", 'import "./stands.js";'])
def test_comments_in_scripts_are_for_contributors(tmp_path: Path, line: str) -> None:
    """They are no texts, and nor is a file name."""
    assert faults_in(tmp_path, "router/page/static/main.js", f"{line}\n") == []
