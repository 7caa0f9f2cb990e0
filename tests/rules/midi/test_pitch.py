"""Keys as frequencies."""

from __future__ import annotations

import pytest

from rules.midi.pitch import hertz


@pytest.mark.parametrize(
    ("key", "frequency"),
    [  # 440 * 2 ** ((key - 69) / 12), worked out apart from this code
        *((0, 8.175799), (12, 16.351598), (21, 27.5), (57, 220), (60, 261.625565), (61, 277.182631)),
        *((69, 440), (81, 880), (108, 4186.009045), (120, 8372.018090), (127, 12543.853951)),
    ],
)
def test_keys_have_the_frequencies_of_equal_temperament(key: int, frequency: float) -> None:
    """With key 69 at 440 Hz."""
    assert hertz(key) == pytest.approx(frequency, abs=0.000001)


@pytest.mark.parametrize(("key", "printed"), [(0, 8.1758), (12, 16.3516), (60, 261.6256), (61, 277.1827)])
def test_frequencies_as_printed(key: int, printed: float) -> None:
    """The MIDI 1.0 Detailed Specification 4.2.1 prints the same on p.48, to the fourth place."""
    assert hertz(key) == pytest.approx(printed, abs=0.0001)


@pytest.mark.parametrize("key", range(116))
def test_octaves_double(key: int) -> None:
    """An octave up is twice the frequency."""
    assert hertz(key + 12) == pytest.approx(2 * hertz(key), rel=1e-12)
