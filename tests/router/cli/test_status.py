"""`pointsman status`, from the command line to a daemon's answer over a real socket."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from typing import Any

import pytest

from router.cli.status import Screen, StatusSettings, status
from router.cli.status_words import status_lines
from router.files.clock import Clock
from rules.errors import MachineError
from tests.support.command_shell import CommandShell
from tests.support.fake_clock import SECOND_NS, FakeClock
from tests.support.fake_daemon import STATUS, PlayedDaemon
from tests.support.pages import PAGES

APPLIED = time.strftime("%Y-%m-%d %H:%M:%S", time.localtime(STATUS["rules"]["applied"]))
WORDS = f"""\
pit has run for 2 h 13 min; process 4711, version 0.1.0

Look at this:
  output cable_b is missing: Pointsman waits for it
  output cable_b: 17 messages lost

Switches:
  giant  off
  place  cave
  key    -2

port           state    computer's port      messages  lost  DIN load
keyboard  in   open     Pit Keyboard MIDI 1    12,034     -         -
cable_a   out  open     Pit Interface 1         2,018     -      12 %
cable_b   out  missing  -                           0    17       0 %

held notes  3
tempo       124 BPM, from the clock of keyboard
clock       runs, bar 5, beat 2
latency     half within 5 µs, 99 % within 24 µs, 99.9 % within 1.2 ms
realtime    yes; memory locked
no match    2 messages from keyboard, the last: note-on 3 C2 90
history     10 min 0 s, 3.3 MB
errors      none
recording   no

Rules in force since {APPLIED}: pit.toml, drums.toml
"""


@pytest.mark.usefixtures("daemon")
def test_it_is_told_in_words(shell: CommandShell) -> None:
    """Ports in columns, then what is held, the tempo, the latency, the switches and the rules."""
    answer = shell.run("status", "--name", "pit")
    assert (answer.code, answer.err) == (0, "")
    assert answer.out == WORDS


def test_the_manual_shows_it() -> None:
    """Its page has the same lines, but for the day."""
    assert f"```text\n{WORDS.replace(APPLIED, '2026-11-25 20:30:00')}```\n" in PAGES["status"]


@pytest.mark.usefixtures("daemon")
def test_it_is_told_as_data(shell: CommandShell) -> None:
    """All that the daemon tells."""
    answer = shell.run("status", "--name", "pit", "--json")
    assert (answer.code, answer.err) == (0, "")
    assert answer.data == {"command": "status", "ok": True, **STATUS}


def told_in(width: int, **changes: Any) -> list[str]:
    """The lines for a daemon in another state, on a screen of so many columns."""
    return status_lines({**STATUS, **changes}, width)


def told(**changes: Any) -> list[str]:
    """The lines for a daemon that is in another state."""
    return status_lines({**STATUS, **changes}, 80)


def test_before_anything_was_played() -> None:
    """No latency yet, and a tempo without a clock: of the rules, a tap, a song, or a clock that stopped."""
    lines = told(
        latency_us={"p50": None, "p99": None, "p99.9": None}, clock={**STATUS["clock"], "bpm": 92.5, "from": None}
    )
    assert "latency     no note or message yet" in lines
    assert "tempo       92.5 BPM; no clock arrives" in lines


def test_a_short_history_is_told_in_the_unit_that_fits() -> None:
    """Its first minute isn't 0.0 MB."""
    lines = told_in(80, history={"seconds": 20, "bytes": 1_500})
    assert "history     20 s, 1.5 kB" in lines
    assert "history     20 s, 0.1 MB" in told_in(80, history={"seconds": 20, "bytes": 100_000})


def test_the_tempo_of_a_take_is_said_to_be_its_own() -> None:
    """The input that it plays as has no clock. Its bars are those of the recording, which the line "playing" says."""
    lines = told(clock={**STATUS["clock"], "take": True})
    assert "tempo       124 BPM, from the recording that plays as keyboard" in lines
    assert not any(line.startswith("clock") for line in lines)


def test_what_is_not_there_takes_no_room() -> None:
    """No switches, no heading for them; no ports is said."""
    lines = told(switches={}, ports=[])
    assert "Switches:" not in lines
    assert "The rule files have no ports." in lines


def test_files_that_can_not_be_used_are_told() -> None:
    """At the top: what is wrong, and that the old rules play on."""
    error = "pit.toml:3: not TOML\npit.toml:9: no such port"
    lines = told(rules={**STATUS["rules"], "error": error, "refused": "files"})
    at = lines.index("  the rule files have changed, and can't be used; the rules from before play on:")
    assert at < lines.index("Switches:")
    assert lines[at + 1 : at + 3] == ["    pit.toml:3: not TOML", "    pit.toml:9: no such port"]


def test_trouble_comes_first() -> None:
    """Errors, stalls, ports that aren't there, and cables that are too busy; nothing where all is well."""
    ports = [
        {**STATUS["ports"][0], "state": "ambiguous"},
        {**STATUS["ports"][1], "load": 0.95},
        {**STATUS["ports"][2], "state": "server lost", "lost": 1, "refused": 0},
    ]
    lines = told(errors=1, stalls=2, missed=1_700, excess={"cable_a": 1_200, "": 1}, ports=ports)
    assert lines[1:12] == [
        "",
        "Look at this:",
        "  input keyboard is ambiguous: more than one port of the computer fits",
        "  output cable_a: its DIN cable is 95 % busy",
        "  output cable_b is lost: the sound server doesn't answer",
        "  output cable_b: 1 message lost",
        "  1 error, listed in the log",
        "  1,700 messages came in faster than Pointsman can take them, and got lost",
        "  output cable_a: 1,200 delayed messages dropped, more than 10,000 at once",
        "  steps that wait: 1 delayed message dropped, more than 10,000 at once",
        "  the daemon could not run, 2 times; messages may be lost, see the log",
    ]
    assert "Look at this:" not in told(ports=STATUS["ports"][:2])


@pytest.mark.parametrize("width", [40, 80])
def test_it_fits_the_screen(width: int) -> None:
    """Long names lose their middle, long lines go on below; nothing is cut."""
    ports = [
        {**port, "name": f"{port['name']} of the stage on the left", "messages": 9_999_999} for port in STATUS["ports"]
    ]
    ports[0]["computer_port"] = "Pit Keyboard of a long name:Pit Keyboard of a long name MIDI 1"
    rules = {**STATUS["rules"], "error": f"{'pit.toml: no ' * 9}", "refused": "files"}
    lines = told_in(width, ports=ports, errors=1_200, rules=rules)
    assert max(map(len, lines)) <= width
    shown = " ".join(" ".join(lines).split())
    assert "99.9 % within 1.2 ms" in shown
    assert "9,999,999" in shown
    assert any(line.startswith("keyb") and "..." in line for line in lines)


def test_rules_that_ran_last_are_told_loudly() -> None:
    """With `--last-good`, the rules that play aren't those of the files: that comes before what is wrong with them."""
    lines = told(rules={**STATUS["rules"], "last_good": True, "error": "pit.toml:3: not TOML"})
    at = lines.index("  the rule files couldn't be used; the rules that ran last play:")
    assert lines[at + 1].strip() == "pit.toml:3: not TOML"
    assert at < lines.index("Switches:")


def test_switches_that_were_restored_are_told() -> None:
    """After a crash they stand as before, which may not be what the rule files say."""
    assert "Switches, restored after a crash:" in told(switches_began="restored")


def test_what_made_way_for_a_panic_is_told() -> None:
    """It is no fault, so it isn't among what was lost."""
    cables = [{**port, "dropped": 600} for port in STATUS["ports"] if port["direction"] == "out"]
    assert "dropped     1,200 messages that waited at a panic" in told(ports=cables)


def test_errors_and_recordings_are_told() -> None:
    """How many mistakes there were, and where the recording goes."""
    lines = told(errors=1_200, recording="/takes/monday.mid")
    assert "errors      1,200" in lines
    assert "  1,200 errors, listed in the log" in lines
    assert "recording   /takes/monday.mid" in lines


def test_long_names_leave_room_for_the_rest() -> None:
    """A line fits 80 columns: computers' names lose their middle first, then those of the rule file."""
    long = {"name": "the keyboard at the left side of the stage", "computer_port": "Pit Interface " * 4 + "MIDI 1"}
    lines = told(ports=[{**port, **long} for port in STATUS["ports"]])
    assert all(len(line) <= 80 for line in lines)
    lines = [line for line in lines if line.startswith(("port", "the k"))]
    assert len(lines) == 4
    assert lines[1].startswith("the k")
    assert "Pit I...DI 1" in lines[1]


def test_names_can_not_upset_the_terminal() -> None:
    """A computer's port may be called anything."""
    port = {**STATUS["ports"][0], "computer_port": "evil\x1b[2J"}
    assert any("evil\\x1b[2J" in line for line in told(ports=[port]))


class Ended:
    """Lets a watch look so many times, then presses Ctrl-C; `meanwhile` runs in each pause."""

    def __init__(self, looks: int, meanwhile: Callable[[int], None] = lambda _: None) -> None:
        self.left = looks
        self.meanwhile = meanwhile

    def __call__(self, seconds: float) -> None:
        """A pause."""
        assert seconds == 1.0
        self.left -= 1
        self.meanwhile(self.left)
        if not self.left:
            raise KeyboardInterrupt


def test_watching_gives_a_line_of_data_each_time(daemon: PlayedDaemon, capsys: pytest.CaptureFixture[str]) -> None:
    """Each is the state of then; Ctrl-C is the end, and no failure."""

    def press(left: int) -> None:
        daemon.status = {**STATUS, "held": left}

    assert status(StatusSettings("pit", watch=True, json=True), Clock(sleep_s=Ended(3, press))) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [json.loads(line)["held"] for line in lines] == [3, 2, 1]


def test_watching_outlives_the_daemon(daemon: PlayedDaemon, capsys: pytest.CaptureFixture[str]) -> None:
    """Whoever starts it anew needn't start watching anew."""

    def restart(left: int) -> None:
        if left == 2:
            daemon.control.stop()
        if left == 1:
            again.control.start()

    again = PlayedDaemon()
    try:
        assert status(StatusSettings("pit", watch=True, json=True), Clock(sleep_s=Ended(3, restart))) == 0
    finally:
        again.control.stop()
    first, away, last = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert (first["ok"], away["ok"], last["ok"]) == (True, False, True)
    assert away["error"].startswith('there is no daemon named "pit"')


@pytest.mark.usefixtures("daemon")
def test_watching_without_a_terminal_goes_line_by_line(capsys: pytest.CaptureFixture[str]) -> None:
    """Into a file or a pipe go pictures one after the other, without control sequences."""
    assert status(StatusSettings("pit", watch=True), Clock(sleep_s=Ended(2))) == 0
    assert capsys.readouterr().out == f"{WORDS}\n" * 2


def test_a_screen_shows_what_fits_and_how_much_more_there_is(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The trouble is on it; the terminal is given back, and the state at the end stays to be read."""
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("LINES", "9")
    screen = Screen()
    screen(STATUS)
    shown = capsys.readouterr().out
    assert shown.startswith("\x1b[?1049h\x1b[?25l\x1b[2J\x1b[H")
    assert shown.endswith("\x1b[J")
    rows = shown.partition("\x1b[H")[2].split("\x1b[K\n")
    assert rows == [*WORDS.splitlines()[:7], "20 more lines", "\x1b[J"]
    screen.leave()
    assert capsys.readouterr().out == "\x1b[?25h\x1b[?1049l" + WORDS


def test_colours_take_no_room_on_a_screen(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """A line is cut by what is seen of it, and its colour ends with it."""
    monkeypatch.setattr("router.text.terminal.shows_colour", lambda _: True)
    monkeypatch.setenv("COLUMNS", "8")
    monkeypatch.setenv("LINES", "40")
    screen = Screen()
    screen(STATUS)
    rows = capsys.readouterr().out.partition("\x1b[H")[2].split("\x1b[K\n")
    assert "\x1b[31m  output\x1b[0m" in rows


def test_a_daemon_that_does_not_answer_leaves_no_figures(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """There is no answer, for how long and why; what was shown before would look as if it were so now."""
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("LINES", "40")
    time = FakeClock()
    screen = Screen(time.clock)
    screen(STATUS)
    capsys.readouterr()
    time.now += 75 * SECOND_NS
    screen(MachineError('the daemon "pit" didn\'t answer within 2 s'))
    rows = capsys.readouterr().out.partition("\x1b[H")[2].split("\x1b[K\n")
    assert rows == [
        "No answer for 1 min 15 s. Waiting for the daemon, until Ctrl-C.",
        "",
        'the daemon "pit" didn\'t answer within 2 s',
        "",
        "Ctrl-C ends the view; the daemon plays on.",
        "\x1b[J",
    ]


def test_watching_waits_for_a_daemon(
    shell: CommandShell, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It isn't there yet; as soon as it is, it is shown."""
    shell.folder.chmod(0o700)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(shell.folder))
    played = PlayedDaemon()

    def start(left: int) -> None:
        if left == 1:
            played.control.start()

    try:
        assert status(StatusSettings("pit", watch=True), Clock(sleep_s=Ended(2, start))) == 0
    finally:
        played.control.stop()
    first, _, then = capsys.readouterr().out.partition("\n\n")
    assert first == "No answer. Waiting for the daemon, until Ctrl-C."
    assert then.startswith('there is no daemon named "pit"')
    assert then.endswith(f"\n\n{WORDS}\n")


@pytest.mark.parametrize("arguments", [["status"], ["panic"], ["reload"], ["switch"]])
def test_without_a_daemon_all_say_how_to_start_one(
    shell: CommandShell, monkeypatch: pytest.MonkeyPatch, arguments: list[str]
) -> None:
    """Exit code 2, in words and as data."""
    shell.folder.chmod(0o700)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(shell.folder))
    answer = shell.run(*arguments)
    assert (answer.code, answer.out) == (2, "")
    assert answer.err == (
        f'pointsman {arguments[0]}: there is no daemon named "pointsman": begin with pointsman run RULES\n'
    )
    answer = shell.run(*arguments, "--json")
    assert (answer.code, answer.data["ok"], answer.data["command"]) == (2, False, arguments[0])


def test_a_name_that_none_can_have(shell: CommandShell) -> None:
    """It is the command line that is wrong."""
    answer = shell.run("status", "--name", "../etc")
    assert (answer.code, answer.out) == (2, "")
    assert "a daemon's name is 1 to 32 letters" in answer.err


def test_what_plays_is_told() -> None:
    """File, inputs, bar and time; without bars no bar, and nothing where nothing plays. One that waits has no time."""
    place = {"seconds": 33.5, "of": 192.3, "bar": 17, "paused": False, "waits": False}
    playing = {"file": "pit.mid", "as": ["keys", "pads"], **place}
    assert "playing     pit.mid as keys, pads: bar 17, 0:34 of 3:12" in told(playing=playing)
    paused = {**playing, "bar": 0, "paused": True}
    assert "playing     pit.mid as keys, pads: 0:34 of 3:12, paused" in told(playing=paused)
    waiting = {**paused, "waits": True}
    assert "playing     pit.mid as keys, pads: waits to begin" in told(playing=waiting)
    assert not any(line.startswith("playing") for line in told())


def test_the_song_and_the_next_one_are_told() -> None:
    """At the end of the list there is none, unless it goes round."""
    songs = {"names": ["Harbour", "Tide"], "at": 0, "wrap": False}
    assert "song        Harbour, 1 of 2; next: Tide" in told(songs=songs)
    assert "song        Tide, 2 of 2; the last song" in told(songs={**songs, "at": 1})
    assert "song        Tide, 2 of 2; next: Harbour" in told(songs={**songs, "at": 1, "wrap": True})
