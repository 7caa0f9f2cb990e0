"""Rule files on the disk."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from router.files.rule_files import MOST_BYTES, read_rule_files
from router.text.usage import UsageError
from rules.errors import MachineError


def test_files_come_in_the_order_of_the_command_line_and_by_name_within_a_folder(tmp_path: Path) -> None:
    """The order of the rules is what a musician hears, so it never depends on the disk (ruling 7)."""
    folder = tmp_path / "rules"
    folder.mkdir()
    for name in ("b.toml", "a.toml", "C.TOML", ".#a.toml", "notes.txt"):
        (folder / name).write_text(f"# {name}", encoding="utf-8")
    (folder / "sub.toml").mkdir()
    single = tmp_path / "z.toml"
    single.write_bytes(b"\xff")
    texts = read_rule_files([str(single), str(folder)])
    assert [Path(name).name for name, _ in texts] == ["z.toml", "C.TOML", "a.toml", "b.toml"]
    assert texts[0] == (str(single), b"\xff")


def test_a_file_named_twice_is_read_once(tmp_path: Path) -> None:
    """A folder and a file of it together don't define every name twice."""
    (tmp_path / "a.toml").write_text("", encoding="utf-8")
    assert len(read_rule_files([str(tmp_path), str(tmp_path / "a.toml")])) == 1


def test_a_missing_rule_file_is_named(tmp_path: Path) -> None:
    """The message says which file is missing."""
    with pytest.raises(MachineError, match=r"pit\.toml: the rule file can't be read: there is no such file or folder"):
        read_rule_files([str(tmp_path / "pit.toml")])


def test_a_folder_without_rule_files_is_an_error(tmp_path: Path) -> None:
    """An empty folder would be a set of rules that silences everything."""
    with pytest.raises(MachineError, match=r"no rule file \(\.toml\) in this folder: name another folder or a file"):
        read_rule_files([str(tmp_path)])


def test_a_folder_that_can_not_be_read_is_an_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder that the machine doesn't open is told as such."""

    def closed(_: Path) -> None:
        raise OSError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "iterdir", closed)
    with pytest.raises(MachineError, match="the folder can't be read: you have no permission"):
        read_rule_files([str(tmp_path)])


def test_a_recording_in_the_place_of_the_rules_is_noticed(tmp_path: Path) -> None:
    """Who forgets the rule file hears that, instead of a complaint about odd bytes."""
    with pytest.raises(UsageError, match=r"take\.mid is a MIDI file, but a rule file \(\.toml\) is wanted here"):
        read_rule_files([str(tmp_path / "take.mid")])


@pytest.mark.parametrize("place", ["pipe", "/dev/zero"])
def test_a_pipe_or_a_device_is_no_rule_file(tmp_path: Path, place: str) -> None:
    """Reading one of them could wait for ever, or fill the memory of a daemon that plays."""
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "rules.toml").symlink_to(tmp_path / place)
    with pytest.raises(MachineError, match=r"rules\.toml: the rule file can't be read: it isn't a regular file"):
        read_rule_files([str(tmp_path / "rules.toml")])


def test_a_rule_file_has_a_largest_size(tmp_path: Path) -> None:
    """4 MB are read, more is refused in words."""
    path = tmp_path / "rules.toml"
    path.write_bytes(b"#" * MOST_BYTES)
    assert read_rule_files([str(path)]) == ((str(path), b"#" * MOST_BYTES),)
    path.write_bytes(b"#" * (MOST_BYTES + 1))
    with pytest.raises(MachineError, match="the rule file is larger than 4 MB: split it into several files"):
        read_rule_files([str(path)])


def test_rule_files_have_a_largest_size_together(tmp_path: Path) -> None:
    """16 MB are read, more is refused in words, with the file that is too much."""
    for number in range(4):
        (tmp_path / f"{number}.toml").write_bytes(b"#" * MOST_BYTES)
    assert len(read_rule_files([str(tmp_path)])) == 4
    (tmp_path / "5.toml").write_bytes(b"#")
    with pytest.raises(MachineError, match=r"5\.toml: with this one the rule files are larger than 16 MB together"):
        read_rule_files([str(tmp_path)])
