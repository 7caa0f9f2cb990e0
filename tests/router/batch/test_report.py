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
    results = [written("a.mid", messages=1200, changed=30, taken=1200), written("b.mid", unended=2), BAD, TAKEN]
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
        "What each rule took:",
        "  louder  1,203",
        "  pads        0  nothing came by: look at its `from`, `match` and `when`, and at --from",
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
        "1 file looked at, nothing written, 1 file left alone, as the rules change nothing in it; 0.50 s",
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
    line = "  7 files rewritten, the old ones lie beside them, ending in .bak"
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


@pytest.mark.parametrize(
    ("left", "line"),
    [
        ([{12: 4000, 1: 1000}, {1: 600, 2: 73}], "5,673 messages fit no rule and were left out (channels 1, 2, 12)."),
        ([{10: 1}], "1 message fits no rule and was left out (channel 10)."),
        ([{None: 2}], "2 messages fit no rule and were left out (without a channel)."),
        ([{None: 2, 3: 1}], "3 messages fit no rule and were left out (channel 3 and without a channel)."),
    ],
)
def test_what_no_rule_takes_is_told(left: list[dict[int | None, int]], line: str) -> None:
    """Messages that fit no rule are counted over the files, with their channels, and with what would keep them."""
    results = [written(f"{at}.mid") for at in range(len(left))]
    for result, found in zip(results, left, strict=True):
        assert result.report is not None
        result.report.left = found
    lines = in_words(Summary(results, [RULE], 0.5))
    assert lines[-3:] == ["", f"  {line}", "  A rule with `otherwise = true` keeps what no other rule takes."]


def test_a_dry_run_says_what_would_be_left_out() -> None:
    """Nothing has been left out yet."""
    told = report()
    told.left = {1: 2}
    result = replace(written("a.mid"), outcome=FileOutcome.LOOKED_AT, report=told)
    lines = in_words(Summary([result], [RULE], 0.5, dry_run=True))
    assert "  2 messages fit no rule and would be left out (channel 1)." in lines


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
    told.left = {2: 5, None: 1}
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
                    "taken": {RULE: 3},
                    "left": [{"channel": 2, "messages": 5}, {"channel": None, "messages": 1}],
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
        "rules": [{"name": RULE, "taken": 3}, {"name": "pads", "taken": 0}],
        "left": [{"channel": 2, "messages": 5}, {"channel": None, "messages": 1}],
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
