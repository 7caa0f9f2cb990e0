"""The page's way to a daemon: one connection on which it is watched, and one more for each thing that it is asked."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator, Mapping
from contextlib import suppress
from typing import Any, Final

from router.daemon.control_answers import LONGEST_ANSWER_LINE, AnswerReader, told_in
from router.daemon.control_client import how_to_begin
from router.daemon.control_socket import line_of, socket_path
from router.daemon.runtime_folder import valid_name
from rules.errors import MachineError

_SILENCE_S: Final = 5.0  # the daemon says something each second, else it has gone or can't run
_PATIENCE_S: Final = 10.0
_LEFT: Final = "the daemon has ended"
_SILENT: Final = "the daemon doesn't answer"


class DaemonLink:
    """Reaches the daemon of a name. Raises UsageError for what can't be a name."""

    def __init__(self, name: str) -> None:
        self.name = valid_name(name)

    async def watched(self) -> AsyncGenerator[dict[str, Any], None]:
        """Yield what `watch` tells, line by line. Raises MachineError once there is no daemon, or it falls silent."""
        try:
            async with asyncio.timeout(_PATIENCE_S):
                reader, writer = await self._connected()
        except TimeoutError:
            raise MachineError(_SILENT) from None
        try:
            writer.write(line_of({"verb": "watch"}))
            while True:
                async with asyncio.timeout(_SILENCE_S):
                    told = told_in(_whole(await reader.readline()))
                if told.get("ok") is False:
                    raise MachineError(str(told.get("error")))
                yield told
        except TimeoutError:
            raise MachineError(_SILENT) from None
        except (OSError, ValueError) as error:
            raise MachineError(_LEFT) from error
        finally:
            await _closed(writer)

    async def ask(self, verb: str, /, patience_s: float = _PATIENCE_S, **arguments: Any) -> dict[str, Any]:
        """Ask the daemon and return its answer; values of type bytes come back as bytes.

        Raises MachineError if there is no daemon, or it doesn't answer within so many seconds, or says that it can't.
        """
        try:
            async with asyncio.timeout(patience_s):
                return await self._asked({"verb": verb, **arguments})
        except TimeoutError:
            raise MachineError(f"the daemon didn't answer within {patience_s:g} s") from None
        except (OSError, ValueError) as error:
            raise MachineError(_LEFT) from error

    async def _asked(self, question: Mapping[str, Any]) -> dict[str, Any]:
        reader, writer = await self._connected()
        answer = AnswerReader()
        try:
            writer.write(line_of(question))
            while True:
                told = answer.take(_whole(await reader.readline()))
                if told is not None:
                    return told
        finally:
            await _closed(writer)

    async def _connected(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        try:
            return await asyncio.open_unix_connection(socket_path(self.name), limit=LONGEST_ANSWER_LINE)
        except OSError as error:
            raise MachineError(f'there is no daemon named "{self.name}": {how_to_begin(self.name)}') from error


def _whole(line: bytes) -> bytes:
    """Return a line of the daemon's. Raises MachineError where it has ended in the midst of it, or before."""
    if not line.endswith(b"\n"):
        raise MachineError(_LEFT)
    return line


async def _closed(writer: asyncio.StreamWriter) -> None:
    writer.close()
    with suppress(OSError):
        await writer.wait_closed()
