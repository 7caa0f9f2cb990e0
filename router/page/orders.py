"""What a browser may ask for, and what that asks of the daemon."""

from __future__ import annotations

import asyncio
import json
import traceback
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from router.daemon.song_choice import song_meant
from router.files.clock import Clock
from router.page.browsers import PANIC
from router.page.daemon_link import DaemonLink
from router.recording.take_names import unnamed_take
from router.recording.takes import save, save_records
from router.text.terminal import complain
from rules.errors import MachineError, PointsmanError
from rules.program.switch_states import State

OPEN_TO_ALL: Final = frozenset({PANIC, "through"})
"""What may be asked for without `--control`: silence, and what only reads."""

LONGEST_ORDER: Final = 2_000  # bytes
SONG: Final = "song"
"""The switch that songs make, as in rules.rulefile.song_tables, which would bring all rule files along."""

_LONGEST_NAME: Final = 200
_SAVING_S: Final = 60.0
_MOST_MINUTES: Final = 10
_LOOK_BACK_S: Final = 120.0
_OUR_MISTAKE: Final = "internal error: see the terminal of the page"
_NOT_ALLOWED: Final = "This page only shows. To change things, end it, and run pointsman page --control."

Data = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Order:
    """What a browser asks for: `what` to do, its number for the answer, and all that it wrote.

    `fault` says why it can't be understood; then there is no number.
    """

    number: int | None
    what: str
    given: Mapping[str, Any]
    fault: str = ""

    def name(self, key: str) -> str:
        """Return a name that was given. Raises MachineError."""
        value = self.given.get(key)
        if not isinstance(value, str) or not 0 < len(value) <= _LONGEST_NAME:
            raise MachineError(f'"{self.what}" needs "{key}", a name')
        return value

    def state(self) -> State:
        """Return the state of a switch that was given. Raises MachineError."""
        value = self.given.get("value")
        if isinstance(value, bool) or (isinstance(value, int) and abs(value) < 1_000):
            return value
        return self.name("value")


def read_order(text: str) -> Order:
    """Return what a browser asks for."""
    try:
        told = json.loads(text)
    except (ValueError, RecursionError):
        told = None
    if not isinstance(told, dict) or not isinstance(told.get("do"), str) or not isinstance(told.get("id"), int):
        return Order(None, "", {}, 'not understood: an order is like {"id": 1, "do": "panic"}')
    return Order(told["id"], told["do"][:_LONGEST_NAME], told)


class Orders:
    """Carries out orders, for all browsers. Those without access to more than the page get only what is open to all."""

    def __init__(self, link: DaemonLink, may_control: bool, clock: Clock) -> None:
        self._link = link
        self._may_control = may_control
        self._clock = clock
        self._one_by_one = asyncio.Lock()  # what takes long is done once at a time, however many ask
        self._known: Mapping[str, Callable[[Order], Awaitable[Data]]] = {
            PANIC: self._panic,
            "switch": self._switch,
            "record": self._record,
            "save": self._save,
            "tap": lambda order: self._link.ask("tap"),
            "clock": self._clock_order,
            "song": self._song,
            "take": lambda order: self._link.ask("take", do=order.name("command")),
            "former rules": lambda order: self._link.ask("former-rules", patience_s=_SAVING_S),
            "through": self._through,
        }

    async def carry_out(self, order: Order) -> Data:
        """Do what was ordered, and return its answer: "ok", "error" in words, "data"."""
        try:
            data = await self._done(order)
        except PointsmanError as error:
            return refused(order, str(error))
        except Exception:
            complain([f"Internal error, the page goes on. Please report: {traceback.format_exc()}"])
            return refused(order, _OUR_MISTAKE)
        return {"type": "answer", "id": order.number, "ok": True, "error": None, "data": data}

    async def _done(self, order: Order) -> Data:
        if order.fault:
            raise MachineError(order.fault)
        if order.what not in self._known:
            raise MachineError(f"the page knows {', '.join(self._known)}, and nothing else")
        if order.what not in OPEN_TO_ALL and not self._may_control:
            raise MachineError(_NOT_ALLOWED)
        return await self._known[order.what](order)

    async def _panic(self, _: Order) -> Data:
        return await self._link.ask("panic")

    async def _switch(self, order: Order) -> Data:
        state = order.state()
        written = ("on" if state else "off") if isinstance(state, bool) else str(state)
        return await self._link.ask("switch", name=order.name("name"), value=written)

    async def _clock_order(self, order: Order) -> Data:
        bpm = order.given.get("bpm")
        if isinstance(bpm, int | float) and not isinstance(bpm, bool):
            return await self._link.ask("clock", bpm=bpm)
        return await self._link.ask("clock", do=order.name("command"))

    async def _song(self, order: Order) -> Data:
        to = order.name("to")
        songs = (await self._link.ask("status"))["songs"]
        if songs is None:
            raise MachineError("these rules have no songs")
        return await self._link.ask("switch", name=SONG, value=song_meant(to, songs))

    # -- recordings ---------------------------------------------------------------------------------------------------

    async def _record(self, order: Order) -> Data:
        if order.given.get("on") is True:
            journal = await self._link.ask("record", path=str(unnamed_take(self._clock.wall_s())))
            return {"file": str(journal["journal"]).removesuffix(".journal")}
        ended = await self._link.ask("record-stop")
        async with self._one_by_one:
            saved = await asyncio.to_thread(save, Path(ended["journal"]))
        return {"file": None if saved.path is None else str(saved.path)}

    async def _save(self, order: Order) -> Data:
        """Save what was played in the last minutes. The take is made here, not in the daemon."""
        minutes = order.given.get("minutes")
        if not isinstance(minutes, int) or isinstance(minutes, bool) or not 0 < minutes <= _MOST_MINUTES:
            raise MachineError(f'"save" needs "minutes", 1 to {_MOST_MINUTES}')
        async with self._one_by_one:
            told = await self._link.ask("last", patience_s=_SAVING_S, seconds=minutes * 60)
            saved = await asyncio.to_thread(save_records, told["journal"], unnamed_take(self._clock.wall_s()))
        if saved.path is None:
            raise MachineError(f"nobody played in the last {minutes} minutes")
        return {"file": str(saved.path)}

    # -- why ----------------------------------------------------------------------------------------------------------

    async def _through(self, order: Order) -> Data:
        from router.page.passages import Asked, passages  # seldom needed, and it knows all rules

        names = {key: order.name(key) for key in ("from", "to", "rule") if order.given.get(key) is not None}
        if not names:
            raise MachineError('"through" needs "from", "to" or "rule"')
        asked = Asked(names.get("from"), names.get("to"), names.get("rule"))
        async with self._one_by_one:
            told = await self._link.ask("last", patience_s=_SAVING_S, seconds=_LOOK_BACK_S)
            return {"messages": await asyncio.to_thread(passages, told["journal"], asked)}


def refused(order: Order, why_not: str) -> Data:
    """Return the answer to an order that isn't carried out."""
    return {"type": "answer", "id": order.number, "ok": False, "error": why_not, "data": {}}
