"""The room in the buffer of a device's output, as the kernel shows it under /proc/asound.

A sequencer port of a device stands for one of its outputs: Linux numbers them by 32 for each device of a card
(sound/core/seq/seq_midi.c), and shows what each holds (snd_rawmidi_proc_info_read in sound/core/rawmidi.c).
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Final

PROC: Final = Path("/proc/asound")

_OUTPUTS_A_DEVICE: Final = 32
_OUTPUT: Final = re.compile(r"^Output (\d+)$(.*?)(?=^\S|\Z)", re.MULTILINE | re.DOTALL)
_BUFFER: Final = re.compile(r"^ *Buffer size *: (\d+)\n *Avail *: (\d+)$", re.MULTILINE)


def device_buffer(card: int, port: int, proc: Path = PROC) -> tuple[int, int] | None:
    """Return how many bytes the buffer behind a sequencer `port` of a `card` holds, and how many of them are free.

    None where that isn't shown.
    """
    device, output = divmod(port, _OUTPUTS_A_DEVICE)
    try:
        shown = (proc / f"card{card}" / f"midi{device}").read_text(encoding="ascii", errors="replace")
    except OSError:
        return None
    sections = {int(number): text for number, text in _OUTPUT.findall(shown)}
    found = _BUFFER.search(sections.get(output, ""))
    return (int(found[1]), int(found[2])) if found else None
