"""`accept`: findings of `check` that are meant, each with the reason, next to what they are about."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator

from rules.fields.table_model import fault, shown


def _table(raw: Any) -> Any:
    if not isinstance(raw, dict):
        raise fault(
            f'{shown(raw)} accepts nothing: write the finding and a reason, as in {{ "split gap: C4" = "why" }}'
        )
    return raw


def _labels(accepted: dict[str, str]) -> dict[str, str]:
    for label in accepted:
        if not label.strip() or not label.isprintable():
            raise fault(f'{shown(label)} is not a finding: write it as `check` shows it, such as "split gap: C4"')
    return accepted


def _reason(raw: Any) -> Any:
    if raw == "":
        raise fault('the reason is empty: write a reason, such as "the pads play here"')
    if not isinstance(raw, str) or not raw.strip() or not raw.isprintable():
        raise fault(f"{shown(raw)} is not a reason: write a reason in quotes, on one line")
    return raw


Accepted = Annotated[
    dict[str, Annotated[str, BeforeValidator(_reason)]], BeforeValidator(_table), AfterValidator(_labels)
]
"""Reasons by the label of a finding, such as `split gap: C4`."""

ACCEPT = "takes findings of `check` as meant, each with your reason"
"""What the setting does."""
