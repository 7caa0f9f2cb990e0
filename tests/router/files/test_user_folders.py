"""The user's folders: where the specification puts them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from router.files.user_folders import data_folder, state_folder


@pytest.mark.parametrize(
    ("variable", "folder", "usual"),
    [("XDG_DATA_HOME", data_folder, ".local/share"), ("XDG_STATE_HOME", state_folder, ".local/state")],
)
def test_user_folders(
    variable: str, folder: Callable[[], Path], usual: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A relative path counts as none."""
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv(variable, str(tmp_path))
    assert folder() == tmp_path / "pointsman"
    monkeypatch.setenv(variable, "elsewhere")
    assert folder() == tmp_path / "home" / usual / "pointsman"
    monkeypatch.delenv(variable)
    assert folder() == tmp_path / "home" / usual / "pointsman"
