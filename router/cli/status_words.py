"""How a daemon is, in words: trouble first, then switches, ports and figures, in the width of the screen."""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

from router.cli.clock_words import place_words, tempo_words
from router.daemon.troubles import BUSY_CABLE, troubles
from router.files.clock import local_time
from router.text import durations
from router.text.formatting import columns, count, fitted_columns, number, plain
from router.text.terminal import painted

_WIDE: Final = 64  # columns; where there are fewer, the table of ports has no room for names of the computer


def status_lines(told: Mapping[str, Any], width: int) -> list[str]:
    """Return how a daemon is, as lines of at most `width` characters (at least 40).

    What needs a look first is in words and in colour.
    """
    return [
        *_wrapped(_head(told), width),
        *_trouble_lines(told, width),
        *_switch_lines(told, width),
        "",
        *_port_lines(told["ports"], width),
        "",
        *_facts(told, width),
        "",
        *_wrapped(_rule_line(told["rules"]), width),
    ]


def switch_rows(switches: Mapping[str, bool | int | str]) -> list[str]:
    """Return each switch and its state, in columns; nothing where there are none."""
    return columns([(plain(name), state_word(state)) for name, state in switches.items()]) if switches else []


def state_word(state: bool | int | str) -> str:
    """Return the state of a switch, as it is written after `switch NAME=`."""
    if isinstance(state, bool):
        return "on" if state else "off"
    return plain(str(state))


def _wrapped(text: str, width: int, indent: str = "") -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent=indent + "  ", initial_indent=indent) or [""]


def _head(told: Mapping[str, Any]) -> str:
    running = durations.in_words(told["running_s"])
    return f"{plain(told['name'])} has run for {running}; process {told['pid']}, version {told['version']}"


# -- trouble -----------------------------------------------------------------------------------------------------------


def _trouble_lines(told: Mapping[str, Any], width: int) -> list[str]:
    lines = [line for trouble in troubles(told) for line in _wrapped(trouble.words, width, "  ")]
    if not lines:
        return []
    return ["", "Look at this:", *(painted(line, "bad", sys.stdout) for line in lines)]


# -- the rest ----------------------------------------------------------------------------------------------------------


def _switch_lines(told: Mapping[str, Any], width: int) -> list[str]:
    switches: Mapping[str, bool | int | str] = told["switches"]
    if not switches:
        return []
    title = "Switches, restored after a crash:" if told["switches_began"] == "restored" else "Switches:"
    return ["", *_wrapped(title, width), *(f"  {line}" for line in switch_rows(switches))]


def _port_lines(ports: Sequence[Mapping[str, Any]], width: int) -> list[str]:
    rows = [_port_row(port) for port in ports]
    if not rows:
        return ["The rule files have no ports."]
    titles = ("port", "", "state", "computer's port", "messages", "lost", "DIN load")
    if width < _WIDE:
        narrow = [(name, direction, state, messages) for name, direction, state, _, messages, _, _ in (titles, *rows)]
        head, *lines = fitted_columns(narrow, (0,), width, right=frozenset({3}))
    else:
        head, *lines = fitted_columns([titles, *rows], (3, 0), width, right=frozenset({4, 5, 6}))
    return [head, *(_port_colour(line, port) for line, port in zip(lines, ports, strict=True))]


def _port_row(port: Mapping[str, Any]) -> tuple[str, str, str, str, str, str, str]:
    load, lost = port["load"], port["lost"] + port["refused"]
    return (
        plain(port["name"]),
        port["direction"],
        port["state"],
        plain(port["computer_port"] or "-"),
        number(port["messages"]),
        number(lost) if lost else "-",
        "-" if load is None else f"{load * 100:.0f} %",
    )


def _port_colour(line: str, port: Mapping[str, Any]) -> str:
    if port["lost"] or port["refused"] or (port["load"] or 0) > BUSY_CABLE:
        return painted(line, "bad", sys.stdout)
    return line if port["state"] == "open" else painted(line, "mild", sys.stdout)


def _facts(told: Mapping[str, Any], width: int) -> list[str]:
    rows = list(_figures(told))
    room = max(len(name) for name, _ in rows) + 2
    lines = []
    for name, words in rows:
        lines += textwrap.wrap(f"{name:{room}}{words}", width, subsequent_indent=" " * room)
    return lines


def _figures(told: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    clock, latency = told["clock"], told["latency_us"]
    if songs := told["songs"]:
        yield "song", _song(songs)
    yield "held notes", number(told["held"])
    yield "tempo", tempo_words(clock)
    place = place_words(clock)
    if place is not None:
        yield "clock", place
    if latency["p50"] is None:
        yield "latency", "no note or message yet"
    else:
        yield "latency", ", ".join(f"{part} within {_micro(value)}" for part, value in _shares(latency))
    yield "realtime", _realtime(told["realtime"])
    if dropped := sum(port["dropped"] for port in told["ports"]):
        yield "dropped", f"{count(dropped, 'message')} that waited at a panic"
    yield from _nowhere(told["ports"])
    history = told["history"]
    yield "history", f"{durations.in_words(history['seconds'])}, {_size(history['bytes'])}"
    if told["playing"] is not None:
        yield "playing", _playing(told["playing"])
    yield "errors", number(told["errors"]) if told["errors"] else "none"
    yield "recording", plain(told["recording"]) if told["recording"] else "no"


def _song(songs: Mapping[str, Any]) -> str:
    """Return which song it is, and which comes next."""
    names, at = songs["names"], songs["at"]
    after = at + 1 if at + 1 < len(names) or not songs["wrap"] else 0
    comes = f"next: {plain(names[after])}" if after < len(names) else "the last song"
    return f"{plain(names[at])}, {at + 1} of {len(names)}; {comes}"


def _nowhere(ports: Iterable[Mapping[str, Any]]) -> Iterator[tuple[str, str]]:
    """Return what arrived and led nowhere, by port."""
    title = "no match"
    for port in ports:
        if port.get("nowhere"):
            from rules.midi.notation import format_message

            last = format_message(bytes.fromhex(port["nowhere_last"]))
            yield title, f"{count(port['nowhere'], 'message')} from {plain(port['name'])}, the last: {last}"
            title = ""


def _playing(playing: Mapping[str, Any]) -> str:
    names = ", ".join(plain(name) for name in playing["as"])
    what = f"{plain(playing['file'])} as {names}"
    if playing["waits"]:
        return f"{what}: waits to begin"
    bar = f"bar {playing['bar']}, " if playing["bar"] else ""
    time = f"{durations.as_musicians_do(playing['seconds'])} of {durations.as_musicians_do(playing['of'])}"
    return f"{what}: {bar}{time}{', paused' if playing['paused'] else ''}"


def _realtime(taken: Mapping[str, Any]) -> str:
    priority = "no" if taken["priority"] is None else "yes"
    return f"{priority}; memory {'locked' if taken['memory_locked'] else 'not locked'}"


def _shares(latency: Mapping[str, float]) -> list[tuple[str, float]]:
    return [("half", latency["p50"]), ("99 %", latency["p99"]), ("99.9 %", latency["p99.9"])]


def _size(amount: int) -> str:
    return f"{amount / 1e6:.1f} MB" if amount >= 100_000 else f"{amount / 1e3:.1f} kB"


def _micro(microseconds: float) -> str:
    return f"{microseconds / 1000:.1f} ms" if microseconds >= 1000 else f"{microseconds:.0f} µs"


def _rule_line(rules: Mapping[str, Any]) -> str:
    applied = local_time(rules["applied"], "%Y-%m-%d %H:%M:%S")
    return f"Rules in force since {applied}: {', '.join(plain(name) for name in rules['files'])}"
