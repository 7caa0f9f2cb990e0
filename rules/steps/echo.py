"""`echo`: the note at once, then copies of it, quieter and moved if wanted."""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated, ClassVar

from pydantic import Field

from rules.fields.numbers import Beats, Milliseconds, NoteValue, Semitones, whole
from rules.midi.messages import NOTE_ON
from rules.midi.notation import Naming
from rules.program.forms import Form
from rules.steps.base import StepContext
from rules.steps.echo_node import EchoNode
from rules.steps.rounding import rounded_quotient
from rules.steps.timed_step import TimedStep, note_value_field
from rules.timing.delays import in_words


class EchoStep(TimedStep):
    """`echo = { beats = 0.5, times = 3, decay = 30, transpose = 12 }`: notes only; all else passes (ruling 22).

    Copy n (1, 2, ... `times`) comes n times `ms` or `beats` after the note. It is quieter by `decay` percent than the
    one before and `transpose` semitones further away. A copy whose velocity falls below 1 ends the echo, and so does
    one whose key leaves 0-127.
    """

    key: ClassVar[str] = "echo"
    what: ClassVar[str] = "an echo"
    ms: Milliseconds = Field(
        default=Fraction(0),
        description="sets the time between copies in milliseconds, up to 600,000",
        examples=["{ echo = { ms = 250 } }"],
        json_schema_extra={"default": "`0`"},
    )
    beats: Beats = Field(
        default=Fraction(0),
        description="sets the time between copies in quarter notes, up to 1024",
        examples=["{ echo = { beats = 0.5 } }"],
        json_schema_extra={"default": "`0`"},
    )
    note_value: NoteValue = note_value_field("echo", "sets the time between copies as")
    times: Annotated[int, whole("a number of copies", 1, 64)] = Field(
        default=1,
        description="sets the number of copies, 1 to 64",
        examples=["{ echo = { ms = 250, times = 3 } }"],
    )
    decay: Annotated[int, whole("a loss in percent", 0, 100)] = Field(
        default=30,
        description="makes each copy quieter than the one before, in percent",
        examples=["{ echo = { ms = 250, times = 3, decay = 50 } }"],
    )
    transpose: Semitones = Field(
        default=0,
        description="moves each copy further, in semitones",
        examples=["{ echo = { beats = 1, times = 3, transpose = 12 } }"],
    )

    def copies(self, key: int, velocity: int) -> list[tuple[int, int, int]]:
        """The copies of a note as (n, key, velocity), computed from the note itself, so that no rounding adds up."""
        made = []
        for n in range(1, self.times + 1):
            quieter = rounded_quotient(velocity * (100 - self.decay) ** n, 100**n)
            moved = key + n * self.transpose
            if quieter < 1 or not 0 <= moved <= 127:
                break
            made.append((n, moved, quieter))
        return made

    @property
    def most_notes(self) -> int:
        """The note itself and its copies; the loudest note of the key that stays longest within 0-127 has the most."""
        return 1 + max(len(self.copies(key, 127)) for key in (0, 127))

    @property
    def remembers(self) -> bool:
        """It has a node."""
        return True

    def words(self, naming: Naming) -> str:
        """The step in words."""
        every = in_words(self.span)
        copies = f"echo, {self.times} times, every {every}" if self.times > 1 else f"echo, once, after {every}"
        quieter = f", each {self.decay} percent quieter" if self.decay else ""
        higher = f", each {self.transpose:+d} semitones" if self.transpose else ""
        return copies + quieter + higher

    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """Note-ons go to the node that copies them; all else passes."""
        if form.kind != NOTE_ON:
            return [form]
        return [form._replace(node=context.node(lambda: EchoNode(self.span, self.times, self.copies)))]
