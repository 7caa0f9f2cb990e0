"""README.md is true: its rule files work, its commands print what it shows, and its tables name what there is."""

from __future__ import annotations

import contextlib
import io
import re
import shlex
import shutil
from pathlib import Path

import pytest

from router.cli.main import main
from rules.analysis.findings import hints_of
from rules.analysis.rule_tests import run_tests
from rules.compiler.compiler import compile_rules
from rules.fields.conditions import Condition
from rules.fields.part import Part
from rules.midi.notation import parse_controller, parse_message
from rules.rulefile.port_tables import Device, Port
from rules.rulefile.reading import Reading, read_rule_set
from rules.rulefile.rule_tables import Rule
from rules.steps.registry import STEPS

PROJECT = Path(__file__).parents[1]
README = (PROJECT / "README.md").read_text()


def chapter(title: str) -> str:
    """Return the text below a heading, up to the next heading of its level."""
    level = re.escape(title.split()[0])
    found = re.search(rf"^{re.escape(title)}\n(.*?)(?=^{level} |\Z)", README, re.MULTILINE | re.DOTALL)
    assert found, title
    return found[1]


def blocks(text: str, language: str) -> list[str]:
    """Return the fenced blocks of one language."""
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def codes(text: str) -> list[str]:
    """Return what stands in backticks within lines."""
    return re.findall(r"`([^`\n]+)`", text)


def rows(text: str, header: str) -> list[list[str]]:
    """Return the cells of the table that has this first heading, without its head."""
    table = re.search(rf"^\| {header} \|.*\n\|[-|]+\|\n((?:\|.*\n)+)", text, re.MULTILINE)
    assert table, header
    return [[cell.strip() for cell in line.strip("|").split(" | ")] for line in table[1].splitlines()]


FIRST = blocks(chapter("## Five minutes"), "toml")[0]
TOUR = "\n".join(blocks(chapter("## The rule file by example"), "toml"))
FILES = {
    "first.toml": FIRST,
    "typo.toml": FIRST.replace("transpose", "transpos", 1).replace("otherwise = true", 'otherwise = "yes"'),
    "failing.toml": FIRST.replace("note-on 3 D4 110", "note-on 3 D4 120"),
    "pit.toml": TOUR,
}
"""The files that the reader of README.md is told to save, or to spoil."""

SESSIONS = [block for block in blocks(README, "console") if block.startswith("$ pointsman ")]


def sound(text: str) -> Reading:
    """Read a rule file that must be without mistakes, hints and failing tests."""
    reading = read_rule_set([("readme.toml", text.encode())])
    assert hints_of(reading) == ()
    outcomes = run_tests(reading, compile_rules(reading.ruleset))
    assert [str(fault) for outcome in outcomes for fault in outcome.faults] == []
    return reading


@pytest.mark.parametrize("name", ["first.toml", "pit.toml"])
def test_rule_files(name: str) -> None:
    """Both rule files are read without a hint, and their tests pass."""
    assert len(sound(FILES[name]).tests) == 2


def test_every_block_is_tried() -> None:
    """No rule file, and no session, stands where the tests of this file don't look."""
    assert len(blocks(README, "toml")) == 1 + len(blocks(chapter("## The rule file by example"), "toml"))
    assert len(blocks(README, "console")) == len(SESSIONS) > 5


@pytest.fixture
def checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Go where the reader is: beside the examples, with the files saved that README.md shows, and a folder of takes."""
    shutil.copytree(PROJECT / "examples", tmp_path / "examples")
    (tmp_path / "takes").mkdir()
    for take in ("monday", "tuesday"):
        shutil.copy(PROJECT / "examples/recording.mid", tmp_path / f"takes/{take}.mid")
    for name, text in FILES.items():
        (tmp_path / name).write_text(text)
    monkeypatch.chdir(tmp_path)


def printed(command: str) -> str:
    """Return what a command prints, results and complaints in the order in which a terminal shows them."""
    terminal = io.StringIO()
    with contextlib.redirect_stdout(terminal), contextlib.redirect_stderr(terminal):
        main(shlex.split(command)[1:])
    return terminal.getvalue()


def timeless(text: str) -> str:
    """Leave out how long it took."""
    return re.sub(r"\b\d+\.\d\d s\b", "0.00 s", text)


@pytest.mark.parametrize("session", SESSIONS, ids=[session.splitlines()[0][2:] for session in SESSIONS])
@pytest.mark.usefixtures("checkout")
def test_sessions(session: str) -> None:
    """Each command prints what README.md shows below it."""
    command, _, shown = session.removeprefix("$ ").partition("\n")
    assert timeless(printed(command)) == timeless(shown)


@pytest.mark.parametrize("example", codes(chapter("### Steps")), ids=str)
def test_steps(example: str) -> None:
    """Each step that is shown can be written so; other words in code there are names of steps and keys."""
    if not example.startswith("{"):
        assert re.fullmatch(r"[a-z_]+( = true)?", example)
        return
    sound(
        '[ports]\na = { input = "A" }\nb = { output = "B" }\n'
        '[switches]\ngiant = { from = "a", controller = 66 }\n'
        f'[[rules]]\nfrom = "a"\nmatch = {{ channel = 1 }}\nto = "b"\nsteps = [{example}]\n'
    )


CONDITIONS = [(codes(row[0])[0], code) for row in rows(README, "key") for code in codes(row[1]) if code != "match"]


@pytest.mark.parametrize(("key", "example"), CONDITIONS)
def test_conditions(key: str, example: str) -> None:
    """Each condition that is shown can be asked for."""
    sound(f'[ports]\na = {{}}\n[[rules]]\nfrom = "a"\nmatch = {{ {key} = {example} }}\nto = "a"\n')


def test_conditions_on_switches() -> None:
    """Each `when` that is shown is one that the switches of the chapter can meet."""
    told = [code for row in rows(README, "key of a rule") if row[0] == "`when`" for code in codes(row[1])]
    examples = [code for code in told if code.startswith('"')]
    assert len(examples) == 4
    for example in examples:
        sound(TOUR + f'\n[[rules]]\nfrom = "pads"\nmatch = {{ channel = 16 }}\nwhen = {example}\nto = []\n')


def test_all_steps_are_told() -> None:
    """The table has each step, in the order of the documentation."""
    assert [code for row in rows(chapter("### Steps"), "step") for code in codes(row[0])] == [
        kind.key for kind in STEPS
    ]


@pytest.mark.parametrize(
    ("header", "part"),
    [("key of a port", Port), ("key of a device", Device), ("key of a rule", Rule), ("key", Condition)],
    ids=["port", "device", "rule", "condition"],
)
def test_all_keys_are_told(header: str, part: type[Part]) -> None:
    """The tables name every key that there is, and no other; a name needs no explanation."""
    told = {code for row in rows(README, header) for code in codes(row[0])}
    assert told == {field.alias or name for name, field in part.model_fields.items()} - {"name"}


def test_notation() -> None:
    """What is shown as controllers and messages is read as such."""
    told = {row[0]: codes(row[1]) for row in rows(chapter("### How things are written"), "what")}
    assert len([parse_controller(name) for name in told["controller"]]) > 10
    assert len([parse_message(text) for text in told["message"]]) > 8


def test_options() -> None:
    """The table of `rewrite` has each of its options, and the options it shows exist."""
    usage = printed("pointsman rewrite --help")
    told = {word for row in rows(chapter("### rewrite"), "option") for word in re.findall(r"--[a-z-]+", row[0])}
    assert told | {"--help", "--out", "--dry-run"} == set(re.findall(r"--[a-z-]+", usage))


def test_exit_codes() -> None:
    """The exit codes are those that the command itself tells."""
    told = [(row[0], row[1]) for row in rows(README, "exit code")]
    assert told == re.findall(r"^  (\d+) +(.+)$", printed("pointsman --help"), re.MULTILINE)


def test_links() -> None:
    """Links lead to files that are here, and all examples are listed."""
    linked = [target for target in re.findall(r"\]\(([^)]+)\)", README) if "://" not in target]
    assert [target for target in linked if not (PROJECT / target).exists()] == []
    assert {Path(target).name for target in linked if target.startswith("examples/")} == {
        path.name for path in (PROJECT / "examples").iterdir() if path.suffix != ".mid"
    }


def test_opens_with_the_job() -> None:
    """The first paragraph, and only one, says what Pointsman is."""
    assert README.startswith("# Pointsman\n\nPointsman is a headless MIDI router and processor")
