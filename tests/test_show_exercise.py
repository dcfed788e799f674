"""Sheets for sorting by eye, their key, and a class's results, as printed."""

from __future__ import annotations

import datetime

import numpy as np
import pandas as pd
import pdfplumber
import pytest
from matplotlib.image import AxesImage
from matplotlib.text import Text

from contrastkit.compose.exercise import Exercise, make_exercise
from contrastkit.compose.eye_order import judge_order, pool_orders, progress
from contrastkit.errors import InvalidInputError
from contrastkit.show.chart import save_pages
from contrastkit.show.exercise import class_results, exercise_key, exercise_sheets

DAY = datetime.date(2026, 11, 25)


def pile(count, **columns):
    names = [f"p{number:02d}" for number in range(count)]
    return pd.DataFrame({"swatch_id": names, "lightness": np.linspace(12, 92, count), "lightness_sigma": 1.0} | columns)


def crops(table):
    return {name: np.full((40, 40, 3), 90, np.uint8) for name in table["swatch_id"]}


def words(chart):
    return [text.get_text() for text in chart.figure.findobj(Text)]


def test_sheets_show_numbers_and_pictures_but_neither_names_nor_lightness():
    """Learners would read the answer off the sheet."""
    table = pile(12)
    exercise = make_exercise(table, count=12)
    (sheet,) = exercise_sheets(exercise, table, crops(table), made=DAY)
    said = words(sheet)
    assert [str(number) for number in range(1, 13)] == [text for text in said if text.isdigit()]
    assert not any(name in text for text in [*said, sheet.description] for name in exercise.pieces)
    assert "L*" not in sheet.description + " ".join(said)
    assert len(sheet.figure.findobj(AxesImage)) == 12
    assert "Name and date" in said


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("count", [3, 12, 20, 40])
def test_every_number_is_on_one_sheet_inside_the_margins_and_the_slip_is_on_the_last(paper, count):
    """A piece would be cut off at the edge, or the slip have no room."""
    table = pile(count)
    pages = exercise_sheets(make_exercise(table, count=count), table, {}, paper=paper, made=DAY)
    numbers = [text for page in pages for text in words(page) if text.isdigit()]
    assert numbers == [str(number) for number in range(1, count + 1)]
    assert [("Name and date" in words(page)) for page in pages] == [False] * (len(pages) - 1) + [True]
    for page in pages:
        axes, height = page.figure.axes[0], page.figure.get_figheight() * 25.4
        tops = [patch.get_y() for patch in axes.patches]
        assert min(tops) >= 12 - 1e-9
        assert max(patch.get_y() + patch.get_height() for patch in axes.patches) <= height - 12


def test_the_key_gives_the_true_order_and_what_cannot_be_told_apart():
    """A teacher would mark right orders wrong."""
    table = pile(5, lightness_apparent_low=[12, 40, 52, 72, 92], lightness_apparent_high=[12, 44, 52, 72, 92],
                 lightness_low=[10, 30, 30, 70, 90], lightness_high=[14, 34, 70, 74, 94])
    table.loc[3, "lightness"] = 53.0
    (key,) = exercise_key(Exercise(("p03", "p00", "p04", "p02", "p01")), table, crops(table), made=DAY)
    said = " ".join(words(key))
    assert key.description.startswith("The true order is 2, 5, 4, 1, 3.")
    assert "Too close to tell apart, either order is right: 4 and 1." in key.description
    assert "vivid: it looks like L* 40 to 44" in said
    assert "patterned: lights and darks far apart" in said
    plain = exercise_key(Exercise(("p00", "p02", "p04")), pile(5), {}, made=DAY)[0]
    assert "Too close" not in plain.description


def test_a_line_of_many_figures_keeps_to_the_margin(tmp_path):
    """Figures are drawn equally wide, wider than they are counted by their letters: the line ran off its column."""
    table = pile(40, lightness_apparent_low=np.linspace(12, 92, 40))
    table["lightness_sigma"] = 4.0
    pages = exercise_key(make_exercise(table, count=40), table, {}, made=DAY)
    save_pages(pages, tmp_path / "key.pdf")
    with pdfplumber.open(tmp_path / "key.pdf") as document:
        for page in document.pages:
            # 0.6 points: the date ends on the margin
            assert max(letter["x1"] for letter in page.chars) <= page.width - 12 * 72 / 25.4 + 0.6
    assert pages[0].description.startswith("The true order of 40, dark to light.")


def test_a_class_is_told_how_it_did_learner_by_learner():
    """A learner would not find the own row, nor the teacher what was hard."""
    table = pile(5, lightness_apparent_low=[12, 45, 52, 72, 92])
    exercise = Exercise(("p03", "p00", "p04", "p02", "p01"))
    wrong = ["p00", "p02", "p01", "p03", "p04"]
    pooled = pool_orders(table, {"Wren": wrong, "Finch": [f"p0{at}" for at in range(5)], "Jay": ["p00", ["p01", "p02",
                         "p03", "p04"]]})
    weeks = progress([("2026-11-18", "Wren", judge_order(table, wrong[::-1])), ("2026-11-25", "Wren",
                     pooled.learners["Wren"])])
    (page,) = class_results(pooled, exercise, progress=weeks, heading="Tuesday's class", made=DAY)
    said = page.description
    assert said.startswith("1 of 3 learners has every piece in order.")  # Jay called unequal ones equal
    assert "Tuesday's class." in words(page)
    assert "Wren, 4 of 5, 0.80, 0.90, 5" in said
    assert "Finch, 5 of 5, 1.00, 1.00, none" in said
    assert "Number 5 (p01): misplaced by 2 of 3, too light; vivid." in said
    assert "Wren, 2026-11-18, 2 of 5, -0.80, –" in said
    alone = class_results(pool_orders(table, {"Wren": wrong}), exercise, made=DAY)[0]
    assert "week to week" not in alone.description
    dark = pool_orders(table, {"Wren": ["p01", "p02", "p00", "p03", "p04"]})
    assert "too light" in class_results(dark, exercise, made=DAY)[0].description


def test_an_unknown_paper_is_refused():
    """A page of another size would be printed."""
    with pytest.raises(InvalidInputError, match="paper must be one of A4, Letter; got 'A3'"):
        exercise_sheets(Exercise(("p00", "p01", "p02")), pile(3), {}, paper="A3")
