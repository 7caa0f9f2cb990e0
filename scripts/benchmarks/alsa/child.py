"""The daemon on ALSA: `child.py records|rtmidi NAME RULES`. With `rtmidi` the records don't open, so that it polls."""

from __future__ import annotations

import sys
from importlib import import_module
from pathlib import Path
from typing import Any, NoReturn

SCRIPTS = Path(__file__).resolve().parents[2]
sys.path += [str(SCRIPTS), str(SCRIPTS.parent)]  # behind what is installed: a wheel is measured as it is

from router.daemon.daemon import run  # noqa: E402
from router.daemon.run_settings import RunSettings  # noqa: E402
from rules.errors import MachineError  # noqa: E402


def refuse(client: str) -> NoReturn:
    raise MachineError("the records aren't to be opened")


def main(way: str, name: str, rules: str) -> None:
    if way == "rtmidi":
        choice: Any = import_module("router.midi.backend_choice")
        choice.SequencerBackend = refuse
    run(RunSettings((rules,), name, "alsa"))


if __name__ == "__main__":
    main(*sys.argv[1:])
