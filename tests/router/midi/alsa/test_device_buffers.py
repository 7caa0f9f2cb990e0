"""The room in the buffers of devices, from what Linux shows."""

from __future__ import annotations

from pathlib import Path

import pytest

from router.midi.alsa.device_buffers import device_buffer

SHOWN = """Pit Interface

Output 0
  Tx bytes     : 120
  Owner PID    : 812
  Mode         : native
  Buffer size  : 4096
  Avail        : 4090
Output 1
  Tx bytes     : 0
Input 0
  Rx bytes     : 8
  Owner PID    : 812
  Mode         : native
  Buffer size  : 4096
  Avail        : 7
  Overruns     : 0
"""


@pytest.mark.parametrize(("port", "free"), [(32, (4_096, 4_090)), (33, None), (34, None), (0, None)])
def test_the_room_of_an_output(tmp_path: Path, port: int, free: tuple[int, int] | None) -> None:
    """The first output of the second device; one that isn't open shows nothing, nor does a device that isn't there."""
    (tmp_path / "card2").mkdir()
    (tmp_path / "card2/midi1").write_text(SHOWN)
    assert device_buffer(2, port, tmp_path) == free
