"""
Every chart, of piles of every kind, on screen and on both papers: read in grey, nothing over anything else, true greys.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pytest
from demo import demo_pieces, many_pieces
from drawn import assert_keeps_to_the_look, extents, overlapping
from legible import drawing_of, illegible, illegible_marks
from made_pile import made_crops, made_table
from PIL import Image

from contrastkit.cli.charts import CHARTS
from contrastkit.compose.choosing import choose_stacks
from contrastkit.compose.exercise import make_exercise
from contrastkit.compose.stacks import judge_stack, stack_of
from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import srgb1_to_lightness
from contrastkit.show.chart import Chart, save_pages
from contrastkit.show.choice import stacks_sheet
from contrastkit.show.drawing import Box, Line, Photo, Shape, Words
from contrastkit.show.exercise import exercise_key, exercise_sheets
from contrastkit.show.look import LIGHT_PAGE, PAPER, text_width
from contrastkit.show.on_paper import on_paper
from contrastkit.show.sheet import contact_sheet
from contrastkit.show.stack import staircase
from contrastkit.show.studies import study_chart, study_pages, swatch_subject, value_study

MARGIN = 12.0  # mm


# --- piles ------------------------------------------------------------------------------------------------------------


def five_pieces():
    """From dark to light; too few for some charts."""
    table, crops = demo_pieces()
    few = table.sort_values("lightness").iloc[[0, 4, 9, 14, len(table) - 1]].reset_index(drop=True)
    return few, {name: crops[name] for name in few["swatch_id"]}


def without_pictures():
    """A table of lightness values alone, some of them in the middle, where greys are lost on a middle surround."""
    lightness = [18.0, 22, 25, 31, 36, 41, 44, 48, 50, 52, 55, 58, 63, 66, 71, 74, 79, 84, 88, 91]
    names = [f"piece {number}" for number in range(len(lightness))]
    return pd.DataFrame({"swatch_id": names, "lightness": lightness, "lightness_sigma": 1.2}), {}


def long_names():
    """The demo under names that no column has room for."""
    table, crops = demo_pieces()
    longer = {name: f"Grandmother's {place} second best rubbing, {name}" for place, name in enumerate(crops)}
    return table.assign(swatch_id=table["swatch_id"].map(longer)), {longer[name]: crops[name] for name in crops}


PILES = {
    "the demo": demo_pieces, "five pieces": five_pieces, "two hundred pieces": many_pieces,
    "no pictures": without_pictures, "long names": long_names,
}  # fmt: skip


def charts_of(pile):
    """Every chart that the pile allows."""
    charts = {}
    for kind, lesson in CHARTS.items():
        try:
            charts[kind] = lesson.draw(*PILES[pile]())
        except InvalidInputError:
            continue
    return charts


@dataclass(frozen=True)
class Shown:
    """A pile's charts by kind, and the same as pages by kind and paper."""

    pile: str
    charts: dict[str, Chart]
    pages: dict[tuple[str, str], Chart]


@pytest.fixture(scope="module", params=PILES)
def shown(request):
    """One pile after the other: all of them at once would fill the memory of a small computer."""
    charts = charts_of(request.param)
    pages = {
        (kind, paper): on_paper(chart, paper=paper, heading="Tuesday class", most=CHARTS[kind].most)
        for kind, chart in charts.items() for paper in ("A4", "Letter")
    }
    return Shown(request.param, charts, pages)


def test_most_charts_can_be_drawn_of_most_piles(shown):
    """What follows would look at nothing."""
    fewer = {"five pieces": 12, "no pictures": 7}
    assert len(shown.charts) >= fewer.get(shown.pile, len(CHARTS))


# --- what can be read -------------------------------------------------------------------------------------------------


def test_every_chart_is_read_in_grey_on_screen(shown):
    """A copier, or eyes that see no colour, would lose a mark or a word."""
    assert {kind: faults for kind, chart in shown.charts.items() if (faults := illegible(chart))} == {}


def test_every_chart_is_read_in_grey_on_paper(shown):
    """White paper is lighter than the screen's page: other marks are lost there."""
    assert {key: faults for key, page in shown.pages.items() if (faults := illegible(page, page=PAPER))} == {}


def test_no_words_run_into_each_other_on_screen(shown):
    """Names would be unreadable, or cut off. 3 mm is half the margin of a chart."""
    for kind, chart in shown.charts.items():
        words, _ = extents(chart)
        assert (kind, overlapping(words), _over_the_edge(chart, words, 3.0)) == (kind, [], [])


def test_no_words_run_into_each_other_on_paper(shown):
    """As above; and a printer cuts off what stands in its margin. Half a millimetre is what screens add to words."""
    for kind, page in shown.pages.items():
        words, _ = extents(page)
        assert (kind, overlapping(words), _over_the_edge(page, words, MARGIN - 0.5)) == (kind, [], [])


def test_every_page_keeps_to_the_look(shown):
    """Type under 8 points or lines under 0.25 mm, once a chart is made smaller to fit."""
    for (kind, _), page in shown.pages.items():
        smaller = "of its size, to fit the page" in " ".join(text.get_text() for text in page.figure.axes[0].texts)
        if not smaller and kind != "distances":  # which has nothing but pictures and words
            assert_keeps_to_the_look(page)


def _over_the_edge(chart, words, margin):
    width, height = chart.figure.get_size_inches() * 25.4
    return [text for text, (left, bottom, right, top) in words
            if left < margin or bottom < 3 or right > width - margin or top > height - 3]


@pytest.mark.parametrize("layers", [2, 3, 5])
def test_a_stack_of_any_height_has_room_for_its_seams(layers):
    """The words of a stack of five would stand over the small pictures."""
    table, crops = demo_pieces()
    names = table.sort_values("lightness")["swatch_id"].iloc[[0, 40, 10, 35, 20][:layers]].tolist()
    chart = CHARTS["distances"].draw(table, crops, stack=stack_of(table, names, rim=1.6))
    words, pictures = extents(chart)
    assert len([text for text, _ in words if " step " in text and "from" not in text]) == 6 * (layers - 1)
    assert overlapping(words) == [] and overlapping(words, pictures) == []


def test_a_grey_at_the_end_of_the_scale_does_not_touch_the_name_of_what_made_it():
    """`red` would stand under the black that red film makes of a green."""
    chart = CHARTS["films"].draw(*many_pieces())
    words, _ = extents(chart)
    boxes = [("box", (mark.x, mark.y, mark.x + mark.width, mark.y + mark.height))
             for mark in chart.drawing.marks if isinstance(mark, Box) and mark.width == 4.0]
    assert len(boxes) == 12
    named = [word for word in words if word[0] in ("red", "green")]
    assert len(named) == 12 and overlapping(named, boxes) == []


# --- what else is printed ---------------------------------------------------------------------------------------------


def other_pages():
    """Name and chart of all else that is drawn of a pile, and the greys of its page."""
    table, crops = demo_pieces()
    made = made_table(20)
    choice = choose_stacks(table, layers=3, blocks=4, seconds=1)
    exercise = make_exercise(table, count=12, level="far apart", seed=1)
    subject = swatch_subject(crops["morning-card-12"], words="a star")
    study = value_study(subject.image, values=5, words=subject.words)
    score = judge_stack(stack_of(table, choice.stacks[0].layers, rim=1.6), distance_mm=3000)
    papers = [
        (f"{name}, {paper}", page, PAPER)
        for paper in ("A4", "Letter")
        for name, pages in (
            ("contact sheet", [contact_sheet(table, crops, paper=paper), contact_sheet(made, {}, paper=paper)]),
            ("contact sheet of made pieces", [contact_sheet(made, made_crops(made), paper=paper)]),
            ("stacks", stacks_sheet(choice, table, crops, paper=paper)),
            ("stacks without pictures", stacks_sheet(choice, table, {}, paper=paper)),
            ("exercise", exercise_sheets(exercise, table, crops, paper=paper)),
            ("key", exercise_key(exercise, table, crops, paper=paper)),
            ("study", study_pages(study, paper=paper)),
        )
        for page in pages
    ]
    screens = [("stairs", staircase(score, crops)), ("stairs without pictures", staircase(score)),
               ("study", study_chart(study))]
    return [*papers, *((name, chart, LIGHT_PAGE) for name, chart in screens)]


def test_all_else_is_read_in_grey_too():
    """A contact sheet, stacks, stairs, an exercise or a study would lose a mark on the copier."""
    found = {
        f"{number} {name}": illegible_marks(*_but_pictures(chart), page=page)
        for number, (name, chart, page) in enumerate(other_pages())
    }
    assert {name: faults for name, faults in found.items() if faults} == {}


def _but_pictures(chart):
    """A chart without the regions of a value study: they are the picture, and have the greys they have."""
    drawing, pictures = drawing_of(chart)
    kept = tuple(mark for mark in drawing.marks if not (isinstance(mark, Shape) and mark.fill == mark.edge))
    return replace(drawing, marks=kept), pictures


# --- true grey --------------------------------------------------------------------------------------------------------

# How many flat greys of a chart are looked at, at least; the pictures of `distances` and `rim` have theirs below.
LEAST = {
    "grey-scale": 9, "same-value": 3, "same-hue": 3, "fooling-pairs": 8, "vivid": 16, "half-and-half": 12,
    "coverage": 7, "balance": 3, "pairs": 50, "lamps": 20, "eyes": 20, "films": 20, "strip": 9,
}  # fmt: skip


@pytest.mark.parametrize("kind", LEAST)
def test_every_grey_is_that_of_its_lightness_in_the_files(kind, tmp_path):
    """
    A grey called L* 55 would be another one: on screen, in the PNG, in the PDF or on the printed page.

    Looked at in the middle of every flat grey that nothing else is drawn over; 0.3 L* is what 8 bits allow.
    """
    chart = CHARTS[kind].draw(*(without_pictures() if kind == "pairs" else demo_pieces()))
    page = on_paper(chart, paper="A4", most=CHARTS[kind].most)
    chart.save(tmp_path / "chart.png")
    png = np.asarray(Image.open(tmp_path / "chart.png").convert("RGB"))
    files = [("png", chart, png), ("pdf", chart, pdf_pixels([chart], tmp_path)),
             ("page", page, pdf_pixels([page], tmp_path))]
    for name, one, pixels in files:
        looked = list(bare_greys(one.drawing))
        assert len(looked) >= LEAST[kind]
        per_mm = pixels.shape[0] / one.drawing.height
        for lightness, x, y in looked:
            shown = pixels[int((one.drawing.height - y) * per_mm), int(x * per_mm)]
            assert shown[0] == shown[1] == shown[2]
            assert (name, float(srgb1_to_lightness(shown / 255))) == (name, pytest.approx(lightness, abs=0.3))


def bare_greys(drawing):
    """L* of every flat grey and a place in it, a third from its corner, that nothing later is drawn over."""
    marks = drawing.marks
    for place, mark in enumerate(marks):
        if not isinstance(mark, Box) or not isinstance(mark.fill, float) or min(mark.width, mark.height) < 1.5:
            continue
        x, y = mark.x + mark.width / 3, mark.y + mark.height / 6
        if not any(_covers(other, x, y) for other in marks[place + 1:]):
            yield mark.fill, x, y


def _covers(mark, x, y):
    """Whether a mark may reach within half a millimetre of a place."""
    if isinstance(mark, Box) and mark.fill is None or isinstance(mark, Shape):
        return False
    if isinstance(mark, Words):
        wide = text_width(mark.text, mark.size, bold=mark.bold)
        left = mark.x - {"left": 0.0, "middle": 0.5, "right": 1.0}[mark.align] * wide
        reach = (left, mark.y - 0.3 * mark.size, left + wide, mark.y + mark.size)
    elif isinstance(mark, Line):
        reach = (min(mark.x0, mark.x1), min(mark.y0, mark.y1), max(mark.x0, mark.x1), max(mark.y0, mark.y1))
    else:
        reach = (mark.x, mark.y, mark.x + mark.width, mark.y + mark.height)
    return reach[0] - 0.5 <= x <= reach[2] + 0.5 and reach[1] - 0.5 <= y <= reach[3] + 0.5


def pdf_pixels(pages, folder):
    import pypdfium2

    save_pages(pages, folder / "page.pdf")
    document = pypdfium2.PdfDocument(folder / "page.pdf")
    pixels = document[0].render(scale=200 / 72).to_numpy()[..., :3].copy()
    document.close()
    return pixels


@pytest.mark.parametrize("kind", ["distances", "rim"])
def test_the_layers_in_the_pictures_have_their_lightness(kind, tmp_path):
    """A stack drawn without pictures is flat greys: they would be others than the numbers beside them."""
    table = pd.DataFrame({
        "swatch_id": ["a", "b", "c"], "lightness": [20.0, 50.0, 80.0], "lightness_rim": [70.0, 85.0, 40.0]
    })
    chart = CHARTS[kind].draw(table, {})
    first = next(mark for mark in chart.drawing.marks if isinstance(mark, Photo))
    named = [float(mark.text.split("L* ")[1]) for mark in chart.drawing.marks
             if isinstance(mark, Words) and ", L* " in mark.text][:2]  # the two layers of the first rim
    chart.save(tmp_path / "chart.png")
    png = np.asarray(Image.open(tmp_path / "chart.png").convert("RGB"))
    for pixels in (png, pdf_pixels([chart], tmp_path)):
        per_mm = pixels.shape[0] / chart.drawing.height
        row = int((chart.drawing.height - first.y - first.height / 2) * per_mm)
        left, right = int(first.x * per_mm) + 3, int((first.x + first.width) * per_mm) - 3
        shown = srgb1_to_lightness(pixels[row, left:right] / 255)
        drawn = {lightness for lightness in table["lightness"] if np.abs(shown - lightness).min() <= 0.3}
        assert drawn == (set(named) if kind == "rim" else {20.0, 50.0, 80.0})


def test_the_marks_of_a_chart_are_those_it_was_drawn_from():
    """The places looked at above would be others than those drawn."""
    chart = CHARTS["grey-scale"].draw(*demo_pieces())
    found, _ = drawing_of(chart)
    assert [type(mark) for mark in found.marks] == [type(mark) for mark in chart.drawing.marks]
