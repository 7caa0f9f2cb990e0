"""What the exit codes of the command mean."""

from __future__ import annotations

from typing import Final

FINE: Final = 0
INCOMPLETE: Final = 1
UNUSABLE: Final = 2
INTERRUPTED: Final = 130  # 128 + SIGINT, as shells count
READER_GONE: Final = 141  # 128 + SIGPIPE

MEANINGS: Final = {
    FINE: "all is well, also if Ctrl-C ended what plays, listens or records",
    INCOMPLETE: "files were not written, a test failed, rules were refused, a port is missing, or output got lost",
    UNUSABLE: "the command line, a rule file, a port or the daemon can't be used",
    INTERRUPTED: "stopped with Ctrl-C: files written so far are whole, the others are as they were",
    READER_GONE: "the program that read the output has ended",
}
