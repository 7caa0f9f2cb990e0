"""A table old = new of notes, controllers or programs, as `map` has them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from rules.fields.matching import NOTE_STATUSES
from rules.midi.controllers import FIRST_MODE
from rules.midi.messages import CONTROLLER, PROGRAM
from rules.midi.notation import Naming, format_controller
from rules.program.byte_tables import ALL, gate_of, table_of
from rules.program.forms import Form
from rules.steps.base import StepContext
from rules.steps.wording import note_of, pairs, program_of

_STATUSES: Final = {"notes": NOTE_STATUSES, "controllers": (CONTROLLER,), "programs": (PROGRAM,)}


@dataclass(frozen=True)
class NumberTable:
    """What is looked up, in which numbers (0-127 on the wire), and whether those that the table lacks are dropped."""

    what: Literal["notes", "controllers", "programs"]
    numbers: Mapping[int, int]
    drops_others: bool

    def words(self, naming: Naming) -> str:
        """The table in words."""
        write = {"notes": note_of(naming), "controllers": format_controller, "programs": program_of(naming)}[self.what]
        return f"{self.what} {pairs(self.numbers, write)}{', others dropped' if self.drops_others else ''}"

    @property
    def remembers(self) -> bool:
        """A table looks at each message by itself."""
        return False

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """The form with its key, controller or program looked up. Mode messages are no controllers: they pass."""
        if form.kind not in _STATUSES[self.what]:
            return [form]
        domain = gate_of(range(FIRST_MODE)) if self.what == "controllers" else ALL
        if self.drops_others:
            form = form.having_one(gate_of(self.numbers) | ALL & ~domain)
        moved = table_of(lambda number: self.numbers.get(number, number) if domain >> number & 1 else number)
        return [form._replace(one=form.one.translate(moved))] if form.exists else []
