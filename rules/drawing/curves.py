"""The velocity curves of a rig, each once, with a letter."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from string import ascii_uppercase

from rules.drawing.view import Curve
from rules.midi.notation import Naming
from rules.rulefile.reading import Reading
from rules.rulefile.stages import Stage
from rules.steps.base import Step
from rules.steps.velocity import Shape


def curves_of(reading: Reading, naming: Naming) -> tuple[Curve, ...]:
    """Return every shape that velocity steps have, in the order in which a note meets them."""
    words: dict[Shape, str] = {}
    places: dict[Shape, dict[str, None]] = {}
    for place, stages in _chains(reading):
        for stage in stages:
            shape: Shape | None = stage.step.curve
            if shape is not None:
                words.setdefault(shape, stage.step.words(naming).removeprefix("velocity ").partition(", only")[0])
                places.setdefault(shape, {})[place] = None
    return tuple(
        Curve(letters(number), words[shape], tuple(places[shape]), shape) for number, shape in enumerate(places)
    )


def letters_of(curves: tuple[Curve, ...]) -> Mapping[Shape, str]:
    """Return the letters of each shape."""
    return {curve.shape: curve.letters for curve in curves}


def letter_of(step: Step, letters: Mapping[Shape, str]) -> str:
    """The letters of a step's curve; none where it has no curve."""
    return letters.get(step.curve, "")


def letters(number: int) -> str:
    """Return A to Z for 0 to 25, then AA, AB and so on."""
    text = ""
    number += 1
    while number:
        number, place = divmod(number - 1, len(ascii_uppercase))
        text = ascii_uppercase[place] + text
    return text


def _chains(reading: Reading) -> Iterator[tuple[str, tuple[Stage, ...]]]:
    """Yield every chain of steps with where it is: of input ports, rules and their zones, devices."""
    ruleset = reading.ruleset
    for name, port in ruleset.ports.items():
        yield f'port "{name}"', port.steps
    for rule, place in zip(ruleset.rules, reading.rules, strict=True):
        yield place.words, rule.steps
        for number, zone in enumerate(rule.zones):
            yield place.inside("zones", number).words, zone.steps
    for name, device in ruleset.devices.items():
        yield f'device "{name}"', device.steps
