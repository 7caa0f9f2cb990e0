"""The pictures that README shows are those that `draw` makes."""

from __future__ import annotations

import pytest

from pictures.draw_examples import EXAMPLES, PICTURES, picture
from tests.support.pages import PAGES


@pytest.mark.parametrize("name", PICTURES)
def test_pictures_are_current(name: str) -> None:
    """Byte for byte; scripts/pictures/draw_examples.py draws them again."""
    assert (EXAMPLES / name).read_bytes() == picture(name)


@pytest.mark.parametrize("name", PICTURES)
def test_readme_shows_them(name: str) -> None:
    """With a text for those who don't see it; each is small enough for a page."""
    assert f"](examples/{name})" in PAGES["README"]
    assert "![](" not in PAGES["README"]
    assert (EXAMPLES / name).stat().st_size <= 50_000
