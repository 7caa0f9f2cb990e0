"""The results of many files, added up."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from router.batch.job import FileOutcome, FileResult
from router.batch.totals import COUNTS, Totals
from tests.support.fake_rewriting import RULE, report

RESULTS = st.lists(
    st.builds(
        FileResult,
        st.sampled_from(["a.mid", "b.mid", "c/d.mid"]),
        st.sampled_from(FileOutcome),
        st.lists(st.sampled_from(["out/a.mid", "out/b/c.mid"]), max_size=2).map(tuple),
        report=st.one_of(st.none(), st.builds(report, st.integers(0, 9), st.integers(0, 9), st.integers(0, 9))),
    ),
    max_size=30,
)


@given(RESULTS)
def test_totals_are_sums_over_the_files(results: list[FileResult]) -> None:
    """Counts by how files went are of all; messages are of those that went well."""
    totals = Totals()
    for result in results:
        totals.add(result)
    reports = [result.report for result in results if result.report and result.is_good]
    assert totals.files == len(results)
    assert totals.ok is all(result.is_good for result in results)
    assert totals.reported == len(reports)
    assert {what: totals.counts[what] for what in COUNTS} == {
        what: sum(getattr(one, what) for one in reports) for what in COUNTS
    }
    assert totals.matched[RULE] == sum(one.matched[RULE] for one in reports)


def test_results_in_the_folder_of_the_command_lie_in_a_folder_too() -> None:
    """Names without a folder have "." in common, not nothing."""
    totals = Totals()
    totals.add(FileResult("take.mid", FileOutcome.WRITTEN, ("take.rack1.mid", "take.rack2.mid")))
    assert totals.folder == "."


def test_what_is_listed_by_name_has_an_end() -> None:
    """However many files there are, a few names are kept, and a thousand different remarks."""
    totals = Totals()
    for number in range(5_000):
        told = report(unended=1)
        told.remarks = (f"remark {number}", "the same")
        name = f"{number}.mid"
        totals.add(FileResult(name, FileOutcome.WRITTEN, (f"out/deep/{name}", f"out/{name}"), report=told))
        totals.add(replace(FileResult(name, FileOutcome.WRITTEN, (name,), backup=f"{name}.bak"), report=None))
    assert totals.folder == "out"
    for names, amount in ((totals.targets, 10_000), (totals.backups, 5_000), (totals.unended_in, 5_000)):
        assert (names.amount, len(names.first), names.are_few) == (amount, 6, False)
    remarks = totals.remarks()
    assert remarks[:2] == ["remark 0", "the same (in 5,000 files)"]
    assert remarks[-1] == "... and 980 more (--json lists all)"
