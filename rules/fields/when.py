"""The conditions on switches: `up`, `not up`, `song = chorus`, `key = -2..2`, joined by `and` and `or`.

`and` binds tighter than `or`. Whether the named switches and values exist is checked when all files are together.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Final

from pydantic import BeforeValidator

from rules.fields.table_model import fault, shown

_TERM: Final = re.compile(r"(not\s+)?([\w-]+(?: [\w-]+)*)(?:\s*=\s*([\w.+-]+(?: [\w.+-]+)*))?")


@dataclass(frozen=True, slots=True)
class Term:
    """One switch asked about: `value` None asks whether it is on; `negated` turns the answer round."""

    switch: str
    value: str | None
    negated: bool

    def holds(self, state: bool | int | str) -> bool:
        """Return whether the condition is met while the switch has a state.

        Without a value it asks for on; numbers may be a range.
        """
        return self._means(state) != self.negated

    def _means(self, state: bool | int | str) -> bool:
        if self.value is None:
            return state is True
        if isinstance(state, bool):
            return self.value == ("on" if state else "off")
        if isinstance(state, int):
            low, high = number_span(self.value) or (1, 0)
            return (low is None or low <= state) and (high is None or state <= high)
        return state == self.value

    def __str__(self) -> str:
        text = self.switch if self.value is None else f"{self.switch} = {self.value}"
        return f"not {text}" if self.negated else text


@dataclass(frozen=True, slots=True)
class When:
    """Any of `alternatives`, each of which asks for all of its terms."""

    alternatives: tuple[tuple[Term, ...], ...]

    @property
    def terms(self) -> tuple[Term, ...]:
        """Every term, in the order written."""
        return tuple(term for terms in self.alternatives for term in terms)

    def holds(self, states: Mapping[str, bool | int | str]) -> bool:
        """Return whether the condition is met; a switch that isn't among `states` meets none."""
        return any(
            all(term.switch in states and term.holds(states[term.switch]) for term in terms)
            for terms in self.alternatives
        )

    def __str__(self) -> str:
        return " or ".join(" and ".join(map(str, terms)) for terms in self.alternatives)


def parse_when(text: str) -> When:
    """Read a condition on switches. Raises the validation error of the rule file."""
    alternatives = []
    for part in re.split(r"\s+or\s+", text.strip()):
        terms = []
        for word in re.split(r"\s+and\s+", part):
            match = _TERM.fullmatch(word.strip())
            if match is None or not {"and", "or", "not"}.isdisjoint(match[2].split()):
                raise fault(
                    f'{shown(text)} is not a condition on switches: write "up", "not up", "song = chorus" or '
                    '"key = -2..2", joined by and / or'
                )
            terms.append(Term(match[2], match[3], match[1] is not None))
        alternatives.append(tuple(terms))
    return When(tuple(alternatives))


def _read(raw: Any) -> Any:
    if isinstance(raw, When):
        return raw
    if isinstance(raw, str):
        return parse_when(raw)
    raise fault(f'{shown(raw)} is not a condition on switches: write text such as "song = chorus"')


WhenField = Annotated[When, BeforeValidator(_read)]


_SPAN: Final = re.compile(r"([+-]?[0-9]{1,4})|([+-]?[0-9]{1,4})?\.\.([+-]?[0-9]{1,4})?")


def number_span(value: str) -> tuple[int | None, int | None] | None:
    """The ends of `2`, `-2..2`, `..3` or `1..` as a condition on a number switch; an end left open is None.

    The whole is None where the text is neither a number nor a range.
    """
    match = _SPAN.fullmatch(value)
    if match is None:
        return None
    if match[1] is not None:
        return int(match[1]), int(match[1])
    return (int(match[2]) if match[2] else None), (int(match[3]) if match[3] else None)
