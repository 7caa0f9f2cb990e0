"""What every step has in common: a main key, a short and a long form."""

from __future__ import annotations

from typing import Any, ClassVar

from pydantic import model_validator

from rules.language.values import Part


class Step(Part):
    """A step of a rule: `{ key = short }` or `{ key = { ... } }`; `when` stands beside the key, not in it."""

    key: ClassVar[str]

    @classmethod
    def from_short(cls, raw: Any) -> Any:
        """The long form of a short one; what is no short form comes back as it is, for the fields to refuse."""
        return raw

    @model_validator(mode="before")
    @classmethod
    def _lengthen(cls, raw: Any) -> Any:
        return cls.from_short(raw)
