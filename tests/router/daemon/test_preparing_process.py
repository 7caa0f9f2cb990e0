"""Rules prepared in another process: the same as here, and what becomes of them when that process fails."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from router.daemon.prepared_rules import Prepared, prepare_texts
from router.daemon.preparing_process import PreparingProcess
from router.files.rule_files import RuleTexts
from rules.errors import MachineError, RuleFileError
from tests.support.fake_clock import FakeClock

RIG = '[ports]\nkeys = { input = "K*" }\nrack = { output = "R*" }\n[[rules]]\nname = "a"\nfrom = "keys"\nto = "rack"\n'
FAILING = '[[tests]]\nname = "silence"\nfrom = "keys"\nplay = "note-on 1 C4 100"\nexpect = {}\n'


def files(text: str) -> RuleTexts:
    """One file with this text."""
    return (("rig.toml", text.encode()),)


class Preparing:
    """A process under test, and what it says."""

    def __init__(self) -> None:
        self.said: list[str] = []
        self.time = FakeClock()
        self.process = PreparingProcess(self.said.append, self.time.clock)

    def prepare(self, text: str, before: Prepared) -> Prepared:
        """Prepare a file."""
        return self.process.prepare(files(text), before)

    @property
    def pid(self) -> int | None:
        """The number of the process; None where none runs."""
        process = self.process._process
        return None if process is None else process.pid


@pytest.fixture
def preparing() -> Iterator[Preparing]:
    """A process that ends with the test."""
    made = Preparing()
    yield made
    made.process.stop()


@pytest.fixture(scope="module")
def before() -> Prepared:
    """Rules that play."""
    return prepare_texts(files(RIG))


def test_rules_come_back_ready_to_be_played(preparing: Preparing, before: Prepared) -> None:
    """With the words for what changed, and ports under their numbers; only rules as such stay behind."""
    text = RIG.replace('"a"', '"b"').replace("[ports]", '[ports]\ndesk = { output = "D*" }')
    prepared, here = preparing.prepare(text, before), prepare_texts(files(text), before)
    assert prepared.texts == files(text)
    assert prepared.words == here.words == ('ports: new "desk"', 'rules: new "b"; gone "a"')
    assert prepared.pipeline.ports == ("rack", "desk")
    assert prepared.ruleset.ports == here.ruleset.ports
    assert prepared.ruleset.rules == ()
    assert preparing.said == []


def test_each_change_is_told_against_the_rules_before_it(preparing: Preparing, before: Prepared) -> None:
    """The process need not be told what it prepared itself, but it may have been something else that plays."""
    first = preparing.prepare(RIG.replace('"a"', '"b"'), before)
    number = preparing.pid
    assert preparing.prepare(RIG.replace('"a"', '"c"'), first).words == ('rules: new "c"; gone "b"',)
    assert preparing.prepare(RIG.replace('"a"', '"d"'), before).words == ('rules: new "d"; gone "a"',)
    assert preparing.pid == number


def test_the_same_files_are_the_same_rules(preparing: Preparing, before: Prepared) -> None:
    """Nothing is asked where no byte has changed."""
    assert preparing.prepare(RIG, before) is before
    assert preparing.pid is None


@pytest.mark.parametrize(("text", "words"), [(RIG + FAILING, "must stay silent"), (RIG + "x", "write `=`")])
def test_faults_come_back_as_they_are(preparing: Preparing, before: Prepared, text: str, words: str) -> None:
    """With file and line, and in the words that `check` has for them."""
    with pytest.raises(RuleFileError, match=words) as here:
        prepare_texts(files(text), before)
    with pytest.raises(RuleFileError) as there:
        preparing.prepare(text, before)
    assert there.value.problems == here.value.problems
    assert preparing.prepare(RIG.replace('"a"', '"b"'), before).words == ('rules: new "b"; gone "a"',)


def test_what_plays_differently_is_found_there(preparing: Preparing, before: Prepared) -> None:
    """The daemon's own interpreter has nothing to do with it."""
    now = preparing.prepare(RIG.replace('"keys"', '"keys"\nsteps = [{ rechannel = 2 }]'), before)
    assert preparing.process.compare(before, now) == (
        "all channel messages on channels 1, 3..16 from keys: reached rack, now rack on channel 2",
    )
    assert preparing.process.compare(now, now) == ("nothing plays differently",)
    assert preparing.said == []


def test_where_the_process_fails_nothing_is_compared(before: Prepared) -> None:
    """The log says so; in the daemon itself a comparison would hold up the music."""
    process = PreparingProcess(lambda line: None, command=(sys.executable, "-c", ""))
    (line,) = process.compare(before, before)
    assert line.startswith("not known, since the process that compares rule files ended")
    process.stop()
    assert process.compare(before, before) == ()


def test_where_the_process_fails_the_rules_are_prepared_here(before: Prepared) -> None:
    """A computer without memory for a second process still gets its new rules, and says why the music stuttered."""
    said: list[str] = []
    for command in ((sys.executable, "-c", "print('no pickle')"), (sys.executable, "-c", ""), ("/no/such/program",)):
        process = PreparingProcess(said.append, command=command)
        prepared = process.prepare(files(RIG.replace('"a"', '"b"')), before)
        assert prepared.words == ('rules: new "b"; gone "a"',)
        process.stop()
    assert len(said) == 3
    assert all(line.startswith("the process that reads rule files ended") for line in said)


def test_a_process_that_was_killed_is_started_again(preparing: Preparing, before: Prepared) -> None:
    """The next change finds another one."""
    preparing.prepare(RIG.replace('"a"', '"b"'), before)
    number = preparing.pid
    assert number is not None
    os.kill(number, 9)
    assert preparing.prepare(RIG.replace('"a"', '"c"'), before).words == ('rules: new "c"; gone "a"',)
    assert preparing.prepare(RIG.replace('"a"', '"d"'), before).words == ('rules: new "d"; gone "a"',)
    assert preparing.pid not in (None, number)
    assert len(preparing.said) == 1


def test_a_process_that_nobody_needs_ends(preparing: Preparing, before: Prepared) -> None:
    """A minute after the last change its memory is given back."""
    preparing.prepare(RIG.replace('"a"', '"b"'), before)
    preparing.time.now += 59_000_000_000
    preparing.process.rest()
    assert preparing.pid is not None
    preparing.time.now += 2_000_000_000
    preparing.process.rest()
    assert preparing.pid is None


def test_it_can_be_stopped_while_rules_are_prepared(before: Prepared) -> None:
    """A daemon that leaves waits for no rules."""
    process = PreparingProcess(lambda line: None, command=(sys.executable, "-c", "import time; time.sleep(60)"))
    outcome: list[BaseException] = []

    def prepare() -> None:
        try:
            process.prepare(files(RIG.replace('"a"', '"b"')), before)
        except MachineError as error:
            outcome.append(error)

    thread = threading.Thread(target=prepare)
    thread.start()
    while process._process is None:
        time.sleep(0.01)
    process.stop()
    thread.join(20)
    assert [str(error) for error in outcome] == ["the daemon is about to end"]
    with pytest.raises(MachineError, match="about to end"):
        process.prepare(files(RIG.replace('"a"', '"c"')), before)


def test_it_ends_with_the_daemon(before: Prepared, tmp_path: Path) -> None:
    """Even if that is killed: its standard input ends then."""
    preparing = Preparing()
    preparing.prepare(RIG.replace('"a"', '"b"'), before)
    process = preparing.process._process
    assert process is not None
    assert process.stdin is not None
    process.stdin.close()
    assert process.wait(20) == 0
    preparing.process.stop()
