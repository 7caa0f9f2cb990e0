"""`pointsman rewrite`, from the command line to the files."""

from __future__ import annotations

import pytest

from router.batch.in_place_record import RECORD_NAME
from tests.support.command_shell import END, NOTES, REPAIRED, TAKE, CommandShell, midi

KIT = midi(f"00 99 24 64  60 89 24 40 {END}")  # a bass drum on channel 10
BOTH = midi(f"{NOTES} {END}", f"00 99 24 64  60 89 24 40 {END}")
TWO_SOURCES = b"""
[ports]
keys = { input = "Keys" }
pads = { input = "Pads" }
rack = { output = "Rack" }
[[rules]]
name = "keyboard"
from = "keys"
steps = [{ rechannel = 4 }]
to   = "rack"
[[rules]]
name = "drums"
from = "pads"
steps = [{ rechannel = 10 }]
to   = "rack"
"""


def test_one_recording_to_one_file(shell: CommandShell) -> None:
    """The result is where -o says, mended, and the recording is as it was."""
    shell.put("take.mid", TAKE)
    answer = shell.rewrite("take.mid", "-o", "mended.mid")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out.startswith("1 file rewritten; ")
    assert "mended.mid written" in answer.out
    assert shell.files() == {"take.mid": TAKE, "mended.mid": REPAIRED}


def test_a_folder_keeps_its_names(shell: CommandShell) -> None:
    """Folders below are searched, and the results have the same shape."""
    for name in ("takes/a.mid", "takes/sub/B.MID", "takes/notes.txt"):
        shell.put(name, TAKE)
    answer = shell.rewrite("takes", "-o", "out")
    assert answer.code == 0
    assert {name: data for name, data in shell.files().items() if name.startswith("out")} == {
        "out/a.mid": REPAIRED,
        "out/sub/B.MID": REPAIRED,
    }


def test_in_place_keeps_a_backup_of_what_changed(shell: CommandShell) -> None:
    """Changed files get a backup, the others aren't touched; a second run changes nothing more."""
    shell.put("take.mid", TAKE)
    shell.put("kit.mid", KIT)
    answer = shell.rewrite("take.mid", "kit.mid", "--in-place")
    assert answer.code == 0
    assert answer.out.startswith("1 file rewritten, 1 file unchanged by the rules; ")
    assert "take.mid rewritten, the old file is take.mid.bak" in answer.out.replace(str(shell.folder) + "/", "")
    files = shell.files()
    assert files.pop(RECORD_NAME)
    assert files == {"take.mid": REPAIRED, "take.mid.bak": TAKE, "kit.mid": KIT}


def test_a_dry_run_writes_nothing(shell: CommandShell) -> None:
    """It says what would change in each file, with and without a place for results."""
    shell.put("take.mid", TAKE)
    answer = shell.rewrite("take.mid", "--dry-run")
    assert answer.code == 0
    assert answer.out.startswith("1 file looked at, nothing written; ")
    answer = shell.rewrite("take.mid", "--dry-run", "-o", "out")
    line = next(line for line in answer.out.splitlines() if line.startswith("  take.mid"))
    assert line.split() == ["take.mid", "2", "2", "0", "0", "out/take.mid"]
    assert shell.files() == {"take.mid": TAKE}


def test_a_file_for_each_port(shell: CommandShell) -> None:
    """Each port that plays gets its part; what goes elsewhere is not in it."""
    shell.put("take.mid", BOTH)
    shell.put("kit.mid", KIT)
    answer = shell.rewrite("take.mid", "kit.mid", "-o", "out", "--per-port")
    assert answer.code == 0
    assert sorted(shell.files()) == [
        "kit.mid",
        "out/kit.rack2.mid",
        "out/take.rack1.mid",
        "out/take.rack2.mid",
        "take.mid",
    ]
    assert shell.files()["out/kit.rack2.mid"] == KIT


def test_files_for_each_port_may_lie_beside_the_recording(shell: CommandShell) -> None:
    """With -o at its own folder the recording stays as it is; a dry run says the same, and what is in the way."""
    shell.put("take.mid", BOTH)
    results = {"take.rack1.mid", "take.rack2.mid"}
    looked = shell.rewrite("take.mid", "-o", ".", "--per-port", "--dry-run")
    assert (looked.code, shell.files()) == (0, {"take.mid": BOTH})
    assert "take.rack1.mid, take.rack2.mid" in looked.out
    assert shell.rewrite("take.mid", "-o", ".", "--per-port").code == 0
    assert shell.files().keys() == {"take.mid", *results}
    assert shell.files()["take.mid"] == BOTH
    again = shell.rewrite("take.mid", "-o", ".", "--per-port", "--dry-run")
    assert again.code == 1
    assert "refused: take.rack1.mid exists already" in again.err


def test_the_source_is_asked_for_where_there_are_several(shell: CommandShell) -> None:
    """With two sources, --from says which of them the recording is; the message names both."""
    shell.put("two.toml", TWO_SOURCES)
    shell.put("take.mid", TAKE)
    answer = shell.run("rewrite", "two.toml", "take.mid", "-o", "out.mid")
    assert answer.code == 2
    assert "this recording can play as several ports. Choose one: --from keys, --from pads" in answer.err
    assert "out.mid" not in shell.files()
    answer = shell.run("rewrite", "two.toml", "take.mid", "-o", "out.mid", "--from", "pads")
    assert answer.code == 0
    assert shell.files()["out.mid"] == midi(f"00 99 3C 40  60 89 3C 40 {END}")


def test_single_tracks_play_as_other_sources(shell: CommandShell) -> None:
    """A track is given to a source by its name or its number."""
    shell.put("two.toml", TWO_SOURCES)
    named = "00 FF 03 05 44 72 75 6D 73"  # track name "Drums"
    shell.put("take.mid", midi(f"{NOTES} {END}", f"{named} {NOTES} {END}"))
    mended = midi(f"00 93 3C 40  60 83 3C 40 {END}", f"{named} 00 99 3C 40  60 89 3C 40 {END}")
    for at, drums in enumerate(("Drums=pads", "#2=pads")):
        answer = shell.run("rewrite", "two.toml", "take.mid", "-o", f"{at}.mid", "--from", "keys", "--from", drums)
        assert (answer.code, answer.err) == (0, "")
        assert shell.files()[f"{at}.mid"] == mended


def test_further_rule_files_add_up(shell: CommandShell) -> None:
    """--rules adds files, whose rules come after those of the first."""
    shell.put("more.toml", b'[[rules]]\nname = "left hand"\nfrom = "keys"\nmatch = { channel = 2 }\nto = "rack1"\n')
    shell.put("take.mid", midi(f"00 91 3C 40  60 81 3C 40 {END}"))
    answer = shell.rewrite("take.mid", "-o", "out.mid", "--rules", "more.toml", "--json")
    assert answer.code == 0
    assert answer.data["rules"] == [
        {"name": "to the organ", "matched": 0},
        {"name": "to the kit", "matched": 0},
        {"name": "left hand", "matched": 2},
    ]


def test_a_rule_that_took_nothing_is_pointed_out(shell: CommandShell) -> None:
    """The summary says how many messages each rule took, and what to look at where there were none."""
    shell.put("take.mid", TAKE)
    lines = [line.strip() for line in shell.rewrite("take.mid", "-o", "out.mid").out.splitlines()]
    assert "to the organ  2" in lines
    assert "to the kit    0  nothing: check its `from`, `match` and `when`, and --from" in lines


def test_what_no_rule_takes_is_told(shell: CommandShell) -> None:
    """Channels that no rule is for are told: their messages aren't in the result."""
    shell.put("take.mid", midi(f"00 94 3C 40  60 84 3C 40 {END}"))
    answer = shell.rewrite("take.mid", "-o", "out.mid")
    assert "Dropped:\n  channel 5  no rule  2\n" in answer.out
    assert shell.files()["out.mid"] == midi("60 FF 2F 00")


def test_notes_that_never_end_are_counted(shell: CommandShell) -> None:
    """A recording without its last note-off is told; the note-off isn't made up."""
    shell.put("take.mid", midi(f"00 90 3C 40 {END}"))
    answer = shell.rewrite("take.mid", "-o", "out.mid")
    assert "notes that never end  1  in take.mid" in answer.out
    assert shell.files()["out.mid"] == midi(f"00 93 3C 40 {END}")


def test_the_summary_as_data(shell: CommandShell) -> None:
    """--json prints one object and nothing else."""
    shell.put("take.mid", TAKE)
    answer = shell.rewrite("take.mid", "gone.mid", "-o", "out", "--json")
    assert (answer.code, answer.err) == (1, "")
    total = answer.data["total"]
    assert {
        word: total[word] for word in ("files", "written", "failed", "messages", "changed", "dropped", "added")
    } == {
        "files": 2,
        "written": 1,
        "failed": 1,
        "messages": 2,
        "changed": 2,
        "dropped": 0,
        "added": 0,
    }
    first, second = answer.data["files"]
    assert (first["file"], first["targets"], first["report"]["matched"]) == (
        "take.mid",
        ["out/take.mid"],
        {"to the organ": 2, "to the kit": 0},
    )
    assert (second["file"], second["outcome"], second["report"]) == ("gone.mid", "failed", None)


def test_the_number_of_workers_changes_nothing(shell: CommandShell) -> None:
    """Files and data are the same, in the same order, for any --jobs."""
    for at in range(9):
        shell.put(f"takes/{at}.mid", TAKE if at % 2 else BOTH)
    shell.put("takes/bad.mid", b"RIFF is no MIDI")
    seen = []
    for jobs in ("1", "2", "5"):
        answer = shell.rewrite("takes", "-o", "out", "--force", "--json", "--jobs", jobs, "--per-port")
        data = answer.data
        del data["total"]["seconds"]
        for file in data["files"]:
            del file["seconds"]
        seen.append((answer.code, data, shell.files()))
    assert seen[0] == seen[1] == seen[2]
    assert seen[0][0] == 1


def test_quiet_prints_only_what_went_wrong(shell: CommandShell) -> None:
    """In a script, silence means that all is well."""
    shell.put("take.mid", TAKE)
    answer = shell.rewrite("take.mid", "-o", "out", "--quiet")
    assert (answer.code, answer.out, answer.err) == (0, "", "")
    answer = shell.rewrite("take.mid", "-o", "out", "--quiet")
    assert (answer.code, answer.out) == (1, "")
    assert answer.err.startswith("take.mid: refused: out/take.mid exists already")


def test_files_may_stand_after_an_option(shell: CommandShell) -> None:
    """The order of files and options doesn't matter, but what looks like an option and is none is refused."""
    shell.put("a.mid", TAKE)
    shell.put("b.mid", TAKE)
    assert shell.rewrite("a.mid", "-o", "out", "b.mid").code == 0
    assert {"out/a.mid", "out/b.mid"} < set(shell.files())
    answer = shell.rewrite("a.mid", "-o", "out", "--in-plaice")
    assert answer.code == 2
    assert "not understood: --in-plaice" in answer.err


def test_a_second_run_does_not_rewrite_the_results_of_the_first(shell: CommandShell) -> None:
    """The folder of results may lie among the recordings."""
    shell.put("take.mid", TAKE)
    for _ in range(2):
        assert shell.rewrite(".", "-o", "out", "--force").code == 0
    assert sorted(shell.files()) == ["out/take.mid", "take.mid"]


@pytest.mark.parametrize(
    ("sources", "words"),
    [
        (["--from", "kyes"], 'there is no input port named "kyes": --from can be keys - did you mean "keys"?'),
        (["--from", "rack1"], "this port is an output: write one of keys"),
        (["--from", "=keys"], 'write the name of a track before the =, or its number as in "#2=keys"'),
        (["--from", "keys", "--from", "keys", "--from", "A=keys", "--from", "A=keys"], ""),
    ],
)
def test_sources_are_held_against_the_rules(shell: CommandShell, sources: list[str], words: str) -> None:
    """What --from names must be a port of the rules that can receive; saying a thing twice is no fault."""
    shell.put("take.mid", TAKE)
    answer = shell.rewrite("take.mid", "-o", "out.mid", *sources)
    assert answer.code == (2 if words else 0)
    assert words in answer.err


def test_a_recording_has_one_source_for_what_is_not_named(shell: CommandShell) -> None:
    """Two different sources for all tracks, or for one track, can't be meant."""
    shell.put("two.toml", TWO_SOURCES)
    shell.put("take.mid", TAKE)
    for given, words in (
        (("keys", "pads"), "--from keys and --from pads: a recording plays as one source"),
        (("keys", "A=keys", "A=pads"), 'the track "A" is given to two sources: write it once'),
    ):
        sources = [word for source in given for word in ("--from", source)]
        answer = shell.run("rewrite", "two.toml", "take.mid", "-o", "out.mid", *sources)
        assert answer.code == 2
        assert words in answer.err


def test_rules_without_rules_are_noticed(shell: CommandShell) -> None:
    """A file of ports alone would silence everything."""
    shell.put("ports.toml", b'[ports]\nkeys = { input = "Keys" }\n')
    shell.put("take.mid", TAKE)
    answer = shell.run("rewrite", "ports.toml", "take.mid", "-o", "out.mid")
    assert answer.code == 2
    assert "the rule files have no rule" in answer.err
