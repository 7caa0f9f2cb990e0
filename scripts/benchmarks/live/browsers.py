"""Browsers at a page, as far as they are WebSockets: `browsers.py PORT COUNT SECONDS`. Without SECONDS until SIGTERM.

Each reads whatever comes. In the end one line of JSON says what they got, and how long each entry of the log took from
the moment that the daemon noted until it was read.
"""

from __future__ import annotations

import asyncio
import json
import signal
import sys
import time
from contextlib import suppress
from typing import Any

from websockets.asyncio.client import connect
from websockets.exceptions import ConnectionClosed
from websockets.typing import Origin

MOST_DELAYS = 200_000


class Got:
    """What all browsers got."""

    def __init__(self) -> None:
        self.begun = 0
        self.bytes = 0
        self.first_bytes = 0
        self.kinds: dict[str, int] = {}
        self.updates_a_second = 0.0
        self.delays: list[float] = []
        self.closed = 0

    def told(self) -> dict[str, Any]:
        delays = sorted(self.delays)
        at = {f"p{share * 100:g}": delays[int(share * (len(delays) - 1))] for share in (0.5, 0.99, 1) if delays}
        rest = {name: value for name, value in vars(self).items() if name != "delays"}
        return {**rest, "delays": len(delays), "delay_s": at}


async def browse(port: int, got: Got, number: int, ready: asyncio.Event, count: int) -> None:
    """Open a page, and read. Only the first browser looks at times, so that the others cost little."""
    address = f"127.0.0.1:{port}"
    async with connect(f"ws://{address}/live", origin=Origin(f"http://{address}"), max_size=None, proxy=None) as line:
        began, changes = time.monotonic(), 0
        with suppress(ConnectionClosed):
            async for text in line:
                now = time.time()
                got.bytes += len(text)
                told: dict[str, Any] = json.loads(text) if number == 0 else {"type": str(text[9:14])}
                got.kinds[told["type"]] = got.kinds.get(told["type"], 0) + 1
                if told["type"] == "state":
                    got.first_bytes = len(text)
                    got.begun += 1
                    if got.begun == count:
                        ready.set()
                elif number == 0 and told["type"] == "change":
                    changes += 1
                    got.updates_a_second = changes / (time.monotonic() - began)
                elif number == 0 and told["type"] == "log":
                    new = [now - one["at"] for one in told["log"][-1:] if now - one["at"] < 5]
                    got.delays += new if len(got.delays) < MOST_DELAYS else ()
        got.closed += 1


async def main(port: int, count: int, seconds: float | None) -> None:
    got, ready, over = Got(), asyncio.Event(), asyncio.Event()
    asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, over.set)
    browsers = [asyncio.create_task(browse(port, got, number, ready, count)) for number in range(count)]
    await ready.wait()
    print("ready", file=sys.stderr, flush=True)
    with suppress(TimeoutError):
        await asyncio.wait_for(over.wait(), seconds)
    closed = got.closed
    for browser in browsers:
        browser.cancel()
    await asyncio.gather(*browsers, return_exceptions=True)
    got.closed = closed
    print(json.dumps(got.told()), file=sys.stderr, flush=True)


if __name__ == "__main__":
    asyncio.run(main(int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]) if len(sys.argv) > 3 else None))
