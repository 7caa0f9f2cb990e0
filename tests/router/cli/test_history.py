"""The command `trace --last`: what just happened in the daemon, in words and as data."""

import json
import time
from collections.abc import Callable
from typing import Any

import pytest

from router.cli import history as command
from router.cli.history import HistoryReport
from router.cli.main import main
from rules.analysis.history import history_of
from rules.journal.format import WALL, Record, pack, wall_data
from tests.support.journalled_session import MS, SECOND, Performance

ON, OFF = bytes((0x90, 60, 100)), bytes((0x80, 60, 10))
EIGHT = time.mktime((2026, 11, 25, 20, 0, 0, 0, 0, -1))
Answer = Callable[[Performance], None]


@pytest.fixture
def answer(monkeypatch: pytest.MonkeyPatch) -> Answer:
    """Lets the daemon remember a performance that began at eight in the evening."""

    def remember(performance: Performance) -> None:
        wall: Record = (WALL, 0, 0, wall_data(EIGHT))
        data = b"".join(map(pack, [performance.log[0], wall, *performance.log[1:]]))
        monkeypatch.setattr(command, "ask_daemon", lambda name, verb, patience_s: {"journal": data, "verb": verb})

    return remember


def played() -> Performance:
    """A note that is held, a pedal by another hand, and a note that came to nothing."""
    performance = Performance()
    for moment, player, message in (
        (1000, 0, ON),
        (1500, 1, bytes((0xB2, 64, 127))),
        (2000, 0, bytes((0xB0, 67, 127))),
        (2500, 0, bytes((0x90, 70, 0))),
    ):
        performance.now = moment * MS
        performance.arrive(player, message)
    return performance


def test_what_happened_is_told_in_words(answer: Answer, capsys: pytest.CaptureFixture[str]) -> None:
    """When, from where, why, where to; later what came of a delay; then what is held."""
    answer(played())
    assert main(["trace", "--last"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "20:00:01.000  from keys: note-on 1 C4 100"
    assert lines[1:3] == ['    rule "keys": matches', "      transpose by +12: not now, it waits for up"]
    assert "        arrives at port rack: note-on 4 C4 100" in lines
    assert "20:00:01.507  to rack: controller 3 sustain 127 (later, from seq)" in lines
    assert lines[-7:] == [
        "",
        "Held now:",
        "  note C4 on channel 1 of keys, since 20:00:01.000 (1.5 s before the end)",
        "    its end sends to rack: note-off 4 C4 64",
        "    its end sends to box: note-off 1 C4 64",
        "  sustain on channel 3 of seq, since 20:00:01.500 (1.0 s before the end)",
        "    its end sends to rack: controller 3 sustain 0",
    ]


def test_the_same_as_data(answer: Answer, capsys: pytest.CaptureFixture[str]) -> None:
    """For programs, with times since 1970."""
    answer(played())
    assert main(["trace", "--last", "30s", "--json"]) == 0
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert (told["ok"], told["certain"], told["tempo"]) == (True, True, None)
    first = told["happened"][0]
    assert first["time"] == EIGHT + 1
    assert (first["what"], first["from"], first["message"], first["bytes"]) == (
        "arrival",
        "keys",
        "note-on 1 C4 100",
        "90 3C 64",
    )
    assert first["sent"][0] == {"port": "rack", "message": "note-on 4 C4 100", "bytes": "93 3C 64"}
    assert first["why"][0] == {"depth": 0, "text": 'rule "keys": matches'}
    assert told["held"][0] == {
        "from": "keys",
        "by_take": False,
        "what": "note C4",
        "channel": 1,
        "since": EIGHT + 1,
        "lets_go": [
            {"port": "rack", "message": "note-off 4 C4 64", "bytes": "83 3C 40"},
            {"port": "box", "message": "note-off 1 C4 64", "bytes": "80 3C 40"},
        ],
    }


def test_only_the_time_that_was_asked_for_is_told(answer: Answer, capsys: pytest.CaptureFixture[str]) -> None:
    """But all that is held."""
    performance = played()
    performance.now = 60_000 * MS
    performance.log.append((WALL, performance.now, 0, wall_data(EIGHT + 60)))
    answer(performance)
    assert main(["trace", "--last", "10s"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[:3] == ["Nothing arrived or went out in the last 10 s.", "", "Held now:"]
    assert "(59.0 s before the end)" in lines[3]


def test_much_is_cut_short(answer: Answer, capsys: pytest.CaptureFixture[str]) -> None:
    """The last things count; what a panic sends is only counted."""
    performance = Performance()
    for number in range(50):
        performance.now = (1000 + number) * MS
        performance.arrive(1, bytes((0x90, 70, 0)))
    performance.panic(False)
    answer(performance)
    assert main(["trace", "--last"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("... ")
    assert "earlier messages are left out (--json lists all)" in out
    assert "panic: everything was silenced" in out
    assert "more messages" in out
    assert out.endswith("Nothing is held.\n")


def test_what_differs_from_the_rules_is_told_apart() -> None:
    """A note-off goes where its note-on went, though the rules have changed."""
    performance = Performance()
    performance.arrive(0, ON)
    performance.replace(SECOND)
    performance.arrive(0, OFF)
    lines = list(HistoryReport(history_of(performance.log, 30_000 * MS)).lines(30))
    at = lines.index("    ends what its note-on began, whatever the rules are now")
    assert lines[at + 1 : at + 3] == ["      went to rack: note-off 4 C4 10", "      went to box: note-off 1 C4 10"]


def test_doubt_is_told() -> None:
    """Where the journal doesn't give what went out."""
    performance = played()
    performance.log = [record for record in performance.log if record[3] != ON]
    assert (
        "doesn't reach back far enough" in list(HistoryReport(history_of(performance.log, 30_000 * MS)).lines(30))[-1]
    )


def test_a_clock_is_told_as_its_tempo(answer: Answer, capsys: pytest.CaptureFixture[str]) -> None:
    """Not one by one."""
    performance = Performance()
    for number in range(60):
        performance.now = number * 20 * MS
        performance.arrive(1, b"\xf8")
    answer(performance)
    assert main(["trace", "--last"]) == 0
    assert "The clock runs at 125.0 BPM." in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["trace", "pit.toml", "--last", "30s"], "at the running daemon"),
        (["trace", "--last", "30s", "--switch", "up=on"], "at the running daemon"),
        (["trace", "pit.toml"], "write rule files and a message"),
        (["trace", "--from", "keys", "90 3C 64"], "write rule files and a message"),
        (["trace", "--last", "soon"], "isn't a length of time"),
    ],
)
def test_the_two_kinds_of_trace_are_kept_apart(
    arguments: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Rules and a message, or the daemon's last seconds."""
    assert main(arguments) == 2
    assert words in capsys.readouterr().err
