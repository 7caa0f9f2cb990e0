"""What libraries write to standard error is kept from the terminal, and can be told."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from router.files.clock import Clock
from router.midi.library_stderr import LibraryStderr

ROOT = Path(__file__).parents[3]
SECOND = 1_000_000_000  # ns


def test_lines_are_told_once_with_their_number(capfd: pytest.CaptureFixture[str]) -> None:
    """Nothing of it reaches standard error; what was told is not told again."""
    with LibraryStderr() as stderr_lines:
        os.write(2, b"Cannot read socket\nCheckRes error\nCheckRes error\n\n")
        assert stderr_lines.lines() == ["Cannot read socket", "CheckRes error (2 times)"]
        assert stderr_lines.lines() == []
        os.write(2, b"and on\n")
        assert stderr_lines.lines() == ["and on"]
    os.write(2, b"after\n")
    assert capfd.readouterr().err == "after\n"


def test_a_flood_is_cut(capfd: pytest.CaptureFixture[str]) -> None:
    """The first lines, and how many more there were; bytes that are no text don't matter."""
    with LibraryStderr() as stderr_lines:
        os.write(2, b"\xff\xfe\n" + b"".join(b"line %d\n" % at for at in range(100)))
        told = stderr_lines.lines()
    assert told[:2] == ["\ufffd\ufffd", "line 0"]
    assert told[-1] == "and 93 more lines"
    assert capfd.readouterr().err == ""


def test_of_a_great_flood_only_the_beginning_is_read(capfd: pytest.CaptureFixture[str]) -> None:
    """Lines of 11 bytes: 5,957 of them and a part of one are in the first 64 KiB. The next look begins anew."""
    with LibraryStderr() as stderr_lines:
        os.write(2, b"".join(b"line %05d\n" % at for at in range(20_000)))
        assert stderr_lines.lines() == [*(f"line {at:05}" for at in range(8)), "and 5,950 more lines"]
        os.write(2, b"".join(b"line %05d\n" % at for at in range(8)))
        assert stderr_lines.lines() == [f"line {at:05}" for at in range(8)]
        os.write(2, b"".join(b"line %05d\n" % at for at in range(9)))
        assert stderr_lines.lines() == [*(f"line {at:05}" for at in range(8)), "and 1 more line"]
    assert capfd.readouterr().err == ""


def test_losses_are_told_in_words_for_who_plays(capfd: pytest.CaptureFixture[str]) -> None:
    """What the library says of them names its own functions; what to do about it counts."""
    with LibraryStderr() as stderr_lines:
        os.write(2, b"\nMidiInAlsa::alsaMidiHandler: MIDI input buffer overrun!\n\n")
        os.write(2, b"\nMidiInAlsa::alsaMidiHandler: unknown MIDI input error!\n")
        os.write(2, b"System reports: Resource temporarily unavailable\n")
        os.write(2, b"\nMidiInJack: message queue limit reached!!\n\n")
        os.write(2, b"Jack::MidiBufferMixdown - got invalid next event\n")
        os.write(2, b"Jack::MidiBufferMixdown - invalid source buffer\n")
        told = stderr_lines.lines()
        assert (stderr_lines.missed, stderr_lines.overruns) == (1, 2)
    hint = "If a note hangs, run pointsman panic"
    assert told == [
        f"more came in at once than ALSA keeps, and what waited there is lost. {hint} (2 times)",
        f"JACK cleared messages before they were read, and some may be lost. {hint}",
        "a port came or went while JACK read it",
    ]
    assert capfd.readouterr().err == ""


def test_each_message_that_was_missed_is_counted(capfd: pytest.CaptureFixture[str]) -> None:
    """However many came in a moment; what else was written among them is told."""
    with LibraryStderr() as stderr_lines:
        for _ in range(5):
            os.write(2, b"\nMidiInJack: message queue limit reached!!\n\n" * 4_000)
        os.write(2, b"Cannot read socket\n")
        os.write(2, b"\nMidiInAlsa: message queue limit reached!!\n\n")
        assert stderr_lines.lines() == ["Cannot read socket"]
        assert stderr_lines.missed == 20_001
        os.write(2, b"\nMidiInJack: message queue limit reached!!\n\n")
        assert stderr_lines.lines() == []
        assert stderr_lines.missed == 20_002
    assert capfd.readouterr().err == ""


def test_none_is_uncounted_while_libraries_go_on_writing(capfd: pytest.CaptureFixture[str]) -> None:
    """They write in threads of their own, which nothing stops while lines are read."""
    line = b"\nMidiInJack: message queue limit reached!!\n\n"

    def flood() -> None:
        for _ in range(2_000):
            os.write(2, line * 10)

    with LibraryStderr(Clock(lambda: 0)) as stderr_lines:  # however slow a writer is, it is not taken for done
        writer = threading.Thread(target=flood)
        writer.start()
        while writer.is_alive():
            assert stderr_lines.lines() == []
        assert (stderr_lines.lines(), stderr_lines.missed) == ([], 20_000)
    assert capfd.readouterr().err == ""


def test_python_goes_on_writing_to_standard_error() -> None:
    """In a real process: our words arrive, the library's don't, before, meanwhile and after."""
    program = (
        "import os, sys\n"
        "from router.midi.library_stderr import LibraryStderr\n"
        "print('one', file=sys.stderr)\n"
        "with LibraryStderr():\n"
        "    os.write(2, b'library\\n')\n"
        "    print('two \\udcff', file=sys.stderr)\n"
        "print('three', file=sys.stderr)\n"
        "os.write(2, b'four\\n')\n"
    )
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stderr.splitlines() == ["one", "two \\udcff", "three", "four"]


def test_a_line_without_an_end_is_told_once_it_stays_as_it_is(capfd: pytest.CaptureFixture[str]) -> None:
    """Until then somebody may be in the midst of writing it, however often one looks."""
    now = [0]
    with LibraryStderr(Clock(lambda: now[0])) as stderr_lines:
        os.write(2, b"whole\nbeg")
        assert stderr_lines.lines() == ["whole"]
        now[0] = SECOND
        os.write(2, b"un")
        assert stderr_lines.lines() == []
        assert stderr_lines.lines() == []
        now[0] = 2 * SECOND
        assert stderr_lines.lines() == ["begun"]
        assert stderr_lines.lines() == []


def test_a_long_file_gives_way_while_somebody_still_writes_into_it(capfd: pytest.CaptureFixture[str]) -> None:
    """Whoever holds the former descriptor, in the midst of a line: what comes is told, once, whole."""
    now = [0]
    with LibraryStderr(Clock(lambda: now[0])) as stderr_lines:
        former = os.dup(2)
        os.write(former, b"x" * 300_000 + b"\nbeg")
        stderr_lines.lines()
        os.write(2, b"new\n")
        assert stderr_lines.lines() == ["new"]
        os.write(former, b"un\n")
        assert stderr_lines.lines() == ["begun"]
        now[0] = SECOND
        assert stderr_lines.lines() == []
        os.write(former, b"nobody listens\n")
        os.close(former)
        assert stderr_lines.lines() == []
