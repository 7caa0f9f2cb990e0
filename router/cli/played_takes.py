"""What `play` does: feeds takes to the running daemon, or to rules of its own.

The data (`--json`) are one object, once all has been played; `nowhere` are messages that no rule, switch or clock took:

    {"command": "play", "ok": true,
     "takes": [{"file": "take.mid", "as": ["keys"], "seconds": 192.3, "messages": 6751, "nowhere": 0}]}
"""

from __future__ import annotations

from router.cli.take_session import PlaySettings, TakeSession, found_takes
from router.daemon.control_client import DaemonConversation, absence
from router.files.clock import SYSTEM_CLOCK, Clock
from router.files.interrupts import ended_like_ctrl_c
from router.text.exit_codes import FINE, INCOMPLETE
from rules.errors import MachineError


def play(settings: PlaySettings, clock: Clock = SYSTEM_CLOCK) -> int:
    """Play takes, and print what was played; return the exit code.

    Raises UsageError, RuleFileError or MachineError for what can't be played.
    """
    files = found_takes(settings.takes)
    if settings.rules:
        from router.cli.rules_played_here import play_here  # with the daemon's loop, which the other way doesn't need

        return play_here(settings, files, clock)
    if missing := absence(settings.name):
        raise MachineError(f"{missing}. To play without a daemon, add --rules RULES")
    with ended_like_ctrl_c():
        link = DaemonConversation(settings.name, "play")
        session = TakeSession(settings, files, link, clock)
        try:
            session.play_all()
        except KeyboardInterrupt:
            pass  # the daemon ends what it holds as the connection ends
        finally:
            link.close()
            session.leave()
    session.tell()
    return FINE if session.is_whole else INCOMPLETE
