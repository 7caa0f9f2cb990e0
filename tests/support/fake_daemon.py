"""Daemons for tests: real sockets, and behind them answers that a test decides."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from router.daemon.control_server import ControlServer
from rules.errors import MachineError

STATUS: dict[str, Any] = {
    "name": "pit",
    "pid": 4711,
    "version": "0.1.0",
    "running_s": 7985,
    "ports": [
        {
            "name": "keyboard",
            "direction": "in",
            "state": "open",
            "computer_port": "Pit Keyboard MIDI 1",
            "messages": 12_034,
            "lost": 0,
            "refused": 0,
            "dropped": 0,
            "load": None,
            "nowhere": 2,
            "nowhere_last": "92 24 5A",
        },
        {
            "name": "cable_a",
            "direction": "out",
            "state": "open",
            "computer_port": "Pit Interface 1",
            "messages": 2_018,
            "lost": 0,
            "refused": 0,
            "dropped": 0,
            "load": 0.124,
            "nowhere": 0,
            "nowhere_last": None,
        },
        {
            "name": "cable_b",
            "direction": "out",
            "state": "missing",
            "computer_port": None,
            "messages": 0,
            "lost": 12,
            "refused": 5,
            "dropped": 0,
            "load": 0.0,
            "nowhere": 0,
            "nowhere_last": None,
        },
    ],
    "held": 3,
    "switches": {"giant": False, "place": "cave", "key": -2},
    "songs": None,
    "switches_began": "initial",
    "clock": {"from": "keyboard", "take": False, "bpm": 124.0, "running": True, "beats": 17.5, "beats_a_bar": 4},
    "rules": {
        "files": ["pit.toml", "drums.toml"],
        "applied": 1_795_610_000.0,
        "last_good": False,
        "error": None,
        "refused": None,
    },
    "latency_us": {"p50": 5.1, "p99": 24.4, "p99.9": 1_240.0},
    "errors": 0,
    "stalls": 0,
    "excess": {},
    "realtime": {"priority": 4, "memory_locked": True},
    "missed": 0,
    "history": {"seconds": 600, "bytes": 3_260_000},
    "recording": None,
    "playing": None,
}


class PlayedDaemon:
    """A daemon that remembers what it was asked. Tests change `status`, `outcome`, `sets_tempo` and `keeps_tempo`."""

    def __init__(self, name: str = "pit") -> None:
        self.status: dict[str, Any] = {**STATUS, "switches": dict(STATUS["switches"]), "rules": dict(STATUS["rules"])}
        self.outcome: dict[str, Any] = {"outcome": "applied", "words": ["rules: 2 new, 1 gone"]}
        self.sets_tempo: str | None = "own"
        self.keeps_tempo = False
        self.asked: list[tuple[str, dict[str, Any]]] = []
        verbs = {"status": self._tell, "panic": self._panic, "switch": self._turn, "reload": self._reload}
        verbs |= {"clock": self._order_clock, "tap": self._tap}
        self.control = ControlServer(name, verbs)

    def _tell(self, asked: dict[str, Any]) -> Mapping[str, Any]:
        self.asked.append(("status", asked))
        return self.status

    def _panic(self, asked: dict[str, Any]) -> Mapping[str, Any]:
        self.asked.append(("panic", asked))
        return {}

    def _order_clock(self, asked: dict[str, Any]) -> Mapping[str, Any]:
        self.asked.append(("clock", asked))
        changes = {"bpm": asked["bpm"]} if "bpm" in asked else {"running": asked["do"] != "stop"}
        if self.keeps_tempo:
            changes.pop("bpm", None)
        return {"clock": {**self.status["clock"], "from": self.sets_tempo, **changes}}

    def _tap(self, asked: dict[str, Any]) -> Mapping[str, Any]:
        self.asked.append(("tap", asked))
        return {"clock": {**self.status["clock"], "from": self.sets_tempo, "beats": None}}

    def _reload(self, asked: dict[str, Any]) -> Mapping[str, Any]:
        self.asked.append(("reload", asked))
        return self.outcome

    def _turn(self, asked: dict[str, Any]) -> Mapping[str, Any]:
        self.asked.append(("switch", asked))
        if asked["name"] not in self.status["switches"]:
            raise MachineError(f"no such switch: {asked['name']}")
        self.status["switches"][asked["name"]] = True if asked["value"] is None else asked["value"]
        if self.status["songs"] is not None:
            self.status["songs"]["at"] = self.status["songs"]["names"].index(self.status["switches"]["song"])
        return {}

    def have_songs(self, *names: str, at: int = 0, wrap: bool = False) -> None:
        """Play songs in order."""
        self.status["songs"] = {"names": list(names), "at": at, "wrap": wrap}
        self.status["switches"]["song"] = names[at]
