"""The command `help`: a page of the manual, on this computer and of this version."""

from __future__ import annotations

import argparse
import os
import re
import shlex
import shutil
import sys
from collections.abc import Iterator, Mapping
from importlib.resources import files
from typing import TYPE_CHECKING, Final

from router.cli.parsing import completed_by
from router.text.exit_codes import FINE
from router.text.markdown import laid_out
from router.text.terminal import is_terminal, painted, say
from router.text.usage import UsageError

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

ABOUT: Final = """\
Show a page of the manual. Without a topic, list all topics. The manual needs no network, and fits this version."""

MORE: Final = """\
examples:
  pointsman help                 list all topics
  pointsman help rules           the rule file
  pointsman help transpose       a step
  pointsman help panic           a command

On a terminal the page opens in your pager: $PAGER, or less."""

_INDEX: Final = "index"
_OTHER_NAMES: Final = re.compile(r"<!-- also: (.*) -->")
_USUAL_PAGER: Final = "less"
_LESS_OPTIONS: Final = "FRX"  # quit if it fits on the screen, show colours, leave the page on the screen; less(1)


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call, json=False)
    topic = parser.add_argument("topic", metavar="TOPIC", nargs="?", help="the page to show (default: a list of all)")
    completed_by(topic, lambda **_: sorted(topics()))


def _call(arguments: argparse.Namespace) -> int:
    return show_page(arguments.topic)


def topics() -> dict[str, str]:
    """Return the pages that there are: by topic the name of the page, which some topics share."""
    pages = {path.name.removesuffix(".md"): path for path in _folder().iterdir() if path.name.endswith(".md")}
    found = {name: name for name in pages if name != _INDEX}
    for name, path in pages.items():
        for others in _OTHER_NAMES.findall(path.read_text(encoding="utf-8")):
            found |= dict.fromkeys(others.split(", "), name)
    return found


def page(topic: str | None) -> str:
    """Return the page of a topic as it is written, or the list of topics. Raises UsageError if there is none."""
    name = _INDEX
    if topic is not None:
        known = topics()
        if topic.lower() not in known:
            raise UsageError(_unknown(topic, known))
        name = known[topic.lower()]
    return (_folder() / f"{name}.md").read_text(encoding="utf-8")


def _folder() -> Traversable:
    return files("router") / "manual"


def _unknown(topic: str, known: Mapping[str, str]) -> str:
    from rules.midi.suggestions import nearest

    return f'there is no page named "{topic}"{nearest(topic.lower(), known) or "; `pointsman help` lists all"}'


def show_page(topic: str | None) -> int:
    """Show a page, or the list of topics; return the exit code. Raises UsageError if there is no such page."""
    text = page(topic)
    pager = _pager() if is_terminal(sys.stdout) else []
    width = shutil.get_terminal_size().columns if is_terminal(sys.stdout) else 80
    if not pager or not _paged("\n".join(_lines(text, width)) + "\n", pager):
        say(_lines(text, width))
    return FINE


def _lines(text: str, width: int) -> Iterator[str]:
    for line in laid_out(text, width):
        is_strong = line.kind in ("title", "heading")
        yield painted(line.text, "strong", sys.stdout) if is_strong else line.text


def _pager() -> list[str]:
    """The words of the command that shows text page by page; none where the user or the terminal wants none."""
    if os.environ.get("TERM") == "dumb":
        return []
    try:
        return shlex.split(os.environ.get("PAGER", _USUAL_PAGER))
    except ValueError:  # quotes that don't close
        return []


def _paged(text: str, pager: list[str]) -> bool:
    """Return whether the pager could be run. Ctrl-C within it is its own affair, and so is leaving before the end."""
    import signal
    import subprocess

    environment = {**os.environ, "LESS": os.environ.get("LESS", _LESS_OPTIONS)}
    sys.stdout.flush()
    before = signal.signal(signal.SIGINT, lambda *_: None)  # not SIG_IGN, which the pager would inherit
    try:
        subprocess.run(pager, input=text.encode("utf-8", "backslashreplace"), env=environment, check=False)
    except OSError:
        return False
    finally:
        signal.signal(signal.SIGINT, before)
    return True
