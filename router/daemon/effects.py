"""What pads and pedals ask for besides music: a recording that begins or ends, rules that are read again."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from queue import SimpleQueue
from threading import Thread

from router.files.clock import SYSTEM_CLOCK, Clock
from router.recording.automatic_takes import save_and_tell
from router.recording.recorder import Recorder
from router.recording.take_names import unnamed_take
from rules.errors import MachineError


class Effects:
    """Does what it is asked for, one after the other, in a thread of its own, since disks may be slow.

    Takes go into `folder`, or into the user's folder for data. `reload` asks for a reload, and doesn't wait for it.
    """

    def __init__(
        self,
        recorder: Recorder,
        reload: Callable[[], None],
        say: Callable[[str], None],
        folder: Path | None,
        clock: Clock = SYSTEM_CLOCK,
    ) -> None:
        self._recorder = recorder
        self._reload = reload
        self._say = say
        self._folder = folder
        self._clock = clock
        self._asked: SimpleQueue[str | None] = SimpleQueue()
        self._thread = Thread(target=self._work, name="effects", daemon=True)

    def start(self) -> None:
        """Begin to do what is asked for."""
        self._thread.start()

    def stop(self) -> None:
        """Do what was asked for by now, and nothing more."""
        self._asked.put(None)
        if self._thread.is_alive():
            self._thread.join()

    def ask(self, effect: str) -> None:
        """Ask for "record on", "record off" or "reload". Waits for nothing, so that the loop may call it."""
        self._asked.put(effect)

    def _work(self) -> None:
        while (effect := self._asked.get()) is not None:
            try:
                self._do(effect)
            except MachineError as error:
                self._say(f"{effect}: {error}")

    def _do(self, effect: str) -> None:
        if effect == "reload":
            self._reload()
        elif effect == "record on":
            journal = self._recorder.start_recording(unnamed_take(self._clock.wall_s(), self._folder))
            self._say(f"recording into {journal.with_suffix('')}")
        else:
            journal, _ = self._recorder.stop_recording()
            save_and_tell(journal, self._say)
