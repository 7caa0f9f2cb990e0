"""What a rewrite did, in words and as data."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from router.batch import report as reporting
from router.batch.job import FileOutcome, FileResult
from router.batch.report import Summary, problems
from rules.smf.damage import Damage
from tests.support.fake_rewriting import RULE, report


def in_words(summary: Summary) -> list[str]:
    """The lines of the summary."""
    return list(reporting.in_words(summary))


def as_data(summary: Summary) -> Any:
    """The summary as programs read it."""
    return json.loads("\n".join(reporting.as_json(summary)))


def written(name: str, **keywords: int) -> FileResult:
    """A file that was rewritten."""
    return FileResult(name, FileOutcome.WRITTEN, (f"out/{name}",), seconds=0.25, report=report(**keywords))


BAD = FileResult("bad.mid", FileOutcome.FAILED, reason="not a Standard MIDI File", offset=0)
TAKEN = FileResult("a.mid", FileOutcome.REFUSED, reason="out/a.mid exists already")


def test_the_summary_counts_in_words() -> None:
    """Files, messages, changed, dropped, added, seconds, notes that never end, and what each rule took."""
    results = [written("a.mid", messages=1200, changed=30, matched=1200), written("b.mid", unended=2), BAD, TAKEN]
    assert in_words(Summary(results, [RULE, "pads"], 0.5)) == [
        "2 files rewritten, 1 file refused, 1 file failed; 0.50 s",
        "",
        "  out/a.mid written",
        "  out/b.mid written",
        "",
        "  messages in           1,203",
        "  changed                  31",
        "  dropped                   0",
        "  added                     4",
        "  notes that never end      2  in b.mid",
        "",
        "Matched by each rule:",
        "  louder  1,203",
        "  pads        0  nothing: check its `from`, `match` and `when`, and --from",
    ]


def test_what_went_wrong_is_a_line_each() -> None:
    """The name of the file, the byte if one is at fault, how it went, and why."""
    assert list(problems(Summary([written("a.mid"), BAD, TAKEN], [], 0.5))) == [
        "bad.mid, byte 0: failed: not a Standard MIDI File",
        "a.mid: refused: out/a.mid exists already",
    ]


def test_without_a_file_there_are_no_figures() -> None:
    """Rules that had nothing to take aren't blamed for it."""
    assert in_words(Summary([], [RULE], 0.0)) == ["no file to rewrite; 0.00 s"]
    assert in_words(Summary([BAD], [RULE], 0.0)) == ["1 file failed; 0.00 s"]


def test_an_interruption_says_how_far_it_came() -> None:
    """Files that were not reached are counted."""
    summary = Summary([written("a.mid")], [], 1.0, not_reached=3)
    assert in_words(summary)[0] == "1 file rewritten, 3 files not reached before you stopped; 1.00 s"
    assert as_data(summary)["not_reached"] == 3


def test_a_dry_run_says_what_would_change_in_each_file() -> None:
    """A line for each file with its counts and where the result would go."""
    results = [
        replace(written("a.mid", messages=1200), outcome=FileOutcome.LOOKED_AT),
        FileResult("b.mid", FileOutcome.UNCHANGED, report=report(changed=0)),
    ]
    assert in_words(Summary(results, [], 0.5, dry_run=True))[:5] == [
        "1 file looked at, nothing written, 1 file unchanged by the rules; 0.50 s",
        "",
        "  file   messages  changed  dropped  added  would be written",
        "  a.mid     1,200        1        0      2  out/a.mid",
        "  b.mid         3        0        0      0  nothing, it stays as it is",
    ]


def test_files_in_place_say_where_the_old_one_is() -> None:
    """The backup stands beside the name of the file."""
    result = replace(written("a.mid"), targets=("a.mid",), backup="a.mid.bak")
    assert in_words(Summary([result], [], 0.5))[2] == "  a.mid rewritten, the old file is a.mid.bak"


def test_many_files_in_place_are_counted() -> None:
    """A list of a thousand backups helps nobody."""
    results = [replace(written(f"{at}.mid"), backup=f"{at}.mid.bak") for at in range(7)]
    line = "  7 files rewritten; the old ones are next to them, ending in .bak"
    assert in_words(Summary(results, [], 0.5))[2:4] == [line, ""]


def test_a_file_without_results_is_told() -> None:
    """Per port, a file whose every message went nowhere leaves no trace but this line."""
    result = replace(written("a.mid"), targets=())
    assert in_words(Summary([result], [], 0.5))[2] == "  a.mid: no port gets anything to play, so no file was written"


def test_damage_and_remarks_are_told_once() -> None:
    """Damage by file and byte; a remark that several files share once, with their number."""
    first, second = report(), report()
    first.damage = (Damage(22, "the track is cut off"),)
    first.remarks = second.remarks = ("channel 10 was transposed",)
    second.remarks = (*second.remarks, "one more")
    results = [replace(written(name), report=told) for name, told in (("a.mid", first), ("b.mid", second))]
    lines = in_words(Summary(results, [], 0.5))
    assert "  a.mid, byte 22: the track is cut off" in lines
    assert lines[-3:] == ["Please note:", "  channel 10 was transposed (in 2 files)", "  one more"]


KEEPS = "  A rule with `otherwise = true` keeps what no other rule matches."


@pytest.mark.parametrize(
    ("found", "lines"),
    [
        ([{(2, "filter"): 1}], ["  channel 2  filter  1"]),
        (
            [{(12, "no rule"): 4000, (1, "no rule"): 1000}, {(1, "no rule"): 673, (1, "filter"): 7}],
            ["  channel 1   no rule  1,673", "  channel 1   filter       7", "  channel 12  no rule  4,000", KEEPS],
        ),
        (
            [{(None, "no rule"): 2, (10, "no destination"): 1}, {(17, "thin"): 3}],
            [
                "  channel 10        no destination  1",
                "  several channels  thin            3",
                "  no channel        no rule         2",
                KEEPS,
            ],
        ),
    ],
)
def test_what_was_dropped_is_listed(found: list[dict[tuple[int | None, str], int]], lines: list[str]) -> None:
    """By channel and reason, added up over the files; with what would keep messages that fit no rule."""
    results = [written(f"{at}.mid") for at in range(len(found))]
    for result, drops in zip(results, found, strict=True):
        assert result.report is not None
        result.report.drops = drops
    shown = list(in_words(Summary(results, [RULE], 0.5)))
    assert shown[-len(lines) - 2 :] == ["", "Dropped:", *lines]


def test_a_dry_run_says_what_would_be_dropped() -> None:
    """Nothing has been dropped yet."""
    told = report()
    told.drops = {(1, "filter"): 2}
    result = replace(written("a.mid"), outcome=FileOutcome.LOOKED_AT, report=told)
    lines = list(in_words(Summary([result], [RULE], 0.5, dry_run=True)))
    assert lines[-2:] == ["Would be dropped:", "  channel 1  filter  2"]


def test_a_thousand_files_fit_on_a_screen() -> None:
    """Long lists are cut and say how much more there is; nothing else grows with the number of files."""
    results = [written(f"{at}.mid", unended=1) for at in range(1000)]
    lines = in_words(Summary(results, [RULE], 0.5))
    assert "  1,000 files written into out" in lines
    assert "  notes that never end  1,000  in 0.mid, 1.mid, 2.mid and 997 more files" in lines
    assert len(lines) < 50


def test_names_can_not_upset_the_terminal() -> None:
    """Control characters in names and remarks are shown as codes."""
    lines = in_words(Summary([written("a\x1b[2J.mid")], ["r\x07"], 0.5))
    assert not any("\x1b" in line or "\x07" in line for line in lines)


def test_the_data_has_everything() -> None:
    """The same as in words, for programs, file by file."""
    told = report(unended=1)
    told.damage = (Damage(22, "cut off"),)
    told.drops = {(2, "no rule"): 5, (None, "filter"): 1}
    summary = Summary([replace(written("a.mid"), report=told), BAD], [RULE, "pads"], 0.5)
    assert as_data(summary) == {
        "command": "rewrite",
        "ok": False,
        "dry_run": False,
        "not_reached": 0,
        "linked_folders": [],
        "files": [
            {
                "file": "a.mid",
                "outcome": "written",
                "targets": ["out/a.mid"],
                "leftovers": [],
                "backup": None,
                "reason": None,
                "offset": None,
                "seconds": 0.25,
                "report": {
                    "messages": 3,
                    "changed": 1,
                    "dropped": 0,
                    "added": 2,
                    "unended": 1,
                    "route": "stream",
                    "matched": {RULE: 3},
                    "drops": [
                        {"channel": 2, "reason": "no rule", "messages": 5},
                        {"channel": None, "reason": "filter", "messages": 1},
                    ],
                    "damage": [{"offset": 22, "text": "cut off"}],
                    "remarks": [],
                },
            },
            {
                "file": "bad.mid",
                "outcome": "failed",
                "targets": [],
                "leftovers": [],
                "backup": None,
                "reason": "not a Standard MIDI File",
                "offset": 0,
                "seconds": 0.0,
                "report": None,
            },
        ],
        "total": {
            "files": 2,
            "written": 1,
            "unchanged": 0,
            "looked at": 0,
            "done before": 0,
            "refused": 0,
            "failed": 1,
            "messages": 3,
            "changed": 1,
            "dropped": 0,
            "added": 2,
            "unended": 1,
            "seconds": 0.5,
        },
        "rules": [{"name": RULE, "matched": 3}, {"name": "pads", "matched": 0}],
        "drops": [
            {"channel": 2, "reason": "no rule", "messages": 5},
            {"channel": None, "reason": "filter", "messages": 1},
        ],
    }


def test_what_was_done_before_is_counted() -> None:
    """Files that an earlier run did are told by their number, and nothing is said of what is in them."""
    summary = Summary([FileResult("a.mid", FileOutcome.DONE), written("b.mid")], [RULE], 0.5)
    assert in_words(summary)[:3] == [
        "1 file rewritten, 1 file done before, and unchanged since; 0.50 s",
        "",
        "  out/b.mid written",
    ]
    assert as_data(summary)["files"][0]["outcome"] == "done before"
    assert summary.ok


def test_without_a_file_the_data_is_whole() -> None:
    """An empty list of files is a list."""
    assert as_data(Summary([], [RULE], 0.5))["files"] == []


def test_links_that_were_not_followed_are_named() -> None:
    """Nobody wonders why the files behind a link are as they were."""
    summary = Summary([written("a.mid")], [], 1.0, linked_folders=[Path("takes/link")])
    words = "\n".join(in_words(summary))
    assert "Links to folders, not followed (--follow-links enters them):\n  takes/link" in words
    assert as_data(summary)["linked_folders"] == ["takes/link"]
