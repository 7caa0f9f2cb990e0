"""The recorder: remembers the last minutes of a performance, and writes takes, without ever holding up the music.

The loop only appends to a queue (`log`). Twice a second a thread takes what is there, packs it, keeps it in the ring
and hands it to the journals that are being written; those have threads of their own, since disks can be slow. While
nothing comes, and nothing is to be written, it looks more seldom. Who follows the records as they come (`followed_by`)
has them collected sooner, in a thread of its own.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from router.files.clock import SYSTEM_CLOCK, Clock
from router.recording.automatic_takes import AutomaticTakes, save_and_tell
from router.recording.journal_files import JournalFile
from router.recording.ring_buffer import RingBuffer
from router.recording.takes import left_behind, save_all
from router.text.terminal import complain
from rules.errors import MachineError
from rules.journal.format import LASTING, RECORDED, STATE, TRIMMED, WALL, Record, pack, state_data, wall_data
from rules.journal.snapshot import is_played
from rules.program.switch_states import State

LAST_SECONDS: Final = 600
LAST_BYTES: Final = 24 * 1024 * 1024

_DRAIN_EVERY_S: Final = 0.5  # seconds between two looks into the queue
_REST_S: Final = 2.0  # the same while nothing comes that could be lost with us
_SILENCE_NS: Final = 1_000_000_000  # without a record until journals note that the recording goes on
_WALL_EVERY_NS: Final = 60_000_000_000


class Recorder:
    """`log` takes the records of the loop. `switches`, if set, tells how the switches stand, from any thread.

    It remembers the last `limit_seconds`, or as much of them as `limit_bytes` holds. Records are timed by `clock`.
    """

    def __init__(
        self,
        say: Callable[[str], None] = lambda text: complain([text]),
        limit_seconds: float = LAST_SECONDS,
        limit_bytes: int = LAST_BYTES,
        clock: Clock = SYSTEM_CLOCK,
    ) -> None:
        self._queue: deque[Record] = deque()
        self._collected: deque[Record] = deque()  # of these, followers know
        self._followers: list[Callable[[Sequence[Record]], None]] = []
        self.log: Final[Callable[[Record], None]] = self._queue.append
        self.switches: Callable[[], Mapping[str, State]] | None = None
        self._say = say
        self._clock = clock
        self._ring = RingBuffer(int(limit_seconds * 1e9), limit_bytes)
        self._lasting: dict[int, Record] = {}
        self._asked: JournalFile | None = None
        self._asked_at = 0
        self.recording_since: float | None = None  # of the one that was asked for, seconds since 1970
        self._automatic: AutomaticTakes | None = None
        self._recovery: threading.Thread | None = None
        self._handed_on_at = 0
        self._guard = threading.Lock()  # around what the thread of the recorder does
        self._asking = threading.Lock()  # one begins or ends a recording at a time
        self._hurry = threading.Event()
        self._is_ending = False
        self._thread = threading.Thread(target=self._work, name="recorder", daemon=True)

    def start(self) -> None:
        """Begin to take what is logged."""
        self._thread.start()

    def stop(self) -> None:
        """Save what is being recorded: it is the end. For after the music has ended, since it may take a while."""
        self._is_ending = True
        self._hurry.set()
        if self._thread.is_alive():
            self._thread.join()
        with self._guard:
            asked = self._end_asked()
            automatic, self._automatic = self._automatic, None
        try:
            if asked is not None:
                asked.close()
                save_and_tell(asked.path, self._say)
        finally:  # whatever becomes of that one, the others are saved
            if automatic is not None:
                automatic.stop()
            if self._recovery is not None:
                self._recovery.join()

    # -- records as they come -----------------------------------------------------------------------------------------

    @contextmanager
    def followed_by(self, follower: Callable[[Sequence[Record]], None]) -> Iterator[None]:
        """Give a follower all records that are logged from now on, in order, by whoever collects them."""
        with self._guard:
            self._collect()
            self._followers.append(follower)
        try:
            yield
        finally:
            with self._guard:
                self._followers.remove(follower)

    def collect(self) -> None:
        """Have followers given what was logged by now. What they make of it must not take long."""
        with self._guard:
            self._collect()

    def _collect(self) -> None:
        amount = len(self._queue)
        records = [self._queue.popleft() for _ in range(amount)]
        self._collected += records
        for follower in self._followers:
            follower(records)

    # -- the last minutes ---------------------------------------------------------------------------------------------

    def last(self, seconds: float) -> bytes:
        """The packed records of the last seconds, after the rules and names of then, and until when they are."""
        with self._guard:
            self._drain()
            now = self._clock.now_ns()
            return self._ring.since(now - int(seconds * 1e9)) + pack((RECORDED, now, 0, TRIMMED))

    @property
    def history(self) -> dict[str, int]:
        """How far back the history reaches (s), and how much memory it takes (bytes)."""
        with self._guard:
            return {"seconds": self._ring.span_ns(self._clock.now_ns()) // 1_000_000_000, "bytes": self._ring.size}

    def everything(self) -> bytes:
        """All packed records that are kept, after what still counts of the time before, and last what time it is."""
        with self._guard:
            self._drain()
            return self._ring.everything() + pack((WALL, self._clock.now_ns(), 0, wall_data(self._clock.wall_s())))

    # -- takes --------------------------------------------------------------------------------------------------------

    @property
    def recording(self) -> Path | None:
        """The journal that is being written, if any."""
        asked, automatic = self._asked, self._automatic
        return asked.path if asked is not None else automatic.journal if automatic is not None else None

    @property
    def state(self) -> dict[str, Any]:
        """The recording that was asked for: its journal (None: there is none), since how many seconds, and how many
        messages the disk didn't take."""
        asked = self._asked
        if asked is None:
            return {"journal": None, "seconds": 0.0, "lost": 0}
        seconds = (self._clock.now_ns() - self._asked_at) / 1e9
        return {"journal": str(asked.path), "seconds": seconds, "lost": asked.lost}

    def start_recording(self, target: Path) -> Path:
        """Record from now on, for a .mid file of this name or the next that is free; return the journal.

        Raises MachineError if it can't be written there, or something is being recorded already.
        """
        with self._asking:
            if self._asked is not None:
                raise MachineError(
                    f"{self._asked.path} is being recorded already: end that first with pointsman record --stop"
                )
            file = JournalFile(target, self._say)
            file.open()
            file.start()
            with self._guard:
                self._drain()
                file.add(self._before(), 0)
                self._asked, self._asked_at = file, self._clock.now_ns()
                self.recording_since = self._clock.wall_s()
            self._hurry.set()
        return file.path

    def stop_recording(self) -> tuple[Path, int]:
        """End the recording that was asked for; its journal, and how many messages the disk didn't take.

        Raises MachineError if there is none.
        """
        with self._asking, self._guard:
            file = self._end_asked()
        if file is None:
            raise MachineError("nothing is being recorded. To save what you just played: pointsman record --last 5m")
        file.close()
        return file.path, file.lost

    def _end_asked(self) -> JournalFile | None:
        """The recording that was asked for gets no more, but its end."""
        self._drain()
        asked, self._asked, self.recording_since = self._asked, None, None
        if asked is not None:
            asked.add(pack((RECORDED, self._clock.now_ns(), 0, b"")), 0)
        return asked

    def record_into(self, folder: Path) -> None:
        """Record all that is played into a folder, a take for each stretch without a minute's pause.

        What was left behind there is saved meanwhile. Raises MachineError if the folder can't be written to.
        """
        recovery = threading.Thread(
            target=save_all, args=(left_behind(folder), self._say), name="recovery", daemon=True
        )
        automatic = AutomaticTakes(folder, self._before, self._say, self._clock)
        with self._guard:
            self._drain()
            automatic.begin(self._clock.now_ns())
            self._automatic = automatic
        self._hurry.set()
        self._recovery = recovery
        recovery.start()

    def _before(self) -> bytes:
        """Return what a journal begins with: rules, names and switches in force, and the time on the wall."""
        self._lasting[WALL] = (WALL, self._clock.now_ns(), 0, wall_data(self._clock.wall_s()))
        return b"".join(pack(self._lasting[kind]) for kind in sorted(self._lasting))

    # -- the thread ---------------------------------------------------------------------------------------------------

    def _work(self) -> None:
        came = True
        while not self._is_ending:
            writes = self._asked is not None or self._automatic is not None
            self._hurry.wait(_DRAIN_EVERY_S if came or writes else _REST_S)
            self._hurry.clear()
            with self._guard:
                came = self._drain()

    def _drain(self) -> bool:
        """Pack what has been logged, and hand it on; return whether anything was."""
        now = self._clock.now_ns()
        self._note_switches(now)
        self._collect()
        came = bool(self._collected)
        if came:
            self._note_wall(now)
            self._collect()
            self._hand_on(now)
        elif now - self._handed_on_at >= _SILENCE_NS:
            self._note_silence(now)
        self._ring.trim(now)
        if self._automatic is not None:
            self._automatic.look(now)
        return came

    def _note_silence(self, now: int) -> None:
        """Let journals know that they go on, so that a killed recording ends about when it was killed."""
        self._handed_on_at = now
        if self._asked is not None:
            self._asked.add(pack((RECORDED, now, 0, b"")), 0)
        if self._automatic is not None:
            self._automatic.go_on(now)

    def _hand_on(self, now: int) -> None:
        self._handed_on_at = now
        packed, lasting, played = bytearray(), [], False
        amount = len(self._collected)
        for _ in range(amount):
            record = self._collected.popleft()
            packed += pack(record)
            played = played or is_played(record)
            if record[0] in LASTING:
                lasting.append(record)
        data = bytes(packed)
        self._ring.add(data, now, tuple(lasting))
        if self._asked is not None:
            self._asked.add(data, amount)
        if self._automatic is not None:
            self._automatic.add(data, amount, played, now)
        self._lasting.update((record[0], record) for record in lasting)

    def _note_switches(self, now: int) -> None:
        """Note how changed switches stand: a journal may begin here. A long press turns one while nothing comes."""
        if self.switches is not None:
            states = state_data(self.switches())
            state = self._lasting.get(STATE)
            if state is None or state[3] != states:
                self.log((STATE, now, 0, states))

    def _note_wall(self, now: int) -> None:
        """Note the time on the wall each minute in which anything comes."""
        wall = self._lasting.get(WALL)
        if wall is None or now - wall[1] > _WALL_EVERY_NS:
            self.log((WALL, now, 0, wall_data(self._clock.wall_s())))
