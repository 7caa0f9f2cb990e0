"""A whole run: what reaches the disk in its end."""

from __future__ import annotations

from pathlib import Path

import pytest

from router.batch.plan import destination
from router.batch.rewrite_settings import RewriteSettings
from router.batch.rewriting import rewritten
from rules.rulefile.reading import read_rule_set
from rules.smf.report import Playing
from tests.support.command_shell import RULES, TAKE
from tests.support.recording_disk import RecordingDisk


def run(settings: RewriteSettings) -> list[tuple[str, ...]]:
    """What a run asks of the disk in its end."""
    texts = (("rules.toml", RULES.encode()),)
    disk = RecordingDisk()
    to = destination(settings)
    with rewritten(settings, to, texts, read_rule_set(texts), Playing("keys"), disk=disk) as (summary, _):
        assert summary.ok
    return sorted(disk.calls)


@pytest.fixture
def takes(tmp_path: Path) -> Path:
    """Recordings in two folders, and a link to one elsewhere."""
    for name in ("takes/a.mid", "takes/b.mid", "takes/sub/c.mid", "elsewhere/d.mid"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(TAKE)
    (tmp_path / "takes/sub/link.mid").symlink_to(tmp_path / "elsewhere/d.mid")
    return tmp_path / "takes"


@pytest.mark.parametrize("jobs", [1, 2])
def test_each_folder_of_results_is_flushed_once(takes: Path, jobs: int) -> None:
    """When all have their names, by whichever worker."""
    settings = RewriteSettings((), (str(takes),), out=str(takes.parent / "out"), jobs=jobs, quiet=True)
    assert run(settings) == [("settle", "out", "a.mid", "b.mid", "sub"), ("settle", "sub", "c.mid", "link.mid")]


@pytest.mark.parametrize("jobs", [1, 2])
def test_each_folder_rewritten_in_place_is_flushed_once(takes: Path, jobs: int) -> None:
    """Those where links lead to are among them."""
    assert run(RewriteSettings((), (str(takes),), in_place=True, jobs=jobs, quiet=True)) == [
        ("settle", "elsewhere", "d.mid", "d.mid.bak"),
        ("settle", "sub", "c.mid", "c.mid.bak", "link.mid"),
        ("settle", "takes", "a.mid", "a.mid.bak", "b.mid", "b.mid.bak", "sub"),
    ]


def test_a_dry_run_flushes_nothing(takes: Path) -> None:
    """It has written nothing."""
    assert run(RewriteSettings((), (str(takes),), dry_run=True, quiet=True)) == []
