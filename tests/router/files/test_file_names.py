"""Names of files: what they tell, and which names the results get."""

from __future__ import annotations

from itertools import islice
from pathlib import Path

import pytest

from router.files.file_names import backups, for_port, is_hidden, is_midi_name, is_rule_name


@pytest.mark.parametrize("name", ["a.mid", "A.MID", "b.midi", "c.Smf", "d.kar", "e.rmi", "two.parts.mid"])
def test_midi_files_are_known_by_their_ending(name: str) -> None:
    """Every usual ending counts, in capitals too."""
    assert is_midi_name(name)


@pytest.mark.parametrize("name", ["a.toml", "mid", ".mid", "a.mid.bak", "a.mid.bak2", "a.wav"])
def test_other_files_are_no_midi_files(name: str) -> None:
    """Backups above all are not taken for recordings."""
    assert not is_midi_name(name)


def test_rule_files_and_hidden_files() -> None:
    """Rule files end in .toml; what begins with a dot is hidden."""
    assert is_rule_name("pit.TOML")
    assert not is_rule_name("pit.toml~")
    assert is_hidden("._take.mid")
    assert not is_hidden("take.mid")


def test_each_port_gets_a_name_of_its_own() -> None:
    """The port stands before the ending, which stays; without a port the name stays."""
    assert for_port(Path("out/take.mid"), "") == Path("out/take.mid")
    assert for_port(Path("out/take.mid"), "rack 1") == Path("out/take.rack 1.mid")
    assert for_port(Path("song.v2.KAR"), "rack") == Path("song.v2.rack.KAR")
    assert for_port(Path("take.dat"), "rack") == Path("take.rack.mid")


def test_port_names_can_not_leave_the_folder() -> None:
    """Whatever a port is called, its file lies beside the others."""
    assert for_port(Path("out/take.mid"), "../a:b") == Path("out/take.___a_b.mid")


def test_backups_are_numbered() -> None:
    """The first backup has no number, the next ones have."""
    names = [path.name for path in islice(backups(Path("x/take.mid")), 3)]
    assert names == ["take.mid.bak", "take.mid.bak2", "take.mid.bak3"]
