"""Which MIDI system of the computer is used.

Nothing else in this process imports python-rtmidi.
"""

from __future__ import annotations

import os
import sys
from importlib import import_module
from typing import Final, cast

from router.midi import alsa_sequencer
from router.midi.alsa_backend import AlsaBackend
from router.midi.backend import Backend
from router.midi.jack_backend import JackBackend
from router.midi.rtmidi_backend import Library, RtmidiBackend
from rules.errors import MachineError


class CoreMidiBackend(RtmidiBackend):
    """The MIDI system of macOS."""

    name = "CoreMIDI"


class WindowsMmBackend(RtmidiBackend):
    """The MIDI system of Windows."""

    name = "Windows MM"
    has_virtual = False


_SYSTEMS: Final[dict[str, tuple[str, type[RtmidiBackend]]]] = {
    "alsa": ("alsa", AlsaBackend),
    "jack": ("jack", JackBackend),
    "coremidi": ("core", CoreMidiBackend),
    "winmm": ("winmm", WindowsMmBackend),
}
"""By the name that the user gives: the library's name for it, and what we know about it. Tried in this order."""

BACKENDS: Final = tuple(_SYSTEMS)


def choose_backend(name: str | None, client: str) -> Backend:
    """The MIDI system of a name (alsa, jack, coremidi, winmm), or the first that is there; we are `client` to it.

    Raises MachineError, also where python-rtmidi is missing.
    """
    library = _library()
    compiled = {library.get_api_name(api): api for api in library.get_compiled_api()}
    names = [name] if name else [one for one in BACKENDS if _may_be_there(one)]
    reasons = []
    for one in names:
        key, system = _SYSTEMS[one]
        if key not in compiled:
            reasons.append(f"{one}: the package python-rtmidi was built without it")
            continue
        try:
            return system(library, compiled[key], client)
        except MachineError as error:
            reasons.append(str(error))
    raise MachineError(f"there is no MIDI system to use: {_HELP} ({'; '.join(reasons)})")


_HELP: Final = "ALSA needs the kernel module snd-seq (sudo modprobe snd-seq), and JACK needs a running server"


def _may_be_there(name: str) -> bool:
    """Return where ALSA has no device, asking it only makes noise."""
    if name == "alsa":
        return os.path.exists(alsa_sequencer.DEVICE)
    return (name == "jack") or sys.platform != "linux"


def _library() -> Library:
    try:
        return cast(Library, import_module("rtmidi"))
    except ImportError as error:
        raise MachineError(
            "live ports need the package python-rtmidi: pip install 'pointsman[live]'. "
            "For Python 3.13 and newer it is built on the spot, which on Debian needs: apt-get install g++ pkg-config "
            "libasound2-dev libjack-jackd2-dev"
        ) from error
