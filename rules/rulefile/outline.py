"""The outline of a faulty rule: the names that it uses, as far as they can be read, so that these are checked too."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from pydantic import TypeAdapter, ValidationError

from rules.fields.when import WhenField
from rules.midi.notation import Naming
from rules.rulefile.rule_tables import Destination, Rule, Sources, Zone
from rules.rulefile.stages import Stage, StageTable


@cache
def _adapter(kind: Any) -> TypeAdapter[Any]:
    """Made when it is needed: a file without mistakes needs none."""
    return TypeAdapter(kind)


def outline(raw: Any, naming: Naming) -> Rule:
    """The rule with only its sources, destinations, steps, zones and switches; what is faulty in them is left out."""
    table = _table(raw)
    return Rule.model_construct(
        source=_read(Sources, table, "from") or (),
        to=_read(Destination, table, "to"),
        when=_read(WhenField, table, "when"),
        steps=_stages(table, naming),
        zones=tuple(_zone(_table(zone), naming) for zone in _list(table, "zones")),
    )


def is_whole(stage: Stage) -> bool:
    """Return whether a stage of an outline has its step."""
    return isinstance(stage, StageTable)


def _zone(table: Mapping[str, Any], naming: Naming) -> Zone:
    return Zone.model_construct(
        to=_read(Destination, table, "to"), when=_read(WhenField, table, "when"), steps=_stages(table, naming)
    )


def _stages(table: Mapping[str, Any], naming: Naming) -> tuple[Stage, ...]:
    return tuple(_stage(raw, naming) for raw in _list(table, "steps"))


def _stage(raw: Any, naming: Naming) -> Stage:
    try:
        return StageTable.model_validate(raw, context=naming)
    except ValidationError:
        return Stage.model_construct(when=_read(WhenField, _table(raw), "when"))


def _read(kind: Any, table: Mapping[str, Any], key: str) -> Any:
    """The value of a key, or None where it is missing or faulty."""
    if key not in table:
        return None
    try:
        return _adapter(kind).validate_python(table[key])
    except ValidationError:
        return None


def _table(raw: Any) -> Mapping[str, Any]:
    return raw if isinstance(raw, dict) else {}


def _list(table: Mapping[str, Any], key: str) -> list[Any]:
    found = table.get(key, [])
    return found if isinstance(found, list) else [found]
