"""Greys of charts as a real browser puts them on the screen."""

from __future__ import annotations

import io

import numpy as np
import pytest
from demo import demo_pieces
from PIL import Image
from test_readable import bare_greys

from contrastkit.light.lightness import srgb1_to_lightness
from contrastkit.show.lessons import LESSONS


@pytest.mark.parametrize("kind", ["grey-scale", "half-and-half", "coverage"])
@pytest.mark.parametrize("form", ["picture", "drawing"])
def test_every_grey_of_a_chart_on_a_page_is_that_of_its_lightness(browser, tmp_path, kind, form):
    """A grey called L* 55 would be another one on the page; 0.3 L* is what 8 bits allow."""
    chart = LESSONS[kind].draw(*demo_pieces())
    width, height = chart.figure.get_size_inches() * 120
    if form == "picture":  # as a notebook shows it
        shown = chart._repr_html_()
    else:
        shown = chart.save(tmp_path / "chart.svg").read_text(encoding="utf-8")
        shown = shown[shown.index("<svg"):].replace("<svg", '<svg style="width: 100%; height: auto"', 1)
    page = browser.new_page(viewport={"width": round(width), "height": round(height)})
    page.set_content(f'<body style="margin: 0">{shown}</body>')
    page.locator("img, svg").first.wait_for()
    page.evaluate("Promise.all([...document.images].map(image => image.decode()))")
    pixels = np.asarray(Image.open(io.BytesIO(page.screenshot())).convert("RGB"))
    page.close()
    per_mm = width / chart.drawing.width
    looked = 0
    for lightness, x, y in bare_greys(chart.drawing):
        row, col = int((chart.drawing.height - y) * per_mm), int(x * per_mm)
        seen = pixels[min(row, len(pixels) - 1), col]
        assert seen[0] == seen[1] == seen[2]
        assert float(srgb1_to_lightness(seen / 255)) == pytest.approx(lightness, abs=0.3)
        looked += 1
    assert looked >= 7
