"""Long runs that are stopped and taken up again."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from router.batch.plan import Job
from router.batch.resume import RECORD_NAME, RunRecord, fingerprint
from rules.errors import MachineError
from tests.support.command_shell import END, NOTES, REPAIRED, RULES, TAKE, Answer, CommandShell, midi

OTHER = midi(f"{NOTES} {NOTES} {END}")
BOTH = midi(f"{NOTES} {END}", f"00 99 24 64  60 89 24 40 {END}")  # a part for each rack


@pytest.fixture
def takes(shell: CommandShell) -> CommandShell:
    """Three recordings, of which two have been rewritten by a run with --resume."""
    for name in ("a.mid", "b.mid"):
        shell.put(f"takes/{name}", TAKE)
    assert resume(shell).code == 0
    shell.put("takes/c.mid", TAKE)
    return shell


def resume(shell: CommandShell, *options: str) -> Answer:
    """Run once more."""
    return shell.rewrite("takes", "-o", "out", "--resume", *options)


def results(shell: CommandShell) -> dict[str, bytes]:
    """The results by name; what a run is still writing, and renames while this looks, is none."""
    return {str(path.relative_to(shell.folder)): path.read_bytes() for path in (shell.folder / "out").rglob("*.mid")}


def written(shell: CommandShell) -> tuple[int, int]:
    """Which file the first result is, and when it was last written; looking at it is no matter."""
    found = os.stat(shell.folder / "out/a.mid")
    return found.st_ino, found.st_mtime_ns


def head(answer: Answer) -> str:
    """What the summary says first, without the time."""
    return answer.out.splitlines()[0].rpartition(";")[0]


def test_what_is_done_is_passed_over(takes: CommandShell) -> None:
    """The next run does what is new, and leaves the files of the earlier one alone."""
    before = written(takes)
    answer = resume(takes)
    assert (answer.code, head(answer)) == (0, "1 file rewritten, 2 files done before, and unchanged since")
    assert results(takes) == dict.fromkeys(("out/a.mid", "out/b.mid", "out/c.mid"), REPAIRED)
    assert written(takes) == before
    assert head(resume(takes)) == "3 files done before, and unchanged since"


def test_a_changed_recording_is_done_again(takes: CommandShell) -> None:
    """Its old result is ours, and is replaced without --force."""
    takes.put("takes/a.mid", OTHER)
    assert head(resume(takes)) == "2 files rewritten, 1 file done before, and unchanged since"
    assert results(takes)["out/a.mid"] != REPAIRED


def test_changed_rules_do_everything_again(takes: CommandShell) -> None:
    """What the old rules made is replaced; so it is after a change of options."""
    takes.put("rules.toml", RULES.replace("rechannel = 4", "rechannel = 5").encode())
    answer = takes.rewrite("takes", "-o", "out", "--resume")
    assert head(answer) == "3 files rewritten"
    assert all(data != REPAIRED for data in results(takes).values())
    assert head(resume(takes, "--strict")) == "3 files done before, and unchanged since"


def test_a_result_that_was_edited_is_not_overwritten(takes: CommandShell) -> None:
    """What somebody has worked on since is theirs; the summary says how to get it replaced."""
    takes.put("out/a.mid", OTHER)
    answer = resume(takes)
    assert answer.code == 1
    assert "takes/a.mid: refused: out/a.mid exists already" in answer.err
    assert results(takes)["out/a.mid"] == OTHER


@pytest.fixture
def cables(shell: CommandShell) -> CommandShell:
    """A recording for two ports, rewritten by a run with --resume, and then mended: the second port falls silent."""
    shell.put("takes/a.mid", BOTH)
    assert resume(shell, "--per-port").code == 0
    assert sorted(results(shell)) == ["out/a.rack1.mid", "out/a.rack2.mid"]
    shell.put("takes/a.mid", TAKE)
    return shell


def test_the_old_result_of_a_port_that_falls_silent_is_deleted(cables: CommandShell) -> None:
    """It is ours, and nobody should take it for what the rules make of the recording now."""
    answer = resume(cables, "--per-port")
    assert (answer.code, results(cables)) == (0, {"out/a.rack1.mid": REPAIRED})
    assert "Files from earlier runs" not in answer.out
    assert head(resume(cables, "--per-port")) == "1 file done before, and unchanged since"


def test_what_a_run_that_was_ended_left_for_a_silent_port_is_deleted_too(cables: CommandShell) -> None:
    """It had written the new result, and was ended before it could tidy; a dry run only looks."""
    cables.put("out/a.rack1.mid", REPAIRED)
    assert resume(cables, "--per-port", "--dry-run").code == 0
    assert "out/a.rack2.mid" in results(cables)
    assert resume(cables, "--per-port").code == 0
    assert results(cables) == {"out/a.rack1.mid": REPAIRED}


@pytest.mark.parametrize("options", [("--resume",), ()])
def test_what_is_not_known_as_ours_is_named_and_never_deleted(cables: CommandShell, options: tuple[str, ...]) -> None:
    """A result that somebody has worked on stays where its port is silent now, however often we come by."""
    cables.put("out/a.rack2.mid", OTHER)
    for take in (TAKE, OTHER, TAKE):
        cables.put("takes/a.mid", take)
        answer = cables.rewrite("takes", "-o", "out", "--per-port", "--force", *options)
        assert answer.code == 0
        assert "out/a.rack2.mid isn't a result of this run: its port gets nothing to play" in answer.out
    data = cables.rewrite("takes", "-o", "out", "--per-port", "--force", "--json").data
    assert data["files"][0]["leftovers"] == ["out/a.rack2.mid"]
    assert results(cables) == {"out/a.rack1.mid": REPAIRED, "out/a.rack2.mid": OTHER}


def test_a_result_that_was_deleted_is_made_again(takes: CommandShell) -> None:
    """Whoever throws a result away gets a new one."""
    (takes.folder / "out/a.mid").unlink()
    assert head(resume(takes)) == "2 files rewritten, 1 file done before, and unchanged since"
    assert results(takes)["out/a.mid"] == REPAIRED


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_results_of_a_run_without_resume_are_known_by_their_bytes(shell: CommandShell, jobs: str) -> None:
    """Who didn't think of --resume in time loses nothing; the run after that knows them by its record."""
    for name in ("a.mid", "b.mid"):
        shell.put(f"takes/{name}", TAKE)
    shell.rewrite("takes/a.mid", "-o", "out")
    assert RECORD_NAME not in os.listdir(shell.folder / "out")
    answer = resume(shell, "--jobs", jobs)
    assert (answer.code, head(answer)) == (0, "1 file rewritten, 1 file done before, and unchanged since")
    assert head(resume(shell)) == "2 files done before, and unchanged since"


def test_in_place_nothing_is_done_twice(shell: CommandShell) -> None:
    """A recording that is what the rules make of its latest backup is left alone; a new one is done."""
    shell.put("takes/a.mid", TAKE)
    shell.put("rules.toml", RULES.replace("rechannel = 4", "transpose = 1").encode())
    shell.rewrite("takes", "--in-place")
    once = shell.files()["takes/a.mid"]
    shell.put("takes/b.mid", TAKE)
    answer = shell.rewrite("takes", "--in-place", "--resume")
    assert head(answer) == "1 file rewritten, 1 file done before, and unchanged since"
    assert shell.files()["takes/a.mid"] == shell.files()["takes/b.mid"] == once
    assert shell.rewrite("takes", "--in-place").code == 1
    assert shell.files()["takes/a.mid"] == once
    assert shell.rewrite("takes", "--in-place", "--again").code == 0
    assert shell.files()["takes/a.mid"] != once


@pytest.mark.parametrize("jobs", ["1", "2"])
@pytest.mark.parametrize("ending", [signal.SIGTERM, signal.SIGHUP])
def test_a_run_that_is_ended_leaves_whole_files_and_can_be_taken_up(
    shell: CommandShell, jobs: str, ending: signal.Signals
) -> None:
    """A request to end, or a closed terminal, amid many files: each result is whole or missing; the rest follows."""
    files = 200
    for number in range(files):
        shell.put(f"takes/{number:03}.mid", TAKE)
    # a test run that outlives its terminal ignores its closing, and would hand that on
    hears_all = "import signal, sys; signal.signal(signal.SIGHUP, signal.SIG_DFL); "
    program = hears_all + "from router.cli.main import main; sys.exit(main())"
    command = [
        sys.executable,
        "-c",
        program,
        "rewrite",
        "rules.toml",
        "takes",
        "-o",
        "out",
        "--resume",
        "--jobs",
        jobs,
    ]
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[3])}
    run = subprocess.Popen(command, cwd=shell.folder, env=environment, stdout=subprocess.PIPE, text=True)
    while not results(shell) and run.poll() is None:
        time.sleep(0.002)
    run.send_signal(ending)
    told, _ = run.communicate()
    there = results(shell)
    assert run.returncode == 130
    assert "not reached before you stopped" in told
    assert 0 < len(there) < files
    assert set(there.values()) == {REPAIRED}
    assert not list((shell.folder / "out").glob("*.part"))
    assert resume(shell).code == 0
    assert results(shell) == {f"out/{number:03}.mid": REPAIRED for number in range(files)}


def test_a_dry_run_says_what_is_left_and_writes_nothing(takes: CommandShell) -> None:
    """The record isn't touched either."""
    before = takes.files()
    assert (
        head(resume(takes, "--dry-run"))
        == "1 file looked at, nothing written, 2 files done before, and unchanged since"
    )
    assert takes.files() == before


def test_a_damaged_record_costs_what_it_lost(takes: CommandShell) -> None:
    """Lines that a crash has cut off, or somebody wrote into it, are passed over."""
    record = takes.folder / "out" / RECORD_NAME
    record.write_bytes(record.read_bytes()[:-40] + b"\xff\ndone nonsense\ndone " + b"z" * 32)
    answer = resume(takes)
    assert (answer.code, len(results(takes))) == (0, 3)
    assert head(resume(takes)) == "3 files done before, and unchanged since"


def test_a_record_that_can_not_be_used_stops_the_run(shell: CommandShell) -> None:
    """Before anything is written."""
    shell.put("takes/a.mid", TAKE)
    (shell.folder / "out" / RECORD_NAME).mkdir(parents=True)
    answer = resume(shell)
    assert answer.code == 2
    assert "out/.pointsman-resume, which --resume goes by, can't be used: it is a folder" in answer.err


@pytest.mark.parametrize(("kind", "reason"), [("link", "it is a link"), ("pipe", "it isn't a regular file")])
def test_a_record_that_leads_elsewhere_is_not_followed(shell: CommandShell, kind: str, reason: str) -> None:
    """Nothing is appended to somebody else's file, and a pipe holds nobody up."""
    shell.put("takes/a.mid", TAKE)
    (shell.folder / "out").mkdir()
    other = shell.folder / "other.txt"
    other.write_text("mine")
    record = shell.folder / "out" / RECORD_NAME
    record.symlink_to(other) if kind == "link" else os.mkfifo(record)
    answer = resume(shell)
    assert answer.code == 2
    assert f"out/.pointsman-resume, which --resume goes by, can't be used: {reason}" in answer.err
    assert other.read_text() == "mine"


def test_the_folder_of_results_may_move(takes: CommandShell) -> None:
    """The record goes with it."""
    (takes.folder / "out").rename(takes.folder / "new")
    assert head(takes.rewrite("takes", "-o", "new", "--resume")).endswith("2 files done before, and unchanged since")


def test_rules_and_options_tell_runs_apart() -> None:
    """The same fingerprint stands for the same result, and for no other."""
    every = [fingerprint([b"a"], 1), fingerprint([b"a", b""], 1), fingerprint([b"b"], 1), fingerprint([b"a"], 2)]
    assert len(set(every)) == 4
    assert fingerprint([b"a"], (1, "x")) == fingerprint([b"a"], (1, "x"))


def test_a_recording_that_is_gone_is_not_done(tmp_path: Path) -> None:
    """Nothing is known of a file that isn't there."""
    record = RunRecord(tmp_path, "rules", [""])
    job = Job(tmp_path / "gone.mid", tmp_path / "out/gone.mid", 0)
    assert not record.is_done(job)
    assert not record.may_replace(job)
    record.close()
    with pytest.raises(MachineError):
        RunRecord(tmp_path / RECORD_NAME, "rules", [""])
