"""Regular files are read; what could block or never end is refused."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from router.files.regular_files import open_regular, read_regular


def test_a_regular_file_is_read_whole(tmp_path: Path) -> None:
    """Also behind a link, and also where it is as long as it may be."""
    (tmp_path / "file").write_bytes(b"abc")
    (tmp_path / "link").symlink_to("file")
    assert read_regular(tmp_path / "link") == b"abc"
    assert read_regular(tmp_path / "file", 3) == b"abc"


def test_a_file_that_is_too_long_is_refused(tmp_path: Path) -> None:
    """No more is read than it takes to see that."""
    (tmp_path / "file").write_bytes(b"abcd")
    with pytest.raises(OSError, match="larger than 3 bytes") as refused:
        read_regular(tmp_path / "file", 3)
    assert refused.value.errno == errno.EFBIG


@pytest.mark.parametrize("place", ["pipe", "/dev/zero", "/dev/null"])
def test_pipes_and_devices_are_refused_at_once(tmp_path: Path, place: str) -> None:
    """Reading one of them could wait for ever, or never end."""
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(OSError, match="it isn't a regular file"):
        read_regular(tmp_path / place)


def test_a_folder_is_refused_as_one(tmp_path: Path) -> None:
    """The reason is a folder's, not a device's."""
    with pytest.raises(IsADirectoryError):
        read_regular(tmp_path)


def test_a_link_is_refused_where_links_are_not_followed(tmp_path: Path) -> None:
    """Nobody else decides where we write."""
    (tmp_path / "file").write_bytes(b"abc")
    (tmp_path / "link").symlink_to("file")
    with pytest.raises(OSError, match="it is a link"):
        open_regular(tmp_path / "link", os.O_WRONLY | os.O_APPEND, follow_links=False)
