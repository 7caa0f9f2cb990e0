"""What can be asked of the reloader over the control socket."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from router.daemon.prepared_rules import prepare
from router.daemon.reloader import Reloader
from router.daemon.rule_verbs import reload_state, reloader_handlers
from rules.errors import MachineError

RULES = (
    '[ports]\nkeys = { input = "K*" }\nrack = { output = "R*" }\n[[rules]]\nname = "a"\nfrom = "keys"\nto = "rack"\n'
)
OTHERS = RULES.replace('"a"', '"b"')
WRONG = "[ports]\nkeys = 7\n"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A rule file."""
    path = tmp_path / "rig.toml"
    path.write_text(RULES)
    return path


@pytest.fixture
def reloader(file: Path) -> Iterator[Reloader]:
    """A reloader at work, whose rules nobody plays."""
    reloader = Reloader([str(file)], prepare([str(file)]), lambda prepared: None, lambda text: None)
    reloader.start()
    yield reloader
    reloader.stop()


def test_files_come_as_bytes_by_number(reloader: Reloader, file: Path) -> None:
    """Those in force; and those that were judged last, where that isn't the same."""
    ask = reloader_handlers(reloader)
    assert ask["rule-files"]({}) == {"serial": 0, "files": [str(file)], "file 0": RULES.encode()}
    file.write_text(WRONG)
    assert ask["reload"]({})["outcome"] == "rejected"
    assert ask["rule-files"]({"which": "playing"})["file 0"] == RULES.encode()
    assert ask["rule-files"]({"which": "found"})["file 0"] == WRONG.encode()


def test_files_that_can_t_be_read_are_said(reloader: Reloader, file: Path) -> None:
    """In the words of the reload."""
    ask = reloader_handlers(reloader)
    file.unlink()
    ask["reload"]({})
    with pytest.raises(MachineError, match="can't be read"):
        ask["rule-files"]({"which": "found"})


def test_a_reload_says_what_came_of_it(reloader: Reloader, file: Path) -> None:
    """Its problems by file and line, and whether there are former rules."""
    ask = reloader_handlers(reloader)
    state = reload_state(reloader)
    assert (state["serial"], state["outcome"], state["has_former"]) == (0, "applied", False)
    file.write_text(OTHERS)
    assert ask["reload"]({}) == {"outcome": "applied", "words": list(reloader.last.words)}
    assert (reload_state(reloader)["serial"], reload_state(reloader)["has_former"]) == (1, True)
    file.write_text(WRONG)
    ask["reload"]({})
    (problem,) = reload_state(reloader)["problems"]
    assert (problem["file"], problem["line"]) == (str(file), 2)


def test_while_the_former_rules_play_it_says_so(reloader: Reloader, file: Path) -> None:
    """Until the files count again."""
    ask = reloader_handlers(reloader)
    file.write_text(OTHERS)
    ask["reload"]({})
    assert ask["former-rules"]({})["outcome"] == "applied"
    assert reload_state(reloader)["going_back"]
    ask["reload"]({})
    assert not reload_state(reloader)["going_back"]
