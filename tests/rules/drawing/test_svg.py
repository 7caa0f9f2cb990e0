"""Shapes as SVG 1.1, on pages of ISO 216."""

from __future__ import annotations

from xml.etree import ElementTree

from hypothesis import given
from hypothesis import strategies as st

from rules.drawing.svg import Box, Frame, Path, Picture, Text, fitted, number
from tests.support.svg_pictures import SVG, faults


def picture(*shapes: Text | Box | Path) -> Picture:
    """A small page with some shapes."""
    return Picture(1000, 500, "A rig", "One rule.", list(shapes))


def test_a_page_says_its_size_in_millimetres() -> None:
    """Lengths inside are tenths of them."""
    root = ElementTree.fromstring(picture().svg())
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("100mm", "50mm", "0 0 1000 500")


def test_every_shape_is_valid_svg() -> None:
    """With all that shapes can have."""
    shapes = (
        Text(10, 20, "organ", 30, bold=True, anchor="middle", fill="#555555", whole="organ of the hall"),
        Box(Frame(0, 0, 10, 10), "#ffffff", radius=2, dash="4 2", tip="a box"),
        Path("M0 0L10 10", dash="1 2", arrow=True, tip="a line"),
    )
    assert faults(picture(*shapes).svg()) == []


@given(st.text(min_size=1))
def test_names_are_never_markup(name: str) -> None:
    """Whatever a name holds, it is the text of one element; what can't be printed is replaced."""
    shown = "".join(letter if letter.isprintable() or letter == "\n" else "\ufffd" for letter in name)
    root = ElementTree.fromstring(picture(Text(10, 20, name, 30, whole=name), Box(Frame(0, 0, 9, 9), tip=name)).svg())
    (text,) = root.findall(f"{SVG}text")
    (of_text,) = text
    ((of_box,),) = root.findall(f"{SVG}rect[{SVG}title]")
    assert [of_text.tail, of_text.text, of_box.text] == [shown] * 3
    assert [len(of_text), len(of_box)] == [0, 0]


def test_a_long_text_is_shortened_and_whole_in_its_tooltip() -> None:
    """One that fits has none."""
    long = fitted(0, 0, "a name that is too long", 10, 60)
    assert (long.text, long.whole) == ("a name t\u2026", "a name that is too long")
    assert fitted(0, 0, "short", 10, 60).whole == ""


def test_the_box_of_a_text_depends_on_its_anchor() -> None:
    """It begins, ends or has its middle at x."""
    left, middle, right = (Text(100, 0, "organ", 10, anchor=anchor).frame for anchor in ("start", "middle", "end"))
    assert (left.x, right.right, middle.x + middle.width / 2) == (100, 100, 100)


def test_a4_is_told_from_larger_pages() -> None:
    """Lying or standing."""
    assert Picture(2970, 2100, "", "").fits_a4
    assert Picture(2100, 2970, "", "").fits_a4
    assert not Picture(2100, 2971, "", "").fits_a4
    assert not Picture(2200, 2200, "", "").fits_a4


def test_lengths_have_a_decimal_at_most() -> None:
    """Whole ones have none."""
    assert [number(12), number(12.34), number(0.04)] == ["12", "12.3", "0"]
