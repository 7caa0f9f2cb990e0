"""Times in which the daemon could not run: the process was stopped, or the computer slept or was too busy."""

from __future__ import annotations

from router.files.clock import Clock
from router.midi.poll_loop import STALL_NS
from rules.timing.delays import NANOSECONDS_PER_SECOND


class Stalls:
    """Stalls of the loop: how many there were in all (`count`), and what is still to be acted on (`span`, ns).

    The loop says when it could not turn. While the computer sleeps, the loop's own clock stands still, so the clock
    that goes on then is asked as well.
    """

    def __init__(self, clock: Clock) -> None:
        self.count = 0
        self.span = 0
        self._boot_ns = clock.boot_ns
        self._asleep = clock.boot_ns() - clock.now_ns()

    def note(self, span: int) -> None:
        """Count a stall of so long (ns)."""
        self.count += 1
        self.span += span

    def look(self, now: int) -> None:
        """Count the time for which the computer has slept since the last look."""
        asleep = self._boot_ns() - now
        if asleep - self._asleep > STALL_NS:
            self.note(asleep - self._asleep)
        self._asleep = asleep

    def end(self) -> str:
        """Return what to say of the stalls since the last time; they are acted on."""
        seconds, self.span = self.span / NANOSECONDS_PER_SECOND, 0
        return (
            f"the daemon could not run for {seconds:.1f} s: messages of that time may be lost. What was held by then "
            "ends, so that nothing hangs"
        )
