"""A figure: what was asked, what was measured; the curve behind it; and how figures print."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from statistics import median


@dataclass(frozen=True)
class Curve:
    """How one thing depends on another, for a plot called `name`.

    `lines` are points (x, y) by what they show. An axis is logarithmic where its flag says so; with `ideal`, the last
    of the lines is none that was measured, but one to compare with.
    """

    name: str
    title: str
    x: str
    y: str
    lines: Mapping[str, Sequence[tuple[float, float]]]
    log_x: bool = False
    log_y: bool = False
    ideal: bool = False


@dataclass(frozen=True)
class Figure:
    """One line of the table.

    `runs` are the single results in `unit`, their median is the figure. `at_least` or `at_most` is what is asked, if
    anything is; `baseline` and `ours` say in words what the ratio is made of. A figure that stands for many sizes has
    a `curve`.
    """

    what: str
    runs: Sequence[float]
    unit: str
    at_least: float | None = None
    at_most: float | None = None
    baseline: str = ""
    ours: str = ""
    curve: Curve | None = None

    @property
    def measured(self) -> float:
        """The median of the runs."""
        return median(self.runs)

    @property
    def met(self) -> bool | None:
        """Whether it is as asked; None when nothing is."""
        if self.at_least is not None:
            return self.measured >= self.at_least
        return None if self.at_most is None else self.measured <= self.at_most

    @property
    def asked(self) -> str:
        """What is asked, in words."""
        if self.at_least is not None:
            return f">= {_number(self.at_least)} {self.unit}"
        return "" if self.at_most is None else f"<= {_number(self.at_most)} {self.unit}"

    @property
    def spread(self) -> str:
        """The lowest and the highest run."""
        return f"[{_number(min(self.runs))} .. {_number(max(self.runs))}]"


def _number(value: float) -> str:
    return f"{value:,.0f}" if value == int(value) or abs(value) >= 1000 else f"{value:.3g}"


VERDICTS = {True: "met", False: "MISSED", None: ""}
HEADS = ("what", "asked", "measured", "lowest .. highest", "", "baseline", "ours")


def as_table(machine: str, figures: Sequence[Figure]) -> str:
    """The figures for reading."""
    rows = [HEADS] + [
        (
            figure.what,
            figure.asked,
            f"{_number(figure.measured)} {figure.unit}",
            figure.spread,
            VERDICTS[figure.met],
            figure.baseline,
            figure.ours,
        )
        for figure in figures
    ]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEADS))]
    lines = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
    return "\n".join([machine, "", lines[0], "-" * max(map(len, lines)), *lines[1:]])


def as_json(machine: str, figures: Sequence[Figure]) -> str:
    """The figures for programs."""
    entries = [{**asdict(figure), "measured": figure.measured, "met": figure.met} for figure in figures]
    return json.dumps({"machine": machine, "figures": entries}, indent=2)


def as_markdown(machine: str, figures: Sequence[Figure]) -> str:
    """The figures for a page like the README, with the day and the machine."""
    rows = ["| what | asked | measured | baseline | ours |", "|---|---|---|---|---|"]
    for figure in figures:
        measured = f"{_number(figure.measured)} {figure.unit} {figure.spread}"
        cells = (figure.what, figure.asked, measured, figure.baseline, figure.ours)
        rows.append("| " + " | ".join(cell.replace("|", "/") for cell in cells) + " |")
    return "\n".join([f"Measured on {date.today():%-d %B %Y}: {machine}.", "", *rows])
