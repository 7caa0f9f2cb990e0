"""What every step has in common: a main key, a short and a long form, and what it makes of a form."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable, Iterator, Mapping
from typing import Any, ClassVar, NamedTuple, Protocol, TypeVar

from pydantic import model_validator

from rules.fields.conditions import Condition
from rules.fields.table_model import TableModel
from rules.midi.notation import Naming
from rules.program.forms import Form
from rules.program.guards import Guard
from rules.program.loss_reasons import OTHER
from rules.program.node import Node

SomeNode = TypeVar("SomeNode", bound=Node)


class StepContext(Protocol):
    """What a step may ask of the rule that it is part of."""

    @property
    def fires_on(self) -> frozenset[int]:
        """Statuses that make a `send` fire since the `match` of this rule names their kind (rulings 3, 26).

        They are those of clock and transport, and that of note-offs without its channel.
        """
        ...

    @property
    def open(self) -> Guard:
        """For which switch states the step's `when` holds."""
        ...

    def numbers(self, switch: str) -> list[tuple[int, Guard]]:
        """Every number that a number switch can be at, with the guard that it is."""
        ...

    def node(self, make: Callable[[], SomeNode]) -> SomeNode:
        """The memory of this step: made once, and the same for every form that comes through."""
        ...


class StepDoubt(NamedTuple):
    """What may not be meant: the kind of finding that it is, what is so, and what to write instead."""

    kind: str
    text: str
    remedy: str


class Step(TableModel):
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

    @abstractmethod
    def words(self, naming: Naming) -> str:
        """The step in words, as `trace` tells it, with notes and programs named as in its rule file."""

    @property
    def remembers(self) -> bool:
        """Whether the step has a memory: what it does to a message depends on those before."""
        return False

    @property
    def most_notes(self) -> int:
        """How many notes one note becomes at most."""
        return 1

    @property
    def curve(self) -> Any:
        """The curve that the step gives velocities, a `Shape` of `velocity`; None for all other steps."""
        return None

    only_rechannels: ClassVar[bool] = False
    """Whether all that the step does is to change channels, so that a channel set later undoes it."""

    writes_messages: ClassVar[bool] = False
    """Whether the step sends messages of its own: what comes may be there only to start it."""

    loss: ClassVar[str] = OTHER
    """Why a message that the step drops comes to nothing, as summaries name it: one of `REASONS`."""

    @property
    def conditions(self) -> Mapping[str, tuple[Condition, ...]]:
        """What the step asks of messages, by the key that says it."""
        return {}

    @property
    def number_switches(self) -> Mapping[str, str]:
        """The number switches that the step goes by, by the key that names each."""
        return {}

    def transposes(self, channel: int) -> bool:
        """Return whether the step moves all keys of a channel (1-16)."""
        return False

    def doubts(self, channels: frozenset[int]) -> Iterator[StepDoubt]:
        """Return what is odd about the step where notes on some channels (1-16) come to it."""
        yield from ()

    @abstractmethod
    def fold(self, form: Form, context: StepContext) -> list[Form]:
        """Return what becomes of a form: none (dropped), one or several; one that ends at a node goes on from there."""

    def skipped(self, form: Form, context: StepContext) -> list[Form]:
        """Return what becomes of a form while the step's `when` doesn't hold: usually nothing happens to it."""
        return [form]
