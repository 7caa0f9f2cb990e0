"""The page of one daemon, as an application for a web server.

One connection to the daemon (`watch`) feeds all browsers. What a browser asks for goes over a connection of its own,
so that PANIC waits for nothing.
"""

from __future__ import annotations

import asyncio
import traceback
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import aclosing, asynccontextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from router.files.clock import SYSTEM_CLOCK, Clock
from router.files.rule_files import RuleTexts
from router.page.access import Access
from router.page.browsers import Browser, Browsers, as_text
from router.page.daemon_link import DaemonLink
from router.page.guard import Guard
from router.page.orders import LONGEST_ORDER, Data, Order, Orders, read_order, refused
from router.page.page_state import PageState, State
from router.text.terminal import complain
from rules.errors import MachineError

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.websockets import WebSocket

    from router.page.rule_facts import RuleFacts

STATIC: Final = Path(__file__).parent / "static"

_TRY_EVERY_S: Final = 0.5
_FILES_S: Final = 30.0
_MOST_TRACEBACKS: Final = 3
_TOO_FAST: Final = "too much at once: try again in a second"
_TRY_LATER: Final = 1013  # the WebSocket close codes of IANA
_VIOLATION: Final = 1008


class PageServer:
    """Serves the page of one daemon, as an application of ASGI 3.0 (`app`)."""

    def __init__(self, name: str, access: Access, clock: Clock = SYSTEM_CLOCK) -> None:
        self._access = access
        self._clock = clock
        self._link = DaemonLink(name)
        self._state = PageState(clock)
        self._browsers = Browsers()
        self._orders = Orders(self._link, access.may_control, clock)
        self._is_there: bool | None = None  # not known before the first look
        self._reading: asyncio.Task[None] | None = None
        self._errors = 0

    # -- the daemon ---------------------------------------------------------------------------------------------------

    async def follow(self) -> None:
        """Follow the daemon, and wait for it where there is none, until cancelled."""
        while True:
            try:
                await self._follow_once()
            except MachineError:
                pass  # there is none, or it has ended
            except Exception:
                self._report()
            self._lose()
            await asyncio.sleep(_TRY_EVERY_S)

    def _report(self) -> None:
        self._errors += 1
        if self._errors <= _MOST_TRACEBACKS:
            complain([f"Internal error, the page goes on. Please report: {traceback.format_exc()}"])

    async def _follow_once(self) -> None:
        """Follow the daemon until it ends. Raises MachineError then."""
        async with aclosing(self._link.watched()) as lines:
            async for told in lines:
                self._hear(told)
                await asyncio.sleep(0)  # many lines may wait; browsers get them as they come all the same

    def _hear(self, told: dict[str, Any]) -> None:
        if "state" in told:
            self._state.begin(told["state"])
            if self._is_there is False:
                self._browsers.tell({"type": "back"})
            self._is_there = True
            self._browsers.tell(self._whole())
            self._read_rules()
        elif "change" in told:
            serial = self._state.serial
            self._browsers.tell({"type": "change", "change": self._state.change(told["change"])})
            if serial != self._state.serial:
                self._read_rules()
        elif "log" in told:
            entries = self._state.entries(told["log"], told["said"])
            self._browsers.tell({"type": "log", "log": entries, "skipped": told["skipped"]})

    def _lose(self) -> None:
        if self._is_there is not False:
            self._is_there = False
            self._browsers.tell({"type": "gone"})

    def _read_rules(self) -> None:
        if self._reading is not None:
            self._reading.cancel()
        self._reading = asyncio.create_task(self._with_rules())

    async def _with_rules(self) -> None:
        """Learn what the rules are, and what is in their files, for the state of now."""
        shows_found, problems = self._state.shows_found, self._state.problems
        try:
            playing = _texts(await self._link.ask("rule-files", patience_s=_FILES_S, which="playing"))
            shown = playing
            if shows_found:
                with suppress(MachineError):  # they can't even be read
                    shown = _texts(await self._link.ask("rule-files", patience_s=_FILES_S, which="found"))
            change = self._state.use_rules(*await asyncio.to_thread(_read, playing, shown, problems))
        except MachineError:  # it has just ended
            return
        except Exception:  # nobody waits for this task: it reports by itself
            self._report()
            return
        self._browsers.tell({"type": "change", "change": change})

    # -- the browsers -------------------------------------------------------------------------------------------------

    def _whole(self) -> Data:
        return {"type": "state", "state": self._state.whole, "may_control": self._access.may_control}

    def _beginning(self) -> list[str]:
        """What a browser is told first, or after it has missed something."""
        if self._is_there is None:
            return []
        if not self._is_there:
            return [as_text({"type": "gone"})]
        log = {"type": "log", "log": list(self._state.log), "skipped": 0}
        return [as_text(self._whole()), as_text(log)]

    async def serve(self, socket: WebSocket) -> None:
        """Serve one browser until it leaves."""
        from starlette.websockets import WebSocketDisconnect

        address = socket.client.host if socket.client is not None else ""
        await socket.accept()
        if not self._browsers.has_room_for(address):
            await socket.close(_TRY_LATER, "too many browsers")
            return
        browser = Browser(address, socket.send_text, self._beginning, self._clock)
        self._browsers.add(browser)
        telling = asyncio.create_task(browser.serve())
        listening = asyncio.create_task(self._listen(socket, browser))
        try:
            await asyncio.wait((telling, listening), return_when=asyncio.FIRST_COMPLETED)
        finally:
            self._browsers.remove(browser)
            for task in (telling, listening):
                task.cancel()
            await asyncio.gather(telling, listening, return_exceptions=True)
            with suppress(WebSocketDisconnect, RuntimeError, OSError):  # it has left already
                await socket.close(_VIOLATION)

    async def _listen(self, socket: WebSocket, browser: Browser) -> None:
        """Carry out what a browser asks for. One that sends what no page sends, or far too much, is left."""
        under_way: set[asyncio.Task[None]] = set()
        try:
            while True:
                told = await socket.receive()
                if told["type"] == "websocket.disconnect":
                    return
                text = told.get("text")
                if text is None or len(text) > LONGEST_ORDER:
                    return
                order = read_order(text)
                if not browser.may_ask(order.what, len(under_way)):
                    if not browser.refusals.take():
                        return
                    browser.answer(as_text(refused(order, _TOO_FAST)))
                    continue
                task = asyncio.create_task(self._answer(order, browser))
                under_way.add(task)
                task.add_done_callback(under_way.discard)
        finally:
            for task in under_way:
                task.cancel()

    async def _answer(self, order: Order, browser: Browser) -> None:
        browser.answer(as_text(await self._orders.carry_out(order)))

    # -- the application ----------------------------------------------------------------------------------------------

    def app(self) -> Guard:
        """Return the application."""
        return Guard(self._routes(), self._access, self._clock)

    def _routes(self) -> Starlette:
        from starlette.applications import Starlette
        from starlette.responses import FileResponse
        from starlette.routing import Mount, Route, WebSocketRoute
        from starlette.staticfiles import StaticFiles

        async def index(_: Request) -> Response:
            return FileResponse(STATIC / "index.html", media_type="text/html")

        @asynccontextmanager
        async def following(_: Starlette) -> AsyncIterator[None]:
            task = asyncio.create_task(self.follow())
            try:
                yield
            finally:
                task.cancel()
                with suppress(asyncio.CancelledError):
                    await task

        routes = [
            Route("/", index, methods=["GET"]),
            Mount("/static", StaticFiles(directory=STATIC)),
            WebSocketRoute("/live", self.serve),
        ]
        return Starlette(routes=routes, lifespan=following)


def _read(
    playing: RuleTexts, shown: RuleTexts, problems: Sequence[Mapping[str, Any]]
) -> tuple[RuleFacts | None, list[State]]:
    """Return what the rules in force say, and the files to show."""
    from router.page.rule_facts import read_facts, shown_files  # most of a start, which no browser need wait for

    return read_facts(playing), shown_files(shown, problems)


def _texts(told: dict[str, Any]) -> RuleTexts:
    return tuple((name, told[f"file {number}"]) for number, name in enumerate(told["files"]))
