"""`[[promises]]`: what never happens, or always does, whatever is played and whatever the switches are at."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field, model_validator

from rules.fields.conditions import Conditions
from rules.fields.names import Names, Title
from rules.fields.table_model import TableModel, fault
from rules.rulefile.rule_tables import Sources


def _some_name(names: tuple[str, ...]) -> tuple[str, ...]:
    if not names:
        raise fault("this list is empty: name at least one device or port")
    return names


PromisedNames = Annotated[Names, AfterValidator(_some_name)]


class Promise(TableModel):
    """A promise of the rule file (ruling 36): no message that it is about reaches `never`, or each reaches `always`."""

    name: Title = Field(description="says what is promised", examples=['name = "no program change reaches the organ"'])
    source: Sources = Field(
        alias="from",
        description="names the port, or a list of ports, that messages come from",
        examples=['from = ["keyboard", "pads"]'],
    )
    match: Conditions = Field(
        default=(),
        description="says which messages it is about; a list of tables means any of them",
        examples=['match = { kind = "program" }'],
        json_schema_extra={"default": "all messages"},
    )
    never: PromisedNames = Field(
        default=(),
        description="names devices and ports that none of these messages reaches",
        examples=['never = "organ"'],
        json_schema_extra={"default": "write this or `always`"},
    )
    always: PromisedNames = Field(
        default=(),
        description="names devices and ports; each of these messages reaches at least one",
        examples=['always = ["drum kit"]'],
        json_schema_extra={"default": "write this or `never`"},
    )
    out: Conditions = Field(
        default=(),
        description="counts only messages that are like this where they arrive",
        examples=['out = { velocity = "111.." }'],
        json_schema_extra={"default": "all messages"},
    )
    unchanged: bool = Field(
        default=False,
        description="counts only messages that arrive at once and as they came; goes with `always`",
        examples=["unchanged = true"],
    )

    @model_validator(mode="after")
    def _promises_one_thing(self) -> Promise:
        if bool(self.never) == bool(self.always):
            found = "found both" if self.never else "found neither"
            raise fault(f"a promise has one of `never` and `always` ({found}): write one of them")
        if self.unchanged and self.never:
            raise fault("`unchanged` goes with `always`: remove it, or say with `out` what must not arrive")
        return self
