"""The set list for the wall: one A4 page of valid SVG, on which no text meets another."""

from __future__ import annotations

import re

import pytest

from rules.drawing.song_picture import song_picture
from rules.rig.song_sheet import SongRow, SongSheet
from tests.support.svg_pictures import faults, outside, overlapping, texts

LONG = "the marvellous song of the attic, second floor, left, in a version for the whole family"


def sheet(songs: int, name: str = "Slow Ferry", about: tuple[str, ...] = ("count four bars in",)) -> SongSheet:
    """A list of so many songs; every third has nothing but its name."""
    sends = (("organ", ("program 20", "controller volume 80")), ("strings", ("program 49",)))
    rows = tuple(
        SongRow(
            f"{name} {number}",
            96.5 if number % 2 else None,
            about,
            sends,
            ("record on",),
            ("organ left", "strings"),
            (),
        )
        if number % 3
        else SongRow(f"{name} {number}", 128 if number % 2 else None, (), (), (), (), ())
        for number in range(songs)
    )
    return SongSheet(rows, ("note C4 of pads",), ("note C4 of pads, held 600 ms",), wraps=False)


@pytest.mark.parametrize("songs", [1, 2, 5, 16, 30, 64])
@pytest.mark.parametrize("name", ["Slow Ferry", LONG], ids=["short", "long"])
def test_everything_fits_on_one_page(songs: int, name: str) -> None:
    """Upright A4, with few and with many songs."""
    picture = song_picture(sheet(songs, name))
    assert faults(picture) == []
    assert (overlapping(picture), outside(picture)) == ([], [])
    assert 'width="210mm" height="297mm"' in picture


@pytest.mark.parametrize("songs", [5, 12, 20])
def test_an_ordinary_evening_is_whole_on_paper(songs: int) -> None:
    """Nothing is cut, for paper has no tooltips; the way from song to song is below."""
    shown = [box.text for box in texts(song_picture(sheet(songs)))]
    assert "\u2026" not in " ".join(shown)
    assert {"Set list", "1", str(songs), "96.5 BPM", "Next song: note C4 of pads."} <= set(shown)
    assert "open: organ left, strings" in " ".join(shown)
    assert shown[-1] == "The last song has no next one."


def test_many_lines_about_a_song_stay_in_their_row() -> None:
    """They are smaller, and cut at last."""
    picture = song_picture(sheet(20, about=tuple(f"{number} {LONG}" for number in range(12))))
    assert (overlapping(picture), outside(picture)) == ([], [])


def test_names_are_the_largest_letters_of_a_row() -> None:
    """They are what a player looks for; and there are only greys."""
    picture = song_picture(sheet(5))
    heights = {box.text: box.bottom - box.top for box in texts(picture)}
    name = next(height for text, height in heights.items() if text.startswith("Slow"))
    assert name > 1.5 * heights["open: organ left, strings"]
    colours = set(re.findall(r"#[0-9a-f]{6}", picture))
    assert colours
    assert all(colour[1:3] == colour[3:5] == colour[5:7] for colour in colours)
