"""Handouts as printed: true size, true greys, letters that travel with the page, the cautions that belong to steps."""

from __future__ import annotations

import datetime
import re

import numpy as np
import pdfplumber
import pytest
from matplotlib.text import Text
from PIL import Image

from contrastkit import cli
from contrastkit.camera.reference import parse_reference
from contrastkit.compose.cutting import cut_plan
from contrastkit.compose.days import BLADE, DEFER, FUMES, IRON, PIGMENT, RAGS
from contrastkit.compose.plan import read_plan
from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import srgb1_to_lightness
from contrastkit.show.chart import save_pages
from contrastkit.show.handouts import (
    PageLook,
    cautions_handout,
    class_kit_handout,
    grey_scale_handout,
    grey_steps,
    photographing_handout,
    plan_handout,
)

DAY = datetime.date(2026, 11, 25)
MM = 72 / 25.4  # points
PLAN = """
title = "Wall"
units = "in"
rim = "1/16"
gap = "1/4"
[background]
margin = 3
[supplies.web]
width = 17
[supplies.cloth]
sheet = [18, 22]
width = 44
[[block]]
name = "Hearth"
count = 4
prints = ["3 1/2", "2 1/2"]
layers = ["dark", "light"]
surrounds = 2
"""


def look(paper="A4", heading=""):
    return PageLook(heading, paper, DAY)


def cut(tmp_path):
    (tmp_path / "plan.toml").write_text(PLAN)
    return cut_plan(read_plan(tmp_path / "plan.toml"))


def all_handouts(tmp_path, paper):
    return {
        "grey": grey_scale_handout(9, look=look(paper)), "photo": photographing_handout(look=look(paper)),
        "kit": class_kit_handout(12, look=look(paper)), "cautions": cautions_handout(look=look(paper)),
        "plan": plan_handout(cut(tmp_path), look=look(paper)),
    }


@pytest.fixture(params=["A4", "Letter"])
def printed(request, tmp_path):
    """Every handout as a PDF, and its paper."""
    pages = all_handouts(tmp_path, request.param)
    return request.param, {name: save_pages(charts, tmp_path / f"{name}.pdf") for name, charts in pages.items()}


def test_the_bars_and_the_paper_are_true_to_size_in_the_pdf(printed):
    """Templates cut by them would not fit. Within 0.1 mm, read back with pdfplumber."""
    paper, files = printed
    width, height = {"A4": (210, 297), "Letter": (215.9, 279.4)}[paper]
    for file in files.values():
        with pdfplumber.open(file) as document:
            for page in document.pages:
                assert (float(page.width) / MM, float(page.height) / MM) == pytest.approx((width, height), abs=0.1)
                wide = [round(float(rect["width"]) / MM, 2) for rect in page.rects if 1.7 < rect["height"] / MM < 1.9]
                assert any(abs(side - 50) <= 0.1 for side in wide)
                assert any(abs(side - 50.8) <= 0.1 for side in wide)


def test_the_bars_are_true_to_size_when_they_are_rasterised(printed):
    """A page that a printer draws as dots: 600 an inch, the dark ends of the bars measured in dots, within 0.1 mm."""
    _, files = printed
    with pdfplumber.open(files["cautions"]) as document:
        page = np.asarray(document.pages[0].to_image(resolution=600).original.convert("L"))
        rects = [rect for rect in document.pages[0].rects if 1.7 < rect["height"] / MM < 1.9]
    for long in (50.0, 50.8):
        bar = next(rect for rect in rects if abs(rect["width"] / MM - long) < 0.1)
        row = page[round(float(bar["top"] + bar["height"] / 2) * 600 / 72)]
        left, right = (round(float(bar[end]) * 600 / 72) for end in ("x0", "x1"))
        dark = np.flatnonzero(row[left - 20 : right + 20] < 128)
        line = 0.25 / 2  # half of the outline lies outside at each end
        assert (dark[-1] - dark[0] + 1) * 25.4 / 600 == pytest.approx(long + 2 * line, abs=0.1)


def test_every_letter_is_in_a_font_that_travels_with_the_page(printed):
    """Another printer would set it in another face, or as boxes."""
    _, files = printed
    for file in files.values():
        data = file.read_bytes()
        with pdfplumber.open(file) as document:
            names = {letter["fontname"] for page in document.pages for letter in page.chars}
            fonts = document.doc.catalog
            assert fonts is not None
        assert any("AtkinsonHyperlegibleNext" in name.replace("-", "") for name in names)
        assert len(re.findall(rb"/FontFile2", data)) >= len(names)


def test_nothing_is_printed_outside_the_margins(printed):
    """A printer would cut it off. 12 mm on every side."""
    _, files = printed
    for file in files.values():
        with pdfplumber.open(file) as document:
            for page in document.pages:
                things = [*page.chars, *page.lines, *(rect for rect in page.rects if rect["width"] < page.width - 1)]
                assert min(thing["x0"] for thing in things) >= 12 * MM - 0.6
                assert max(thing["x1"] for thing in things) <= page.width - 12 * MM + 0.6
                assert min(thing["top"] for thing in things) >= 12 * MM - 0.6
                assert max(thing["bottom"] for thing in things) <= page.height - 12 * MM + 1.5  # tails of letters
                sizes = {round(letter["size"], 1) for letter in page.chars}
                assert min(sizes) >= 8.0


@pytest.mark.parametrize("steps", [5, 9, 11])
def test_every_grey_of_the_scale_decodes_to_its_lightness(steps, tmp_path):
    """Learners would hold cloth against another grey than the number on it says. Within 0.3 L*, which 8 bits allow,
    through PNG and PDF."""
    (page,) = grey_scale_handout(steps, look=look())
    png = np.asarray(Image.open(page.save(tmp_path / "scale.png")).convert("RGB"))
    page.save(tmp_path / "scale.pdf")
    with pdfplumber.open(tmp_path / "scale.pdf") as document:
        pdf = np.asarray(document.pages[0].to_image(resolution=100).original.convert("RGB"))
    for pixels in (png, pdf):
        top, left, width = 0.2 * pixels.shape[0], 12 / 210 * pixels.shape[1], 186 / 210 * pixels.shape[1]
        for step, lightness in enumerate(grey_steps(steps)):
            shown = pixels[int(top) - 20, int(left + (step + 0.5) * width / steps)]
            assert shown[0] == shown[1] == shown[2]
            assert float(srgb1_to_lightness(shown / 255)) == pytest.approx(lightness, abs=0.3)


def test_the_grey_scale_warns_that_a_printer_is_no_reference_and_says_how_it_is_measured():
    """Somebody would measure a year of swatches against a guess."""
    (page,) = grey_scale_handout(5, look=look(heading="Tuesday"))
    said = " ".join(text.get_text() for text in page.figure.axes[0].texts) + " ".join(
        artist.get_text() for artist in page.figure.axes[0].artists if hasattr(artist, "get_text"))
    assert page.description.startswith("A printed grey scale is no reference until it is measured.")
    for needed in ("camera-check", "--reference chart", "--reference scale=95,75,55,35,15", "Tuesday"):
        assert needed in said


@pytest.mark.parametrize("steps", [5, 9, 11])
def test_the_numbers_on_the_grey_scale_can_be_given_as_they_stand(steps):
    """The page would tell people to type what the program refuses."""
    (page,) = grey_scale_handout(steps, look=look())
    texts = [artist.get_text() for artist in page.figure.findobj(Text)]
    (given,) = [text.split()[1] for text in texts if "--reference scale=" in text]
    assert len(parse_reference(given).lightness) == steps
    commands = re.findall(r"contrastkit ((?:camera-check|measure) .*?) (?:gives|says)", " ".join(texts))
    assert [cli._parser().parse_args(words.split()).run is not None for words in commands] == [True, True]


def test_pages_that_direct_work_carry_its_cautions(tmp_path):
    """Somebody would be cut or burnt, or a heap of oily rags catch fire."""
    plan = plan_handout(cut(tmp_path), look=look())[0].description
    for handout in (plan, class_kit_handout(12, look=look())[0].description,
                    cautions_handout(look=look())[0].description):
        for caution in (BLADE, IRON, FUMES, PIGMENT, RAGS, DEFER):
            assert caution in handout


def test_the_plan_on_paper_has_every_square_and_every_day(tmp_path):
    """A square would be missing from the cut list, or a day from the plan."""
    whole = cut(tmp_path)
    pages = plan_handout(whole, look=look())
    said = pages[0].description
    assert said.startswith("Wall: 4 blocks")
    for each in whole.squares:
        assert f"{each.count}, " in said
    for number, day in enumerate(whole.days, start=1):
        assert f"Day {number}: {day.title}" in said


def test_a_class_of_twelve_gets_enough_for_twelve():
    """The twelfth learner would stand without gloves."""
    said = class_kit_handout(12, pieces=6, look=look())[0].description
    assert "Cotton, washed, light, middle and dark grounds, 72 squares, 6 a learner" in said
    assert "Gloves that paint does not go through, 12 pairs" in said
    assert "Iron, hot and dry, and clean paper, 3, one for four" in said


@pytest.mark.parametrize(("call", "message"), [
    (lambda: grey_steps(7), r"^A grey scale must have 5, 9 or 11 steps; got 7\. Pick one of these\.$"),
    (lambda: class_kit_handout(0), r"^A class must have 1 to 200 learners with 1 to 500 pieces each; got 0 and 12\."),
    (lambda: cautions_handout(look=PageLook(paper="A3")), r"^paper must be one of A4, Letter; got 'A3'\."),
])
def test_what_cannot_be_printed_is_refused(call, message):
    """A page of nonsense would be printed twelve times."""
    with pytest.raises(InvalidInputError, match=message):
        call()
