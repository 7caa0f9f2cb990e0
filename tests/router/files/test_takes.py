"""One recording from the disk, for commands that look at it."""

from __future__ import annotations

from pathlib import Path

import pytest

from router.files import takes
from router.files.takes import read_take
from rules.errors import MachineError


def test_a_recording_has_a_largest_size(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is as large is read whole; a byte more is refused with what to do."""
    take = tmp_path / "take.mid"
    take.write_bytes(bytes(2_000_000))
    monkeypatch.setattr(takes, "MOST_BYTES", 2_000_000)
    assert read_take(str(take)) == bytes(2_000_000)
    take.write_bytes(bytes(2_000_001))
    with pytest.raises(MachineError, match=r"take\.mid: the recording is larger than 2 MB: export a part of it"):
        read_take(str(take))


def test_a_recording_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    """With the reason."""
    with pytest.raises(MachineError, match=r"take\.mid: the recording can't be read: there is no such file or folder"):
        read_take(str(tmp_path / "take.mid"))
