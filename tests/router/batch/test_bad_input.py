"""What goes wrong with files: each case says what to do, stops nothing else and loses nothing."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.command_shell import END, HEAD, NOTES, REPAIRED, RULES, TAKE, CommandShell, midi

HEADER = "4D 54 68 64  00 00 00 06"


def hexed(text: str) -> bytes:
    """Bytes written in hex."""
    return bytes.fromhex(text)


REFUSED = {
    "empty": (b"", "byte 0", "the file is empty: a MIDI file begins with MThd"),
    "text": (b"Dear organist,\n", "byte 0", "not a Standard MIDI File: MThd is missing"),
    "zero tracks": (hexed(f"{HEADER} 00 01 00 00 00 60"), "byte 14", "no track follows the header"),
    "division 0": (midi(f"{NOTES} {END}", head=f"{HEADER} 00 01 00 01 00 00"), "byte 12", "no ticks"),
    "header cut off": (hexed(HEAD)[:11], "byte 11", "the file ends inside its header, after 11 of 14 bytes"),
    "data byte over 127": (midi(f"00 90 3C 90 {END}"), "byte ", "data"),
    "VLQ of five bytes": (midi(f"FF FF FF FF 7F 90 3C 40 {END}"), "byte 22", ""),
}

READABLE = {
    "truncated chunk": midi(f"{NOTES} {END}")[:-4],
    "track without end": midi(NOTES),
    "length past the end": midi(f"{NOTES} {END}").replace(hexed("00 00 00 0C"), hexed("00 00 FF FF")),
}


@pytest.mark.parametrize(("data", "byte", "words"), REFUSED.values(), ids=REFUSED)
def test_a_file_that_can_not_be_read_is_refused_with_its_byte(
    shell: CommandShell, data: bytes, byte: str, words: str
) -> None:
    """The message has the byte and the reason; the file beside it is rewritten, and nothing is lost."""
    shell.put("takes/bad.mid", data)
    shell.put("takes/good.mid", TAKE)
    answer = shell.rewrite("takes", "-o", "out")
    assert answer.code == 1
    assert answer.err.startswith(f"takes/bad.mid, {byte}")
    assert ": failed: " in answer.err
    assert words in answer.err
    assert shell.files() == {"takes/bad.mid": data, "takes/good.mid": TAKE, "out/good.mid": REPAIRED}


@pytest.mark.parametrize("data", READABLE.values(), ids=READABLE)
def test_a_damaged_file_is_read_where_it_can_be(shell: CommandShell, data: bytes) -> None:
    """What is readable is rewritten, and the summary says where the damage is; with --strict it is refused."""
    shell.put("bad.mid", data)
    answer = shell.rewrite("bad.mid", "-o", "out")
    assert (answer.code, answer.err) == (0, "")
    assert "Damaged, but readable" in answer.out
    assert "  bad.mid, byte " in answer.out
    assert hexed("93 3C 40") in shell.files()["out/bad.mid"]
    strict = shell.rewrite("bad.mid", "-o", "strict", "--strict")
    assert strict.code == 1
    assert strict.err.startswith("bad.mid, byte ")
    assert sorted(shell.files()) == ["bad.mid", "out/bad.mid"]


def test_a_missing_file_is_named(shell: CommandShell) -> None:
    """The others are rewritten."""
    shell.put("take.mid", TAKE)
    answer = shell.rewrite("gone.mid", "take.mid", "-o", "out")
    assert answer.code == 1
    assert answer.err == "gone.mid: failed: the file can't be read: there is no such file or folder\n"
    assert shell.files()["out/take.mid"] == REPAIRED


@pytest.mark.parametrize(
    ("name", "words"),
    [("n" * 300, "the name is too long for this disk"), ("loop", "the links lead in a circle")],
)
def test_names_that_lead_nowhere(shell: CommandShell, name: str, words: str) -> None:
    """As a rule file, a recording or a place for results: the machine's answer in words, and nothing is lost."""
    (shell.folder / "loop.mid").symlink_to("loop.mid")
    (shell.folder / "loop.toml").symlink_to("loop.toml")
    shell.put("take.mid", TAKE)
    answer = shell.rewrite(f"{name}.mid", "take.mid", "-o", "out")
    assert answer.code == 1
    assert answer.err == f"{name}.mid: failed: the file can't be read: {words}\n"
    answer = shell.run("rewrite", f"{name}.toml", "take.mid", "-o", "out")
    assert answer.code == 2
    assert answer.err.endswith(f"{name}.toml: the rule file can't be read: {words}\n")
    answer = shell.rewrite("take.mid", "-o", f"{name}.mid/below")
    assert answer.code == 1
    assert answer.err.startswith(f"take.mid: failed: {name}.mid/below/take.mid can't be written: ")
    assert shell.files() == {"take.mid": TAKE, "out/take.mid": REPAIRED}


def test_a_folder_without_recordings_is_named(shell: CommandShell) -> None:
    """An empty folder is no success."""
    shell.put("docs/readme.txt", b"")
    answer = shell.rewrite("docs", "-o", "out")
    assert answer.code == 1
    assert (
        "docs: failed: there is no MIDI file (.kar, .mid, .midi, .rmi, .smf) in this folder or below it" in answer.err
    )


def test_a_result_that_exists_is_kept(shell: CommandShell) -> None:
    """Without --force what is there stays, and the message names --force."""
    shell.put("take.mid", TAKE)
    shell.put("out/take.mid", b"precious")
    answer = shell.rewrite("take.mid", "-o", "out")
    assert answer.code == 1
    assert "take.mid: refused: out/take.mid exists already" in answer.err
    assert "--force" in answer.err
    assert shell.files()["out/take.mid"] == b"precious"
    assert shell.rewrite("take.mid", "-o", "out", "--force").code == 0
    assert shell.files()["out/take.mid"] == REPAIRED


def test_one_port_result_in_the_way_stops_all_of_them(shell: CommandShell) -> None:
    """Per port, a file gets all of its results or none."""
    shell.put("take.mid", midi(f"{NOTES} {END}", f"00 99 24 64 60 89 24 40 {END}"))
    shell.put("out/take.rack2.mid", b"precious")
    before = shell.files()
    assert shell.rewrite("take.mid", "-o", "out", "--per-port").code == 1
    assert shell.files() == before


@pytest.mark.parametrize("how", ["name", "folder", "symbolic link", "hard link", "linked folder"])
def test_a_result_never_takes_the_place_of_its_recording(shell: CommandShell, how: str) -> None:
    """Not even with --force, and by no detour; the message names --in-place."""
    shell.put("takes/take.mid", TAKE)
    out = {"name": "takes/take.mid", "folder": "takes", "linked folder": "linked"}.get(how, "out")
    if how == "symbolic link":
        (shell.folder / "out").mkdir()
        (shell.folder / "out/take.mid").symlink_to("../takes/take.mid")
    elif how == "hard link":
        (shell.folder / "out").mkdir()
        os.link("takes/take.mid", "out/take.mid")
    elif how == "linked folder":
        (shell.folder / "linked").symlink_to("takes")
    before = shell.files()
    answer = shell.rewrite("takes/take.mid", "-o", out, "--force")
    assert answer.code == 1
    assert answer.err == (
        "takes/take.mid: refused: the result would overwrite the file itself: use --in-place, which keeps a backup, "
        "or another -o\n"
    )
    assert shell.files() == before


def test_a_folder_that_can_not_be_written_to(shell: CommandShell) -> None:
    """The message says that, and what to do. /sys takes no folders, not even from root."""
    shell.put("take.mid", TAKE)
    answer = shell.rewrite("take.mid", "-o", "/sys/pointsman-test")
    assert answer.code == 1
    assert answer.err.startswith("take.mid: failed: /sys/pointsman-test/take.mid can't be written: ")
    assert answer.err.endswith(": choose a folder that you may write to\n")
    assert shell.files() == {"take.mid": TAKE}


def test_a_folder_that_would_be_below_a_file(shell: CommandShell) -> None:
    """A file in the place of a folder is told, and stays."""
    shell.put("take.mid", TAKE)
    answer = shell.rewrite("take.mid", "-o", "take.mid/out")
    assert answer.code == 1
    assert "can't be written: a part of the path is a file, not a folder" in answer.err
    assert shell.files() == {"take.mid": TAKE}


@pytest.mark.parametrize("where", [("-o", "out"), ("--in-place",)])
def test_a_write_that_breaks_off_leaves_nothing(tmp_path: Path, where: tuple[str, ...]) -> None:
    """When the machine stops a file in its midst, there is no half of it, and the recording is as it was."""
    recording = midi(f"{NOTES} {'00 90 3C 40 60 90 3C 00 ' * 100} {END}")
    (tmp_path / "take.mid").write_bytes(recording)
    (tmp_path / "rules.toml").write_text(RULES, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "router", "rewrite", "rules.toml", "take.mid", *where],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[3]), "PYTHONDONTWRITEBYTECODE": "1"},
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (500, 500)),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 1
    assert "can't be written: the file would be larger than this disk or system allows" in done.stderr
    files = {path.name: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    assert files == {"take.mid": recording, "rules.toml": RULES.encode()}


RULE_FILES = {
    "Latin-1": RULES.encode().replace(b"organ", b"\xf6rgan"),
    "not TOML": b"[ports\n",
    "duplicate key": RULES.encode() + b'name = "again"\nname = "again"\n',
    "unknown step": RULES.encode() + b"steps = [{ transpoze = 12 }]\n",
    "unknown port": RULES.encode().replace(b'to    = "rack2"', b'to    = "rakc2"'),
}


@pytest.mark.parametrize("data", RULE_FILES.values(), ids=RULE_FILES)
def test_a_broken_rule_file_stops_before_anything_is_written(shell: CommandShell, data: bytes) -> None:
    """The message begins with file and line, says that nothing was done, and the exit code is 2."""
    shell.put("broken.toml", data)
    shell.put("take.mid", TAKE)
    before = shell.files()
    answer = shell.run("rewrite", "broken.toml", "take.mid", "-o", "out")
    assert (answer.code, answer.out) == (2, "")
    assert answer.err.startswith("broken.toml:")
    assert answer.err.endswith("in the rule files. Nothing was done.\n")
    as_data = shell.run("rewrite", "broken.toml", "take.mid", "-o", "out", "--json")
    assert as_data.code == 2
    assert as_data.err == ""
    assert as_data.data["problems"][0]["file"] == "broken.toml"
    assert shell.files() == before


def test_a_rule_file_with_a_byte_order_mark_is_read(shell: CommandShell) -> None:
    """Some editors put three bytes before the text; they do no harm."""
    shell.put("bom.toml", b"\xef\xbb\xbf" + RULES.encode())
    shell.put("take.mid", TAKE)
    assert shell.run("rewrite", "bom.toml", "take.mid", "-o", "out").code == 0
    assert shell.files()["out/take.mid"] == REPAIRED


def test_a_missing_rule_file_is_named(shell: CommandShell) -> None:
    """Nothing is done without it."""
    shell.put("take.mid", TAKE)
    answer = shell.run("rewrite", "gone.toml", "take.mid", "-o", "out")
    assert answer.code == 2
    assert answer.err == (
        "pointsman rewrite: gone.toml: the rule file can't be read: there is no such file or folder\n"
    )
    as_data = shell.run("rewrite", "gone.toml", "take.mid", "-o", "out", "--json")
    assert as_data.data["command"] == "rewrite"
    assert as_data.data["error"].startswith("gone.toml: ")


def test_a_recording_in_the_place_of_the_rules(shell: CommandShell) -> None:
    """Who forgets the rule file is told the order."""
    shell.put("take.mid", TAKE)
    answer = shell.run("rewrite", "take.mid", "take.mid", "-o", "out")
    assert answer.code == 2
    assert "take.mid is a MIDI file, but a rule file (.toml) is wanted here, before the files" in answer.err
    assert '"pointsman rewrite --help" shows how to write it.' in answer.err


def test_a_file_name_that_is_no_text(shell: CommandShell) -> None:
    """A name in an unknown charset is rewritten, printed as codes, and given in JSON."""
    odd = os.fsdecode(b"takes/gr\xfcn.mid")
    shell.put(odd, TAKE)
    answer = shell.rewrite("takes", "-o", "out")
    assert (answer.code, answer.err) == (0, "")
    assert shell.files()[odd.replace("takes", "out")] == REPAIRED
    assert shell.rewrite("takes", "-o", "out", "--json").data["files"][0]["file"] == odd
