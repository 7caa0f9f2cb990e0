"""The unit and the start script in examples/: they start what there is, and let it end what sounds."""

from __future__ import annotations

import os
import signal
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from router.cli.main import main
from router.daemon.realtime import PRIORITY
from router.midi.port_manager import LONGEST_FLUSH_NS

EXAMPLES = Path(__file__).parents[1] / "examples"
UNIT = (EXAMPLES / "pointsman.service").read_text(encoding="utf-8")
SETTINGS = dict(line.split("=", 1) for line in UNIT.splitlines() if "=" in line and not line.startswith("#"))


def test_the_unit_starts_the_daemon(capsys: pytest.CaptureFixture[str]) -> None:
    """The command that it starts is one that we have, with a folder of rule files."""
    program, command, option, rules = SETTINGS["ExecStart"].split()
    assert program.endswith("/pointsman")
    assert rules.startswith("%h/")
    assert main([command, "--help"]) == 0
    told = capsys.readouterr().out
    assert "RULES" in told
    assert option == "--last-good"
    assert option in told


def test_the_unit_waits_watches_and_restarts() -> None:
    """Ready when it says so, ended when it hangs, started again when it fails, reloaded by SIGHUP.

    Whoever is told to leave has the time that the last note-offs may take.
    """
    assert SETTINGS["Type"] == "notify"
    assert 5 <= int(SETTINGS["WatchdogSec"]) <= 60
    assert SETTINGS["Restart"] == "on-failure"
    assert SETTINGS["ExecReload"] == "kill -HUP $MAINPID"
    assert (
        int(SETTINGS["TimeoutStopSec"]) * 1_000_000_000 >= LONGEST_FLUSH_NS + 3_000_000_000
    )  # and then files are closed


def test_the_unit_asks_for_real_time() -> None:
    """Enough for the daemon's loop and for the threads that a JACK server asks for; and for any memory."""
    assert int(SETTINGS["LimitRTPRIO"]) >= PRIORITY
    assert SETTINGS["LimitMEMLOCK"] == "infinity"


def test_the_unit_lets_midi_through() -> None:
    """The devices of ALSA, the shared memory of JACK, real time, and the folder of the control socket stay open."""
    assert SETTINGS["DeviceAllow"] == "char-alsa rw"
    assert not {"PrivateDevices", "RestrictRealtime", "PrivateTmp", "PrivateIPC"} & SETTINGS.keys()
    assert SETTINGS["RestrictAddressFamilies"] == "AF_UNIX"
    assert (SETTINGS["RuntimeDirectory"], SETTINGS["RuntimeDirectoryMode"]) == ("pointsman", "0700")
    assert "%h" in SETTINGS["ReadWritePaths"].split()


PROGRAM = """\
#!/bin/sh
echo "$@" >>"$HOME/calls"
case $(wc -l <"$HOME/calls") in
1) exit 2 ;;
2) kill -KILL $$ ;;
3) trap 'echo "ended what sounded" >>"$HOME/calls"; exit 0' TERM; echo >"$HOME/plays"; while :; do :; done ;;
esac
"""


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A home with a daemon that fails twice and then plays, and with pauses that take no time."""
    programs = tmp_path / ".local/bin"
    programs.mkdir(parents=True)
    for name, text in (("pointsman", PROGRAM), ("sleep", "#!/bin/sh\n")):
        (programs / name).write_text(text)
        (programs / name).chmod(0o755)
    os.mkfifo(tmp_path / "plays")
    return tmp_path


@pytest.fixture
def script(home: Path) -> Iterator[subprocess.Popen[bytes]]:
    """The start script, started."""
    with subprocess.Popen([EXAMPLES / "start-pointsman", "my rules"], env={**os.environ, "HOME": str(home)}) as started:
        yield started
        started.kill()


def test_the_script_starts_it_again_until_it_is_told_to_leave(home: Path, script: subprocess.Popen[bytes]) -> None:
    """After a failure and after a crash; whoever ends the script ends the daemon, which ends what sounds."""
    assert (home / "plays").read_text() == "\n"
    script.send_signal(signal.SIGTERM)
    assert script.wait(timeout=20) == 0
    assert (home / "calls").read_text().splitlines() == ["run --last-good my rules"] * 3 + ["ended what sounded"]
    log = (home / "pointsman.log").read_text()
    assert "ended with exit code 2; starting it again in 3 s" in log
    assert "ended with exit code 137; starting it again in 3 s" in log
