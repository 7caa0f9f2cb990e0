"""`play --rules`: the daemon's loop in this process, for as long as takes play."""

from __future__ import annotations

import sys
import traceback
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from threading import Thread
from typing import Any

from router.cli.take_session import PlaySettings, TakeSession, require_playable
from router.daemon.interpreter import prefer_latency
from router.daemon.live import Live
from router.daemon.play_conversation import PlayConversation
from router.daemon.prepared_rules import prepare
from router.daemon.realtime import take_realtime
from router.daemon.signals import signals_heeded
from router.files.clock import Clock
from router.midi.backend import Backend
from router.midi.backend_choice import choose_backend
from router.midi.library_stderr import LibraryStderr
from router.midi.port_manager import PortManager
from router.text.exit_codes import FINE, INCOMPLETE
from router.text.terminal import complain
from rules.errors import MachineError, PointsmanError

_CLIENT = "pointsman-play"


class _Here:
    """A link to the loop of this process."""

    def __init__(self, live: Live) -> None:
        self._conversation = PlayConversation(live)

    def ask(self, **arguments: Any) -> Mapping[str, Any]:
        """Ask the loop."""
        return self._conversation.answer(arguments)


def play_here(settings: PlaySettings, files: Sequence[Path], clock: Clock, backend: Backend | None = None) -> int:
    """Open the ports of rules, play takes between them, and end all that sounds; return the exit code.

    A mistake of ours while it feeds is reported in words, with exit code 1. Raises UsageError, RuleFileError or
    MachineError for what can't be played.
    """
    prepared = prepare(settings.rules)
    require_playable(settings, files, prepared.pipeline.sources)
    with ExitStack() as closing:
        if backend is None:
            closing.enter_context(LibraryStderr())
            backend = choose_backend(settings.backend, _CLIENT)
            closing.callback(backend.close)
        live = Live(prepared, PortManager(backend, clock), lambda record: None, _say, clock=clock)
        session = TakeSession(settings, files, _Here(live), clock)
        failures: list[Exception] = []
        feeding = Thread(target=_feed, args=(session, live, failures), name="feeder", daemon=True)
        with signals_heeded(live.stop, lambda: None):
            live.begin()
            prefer_latency()
            take_realtime()
            feeding.start()
            live.run()
        feeding.join()
        session.leave()
    failure = failures[0] if failures else None
    if isinstance(failure, PointsmanError):
        raise failure
    if failure is not None:
        session.is_whole = False
        _say(f"Internal error. Please report: {''.join(traceback.format_exception(failure))}")
    session.tell()
    return FINE if session.is_whole else INCOMPLETE


def _feed(session: TakeSession, live: Live, failures: list[Exception]) -> None:
    """Play all takes from another thread, as a client of the daemon would; then let the loop end."""
    try:
        session.play_all()
    except Exception as error:
        if not (isinstance(error, MachineError) and live.is_stopping):
            failures.append(error)
    finally:
        live.stop()


def _say(text: str) -> None:
    complain([text])
    sys.stderr.flush()
