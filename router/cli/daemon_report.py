"""What `report` does: asks the daemon and the MIDI system, and writes all of it into one file.

The data (`--json`) is one object:

    {"command": "report", "ok": true, "file": "/home/pit/pointsman-report-2026-11-29-2031.json", "bytes": 183204}
"""

from __future__ import annotations

import json
import platform
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, NamedTuple

from router.daemon.control_client import ask_daemon
from router.daemon.run_settings import STANDARD_NAME
from router.files.atomic_writing import write_new
from router.files.clock import SYSTEM_CLOCK, Clock, local_time
from router.midi.backend import Backend
from router.midi.backend_choice import choose_backend
from router.recording.report_file import report_bytes
from router.text.exit_codes import FINE
from router.text.formatting import number, plain
from router.text.terminal import say
from router.text.version import version
from rules.errors import MachineError

_PATIENCE_S: Final = 60.0  # seconds for the history, which may be long


class ReportSettings(NamedTuple):
    """Which daemon `report` is about, and where the file goes; None: into the current folder, with the time."""

    file: str | None = None
    name: str = STANDARD_NAME
    backend: str | None = None
    json: bool = False


def report(
    settings: ReportSettings,
    clock: Clock = SYSTEM_CLOCK,
    system: Callable[[str | None, str], Backend] = choose_backend,
) -> int:
    """Write the file; return the exit code. Raises MachineError if no daemon answers, or the disk refuses."""
    status = ask_daemon(settings.name, "status")
    journal = ask_daemon(settings.name, "last", patience_s=_PATIENCE_S)["journal"]
    now = clock.wall_s()
    about = {
        "made": local_time(now, "%Y-%m-%d %H:%M:%S"),
        "versions": _versions(),
        "status": status,
        "ports": _ports(settings.backend, system),
    }
    data = report_bytes(about, journal, Path.home())
    path = Path(settings.file or f"pointsman-report-{local_time(now, '%Y-%m-%d-%H%M%S')}.json").absolute()
    write_new({path: data}, replace=False)
    if settings.json:
        say([json.dumps({"command": "report", "ok": True, "file": str(path), "bytes": len(data)}, indent=2)])
    else:
        say(
            [
                f"{plain(str(path))}: {number(len(data))} bytes",
                "It shows what you played and your rule files: look at it before you send it.",
            ]
        )
    return FINE


def _versions() -> dict[str, str]:
    return {"pointsman": version(), "python": platform.python_version(), "system": platform.platform()}


def _ports(backend: str | None, system: Callable[[str | None, str], Backend]) -> dict[str, Any]:
    """The ports of the computer; or why they can't be listed, which may be what the report is about."""
    try:
        found = system(backend, "pointsman-report")
    except MachineError as error:
        return {"error": str(error)}
    try:
        return {"system": found.name, "inputs": found.input_names(), "outputs": found.output_names()}
    except MachineError as error:
        return {"system": found.name, "error": str(error)}
    finally:
        found.close()
