"""What a client and the daemon say to each other while a take plays, over a real socket."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from tempfile import TemporaryDirectory
from typing import Any, TypeVar

import pytest

from router.daemon.control_client import DaemonConversation, ask_daemon
from router.daemon.control_server import ControlServer
from router.daemon.play_conversation import PlayConversation
from router.daemon.take_player import TakePlayer
from rules.errors import MachineError
from tests.support.live_rig import MS, OFF, ON, LiveRig

T = TypeVar("T")
BEGIN = {"file": "pit.mid", "seconds": 2.0, "as": ["keys"], "by_clock": False}


class Stage:
    """The loop of a daemon, which plays whenever somebody asks."""

    def __init__(self) -> None:
        self.rig = LiveRig()
        self.rig.live.begin()
        self.takes: TakePlayer = self.rig.live.takes

    def do(self, work: Callable[[], T]) -> T:
        """Do it, and play what is due 20 ms later."""
        result = work()
        self.rig.now += 20 * MS
        self.takes.tend(self.rig.now)
        return result

    def inputs(self) -> list[str]:
        """Those of the rules."""
        return self.rig.live.inputs()

    def now_ns(self) -> int:
        """What time it is."""
        return self.rig.now

    def prepare_take(self, source: str) -> None:
        """As the daemon does."""
        self.rig.live.prepare_take(source)

    def order_take(self, order: str) -> None:
        """As a switch would."""
        self.rig.live.order_take(order)


@pytest.fixture
def stage(monkeypatch: pytest.MonkeyPatch) -> Iterator[Stage]:
    """A daemon that answers to `play`, in a runtime folder of its own; its path is short, as sockets want it."""
    with TemporaryDirectory(prefix="pm") as folder:
        monkeypatch.setenv("XDG_RUNTIME_DIR", folder)
        stage = Stage()
        control = ControlServer("pit", {}, conversations={"play": lambda: PlayConversation(stage)})
        control.start()
        yield stage
        control.stop()


@pytest.fixture
def client(stage: Stage) -> Iterator[DaemonConversation]:
    """Somebody who plays."""
    client = DaemonConversation("pit", "play")
    yield client
    client.close()


def test_a_take_is_begun_fed_and_heard(stage: Stage, client: DaemonConversation) -> None:
    """From the inputs that there are to the end of all."""
    assert client.ask() == {"inputs": ["keys", "pads"]}
    turn = client.ask(begin=BEGIN)["turn"]
    told = client.ask(
        feed=[[0, None, 1, 0.0], [0, 0, ON.hex()], [10 * MS, 0, OFF.hex()]], turn=turn, until=20 * MS, last=True
    )
    assert (told["bar"], told["seconds"], told["paused"]) == (1, 0.0, False)
    client.ask()
    assert client.ask()["over"]
    assert stage.rig.rack.messages[1:] == [ON, OFF]


def test_a_long_message_comes_in_pieces(stage: Stage, client: DaemonConversation) -> None:
    """No question is longer than the daemon reads."""
    turn = client.ask(begin=BEGIN)["turn"]
    client.ask(feed=[[0, 0, "F0 7D", 1]], turn=turn, until=0, last=False)
    client.ask(feed=[[0, 0, "01 F7"]], turn=turn, until=0, last=True)
    client.ask()
    assert stage.rig.rack.messages[-1] == bytes.fromhex("F0 7D 01 F7")


def test_what_the_take_holds_ends_with_the_connection(stage: Stage, client: DaemonConversation) -> None:
    """However the client leaves; another one may play then."""
    turn = client.ask(begin=BEGIN)["turn"]
    client.ask(feed=[[0, 0, ON.hex()]], turn=turn, until=0, last=False)
    client.ask()
    client.close()
    other = DaemonConversation("pit", "play")
    while "turn" not in _begun(other):
        pass
    assert stage.rig.rack.messages[1:] == [ON, OFF]
    other.close()


def _begun(client: DaemonConversation) -> dict[str, Any]:
    try:
        return client.ask(begin=BEGIN)
    except MachineError:  # the daemon hasn't noticed yet that the other one left
        return {}


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"begin": {"file": "pit.mid"}}, "not understood"),
        ({"begin": {**BEGIN, "as": []}}, "one input or more"),
        ({"begin": {**BEGIN, "as": ["organ"]}}, 'no input named "organ"'),
        ({"feed": [[0, 0, "90 3C"]], "turn": 0, "until": 0, "last": False}, "has 3 bytes, not 2"),
        ({"feed": [[0, 0]], "turn": 0, "until": 0, "last": False}, "not understood"),
        ({"feed": 5, "turn": 0, "until": 0, "last": False}, "not understood"),
        ({"feed": [[0, 0, "00" * 20_000, 1]] * 51, "turn": 0, "until": 0, "last": False}, 'daemon "pit" has ended'),
        ({"order": "take a bow"}, "an order is one of take end, take next, take pause"),
        ({"wait_ms": "long"}, "not understood"),
    ],
)
def test_what_is_not_understood_is_said(
    stage: Stage, client: DaemonConversation, asked: dict[str, Any], said: str
) -> None:
    """And the daemon plays on."""
    with pytest.raises(MachineError, match=said):
        client.ask(**asked)
    assert stage.takes.status() is None


def test_orders_come_from_the_client_too(stage: Stage, client: DaemonConversation) -> None:
    """What is typed at its terminal."""
    client.ask(begin=BEGIN)
    assert client.ask(order="take pause")["paused"]
    assert client.ask(order="take next")["orders"] == ["take next"]


def test_a_daemon_that_has_gone_is_named(stage: Stage) -> None:
    """In words; and the verbs of conversations are among those that are known."""
    with pytest.raises(MachineError, match='there is no daemon named "stage"'):
        DaemonConversation("stage", "play")
    with pytest.raises(MachineError, match="it knows play"):
        ask_daemon("pit", "sing")
