"""Daemon and clients over real sockets: what is asked, what is answered, and who can disturb whom."""

from __future__ import annotations

import base64
import contextlib
import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, cast

import pytest

from router.daemon import control_client
from router.daemon.control_client import ask_daemon, running_daemons
from router.daemon.control_server import LONGEST_QUESTION, ControlServer
from router.daemon.control_socket import TooLongError, lines_from
from router.text.usage import UsageError
from rules.errors import MachineError

ROOT = Path(__file__).parents[3]


@pytest.fixture
def login(monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A runtime folder with a path that is short enough for sockets."""
    with tempfile.TemporaryDirectory() as folder:
        monkeypatch.setenv("XDG_RUNTIME_DIR", folder)
        yield Path(folder)


class Daemon:
    """A daemon that can do three things, and remembers what was reported."""

    def __init__(self, name: str) -> None:
        self.reports: list[str] = []
        self.gate = threading.Event()
        self.waits = threading.Semaphore(0)
        self.panics = 0
        self.turned: dict[str, Any] = {}
        verbs = {
            "status": self.status,
            "switch": self.turn,
            "panic": self.panic,
            "wait": self.wait,
            "last": self.last,
            "broken": self.broken,
        }
        self.control = ControlServer(name, verbs, self.reports.append, streams={"watch": self.watch})

    def status(self, _: dict[str, Any]) -> Mapping[str, Any]:
        """Tell a little."""
        return {"held": 3, "name": "pit"}

    def turn(self, asked: dict[str, Any]) -> Mapping[str, Any]:
        """Turn a switch, of which there is one."""
        if asked["name"] != "song":
            raise MachineError(f"no switch {asked['name']}")
        self.turned = asked
        return {}

    def wait(self, _: dict[str, Any]) -> Mapping[str, Any]:
        """Take as long as the test wants."""
        self.waits.release()
        self.gate.wait(20)
        return {}

    def panic(self, _: dict[str, Any]) -> Mapping[str, Any]:
        """Count."""
        self.panics += 1
        return {}

    def last(self, asked: dict[str, Any]) -> Mapping[str, Any]:
        """Return so many bytes."""
        return {"journal": bytes(range(256)) * asked["many"], "seconds": 5}

    def watch(self, asked: dict[str, Any], pause: Callable[[float], bool]) -> Iterator[Mapping[str, Any]]:
        """Count, until the client leaves; or fail at a number."""
        number = 0
        while pause(0.001):
            if number == asked.get("fails_at"):
                raise MachineError("no more")
            yield {"number": number}
            number += 1
        self.waits.release()

    def broken(self, _: dict[str, Any]) -> Mapping[str, Any]:
        """Fail as nobody foresaw."""
        raise ValueError("one and one is three")


@pytest.fixture
def start(login: Path) -> Iterator[Callable[[str], Daemon]]:
    """Start daemons, and stop them after the test."""
    running: list[Daemon] = []

    def started(name: str = "pit") -> Daemon:
        daemon = Daemon(name)
        daemon.control.start()
        running.append(daemon)
        return daemon

    yield started
    for daemon in running:
        daemon.gate.set()
        daemon.control.stop()


@pytest.fixture
def daemon(start: Callable[[str], Daemon]) -> Daemon:
    """A running daemon of the name pit."""
    return start("pit")


def connected(login: Path, name: str = "pit") -> socket.socket:
    """A client that can behave as badly as it likes."""
    client = socket.socket(socket.AF_UNIX)
    client.connect(str(login / "pointsman" / f"{name}.sock"))
    client.settimeout(20)
    return client


def said(client: socket.socket) -> dict[str, Any]:
    """The next line that a client gets."""
    with client.makefile("rb") as lines:
        answer: dict[str, Any] = json.loads(lines.readline())
    return answer


def answered_when_there_is_room() -> dict[str, Any]:
    """The answer to a question that may have to wait until others have gone."""
    pause = threading.Event()
    for _ in range(2_000):
        try:
            return ask_daemon("pit", "status")
        except MachineError:
            pause.wait(0.01)
    raise AssertionError("there is never room")


@pytest.mark.usefixtures("daemon")
def test_a_question_is_answered() -> None:
    """What the daemon tells comes back as it is."""
    assert ask_daemon("pit", "status") == {"held": 3, "name": "pit"}


def test_arguments_come_along(daemon: Daemon) -> None:
    """An argument may be called name, though the daemon has one as well."""
    assert ask_daemon("pit", "switch", name="song", value="chorus") == {}
    assert daemon.turned == {"name": "song", "value": "chorus"}


@pytest.mark.usefixtures("daemon")
def test_a_refusal_comes_back_in_its_words() -> None:
    """What the daemon can't do is raised where it was asked for."""
    with pytest.raises(MachineError, match=r"^no switch verse$"):
        ask_daemon("pit", "switch", name="verse", value=None)


@pytest.mark.usefixtures("daemon")
@pytest.mark.parametrize("many", [0, 1, 191, 192, 193, 4_000])
def test_bytes_come_back_as_bytes(many: int) -> None:
    """Empty, in one piece, and in many."""
    assert ask_daemon("pit", "last", many=many) == {"journal": bytes(range(256)) * many, "seconds": 5}


def test_no_line_is_long_when_bytes_are_told(daemon: Daemon, login: Path) -> None:
    """A piece is small, so that encoding it holds nobody up."""
    with connected(login) as client:
        client.sendall(b'{"verb": "last", "many": 1000}\n')
        client.shutdown(socket.SHUT_WR)
        with client.makefile("rb") as lines:
            told = lines.readlines()
    assert len(told) == 7
    assert max(map(len, told)) < 70_000
    assert b"".join(base64.b64decode(json.loads(line)["piece"][1]) for line in told[:-1]) == bytes(range(256)) * 1000


def test_a_bug_is_reported_and_the_daemon_lives_on(daemon: Daemon) -> None:
    """Client and daemon both say what happened; the next question is answered."""
    with pytest.raises(MachineError, match="the daemon failed to answer: ValueError: one and one is three"):
        ask_daemon("pit", "broken")
    assert daemon.reports == ['control socket: {"verb": "broken"}: ValueError: one and one is three']
    assert ask_daemon("pit", "status")["held"] == 3


@pytest.mark.usefixtures("daemon")
@pytest.mark.parametrize(
    ("question", "words"),
    [
        (b"\n", "write a line of JSON"),
        (b"status\n", "write a line of JSON"),
        (b"\xff\xfe\n", "write a line of JSON"),
        (b"[" * 60_000 + b"\n", "write a line of JSON"),
        (b"[]\n", "doesn't know null; it knows broken, last, panic, status, switch, wait"),
        (b'{"verb": "dance"}\n', 'doesn\'t know "dance"; it knows'),
        (b'{"verb": ["status"]}\n', 'doesn\'t know ["status"]; it knows'),
        (b'{"verb": "switch"}\n', "KeyError"),
    ],
)
def test_nonsense_is_answered_in_words(login: Path, question: bytes, words: str) -> None:
    """The same client may go on with a better question."""
    with connected(login) as client:
        client.sendall(question + b'{"verb": "status"}\n')
        with client.makefile("rb") as lines:
            refused = json.loads(lines.readline())
            answer = json.loads(lines.readline())
    assert refused["ok"] is False
    assert words in refused["error"]
    assert answer == {"ok": True, "held": 3, "name": "pit"}


@pytest.mark.usefixtures("daemon")
def test_a_line_without_an_end_is_not_collected(login: Path) -> None:
    """The connection is closed once it is longer than any question."""
    with connected(login) as client:
        try:
            client.sendall(b"x" * (LONGEST_QUESTION + 200_000))
            end = client.recv(1)
        except (BrokenPipeError, ConnectionResetError):
            end = b""
    assert end == b""
    assert ask_daemon("pit", "status")["held"] == 3


@pytest.mark.usefixtures("daemon")
def test_the_longest_question_is_answered(login: Path) -> None:
    """It is as long as a question may be, and comes in pieces."""
    question = b'{"verb": "status"'.ljust(LONGEST_QUESTION - 1) + b"}"
    with connected(login) as client:
        client.sendall(question)
        client.sendall(b"\n")
        assert said(client) == {"ok": True, "held": 3, "name": "pit"}


class Pieces:
    """What a socket would hand over, piece by piece, and then nothing."""

    def __init__(self, *pieces: bytes) -> None:
        self._pieces = list(pieces)

    def settimeout(self, seconds: float) -> None:
        """Never wait."""

    def recv(self, most: int) -> bytes:
        """Return the next piece."""
        return self._pieces.pop(0) if self._pieces else b""


@pytest.mark.parametrize(
    "pieces", [(b"12345678", b"\n"), (b"1234", b"5678", b"\n"), (b"12345678\n", b"12345678", b"\n")]
)
def test_a_line_may_be_as_long_as_is_allowed(pieces: tuple[bytes, ...]) -> None:
    """Wherever it is cut; each line counts by itself."""
    lines = list(lines_from(cast(socket.socket, Pieces(*pieces)), 8, 1.0))
    assert lines == [b"12345678"] * b"".join(pieces).count(b"\n")


def test_a_line_that_is_longer_by_a_byte_ends_the_reading() -> None:
    """The lines before it have been read."""
    lines = lines_from(cast(socket.socket, Pieces(b"1\n123456789", b"\n2\n")), 8, 1.0)
    assert next(lines) == b"1"
    with pytest.raises(TooLongError):
        next(lines)


@pytest.mark.usefixtures("daemon")
def test_a_client_that_goes_without_listening_hurts_nobody(login: Path) -> None:
    """It asks for much and leaves; others are answered."""
    for _ in range(20):
        with connected(login) as client:
            client.sendall(b'{"verb": "last", "many": 4000}\n' * 3)
    assert answered_when_there_is_room()["held"] == 3


@pytest.mark.usefixtures("daemon")
def test_a_slow_answer_keeps_nobody_else_waiting(login: Path) -> None:
    """While one client waits, another is answered."""
    with connected(login) as slow:
        slow.sendall(b'{"verb": "wait"}\n')
        assert ask_daemon("pit", "status")["held"] == 3


@pytest.mark.usefixtures("daemon")
def test_the_client_that_keeps_the_daemon_waiting_longest_makes_room(login: Path) -> None:
    """Sixteen have been answered and stay: the first of them is left, the others keep their places."""
    crowd = [connected(login) for _ in range(16)]
    for client in crowd:
        client.sendall(b'{"verb": "status"}\n')
        assert said(client)["ok"]
    with connected(login) as late:
        late.sendall(b'{"verb": "status"}\n')
        assert said(late)["ok"]
    assert crowd[0].recv(1) == b""
    for client in crowd[1:]:
        client.sendall(b'{"verb": "status"}\n')
        assert said(client)["ok"]
    for client in crowd:
        client.close()


@pytest.mark.parametrize("slow", [b"", b'{"verb": "pan', b'{"verb": "last", "many": 4000}\n' * 3], ids=str)
def test_panic_gets_through_a_crowd_of_slow_clients(daemon: Daemon, login: Path, slow: bytes) -> None:
    """They say nothing, half a question, or don't listen to their answers."""
    crowd = [connected(login) for _ in range(40)]
    for client in crowd:
        with contextlib.suppress(BrokenPipeError):
            client.sendall(slow)
    assert ask_daemon("pit", "panic") == {}
    assert daemon.panics == 1
    for client in crowd:
        client.close()


def test_panic_gets_through_a_crowd_that_waits_for_the_daemon(daemon: Daemon, login: Path) -> None:
    """None of them is left, since each waits for its answer; whoever asks for less than panic is told so."""
    crowd = [connected(login) for _ in range(16)]
    for client in crowd:
        client.sendall(b'{"verb": "wait"}\n')
    for _ in crowd:
        assert daemon.waits.acquire(timeout=20)
    with pytest.raises(MachineError, match=r"^16 other programs wait for the daemon: try again later$"):
        ask_daemon("pit", "status")
    assert ask_daemon("pit", "panic") == {}
    assert daemon.panics == 1
    daemon.gate.set()
    for client in crowd:
        assert said(client) == {"ok": True}
        client.close()


def test_a_refusal_is_heard_though_the_question_got_nowhere(login: Path) -> None:
    """The other end has answered and closed before it was asked: its words count, not the broken pipe."""
    (login / "pointsman").mkdir(mode=0o700)
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(login / "pointsman" / "pit.sock"))
        listener.listen(1)

        def refuse() -> None:
            client, _ = listener.accept()
            with client:
                client.sendall(b'{"ok": false, "error": "go away"}\n')

        other = threading.Thread(target=refuse)
        other.start()
        with pytest.raises(MachineError, match=r"^go away$"):
            ask_daemon("pit", "panic", late="x" * 4_000_000)
        other.join()


@pytest.mark.usefixtures("daemon")
def test_a_daemon_that_does_not_answer_is_not_waited_for_long() -> None:
    """The error says how long."""
    with pytest.raises(MachineError, match=r'the daemon "pit" didn\'t answer within 0\.05 s'):
        ask_daemon("pit", "wait", patience_s=0.05)


@pytest.mark.usefixtures("login")
def test_nobody_there_is_said_with_the_way_out() -> None:
    """The words say how to start one, with its name where it isn't the usual."""
    with pytest.raises(MachineError, match=r'^there is no daemon named "pit": begin with .* --name pit$'):
        ask_daemon("pit", "status")
    with pytest.raises(MachineError, match=r'^there is no daemon named "pointsman": begin with pointsman run RULES$'):
        ask_daemon("pointsman", "status")


def test_daemons_of_other_names_are_named(start: Callable[[str], Daemon]) -> None:
    """Whoever forgot --name sees what to write."""
    start("pit")
    start("stage")
    assert running_daemons() == ["pit", "stage"]
    with pytest.raises(MachineError, match=r"\"pointsman\", but --name pit, --name stage: begin"):
        ask_daemon("pointsman", "status")


def test_only_the_user_can_reach_it(daemon: Daemon, login: Path) -> None:
    """Socket, lock and folder are closed to others."""
    assert (login / "pointsman" / "pit.sock").stat().st_mode & 0o777 == 0o600
    assert (login / "pointsman" / "pit.lock").stat().st_mode & 0o777 == 0o600
    assert (login / "pointsman").stat().st_mode & 0o777 == 0o700


def test_a_second_daemon_of_the_name_is_refused(start: Callable[[str], Daemon]) -> None:
    """It is told which process has the name, and the first one is still reached."""
    start("pit")
    with pytest.raises(MachineError, match=rf'"pit" runs already \(process {os.getpid()}\): use another --name'):
        ControlServer("pit", {}).start()
    assert ask_daemon("pit", "status")["held"] == 3


def test_it_is_refused_as_well_when_the_lock_was_tidied_away(start: Callable[[str], Daemon], login: Path) -> None:
    """Somebody emptied the folder for temporary files. The refused one doesn't keep the new lock."""
    first = start("pit")
    (login / "pointsman" / "pit.lock").unlink()
    with pytest.raises(MachineError, match='"pit" runs already: use'):
        ControlServer("pit", {}).start()
    assert ask_daemon("pit", "status")["held"] == 3
    first.control.stop()
    start("pit")
    assert ask_daemon("pit", "status")["held"] == 3


def test_it_is_refused_as_well_when_the_socket_was_tidied_away(start: Callable[[str], Daemon], login: Path) -> None:
    """Nobody reaches the first one any more, and it plays all the same: the lock alone tells."""
    start("pit")
    (login / "pointsman" / "pit.sock").unlink()
    with pytest.raises(MachineError, match=rf'"pit" runs already \(process {os.getpid()}\): use another --name'):
        ControlServer("pit", {}).start()
    assert not (login / "pointsman" / "pit.sock").exists()


def test_a_refused_daemon_leaves_the_name_to_the_first(start: Callable[[str], Daemon], login: Path) -> None:
    """Its words name the same process each time, and once that has stopped the name is free."""
    first = start("pit")
    for _ in range(2):
        refused = ControlServer("pit", {})
        with pytest.raises(MachineError, match=rf"\(process {os.getpid()}\)"):
            refused.start()
        refused.stop()
        assert ask_daemon("pit", "status")["held"] == 3
    assert (login / "pointsman" / "pit.lock").read_text() == f"{os.getpid()}\n"
    first.control.stop()
    assert start("pit").control.follows_a_crash is False


def test_the_process_that_has_a_name_is_told_whatever_the_lock_held_before(
    start: Callable[[str], Daemon], login: Path
) -> None:
    """The number of an earlier daemon was longer."""
    (login / "pointsman").mkdir(mode=0o700)
    (login / "pointsman" / "pit.lock").write_text("99999999999\n")
    start("pit")
    with pytest.raises(MachineError, match=rf"\(process {os.getpid()}\)"):
        ControlServer("pit", {}).start()


def test_a_daemon_that_gets_no_socket_gives_its_name_back(start: Callable[[str], Daemon], login: Path) -> None:
    """Something else is in its place; once that is gone, the name is free though the process still runs."""
    (login / "pointsman").mkdir(mode=0o700)
    (login / "pointsman" / "pit.sock").mkdir()
    refused = ControlServer("pit", {})
    with pytest.raises(MachineError, match=r"pit\.sock: the control socket can't be made"):
        refused.start()
    refused.stop()
    (login / "pointsman" / "pit.sock").rmdir()
    start("pit")
    assert ask_daemon("pit", "status")["held"] == 3


def test_a_lock_that_cannot_be_made_is_told(login: Path) -> None:
    """With its path and the reason."""
    (login / "pointsman").mkdir(mode=0o700)
    (login / "pointsman" / "pit.lock").mkdir()
    with pytest.raises(MachineError, match=r"pit\.lock: can't be made: it is a folder"):
        ControlServer("pit", {}).start()


def test_a_daemon_that_has_stopped_gives_its_name_back(start: Callable[[str], Daemon], login: Path) -> None:
    """Its socket is gone, and the next one can start; stopping twice is no harm."""
    first = start("pit")
    first.control.stop()
    first.control.stop()
    assert running_daemons() == []
    assert not (login / "pointsman" / "pit.sock").exists()
    start("pit")
    assert ask_daemon("pit", "status")["held"] == 3


def test_clients_that_hang_on_do_not_keep_it_from_stopping(daemon: Daemon, login: Path) -> None:
    """A client that says nothing is closed."""
    with connected(login) as client:
        client.sendall(b'{"verb": "status"}\n')
        assert said(client)["ok"]
        daemon.control.stop()
        assert client.recv(1) == b""


def test_what_a_killed_daemon_left_is_replaced(start: Callable[[str], Daemon], login: Path) -> None:
    """Killed without warning, it leaves a socket and a lock; neither keeps the next one from starting.

    What it left sounding is not forgotten before a daemon says that it has ended it.
    """
    program = (
        "import time; from router.daemon.control_server import ControlServer; "
        "ControlServer('pit', {}).start(); print('up', flush=True); time.sleep(60)"
    )
    with subprocess.Popen([sys.executable, "-c", program], cwd=ROOT, stdout=subprocess.PIPE) as killed:
        assert killed.stdout is not None
        assert killed.stdout.readline() == b"up\n"
        with pytest.raises(MachineError, match=rf"\(process {killed.pid}\)"):
            start("pit")
        killed.send_signal(signal.SIGKILL)
    assert (login / "pointsman" / "pit.sock").exists()
    with pytest.raises(MachineError, match='there is no daemon named "pit"'):
        ask_daemon("pit", "status")
    second = start("pit")
    assert ask_daemon("pit", "status")["held"] == 3
    assert second.control.follows_a_crash
    second.control.stop()
    third = start("pit")
    assert third.control.follows_a_crash
    third.control.follows_a_crash = False
    third.control.stop()
    assert not start("pit").control.follows_a_crash


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        (b"", 'the daemon "pit" broke off its answer: look at `pointsman status`'),
        (b'{"ok": tr', 'the daemon "pit" broke off'),
        (b"nonsense\n", "in the words of this version of Pointsman"),
        (b"[]\n", "in the words of this version of Pointsman"),
        (b'{"piece": 3}\n', "in the words of this version of Pointsman"),
        (b'{"piece": ["a", "%"]}\n{"ok": 1}\n', "in the words of this version of Pointsman"),
        (b"1" * 64, 'the daemon "pit" broke off'),
        (b"1" * 65, "in the words of this version of Pointsman"),
    ],
)
def test_an_answer_that_is_none_is_told(
    login: Path, monkeypatch: pytest.MonkeyPatch, answer: bytes, words: str
) -> None:
    """Whatever stands at the other end, the client ends with words; a line without an end is not collected."""
    monkeypatch.setattr(control_client, "LONGEST_ANSWER_LINE", 64)
    (login / "pointsman").mkdir(mode=0o700)
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(login / "pointsman" / "pit.sock"))
        listener.listen(1)

        def reply() -> None:
            client, _ = listener.accept()
            with client:
                client.recv(1000)
                client.sendall(answer)

        other = threading.Thread(target=reply)
        other.start()
        with pytest.raises(MachineError) as refused:
            ask_daemon("pit", "status")
        other.join()
    assert words in str(refused.value)


def test_a_daemon_that_lets_nobody_in_is_not_taken_for_dead(login: Path) -> None:
    """Its queue is full: a client gives up in words, and a second daemon of the name is refused."""
    (login / "pointsman").mkdir(mode=0o700)
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(login / "pointsman" / "pit.sock"))
        listener.listen(0)
        with connected(login):
            with pytest.raises(MachineError, match=r"didn't answer within 0\.05 s"):
                ask_daemon("pit", "status", patience_s=0.05)
            with pytest.raises(MachineError, match='"pit" runs already'):
                ControlServer("pit", {}).start()


def test_a_path_that_is_too_long_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A socket's path has an end; the words say what can be done."""
    folder = tmp_path / ("x" * 90)
    folder.mkdir(mode=0o700)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(folder))
    with pytest.raises(MachineError, match=r"longer than 103 bytes.* use a shorter --name, or set XDG_RUNTIME_DIR"):
        ControlServer("pit", {}).start()


def test_a_system_without_such_sockets_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """On Windows both ends say so."""
    monkeypatch.delattr(socket, "AF_UNIX")
    for attempt in (lambda: ControlServer("pit", {}).start(), lambda: ask_daemon("pit", "status")):
        with pytest.raises(MachineError, match="this system has no control sockets"):
            attempt()


def test_a_name_that_leads_elsewhere_is_refused() -> None:
    """Both ends refuse it before they look at any folder."""
    for attempt in (lambda: ControlServer("../pit", {}), lambda: ask_daemon("../pit", "status")):
        with pytest.raises(UsageError, match="a daemon's name is 1 to 32 letters"):
            attempt()


def test_a_stream_goes_on_until_the_client_leaves(login: Path, daemon: Daemon) -> None:
    """Line after line. Its place is free again then."""
    for _ in range(20):
        with connected(login) as client:
            client.sendall(b'{"verb": "watch"}\n')
            with client.makefile("rb") as lines:
                assert [json.loads(lines.readline())["number"] for _ in range(5)] == list(range(5))
    assert daemon.reports == []


def test_a_stream_that_can_t_go_on_says_why(login: Path, daemon: Daemon) -> None:
    """Then the client may ask for something else."""
    with connected(login) as client:
        client.sendall(b'{"verb": "watch", "fails_at": 2}\n{"verb": "status"}\n')
        with client.makefile("rb") as lines:
            told = [json.loads(lines.readline()) for _ in range(4)]
    assert told == [
        {"number": 0},
        {"number": 1},
        {"ok": False, "error": "no more"},
        {"ok": True, "held": 3, "name": "pit"},
    ]


def test_only_so_many_clients_get_streams(login: Path, daemon: Daemon) -> None:
    """The others are told so, and can still ask."""
    with contextlib.ExitStack() as opened:
        for _ in range(8):
            client = opened.enter_context(connected(login))
            client.sendall(b'{"verb": "watch"}\n')
            assert said(client) == {"number": 0}
        late = opened.enter_context(connected(login))
        late.sendall(b'{"verb": "watch"}\n')
        assert said(late) == {"ok": False, "error": "8 other programs watch the daemon: end one of them"}
        assert ask_daemon("pit", "status")["held"] == 3


def test_a_stream_ends_with_the_daemon(login: Path, daemon: Daemon) -> None:
    """Its thread too."""
    with connected(login) as client:
        client.sendall(b'{"verb": "watch"}\n')
        assert client.recv(1) == b"{"
        daemon.control.stop()
        data = b"{"
        while more := client.recv(65_536):
            data += more
        assert data.endswith(b"}\n")
    assert daemon.waits.acquire(timeout=20)


def test_a_client_that_doesn_t_read_its_stream_makes_room(login: Path, daemon: Daemon) -> None:
    """It keeps the daemon waiting, as any other that doesn't listen."""
    with contextlib.ExitStack() as opened:
        stuck = opened.enter_context(connected(login))
        stuck.sendall(b'{"verb": "watch"}\n')
        while not _is_awaited(daemon):
            said_nothing.wait(0.01)
        for _ in range(15):
            client = opened.enter_context(connected(login))
            client.sendall(b'{"verb": "wait"}\n')
            assert daemon.waits.acquire(timeout=20)
        assert ask_daemon("pit", "status")["held"] == 3
        daemon.gate.set()


said_nothing = threading.Event()


def _is_awaited(daemon: Daemon) -> bool:
    """Whether the daemon has waited for a client that gets a stream for a while: it has filled its socket."""
    clients = [client for client in daemon.control._clients if client.streams]
    before = [client.awaited_since for client in clients]
    said_nothing.wait(0.2)
    return bool(before) and before[0] is not None and before == [client.awaited_since for client in clients]
