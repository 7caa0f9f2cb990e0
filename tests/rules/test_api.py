"""What a Python program may use of the core: its names, what they promise, and that job runners can carry it."""

from __future__ import annotations

import doctest
import importlib
import os
import pickle
import subprocess
import sys
import sysconfig
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import pytest

import rules
from tests.rules import api_program
from tests.support.smf_bytes import END, header, one_track, track

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"
RECORDING = (EXAMPLES / "recording.mid").read_bytes()

ENVIRONMENT = {**os.environ, "PYTHONPATH": str(Path(rules.__file__).parents[1])}
"""Where a program finds the package that the tests run on."""

IS_INSTALLED = Path(sysconfig.get_path("purelib")) in Path(rules.__file__).parents
TYPED = ENVIRONMENT if IS_INSTALLED else {**ENVIRONMENT, "MYPYPATH": ENVIRONMENT["PYTHONPATH"]}
"""Where a type checker finds it; it looks at installed packages by itself."""

NOTE = one_track(f"00 90 3C 64 60 80 3C 40 {END}")

RIG = """
[ports]
keys = { input = true }
pads = { input = true }
rack = { output = true }
desk = { output = true }

[devices]
organ = { port = "rack", channel = 4, setup = ["program 17"] }

[switches]
up = { from = "pads", controller = "soft pedal", mode = "momentary" }

[[rules]]
name = "keyboard"
from = "keys"
steps = [{ transpose = 12, when = "up" }]
to = "organ"

[[rules]]
name = "kit"
from = "pads"
match = { kind = "note" }
steps = [{ delay = 100 }]
to = "desk"
"""

MS = 1_000_000


def message(text: str) -> bytes:
    """A message in words, as bytes."""
    return rules.parse_whole_message(text)


def example(name: str) -> rules.Rules:
    """A rule file of examples/."""
    return rules.load_rules({name: (EXAMPLES / name).read_bytes()})


# -- names ------------------------------------------------------------------------------------------------------------


def test_every_name_is_there_and_says_what_it_does() -> None:
    """The list of names is whole, in order, and each has a docstring of its own."""
    assert rules.__all__ == sorted(rules.__all__)
    for name in rules.__all__:
        assert getattr(rules, name).__doc__, name
    assert set(rules.__all__) <= set(dir(rules))


def test_a_name_that_does_not_exist_is_an_error() -> None:
    """As in any module; rooms can still be imported from the package."""
    with pytest.raises(AttributeError, match=r"module 'rules' has no attribute 'load'"):
        getattr(rules, "load")  # noqa: B009
    assert importlib.import_module("rules.errors").RuleFileError is rules.RuleFileError


def test_a_name_is_loaded_when_it_is_used() -> None:
    """Importing the package loads nothing heavy, since every module of ours runs it first."""
    program = """if True:
        import sys
        import rules
        import rules.errors
        print("pydantic" in sys.modules, "rules.api.loading" in sys.modules)
        rules.load_rules({})
        print("pydantic" in sys.modules, "rules.api.loading" in sys.modules)
    """
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True, env=ENVIRONMENT)
    assert done.stdout.split() == ["False", "False", "True", "True"]


@pytest.mark.parametrize("name", ["rules", "rules.api.loading", "rules.api.midi_files", "rules.api.live_session"])
def test_the_examples_of_the_docstrings_are_true(name: str) -> None:
    """They print what they say."""
    failed, attempted = doctest.testmod(importlib.import_module(name))
    assert (failed, attempted > 0) == (0, True)


# -- rule files -------------------------------------------------------------------------------------------------------


def test_rules_say_what_they_hold() -> None:
    """Ports, rules and switches under their names, in the order of the files."""
    loaded = rules.load_rules({"rig.toml": RIG})
    assert loaded.files == ("rig.toml",)
    assert loaded.names == ("keyboard", "kit")
    assert (loaded.inputs, loaded.outputs) == (("keys", "pads"), ("rack", "desk"))
    assert loaded.switches == {"up": False}


def test_text_and_bytes_are_the_same() -> None:
    """Contents may be what a file holds, or what it says."""
    assert rules.load_rules({"rig.toml": RIG}) == rules.load_rules({"rig.toml": RIG.encode()})
    assert hash(rules.load_rules({"rig.toml": RIG})) == hash(rules.load_rules({"rig.toml": RIG.encode()}))
    assert rules.load_rules({"rig.toml": RIG}) != rules.load_rules({"rig.toml": RIG + "# more"})


def test_files_add_up() -> None:
    """What one file names is known in the next."""
    ports, rest = RIG.split("[devices]")
    loaded = rules.load_rules({"ports.toml": ports, "rules.toml": f"[devices]{rest}"})
    assert (loaded.files, loaded.names) == (("ports.toml", "rules.toml"), ("keyboard", "kit"))


def test_all_mistakes_are_told_at_once() -> None:
    """With the names that the caller gave, and the lines."""
    with pytest.raises(rules.RuleFileError) as caught:
        rules.load_rules({"a.toml": RIG + "bpm = 1", "b.toml": "first_program = 2\nclock.bpm = 0", "c.toml": "\ud800"})
    places = [(problem.file, problem.line) for problem in caught.value.problems]
    assert places == [("a.toml", 26), ("b.toml", 1), ("b.toml", 2), ("c.toml", 1)]


# -- recordings -------------------------------------------------------------------------------------------------------


def test_what_no_rule_touches_keeps_its_bytes() -> None:
    """Bytes in, the same bytes out, and a report that says so."""
    loaded = rules.load_rules({"rig.toml": RIG.replace("channel = 4, ", "")})
    rewritten = rules.rewrite_midi(RECORDING, loaded, source="keys")
    assert rewritten.outputs == {"": RECORDING}
    assert (rewritten.report.changed, rewritten.report.dropped) == (0, 0)


def test_a_file_for_each_port() -> None:
    """Under the names of the ports; those that get nothing have none."""
    rewritten = rules.rewrite_midi(RECORDING, example("two-modules.toml"), per_port=True)
    assert list(rewritten.outputs) == ["cable_a", "cable_b", "cable_c"]


def test_single_tracks_may_play_as_other_ports() -> None:
    """By their numbers, or by their names."""
    note = f"00 90 3C 64 60 80 3C 40 {END}"
    recording = header(2) + track(note) + track(f"00 FF 03 04 {b'Pads'.hex()} {note}")
    loaded = rules.load_rules({"rig.toml": RIG})
    for tracks in ({"#2": "pads"}, {"Pads": "pads"}):
        report = rules.rewrite_midi(recording, loaded, source="keys", tracks=tracks).report
        assert report.matched == {"keyboard": 2, "kit": 2}


def test_damage_is_told_or_refused() -> None:
    """A strict reading takes no damaged file."""
    loaded = rules.load_rules({"rig.toml": RIG})
    damaged = header(1, midi_format=0) + track(END, length=99)
    rewritten = rules.rewrite_midi(damaged, loaded, source="keys")
    assert [damage.offset for damage in rewritten.report.damage] == [18]
    with pytest.raises(rules.MidiFileError) as caught:
        rules.rewrite_midi(damaged, loaded, source="keys", strict=True)
    assert caught.value.offset == 18


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({}, "write which port the recording plays as: source is one of keys, pads"),
        (
            {"source": "key"},
            'there is no input port named "key": the input ports are keys, pads - did you mean "keys"?',
        ),
        ({"source": "rack"}, 'there is no input port named "rack": the input ports are keys, pads'),
        ({"source": "keys", "tracks": {"#1": "drums"}}, 'there is no input port named "drums"'),
    ],
)
def test_ports_that_do_not_exist_are_named(options: dict[str, object], words: str) -> None:
    """With those that do."""
    with pytest.raises(ValueError, match="^" + words.replace("?", r"\?")):
        rules.rewrite_midi(NOTE, rules.load_rules({"rig.toml": RIG}), **options)  # type: ignore[arg-type]


def test_rules_without_a_rule_rewrite_nothing() -> None:
    """A file that would come out empty is a mistake of the caller."""
    with pytest.raises(ValueError, match="have no rule"):
        rules.rewrite_midi(NOTE, rules.load_rules({"empty.toml": ""}))


def test_each_file_begins_anew() -> None:
    """A switch that one file leaves turned is as the rule files say in the next, also after a file that is refused."""
    loaded = rules.load_rules({"rig.toml": RIG.replace('from = "pads", c', 'from = "keys", c')})
    pressed = one_track(f"00 B0 43 7F 00 90 3C 64 60 80 3C 40 {END}")
    first = rules.rewrite_midi(NOTE, loaded, source="keys")
    assert rules.rewrite_midi(pressed, loaded, source="keys").outputs[""][-11:-8] == bytes.fromhex("93 48 64")
    with pytest.raises(rules.MidiFileError):
        rules.rewrite_midi(pressed[:-4] + b"\0\xf4", loaded, source="keys")
    assert rules.rewrite_midi(NOTE, loaded, source="keys") == first


# -- pickles and job runners ------------------------------------------------------------------------------------------

NAMES = sorted(path.name for path in EXAMPLES.glob("*.toml"))


def in_spawned_processes() -> Executor:
    """Two processes that share nothing with this one."""
    return ProcessPoolExecutor(2, mp_context=get_context("spawn"))


@pytest.mark.parametrize("name", NAMES)
def test_a_pickle_is_the_texts_and_gives_the_same_rules(name: str) -> None:
    """It is hardly larger than the rule file, and what comes back rewrites a recording to the same bytes and counts."""
    loaded = example(name)
    pickled = pickle.dumps(loaded)
    assert len(pickled) < (EXAMPLES / name).stat().st_size + 150
    back: rules.Rules = pickle.loads(pickled)
    assert back == loaded
    assert (back.names, back.inputs, back.outputs) == (loaded.names, loaded.inputs, loaded.outputs)
    for source in loaded.inputs:
        for per_port in (False, True):
            expected, came = (came_of(RECORDING, each, source, per_port) for each in (loaded, back))
            assert came == expected


def came_of(data: bytes, loaded: rules.Rules, source: str, per_port: bool) -> rules.Rewritten | str:
    """What a rewriting gives, or why it is refused."""
    try:
        return rules.rewrite_midi(data, loaded, source=source, per_port=per_port)
    except rules.MidiFileError as error:
        return str(error)


def test_many_pickles_of_the_same_rules_are_read_once() -> None:
    """A job runner may send the rules along with every file."""
    loaded = example("two-modules.toml")
    first, second = (pickle.loads(pickle.dumps(loaded)) for _ in range(2))
    assert first is second


@pytest.mark.parametrize("runner", [in_spawned_processes, partial(ThreadPoolExecutor, 4)], ids=["spawn", "threads"])
def test_a_job_runner_may_map_rules_over_files(runner: partial[Executor]) -> None:
    """The results are those of one call after the other, in order."""
    files = [RECORDING, NOTE, one_track(END), RECORDING, *[NOTE] * 60]
    job = partial(rules.rewrite_midi, rules=example("two-modules.toml"), per_port=True)
    with runner() as workers:
        assert list(workers.map(job, files, chunksize=3)) == [job(data) for data in files]


def test_a_job_runner_hands_back_why_a_file_is_refused() -> None:
    """The error of a worker arrives whole, and the next file is rewritten all the same."""
    job = partial(rules.rewrite_midi, rules=example("two-modules.toml"))
    with in_spawned_processes() as workers:
        refused, fine = workers.submit(job, b"not a MIDI file"), workers.submit(job, NOTE)
        with pytest.raises(rules.MidiFileError, match="not a Standard MIDI File") as caught:
            refused.result()
        assert caught.value.offset == 0
        assert fine.result() == job(NOTE)


# -- sessions ---------------------------------------------------------------------------------------------------------


def said(out: list[rules.Outgoing]) -> list[str]:
    """Messages in words, with their times in ms."""
    return [f"{due // MS} {port} {rules.format_message(data)}" for port, data, due in out]


def test_a_session_plays_messages_through_rules() -> None:
    """From what devices want first to the end of what is held."""
    session = rules.Session(rules.load_rules({"rig.toml": RIG}))
    assert said(session.start(0)) == ["0 rack program 4 17"]
    assert said(session.feed("keys", message("note-on 1 C4 100"), 1 * MS)) == ["1 rack note-on 4 C4 100"]
    assert session.next_due is None
    assert session.feed("pads", message("note-on 10 C2 90"), 2 * MS) == []
    assert session.next_due == 102 * MS
    assert session.advance(101 * MS) == []
    assert said(session.advance(103 * MS)) == ["102 desk note-on 10 C2 90"]
    assert session.feed("pads", message("controller 1 soft pedal 127"), 104 * MS) == []
    assert session.switches == {"up": True}
    assert said(session.feed("keys", message("note-off 1 C4 0"), 105 * MS)) == ["105 rack note-off 4 C4 0"]
    assert said(session.feed("keys", message("note-on 1 C4 100"), 106 * MS)) == ["106 rack note-on 4 C5 100"]
    assert said(session.leave(107 * MS)) == ["107 rack note-off 4 C5 64", "107 desk note-off 10 C2 64"]


def test_a_session_turns_switches_and_loses_ports() -> None:
    """A switch turns by command; a port that is gone ends what it held."""
    session = rules.Session(rules.load_rules({"rig.toml": RIG}))
    assert session.turn("up", True, 0) == []
    assert said(session.feed("keys", message("note-on 1 C4 100"), 0)) == ["0 rack note-on 4 C5 100"]
    assert said(session.disconnect("keys", 1 * MS)) == ["1 rack note-off 4 C5 64"]


def test_a_session_goes_on_by_other_rules() -> None:
    """A note ends where it began, and names of ports stay right when their order changes."""
    session = rules.Session(rules.load_rules({"rig.toml": RIG}))
    session.feed("keys", message("note-on 1 C4 100"), 0)
    other = rules.load_rules({"rig.toml": RIG.replace("channel = 4", "channel = 5").replace("[ports]\n", PORTS)})
    assert said(session.replace(other, 1 * MS)) == ["1 rack program 5 17"]
    assert session.rules is other
    assert said(session.feed("keys", message("note-off 1 C4 0"), 2 * MS)) == ["2 rack note-off 4 C4 0"]
    assert said(session.feed("keys", message("note-on 1 C4 1"), 3 * MS)) == ["3 rack note-on 5 C4 1"]


PORTS = "[ports]\nlamps = { output = true }\n"


def test_panic_silences_every_output() -> None:
    """With every key if it is asked for."""
    session = rules.Session(rules.load_rules({"rig.toml": RIG}))
    few, many = session.panic(0), session.panic(0, every_key=True)
    assert {sent.port for sent in few} == {sent.port for sent in many} == {"rack", "desk"}
    assert len(many) - len(few) == 2 * 16 * 128


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda session: session.feed("key", message("start"), 9), 'named "key": the input ports are keys, pads'),
        (lambda session: session.feed("keys", b"", 9), "no bytes: a message has at least one byte"),
        (lambda session: session.feed("keys", b"\x90\x3c", 9), "90 3C: a message with status 90 has 3 bytes, not 2"),
        (lambda session: session.feed("keys", message("start"), 7), "time goes backwards: 7 ns after 8 ns"),
        (lambda session: session.advance(7), "time goes backwards"),
        (lambda session: session.turn("down", True, 9), 'named "down": the only switch is up'),
        (lambda session: session.turn("up", "high", 9), """"up" can't be at 'high'; its states are False, True"""),
        (lambda session: session.disconnect("rack", 9), 'no input port named "rack"'),
    ],
)
def test_a_session_refuses_what_cannot_be(call: object, words: str) -> None:
    """In words, and goes on as if nothing had been asked."""
    session = rules.Session(rules.load_rules({"rig.toml": RIG}))
    session.advance(8)
    with pytest.raises(ValueError, match=words):
        call(session)  # type: ignore[operator]
    assert said(session.feed("keys", message("note-on 1 C4 100"), 8)) == ["0 rack note-on 4 C4 100"]


# -- programs ---------------------------------------------------------------------------------------------------------


def test_a_program_may_rely_on_the_types() -> None:
    """The program that `scripts/check` holds against the types runs, and its values are of these types."""
    loaded = rules.load_rules(api_program.TEXTS)
    assert api_program.rewritten(loaded, NOTE) == {"": one_track(f"00 90 48 64 60 80 48 40 {END}")}
    assert api_program.rewritten(loaded, b"") == {}
    notes = [("rack", "note-on 1 C5 100", 1_000), ("rack", "note-off 1 C5 64", 2_000)]
    assert api_program.performed(rules.Session(loaded)) == notes
    assert api_program.problems(api_program.TEXTS) == []
    assert [line for _, line, _ in api_program.problems({"rig.toml": "\nclock.bpm = 0"})] == [2]


def test_checkers_see_the_types_of_what_is_installed(tmp_path: Path) -> None:
    """A strict type checker takes the program, and finds a misspelt name, though names are loaded late."""
    program = tmp_path / "program.py"
    program.write_text((Path(__file__).parent / "api_program.py").read_text() + "rules.load_rule({})\n")
    checker = [
        sys.executable,
        "-m",
        "mypy",
        "--strict",
        "--config-file",
        "",
        "--cache-dir",
        str(tmp_path / "cache"),
        str(program),
    ]
    done = subprocess.run(checker, capture_output=True, text=True, check=False, cwd=tmp_path, env=TYPED)
    assert done.stdout.count("error:") == 1, done.stdout
    assert 'Module has no attribute "load_rule"' in done.stdout


def folder(tmp_path: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the example over takes/ into mended/."""
    program = [sys.executable, str(EXAMPLES / "rewrite_folder.py"), *arguments, "takes", "mended", "--jobs", "2"]
    return subprocess.run(program, cwd=tmp_path, capture_output=True, text=True, check=False, env=ENVIRONMENT)


def takes(tmp_path: Path) -> dict[str, bytes]:
    """Recordings below takes/, one of them damaged beyond reading, and what is no recording."""
    files = {"a.mid": RECORDING, "night/b.MID": NOTE, "night/broken.mid": b"no recording", "list.txt": b"a, b"}
    for name, data in files.items():
        path = tmp_path / "takes" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    return files


def contents(place: Path) -> dict[str, bytes]:
    """All files below a folder."""
    return {path.relative_to(place).as_posix(): path.read_bytes() for path in place.rglob("*") if path.is_file()}


def test_the_example_rewrites_a_folder(tmp_path: Path) -> None:
    """Each recording as one call would rewrite it; the damaged one is named with the reason; the takes stay."""
    files = takes(tmp_path)
    done = folder(tmp_path, str(EXAMPLES / "repair-takes.toml"))
    loaded = example("repair-takes.toml")
    assert done.stderr.splitlines() == [
        f"{Path('takes/night/broken.mid')}: byte 0: not a Standard MIDI File: MThd is missing"
    ]
    assert done.stdout == "2 of 3 recordings rewritten into mended\n"
    assert done.returncode == 1
    assert contents(tmp_path / "takes") == files
    assert contents(tmp_path / "mended") == {
        name: rules.rewrite_midi(files[name], loaded).outputs[""] for name in ("a.mid", "night/b.MID")
    }


def test_the_example_writes_into_no_folder_that_exists(tmp_path: Path) -> None:
    """So it can't harm what is there."""
    takes(tmp_path)
    (tmp_path / "mended").mkdir()
    done = folder(tmp_path, str(EXAMPLES / "repair-takes.toml"))
    assert (done.returncode, done.stdout) == (2, "")
    assert "mended" in done.stderr
    assert contents(tmp_path / "mended") == {}


def test_the_example_names_mistakes_in_the_rule_file(tmp_path: Path) -> None:
    """All of them, before anything is written."""
    takes(tmp_path)
    (tmp_path / "rig.toml").write_text("clock.bpm = 0\nfirst_program = 2\n")
    done = folder(tmp_path, "rig.toml")
    assert [line.partition(": ")[0] for line in done.stderr.splitlines()] == ["rig.toml:1", "rig.toml:2"]
    assert done.returncode == 2
    assert not (tmp_path / "mended").exists()
