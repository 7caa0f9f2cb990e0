"""Every ruling about messages, played on the engine and on the slow model alike."""

from __future__ import annotations

import re

import pytest

from tests.rulings.cases import FOLDER, Case, read_cases
from tests.support.live_stages import MakeLive, ModelStage, SessionStage, played_live
from tests.support.playing import MakeSubject, expected, make_model, played
from tests.support.subjects import make_engine

CASES = read_cases()
PLAYED = {name: case for name, case in CASES.items() if not case.is_live}
LIVE = {name: case for name, case in CASES.items() if case.is_live}
RULINGS = (FOLDER / "RULINGS.md").read_text("utf-8")


@pytest.mark.parametrize("make", [make_engine, make_model], ids=["engine", "model"])
@pytest.mark.parametrize("case", PLAYED.values(), ids=PLAYED)
def test_ruling(case: Case, make: MakeSubject) -> None:
    """What comes out is what the ruling says, worked out by hand."""
    assert played(make, case.rules, case.played, case.reloads) == expected(case.sent)


@pytest.mark.parametrize("make", [SessionStage, ModelStage], ids=["engine", "model"])
@pytest.mark.parametrize("case", LIVE.values(), ids=LIVE)
def test_ruling_live(case: Case, make: MakeLive) -> None:
    """The same in a live session, with the time in which clocks run."""
    assert played_live(make, case.rules, case.played, case.reloads) == expected(case.sent)


def test_every_ruling_about_messages_has_an_example() -> None:
    """Rulings 1 to 30, 34, 37 and 38 are about messages, and each has an example at least that shows it."""
    assert {case.rulings[0] for case in CASES.values()} == {*range(1, 31), 34, 37, 38}


def test_every_case_is_under_a_ruling() -> None:
    """The numbers that cases name are in RULINGS.md, counted without a gap, and it names the folder of each case."""
    numbers = [int(number) for number in re.findall(r"^(\d+)\. ", RULINGS, re.MULTILINE)]
    assert numbers == [*range(1, 39)]
    assert {number for case in CASES.values() for number in case.rulings} <= set(numbers)
    folders = {name.partition("/")[0] for name in CASES}
    assert set(re.findall(r"`tests/rulings/(\w+)/`", RULINGS)) == folders


def test_every_file_is_a_case_in_a_folder() -> None:
    """A case with another suffix, or without a subject, would pass unseen."""
    others = [path for path in FOLDER.glob("*/*") if path.suffix != ".txt" and path.parent.name != "__pycache__"]
    assert others == []
    assert [name for name in CASES if name.count("/") != 1] == []
