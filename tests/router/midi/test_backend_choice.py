"""Which MIDI system is used, with a library in memory in place of python-rtmidi."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from router.midi import backend_choice
from router.midi.alsa import kernel_calls
from router.midi.alsa.fallback_backend import AlsaFallbackBackend
from router.midi.backend_choice import choose_backend
from rules.errors import MachineError
from tests.support.fake_rtmidi import Library

ROOT = Path(__file__).parents[3]


def test_without_a_name_the_first_system_that_is_there_is_used(
    library: Library, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """On Linux ALSA where its device exists, else JACK."""
    monkeypatch.setattr(sys, "platform", "linux")
    assert choose_backend(None, "pit").name == "JACK"
    library.apis = [2, 3]
    (tmp_path / "seq").touch()
    monkeypatch.setattr(kernel_calls, "DEVICE", str(tmp_path / "seq"))
    assert choose_backend(None, "pit").name == "ALSA"
    assert choose_backend("jack", "pit").name == "JACK"


def test_alsa_is_opened_by_its_records_and_else_by_python_rtmidi(
    library: Library, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without python-rtmidi too; where both fail, both reasons are told."""

    class Opened:
        name = "by records"

        def __init__(self, client: str) -> None:
            self.client = client

    library.apis = [2]
    assert isinstance(choose_backend("alsa", "pit"), AlsaFallbackBackend)
    library.is_dead = True
    with pytest.raises(MachineError, match=r"ALSA can't be used: .*; ALSA can't be used: the MIDI system says: server"):
        choose_backend("alsa", "pit")
    monkeypatch.setattr(backend_choice, "SequencerBackend", Opened)
    monkeypatch.setattr(backend_choice, "_library", lambda: pytest.fail("python-rtmidi isn't needed"))
    assert choose_backend("alsa", "pit").name == "by records"


def test_where_no_system_is_there_all_reasons_are_told(library: Library) -> None:
    """And what would help."""
    library.is_dead = True
    with pytest.raises(MachineError) as caught:
        choose_backend("jack", "pit")
    assert "(JACK can't be used: the MIDI system says: server not running" in str(caught.value)
    assert "sudo modprobe snd-seq" in str(caught.value)
    with pytest.raises(MachineError, match="alsa: the package python-rtmidi was built without it"):
        choose_backend("alsa", "pit")


def test_without_python_rtmidi_it_is_said_what_to_install() -> None:
    """From the real command: exit code 2 and the packages, no traceback."""
    program = "import sys; sys.modules['rtmidi'] = None\nfrom router.cli.main import main\nsys.exit(main(['ports']))"
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "pointsman ports: live ports need the package python-rtmidi" in done.stderr
    assert "pip install 'pointsman[live]'" in done.stderr
    assert "apt-get install g++ pkg-config libasound2-dev libjack-jackd2-dev" in done.stderr


def test_no_library_is_loaded_before_a_system_is_opened() -> None:
    """That of ALSA takes 50 ms, for asyncio: commands that are typed in a hurry do without."""
    program = (
        "import sys, router.midi.backend_choice\n"
        "sys.exit(', '.join({'alsa_midi', 'rtmidi', 'asyncio', 'cffi'} & set(sys.modules)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
