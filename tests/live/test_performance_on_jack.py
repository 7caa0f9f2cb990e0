"""A long performance over a real sound server: nothing is left sounding, and `rewrite` gives the same."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

import pytest

from router.cli.main import main
from rules.journal.format import HEAD, IN, LEFT, unpack
from rules.journal.replay import replay
from rules.smf.midi_file import read
from tests.live.daemon import Daemon
from tests.live.peer import Peer
from tests.live.server import JackServer, until
from tests.support.live_rig import silent
from tests.support.outgoing_records import went_out

MakeDaemon = Callable[..., Daemon]
MakePeer = Callable[..., Peer]

RULES = """
[ports]
keys = { input = "Keys:*" }
pads = { input = "Pads:*" }
rack = { output = "Rack:*" }
box = { output = "Box:*" }
[switches]
up = { from = "pads", note = "C-1" }
[[rules]]
name = "keys"
from = "keys"
steps = [{ transpose = 12, when = "up" }]
to = ["rack", "box"]
[[rules]]
name = "pads"
from = "pads"
steps = [{ delay = 5 }, { rechannel = { 2 = 1 } }]
to = "rack"
"""
OTHER = RULES.replace("transpose = 12", "transpose = -5").replace('["rack", "box"]', '"box"')


def hand(chance: random.Random, events: int) -> list[bytes | float]:
    """Notes, pedals, wheels at random."""
    messages: list[bytes | float] = []
    for _ in range(events):
        kind = chance.choice((0x90, 0x90, 0x80, 0x80, 0xB0, 0xE0))
        first = chance.choice((48, 60, 60, 62, 72)) if kind < 0xB0 else chance.choice((1, 64, 66, 67))
        messages.append(bytes((kind | chance.randrange(2), first, chance.choice((0, 1, 63, 64, 100, 127)))))
    return [*messages, 0.002]


@pytest.fixture
def jack(request: pytest.FixtureRequest) -> Iterator[JackServer]:
    """A server with long periods, which hardly ever loses anything, or with shorter ones."""
    server = JackServer(frames=getattr(request, "param", 1_024))
    try:
        server.start()
        yield server
    finally:
        server.close()


class PerformanceRig:
    """A daemon that records, two who play, and two who listen."""

    def __init__(self, daemon: MakeDaemon, peer: MakePeer) -> None:
        self.players = {"keys": peer("Keys", "out"), "pads": peer("Pads", "out")}
        self.listeners = {"rack": peer("Rack", "in"), "box": peer("Box", "in")}
        self.pulled = 0
        self.away = ""
        self.daemon = daemon(RULES)
        self.daemon.has_opened("keys", "pads", "rack", "box")

    def pull_cable(self, name: str) -> None:
        """Of a source."""
        self.daemon.has_opened(name)
        self.players[name].tell("unplug")
        self.away = name
        self.pulled += 1

    def put_cable_in(self) -> None:
        """Again, once it was missed."""
        self.daemon.hears_of("has gone", self.pulled)
        self.players[self.away].tell("plug")
        self.away = ""


@pytest.mark.timeout(600)  # its 200 reloads take over a minute and a half, and more on a busy computer
def test_nothing_is_left_sounding(daemon: MakeDaemon, peer: MakePeer, tmp_path: Path) -> None:
    """Ten thousand events, 200 reloads, 200 switches turned, 20 cables pulled: every note-on has its note-off, every
    pedal its release; and the journal, played again, gives the identical messages, ports and times."""
    chance = random.Random(7)
    rig = PerformanceRig(daemon, peer)
    router = rig.daemon
    journal = Path(router.ask("record", path=str(tmp_path / "night.mid"))["journal"])
    kept = tmp_path / "kept"
    kept.hardlink_to(journal)  # the daemon deletes its journal when the take is saved
    for part in range(200):
        for name, player in rig.players.items():
            if name != rig.away:
                player.play(*hand(chance, 40))
        assert router.reload((RULES, OTHER)[part % 2 == 0]) in ("applied", "unchanged")  # it may have seen it already
        router.ask("switch", name="up", value="on" if chance.random() < 0.5 else "off")
        if part % 10 == 3:
            rig.pull_cable(chance.choice(("keys", "pads")))
        elif part % 10 == 8:
            rig.put_cable_in()

    def arrived() -> list[int]:
        return [router.port(name)["messages"] for name in rig.players]

    until(lambda: min(arrived()) > 3_000 and sum(arrived()) > 9_000, "all events")
    assert router.said("new rules are in force") == 200
    assert router.ask("status")["errors"] == 0, router.lines
    assert router.leave() == 0
    records = list(unpack(kept.read_bytes(), len(HEAD)))
    assert LEFT in {record[0] for record in records}
    assert sum(record[0] == IN for record in records) > 9_000
    out = went_out(records)
    assert replay(records) == out
    for target, listener in enumerate(rig.listeners.values()):
        sent = [message for port, message, _ in out if port == target]
        assert silent(sent)
        assert _comes_from(sent, _all_of(listener))


def _comes_from(sent: Sequence[bytes], heard: Sequence[bytes]) -> bool:
    """Whether what was heard is what was sent: a busy sound server loses some and repeats some, but makes none up."""
    return set(heard) <= set(sent) and 2 * len(heard) > len(sent)


def _all_of(listener: Peer) -> list[bytes]:
    """What it hears until nothing more comes."""
    before = -1
    while before != len(listener.lines):
        before = len(listener.lines)
        time.sleep(0.3)
    return listener.heard


MARK = b"\xc5\x09"
TOGETHER = """
[ports]
keys = { input = "Keys:*" }
rack = { output = "Rack:*" }
box = { output = "Box:*" }
[switches]
up = { from = "keys", controller = "soft pedal", mode = "momentary" }
[[rules]]
name = "low"
from = "keys"
match = { notes = "..B3" }
steps = [{ velocity = { percent = 70 } }, { rechannel = 3 }]
to = "box"
[[rules]]
name = "high"
from = "keys"
match = { notes = "C4.." }
steps = [{ transpose = 12, when = "up" }, { delay = 10 }]
to = "rack"
[[rules]]
name = "echo"
from = "keys"
match = { kind = "note", channel = 2 }
steps = [{ echo = { ms = 30, times = 1, decay = 30, transpose = 1 } }]
to = "rack"
[[rules]]
name = "pressure"
from = "keys"
match = { kind = "channel-pressure" }
steps = [{ map = { from = "channel-pressure", to = "controller modulation" } }]
to = ["rack", "box"]
"""


@pytest.mark.parametrize("jack", [256], indirect=True)
def test_live_and_offline_are_the_same(daemon: MakeDaemon, peer: MakePeer, tmp_path: Path) -> None:
    """The same performance over ports and through `rewrite`: per output, channel and key or controller the same
    messages in the same order. Events are 20 ms apart, what becomes of them goes out half way in between."""
    played = [message for message in hand(random.Random(3), 120) if isinstance(message, bytes)]
    played += [bytes((0xD0, value)) for value in (30, 64, 0)]
    for channel in range(2):
        played += [bytes((0xB0 | channel, number, 0)) for number in (1, 64, 66, 67)]
        played += [bytes((0x80 | channel, key, 64)) for key in (48, 60, 60, 62, 72) * 4]
    keys, rack, box = peer("Keys", "out"), peer("Rack", "in"), peer("Box", "in")
    router = daemon(TOGETHER)
    router.has_opened("keys", "rack", "box")
    for message in played:
        keys.play(message, 0.02)
    marks: list[bytes | float] = [MARK, 0.05] * 5
    keys.play(0.2, *marks)
    until(lambda: (IN, MARK) in {(kind, data) for kind, _, _, data in router.journal()}, "all has been played")
    # A loop that was late takes the mark in before it sends what was due until then.
    until(lambda: router.ask("status")["held"] == 0, "all that was delayed has gone out")
    records = router.journal()
    came = [data for kind, _, _, data in records if kind == IN and data != MARK]
    assert _comes_from(played, came)
    offline = _rewritten(router.file, came, tmp_path)
    for target, (name, listener) in enumerate((("rack", rack), ("box", box))):
        live = _without_marks(message for port, message, _ in went_out(records) if port == target)
        assert _placed(live) == _placed(offline[name])
        assert _comes_from(live, _without_marks(_all_of(listener)))


def _without_marks(messages: Iterable[bytes]) -> list[bytes]:
    """What was played: it has no program changes."""
    return [message for message in messages if message[0] & 0xF0 != MARK[0] & 0xF0]


def _rewritten(rules: Path, played: Sequence[bytes], folder: Path) -> dict[str, list[bytes]]:
    """By output, what `rewrite` makes of a recording of it, a message each 20 ms."""
    body = b"".join(b"\x14" + message for message in played) + b"\x81\x00\xff\x2f\x00"
    header = b"MThd" + bytes((0, 0, 0, 6, 0, 0, 0, 1, 1, 0xF4))  # 500 ticks a quarter: a tick is a millisecond
    (folder / "take.mid").write_bytes(header + b"MTrk" + len(body).to_bytes(4) + body)
    arguments = [
        "rewrite",
        str(rules),
        str(folder / "take.mid"),
        "-o",
        str(folder / "out"),
        "--per-port",
        "--from",
        "keys",
    ]
    assert main(arguments) == 0
    found = {}
    for name in ("rack", "box"):
        (path,) = (folder / "out").glob(f"*{name}*")
        file = read(path.read_bytes())
        found[name] = [message for track in file.tracks for *_, message in file.events(track) if message[0] < 0xF0]
    return found


def _placed(messages: Sequence[bytes]) -> dict[tuple[int, int | None], list[bytes]]:
    """Messages in order, by channel and by key or controller."""
    found: dict[tuple[int, int | None], list[bytes]] = {}
    for message in messages:
        kind = message[0] & 0xF0
        status = message[0] | 0x10 if kind < 0xA0 else message[0]
        found.setdefault((status, message[1] if kind < 0xC0 else None), []).append(message)
    return found
