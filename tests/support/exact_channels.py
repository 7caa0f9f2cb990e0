"""The best plan of channels by integer programming, stated from what a plan is and not from how one is found.

Each rank of cost is minimised under the optimum of those before it, as far as several fit into one number.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from itertools import chain, product

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp  # type: ignore[import-untyped]

from rules.rig.planned_rig import PlannedDevice, PlannedRig

Variable = tuple[str, ...]
Sum = Mapping[Variable, float]


class Program:
    """Yes or no for each variable; sums of them are bounded, and minimised one after the other."""

    def __init__(self, variables: Iterable[Variable]) -> None:
        self._at = {variable: at for at, variable in enumerate(variables)}
        self._rows: list[np.ndarray] = []
        self._tops: list[float] = []
        self.solution: set[Variable] = set()

    def select(self, fits: Callable[[Variable], bool], factor: float = 1.0) -> dict[Variable, float]:
        """Return the sum of all variables that fit, each times a factor."""
        return {variable: factor for variable in self._at if fits(variable)}

    def like(self, *parts: str | None, factor: float = 1.0) -> dict[Variable, float]:
        """Return the same of all variables whose names begin with some parts; None stands for any."""
        return self.select(
            lambda variable: all(part in (None, own) for part, own in zip(parts, variable, strict=False)), factor
        )

    def at_most(self, terms: Sum, top: float) -> None:
        """Bound a sum."""
        if terms:
            self._rows.append(self._row(terms))
            self._tops.append(top)

    def minimise(self, terms: Sum) -> None:
        """Find the least value of a sum, and hold it from now on."""
        if not terms:
            return
        row = self._row(terms)
        values = self._solved(row, integrality=0)
        if np.abs(values - values.round()).max() > 1e-6:
            values = self._solved(row, integrality=1)
        self.solution = {variable for variable, at in self._at.items() if values[at] > 0.5}
        self.at_most(terms, round(float(row @ values.round())))

    def _solved(self, row: np.ndarray, integrality: int) -> np.ndarray:
        """Return the best values; with integrality 0 also fractions, which takes a tenth of the time."""
        bounded = LinearConstraint(np.array(self._rows), ub=np.array(self._tops))
        found = milp(row, integrality=integrality, bounds=Bounds(0, 1), constraints=bounded)
        assert found.success, found.message
        values: np.ndarray = found.x
        return values

    def chosen(self, *begin: str) -> int | None:
        """Return the channel that is chosen for what a variable begins with; None where none is."""
        return next((int(variable[-1]) for variable in self.solution if variable[:-1] == begin), None)

    def _row(self, terms: Sum) -> np.ndarray:
        row = np.zeros(len(self._at))
        for variable, factor in terms.items():
            row[self._at[variable]] = factor
        return row


def weighed(*sums: tuple[float, Sum]) -> Sum:
    """Return one sum of several, each with a weight."""
    total: dict[Variable, float] = {}
    for weight, terms in sums:
        for variable, factor in terms.items():
            total[variable] = total.get(variable, 0.0) + weight * factor
    return total


def best_numbers(rig: PlannedRig) -> dict[str, tuple[int | None, int | None]]:
    """Return for each instrument its channel and its number, 1-16 or None."""
    devices = {device.name: device for device in rig.devices}
    numbers = {
        name: {number for source in rig.playing(device.port) for number in rig.sources[source]}
        for name, device in devices.items()
    }
    variables: list[Variable] = []
    for name, device in devices.items():
        channels = set() if rig.gives_way(device) else set(device.channels)
        variables += [("is on", name, str(channel)) for channel in sorted(channels)]
        variables += [("number", name, str(number)) for number in sorted(numbers[name])]
        variables += [("both", name, str(channel)) for channel in sorted(channels & numbers[name])]
    program = Program(variables)
    for name in devices:
        program.at_most(program.like("is on", name), 1)
        program.at_most(program.like("number", name) | program.like("is on", name, factor=-1), 0)
    for channel in map(str, range(1, 17)):
        program.at_most(program.like("number", None, channel), 1)
        for port in {device.port for device in rig.devices}:
            here = [program.like("is on", device.name, channel) for device in rig.at_port(port)]
            program.at_most(dict(chain.from_iterable(one.items() for one in here)), 1)
    for variable in variables:
        if variable[0] == "both":
            for other in ("is on", "number"):
                program.at_most({variable: 1, (other, *variable[1:]): -1}, 0)

    def of(kind: str, fits: Callable[[PlannedDevice, int], bool] = _every) -> Sum:
        return program.select(lambda v: v[0] == kind and fits(devices[v[1]], int(v[2])))

    best = weighed((-289, of("is on")), (-17, of("is on", _is_drums)), (-1, of("number")))
    program.minimise(best)
    moved = weighed((1, of("number")), (-1, of("both")))
    strays = weighed((1, of("is on", _is_set_to_10)), (1, of("number", _is_stray)))
    program.minimise(weighed((-289, of("both", _is_drums)), (17, moved), (1, strays)))
    program.minimise(
        {
            (kind, name, number): float(
                sum(int(number) not in rig.sources[source] for source in rig.playing(devices[name].port))
            )
            for kind, name, number in of("number")
        }
    )
    return {name: (program.chosen("is on", name), program.chosen("number", name)) for name in devices}


def best_reach(
    rig: PlannedRig, free: Mapping[str, Iterable[int]], wanted: Mapping[str, int | None], bound: Iterable[str] = ()
) -> dict[str, dict[str, int]]:
    """Return by source and instrument the channel on which the source reaches it.

    `free` has the channels of each source, `wanted` the number of each instrument that can be played, `bound` those
    that may be reached by that number only.
    """
    devices = {device.name: device for device in rig.devices if device.name in wanted}
    variables: list[Variable] = [("heard", name) for name in devices]
    for name, device in devices.items():
        for source, number in product(rig.playing(device.port), range(1, 17)):
            if number in free[source] and (name not in bound or number == wanted[name]):
                variables.append(("reaches", source, name, str(number)))
    program = Program(variables)
    for name in devices:
        reached = program.like("reaches", None, name, factor=-1)
        program.at_most({("heard", name): 1, **reached}, 0)
    for source in rig.sources:
        for name in devices:
            program.at_most(program.like("reaches", source, name), 1)
        for channel in map(str, range(1, 17)):
            program.at_most(program.like("reaches", source, None, channel), 1)

    def of(fits: Callable[[PlannedDevice, int], bool]) -> Sum:
        return program.select(lambda v: v[0] == "reaches" and fits(devices[v[2]], int(v[3])))

    heard = program.select(lambda v: v[0] == "heard")
    program.minimise(weighed((-50, heard), (-1, of(_every))))
    drums_moved = of(lambda device, channel: device.is_drums and channel != 10)
    moved = of(lambda device, channel: channel != wanted[device.name])
    program.minimise(weighed((2500, drums_moved), (50, moved), (1, of(_is_stray))))
    found: dict[str, dict[str, int]] = {source: {} for source in rig.sources}
    for variable in program.solution:
        if variable[0] == "reaches":
            _, source, name, reached_on = variable
            found[source][name] = int(reached_on)
    return found


def _every(device: PlannedDevice, channel: int) -> bool:
    return True


def _is_drums(device: PlannedDevice, channel: int) -> bool:
    return device.is_drums


def _is_set_to_10(device: PlannedDevice, channel: int) -> bool:
    return channel == 10 and not device.is_drums and not device.hears_all


def _is_stray(device: PlannedDevice, channel: int) -> bool:
    return channel == 10 and not device.is_drums
