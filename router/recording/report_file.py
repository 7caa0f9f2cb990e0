"""The file that `report` writes: a daemon's history with what it takes to play it again elsewhere.

It is JSON: versions, status, ports of the computer, the rule files as text, and the journal as Base64. Paths in it lose
the name of the user's home folder; the file is meant to be sent to others.
"""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from rules.journal.format import HEAD, RULES, pack, rules_data, rules_in, unpack

FORM: Final = 1
_KEY: Final = "pointsman_report"
_LINE: Final = 100  # characters of Base64


def report_bytes(about: Mapping[str, Any], journal: bytes, home: Path) -> bytes:
    """Return a report of `about` and of the records of a journal, without the name of the home folder `home`.

    The rule files are those of the last RULES record.
    """
    records = [pack(record) for record in _records_without(journal, home)]
    texts: tuple[tuple[str, bytes], ...] = ()
    for kind, _, _, data in unpack(b"".join(records)):
        if kind == RULES:
            texts = rules_in(data)
    files = [{"name": name, "text": content.decode(errors="replace")} for name, content in texts]
    encoded = base64.b64encode(b"".join(records)).decode("ascii")
    lines = [encoded[at : at + _LINE] for at in range(0, len(encoded), _LINE)]
    report = {_KEY: FORM, **_without(about, home), "rules": files, "journal": lines}
    return json.dumps(report, indent=1, ensure_ascii=False).encode(errors="replace") + b"\n"


def journal_in(data: bytes) -> bytes:
    """Return the records of a journal from a report, or from a journal's file. Raises ValueError for another file."""
    if data.startswith(HEAD):
        return data[len(HEAD) :]
    try:
        report = json.loads(data)
        if report[_KEY] != FORM:
            raise ValueError(f"form {report[_KEY]}")
        return base64.b64decode("".join(report["journal"]), validate=True)
    except (ValueError, KeyError, TypeError) as error:
        raise ValueError("it is neither a report of this version nor a journal") from error


def without_home(text: str, home: Path) -> str:
    """Return a text whose paths don't show whose home folder they are in, nor whose folder in others such as /media."""
    if not home.name:
        return text
    text = re.sub(rf"{re.escape(str(home))}(?![\w-])", "~", text)
    return re.sub(rf"(?<=[/\\]){re.escape(home.name)}(?=[/\\])", "~", text)


def _without(value: Any, home: Path) -> Any:
    """The same for all texts in plain values."""
    if isinstance(value, str):
        return without_home(value, home)
    if isinstance(value, Mapping):
        return {key: _without(one, home) for key, one in value.items()}
    return [_without(one, home) for one in value] if isinstance(value, list | tuple) else value


def _records_without(journal: bytes, home: Path) -> Iterator[tuple[int, int, int, bytes]]:
    for kind, time, number, data in unpack(journal):
        if kind == RULES:
            texts = (
                (
                    without_home(name, home),
                    without_home(content.decode(errors="surrogateescape"), home).encode(errors="surrogateescape"),
                )
                for name, content in rules_in(data)
            )
            yield kind, time, number, rules_data(tuple(texts))
        else:
            yield kind, time, number, data
