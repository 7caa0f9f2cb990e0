"""What a command was asked to do, as plain values: built once from the command line, passed down, never changed."""

from __future__ import annotations

from typing import NamedTuple

from router.daemon.run_settings import STANDARD_NAME


class CheckSettings(NamedTuple):
    """What `check` shall do."""

    rules: tuple[str, ...]
    json: bool = False


class TraceSettings(NamedTuple):
    """What `trace` shall do: `words` are the messages as written, `switches` the texts of `--switch`."""

    rules: tuple[str, ...]
    source: str
    words: tuple[str, ...]
    switches: tuple[str, ...] = ()
    json: bool = False


class StatusSettings(NamedTuple):
    """Which daemon `status` shall ask, and whether once or again and again."""

    name: str = STANDARD_NAME
    watch: bool = False
    json: bool = False


class PanicSettings(NamedTuple):
    """Which daemon `panic` shall silence, and whether key by key as well."""

    name: str = STANDARD_NAME
    every_key: bool = False
    json: bool = False


class ReloadSettings(NamedTuple):
    """Which daemon `reload` shall ask."""

    name: str = STANDARD_NAME
    json: bool = False


class SwitchSettings(NamedTuple):
    """Which daemon's switch `switch` shall turn: `text` as written, `song=chorus`; None lists all."""

    name: str = STANDARD_NAME
    text: str | None = None
    json: bool = False


class LearnSettings(NamedTuple):
    """What `learn` shall do: `rules` give the names of ports, `backend` the MIDI system (None: chosen by itself)."""

    rules: tuple[str, ...] = ()
    backend: str | None = None
    json: bool = False


class SoundcheckSettings(NamedTuple):
    """What `soundcheck` shall do: `seconds` is how long a note sounds, None until Enter is pressed."""

    rules: tuple[str, ...]
    seconds: float | None = None
    backend: str | None = None
    json: bool = False


class RecordSettings(NamedTuple):
    """What `record` shall do: record the daemon `name`, or ports of the computer (`ports`, patterns) and of our own
    (`virtual`, names).

    `last` is how many seconds to save from the daemon's memory, `stop` ends a recording that goes on, `rescue` are
    folders and files with what was left behind. `duration` is in seconds, None until Ctrl-C; `out` a file or folder.
    """

    name: str = STANDARD_NAME
    out: str | None = None
    last: float | None = None
    duration: float | None = None
    stop: bool = False
    rescue: tuple[str, ...] = ()
    ports: tuple[str, ...] = ()
    virtual: tuple[str, ...] = ()
    backend: str | None = None
    json: bool = False


class LatelySettings(NamedTuple):
    """What `trace --last` shall tell: the last `seconds` of the daemon `name`."""

    seconds: float
    name: str = STANDARD_NAME
    json: bool = False


class PortsSettings(NamedTuple):
    """What `ports` shall list: the computer's ports, or which of them the ports of rule files mean."""

    rules: tuple[str, ...] = ()
    backend: str | None = None
    json: bool = False


class ListenSettings(NamedTuple):
    """What `listen` shall tell: of `ports` (patterns; none: all) and `virtual` ones of our own.

    `only` and `without` are kinds of messages as written, `channels` 1 to 16, each empty for no condition. `duration`
    is in seconds and `most` in messages, None until Ctrl-C.
    """

    ports: tuple[str, ...] = ()
    virtual: tuple[str, ...] = ()
    only: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    channels: frozenset[int] = frozenset()
    duration: float | None = None
    most: int | None = None
    bytes: bool = False
    backend: str | None = None
    json: bool = False


class SendSettings(NamedTuple):
    """What `send` shall send, and where: to the `port` that a pattern means, or from a `virtual` port of our own.

    `words` are the messages as written. Notes are ended after `hold` seconds. A virtual port waits `wait` seconds for
    somebody to connect, None until Enter is pressed.
    """

    port: str
    words: tuple[str, ...]
    virtual: bool = False
    hold: float = 0.5
    wait: float | None = None
    backend: str | None = None
    json: bool = False
