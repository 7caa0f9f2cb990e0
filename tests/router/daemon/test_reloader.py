"""Rules read anew while the music plays: real files, the real watcher, and no word about how long it takes."""

import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Thread

import pytest

from router.daemon.prepared_rules import Prepared, behaviour_changes, prepare
from router.daemon.reloader import Pace, Reloader, ReloadOutcome
from router.files.rule_files import RuleTexts, read_rule_files
from rules.errors import MachineError
from tests.support.fake_clock import FakeClock
from tests.support.pages import PAGES

Reads = Callable[[Sequence[str]], RuleTexts]

LONG = 60.0
"""Seconds: far more than anything here takes, so that a busy machine fails no test."""

RIG = '[ports]\nkeys = { input = "K*" }\nrack = { output = "R*" }\n'


HASTE = Pace(quiet_s=0.05, look_every_s=0.1)
"""The timer looks ten times a second, so that no test waits for it."""


def rules(*names: str) -> str:
    """A whole rule file with these rules."""
    return RIG + "".join(f'[[rules]]\nname = "{name}"\nfrom = "keys"\nto = "rack"\n' for name in names)


class Stage:
    """A reloader at work, and what it does: outcomes, lines, and the rules that play."""

    def __init__(self, arguments: list[str], began: Callable[[], None], read: Reads) -> None:
        self.outcomes: SimpleQueue[ReloadOutcome] = SimpleQueue()
        self.lines: list[str] = []
        self.playing = prepare(arguments)
        self.obstacle: Exception | None = None
        self.swapped = 0
        self.reloader = Reloader(
            arguments, self.playing, self.swap, self.lines.append, began, self.outcomes.put, pace=HASTE, read=read
        )

    def swap(self, prepared: Prepared) -> None:
        """Takes over new rules, as the loop would."""
        if self.obstacle is not None:
            raise self.obstacle
        self.playing = prepared
        self.swapped += 1

    @property
    def names(self) -> list[str | None]:
        """The names of the rules that play."""
        return [rule.name for rule in self.playing.ruleset.rules]

    def next(self) -> ReloadOutcome:
        """The next outcome, whenever it comes."""
        return self.outcomes.get(timeout=LONG)


@contextmanager
def staged(
    *arguments: Path, began: Callable[[], None] = lambda: None, read: Reads = read_rule_files
) -> Iterator[Stage]:
    """A reloader that looks after these files. `began` is called when a reload begins."""
    stage = Stage([str(argument) for argument in arguments], began, read)
    stage.reloader.start()
    try:
        yield stage
    finally:
        stage.reloader.stop()


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A rule file with a rule "a"."""
    path = tmp_path / "rig.toml"
    path.write_text(rules("a"))
    return path


# -- ways of saving ---------------------------------------------------------------------------------------------------


def write(file: Path, text: str) -> None:
    """In place."""
    file.write_text(text)


def rename_over(file: Path, text: str) -> None:
    """Beside it, then renamed over it."""
    draft = file.with_name(".draft")
    draft.write_text(text)
    draft.replace(file)


def back_up_and_write(file: Path, text: str) -> None:
    """The old one is moved aside first."""
    file.rename(file.with_name(file.name + "~"))
    file.write_text(text)


def delete_and_write(file: Path, text: str) -> None:
    """The old one is deleted first."""
    file.unlink()
    file.write_text(text)


def make_the_folder_anew(file: Path, text: str) -> None:
    """The whole folder is deleted and comes back."""
    shutil.rmtree(file.parent)
    file.parent.mkdir()
    file.write_text(text)


@pytest.mark.parametrize("save", [write, rename_over, back_up_and_write, delete_and_write, make_the_folder_anew])
def test_every_way_of_saving_is_noticed_each_time(tmp_path: Path, save: Callable[[Path, str], None]) -> None:
    """However an editor saves, the new rules come into force, and the second time as well."""
    folder = tmp_path / "rules"
    folder.mkdir()
    file = folder / "rig.toml"
    file.write_text(rules("a"))
    with staged(file) as stage:
        for name in ("b", "c"):
            save(file, rules(name))
            while stage.names != [name]:
                stage.next()
        assert stage.reloader.last.kind == "applied"


def test_a_new_file_in_a_folder_is_read(file: Path) -> None:
    """A folder among the arguments means whatever rule files lie in it."""
    with staged(file.parent) as stage:
        (file.parent / "more.toml").write_text('[[rules]]\nname = "more"\nfrom = "keys"\nto = "rack"\n')
        assert stage.next() == ReloadOutcome("applied", ('rules: new "more"',))
        (file.parent / "more.toml").unlink()
        assert stage.next() == ReloadOutcome("applied", ('rules: gone "more"',))


def test_a_link_turned_elsewhere_is_noticed(tmp_path: Path) -> None:
    """Tonight's rules may be a link to one of several folders."""
    for name in ("friday", "saturday"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "rig.toml").write_text(rules(name))
    link = tmp_path / "tonight"
    link.symlink_to("friday")
    with staged(link) as stage:
        (tmp_path / "next").symlink_to("saturday")
        (tmp_path / "next").replace(link)
        assert stage.next().kind == "applied"
        assert stage.names == ["saturday"]


def test_what_a_link_means_can_be_edited_in_its_place(tmp_path: Path, file: Path) -> None:
    """The edited file lies in another folder than the link that was given."""
    links = tmp_path / "links"
    links.mkdir()
    link = links / "tonight.toml"
    link.symlink_to(file)
    with staged(link) as stage:
        file.write_text(rules("b"))
        assert stage.next().kind == "applied"
        assert stage.names == ["b"]


# -- what is wrong leaves the rules in force ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"[ports", "rig.toml:1"),
        (b"\xff\xfe[\0p\0", "UTF-16"),
        (b"\x89MIDI\0\0", "UTF-8"),
        ((rules("a") + 'to = "nowhere"\n').encode(), "write it once"),
        (rules("a").replace('"rack"\n', '"nowhere"\n').encode(), "nowhere"),
        (
            (rules("a") + '[[tests]]\nname = "t"\nfrom = "keys"\nplay = "note-on 1 C4 9"\nexpect = {}\n').encode(),
            "must stay silent",
        ),
    ],
)
def test_a_file_that_cant_be_used_is_told_and_picked_up_when_mended(file: Path, content: bytes, words: str) -> None:
    """The old rules play on, the mistake is told once with its place, and the mended file comes into force."""
    with staged(file) as stage:
        before = stage.playing
        file.write_bytes(content)
        outcome = stage.next()
        assert outcome.kind == "rejected"
        assert words in " ".join(outcome.words)
        assert stage.playing is before
        assert stage.lines[0] == "the rule files can't be used, and the old rules play on:"
        file.write_text(rules("b"))
        assert stage.next().kind == "applied"
        assert stage.names == ["b"]
        assert sum("can't be used" in line for line in stage.lines) == 1


def test_a_file_mended_to_what_it_was_leaves_the_rules_alone(file: Path) -> None:
    """Taking a mistake back is no reload, and still it is told that all is well again."""
    with staged(file) as stage:
        before = stage.playing
        file.write_text("[ports")
        assert stage.next().kind == "rejected"
        file.write_text(rules("a"))
        assert stage.next() == ReloadOutcome("unchanged", ("no rule file has changed",))
        assert stage.playing is before


def test_a_mistake_that_is_undone_at_once_ends_as_well(file: Path) -> None:
    """Nothing is told of it, but whoever was told that it began, as a service manager is, waits for the end."""
    with staged(file, began=lambda: rename_over(file, rules("a"))) as stage:
        rename_over(file, "[ports")
        assert stage.next().kind == "rejected"
        assert stage.lines == []


def test_a_reload_that_fails_ends_as_well(file: Path) -> None:
    """Whatever goes wrong in it is told, and whoever was told that it began learns that it is over."""

    def fail() -> None:
        raise ZeroDivisionError("what a day")

    with staged(file, began=fail) as stage:
        rename_over(file, rules("b"))
        assert stage.next().kind == "rejected"
        assert "ZeroDivisionError: what a day" in stage.lines[0]


def test_a_missing_file_is_told_and_awaited(file: Path) -> None:
    """A file that is deleted is waited for; the rules play on."""
    with staged(file) as stage:
        file.unlink()
        outcome = stage.next()
        assert outcome.kind == "rejected"
        assert "there is no such file" in outcome.words[0]
        file.write_text(rules("b"))
        assert stage.next().kind == "applied"


def test_a_half_written_file_is_given_time(file: Path) -> None:
    """A file that is written in two goes ends as what it is in the end, whatever was seen of it in between."""
    whole = rules("b", "c")
    with staged(file) as stage:
        with file.open("w") as writing:
            writing.write(whole[:40])
            writing.flush()
            writing.write(whole[40:])
        while stage.names != ["b", "c"]:
            assert stage.next().kind in ("applied", "rejected")
        assert stage.reloader.last.kind == "applied"


@pytest.mark.parametrize("half", [rules("a", "b"), rules("a", "b")[:-9]], ids=["valid", "broken"])
def test_a_file_that_is_still_being_saved_is_not_believed(file: Path, half: str) -> None:
    """The program that saves it rests for a moment after the first half, which may be a rule file by itself."""
    whole = rules("b", "c")
    looks = iter([half, half, whole, whole])

    def read(_: Sequence[str]) -> RuleTexts:
        return ((file.name, next(looks, whole).encode()),)

    with staged(file, read=read) as stage:
        assert stage.next().kind == "applied"
        assert stage.names == ["b", "c"]
        assert stage.swapped == 1
    assert "rules: " in stage.lines[1]
    assert stage.lines[0] == "new rules are in force:"


def test_an_emptied_file_is_awaited(file: Path) -> None:
    """Some programs empty a file first and write it later: nothing is swapped in between."""
    with staged(file) as stage:
        stage.reloader.pace = replace(HASTE, looks_at_blank=1_000_000)
        file.write_text("")
        assert stage.outcomes.empty()
        file.write_text(rules("b"))
        assert stage.next() == ReloadOutcome("applied", ('rules: new "b"; gone "a"',))


def test_a_file_that_stays_empty_is_believed(file: Path) -> None:
    """Rules can be taken away altogether."""
    with staged(file) as stage:
        file.write_text("\n")
        assert stage.next().kind == "applied"
        assert stage.names == []


def test_rules_that_cant_be_swapped_are_rejected(file: Path) -> None:
    """If the loop refuses, for whatever reason, that is told as the outcome."""
    with staged(file) as stage:
        before = stage.playing
        stage.obstacle = MachineError("no port is free")
        file.write_text(rules("b"))
        assert stage.next() == ReloadOutcome("rejected", ("no port is free",), refused="new")
        stage.obstacle = ValueError("a mistake")
        outcome = stage.reloader.reload_now()
        assert (outcome.kind, stage.playing) == ("rejected", before)
        assert "Internal error" in outcome.words[0]
        assert stage.lines[0] == "the new rules can't be put in force, and the old rules play on:"
        assert not any("the rule files can't be used" in line for line in stage.lines)
        stage.obstacle = None
        assert stage.reloader.reload_now().kind == "applied"


def test_a_save_right_before_the_end_blames_no_file(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What prepares rules has ended by then, and nobody knows whether the files are in order."""

    def refuse(texts: RuleTexts, before: Prepared) -> Prepared:
        raise MachineError("the daemon is about to end")

    with staged(file) as stage:
        monkeypatch.setattr(stage.reloader, "_prepare", refuse)
        file.write_text(rules("b"))
        assert stage.next() == ReloadOutcome("rejected", ("the daemon is about to end",), refused="new")


# -- on demand --------------------------------------------------------------------------------------------------------


def test_a_reload_on_demand_says_what_came_of_it(file: Path) -> None:
    """Whoever asks gets the outcome: applied, unchanged or rejected."""
    with staged(file) as stage:
        assert stage.reloader.reload_now() == ReloadOutcome("unchanged", ("no rule file has changed",))
        os.utime(file)
        assert stage.reloader.reload_now().kind == "unchanged"
        file.write_text("[ports")
        assert stage.reloader.reload_now().kind == "rejected"
        assert stage.reloader.reload_now().kind == "rejected"
        file.write_text(rules("b"))
        assert stage.reloader.reload_now() == ReloadOutcome("applied", ('rules: new "b"; gone "a"',))
        assert stage.reloader.last.kind == "applied"
        assert stage.reloader.prepared is stage.playing


def test_a_request_waits_for_nothing_and_is_heard(file: Path) -> None:
    """A signal handler asks for a reload and goes on."""
    with staged(file) as stage:
        stage.reloader.request()
        assert stage.next().kind == "unchanged"


def test_touching_a_file_changes_nothing(file: Path) -> None:
    """A new date or other permissions are no new rules: nothing is swapped and nothing is told."""
    with staged(file) as stage:
        before = stage.playing
        os.utime(file)
        file.chmod(0o600)
        file.write_text(rules("a"))
        (file.parent / "other.toml").write_text("not meant")
        file.with_name("last").touch()
        assert stage.reloader.reload_now().kind == "unchanged"
        assert stage.playing is before
        assert stage.lines == ["no rule file has changed: the rules play on"]


def test_an_applied_reload_is_told_in_words(file: Path) -> None:
    """The log says that new rules are in force, and what is new about them."""
    with staged(file) as stage:
        file.write_text(rules("a", "b"))
        stage.next()
        assert stage.lines[:2] == ["new rules are in force:", '  rules: new "b"']


def test_what_plays_differently_follows(file: Path) -> None:
    """In at most ten lines, once the new rules play; also where they play the same."""
    with staged(file) as stage:
        file.write_text(rules("a").replace('"keys"', '"keys"\nsteps = [{ rechannel = 2 }]'))
        stage.next()
    told = [
        "what plays differently now:",
        "  all channel messages on channels 1, 3..16 from keys: reached rack, now rack on channel 2",
    ]
    assert stage.lines[-2:] == told
    with staged(file) as stage:
        file.write_text(rules("b").replace('"keys"', '"keys"\nsteps = [{ rechannel = 2 }]'))
        stage.next()
    assert stage.lines[-2:] == ["what plays differently now:", "  nothing plays differently"]


def test_many_differences_are_counted(tmp_path: Path) -> None:
    """Rules of another rig don't fill the log."""
    (before := tmp_path / "a.toml").write_text(rules("a"))
    changes = [f"steps = [{{ transpose = {n} }}]\nmatch = {{ channel = {n} }}" for n in range(1, 13)]
    now = tmp_path / "b.toml"
    now.write_text(RIG + "".join(f'[[rules]]\nfrom = "keys"\nto = "rack"\n{change}\n' for change in changes))
    lines = behaviour_changes(read_rule_files([str(before)]), read_rule_files([str(now)]))
    assert len(lines) == 10
    assert lines[-1].startswith("... and ")
    assert lines[-1].endswith(" more differences")


def test_the_manual_shows_it(file: Path) -> None:
    """Its page has the lines for a rule that changed, and another one that is new, with a time of day."""
    file.write_text(rules("keyboard"))
    with staged(file) as stage:
        file.write_text(
            rules("keyboard").replace('from = "keys"', 'from = "keys"\nmatch = { channel = 1 }')
            + rules("bass")[len(RIG) :].replace('from = "keys"', 'from = "keys"\nmatch = { channel = 2 }')
        )
        stage.next()
    assert "```text\n{}\n```".format("\n".join(f"20:31:05  {line}" for line in stage.lines)) in PAGES["run"]


def test_many_mistakes_are_counted(file: Path) -> None:
    """A file full of mistakes doesn't fill the log."""
    with staged(file) as stage:
        file.write_text(RIG + "[[rules]]\nfrom = 1\n" * 100)
        outcome = stage.next()
        assert (len(outcome.words), outcome.words[-1]) == (51, "... and 50 more problems")
        assert len(stage.lines) == 22
        assert "more: `pointsman check` shows them" in stage.lines[-1]


# -- watch and timer ----------------------------------------------------------------------------------------------


def test_what_is_heard_is_read_at_once(file: Path) -> None:
    """Nobody has to wait for the timer where the computer tells of changes."""
    with staged(file) as stage:
        file.write_text(rules("b"))
        stage.next()
        stage.reloader.pace = replace(HASTE, look_every_s=3600)
        stage.reloader.reload_now()
        for number in range(1000):
            file.write_text(rules(f"c{number}"))
            with suppress(Empty):
                while stage.outcomes.get(timeout=1).kind != "applied":
                    continue
                break
        assert stage.names == [f"c{number}"]


def test_files_are_looked_at_where_watching_fails(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without any watch (a network disk, too many watches) a change is still found, and the failure is told once."""

    def refuse(*_: object, **__: object) -> Iterator[None]:
        raise OSError("too many watches")
        yield

    monkeypatch.setattr("watchfiles.watch", refuse)
    with staged(file) as stage:
        file.write_text(rules("b"))
        assert stage.next().kind == "applied"
        assert sum("too many watches" in line for line in stage.lines) == 1


def test_a_name_that_is_no_text_does_no_harm(file: Path) -> None:
    """A file name that isn't UTF-8 ends the library's watch; changes are found all the same."""
    with staged(file) as stage:
        with open(os.fsencode(file.parent) + b"/\xff\xfe", "wb"):
            file.write_text(rules("b"))
        while stage.names != ["b"]:
            stage.next()
        file.write_text(rules("c"))
        while stage.names != ["c"]:
            stage.next()
        assert stage.reloader.last.kind == "applied"


def test_stopping_answers_whoever_still_waits(file: Path) -> None:
    """A client that asks while the daemon leaves gets an answer."""
    answers: SimpleQueue[ReloadOutcome] = SimpleQueue()
    with staged(file) as stage:
        clients = [Thread(target=lambda: answers.put(stage.reloader.reload_now())) for _ in range(8)]
        for client in clients:
            client.start()
    for client in clients:
        client.join(LONG)
    assert {answers.get(timeout=LONG).kind for _ in clients} <= {"unchanged", "rejected"}


def test_the_time_of_the_last_reload_is_known(file: Path) -> None:
    """When rules were put in force last: a reload that is refused, or that finds nothing new, doesn't count."""
    time = FakeClock(wall_s=1_000.0)
    reloader = Reloader([str(file)], prepare([str(file)]), lambda prepared: None, lambda line: None, clock=time.clock)
    assert reloader.applied_at == 1_000.0
    reloader.start()
    try:
        for wall, text, applied in (
            (2_000.0, rules("a"), 1_000.0),
            (3_000.0, "nonsense", 1_000.0),
            (4_000.0, rules("b"), 4_000.0),
            (5_000.0, rules("b"), 4_000.0),
        ):
            time.wall = wall
            rename_over(file, text)
            reloader.reload_now()
            assert reloader.applied_at == applied
    finally:
        reloader.stop()


# -- back to the former rules ------------------------------------------------------------------------------------------


def test_the_former_rules_play_again_until_a_file_changes(file: Path) -> None:
    """The files stay as they are, and a look at them brings nothing back."""
    with staged(file) as stage:
        file.write_text(rules("b"))
        stage.reloader.reload_now()
        assert stage.reloader.go_back().kind == "applied"
        assert stage.names == ["a"]
        assert "the former rules are in force again:" in stage.lines
        stage.reloader.pace = replace(HASTE, look_every_s=0.01)
        stage.reloader.reload_now()  # asked for, the files count
        assert stage.names == ["b"]
        stage.reloader.go_back()
        file.write_text(rules("c"))
        while stage.names != ["c"]:
            stage.next()
        assert stage.reloader.former == (((str(file)), rules("a").encode()),)


def test_going_back_twice_brings_the_newer_rules_again(file: Path) -> None:
    """So both can be compared by ear."""
    with staged(file) as stage:
        file.write_text(rules("b"))
        stage.reloader.reload_now()
        names = []
        for _ in range(3):
            stage.reloader.go_back()
            names.append(stage.names)
    assert names == [["a"], ["b"], ["a"]]


def test_former_rules_that_can_t_come_back_are_not_the_fault_of_the_files(file: Path) -> None:
    """The log says what failed; and what has changed in the files by then is still to be judged."""
    saved = [rules("b")]
    with staged(file, read=lambda _: ((str(file), saved[-1].encode()),)) as stage:
        stage.reloader.pace = replace(HASTE, look_every_s=LONG, new_watch_s=LONG)
        stage.reloader.reload_now()
        saved.append(rules("c"))
        stage.obstacle = MachineError("no port is free")
        outcome = stage.reloader.go_back()
        assert (outcome.kind, outcome.refused, stage.names) == ("rejected", "former", ["b"])
        assert "the former rules can't be put in force again, and the rules of now play on:" in stage.lines
        assert not any("the rule files can't be used" in line for line in stage.lines)
        assert stage.reloader.found == ((str(file), rules("b").encode()),)


def test_files_that_can_t_be_used_stay_so_while_the_former_rules_play(file: Path) -> None:
    """A mistake in a file doesn't come into force, whichever rules play."""
    with staged(file) as stage:
        file.write_text(rules("b"))
        stage.reloader.reload_now()
        file.write_text("[ports]\nkeys = 7\n")
        outcome = stage.reloader.reload_now()
        assert [(problem.file, problem.line) for problem in outcome.problems] == [(str(file), 2)]
        assert stage.reloader.go_back().kind == "applied"
        assert stage.names == ["a"]
        assert stage.reloader.found == ((str(file), b"[ports]\nkeys = 7\n"),)


def test_where_no_other_rules_have_played_there_is_no_way_back(file: Path) -> None:
    """It is said, and nothing changes."""
    with staged(file) as stage:
        outcome = stage.reloader.go_back()
        assert (outcome.kind, stage.swapped, stage.reloader.serial) == ("rejected", 0, 0)
        assert outcome.words == ("no other rules have played since the daemon began",)


def test_each_reload_has_a_number_and_what_came_of_it(file: Path) -> None:
    """A watcher knows by it when to ask again; what plays differently is known a moment later."""
    with staged(file) as stage:
        assert (stage.reloader.serial, stage.reloader.former) == (0, None)
        file.write_text(rules("b", "c"))
        stage.reloader.reload_now()
        assert stage.reloader.serial == 1
        stage.reloader.reload_now()
        assert stage.reloader.serial == 2
        assert stage.reloader.differences
