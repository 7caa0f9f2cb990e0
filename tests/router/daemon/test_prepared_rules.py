"""Rule files made ready to be played."""

from pathlib import Path

import pytest

from router.daemon.prepared_rules import prepare
from router.files.rule_files import RuleTexts
from rules.errors import MachineError, RuleFileError
from rules.rulefile.reading import Reading, read_rule_set

RIG = '[ports]\nkeys = { input = "K*" }\nrack = { output = "R*" }\n[[rules]]\nname = "a"\nfrom = "keys"\nto = "rack"\n'
FAILING = '[[tests]]\nname = "silence"\nfrom = "keys"\nplay = "note-on 1 C4 100"\nexpect = {}\n'


def test_the_words_say_what_the_files_hold(tmp_path: Path) -> None:
    """At the start somebody wants to see that the right files were found."""
    (tmp_path / "a.toml").write_text(RIG)
    assert prepare([str(tmp_path)]).words == ("1 rule, 2 ports",)
    (tmp_path / "b.toml").write_text('[[songs]]\nname = "Tide"\n[[songs]]\nname = "Ebb"\n')
    assert prepare([str(tmp_path)]).words == ("1 rule, 2 ports, 2 songs",)


def test_the_same_files_are_the_same_rules(tmp_path: Path) -> None:
    """Nothing is read or compiled again where no byte has changed."""
    (tmp_path / "a.toml").write_text(RIG)
    before = prepare([str(tmp_path)])
    assert prepare([str(tmp_path)], before) is before


def test_the_words_say_what_changed(tmp_path: Path) -> None:
    """After a change, what changed is told; after a new comment, that nothing has."""
    file = tmp_path / "a.toml"
    file.write_text(RIG)
    before = prepare([str(file)])
    file.write_text(RIG.replace('"a"', '"b"'))
    assert prepare([str(file)], before).words == ('rules: new "b"; gone "a"',)
    file.write_text("# a comment\n" + RIG)
    assert prepare([str(file)], before).words == ("the rules are the same as before",)


def test_ports_keep_their_numbers(tmp_path: Path) -> None:
    """What sounds is known by the numbers of ports, so they outlive a change of order."""
    file = tmp_path / "a.toml"
    file.write_text(RIG)
    before = prepare([str(file)])
    file.write_text(RIG.replace("[ports]", '[ports]\ndesk = { output = "D*" }'))
    assert prepare([str(file)], before).pipeline.ports == ("rack", "desk")


def test_a_file_that_fails_its_own_test_is_refused(tmp_path: Path) -> None:
    """A rule file that disproves itself must not play."""
    (tmp_path / "a.toml").write_text(RIG + FAILING)
    with pytest.raises(RuleFileError, match="must stay silent"):
        prepare([str(tmp_path)])


def test_a_file_that_breaks_its_promises_is_refused(tmp_path: Path) -> None:
    """What must never happen can't happen: such rules never play."""
    (tmp_path / "a.toml").write_text(RIG + '[[promises]]\nname = "silence"\nfrom = "keys"\nnever = "rack"\n')
    with pytest.raises(RuleFileError, match="broken: note-on 1 C-1 1 from keys reaches rack"):
        prepare([str(tmp_path)])


def test_the_tables_of_a_file_are_let_go_after_reading(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One by one, before the rules play: freed in one go, those of a large file would hold up the music."""
    readings: list[Reading] = []

    def kept(texts: RuleTexts) -> Reading:
        readings.append(read_rule_set(texts))
        return readings[-1]

    monkeypatch.setattr("router.daemon.prepared_rules.read_rule_set", kept)
    (tmp_path / "a.toml").write_text(RIG)
    assert len(prepare([str(tmp_path)]).ruleset.rules) == 1
    (reading,) = readings
    assert reading.rules[0].source.data == {}


def test_missing_files_are_told_as_such(tmp_path: Path) -> None:
    """A file that isn't there is no fault of the rules."""
    with pytest.raises(MachineError, match="there is no such file"):
        prepare([str(tmp_path / "gone.toml")])
