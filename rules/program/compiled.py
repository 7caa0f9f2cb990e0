"""Whether this is the compiled wheel: this module is compiled with the others, or none is."""

from __future__ import annotations

from typing import Final

COMPILED: Final = not __file__.endswith(".py")
