"""The browsers that look at the page: each gets what changes, and none holds up another.

What goes to all of them is written down once. A browser that doesn't keep up gets the whole state instead of what it
missed; one that takes nothing for ten seconds is dropped.
"""

from __future__ import annotations

import asyncio
import json
from collections import deque
from collections.abc import Awaitable, Callable, Mapping
from typing import Any, Final

from router.files.clock import SYSTEM_CLOCK, Clock
from router.page.allowance import Allowance

PANIC: Final = "panic"
"""The order that is never refused for what else was asked."""

MOST_BROWSERS: Final = 24
MOST_OF_ADDRESS: Final = 12

_MOST_WAITING: Final = 40  # messages for a browser: a second of them
_PATIENCE_S: Final = 10.0
_ORDERS_A_SECOND: Final = 10.0
_ORDERS_AT_ONCE: Final = 20.0
_PANICS_A_SECOND: Final = 2.0
_PANICS_AT_ONCE: Final = 5.0
_REFUSALS_A_SECOND: Final = 10.0
_REFUSALS_AT_ONCE: Final = 100.0
_MOST_UNDER_WAY: Final = 16  # orders of one browser


def as_text(told: Mapping[str, Any]) -> str:
    """Return a message to a browser as it is sent."""
    return json.dumps(told, ensure_ascii=False, separators=(",", ":"))


class Browser:
    """One browser. `send` sends a text, and waits until there is room for it; `begin` gives what one starts with.

    `refusals` is how often it may ask for too much before it is left.
    """

    def __init__(
        self,
        address: str,
        send: Callable[[str], Awaitable[None]],
        begin: Callable[[], list[str]],
        clock: Clock = SYSTEM_CLOCK,
    ) -> None:
        self.address = address
        self.refusals = Allowance(_REFUSALS_A_SECOND, _REFUSALS_AT_ONCE, clock)
        self._orders = Allowance(_ORDERS_A_SECOND, _ORDERS_AT_ONCE, clock)
        self._panics = Allowance(_PANICS_A_SECOND, _PANICS_AT_ONCE, clock)
        self._send = send
        self._begin = begin
        self._waiting: deque[str] = deque()
        self._answers: deque[str] = deque()
        self._is_behind = True
        self._has_news = asyncio.Event()
        self._has_news.set()

    def may_ask(self, what: str, under_way: int) -> bool:
        """Return whether it may ask for one thing more. PANIC may, whatever else is under way."""
        if what == PANIC and self._panics.take():
            return True
        return under_way < _MOST_UNDER_WAY and self._orders.take()

    def tell(self, text: str) -> None:
        """Send a text that concerns all browsers, soon, or the whole state instead."""
        if self._is_behind:
            return
        if len(self._waiting) >= _MOST_WAITING:
            self._waiting.clear()
            self._is_behind = True
        else:
            self._waiting.append(text)
        self._has_news.set()

    def answer(self, text: str) -> None:
        """Send an answer to this browser, soon. There are never more than it has asked for."""
        self._answers.append(text)
        self._has_news.set()

    async def serve(self) -> None:
        """Send what there is to send, until that fails. Raises TimeoutError for a browser that takes nothing."""
        while True:
            await self._has_news.wait()
            self._has_news.clear()
            while texts := self._next():
                for text in texts:
                    async with asyncio.timeout(_PATIENCE_S):
                        await self._send(text)

    def _next(self) -> list[str]:
        texts = list(self._answers)
        self._answers.clear()
        if self._is_behind:
            self._is_behind = False
            texts += self._begin()
        texts += self._waiting
        self._waiting.clear()
        return texts


class Browsers:
    """All browsers that look at the page now."""

    def __init__(self) -> None:
        self._all: list[Browser] = []

    def __len__(self) -> int:
        return len(self._all)

    def has_room_for(self, address: str) -> bool:
        """Return whether one more browser may come from an address."""
        return len(self._all) < MOST_BROWSERS and (
            sum(browser.address == address for browser in self._all) < MOST_OF_ADDRESS
        )

    def add(self, browser: Browser) -> None:
        """Tell a browser what all are told, from now on."""
        self._all.append(browser)

    def remove(self, browser: Browser) -> None:
        """Tell it nothing any more."""
        self._all.remove(browser)

    def tell(self, told: Mapping[str, Any]) -> None:
        """Tell all of them something."""
        if self._all:
            text = as_text(told)
            for browser in self._all:
                browser.tell(text)
