"""README.md and the manual are true: rule files work, commands print what is shown, and tables name what there is."""

from __future__ import annotations

import os
import re
import shlex
from pathlib import Path

import pytest
import tomli_w

from router.cli.port_list import PortsSettings, ports
from rules.analysis.rule_tests import run_tests
from rules.compiler.compiler import compile_rules
from rules.fields.table_model import TableModel
from rules.findings.findings import findings_of
from rules.midi.notation import parse_controller, parse_message
from rules.rig.channel_plan import plan_channels
from rules.rig.planned_rig import planned_rig
from rules.rig.planned_rules import planned_tables
from rules.rulefile.reading import Reading, read_rule_set
from rules.rulefile.schema import RuleFile
from rules.steps.base import Step
from rules.steps.registry import all_steps
from tests.support.fake_midi_system import FakeBackend, Hub
from tests.support.pages import (
    BLOCKS,
    FILES,
    MANUAL,
    PAGES,
    PROJECT,
    SAVED,
    Block,
    codes,
    printed,
    rows,
    save_everything,
    settings_tables,
    timeless,
)

SESSIONS = [block for block in BLOCKS if block.language == "console"]
PYTHON = [(block, BLOCKS[at + 1]) for at, block in enumerate(BLOCKS) if block.language == "python"]


def sound(text: str, *, with_remarks: bool = False) -> Reading:
    """Read a rule file that must be without mistakes, findings and failing tests; remarks may be allowed."""
    reading = read_rule_set([("page.toml", text.encode())])
    assert [one for one in findings_of(reading) if one.severity != "remark" or not with_remarks] == []
    outcomes = run_tests(reading, compile_rules(reading.ruleset))
    assert [str(fault) for outcome in outcomes for fault in outcome.faults] == []
    return reading


@pytest.mark.parametrize("name", [name for name in SAVED if name != "rig.toml"])
def test_rule_files(name: str) -> None:
    """What the blocks of a page add up to is read without a finding, and its tests pass."""
    reading = sound(SAVED[name])
    assert reading.rules
    assert reading.tests or name == "ports.toml"  # where clock goes isn't said by tests of rules


def test_the_rig_to_be_planned() -> None:
    """What is shown to say only what is in the rig has no rules; those of its plan are sound."""
    reading = read_rule_set([("rig.toml", SAVED["rig.toml"].encode())])
    assert not reading.rules
    tables = planned_tables(reading, plan_channels(planned_rig(reading.ruleset)))
    assert sound(tomli_w.dumps(tables), with_remarks=True).tests  # two sources can be more than its DIN cable carries


def test_every_block_is_tried() -> None:
    """There is no kind of block at which these tests don't look."""
    assert {block.language for block in BLOCKS} == {"toml", "console", "python", "text", "sh"}
    assert all(block.text.startswith("$ pointsman ") for block in SESSIONS)
    assert all(shown.language == "text" for _, shown in PYTHON)
    assert len(SESSIONS) > 7
    assert len(PYTHON) > 1


@pytest.fixture
def checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Go where the reader is: next to the examples, with the files of the pages saved, and a folder of takes."""
    save_everything(tmp_path)
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize("session", SESSIONS, ids=str)
@pytest.mark.usefixtures("checkout")
def test_sessions(session: Block) -> None:
    """Each command prints what is shown below it."""
    command, _, shown = session.text.removeprefix("$ ").partition("\n")
    assert timeless(printed(command)) == timeless(shown)


@pytest.mark.usefixtures("checkout")
def test_beginnings() -> None:
    """Of a long answer, what is shown is how it begins."""
    (long,) = [block for block in BLOCKS if block.text.startswith("$ pointsman trace") and block.language == "text"]
    command, _, shown = long.text.removeprefix("$ ").partition("\n")
    assert printed(command).startswith(shown)


@pytest.mark.parametrize("page", ["README", "ports"])
def test_ports(page: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The list of the computer's ports is printed as it is shown, on a computer that has these."""
    (shown,) = [block.text for block in BLOCKS if block.page == page and "in the rule file\n" in block.text]
    hub = Hub()
    inputs, _, outputs = shown.removeprefix("$ pointsman ports\n").partition("\n\n")
    for listed, sends in ((inputs, True), (outputs, False)):
        for name in re.findall(r'^  (\S.*?) {2,}"', listed, re.MULTILINE):
            hub.plug(name, sends=sends, receives=not sends)
    assert ports(PortsSettings(), FakeBackend(hub)) == 0
    printed_now = capsys.readouterr().out.replace("(fake)", "(ALSA)")
    assert printed_now == shown.removeprefix("$ pointsman ports\n")


@pytest.mark.parametrize(("program", "shown"), PYTHON, ids=[str(block) for block, _ in PYTHON])
@pytest.mark.usefixtures("checkout")
def test_python(program: Block, shown: Block, capsys: pytest.CaptureFixture[str]) -> None:
    """Each program prints what the block after it shows."""
    exec(compile(program.text, str(program), "exec"), {})
    assert capsys.readouterr().out == shown.text


COMMANDS = sorted(
    {code for text in PAGES.values() for code in codes(text) if code.startswith("pointsman ")}
    | {
        line.strip().removeprefix("$ ")
        for block in BLOCKS
        for line in block.text.splitlines()
        if block.language in ("sh", "console", "text") and line.strip().removeprefix("$ ").startswith("pointsman ")
    }
)


@pytest.mark.parametrize("command", COMMANDS)
def test_commands(command: str) -> None:
    """Each command that is shown exists, and so do its options."""
    _, name, *words = shlex.split(command)
    if name.startswith("--"):
        name, words = "", [name]
    usage = printed(f"pointsman {name} --help")
    assert usage.startswith(f"usage: pointsman {name}".rstrip())
    options = {word.partition("=")[0] for word in words if re.match(r"--?[a-z]", word)}
    assert options <= set(re.findall(r"(?<![\w-])--?[a-z][a-z-]*", usage))


WITH_OPTIONS = [page for page, text in PAGES.items() if "\n| option |" in text]


@pytest.mark.parametrize("page", WITH_OPTIONS)
def test_options(page: str) -> None:
    """A table of options has each option of its command, with its default."""
    usage = printed(f"pointsman {page} --help")
    listed = {word for row in rows(PAGES[page], "option") for word in re.findall(r"(?<![\w-])--[a-z-]+", row[0])}
    assert listed == set(re.findall(r"^ +(?:-\w(?: \w+)?, )?(--[a-z-]+)", usage, re.MULTILINE)) - {"--help"}
    assert all(len(row) == 3 and row[2] for row in rows(PAGES[page], "option"))


def test_commands_with_options_have_tables() -> None:
    """Commands that only talk to a daemon share a page, which has their few options in words."""
    usage = printed("pointsman --help")
    commands = set(re.findall(r"^    (\w+)(?: |$)", usage, re.MULTILINE)) - {"COMMAND"}
    assert set(WITH_OPTIONS) == commands - {"help", "status", "panic", "reload", "switch", "song", "clock", "tap"}


def test_exit_codes() -> None:
    """The exit codes are those that the command itself shows."""
    listed = [(row[0], row[1]) for row in rows(PAGES["messages"], "exit code")]
    assert listed == re.findall(r"^  (\d+) +(.+)$", printed("pointsman --help"), re.MULTILINE)


# -- Tables of settings -----------------------------------------------------------------------------------------------


def parts() -> dict[str, type[TableModel]]:
    """Return every kind of table that a rule file can have, by the name of its class."""
    all_steps()
    found: dict[str, type[TableModel]] = {}
    waiting: list[type[TableModel]] = [TableModel]
    while waiting:
        for part in waiting.pop().__subclasses__():
            found[part.__name__] = part
            waiting.append(part)
    return found


PARTS = parts()
TABLES = settings_tables()
EXAMPLES = [
    (name, code) for name, (_, table) in TABLES.items() for row in table[2:] for code in codes(row[3]) if code[0] != "["
]

RIG = """
[ports]
keyboard = { input = "A" }
pads = { input = "B" }
seq = { input = "C", output = "C" }
rack = { output = "D" }
[devices]
"drum kit" = { port = "rack", channel = 10 }
piano = { port = "rack", channel = 1 }
organ = { port = "rack", channel = 3 }
"reed box" = { port = "rack", channel = 2 }
[switches]
giant = { from = "keyboard", controller = 66 }
low = { from = "keyboard", controller = 67 }
place = { values = ["garden", "cave"], set = { from = "pads", note = 1, value = "cave" } }
[[rules]]
from = "keyboard"
match = { channel = 16 }
to = ["piano", "reed box", "organ"]
"""


def own_settings(part: type[TableModel]) -> list[str]:
    """Return what a kind of table can have beyond what it inherits."""
    (base,) = part.__bases__
    inherited = getattr(base, "model_fields", {})
    return [field.alias or name for name, field in part.model_fields.items() if name not in inherited]


@pytest.mark.parametrize("name", TABLES)
def test_tables_of_settings(name: str) -> None:
    """A table has each setting of its class in order, and each has a description, a default and an example."""
    _, (head, _, *table) = TABLES[name]
    assert head == ["setting", "what it does", "default", "example"]
    assert [codes(row[0])[0] for row in table] == own_settings(PARTS[name])
    assert all(len(row) == 4 and all(row) for row in table)


def test_every_setting_has_a_table() -> None:
    """Steps, ports, rules: whatever has settings of its own is on a page."""
    # a step and its `when`; a line of `to`; parts of the whole file: written out in words
    unlisted = {"Stage", "StageTable", "Outlet", "OneSection"}
    assert {name for name, part in PARTS.items() if own_settings(part)} - unlisted == TABLES.keys()


RULE = {"from": 'from = "keyboard"', "when": 'when = "giant"', "to": 'to = "piano"'}
TEST = {"name": 'name = "x"', "from": 'from = "keyboard"', "play": 'play = "note-on 14 C4 1"', "expect": "expect = {}"}
PROMISE = {"name": 'name = "x"', "from": 'from = "keyboard"', "never": 'never = "piano"'}
TURN = {"when": 'when = "giant"', "send": 'send = { piano = "program 1" }'}
ZONE = {"from": 'from = "keyboard"', "zones": "[[rules.zones]]", "to": 'to = "piano"'}


def completed(name: str, example: str) -> str:
    """Return a rule file in which an example of a table is at its place."""
    key = example.partition(" = ")[0]

    rig = re.sub(rf"^{key} = .*\n", "", RIG, flags=re.MULTILINE) if key[0] != "{" else RIG
    if issubclass(PARTS[name], Step):
        return RIG + "[[rules]]\n" + "\n".join({**RULE, "steps": f"steps = [{example}]", "to": 'to = "rack"'}.values())
    match name:
        case "RuleFile":
            return f"{example}\n{RIG}"
        case "Port":
            return rig.replace("[ports]\n", f"[ports]\n{example}\n")
        case "Device":
            return rig.replace("[devices]\n", f"[devices]\n{example}\n")
        case "Rule":
            return f"{RIG}[[rules]]\n" + "\n".join({**RULE, key: example}.values())
        case "Zone" | "Condition":
            return f"{RIG}[[rules]]\n" + "\n".join({**ZONE, key: example}.values())
        case "RuleTest":
            return f"{RIG}[[tests]]\n" + "\n".join({**TEST, key: example}.values())
        case "Promise":
            kept = {name: line for name, line in PROMISE.items() if {name, key} != {"never", "always"}}
            kept |= {"always": 'always = "piano"'} if key == "unchanged" else {}
            kept = {name: line for name, line in kept.items() if name != "never"} if "always" in kept else kept
            return f"{RIG}[[promises]]\n" + "\n".join({**kept, key: example}.values())
        case "OnSwitch":
            return f"{RIG}[[on_switch]]\n" + "\n".join({**TURN, key: example}.values())
        case "SetList":
            return f'{RIG}[set_list]\n{example}\n[[songs]]\nname = "x"\n'
        case "Song":
            rules = "".join(
                f'[[rules]]\nname = "{name}"\nfrom = "keyboard"\nto = []\n' for name in ("organ left", "bells")
            )
            return f"{RIG}{rules}[[songs]]\n" + "\n".join({"name": 'name = "x"', key: example}.values())
        case "ClockTable":
            return f"{RIG}[clock]\n{example}\n"
    return rig.replace("[switches]\n", f"[switches]\n{example}\n")


@pytest.mark.parametrize(("name", "example"), EXAMPLES)
def test_examples_of_settings(name: str, example: str) -> None:
    """Each example can be written as it is, and is one of its setting."""
    read_rule_set([("page.toml", completed(name, example).encode())])


@pytest.mark.parametrize("example", [row[1] for row in rows(PAGES["steps"], "step")])
def test_steps(example: str) -> None:
    """Each step of the overview can be written so."""
    read_rule_set([("page.toml", completed("EchoStep", codes(example)[0]).encode())])


def test_all_steps_are_listed() -> None:
    """The overview has each step, in the order of the documentation, and each has a page."""
    listed = [codes(row[0])[0] for row in rows(PAGES["steps"], "step")]
    assert listed == [kind.key for kind in all_steps()]
    assert [TABLES[kind.__name__][0] for kind in all_steps()] == listed


def test_conditions_on_switches() -> None:
    """Each condition that is shown is one that the switches of the page can meet."""
    shown = [codes(row[0])[0] for row in rows(PAGES["switches"], "`when`")]
    assert len(shown) == 6
    for condition in shown:
        rule = f'\n[[rules]]\nfrom = "pads"\nmatch = {{ channel = 16 }}\nwhen = {condition}\nto = []\n'
        sound(SAVED["switches.toml"] + rule)


def test_notation() -> None:
    """What is shown as a controller or a message is read as such."""
    controllers = [code for row in rows(PAGES["notation"], "number") for code in codes(row[1])]
    assert len([parse_controller(name) for name in controllers]) > 40
    messages = [code for row in rows(PAGES["notation"], "kind") for code in codes(row[1])]
    assert len([parse_message(text) for text in messages]) > 15


# -- README -----------------------------------------------------------------------------------------------------------


def test_edits_that_the_readme_asks_for() -> None:
    """The first rule file can be edited as it says: the tests in the file still pass, and so the daemon plays it."""
    (step,) = re.findall(r"^8\. Edit .*$", PAGES["README"], re.MULTILINE)
    edited = FILES["gig.toml"]
    for old, new in re.findall(r"`(\S+)` to `(\S+)`", step):
        assert edited.count(old) == 1
        edited = edited.replace(old, new)
    assert edited.count('"..E4"') == edited.count('"F4.."') == 1
    sound(edited)


def test_links() -> None:
    """Links lead to files that are here, and all examples are listed."""
    linked = set()
    for page, text in PAGES.items():
        folder = PROJECT if page == "README" else PROJECT / "router/manual"
        for target in re.findall(r"\]\(([^)]+)\)", text):
            if "://" not in target:
                path = Path(os.path.normpath(folder / target))
                is_page = path.parent == PROJECT / "router/manual"  # which is elsewhere where a wheel is tested
                assert (MANUAL / path.name if is_page else path).exists(), (page, target)
                linked.add(path)
    examples = {path for path in (PROJECT / "examples").iterdir() if path.suffix != ".mid"}
    assert examples <= linked


def test_readme_is_short() -> None:
    """It opens with the job, and leaves the rest to the manual."""
    assert PAGES["README"].startswith("# Pointsman\n\nPointsman is a headless MIDI router and processor.")
    assert len(PAGES["README"].splitlines()) <= 220


def test_readme_lists_all_commands() -> None:
    """Its table has each command once."""
    listed = [code for row in rows(PAGES["README"], "command") for code in codes(row[0])]
    usage = printed("pointsman --help")
    assert sorted(listed) == sorted(set(re.findall(r"^    (\w+)(?: |$)", usage, re.MULTILINE)) - {"COMMAND"})


def test_whole_file_settings_are_those_of_the_schema() -> None:
    """The first table that a reader meets is the whole file's."""
    assert TABLES[RuleFile.__name__][0] == "rules"
