"""The channel sheet for the wall: one A4 page of valid SVG, on which no text meets another."""

from __future__ import annotations

import re

import pytest

from rules.drawing.sheet_picture import sheet_picture
from rules.rig.channel_sheet import ChannelSheet, SheetRow
from tests.support.svg_pictures import faults, outside, overlapping, texts

LONG = "the marvellous bell box of the attic, second floor, left"


def sheet(devices: int, sources: int, name: str = "organ") -> ChannelSheet:
    """A sheet with so many rows and columns."""
    rows = tuple(
        SheetRow(tuple(str(16 - at) if (number + at) % 3 else "-" for at in range(sources)), name, "16", name)
        for number in range(devices)
    )
    return ChannelSheet(tuple(f"{name} {number}" for number in range(sources)), rows)


@pytest.mark.parametrize(("devices", "sources"), [(1, 1), (2, 8), (16, 3), (40, 1), (40, 8), (64, 4)])
@pytest.mark.parametrize("name", ["organ", LONG], ids=["short", "long"])
def test_everything_fits_on_one_page(devices: int, sources: int, name: str) -> None:
    """Upright A4, with few and with many devices and sources."""
    picture = sheet_picture(sheet(devices, sources, name))
    assert faults(picture) == []
    assert (overlapping(picture), outside(picture)) == ([], [])
    assert 'width="210mm" height="297mm"' in picture
    assert len(picture.encode()) < 200_000


def test_a_long_name_is_whole_in_its_tooltip() -> None:
    """And as much of it as fits is on the sheet."""
    picture = sheet_picture(sheet(1, 1, LONG))
    assert f"<title>{LONG}</title>the marv" in picture


def test_no_colour_carries_a_meaning() -> None:
    """There are only greys."""
    colours = set(re.findall(r"#[0-9a-f]{6}", sheet_picture(sheet(4, 2))))
    assert colours
    assert all(colour[1:3] == colour[3:5] == colour[5:7] for colour in colours)


def test_channels_are_the_largest_letters_of_a_row() -> None:
    """They are what a player looks for."""
    picture = sheet_picture(sheet(3, 2))
    heights = {box.text: box.bottom - box.top for box in texts(picture)}
    assert heights["15"] >= heights["organ"]
