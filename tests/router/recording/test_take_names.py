"""What takes are called that nobody has named, and where they go."""

from __future__ import annotations

from pathlib import Path

import pytest

from router.recording.take_names import take_name, unnamed_take
from rules.errors import MachineError


def test_a_take_goes_where_it_is_wanted(tmp_path: Path) -> None:
    """Into a folder, which is made, under the time at which it began."""
    assert unnamed_take(0, tmp_path / "gig" / "takes") == tmp_path / "gig" / "takes" / f"{take_name(0)}.mid"
    assert (tmp_path / "gig" / "takes").is_dir()


def test_a_take_without_a_folder_goes_to_the_users_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Below the folder for data of the login."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    assert unnamed_take(0).parent == tmp_path / "pointsman" / "takes"


def test_a_folder_that_can_not_be_made_is_told(tmp_path: Path) -> None:
    """With its name and the reason."""
    (tmp_path / "takes").write_text("a file")
    with pytest.raises(MachineError, match=r"takes: the folder for recordings can't be made: "):
        unnamed_take(0, tmp_path / "takes")
