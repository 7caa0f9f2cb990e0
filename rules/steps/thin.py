"""`thin`: fewer values of controllers, bends and pressure; the last one always arrives."""

from __future__ import annotations

from typing import Any, ClassVar

from pydantic import model_validator

from rules.language.values import Milliseconds, fault
from rules.steps.base import Step


class ThinStep(Step):
    """`thin = 20`: at most one value each 20 ms for each controller, bend or pressure and channel (ruling 23)."""

    key: ClassVar[str] = "thin"
    ms: Milliseconds

    @classmethod
    def from_short(cls, raw: Any) -> Any:
        """Milliseconds."""
        return raw if isinstance(raw, dict) else {"ms": raw}

    @model_validator(mode="after")
    def _says_something(self) -> ThinStep:
        if not self.ms:
            raise fault("`thin` needs a time above 0 ms")
        return self
