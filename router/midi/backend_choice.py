"""Which MIDI system of the computer is used, and by way of which library.

Nothing else in this process imports python-rtmidi, and nothing imports it where ALSA is opened without it.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from functools import partial
from importlib import import_module
from typing import Final, cast

from router.midi.alsa import kernel_calls
from router.midi.alsa.fallback_backend import AlsaFallbackBackend
from router.midi.alsa.sequencer_backend import SequencerBackend
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
    "alsa": ("alsa", AlsaFallbackBackend),
    "jack": ("jack", JackBackend),
    "coremidi": ("core", CoreMidiBackend),
    "winmm": ("winmm", WindowsMmBackend),
}
"""By the name that the user gives: the library's name for it, and what we know about it. Tried in this order."""

BACKENDS: Final = tuple(_SYSTEMS)


class _LibraryMissing(MachineError):
    """python-rtmidi isn't installed."""


def choose_backend(name: str | None, client: str) -> Backend:
    """The MIDI system of a name (alsa, jack, coremidi, winmm), or the first that is there; we are `client` to it.

    Raises MachineError, also where the packages that open it are missing.
    """
    reasons: list[MachineError] = []
    for one in [name] if name else [one for one in BACKENDS if _may_be_there(one)]:
        for opener in _openers(one):
            try:
                return opener(client)
            except MachineError as error:
                reasons.append(error)
    missing = [reason for reason in reasons if isinstance(reason, _LibraryMissing)]
    if missing and len(missing) == len(reasons):
        raise missing[0]
    raise MachineError(f"there is no MIDI system to use: {_HELP} ({'; '.join(map(str, reasons))})")


def _openers(name: str) -> list[Callable[[str], Backend]]:
    """What opens a system, best first."""
    by_rtmidi = partial(_open_by_rtmidi, name)
    return [SequencerBackend, by_rtmidi] if name == "alsa" else [by_rtmidi]


def _open_by_rtmidi(name: str, client: str) -> Backend:
    library = _library()
    compiled = {library.get_api_name(api): api for api in library.get_compiled_api()}
    key, system = _SYSTEMS[name]
    if key not in compiled:
        raise MachineError(f"{name}: the package python-rtmidi was built without it")
    return system(library, compiled[key], client)


_HELP: Final = "ALSA needs the kernel module snd-seq (sudo modprobe snd-seq), and JACK needs a running server"


def _may_be_there(name: str) -> bool:
    """Return where ALSA has no device, asking it only makes noise."""
    if name == "alsa":
        return os.path.exists(kernel_calls.DEVICE)
    return (name == "jack") or sys.platform != "linux"


def _library() -> Library:
    try:
        return cast(Library, import_module("rtmidi"))
    except ImportError as error:
        raise _LibraryMissing(
            "live ports need the package python-rtmidi: pip install 'pointsman[live]'. "
            "For Python 3.13 and newer it is built on the spot, which on Debian needs: apt-get install g++ pkg-config "
            "libasound2-dev libjack-jackd2-dev"
        ) from error
