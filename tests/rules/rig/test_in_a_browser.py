"""Pictures as a browser shows them, in the font that it chooses."""

from __future__ import annotations

import itertools
import json
import re
import shutil
import subprocess
from html import unescape
from pathlib import Path

from rules.drawing.rig_reading import curves_in
from rules.drawing.velocity_plot import draw_curves
from tests.support.random_rigs import random_rig
from tests.support.rig_views import picture_of, reading_of
from tests.support.svg_pictures import TextBox

EXAMPLES = Path(__file__).parents[3] / "examples"

PAGE = """<!DOCTYPE html><meta charset="utf-8"><body><script>
const found = %s.map(text => {
  const file = new DOMParser().parseFromString(text, "image/svg+xml");
  const error = file.querySelector("parsererror");
  if (error) return {error: error.textContent};
  const picture = document.body.appendChild(document.importNode(file.documentElement, true));
  const size = picture.viewBox.baseVal;
  picture.setAttribute("width", size.width);  // a pixel a unit: boxes of lines are whole pixels
  picture.setAttribute("height", size.height);
  const boxes = [...picture.querySelectorAll("text")].map(text => {
    const box = text.getBBox();
    const shown = [...text.childNodes].filter(node => node.nodeType == Node.TEXT_NODE).map(node => node.data).join("");
    return [shown, box.x, box.y, box.x + box.width, box.y + box.height];
  });
  return {width: size.width, height: size.height, boxes};
});
document.body.textContent = JSON.stringify(found);
</script>"""
"""Reads pictures as files of SVG 1.1, which is stricter than HTML, and says where each text is."""


ROUNDING = 1.0
"""A browser rounds how far a line reaches above and below its baseline to whole pixels."""

OPTIONS = ("--headless", "--no-sandbox", "--disable-gpu")


def in_a_browser(pictures: list[str], folder: Path) -> list[dict[str, object]]:
    """What chromium makes of pictures: sizes and boxes of texts, or why it can't read one."""
    browser = shutil.which("chromium")
    assert browser is not None, "scripts/test installs chromium"
    page = folder / "page.html"
    page.write_text(PAGE % json.dumps(pictures).replace("</", "<\\/"), encoding="utf-8")
    done = subprocess.run(
        [browser, *OPTIONS, f"--user-data-dir={folder}", "--dump-dom", page.as_uri()],
        capture_output=True,
        text=True,
        timeout=100,
        check=True,
    )
    answer = re.search(r"<body>(.*)</body>", done.stdout, re.DOTALL)
    assert answer is not None, done.stdout[:1000]
    found: list[dict[str, object]] = json.loads(unescape(answer[1]))
    return found


def test_a_browser_shows_every_text_by_itself_and_on_the_page(tmp_path: Path) -> None:
    """A rig of 2, 10 and 40 rules, with names of all sorts, a page of curves, and a recording before and after."""
    rigs = [random_rig(seed, rules) for seed, rules in ((2, 2), (10, 10), (39, 40))]
    pictures = [picture_of(rig).svg() for rig in rigs]
    pictures.append(draw_curves("rig.toml", curves_in(reading_of(rigs[-1].decode()))).svg())
    pictures.append((EXAMPLES / "repaired-recording.svg").read_text(encoding="utf-8"))
    found = in_a_browser(pictures, tmp_path)
    assert [list(picture) for picture in found] == [["width", "height", "boxes"]] * 5
    for picture in found:
        boxes = [TextBox(*box) for box in picture["boxes"]]  # type: ignore[attr-defined]
        assert boxes
        assert [
            (one, other)
            for one, other in itertools.combinations(boxes, 2)
            if one.overlaps(other, ROUNDING)
        ] == []  # fmt: skip
        width, height = picture["width"], picture["height"]
        assert [box for box in boxes if box.left < 0 or box.top < 0 or box.right > width or box.bottom > height] == []  # type: ignore[operator]


def test_markup_in_names_stays_text_in_a_browser(tmp_path: Path) -> None:
    """No script runs, and the name is shown as it is written."""
    name = "</text><script>document.body.textContent = 1</script>"
    rig = f"""[ports]\nkeys = {{ input = true }}\nrack = {{ output = true }}
[[rules]]\nname = "{name}"\nfrom = "keys"\nto = "rack"\n"""
    (picture,) = in_a_browser([picture_of(rig).svg()], tmp_path)
    assert name in [box[0] for box in picture["boxes"]]  # type: ignore[attr-defined]
