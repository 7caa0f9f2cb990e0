"""Numbers, counters and byte buffers that compiled code keeps as the machine does.

In the compiled wheel `i64` and `u8` are machine numbers, a `vec` holds them side by side, and a `BytesWriter` takes
bytes one by one without making an object of each; their names lead the compiler to them. Interpreted, they are what
Python has. Whatever is written with them must mean the same both ways: no number leaves its range.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from librt.strings import BytesWriter as BytesWriter
    from librt.strings import read_i32_be as read_i32_be
    from librt.strings import write_i32_le as write_i32_le
    from librt.vecs import vec as vec
    from mypy_extensions import i32 as i32
    from mypy_extensions import i64 as i64
    from mypy_extensions import mypyc_attr as mypyc_attr
    from mypy_extensions import u8 as u8
else:
    i32 = i64 = u8 = int

    def mypyc_attr(**attributes: bool) -> Callable[[type], type]:
        """Tell the compiler something about a class."""
        return lambda kept: kept

    class BytesWriter(bytearray):
        """A growing row of bytes."""

        write = bytearray.extend

        def getvalue(self) -> bytes:
            """Return them."""
            return bytes(self)

        def truncate(self, size: int) -> None:
            """Forget what stands behind the first `size` bytes."""
            del self[size:]

    def read_i32_be(data: bytes, at: int) -> int:
        """Read four bytes at once as a signed number, the highest first."""
        return int.from_bytes(data[at : at + 4], signed=True)

    def write_i32_le(out: BytesWriter, number: int) -> None:
        """Write four bytes at once, the lowest first."""
        out += number.to_bytes(4, "little")

    class vec:
        """A row of numbers: `vec[i64](numbers)`."""

        def __class_getitem__(cls, item: type) -> type:
            return list
