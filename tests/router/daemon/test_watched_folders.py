"""Which folders are watched for rule files, whatever links lead there."""

from __future__ import annotations

from pathlib import Path

from router.daemon.watched_folders import watched_folders


def folders(*arguments: Path | str) -> set[str]:
    """The paths of the folders that are watched for these arguments."""
    return {path for path, _, _ in watched_folders([str(argument) for argument in arguments])}


def test_a_file_is_watched_by_its_folder(tmp_path: Path) -> None:
    """Saving by renaming over a file is only seen from its folder."""
    (tmp_path / "a.toml").touch()
    assert folders(tmp_path / "a.toml") == {str(tmp_path)}


def test_a_missing_file_is_awaited_in_its_folder(tmp_path: Path) -> None:
    """A file that isn't there may come back."""
    assert folders(tmp_path / "a.toml") == {str(tmp_path)}


def test_a_folder_is_watched_from_outside_too(tmp_path: Path) -> None:
    """A folder can be deleted and made anew, which only the folder around it sees."""
    rules = tmp_path / "rules"
    rules.mkdir()
    assert folders(rules) == {str(rules), str(tmp_path)}


def test_folders_that_are_missing_are_left_out(tmp_path: Path) -> None:
    """What isn't there can't be watched."""
    assert folders(tmp_path / "gone" / "a.toml") == set()


def test_every_folder_on_the_way_of_links_is_watched(tmp_path: Path) -> None:
    """A link can be turned elsewhere at each hop, and what it means can be edited in its own place."""
    for name in ("set", "links", "store"):
        (tmp_path / name).mkdir()
    (tmp_path / "store" / "real.toml").touch()
    (tmp_path / "links" / "hop.toml").symlink_to("../store/real.toml")
    (tmp_path / "set" / "a.toml").symlink_to(tmp_path / "links" / "hop.toml")
    assert folders(tmp_path / "set" / "a.toml") == {str(tmp_path / name) for name in ("set", "links", "store")}


def test_links_to_folders_are_seen_through(tmp_path: Path) -> None:
    """Where the folder itself is a link, its own folder and the real one are watched."""
    (tmp_path / "tonight").mkdir()
    (tmp_path / "current").symlink_to("tonight")
    assert folders(tmp_path / "current" / "a.toml") == {
        str(tmp_path / "current"),
        str(tmp_path / "tonight"),
        str(tmp_path),
    }


def test_links_in_a_folder_of_rules_are_followed(tmp_path: Path) -> None:
    """A rule file in a folder may be a link to another place."""
    rules, store = tmp_path / "rules", tmp_path / "store"
    rules.mkdir()
    store.mkdir()
    (store / "real.toml").touch()
    (rules / "a.toml").symlink_to(store / "real.toml")
    assert folders(rules) == {str(rules), str(store), str(tmp_path)}


def test_links_in_a_circle_end(tmp_path: Path) -> None:
    """Links that lead in a circle don't keep us busy for ever."""
    (tmp_path / "a.toml").symlink_to("b.toml")
    (tmp_path / "b.toml").symlink_to("a.toml")
    assert folders(tmp_path / "a.toml") == {str(tmp_path)}


def test_a_folder_made_anew_is_another_one(tmp_path: Path) -> None:
    """The watch on a deleted folder is dead, so its successor must be told from it."""
    rules = tmp_path / "rules"
    rules.mkdir()
    before = watched_folders([str(rules)])
    rules.rename(tmp_path / "old")
    rules.mkdir()
    assert watched_folders([str(rules)]) != before
