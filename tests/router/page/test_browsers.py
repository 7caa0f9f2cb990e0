"""Browsers: each gets what changes, and none holds up another."""

from __future__ import annotations

import asyncio
import json

import pytest

from router.page import browsers
from router.page.browsers import Browser, Browsers, as_text


class Phone:
    """A browser that takes texts while its `gate` is open."""

    def __init__(self, address: str = "10.42.0.7") -> None:
        self.got: list[str] = []
        self.gate = asyncio.Event()
        self.gate.set()
        self.states = 0
        self.browser = Browser(address, self._take, self._begin)
        self.serving = asyncio.create_task(self.browser.serve())

    async def _take(self, text: str) -> None:
        await self.gate.wait()
        self.got.append(text)

    def _begin(self) -> list[str]:
        self.states += 1
        return [f"state {self.states}"]


async def settle() -> None:
    """Let everything that can go on do so."""
    for _ in range(200):
        await asyncio.sleep(0)


def test_a_browser_begins_with_the_state_and_goes_on_with_what_changes() -> None:
    """In order."""

    async def evening() -> None:
        phone = Phone()
        await settle()
        for text in ("a", "b"):
            phone.browser.tell(text)
        await settle()
        assert phone.got == ["state 1", "a", "b"]
        phone.serving.cancel()

    asyncio.run(evening())


def test_a_browser_that_doesn_t_keep_up_gets_the_state_instead() -> None:
    """It keeps no more than a second's messages waiting; the others get each one meanwhile."""

    async def evening() -> None:
        slow, quick = Phone(), Phone()
        everybody = Browsers()
        for phone in (slow, quick):
            everybody.add(phone.browser)
        await settle()
        slow.gate.clear()
        for number in range(500):
            everybody.tell({"number": number})
            await settle()
        assert [json.loads(text)["number"] for text in quick.got[1:]] == list(range(500))
        slow.gate.set()
        await settle()
        everybody.tell({"number": 500})
        await settle()
        assert slow.got[-2:] == ["state 2", '{"number":500}']
        assert len(slow.got) <= 4
        for phone in (slow, quick):
            phone.serving.cancel()

    asyncio.run(evening())


def test_a_browser_that_takes_nothing_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    """Serving it ends."""
    monkeypatch.setattr(browsers, "_PATIENCE_S", 0.01)

    async def evening() -> None:
        phone = Phone()
        phone.gate.clear()
        with pytest.raises(TimeoutError):
            await phone.serving

    asyncio.run(evening())


def test_an_answer_goes_to_the_browser_that_asked() -> None:
    """Also where it is behind."""

    async def evening() -> None:
        one, other = Phone(), Phone()
        await settle()
        one.gate.clear()
        for _ in range(100):
            one.browser.tell("much")
        one.browser.answer("done")
        one.gate.set()
        await settle()
        assert "done" in one.got
        assert other.got == ["state 1"]
        for phone in (one, other):
            phone.serving.cancel()

    asyncio.run(evening())


def test_there_is_room_for_so_many() -> None:
    """From one device, and in all."""

    async def evening() -> None:
        everybody = Browsers()
        phones = [Phone(f"10.42.0.{number % 2}") for number in range(browsers.MOST_BROWSERS)]
        for number, phone in enumerate(phones):
            assert everybody.has_room_for(phone.browser.address)
            everybody.add(phone.browser)
            if number == 2 * browsers.MOST_OF_ADDRESS - 2:
                assert not everybody.has_room_for("10.42.0.0")
        assert not everybody.has_room_for("10.42.0.9")
        everybody.remove(phones[0].browser)
        assert everybody.has_room_for("10.42.0.9")
        for phone in phones:
            phone.serving.cancel()

    asyncio.run(evening())


def test_a_name_stays_a_name() -> None:
    """As JSON: whatever is in it."""
    name = '</script><img src=x onerror="alert(1)">\u2028'
    assert json.loads(as_text({"name": name})) == {"name": name}
