"""The conditions on switches: `up`, `not up`, `song = chorus`, `key = -2..2`, joined by `and` and `or`.

`and` binds tighter than `or`. Values are named as people name songs: `song = Don't stop`, `song = "Rock and Roll"`.
Whether the named switches and values exist is checked when all files are together.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Final

from pydantic import BeforeValidator

from rules.fields.table_model import fault, shown
from rules.program.switch_states import State

_TERM: Final = re.compile(
    r"(?P<negated>not\s+)?(?P<switch>[\w-]+(?: [\w-]+)*?)"
    r"""(?:\s*=\s*(?:"(?P<double>[^"]*)"|'(?P<single>[^']*)'|(?P<bare>[^"'\s].*?)))?"""
    r"(?:\s+(?P<joined>and|or)\s+|$)",
    re.DOTALL,
)
_JOINING: Final = frozenset({"and", "or", "not"})
_ENDS_A_VALUE: Final = re.compile(r"^['\"]|(?:^|\s)(?:and|or)(?:\s|$)")


def written_value(value: str) -> str:
    """The value of a switch as a condition has it: in quotes only where it needs them."""
    if not _ENDS_A_VALUE.search(value):
        return value
    return f"'{value}'" if '"' in value else f'"{value}"'


def written_state(state: State) -> str:
    """The state of a switch in words, as a condition asks for it: `on`, `-2`, `chorus`, `"Tide or Ebb"`."""
    if isinstance(state, bool):
        return "on" if state else "off"
    return written_value(state) if isinstance(state, str) else str(state)


def written_states(states: Iterable[tuple[str, State]]) -> str:
    """The states of switches, by their names, as a condition asks for them: `song = chorus and up = on`."""
    return " and ".join(f"{name} = {written_state(state)}" for name, state in states)


@dataclass(frozen=True, slots=True)
class Term:
    """One switch asked about: `value` None asks whether it is on; `negated` turns the answer round."""

    switch: str
    value: str | None
    negated: bool

    def holds(self, state: State) -> bool:
        """Return whether the condition is met while the switch has a state.

        Without a value it asks for on; numbers may be a range.
        """
        return self._means(state) != self.negated

    def _means(self, state: State) -> bool:
        if self.value is None:
            return state is True
        if isinstance(state, bool):
            return self.value == ("on" if state else "off")
        if isinstance(state, int):
            low, high = number_span(self.value) or (1, 0)
            return (low is None or low <= state) and (high is None or state <= high)
        return state == self.value

    def __str__(self) -> str:
        text = self.switch if self.value is None else f"{self.switch} = {written_value(self.value)}"
        return f"not {text}" if self.negated else text


@dataclass(frozen=True, slots=True)
class When:
    """Any of `alternatives`, each of which asks for all of its terms."""

    alternatives: tuple[tuple[Term, ...], ...]

    @property
    def terms(self) -> tuple[Term, ...]:
        """Every term, in the order written."""
        return tuple(term for terms in self.alternatives for term in terms)

    def holds(self, states: Mapping[str, State]) -> bool:
        """Return whether the condition is met; a switch that isn't among `states` meets none."""
        return any(
            all(term.switch in states and term.holds(states[term.switch]) for term in terms)
            for terms in self.alternatives
        )

    def __str__(self) -> str:
        return " or ".join(" and ".join(map(str, terms)) for terms in self.alternatives)


def parse_when(text: str) -> When:
    """Read a condition on switches. Raises the validation error of the rule file.

    A value runs to the next ` and ` or ` or `, or to the end; one that has such a word in it is in quotes.
    """
    condition = text.strip()
    alternatives: list[list[Term]] = [[]]
    at = 0
    joined: str | None = "and"
    while joined is not None:
        match = _TERM.match(condition, at)
        term = _term(match) if match is not None else None
        if match is None or term is None:
            raise fault(
                f'{shown(text)} is not a condition on switches: write "up", "not up", "song = chorus" or '
                '"key = -2..2", joined by and / or'
            )
        alternatives[-1].append(term)
        at, joined = match.end(), match["joined"]
        if joined == "or":
            alternatives.append([])
    return When(tuple(map(tuple, alternatives)))


def _term(match: re.Match[str]) -> Term | None:
    """One part of a condition; None where a word that joins parts is out of place."""
    bare = match["bare"]
    if not _JOINING.isdisjoint(match["switch"].split()) or (bare is not None and _ENDS_A_VALUE.search(bare)):
        return None
    value = next((part for part in (match["double"], match["single"], bare) if part is not None), None)
    return Term(match["switch"], value, match["negated"] is not None)


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
