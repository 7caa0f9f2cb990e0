"""A real instrument: fluidsynth on the sound server, recorded by jack_rec, and how loud a pitch is in the recording.

From Debian's packages fluidsynth, timgm6mb-soundfont and jackd2.
"""

from __future__ import annotations

import math
import subprocess
import wave
from array import array
from collections.abc import Mapping, Sequence
from pathlib import Path

from tests.live.server import until

SOUNDS = "/usr/share/sounds/sf2/TimGM6mb.sf2"
OPTIONS = (
    *("-a", "jack", "-m", "jack", "-r", "48000", "-R", "0", "-C", "0", "-g", "0.8"),
    *("-o", "midi.jack.id=organist", "-o", "audio.jack.id=organist", "-o", "audio.jack.autoconnect=0"),
)
FRAMES = 48_000  # a second
SECONDS = 2
_EVERY = 4
"""Of so many samples one is looked at: enough for pitches well below 6,000 Hz."""


class FluidSynth:
    """A synthesizer, without reverb and chorus."""

    def __init__(self, environment: Mapping[str, str]) -> None:
        self._environment = environment
        self._process = subprocess.Popen(
            ["fluidsynth", *OPTIONS, SOUNDS],
            env=environment,
            stdin=subprocess.PIPE,  # it leaves when nobody can tell it anything any more
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        until(lambda: {"organist:left", "organist:midi_00"} <= set(self._ports()) or self._has_ended(), "fluidsynth")
        assert not self._has_ended(), "fluidsynth ended at once"

    def _has_ended(self) -> bool:
        return self._process.poll() is not None

    def _ports(self) -> list[str]:
        return subprocess.run(
            ["jack_lsp"], env=self._environment, capture_output=True, text=True, check=False
        ).stdout.split("\n")

    def record(self, path: Path) -> subprocess.Popen[bytes]:
        """Begin to record the next seconds of what it plays."""
        recorder = subprocess.Popen(
            ["jack_rec", "-f", str(path), "-d", str(SECONDS), "-b", "16", "organist:left"],
            env=self._environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        until(lambda: any(port.startswith("jackrec:") for port in self._ports()), "jack_rec")
        return recorder

    def kill(self) -> None:
        """End it."""
        self._process.kill()
        self._process.wait()
        assert self._process.stdin is not None
        self._process.stdin.close()


class Recording:
    """What was recorded, from the moment on when it was loudest."""

    def __init__(self, path: Path) -> None:
        with wave.open(str(path)) as file:
            assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, FRAMES)
            samples = array("h", file.readframes(file.getnframes()))[::_EVERY]
        middle = max(range(len(samples)), key=lambda at: abs(samples[at]), default=0)
        length = FRAMES // _EVERY // 2
        begin = max(0, min(middle, len(samples) - length))
        self.samples: Sequence[int] = samples[begin : begin + length]

    def loudness(self, hertz: float) -> float:
        """How much of a pitch there is: the size of one bin of a discrete Fourier transform."""
        turn = 2 * math.cos(2 * math.pi * hertz * _EVERY / FRAMES)
        before = last = 0.0
        for sample in self.samples:
            before, last = last, sample + turn * last - before
        return math.sqrt(max(0.0, last * last + before * before - turn * last * before)) / len(self.samples)

    def pitch(self, low: float = 100, high: float = 1_500) -> float:
        """The loudest pitch, to a quarter of a hertz."""
        coarse = _loudest(self, [low + 2 * step for step in range(int(high - low) // 2)])
        return _loudest(self, [coarse - 2 + step / 4 for step in range(17)])


def _loudest(recording: Recording, pitches: Sequence[float]) -> float:
    return max(pitches, key=recording.loudness)
