"""The command `status`: how the running daemon and its ports stand, once or every second.

The data (`--json`) is one object, with `--watch` one a line and a second:

    {"command": "status", "ok": true, "name": "pointsman", "pid": 4711, "version": "0.1.0", "running_s": 7985,
     "ports": [{"name": "keys", "direction": "in", "state": "open", "computer_port": "Pit Keyboard", "messages": 1204,
                "lost": 0, "refused": 0, "dropped": 0, "load": null}],
     "held": 3, "switches": {"song": "chorus"}, "tempo": {"bpm": 120.0, "from": "seq"},
     "rules": {"files": ["pit.toml"], "applied": 1795610000.0, "error": null},
     "latency_us": {"p50": 5.1, "p99": 18.0, "p99.9": 40.2}, "errors": 0, "recording": null}

`from` is null where no clock arrives, `load` where the connection isn't DIN; `load` 1 is all that the cable can carry.
`messages` came in or went out, `lost` are those that could not go out, or came in as no message at all; `refused` are
sysex that the MIDI system can't carry, `dropped` what waited and made way for a panic. While the daemon is away, lines
of `--watch` are {"command": "status", "ok": false, "error": "..."}.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Final, NamedTuple

from router.cli.parsing import add_daemon_name
from router.daemon.control_client import ask_daemon
from router.daemon.run_settings import STANDARD_NAME
from router.files.clock import SYSTEM_CLOCK, Clock, local_time
from router.files.interrupts import ended_like_ctrl_c
from router.text import durations
from router.text.exit_codes import FINE
from router.text.formatting import columns, count, fitted_columns, number, plain
from router.text.terminal import is_terminal, painted, say, screen_width, shows_colour
from rules.errors import MachineError

ABOUT: Final = """\
Show what the running daemon does: ports that are there or missing, messages, held notes, switches, tempo, and how
busy each DIN cable is. It also shows whether the rule files can be used."""

MORE: Final = """\
examples:
  pointsman status
  pointsman status --watch               show it again every second, until Ctrl-C
  pointsman status --watch --json        print a line of JSON every second
  pointsman status --name stage          the daemon that runs with --name stage"""


class StatusSettings(NamedTuple):
    """Which daemon `status` shall ask, and whether once or again and again."""

    name: str = STANDARD_NAME
    watch: bool = False
    json: bool = False


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of the command."""
    parser.set_defaults(call=_call)
    add_daemon_name(parser)
    parser.add_argument("--watch", action="store_true", help="show it again every second, until Ctrl-C (default: once)")
    parser.add_argument("--json", action="store_true", help="print it as JSON (default: text)")


def _call(arguments: argparse.Namespace) -> int:
    return status(StatusSettings(arguments.name, arguments.watch, arguments.json))


_REFRESH_S: Final = 1.0  # seconds between two looks
_BUSY_CABLE: Final = 0.8


def status(settings: StatusSettings, clock: Clock = SYSTEM_CLOCK) -> int:
    """Print how it stands; return the exit code. Raises MachineError if no such daemon runs or answers."""
    first = ask_daemon(settings.name, "status")
    if not settings.watch:
        say([json.dumps(_data(first), indent=2)] if settings.json else in_words(first))
        return FINE
    with ended_like_ctrl_c():
        _watch(settings, first, clock)
    return FINE


def _watch(settings: StatusSettings, told: Mapping[str, Any] | MachineError, clock: Clock) -> None:
    show: Callable[[Mapping[str, Any] | MachineError], None] = _line_of_data if settings.json else _screen()
    try:
        while True:
            show(told)
            sys.stdout.flush()
            clock.sleep_s(_REFRESH_S)
            told = _asked_again(settings.name)
    except KeyboardInterrupt:
        return
    finally:
        if isinstance(show, Screen):
            show.leave()


def _asked_again(name: str) -> dict[str, Any] | MachineError:
    """The next answer; a daemon that is away is waited for, since whoever restarts it goes on watching."""
    try:
        return ask_daemon(name, "status")
    except MachineError as error:
        return error


def _data(told: Mapping[str, Any]) -> dict[str, Any]:
    return {"command": "status", "ok": True, **told}


def _line_of_data(told: Mapping[str, Any] | MachineError) -> None:
    data = {"command": "status", "ok": False, "error": str(told)} if isinstance(told, MachineError) else _data(told)
    say([json.dumps(data)])


def _lines(told: Mapping[str, Any] | MachineError) -> list[str]:
    return [painted(plain(str(told)), "bad", sys.stdout)] if isinstance(told, MachineError) else in_words(told)


class Screen:
    """A terminal on which each picture takes the place of the one before; the last one stays when it is left."""

    def __init__(self) -> None:
        self._last: list[str] = []
        sys.stdout.write("\x1b[?1049h\x1b[?25l\x1b[2J")  # xterm control sequences: other screen, no cursor, clear

    def __call__(self, told: Mapping[str, Any] | MachineError) -> None:
        """Show the next picture, as much of it as there is room for."""
        self._last = _lines(told)
        size = shutil.get_terminal_size()
        shown = [*self._last, "", "Ctrl-C ends the view; the daemon plays on."]
        fitting = [_cut(line, size.columns) for line in shown[: size.lines - 1]]
        sys.stdout.write("\x1b[H" + "".join(f"{line}\x1b[K\n" for line in fitting) + "\x1b[J")

    def leave(self) -> None:
        """Give the terminal back."""
        sys.stdout.write("\x1b[?25h\x1b[?1049l")
        say(self._last)


def _screen() -> Callable[[Mapping[str, Any] | MachineError], None]:
    if is_terminal(sys.stdout) and shows_colour(sys.stdout):
        return Screen()
    return lambda told: say([*_lines(told), ""])


def _cut(line: str, width: int) -> str:
    """A line that doesn't run into the next one. Colours take no room, and end with the line."""
    shown = 0
    at = 0
    while at < len(line) and shown < width:
        if line[at] == "\x1b":
            at = line.index("m", at)
        else:
            shown += 1
        at += 1
    return line[:at] + ("\x1b[0m" if "\x1b" in line else "")


def in_words(told: Mapping[str, Any]) -> list[str]:
    """Return how a daemon stands, as lines to print: what needs a look first stands out in words and in colour."""
    return [
        *_head(told),
        "",
        *_port_lines(told["ports"]),
        "",
        *_facts(told),
        *_switch_lines(told["switches"]),
        "",
        *_rule_lines(told["rules"]),
    ]


def _head(told: Mapping[str, Any]) -> list[str]:
    name = painted(plain(told["name"]), "strong", sys.stdout)
    running = durations.in_words(told["running_s"])
    return [f"{name} has run for {running}; process {told['pid']}, version {told['version']}"]


def _port_lines(ports: Iterable[Mapping[str, Any]]) -> list[str]:
    rows = [_port_row(port) for port in ports]
    if not rows:
        return ["The rule files have no ports."]
    titles = ("port", "", "state", "computer's port", "messages", "lost", "DIN load")
    head, *lines = fitted_columns([titles, *rows], (3, 0), screen_width(), right=frozenset({4, 5, 6}))
    return [head, *(_port_colour(line, port) for line, port in zip(lines, ports, strict=True))]


def _port_row(port: Mapping[str, Any]) -> tuple[str, ...]:
    load = port["load"]
    return (
        plain(port["name"]),
        port["direction"],
        port["state"],
        plain(port["computer_port"] or "-"),
        number(port["messages"]),
        number(_lost(port)) if _lost(port) else "-",
        "-" if load is None else f"{load * 100:.0f} %",
    )


def _lost(port: Mapping[str, Any]) -> int:
    return int(port["lost"] + port["refused"])


def _port_colour(line: str, port: Mapping[str, Any]) -> str:
    if _lost(port) or (port["load"] or 0) > _BUSY_CABLE:
        return painted(line, "bad", sys.stdout)
    return line if port["state"] == "open" else painted(line, "mild", sys.stdout)


def _facts(told: Mapping[str, Any]) -> list[str]:
    tempo, latency = told["tempo"], told["latency_us"]
    came = f"clock of {plain(tempo['from'])}" if tempo["from"] else "rule files, as no clock arrives"
    rows = [("held notes", number(told["held"])), ("tempo", f"{tempo['bpm']:g} BPM, from the {came}")]
    if latency["p50"] is None:
        rows.append(("latency", "no note or message yet"))
    else:
        rows.append(("latency", ", ".join(f"{part} within {_micro(value)}" for part, value in _shares(latency))))
    if dropped := sum(port["dropped"] for port in told["ports"]):
        rows.append(("dropped", f"{count(dropped, 'message')} that waited at a panic"))
    rows.append(("errors", _error_words(told["errors"])))
    rows.append(("recording", plain(told["recording"]) if told["recording"] else "no"))
    return columns(rows)


def _shares(latency: Mapping[str, float]) -> list[tuple[str, float]]:
    return [("half", latency["p50"]), ("99 %", latency["p99"]), ("99.9 %", latency["p99.9"])]


def _micro(microseconds: float) -> str:
    return f"{microseconds / 1000:.1f} ms" if microseconds >= 1000 else f"{microseconds:.0f} µs"


def _error_words(errors: int) -> str:
    return painted(f"{number(errors)}, listed in the log", "bad", sys.stdout) if errors else "none"


def _switch_lines(switches: Mapping[str, bool | int | str]) -> list[str]:
    return ["", "Switches:", *(f"  {line}" for line in switch_rows(switches))] if switches else []


def switch_rows(switches: Mapping[str, bool | int | str]) -> list[str]:
    """Return each switch and how it stands, in columns; nothing where there are none."""
    return columns([(plain(name), state_word(state)) for name, state in switches.items()]) if switches else []


def state_word(state: bool | int | str) -> str:
    """Return how a switch stands, as it is written after `switch NAME=`."""
    if isinstance(state, bool):
        return "on" if state else "off"
    return plain(str(state))


def _rule_lines(rules: Mapping[str, Any]) -> list[str]:
    applied = local_time(rules["applied"], "%Y-%m-%d %H:%M:%S")
    lines = [f"Rules in force since {applied}: {', '.join(plain(name) for name in rules['files'])}"]
    if rules["error"]:
        lines.append("The files have changed since, and can't be used. The rules above play on:")
        lines += [painted(f"  {plain(line)}", "bad", sys.stdout) for line in rules["error"].splitlines()]
    return lines
