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


def test_a_name_that_no_size_holds_loses_its_middle() -> None:
    """Beginning and end tell alike names apart; the whole is the tooltip."""
    endless = "organ" * 60 + " left"
    shown = [box.text for box in texts(sheet_picture(sheet(64, 1, endless))) if "\u2026" in box.text]
    assert shown
    assert all(text.startswith("organ") for text in shown)
    assert f"<title>{endless}</title>" in sheet_picture(sheet(64, 1, endless))


@pytest.mark.parametrize("devices", [4, 16, 20])
def test_ordinary_names_are_whole_on_paper(devices: int) -> None:
    """Five inputs and twenty modules: nothing is cut, for paper has no tooltips."""
    inputs = tuple(f"input {name}" for name in ("stage piano", "master keyboard", "pedal board", "drum pads", "seq"))
    rows = tuple(
        SheetRow(("1", "2", "-", "4", "16"), f"module number {n}", "all" if n % 2 else "10", f"cable number {n}")
        for n in range(devices)
    )
    picture = sheet_picture(ChannelSheet(inputs, rows))
    written = " ".join(box.text for box in texts(picture))
    assert "\u2026" not in written
    assert {"is on", "device", "port"} <= {box.text for box in texts(picture)}
    assert (overlapping(picture), outside(picture)) == ([], [])


@pytest.mark.parametrize("amount", [1, 16, 64])
def test_what_is_to_be_set_and_what_is_left_out_is_below_the_rows(amount: int) -> None:
    """As large as the page allows."""
    note = f"Set on the devices: {', '.join(f'pad {number} to channel 1' for number in range(amount))}."
    picture = sheet_picture(
        sheet(amount, 2)._replace(notes=(note, "Left out, because they can't be played alone: bell."))
    )
    shown = texts(picture)
    assert note in " ".join(box.text for box in shown)
    assert shown[-1].text == "Left out, because they can't be played alone: bell."
    assert (overlapping(picture), outside(picture)) == ([], [])


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
