"""Which MIDI files a command means, and where results go."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from router.batch.plan import Job, destination, plan
from router.batch.rewrite_settings import RewriteSettings
from router.batch.search import FoundFile, LinkedFolder, Unusable, find_files
from router.text.usage import UsageError


@pytest.fixture
def takes(tmp_path: Path) -> Path:
    """A folder of recordings, some in a folder below, among other things."""
    folder = tmp_path / "takes"
    for name in (
        "b.mid",
        "A.MID",
        "sub/c.kar",
        "sub/deeper/d.rmi",
        "notes.txt",
        ".hidden.mid",
        ".trash/e.mid",
        "a.mid.bak",
    ):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(name.encode())
    return folder


def found(*arguments: Path, leave_out: Path | None = None, follow_links: bool = False) -> list[str]:
    """The files found, as seen from their arguments."""
    items = list(find_files(map(str, arguments), leave_out, follow_links=follow_links))
    assert all(isinstance(item, FoundFile) for item in items)
    return [str(item.below) for item in items if isinstance(item, FoundFile)]


def troubles(*arguments: Path) -> list[str]:
    """The reasons why arguments can't be used."""
    return [item.reason for item in find_files(map(str, arguments)) if isinstance(item, Unusable)]


def planned(settings: RewriteSettings, *ports: str) -> list[Job | Unusable]:
    """What is to be done with each file."""
    return list(plan(find_files(settings.files), destination(settings), ports or [""]))


def targets(settings: RewriteSettings) -> list[str]:
    """Where each result goes, as seen from the folder of results."""
    jobs = planned(settings)
    assert settings.out is not None
    out = Path(settings.out)
    return [str(job.target.relative_to(out)) for job in jobs if isinstance(job, Job) and job.target is not None]


def refusals(jobs: list[Job | Unusable]) -> list[str]:
    """The reasons of the files that are refused."""
    return [job.reason for job in jobs if isinstance(job, Unusable) and job.refused]


def test_folders_are_searched_with_all_below(takes: Path) -> None:
    """Every MIDI file counts, by name; hidden things, backups and other files don't."""
    assert found(takes) == ["A.MID", "b.mid", "sub/c.kar", "sub/deeper/d.rmi"]


def test_a_file_that_is_named_counts_whatever_its_name(takes: Path) -> None:
    """Who names a file means it."""
    assert found(takes / "notes.txt", takes / ".hidden.mid") == ["notes.txt", ".hidden.mid"]


def test_the_folder_of_results_is_no_source(takes: Path) -> None:
    """A second run into a folder among the recordings doesn't rewrite the results of the first."""
    assert found(takes, leave_out=(takes / "sub").resolve()) == ["A.MID", "b.mid"]


def test_links_that_lead_in_a_circle_are_walked_once(takes: Path) -> None:
    """A link to a folder above doesn't keep the search going for ever."""
    (takes / "sub/loop").symlink_to(takes)
    (takes / "sub/deeper/twice").symlink_to(takes / "sub")
    assert found(takes, follow_links=True) == ["A.MID", "b.mid", "sub/c.kar", "sub/deeper/d.rmi"]


def test_links_to_folders_are_not_followed_unless_asked(takes: Path, tmp_path: Path) -> None:
    """What a link names may lie anywhere, and belong to somebody else. A link that is named itself is meant."""
    (tmp_path / "other").mkdir()
    (tmp_path / "other/theirs.mid").write_bytes(b"theirs")
    (takes / "sub/link").symlink_to(tmp_path / "other")
    items = list(find_files([str(takes)]))
    assert [item.path for item in items if isinstance(item, LinkedFolder)] == [takes / "sub/link"]
    assert "sub/link/theirs.mid" in found(takes, follow_links=True)
    assert found(takes / "sub/link") == ["theirs.mid"]


def test_a_missing_file_is_named_and_the_others_go_on(takes: Path) -> None:
    """The trouble stands in the place of the file, in the order of the command line."""
    items = list(find_files([str(takes / "gone.mid"), str(takes / "b.mid")]))
    assert items[0] == Unusable(takes / "gone.mid", "the file can't be read: there is no such file or folder")
    assert isinstance(items[1], FoundFile)


def test_a_folder_without_recordings_says_which_endings_count(tmp_path: Path) -> None:
    """An empty result would look like success."""
    assert troubles(tmp_path) == ["there is no MIDI file (.kar, .mid, .midi, .rmi, .smf) in this folder or below it"]


def test_a_rule_file_among_the_recordings_is_noticed(tmp_path: Path) -> None:
    """Further rule files have an option of their own."""
    assert troubles(tmp_path / "more.toml") == ["this is a rule file: write --rules before it"]


def test_what_is_no_file_is_not_read(tmp_path: Path) -> None:
    """A pipe would be waited for without end."""
    os.mkfifo(tmp_path / "pipe.mid")
    assert troubles(tmp_path / "pipe.mid") == ["this isn't a regular file"]


def test_a_folder_that_can_not_be_looked_into_is_told(takes: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What could not be searched is never passed over in silence."""
    look = os.listdir

    def guarded(folder: Path) -> list[str]:
        if folder.name == "sub":
            raise PermissionError(13, "Permission denied")
        return look(folder)

    monkeypatch.setattr(os, "listdir", guarded)
    assert troubles(takes) == ["the folder can't be read: you have no permission"]


def test_results_keep_names_and_folders(takes: Path, tmp_path: Path) -> None:
    """A folder of results has the shape of the folder of recordings; single files go into it by name."""
    settings = RewriteSettings((), (str(takes), str(takes / "notes.txt")), out=str(tmp_path / "out"))
    assert targets(settings) == ["A.MID", "b.mid", "sub/c.kar", "sub/deeper/d.rmi", "notes.txt"]


@pytest.mark.parametrize(
    ("out", "expected"),
    [("new.mid", "new.mid"), ("new", "new/b.mid"), ("new.mid/", "new.mid/b.mid"), ("old.mid", "old.mid/b.mid")],
)
def test_one_recording_goes_to_a_file_or_into_a_folder(takes: Path, tmp_path: Path, out: str, expected: str) -> None:
    """-o names a file if it ends like one, and a folder if it is one or doesn't."""
    (tmp_path / "old.mid").mkdir()
    jobs = planned(RewriteSettings((), (str(takes / "b.mid"),), out=f"{tmp_path}/{out}"))
    assert [job.target for job in jobs if isinstance(job, Job)] == [tmp_path / expected]


def test_several_recordings_can_not_go_into_one_file(takes: Path, tmp_path: Path) -> None:
    """Neither several files nor a folder fit into one name."""
    for files in ([takes / "b.mid", takes / "A.MID"], [takes]):
        with pytest.raises(UsageError, match=r"names one file, but there may be several results: name a folder"):
            destination(RewriteSettings((), tuple(map(str, files)), out=str(tmp_path / "new.mid")))


def test_results_do_not_go_into_a_file_that_is_something_else(takes: Path) -> None:
    """-o at a text file is a slip."""
    with pytest.raises(UsageError, match=r"this file isn't a MIDI file: name a folder or a \.mid file"):
        destination(RewriteSettings((), (str(takes),), out=str(takes / "notes.txt")))


def test_where_results_go_must_be_said(takes: Path) -> None:
    """Without -o, --in-place and --dry-run nothing is guessed."""
    with pytest.raises(
        UsageError, match=r"write where the results go: -o FOLDER, --in-place, or --dry-run to write nothing"
    ):
        destination(RewriteSettings((), (str(takes),)))


def test_several_results_can_not_be_in_place(takes: Path) -> None:
    """One file can't be replaced by one for each port."""
    with pytest.raises(UsageError, match="--per-port makes several files of one"):
        destination(RewriteSettings((), (str(takes),), in_place=True, per_port=True))


def test_a_recording_named_twice_is_rewritten_once(takes: Path, tmp_path: Path) -> None:
    """In place above all, where the second time would undo nothing but add a backup."""
    (takes / "sub/same.mid").symlink_to(takes / "b.mid")
    files = (str(takes / "b.mid"), str(takes / ".." / "takes" / "b.mid"), str(takes / "sub/same.mid"))
    jobs = planned(RewriteSettings((), files, in_place=True))
    assert [(job.source, job.target) for job in jobs if isinstance(job, Job)] == [(takes / "b.mid", takes / "b.mid")]
    assert len(jobs) == 1
    assert len(planned(RewriteSettings((), files[:2], out=str(tmp_path / "out")))) == 1


def test_a_dry_run_needs_no_place_for_results(takes: Path) -> None:
    """Looking writes nothing."""
    jobs = planned(RewriteSettings((), (str(takes / "b.mid"),), dry_run=True))
    assert jobs == [Job(takes / "b.mid", None, 5)]


def test_two_results_never_share_a_name(takes: Path, tmp_path: Path) -> None:
    """The second of two files of one name is refused, and told with whom it clashes."""
    (takes / "sub/b.mid").write_bytes(b"other")
    files = (str(takes / "b.mid"), str(takes / "sub/b.mid"))
    jobs = planned(RewriteSettings((), files, out=str(tmp_path / "out")))
    assert isinstance(jobs[0], Job)
    assert refusals(jobs) == [
        f"its result would be {tmp_path}/out/b.mid, as that of {takes}/b.mid. Rewrite them in two runs, to two folders"
    ]


@pytest.mark.parametrize(("one", "other"), [("Tänze.mid", "tänze.MID"), ("T\u00e4nze.mid", "Ta\u0308nze.mid")])
def test_results_whose_names_a_disk_may_not_tell_apart_never_meet(
    takes: Path, tmp_path: Path, one: str, other: str
) -> None:
    """Many disks ignore case, or how an accent is stored; in place nothing new is named, so nothing can meet."""
    (takes / one).write_bytes(b"one")
    (takes / "sub" / other).write_bytes(b"other")
    files = (str(takes / one), str(takes / "sub" / other))
    assert refusals(planned(RewriteSettings((), files, out=str(tmp_path / "out"), force=True))) == [
        f"its result {tmp_path}/out/{other} and that of {takes}/{one} may be one file on this disk. Their names differ "
        "only in case, or in how accents are stored. Rewrite them in two runs, to two folders"
    ]
    assert refusals(planned(RewriteSettings((), files, in_place=True))) == []


def test_recordings_that_their_disk_tells_apart_have_results_there(takes: Path) -> None:
    """A folder with "b.mid" and "B.mid" proves that results on the same disk can't meet; not so on another disk."""
    (takes / "B.mid").write_bytes(b"other")
    (takes / "SUB").mkdir()
    (takes / "SUB/c.kar").write_bytes(b"other folder")
    assert sorted(targets(RewriteSettings((), (str(takes),), out=str(takes / "new/out")))) == [
        "A.MID",
        "B.mid",
        "SUB/c.kar",
        "b.mid",
        "sub/c.kar",
        "sub/deeper/d.rmi",
    ]
    elsewhere = planned(RewriteSettings((), (str(takes),), out="/proc/self/out"))
    assert [reason.split(" Rewrite them")[0] for reason in refusals(elsewhere)][:1] == [
        f"its result {Path('/proc/self').resolve()}/out/b.mid and that of {takes}/B.mid may be one file on this disk. "
        "Their names differ only in case, or in how accents are stored."
    ]


def test_results_of_ports_never_meet_either(takes: Path, tmp_path: Path) -> None:
    """What any port may get is held against the other results, and against the recordings."""
    (takes / "b.dat").write_bytes(b"same stem")
    (takes / "A.rack.MID").write_bytes(b"result of an earlier run, or a recording?")
    files = tuple(str(takes / name) for name in ("b.mid", "b.dat"))
    jobs = planned(RewriteSettings((), files, out=str(tmp_path / "out"), per_port=True), "synth", "rack")
    assert [reason.split(" Rewrite them")[0] for reason in refusals(jobs)] == [
        f"its result would be {tmp_path}/out/b.synth.mid, as that of {takes}/b.mid."
    ]
    files = tuple(str(takes / name) for name in ("A.MID", "A.rack.MID"))
    jobs = planned(RewriteSettings((), files, out=str(takes), per_port=True), "synth", "rack")
    assert refusals(jobs) == [
        f"the result would overwrite {takes}/A.rack.MID, which is one of the files to rewrite: use another -o"
    ]


@pytest.mark.parametrize("linked", [False, True])
def test_a_result_never_overwrites_its_recording(takes: Path, tmp_path: Path, linked: bool) -> None:
    """Neither by its own name nor by another name of the same file."""
    out = takes
    if linked:
        out = tmp_path / "out"
        out.mkdir()
        os.link(takes / "b.mid", out / "b.mid")
    jobs = planned(RewriteSettings((), (str(takes / "b.mid"),), out=str(out), force=True))
    assert refusals(jobs) == [
        "the result would overwrite the file itself: use --in-place, which keeps a backup, or another -o"
    ]


def test_a_result_never_overwrites_another_recording(takes: Path) -> None:
    """Even with --force, as that one may still be waiting for its turn."""
    (takes / "sub/b.mid").write_bytes(b"other")
    files = (str(takes / "sub/b.mid"), str(takes / "b.mid"))
    jobs = planned(RewriteSettings((), files, out=str(takes), force=True))
    assert (
        refusals(jobs)[0]
        == f"the result would overwrite {takes}/b.mid, which is one of the files to rewrite: use another -o"
    )


def test_what_is_refused_stays_refused_behind_a_file_named_twice(takes: Path, tmp_path: Path) -> None:
    """The file named twice is done once, which moves all others up; the reasons move with their files."""
    rival = tmp_path / "other/b.mid"
    rival.parent.mkdir()
    rival.write_bytes(b"another")
    files = [takes / "b.mid", takes / "b.mid", takes / "none.mid", rival, takes / "sub/c.kar"]
    jobs = planned(RewriteSettings((), tuple(map(str, files)), out=str(tmp_path / "out")))
    assert [(job.source if isinstance(job, Job) else job.path).name for job in jobs] == [
        "b.mid",
        "none.mid",
        "b.mid",
        "c.kar",
    ]
    assert [isinstance(job, Unusable) for job in jobs] == [False, True, True, False]
    assert len(refusals(jobs)) == 1


def test_a_link_to_a_folder_is_told_and_nothing_is_done_with_it(takes: Path, tmp_path: Path) -> None:
    """It is no file of the run: neither a job nor one that can't be done."""
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (takes / "link").symlink_to(elsewhere)
    settings = RewriteSettings((), (str(takes),), out=str(tmp_path / "out"))
    made = plan(find_files(settings.files), destination(settings), [""])
    assert made.linked_folders == [takes / "link"]
    assert [job.source.name if isinstance(job, Job) else job.reason for job in made] == [
        "A.MID",
        "b.mid",
        "c.kar",
        "d.rmi",
    ]
