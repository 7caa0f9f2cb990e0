"""Small recordings and rule files for tests, and the command run on them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from router.cli.main import main

HEAD = "4D 54 68 64  00 00 00 06  00 01  00 01  00 60"  # MThd, 6 bytes, format 1, 1 track, 96 ticks a quarter
NOTES = "00 90 3C 40  60 80 3C 40"  # C4 on channel 1 for a quarter
END = "00 FF 2F 00"

RULES = """
[ports]
keys  = { input = "Keys" }
rack1 = { output = "Rack 1" }
rack2 = { output = "Rack 2" }

[[rules]]
name  = "to the organ"
from  = "keys"
match = { channel = 1 }
steps = [{ rechannel = 4 }]
to    = "rack1"

[[rules]]
name  = "to the kit"
from  = "keys"
match = { channel = 10 }
to    = "rack2"
"""


def midi(*tracks: str, head: str = HEAD) -> bytes:
    """The bytes of a file with these tracks, all in hex; the lengths of the tracks are filled in."""
    data = bytearray(bytes.fromhex(head))
    data[10:12] = len(tracks).to_bytes(2, "big")
    for track in tracks:
        body = bytes.fromhex(track)
        data += b"MTrk" + len(body).to_bytes(4, "big") + body
    return bytes(data)


TAKE = midi(f"{NOTES} {END}")
REPAIRED = midi(f"{NOTES.replace('90', '93').replace('80', '83')} {END}")


@dataclass(frozen=True)
class Answer:
    """What a command gave: exit code, standard output and standard error."""

    code: int
    out: str
    err: str

    @property
    def data(self) -> Any:
        """The output as JSON."""
        return json.loads(self.out)


class CommandShell:
    """A folder with a rule file `rules.toml`, and the command run there; paths are as seen from it."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        self.folder = folder
        self.capsys = capsys
        self.put("rules.toml", RULES.encode())

    def put(self, name: str, data: bytes) -> None:
        """Put a file there, with its folders."""
        path = self.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)

    def files(self) -> dict[str, bytes]:
        """Every file there but the rules, hidden ones too."""
        paths = (path for path in self.folder.rglob("*") if path.is_file() and path.name != "rules.toml")
        return {str(path.relative_to(self.folder)): path.read_bytes() for path in paths}

    def run(self, *arguments: str) -> Answer:
        """Run the command."""
        self.capsys.readouterr()
        code = main(arguments)
        out, err = self.capsys.readouterr()
        return Answer(code, out, err)

    def rewrite(self, *arguments: str) -> Answer:
        """Run `rewrite` with the rule file there."""
        return self.run("rewrite", "rules.toml", *arguments)
