"""The examples in --help are commands that Pointsman understands."""

from __future__ import annotations

import re
import shlex
from importlib import import_module

import pytest

from router.cli.commands import COMMANDS
from router.cli.main import _parsed
from router.cli.message_arguments import read_messages, read_timed_messages

EXAMPLES = [
    re.split(r" {2,}", line.strip())[0]
    for name in COMMANDS
    for line in import_module(f"router.cli.{name}").MORE.splitlines()
    if line.startswith("  pointsman ")
]


@pytest.mark.parametrize("example", EXAMPLES)
def test_examples(example: str) -> None:
    """Each has options that its command knows, and messages in our notation."""
    _, name, *words = shlex.split(example)
    arguments = _parsed([name, *words])
    assert arguments.command == name
    if name == "send":
        assert read_timed_messages(arguments.words)
    elif name == "trace" and arguments.arriving and not arguments.take:
        assert read_messages(arguments.arriving[0][1:])


def test_each_command_has_an_example() -> None:
    """Nothing is left out, and no example is overlooked."""
    assert {example.split()[1] for example in EXAMPLES} == set(COMMANDS)
