"""Answers as lines of the control socket, and put together again."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from router.daemon.control_answers import AnswerReader, answer_lines, refusal_line
from rules.errors import MachineError


@given(st.dictionaries(st.sampled_from("abc"), st.binary(max_size=100) | st.integers() | st.text()))
def test_an_answer_comes_back_as_it_was(answer: dict[str, object]) -> None:
    """The last line makes it whole, and none before that does."""
    reader = AnswerReader()
    *pieces, last = answer_lines(answer)
    assert [reader.take(line) for line in pieces] == [None] * len(pieces)
    assert reader.take(last) == answer


def test_what_is_no_plain_value_is_refused_before_anything_is_sent() -> None:
    """So that the mistake can still be answered."""
    with pytest.raises(TypeError, match="not JSON serializable"):
        answer_lines({"journal": b"bytes", "state": object()})


def test_a_refusal_is_raised_in_the_words_of_the_daemon() -> None:
    """Whoever asked shows them."""
    with pytest.raises(MachineError, match=r"^not now$"):
        AnswerReader().take(refusal_line("not now"))


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (b"nonsense", "Expecting value"),
        (b"\xff", "can't decode"),
        (b"[]", "no line of a daemon"),
        (b"{}", "no answer of a daemon"),
        (b'{"piece": 3}', "no piece of an answer"),
        (b'{"piece": ["a", "%"]}', "base64"),
    ],
)
def test_a_line_of_no_answer_is_none(line: bytes, words: str) -> None:
    """Another version of Pointsman, or something else, may be at the other end."""
    with pytest.raises(ValueError, match=words):
        AnswerReader().take(line)
