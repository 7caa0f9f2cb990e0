"""What a command reads is never what it writes."""

from __future__ import annotations

from pathlib import Path

import pytest

from router.files.spared_inputs import spare_inputs
from router.text.usage import UsageError


def test_an_input_is_no_output_under_any_of_its_names(tmp_path: Path) -> None:
    """By another path, or by a link."""
    (tmp_path / "takes").mkdir()
    take = tmp_path / "takes/take.mid"
    take.write_bytes(b"played")
    (tmp_path / "link").symlink_to(take)
    (tmp_path / "second.mid").hardlink_to(take)
    for name in ("takes/take.mid", "takes/../takes/take.mid", "link", "second.mid"):
        with pytest.raises(UsageError, match="is what the command reads: write to another name"):
            spare_inputs([tmp_path / name], [str(take)])


def test_other_files_may_be_written(tmp_path: Path) -> None:
    """New ones, and those that are there but weren't read, though they are the same byte for byte."""
    for name in ("take.mid", "copy.mid"):
        (tmp_path / name).write_bytes(b"played")
    spare_inputs([tmp_path / "new.mid", tmp_path / "copy.mid"], [str(tmp_path / "take.mid"), str(tmp_path / "gone")])
