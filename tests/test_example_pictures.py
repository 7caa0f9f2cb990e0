"""The pictures that README shows are those that `draw` makes, and photographs of the page."""

from __future__ import annotations

from pathlib import Path

import pytest

from pictures.draw_examples import EXAMPLES, PICTURES, picture
from pictures.photograph_page import PICTURES as PHOTOGRAPHS
from tests.support.pages import PAGES


@pytest.mark.parametrize("name", PICTURES)
def test_pictures_are_current(name: str) -> None:
    """Byte for byte; scripts/pictures/draw_examples.py draws them again."""
    assert (EXAMPLES / name).read_bytes() == picture(name)


@pytest.mark.parametrize("path", PHOTOGRAPHS.values(), ids=lambda path: path.stem)
def test_photographs_of_the_page_are_on_readme(path: Path) -> None:
    """As WebP; scripts/pictures/photograph_page.py takes them again."""
    assert f"](examples/{path.name})" in PAGES["README"]
    content = path.read_bytes()
    assert (content[:4], content[8:12]) == (b"RIFF", b"WEBP")
    assert len(content) <= 50_000


@pytest.mark.parametrize("name", PICTURES)
def test_readme_shows_them(name: str) -> None:
    """With a text for those who don't see it; each is small enough for a page."""
    assert f"](examples/{name})" in PAGES["README"]
    assert "![](" not in PAGES["README"]
    assert (EXAMPLES / name).stat().st_size <= 50_000
