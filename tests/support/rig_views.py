"""Rule files as text, and what pictures make of them."""

from __future__ import annotations

from rules.drawing.rig_picture import draw_rig
from rules.drawing.rig_reading import rig_view
from rules.drawing.svg import Picture
from rules.drawing.view import RigView
from rules.findings.findings import findings_of
from rules.rulefile.reading import Reading, read_rule_set

PORTS = """
[ports]
keys = { input = "Pit Keyboard*" }
pads = { input = true }
rack1 = { output = "Rack*1", connection = "din", clock = "keys" }
rack2 = { output = true }
[devices]
organ = { port = "rack1", channel = 4, notes = "C2..C7", outside = "octave", setup = "program 17" }
kit = { port = "rack1", channel = 10 }
[switches]
up = { from = "keys", controller = "soft pedal", mode = "momentary" }
song = { values = ["verse", "chorus"], set = { from = "pads", note = "C1", value = "chorus" } }
"""
"""Two sources, two outputs, two devices and two switches, for rules to be added."""


def reading_of(text: str) -> Reading:
    """Return a rule file read."""
    return read_rule_set([("rig.toml", text.encode())])


def view_of(rules: str, ports: str = PORTS) -> RigView:
    """Return what the picture of a rule file shows."""
    reading = reading_of(ports + rules)
    return rig_view(reading, findings_of(reading), "rig.toml")


def picture_of(text: str | bytes) -> Picture:
    """Return the picture of a whole rule file."""
    reading = read_rule_set([("rig.toml", text if isinstance(text, bytes) else text.encode())])
    return draw_rig(rig_view(reading, findings_of(reading), "rig.toml")).picture
