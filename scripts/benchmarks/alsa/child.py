"""A program on ALSA: `child.py records|rtmidi|bare NAME RULES`.

It is the daemon; with `rtmidi` the records don't open, so that it polls. `bare` only resends the records that come from
the keyboard to the stage, with the realtime that the daemon takes.
"""

from __future__ import annotations

import os
import select
import sys
from importlib import import_module
from pathlib import Path
from typing import Any, NoReturn

SCRIPTS = Path(__file__).resolve().parents[2]
sys.path += [str(SCRIPTS), str(SCRIPTS.parent)]  # behind what is installed: a wheel is measured as it is

from router.daemon.daemon import run  # noqa: E402
from router.daemon.realtime import take_realtime  # noqa: E402
from router.daemon.run_settings import RunSettings  # noqa: E402
from router.midi.alsa.records import CLIENT_START, LENGTH  # noqa: E402
from router.midi.alsa.sequencer import Sequencer  # noqa: E402
from rules.errors import MachineError  # noqa: E402


def refuse(client: str) -> NoReturn:
    raise MachineError("the records aren't to be opened")


def resend(name: str) -> NoReturn:
    """Read, change the addresses, write: the least that a program woken by the sequencer can do."""
    sequencer = Sequencer(name)
    ports = {label.rpartition(" ")[0]: address for label, address, _ in sequencer.ports()}
    sends = sequencer.make_output("out")
    sequencer.connect(sequencer.make_input("in"), "in", ports["bench:keyboard"])
    sequencer.connect(sends, "out", ports["bench:stage"])
    head, addresses = b"\xfd" + bytes(8), bytes((0, sends, 254, 253))  # at once; to all that listen
    poll = select.poll()
    poll.register(sequencer.descriptor, select.POLLIN)
    take_realtime()
    print("Ctrl-C ends it", flush=True)
    while True:
        poll.poll()
        records = os.read(sequencer.descriptor, 100 * LENGTH)
        for at in range(0, len(records), LENGTH):
            record = records[at : at + LENGTH]
            if record[0] < CLIENT_START:
                os.write(sequencer.descriptor, record[:3] + head + addresses + record[16:])


def main(way: str, name: str, rules: str) -> None:
    if way == "bare":
        resend(name)
    if way == "rtmidi":
        choice: Any = import_module("router.midi.backend_choice")
        choice.SequencerBackend = refuse
    run(RunSettings((rules,), name, "alsa"))


if __name__ == "__main__":
    main(*sys.argv[1:])
