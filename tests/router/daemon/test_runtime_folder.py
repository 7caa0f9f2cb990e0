"""The folder of the control sockets: where it is, and who may be in it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from router.daemon.runtime_folder import runtime_folder, valid_name
from router.text.usage import UsageError
from rules.errors import MachineError


@pytest.fixture
def login(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A runtime folder as a login makes it."""
    tmp_path.chmod(0o700)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    return tmp_path


def test_it_lies_in_the_runtime_folder_of_the_login(login: Path) -> None:
    """A folder of ours in there, which only its owner can enter; asked twice, it is the same."""
    folder = runtime_folder()
    assert folder == login / "pointsman" == runtime_folder()
    assert folder.stat().st_mode & 0o777 == 0o700


@pytest.mark.parametrize("told", ["", "relative/folder", "/no/such/folder"])
def test_without_a_login_it_lies_among_the_temporary_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, told: str
) -> None:
    """A name with the user's number in it, so that every user has one."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", told)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr("router.daemon.runtime_folder.LOGINS", tmp_path / "nobody is logged in")
    assert runtime_folder() == tmp_path / f"pointsman-{os.getuid()}"


def test_where_the_login_is_not_told_it_is_looked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A job of cron finds the daemon that the login has started."""
    (tmp_path / str(os.getuid())).mkdir(mode=0o700)
    monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
    monkeypatch.setattr("router.daemon.runtime_folder.LOGINS", tmp_path)
    assert runtime_folder() == tmp_path / str(os.getuid()) / "pointsman"


def test_a_runtime_folder_where_others_can_write_is_not_taken(login: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever can write there could put a socket of his own in our place."""
    login.chmod(0o777)
    (login / "tmp").mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(login / "tmp"))
    monkeypatch.setattr("router.daemon.runtime_folder.LOGINS", login / "nobody is logged in")
    assert runtime_folder().parent == login / "tmp"


@pytest.mark.parametrize("mode", [0o755, 0o770, 0o707])
def test_a_folder_that_others_can_enter_is_refused(login: Path, mode: int) -> None:
    """The error names the folder and what it must be."""
    (login / "pointsman").mkdir()
    (login / "pointsman").chmod(mode)
    with pytest.raises(
        MachineError, match=r"/pointsman: other users could reach .* a folder of your own with mode 0700"
    ):
        runtime_folder()


def test_a_link_is_refused(login: Path) -> None:
    """It could lead anywhere."""
    (login / "elsewhere").mkdir(mode=0o700)
    (login / "pointsman").symlink_to(login / "elsewhere")
    with pytest.raises(MachineError, match=r"\(no link\)"):
        runtime_folder()


def test_the_folder_of_somebody_else_is_refused(login: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another user may have been there first, among the temporary files."""
    monkeypatch.setattr("tempfile.tempdir", str(login))
    monkeypatch.setattr("router.daemon.runtime_folder.LOGINS", login / "nobody is logged in")
    stranger = os.getuid() + 1
    (login / f"pointsman-{stranger}").mkdir(mode=0o700)
    monkeypatch.setattr("os.getuid", lambda: stranger)
    with pytest.raises(MachineError, match="a folder of your own"):
        runtime_folder()


def test_a_file_in_the_way_is_named(login: Path) -> None:
    """It is not replaced."""
    (login / "pointsman").write_text("mine")
    with pytest.raises(MachineError, match="must be a folder: move"):
        runtime_folder()
    assert (login / "pointsman").read_text() == "mine"


@pytest.mark.parametrize("name", ["pointsman", "pit", "Stage-2", "a", "9_", "x" * 32])
def test_names_that_a_daemon_can_have(name: str) -> None:
    """Letters, digits, - and _."""
    assert valid_name(name) == name


@pytest.mark.parametrize("name", ["", "x" * 33, "..", ".hidden", "a/b", "a b", "-x", "ä", "a\n", "a.sock"])
def test_names_that_it_can_not_have(name: str) -> None:
    """Nothing that leads out of the folder, and nothing that could be an option."""
    with pytest.raises(UsageError, match=r'--name ".*": a daemon\'s name is 1 to 32 letters'):
        valid_name(name)
