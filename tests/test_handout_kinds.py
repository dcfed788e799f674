"""Every handout by its name: complete, true to size, readable in grey, under the teacher's heading, on both papers."""

from __future__ import annotations

import datetime
import math
import re
from functools import cache

import numpy as np
import pandas as pd
import pdfplumber
import pytest
from demo import PHOTOS, demo_pile
from drawn import extents, overlapping, words_of
from legible import illegible

from contrastkit.errors import InvalidInputError, TooFewSwatchesError
from contrastkit.show.chart import save_pages
from contrastkit.show.drawing import Box, Shape
from contrastkit.show.handout_kinds import (
    CHART,
    HANDOUTS,
    MOST_HEADING,
    check_heading,
    handout_named,
    handout_pages,
    most_patterned,
    strongest_stack,
    subject_of,
    title_of,
)
from contrastkit.show.handouts import PageLook
from contrastkit.show.lessons import LESSONS
from contrastkit.show.look import PAPER
from contrastkit.show.order_file import judge_orders, read_orders

MM = 72 / 25.4  # points
DAY = datetime.date(2026, 11, 25)
DEMO = PHOTOS.parent
HEADING = "Tuesday evenings, second term"
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
SAID = {
    CHART: {"chart": "fooling-pairs"}, "values": {"method": "natural"}, "exercise": {"seed": 3}, "key": {"seed": 3},
    "results": {"orders": DEMO / "orders.csv"},
}  # fmt: skip
PLAN = """
title = "Wall"
units = "in"
rim = "1/16"
gap = "1/4"
[supplies.web]
width = 17
[supplies.cloth]
sheet = [18, 22]
[[block]]
name = "Hearth"
count = 2
prints = ["3 1/2", "2 1/2"]
layers = ["dark", "light"]
surrounds = 1
"""


@pytest.fixture(scope="module", autouse=True)
def small_plan(tmp_path_factory):
    """A plan of two blocks, so that drawing it twelve times takes no time."""
    file = tmp_path_factory.mktemp("plan") / "plan.toml"
    file.write_text(PLAN)
    SAID["plan"] = {"plan": file}


def look(paper="A4", heading=HEADING):
    return PageLook(heading, paper, DAY)


def pages_of(kind, paper="A4", heading=HEADING, **said):
    pile = demo_pile() if HANDOUTS[kind].pile != "never" else None
    given = {} if pile is None else {"table": pile.table, "crops": pile.crops}
    return handout_pages(kind, look=look(paper, heading), **given, **(SAID.get(kind, {}) | said))


@cache
def every(paper):
    """The pages of every handout, drawn once for all tests."""
    return {kind: pages_of(kind, paper) for kind in HANDOUTS}


@pytest.fixture(scope="module", params=list(PAPERS))
def paper(request):
    return request.param


@pytest.fixture(scope="module")
def printed(paper, tmp_path_factory):
    """Every handout as a PDF."""
    folder = tmp_path_factory.mktemp(paper)
    return {kind: save_pages(pages, folder / f"{kind}.pdf") for kind, pages in every(paper).items()}


def size_of(page):
    return tuple(side * 25.4 for side in page.figure.get_size_inches())


# --- every page -------------------------------------------------------------------------------------------------------


def test_every_page_has_the_paper_the_heading_the_date_and_its_number(paper):
    """A page would come out of the wrong tray, or nobody know whose it is."""
    for kind, pages in every(paper).items():
        for number, page in enumerate(pages, start=1):
            assert sorted(size_of(page)) == pytest.approx(sorted(PAPERS[paper]), abs=0.1), kind
            said = " ".join(words_of(page))
            assert HEADING in said, (kind, number)
            assert f"25 November 2026, page {number} of {len(pages)}" in said, kind


def test_no_words_lie_on_other_words(paper):
    """A number would be read as another."""
    for kind, pages in every(paper).items():
        for page in pages:
            words, _ = extents(page)
            assert overlapping(words) == [], (kind, title_of(page))


def test_every_page_can_be_read_in_grey():
    """A copier would lose a mark. W3C contrast 3 for marks and 4.5 for text; greys that stand for a lightness are what
    is shown, as pictures are, and have the lightness they have."""
    shown = {"grey-scale", "contact-sheet", "values", "plan"}  # of greys that stand for a lightness
    faults = {
        kind: found for kind, pages in every("A4").items()
        if (found := [fault for page in pages for fault in illegible(page, page=PAPER)
                      if kind not in shown or not fault.startswith("A shape of L*")])
    }
    assert faults == {}


def test_bars_and_pages_are_true_to_size_in_the_pdf(printed, paper):
    """Templates cut by them would not fit. Within 0.1 mm, read back with pdfplumber."""
    for kind, file in printed.items():
        with pdfplumber.open(file) as document:
            for page in document.pages:
                size = sorted((float(page.width) / MM, float(page.height) / MM))
                assert size == pytest.approx(sorted(PAPERS[paper]), abs=0.1)
                wide = [float(rect["width"]) / MM for rect in page.rects if 1.7 < rect["height"] / MM < 1.9]
                assert min(abs(side - 50) for side in wide) <= 0.1, kind
                assert min(abs(side - 50.8) for side in wide) <= 0.1, kind


def test_letters_travel_with_the_page_and_are_never_small(printed):
    """Another printer would set it in another face, or a learner not be able to read it."""
    for kind, file in printed.items():
        with pdfplumber.open(file) as document:
            letters = [letter for page in document.pages for letter in page.chars]
        names = {letter["fontname"] for letter in letters}
        assert all(re.search("Atkinson|DejaVu", name) for name in names), kind
        assert len(re.findall(rb"/FontFile2", file.read_bytes())) >= len(names), kind
        assert min(round(letter["size"], 1) for letter in letters) >= 8.0, kind


def test_nothing_is_printed_outside_the_margins(printed):
    """A printer would cut it off. 12 mm on every side; 0.6 points are half a line, 1.5 the tails of letters."""
    for kind, file in printed.items():
        with pdfplumber.open(file) as document:
            for page in document.pages:
                shapes = [each for each in (*page.rects, *page.curves) if each["width"] < page.width - 1]
                things = [*page.chars, *page.lines, *shapes, *page.images]
                assert min(thing["x0"] for thing in things) >= 12 * MM - 0.6, kind
                assert max(thing["x1"] for thing in things) <= page.width - 12 * MM + 0.6, kind
                assert min(thing["top"] for thing in things) >= 12 * MM - 0.6, kind
                assert max(thing["bottom"] for thing in things) <= page.height - 12 * MM + 1.5, kind


def test_lines_are_no_thinner_than_a_printer_draws(printed):
    """A hairline would be lost. 0.25 mm; an edge in the tone of its filling only closes the gap to its neighbour."""
    for kind, file in printed.items():
        with pdfplumber.open(file) as document:
            drawn = [each for page in document.pages for each in (*page.rects, *page.lines, *page.curves)]
        lines = [each["linewidth"] for each in drawn if each["stroke"]
                 and not (each["fill"] and each["stroking_color"] == each["non_stroking_color"])]
        assert min(lines) >= 0.25 * MM - 0.01, kind


def test_outlines_to_cut_and_to_colour_are_true_to_size_in_the_pdf(printed, paper):
    """Cut pieces would not fit their key, nor a tracing its picture. Within 0.1 mm, read back with pdfplumber."""
    sheet = every(paper)["exercise"][0]
    cells = sorted((mark.x, mark.width) for mark in sheet.drawing.marks if isinstance(mark, Box) and mark.fill == 50.0)
    with pdfplumber.open(printed["exercise"]) as document:
        wide = cells[0][1] * MM
        found = sorted((rect["x0"] / MM, rect["width"] / MM) for rect in document.pages[0].rects
                       if abs(rect["width"] - wide) < 1 and abs(rect["height"] - wide) < 1)
    assert np.ptp(np.array(found[:: len(found) // len(cells)]) - cells, axis=0).max() <= 0.1
    assert np.abs(np.array(found[:: len(found) // len(cells)]) - cells).max() <= 0.1

    outlines = every(paper)["values"][1]
    rings = sorted(ring_box(mark.points) for mark in outlines.drawing.marks if isinstance(mark, Shape))
    with pdfplumber.open(printed["values"]) as document:
        page = document.pages[1]
        drawn = [(each["x0"] / MM, (page.height - each["bottom"]) / MM, each["x1"] / MM,
                  (page.height - each["top"]) / MM) for each in (*page.curves, *page.rects)]
    for ring in rings:
        assert min(np.abs(np.array(each) - ring).max() for each in drawn) <= 0.1


def ring_box(points):
    low, high = np.min(points, axis=0), np.max(points, axis=0)
    return (*low, *high)


def test_outlines_are_true_to_size_when_they_are_rasterised(printed, paper):
    """A page that a printer draws as dots: 600 an inch; the frame of the page to colour in, within 0.1 mm."""
    page = every(paper)["values"][1]
    left, low, right, _ = max((ring_box(mark.points) for mark in page.drawing.marks if isinstance(mark, Shape)),
                              key=lambda box: box[2] - box[0])
    with pdfplumber.open(printed["values"]) as document:
        pixels = np.asarray(document.pages[1].to_image(resolution=600).original.convert("L"))
    row = pixels[round((size_of(page)[1] - low - 3.0) * 600 / 25.4)]  # across the frame, a little above its foot
    dark = np.flatnonzero(row < 200)
    assert (dark[-1] - dark[0] + 1) * 25.4 / 600 == pytest.approx(right - left + 0.25, abs=0.1)  # and its line


# --- what each says ---------------------------------------------------------------------------------------------------


def test_the_handouts_are_those_of_the_issue_in_the_order_of_teaching():
    """A handout would be missing from the list."""
    assert list(HANDOUTS) == ["kit", "cautions", "photographing", "grey-scale", "contact-sheet", "chart", "values",
                              "exercise", "key", "results", "plan"]
    assert all(each.words for each in HANDOUTS.values())


def test_the_key_fits_the_sheets_of_the_same_seed():
    """A teacher would mark by the key of another exercise."""
    (key,) = pages_of("key", seed=7)
    (sheet,) = pages_of("exercise", seed=7)
    assert "Exercise 7, far apart." in words_of(sheet)
    table = demo_pile().table.set_index("swatch_id")["lightness"]
    rows = re.findall(r"(?:Value\.|;|L\*, Value, What may mislead the eye\.)? ?(\d+), ([a-z]+-[a-z]+-\d\d), (\d+)",
                      key.description)
    assert len(rows) == 12
    assert [round(table[name]) for _, name, _ in rows] == [int(light) for *_, light in rows]
    assert sorted(int(number) for number, *_ in rows) == list(range(1, 13))


def test_a_contact_sheet_shows_the_whole_pile_in_groups():
    """A piece would be missing, or lie without its group."""
    said = " ".join(page.description for page in every("A4")["contact-sheet"])
    assert all(name in said for name in demo_pile().table["swatch_id"])
    assert title_of(every("A4")["contact-sheet"][0]) == "Well balanced: 13 dark, 19 medium, 14 light"
    named = demo_pile().table.assign(group="odd")
    (page, *_) = handout_pages("contact-sheet", table=named.head(3), crops={})
    assert "3 odd" in page.description or "odd" in " ".join(words_of(page))


def test_a_study_is_of_what_was_asked_for():
    """A class would colour in another piece."""
    pile = demo_pile()
    assert subject_of(pile.table, pile.crops, swatch="noon-chart-05").words == "the swatch noon-chart-05"
    names = ("evening-scale-12", "morning-card-16", "morning-card-09")
    assert subject_of(pile.table, pile.crops, stack=names).words == f"the stack {', '.join(names)}"
    assert subject_of(pile.table, pile.crops).words == f"the swatch {most_patterned(pile.table, pile.crops)}"
    assert subject_of(pile.table, {}).words == f"the stack {', '.join(strongest_stack(pile.table))}"
    sided = pile.table.assign(side=88.9)
    assert subject_of(sided, pile.crops, swatch="noon-chart-05").width_mm == 88.9
    assert subject_of(pile.table.assign(side=np.nan), pile.crops, swatch="noon-chart-05").width_mm is None


def test_the_piece_studied_is_square_and_the_most_patterned():
    """A class would be given a plain piece, of which there is nothing to colour in."""
    table, crops = demo_pile().table, demo_pile().crops
    spread = (table["lightness_high"] - table["lightness_low"]).set_axis(table["swatch_id"])
    chosen = most_patterned(table, crops)
    assert spread[chosen] >= spread.quantile(0.9)
    assert most_patterned(table.drop(columns="lightness_low"), crops) == ""
    assert most_patterned(table, {}) == ""


def test_a_photograph_is_studied_in_its_true_lightness_where_it_can_be_measured(tmp_path):
    """A dark exposure would be coloured in too dark. Silver: the card of the demo is L* 49.5 by its own card."""
    import cv2

    measured = subject_of(None, {}, photo=PHOTOS / "morning-card.jpg")
    assert measured.words == "morning-card.jpg, measured against a grey card"
    plain = np.full((300, 400, 3), 118, np.uint8)
    cv2.imwrite(str(tmp_path / "wall.png"), plain)
    taken = subject_of(None, {}, photo=tmp_path / "wall.png")
    assert taken.words == "wall.png, as the camera says it"
    assert float(taken.image.mean()) == pytest.approx(0.1812, abs=0.001)  # IEC 61966-2-1 of 118


def test_nine_values_are_meant_where_named_steps_are_asked_for():
    """Asking for named steps alone would be refused."""
    pages = pages_of("values", method="named", swatch="evening-scale-01")
    assert "nine values" in title_of(pages[1])


def test_every_chart_stands_on_a_page():
    """A chart would not fit, or be missing."""
    (page,) = pages_of(CHART, chart="grey-scale")
    assert title_of(page).startswith("The pile stands on")
    with pytest.raises(InvalidInputError, match=r"^It must be said which chart is to be printed: one of grey-scale, "):
        handout_pages(CHART, table=demo_pile().table)
    with pytest.raises(InvalidInputError, match=f"^A chart must be one of {', '.join(LESSONS)}; got 'pie'"):
        pages_of(CHART, chart="pie")


def test_a_plan_without_a_table_takes_its_pieces_from_the_pile(tmp_path):
    """Its blocks would be drawn in grey although their pieces are at hand, or name pieces that nobody has."""
    names = list(demo_pile().table["swatch_id"][:2])
    text = 'units = "mm"\n[[block]]\nname = "Hearth"\nprints = [80, 50]\nstacks = [["%s", "%s"]]\n'
    (tmp_path / "plan.toml").write_text(text % tuple(names))
    pages = pages_of("plan", plan=tmp_path / "plan.toml")
    assert sum(len(page.pictures) for page in pages) >= 2
    (tmp_path / "plan.toml").write_text(text % ("nobody", names[1]))
    with pytest.raises(InvalidInputError, match=r"names 'nobody', which is not"):
        pages_of("plan", plan=tmp_path / "plan.toml")


# --- results ----------------------------------------------------------------------------------------------------------


def orders(tmp_path, text):
    file = tmp_path / "orders.csv"
    file.write_text(text, encoding="utf-8")
    return file


def small_pile():
    return pd.DataFrame({"swatch_id": list("abc"), "lightness": [20.0, 50.0, 80.0], "lightness_sigma": 1.0})


def test_results_show_the_newest_exercise_and_all_weeks(tmp_path):
    """Learners would be judged by last week's exercise, or not see that they got better."""
    file = orders(tmp_path, "learner,date,order,seed\nWren,2026-11-18,3 2 1,1\nWren,2026-11-25,1 2 3,1\n"
                            "Finch,2026-11-25,1 3=2,1\n")
    (page,) = handout_pages("results", table=small_pile(), look=look(), orders=file, count=3)
    said = page.description
    assert said.startswith("1 of 2 learners has every piece in order.")  # 2 and 3 are not equal
    assert "Wren, 2026-11-18, far apart, 1 of 3, -1.00, –" in said
    assert "Wren, 2026-11-25, far apart, 3 of 3, 1.00, +2.00" in said
    one_week = orders(tmp_path, "learner,date,order\nWren,2026-11-25,1 2 3\n")
    (page,) = handout_pages("results", table=small_pile(), orders=one_week, count=3)
    assert "week to week" not in page.description


def test_a_learners_last_order_counts_whatever_row_it_stands_in(tmp_path):
    """An order that was mended would count as it was before."""
    file = orders(tmp_path, "learner,date,order\nWren,2026-11-25,1 2 3\nWren,2026-11-18,3 2 1\n")
    judged = judge_orders(small_pile(), read_orders(file, count=3))
    assert judged.pooled.sentences[0] == "1 of 1 learner has every piece in order."
    assert judged.weeks is not None
    assert judged.weeks["gain"].round(2).tolist() == pytest.approx([math.nan, 2.0], nan_ok=True)


def test_weeks_of_unlike_exercises_are_not_held_against_each_other(tmp_path):
    """A learner would seem to have got worse, for a harder exercise."""
    file = orders(tmp_path, "learner,date,order,level\nWren,2026-11-18,1 2 3,far apart\nWren,2026-11-25,3 2 1,vivid\n")
    weeks = judge_orders(small_pile(), read_orders(file, count=3)).weeks
    assert weeks["exercise"].tolist() == ["far apart", "vivid"]
    assert weeks["gain"].isna().all()


def test_two_orders_of_one_exercise_on_a_day_are_refused(tmp_path):
    """One of them would silently replace the other."""
    file = orders(tmp_path, "learner,date,order\nWren,2026-11-25,1 2 3\nFinch,2026-11-25,1 2 3\n"
                            "Wren,2026-11-25,3 2 1\n")
    with pytest.raises(InvalidInputError, match=r"row 4: a learner must have one order of an exercise a day; Wren has "
                                                r"another in row 2\. Leave one out\."):
        read_orders(file, count=3)


def test_each_row_may_be_of_its_own_exercise(tmp_path):
    """A row of another week would be read by this week's numbers."""
    file = orders(tmp_path, "learner;date;order;seed;count;level\nWren;2026-11-18;1 2 3;5;3;vivid\n"
                            "Wren;2026-11-25;2 1 3;2;;\n")
    first, second = read_orders(file, count=3, level="far apart", seed=9)
    assert (first.seed, first.count, first.level) == (5, 3, "vivid")
    assert (second.seed, second.count, second.level) == (2, 3, "far apart")


@pytest.mark.parametrize(("text", "message"), [
    ("learner,date\nWren,2026-11-25\n", r"The table must have a column 'order'"),
    ("learner,date,order\n", r"^There must be an order; '.*orders\.csv' has none\. Write a row for each learner\.$"),
    ("learner,date,order\n,2026-11-25,1 2 3\n", r"row 2: learner must have 1 to 80 letters; got 0\. Write a name"),
    (f"learner,date,order\n{'w' * 81},2026-11-25,1 2 3\n", r"row 2: learner must have 1 to 80 letters; got 81\."),
    ("learner,date,order\nWren,25/11/26,1 2 3\n", r"row 2: date must be written as 2026-11-25; got '25/11/26'\."),
    ("learner,date,order,level\nWren,2026-11-25,1 2 3,hard\n",
     r"row 2: level must be far apart or vivid; got 'hard'\. Write one of them\.$"),
    ("learner,date,order\nWren,2026-11-25,1 2\n",
     r"row 2, Wren: Each number must be in the order; 3 is missing\. Add what is\.$"),
    ("learner,date,order\nWren,2026-11-25,1 2 4\n", r"row 2, Wren: An order must be of the numbers 1 to 3; got '4'\."),
    ("learner,date,order,count\nWren,2026-11-25,1 2 3,30\n",
     r"row 2, Wren: An exercise of 30 pieces needs as many of known lightness; the pile has 3\."),
])
def test_an_order_that_cannot_be_right_is_refused_with_its_row(text, message, tmp_path):
    """A learner would be marked by numbers that mean something else."""
    with pytest.raises(InvalidInputError, match=message):
        handout_pages("results", table=small_pile(), orders=orders(tmp_path, text), count=3)


def test_a_name_that_is_not_in_the_class_is_refused_with_the_nearest(tmp_path):
    """A slip of the pen would become a thirteenth learner."""
    file = orders(tmp_path, "learner,date,order\nSorel,2026-11-25,1 2 3\n")
    with pytest.raises(InvalidInputError, match=r"row 2: learner must be one of the class; got 'Sorel', and the "
                                                r"nearest is 'Sorrel'\. Correct it\.$"):
        read_orders(file, learners=["Sorrel", "Fennel"])
    with pytest.raises(InvalidInputError, match=r"got 'Sorel', and there are Yew\. Correct it\.$"):
        read_orders(file, learners=["Yew"])


def test_names_of_learners_stay_text(tmp_path):
    """A name would be read as markup, or as a formula."""
    names = ["<b>Wren</b>", "'=1+1", "Ре́мез", "\u05e2\u05d5\u05e4", "Wren \U0001f426"]
    rows = "".join(f"{name},2026-11-25,1 2 3\n" for name in names)
    (page,) = handout_pages("results", table=small_pile(), orders=orders(tmp_path, "learner,date,order\n" + rows),
                            count=3)
    said = " ".join(words_of(page))
    assert "<b>Wren</b>" in said
    assert "=1+1" in said
    assert "Wren □" in said


# --- what is refused --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("call", "message"), [
    (lambda: handout_named("keys"), r"^There must be a handout of that name; got 'keys', and the nearest is 'key'\."),
    (lambda: handout_named("zzz"), r"got 'zzz', and there are kit, cautions, .*, plan\. Pick one\.$"),
    (lambda: handout_pages("kit", steps=5), r"^The handout kit takes learners and pieces; got steps\. Leave it out\.$"),
    (lambda: handout_pages("cautions", seed=5), r"^The handout cautions takes nothing of the kind; got seed\."),
    (lambda: handout_pages("exercise"), r"^The handout exercise is drawn from a pile; none is given\. Name photogr"),
    (lambda: handout_pages("exercise", table=small_pile(), count=3),
     r"^An exercise is made of the pictures of its pieces; the pile has none\. Give the photographs, or the catalogue"),
    (lambda: handout_pages("results", table=small_pile()), r"^Results are worked out from what learners wrote; no ord"),
    (lambda: handout_pages("plan"), r"^A plan must be named to be printed; none is\. Name its file"),
    (lambda: handout_pages("values"), r"^A study must be of something; got neither a photograph nor a pile\. Name one"),
    (lambda: handout_pages("values", table=small_pile(), swatch="a", stack=("a", "b")),
     r"^A study must be of one thing; got swatch and stack\. Leave out all but one\.$"),
    (lambda: handout_pages("values", table=small_pile(), swatch="aa"),
     r"^A study must be of a piece of the pile; 'aa' is not in it, and the nearest is 'a'\. Correct the name\.$"),
    (lambda: handout_pages("values", table=small_pile(), swatch="zz"), r"'zz' is not in it\. Correct the name\.$"),
    (lambda: handout_pages("values", table=small_pile(), swatch="a"),
     r"^A study of a swatch is drawn from its picture; there is none of 'a'\. Give the photographs"),
    (lambda: handout_pages("kit", look=PageLook("a" * 121)), r"^A heading must have 120 letters or fewer; got 121\. S"),
    (lambda: handout_pages("kit", look=PageLook(paper="A3")), r"^paper must be one of A4, Letter; got 'A3'\."),
])
def test_what_cannot_be_printed_is_refused(call, message):
    """A page of nonsense would be printed twelve times."""
    with pytest.raises(InvalidInputError, match=message):
        call()


def test_a_pile_too_small_for_a_stack_is_told_so():
    """A stack of two would be called the strongest of three."""
    message = r"^A stack to study needs 3 swatches of known lightness; the pile has 2\. Measure more\.$"
    with pytest.raises(TooFewSwatchesError, match=message):
        handout_pages("values", table=small_pile().head(2))


@pytest.mark.parametrize("heading", [
    "<script>alert(1)</script>", "../../etc", "a\0b", "$x^2$ \\frac", "Abend \U0001f33f der Werte",
    "\u202eabc\u202c ערב", "W" * MOST_HEADING, "i " * (MOST_HEADING // 2),
])
def test_any_heading_stays_text_inside_the_margins(heading, tmp_path):
    """A heading would be obeyed, run off the page, or lie on what stands below it."""
    (page,) = handout_pages("cautions", look=look(heading=heading))
    words, _ = extents(page)
    assert overlapping(words) == []
    with pdfplumber.open(save_pages([page], tmp_path / "page.pdf")) as document:
        assert max(letter["x1"] for letter in document.pages[0].chars) <= document.pages[0].width - 12 * MM + 0.6
        said = document.pages[0].extract_text()
    assert re.sub("[\0\u202e\u202c]", " ", heading).split()[0][:4] in said
    assert check_heading(f"  {heading}\n") == " ".join(heading.split())
