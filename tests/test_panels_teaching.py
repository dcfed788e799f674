"""The Teach panel without a page: every control's effect on the session."""

from __future__ import annotations

import asyncio
import datetime
import io
import threading
from dataclasses import replace

import numpy as np
import pandas as pd
import pdfplumber
import pytest
from PIL import Image

from contrastkit.compose.exercise import Exercise
from contrastkit.errors import InvalidInputError
from contrastkit.keep.catalogue import open_catalogue
from contrastkit.keep.projects import Project
from contrastkit.panels import teach_paper, teach_parts, teaching
from contrastkit.panels.aside import Aside
from contrastkit.panels.desk import Desk, open_desk
from contrastkit.panels.laying import Laying
from contrastkit.panels.session import empty_session, session_of
from contrastkit.panels.teach_panel import TeachPanel
from contrastkit.panels.teach_paper import HANDOUTS, ChartWish, HandoutWish
from contrastkit.panels.teaching import Teaching
from contrastkit.show.handouts import PageLook
from contrastkit.show.lessons import LESSONS

DAY = datetime.date(2026, 11, 25)


def pile(count=14):
    return pd.DataFrame({
        "swatch_id": [f"p{number:02d}" for number in range(count)], "lightness": np.linspace(12, 92, count),
        "lightness_sigma": 1.0, "lightness_apparent_low": np.linspace(12, 92, count) + 6,
    })


def crops(count=14):
    return {f"p{number:02d}": np.full((20, 20, 4), 200, np.uint8) for number in range(count)}


@pytest.fixture
def panel():
    return TeachPanel(Desk(session_of(pile(), crops())), today=DAY)


def begin(panel, count=6):
    panel.pieces.value = count
    panel.begin.press()


def lay_right(panel):
    """What somebody with a perfect eye does."""
    exercise = panel.desk.session.teaching.exercise
    panel.arrangement.order = [[exercise.number_of(name)] for name in sorted(exercise.pieces)]


def in_view(part):
    return part.layout.display != "none"


def test_an_exercise_is_begun_with_what_was_asked_for_and_shows_numbers_alone(panel):
    """Learners would read the answer off the names."""
    assert panel.state.value == "The pile has 14 measured pieces. Begin an exercise."
    assert (in_view(panel.arrangement), panel.new_part.is_open, panel.begin.main) == (False, True, True)
    panel.difficulty.value = "vivid"
    begin(panel, 8)
    exercise = panel.desk.session.teaching.exercise
    assert (len(exercise.pieces), exercise.level, exercise.seed) == (8, "vivid", 1)
    assert panel.state.value == "Exercise 1: sort 8 pieces from dark to light"
    assert panel.arrangement.order == [[number] for number in range(1, 9)]
    assert set(panel.arrangement.places) == {str(number) for number in range(1, 9)}
    assert not any(name in str(panel.arrangement.get_state()) for name in exercise.pieces)
    assert panel.begin.main is False
    panel.begin.press()
    assert panel.desk.session.teaching.exercise.seed == 2


def test_pieces_are_moved_and_laid_together_and_each_move_can_be_undone(panel):
    """The order on the page would not be the order that is judged."""
    begin(panel)
    panel.arrangement.order = [[2], [1, 3], [4], [5], [6]]
    assert teaching.numbers(panel.desk.session.teaching) == [[2], [1, 3], [4], [5], [6]]
    panel.undo.press()
    assert panel.arrangement.order == [[1], [2], [3], [4], [5], [6]]
    for wrong in ([[1], [2]], [[1, 1], [2], [3], [4], [5], [6]], [["x"]], [5]):
        panel.arrangement.order = wrong
        assert panel.desk.problem
        assert teaching.numbers(panel.desk.session.teaching) == [[1], [2], [3], [4], [5], [6]]


def test_an_order_is_given_in_once_under_a_name_and_then_judged(panel):
    """A result would be nobody's, or be given in again after the answer was seen."""
    begin(panel)
    lay_right(panel)
    panel.give_in.press()
    assert panel.desk.problem == "An order must have a name, or initials; got none. Write one first."
    panel.learner.value = "  Wren <b> "
    panel.give_in.press()
    assert panel.desk.said == "Given in by Wren <b>."
    assert panel.result[0].value == "All 6 pieces are in order, as far as the measurement can tell."
    assert (in_view(panel.next), in_view(panel.give_in), in_view(panel.misplaced)) == (True, False, False)
    assert panel.arrangement.locked is True
    panel.arrangement.order = [[6], [5], [4], [3], [2], [1]]
    assert panel.desk.problem == "An order must be changed before it is given in; this one was. Begin again."
    (result,) = panel.desk.session.teaching.results
    assert (result.learner, result.date) == ("Wren <b>", "2026-11-25")
    panel.undo.press()
    assert (panel.desk.session.teaching.results, in_view(panel.give_in)) == ((), True)


def test_what_was_misplaced_is_told_and_marked_and_the_next_learner_begins_afresh(panel):
    """A learner would not see which pieces to look at, or the next one see the answer."""
    begin(panel)
    lay_right(panel)
    order = panel.arrangement.order
    panel.arrangement.order = [order[1], order[0], *order[2:]]
    panel.learner.value = "Finch"
    panel.give_in.press()
    assert panel.result[0].value == "5 of 6 pieces are in order; move 1 and all are."
    ((number, name, put, place, by, reasons),) = panel.misplaced.value
    assert (put, place, by, reasons) == ("too light", "place 1", "18 L*", "vivid")
    assert panel.arrangement.marks == {number: "belongs in place 1"}
    panel.next.press()
    assert (panel.arrangement.marks, panel.learner.value, panel.arrangement.locked) == ({}, "", False)
    assert panel.arrangement.order == [[1], [2], [3], [4], [5], [6]]
    panel.learner.value = "Jay"
    lay_right(panel)
    panel.give_in.press()
    assert [row[0] for row in panel.pooled.value] == ["Finch", "Jay"]
    assert panel.class_words.value.startswith("1 of 2 learners has every piece in order.")
    weeks = [[*row[:2], row[3]] for row in panel.weeks.value]
    assert weeks == [["Finch", "2026-11-25", "5 of 6"], ["Jay", "2026-11-25", "6 of 6"]]


def test_surrounds_change_what_the_pieces_lie_on(panel):
    """Values would be judged on another grey than was asked for."""
    begin(panel)
    panel.surround.value = "dark"
    assert (panel.arrangement.surround, panel.arrangement.ink) == ("#262626", "#ffffff")


def test_exercise_and_results_are_found_again_with_their_project(tmp_path):
    """Progress over weeks would be lost with the page."""
    with open_catalogue(tmp_path / "pile.sqlite") as catalogue:
        catalogue.add(pile(), crops=crops(), offers=False)
    panel = open_desk(tmp_path / "pile.sqlite").teach()
    begin(panel)
    panel.learner.value = "Wren"
    panel.give_in.press()
    panel.keep.press()
    assert panel.desk.said == "1 result is kept with first project."
    again = open_desk(tmp_path / "pile.sqlite").teach()
    assert again.desk.session.teaching.results == panel.desk.session.teaching.results
    assert again.state.value == "Exercise 1: sort 6 pieces from dark to light"
    again.begin.press()
    assert again.desk.session.teaching.exercise.seed == 2


@pytest.mark.parametrize("data", [
    {}, {"exercise": 5, "results": "x"}, {"exercise": {"pieces": ["a"], "level": "far apart", "seed": 1}},
    {"exercise": {"pieces": ["x", "y", "z"], "level": "far apart", "seed": 1}, "results": [1, {}, {"learner": "a"}]},
    {"results": [{"learner": "a", "date": "2026", "exercise": {"pieces": ["x", "y", "z"], "level": "vivid", "seed": 1},
                  "order": [["x"]]}]},
])
def test_what_is_not_understood_in_a_project_is_left_out(data):
    """A project written by another version would stop the desk."""
    assert Teaching.from_plain(data, session_of(pile()), Project("wall")) == Teaching()


@pytest.mark.parametrize(("data", "heading", "paper"), [
    ({}, "", "A4"), ({"results": []}, "", "A4"), ({"heading": 5, "paper": ["A4"]}, "", "A4"),
    ({"heading": " Tuesday \n class ", "paper": "Letter"}, "Tuesday class", "Letter"),
    ({"heading": "x" * 500, "paper": "A3"}, "x" * 120, "A4"),
])
def test_a_heading_and_paper_that_were_kept_are_found_again_and_older_projects_have_none(data, heading, paper):
    """A project kept before there were headings would not load, or one with nonsense would stop every print."""
    now = Teaching.from_plain(data, session_of(pile()), Project("wall"))
    assert (now.heading, now.paper) == (heading, paper)
    assert Teaching.from_plain(now.to_plain(), session_of(pile()), Project("wall")) == now


def test_a_pile_without_pieces_says_what_to_do():
    """The panel would stop on an empty pile."""
    panel = TeachPanel(Desk(empty_session()))
    assert panel.state.value == (
        "The pile has 0 measured pieces; an exercise takes 3 or more. Photograph some first."
    )
    panel.begin.press()
    assert "needs as many of known lightness; the pile has 0" in panel.desk.problem


def test_names_that_are_too_long_and_steps_without_an_exercise_are_refused(panel):
    """A page of text would stand in every table."""
    panel.learner.value = "x" * 81
    assert panel.desk.problem == "A name must have 80 letters or fewer; got 81. Shorten it."
    for call in (lambda: teaching.numbers(Teaching()), lambda: teaching.arranged(Teaching(), [])):
        with pytest.raises(InvalidInputError, match=r"^An exercise must be under way; none is\. Begin one first\.$"):
            call()
    done = Teaching(Exercise(("a", "b", "c")), (("a",), ("b",), ("c",)), judged=True, learner="a")
    with pytest.raises(InvalidInputError, match=r"^An order must be given in once; this one was\. Begin again for the"):
        teaching.given_in(done, today=DAY)
    assert teaching.pooled(Teaching(), pile()) is None


# --- charts to teach with ---------------------------------------------------------------------------------------------


def coloured(count=46):
    """A pile with colours, and the pictures of its pieces; 46 is the size of a term's work."""
    lightness = np.linspace(12, 92, count)
    table = pd.DataFrame({
        "swatch_id": [f"p{number:02d}" for number in range(count)], "lightness": lightness, "lightness_sigma": 0.8,
        "chroma": np.tile([8.0, 60.0], count)[:count], "hue_angle": np.linspace(0, 359, count),
        "lightness_apparent_low": np.minimum(lightness + 6, 100), "side": 90.0, "lightness_rim": 97.0,
        "lightness_apparent_high": np.minimum(lightness + 9, 100),
    })
    rng = np.random.default_rng(7)
    greys = (255 * (lightness / 100) ** 1.2).astype(int)
    pictures = {
        name: np.dstack([*([np.clip(grey + rng.normal(0, 25, (60, 60)), 0, 255).astype(np.uint8)] * 3),
                         np.full((60, 60), 255, np.uint8)])
        for name, grey in zip(table["swatch_id"], greys, strict=True)
    }  # fmt: skip
    return table, pictures


@pytest.fixture
def full():
    """A panel on a pile with colours and one stack of three."""
    session = session_of(*coloured())
    return TeachPanel(Desk(replace(session, laying=Laying((("p00", "p40", "p20"), ())))), today=DAY)


def pages_of(data: bytes) -> list[tuple[float, float, str]]:
    """Width and height of every page in mm, and its text."""
    assert data[:5] == b"%PDF-"
    with pdfplumber.open(io.BytesIO(data)) as file:
        return [(round(float(page.width) * 25.4 / 72, 1), round(float(page.height) * 25.4 / 72, 1), page.extract_text())
                for page in file.pages]  # fmt: skip


def test_nothing_is_drawn_before_the_part_is_opened(full, monkeypatch):
    """Every page would be seconds late for a chart that nobody asked for."""
    asked = []
    monkeypatch.setattr(teach_paper, "draw_chart", lambda *wish: asked.append(wish))
    full.handouts.turn()
    full.desk.change(replace(full.desk.session, teaching=teaching.headed(Teaching(), "A")), "x")
    full.charts.kind.value = "same-hue"
    assert (asked, full.charts.is_open, full.charts.picture.data) == ([], False, b"")
    full.charts.turn()
    assert [wish.kind for _, wish in asked] == ["same-hue"]


@pytest.mark.parametrize("kind", LESSONS)
def test_every_chart_is_shown_in_words_drawn_and_told(full, kind):
    """A teacher would choose by a file's name, or somebody who does not see would have a picture without words."""
    charts = full.charts
    charts.turn()
    assert [each for _, each in charts.kind.options] == list(LESSONS)
    assert dict((each, words) for words, each in charts.kind.options)[kind].lower() == LESSONS[kind].words.lower()
    charts.kind.value = kind
    drawn = LESSONS[kind].draw(full.desk.session.sorted.table, coloured()[1])
    assert charts.picture.alt == drawn.description
    assert charts.said.value == "Drawn from the pile: 46 pieces."
    assert charts.said.problem == ""
    image = Image.open(io.BytesIO(charts.picture.data))
    assert charts.picture.size[0] / charts.picture.size[1] == pytest.approx(image.width / image.height, abs=0.01)
    assert in_view(charts.steps) == (kind == "grey-scale")
    assert in_view(charts.stack) == (kind == "distances")


def test_a_grey_scale_has_the_steps_that_were_asked_for_and_what_was_seen_is_kept(full, monkeypatch):
    """The options would change nothing; or going back to a chart would take as long as drawing it did."""
    charts, drawn = full.charts, []
    draw = teach_paper.draw_chart
    monkeypatch.setattr(teach_paper, "draw_chart", lambda *wish: drawn.append(wish[1]) or draw(*wish))
    charts.turn()
    said = {}
    for steps in (5, 11, 9, 5):
        charts.steps.value = steps
        said[steps] = charts.picture.alt
        assert charts.picture.alt.count("L* ") >= steps
    assert len(set(said.values())) == 3
    assert [wish.steps for wish in drawn] == [9, 5, 11]
    monkeypatch.setattr(teach_parts, "_REMEMBERED", 2)
    charts.kind.value = "balance"
    charts.kind.value = "grey-scale"
    charts.steps.value = 11
    assert len(charts._drawn) == 2


def test_one_steps_back_from_a_stack_of_the_stack_panel(full):
    """The stack that the class has just laid would not be the one that is shown."""
    charts = full.charts
    charts.turn()
    charts.kind.value = "distances"
    own = charts.picture.alt
    assert charts.stack.options[1] == ["Stack A: p00, p40, p20", 0]
    charts.stack.value = 0
    assert charts.picture.alt != own
    for name in ("p00", "p40", "p20"):
        assert name in charts.picture.alt
    full.desk.change(replace(full.desk.session, laying=Laying((("p01", "p30"),))), "another")
    assert "p30" in charts.picture.alt and "p40" not in charts.picture.alt
    full.desk.change(replace(full.desk.session, laying=Laying()), "none")
    assert (charts.stack.value, charts.picture.alt, in_view(charts.stack)) == (-1, own, False)


def test_a_chart_that_the_pile_does_not_allow_says_so_in_place_of_the_picture():
    """The last chart would stay in view as if it were the one that was chosen."""
    panel = TeachPanel(Desk(session_of(pile(2), crops(2))), today=DAY)
    charts = panel.charts
    charts.turn()
    assert charts.picture.data
    charts.kind.value = "distances"
    assert charts.said.problem.startswith("This chart needs 3 swatches of known lightness for a stack; the pile has 2")
    assert (charts.said.value, charts.picture.data) == ("", b"")
    assert (in_view(charts.picture), in_view(charts.away)) == (False, False)
    charts.make.press()
    assert charts.pdf.data == b""
    charts.kind.value = "grey-scale"
    assert (charts.said.problem, in_view(charts.picture)) == ("", True)
    empty = TeachPanel(Desk(empty_session()))
    empty.charts.turn()
    for kind in LESSONS:
        empty.charts.kind.value = kind
        assert empty.charts.said.problem.endswith("."), kind


def test_a_chart_is_taken_away_on_the_paper_and_under_the_heading_that_was_asked_for(full):
    """The teacher would print on the wrong paper, or another's class's name."""
    charts = full.charts
    charts.turn()
    full.heading.value = "  Tuesday $x_1$ <b>class</b> "
    full.paper.value = "Letter"
    charts.kind.value = "vivid"
    charts.make.press()
    assert charts.said.value == "The chart is ready, on Letter and as a picture."
    ((width, height, text),) = pages_of(charts.pdf.data)
    assert {width, height} == {215.9, 279.4}
    assert "Tuesday $x_1$ <b>class</b>" in text
    assert "25 November 2026, page 1 of 1" in text
    assert (charts.pdf.name, charts.png.name, charts.png.data[:4]) == ("vivid.pdf", "vivid.png", b"\x89PNG")
    fine, shown = (Image.open(io.BytesIO(data)).width for data in (charts.png.data, charts.picture.data))
    assert fine == pytest.approx(shown * 300 / 160, abs=2)
    full.paper.value = "A4"
    assert charts.pdf.data == b""  # what was made is out of date
    charts.make.press()
    assert {210.0, 297.0} == set(pages_of(charts.pdf.data)[0][:2])
    full.undo.press()
    assert (full.paper.value, charts.pdf.data) == ("Letter", b"")
    charts.make.press()
    charts.kind.value = "films"
    assert (charts.pdf.data, charts.png.data) == (b"", b"")


def test_another_pile_is_drawn_anew_and_the_same_pile_read_again_is_not(full, tmp_path, monkeypatch):
    """The chart would be that of last week's pile; or a PDF would be gone when anything is kept."""
    full.charts.turn()
    before = full.charts.picture.alt
    full.charts.make.press()
    table, pictures = coloured()
    full.desk.change(full.desk.session.with_pile(table, pictures), "read again")
    assert full.charts.pdf.data
    full.desk.change(full.desk.session.with_pile(table.iloc[:20], pictures), "fewer")
    assert full.charts.picture.alt != before
    assert (full.charts.said.value, full.charts.pdf.data) == ("Drawn from the pile: 20 pieces.", b"")


# --- handouts ---------------------------------------------------------------------------------------------------------

PAGES = {"study": [2], "sheet": [2], "kit": [1], "cautions": [1], "photographing": [1], "grey-scale": [1]}


def make(panel, kind):
    panel.handouts.kind.value = kind
    panel.handouts.make.press()
    return [(file.label, file.name, file.data) for file in panel.handouts.files if file.data]


@pytest.mark.parametrize(("paper", "size"), [("A4", (210.0, 297.0)), ("Letter", (215.9, 279.4))])
@pytest.mark.parametrize("kind", PAGES)
def test_every_handout_is_made_on_either_paper_under_the_heading(full, kind, paper, size):
    """A page would be cut off by the printer, or be nobody's; a heading with signs in it would be read as a formula."""
    full.handouts.turn()
    full.heading.value = "Rowan's $\\frac{1}{2}$ <i>class</i> & {{7*7}}"
    full.paper.value = paper
    made = make(full, kind)
    assert full.handouts.said.problem == ""
    assert [len(pages_of(data)) for *_, data in made] == PAGES[kind]
    for label, name, data in made:
        assert label.endswith(f"(PDF, {len(pages_of(data))} page{'s' if len(pages_of(data)) > 1 else ''})")
        assert name.endswith(".pdf")
        for width, height, _ in pages_of(data):
            assert sorted((width, height)) == sorted(size)
        assert "Rowan's $\\frac{1}{2}$ <i>class</i> & {{7*7}}" in pages_of(data)[0][2]
        assert "25 November 2026" in pages_of(data)[0][2]
    assert full.handouts.said.value == (
        f"Ready to print on {paper}, at 100 %: true to size only if the printer does not fit it."
    )


def test_sheets_key_and_results_of_the_exercise_are_printed(panel):
    """A teacher would stand before the class without paper, or hand out sheets of another exercise."""
    panel.handouts.turn()
    assert make(panel, "exercise") == []
    assert panel.handouts.said.problem == "Sheets are printed of an exercise; none is under way. Begin one first."
    begin(panel)
    panel.heading.value = "Tuesday class"
    made = make(panel, "exercise")
    assert [(label, name) for label, name, _ in made] == [
        ("Sheets to cut out (PDF, 1 page)", "exercise-1-sheets.pdf"), ("The key (PDF, 1 page)", "exercise-1-key.pdf"),
    ]
    for (*_, data), title in zip(made, ("Sort these 6 from dark to light", "Key to exercise 1"), strict=True):
        assert "Tuesday class" in pages_of(data)[0][2] and title in pages_of(data)[0][2]
    panel.arrangement.order = [[2], [1], [3], [4], [5], [6]]
    panel.learner.value = "Jay"
    assert all(file.data for file in panel.handouts.files[:2])  # sheets and key are what they were
    panel.give_in.press()
    assert panel.handouts.files[0].data == b""  # now there are results, too
    made = make(panel, "exercise")
    assert made[2][:2] == ("The class's results (PDF, 1 page)", "exercise-1-results.pdf")
    assert "Jay" in pages_of(made[2][2])[0][2]
    panel.heading.value = ""
    assert "Which is the lightest?" in pages_of(make(panel, "exercise")[0][2])[0][2]


def test_options_are_in_view_only_where_a_handout_has_them_and_are_followed(full):
    """The kit would be for another class, or a scale have other steps than were asked for."""
    parts = full.handouts
    parts.turn()
    for kind in HANDOUTS:
        parts.kind.value = kind
        assert [in_view(each) for each in (parts.steps, parts.learners, parts.each)] == [
            kind == "grey-scale", kind == "kit", kind == "kit"]
        assert [in_view(each) for each in (parts.subject, parts.values, parts.method)] == [kind == "study"] * 3
    parts.steps.value = 5
    assert "5 steps from dark to light" in pages_of(make(full, "grey-scale")[0][2])[0][2]
    parts.learners.value, parts.each.value = " 7 ", "3"
    text = pages_of(make(full, "kit")[0][2])[0][2]
    assert "A class of 7" in text and "For 3 pieces a learner" in text and "21 squares" in text


def test_a_number_that_cannot_be_is_said_at_its_line_and_nothing_is_made_with_the_one_before(full):
    """A kit for twelve would be printed under a field that says something else."""
    parts = full.handouts
    parts.turn()
    for text in ("twelve", "0", "201", "-3", "٣", "1" * 99):
        shown = text[:20]
        parts.learners.value = text
        assert parts.learners.problem == (
            f"The number of learners must be a whole number from 1 to 200; got '{shown}'. Write one."
        )
        assert make(full, "kit") == []
        assert parts.said.problem == parts.learners.problem
    assert make(full, "cautions")  # nothing else minds
    parts.learners.value = "200"
    parts.each.value = "501"
    assert parts.each.problem == "The number of pieces must be a whole number from 1 to 500; got '501'. Write one."
    parts.each.value = "500"
    assert (parts.learners.problem, parts.each.problem, len(make(full, "kit"))) == ("", "", 1)


def test_a_study_is_of_a_piece_or_of_a_stack_in_the_values_asked_for(full):
    """Learners would colour in another piece than lies before them."""
    parts = full.handouts
    full.desk.change(full.desk.session.picking("p07"), "picked")
    parts.turn()
    listed = parts.subject.options
    assert listed[0] == ["Stack A: p00, p40, p20", "stack 0"]
    assert listed[1] == ["p00: L* 12 ± 1", "swatch p00"]
    assert (len(listed), parts.subject.value) == (47, "swatch p07")  # the piece that was picked
    text = pages_of(make(full, "study")[0][2])[0][2]
    assert "Study of p07 in three values, by edges where this picture has its gaps" in " ".join(text.split())
    parts.subject.value = "stack 0"
    parts.values.value = 9
    parts.method.value = "named"
    text = pages_of(make(full, "study")[0][2])[0][2]
    assert "Study of stack A, p00, p40, p20 in nine values, by named steps" in " ".join(text.split())
    parts.values.value = 5
    assert (parts.method.value, [each for _, each in parts.method.options]) == ("natural", ["natural", "fixed"])
    parts.method.value = "fixed"
    parts.values.value = 2
    assert parts.method.value == "fixed"
    make(full, "study")
    full.desk.change(replace(full.desk.session, laying=Laying((("p01", "p02"),))), "another stack")
    assert not any(file.data for file in parts.files)  # it was of the stack before


def test_what_a_study_cannot_be_of_is_said(full):
    """The panel would print an empty page, or nothing and not say why."""
    look, session = PageLook(), full.desk.session
    with pytest.raises(InvalidInputError, match=r"^A value study is of a swatch or a stack; the pile has neither\."):
        teach_paper.documents(empty_session(), HandoutWish("study"), look)
    with pytest.raises(InvalidInputError, match=r"^A value study is drawn from the piece's picture; there is none of"):
        teach_paper.documents(session_of(coloured()[0]), HandoutWish("study", swatch="p00"), look)
    with pytest.raises(InvalidInputError, match=r"^A piece must be in the pile; 'x' is not"):
        teach_paper.documents(session, HandoutWish("study", swatch="x"), look)
    with pytest.raises(InvalidInputError, match=r"^A stack must have two layers or more; got 0"):
        teach_paper.stack_at(session, 7)
    small = replace(session, laying=Laying((("p00", "p40"),), sides=(5000.0,)))
    with pytest.raises(InvalidInputError, match=r"^Each layer must come out of its piece"):
        teach_paper.stack_at(small, 0)
    on_own = replace(session, laying=Laying((("p00", "p40"),), background=30.0))
    assert teach_paper.stack_at(on_own, 0).background.lightness == 30.0
    bare = session_of(pile(), crops())  # a table that says no sides
    assert len(teach_paper.documents(bare, HandoutWish("study", swatch="p03", method="fixed"), look)[0].pages) == 2
    assert teach_paper.subjects(empty_session()) == []
    panel = TeachPanel(Desk(empty_session()))
    panel.handouts.turn()
    for kind in ("study", "sheet"):
        assert make(panel, kind) == []
        assert panel.handouts.said.problem.endswith("."), kind


# --- heading and paper ------------------------------------------------------------------------------------------------


def test_heading_and_paper_are_one_for_both_parts_and_are_kept_with_the_project(tmp_path):
    """The teacher would write the class's name again for every page, and every week."""
    with open_catalogue(tmp_path / "pile.sqlite") as catalogue:
        catalogue.add(pile(), crops=crops(), offers=False)
    panel = open_desk(tmp_path / "pile.sqlite").teach()
    panel.handouts.turn()
    panel.heading.value = " Tuesday \t class"
    assert panel.desk.said == "The heading is Tuesday class."
    assert panel.heading.value == "Tuesday class"
    panel.paper.value = "Letter"
    assert panel.desk.said == "All is printed on Letter."
    made = make(panel, "cautions")
    panel.keep_look.press()
    assert panel.desk.said == "Heading and paper are kept with first project."
    assert panel.handouts.files[0].data == made[0][2]  # the catalogue was read again; nothing changed
    again = open_desk(tmp_path / "pile.sqlite").teach()
    assert (again.heading.value, again.paper.value) == ("Tuesday class", "Letter")
    again.heading.value = ""
    assert again.desk.said == "There is no heading."
    again.undo.press()
    assert again.heading.value == "Tuesday class"


def test_a_heading_that_is_too_long_is_said_at_its_line_and_what_was_written_stays(panel):
    """A slip of the hand would cost the teacher the whole line."""
    panel.heading.value = "x" * 121
    assert panel.heading.problem == "A heading must have 120 letters or fewer; got 121. Shorten it."
    begin(panel)
    assert (panel.heading.value, panel.desk.session.teaching.heading) == ("x" * 121, "")
    panel.heading.value = "x" * 120
    assert (panel.heading.problem, panel.desk.session.teaching.heading) == ("", "x" * 120)
    with pytest.raises(InvalidInputError, match=r"^paper must be one of A4, Letter; got 'A3'\. Pick one of these\.$"):
        teaching.on_paper(Teaching(), "A3")


# --- beside the kernel's thread ---------------------------------------------------------------------------------------


async def settle(holds):
    """Let the loop run until something holds."""
    for _ in range(2000):
        if holds():
            return
        await asyncio.sleep(0.005)
    raise AssertionError("It never came.")


def test_drawing_is_told_while_it_goes_on_and_the_exercise_answers_meanwhile(full, monkeypatch):
    """The whole class would wait for a chart, before a page that says nothing."""
    go, threads, draw = threading.Event(), [], teach_paper.draw_chart

    def slow(*wish):
        threads.append(threading.current_thread())
        assert go.wait(20)
        return draw(*wish)

    monkeypatch.setattr(teach_paper, "draw_chart", slow)

    async def lesson():
        charts = full.charts
        charts.turn()
        assert charts.said.value == (
            "Drawing: A grey scale of 5, 9 or 11 steps, the pile's own swatches under their step …"
        )
        begin(full)
        assert full.state.value == "Exercise 1: sort 6 pieces from dark to light"
        charts.kind.value = "same-hue"
        charts.kind.value = "balance"
        charts.make.press()  # of what is on its way
        go.set()
        await settle(lambda: charts.pdf.data)
        assert (charts.pdf.name, len(pages_of(charts.pdf.data))) == ("balance.pdf", 1)
        assert charts.picture.alt == draw(full.desk.session, ChartWish("balance")).description

    asyncio.run(lesson())
    assert threading.main_thread() not in threads
    assert len(threads) == 2  # what was passed over was not drawn


def test_a_chart_on_its_way_is_dropped_when_the_pile_changes_while_the_part_is_folded_away(full, monkeypatch):
    """The chart of a pile that is gone would come, or the panel stop, and the new one never be drawn."""
    go, draw = threading.Event(), teach_paper.draw_chart
    monkeypatch.setattr(teach_paper, "draw_chart", lambda *wish: go.wait(20) and draw(*wish))

    async def lesson():
        charts, (table, pictures) = full.charts, coloured()
        charts.turn()
        charts.turn()
        full.desk.change(full.desk.session.with_pile(table.iloc[:20], pictures), "fewer")
        go.set()
        charts.turn()
        await settle(lambda: charts.picture.data)
        assert charts.said.value == "Drawn from the pile: 20 pieces."
        assert charts.picture.alt == draw(full.desk.session, ChartWish()).description

    asyncio.run(lesson())


def test_a_handout_asked_for_last_is_the_one_that_comes(full):
    """A slow one would arrive after the quick one, and in its place."""

    async def lesson():
        parts = full.handouts
        parts.turn()
        parts.kind.value = "study"
        parts.make.press()
        assert parts.said.value == "Making: A value study to colour in …"
        parts.kind.value = "cautions"
        assert parts.said.value == ""
        parts.make.press()
        await settle(lambda: parts.files[0].data)
        assert parts.files[0].name == "cautions.pdf"

    asyncio.run(lesson())


def test_whatever_goes_wrong_while_something_is_made_ends_in_a_sentence(full, monkeypatch):
    """The panel would say for ever that it is at work."""

    def broken(*_, **__):
        raise ValueError("no room")

    for name in ("draw_chart", "documents"):
        monkeypatch.setattr(teach_paper, name, broken)
    full.charts.turn()
    assert full.charts.said.problem == (
        "All must go well for the chart to be made; it did not, the computer says: no room. Try another."
    )
    full.handouts.turn()
    make(full, "cautions")
    assert full.handouts.said.problem.startswith("All must go well for the handout to be made")
    monkeypatch.undo()
    full.charts.kind.value = "balance"
    monkeypatch.setattr(teach_parts, "chart_page", broken)
    full.charts.make.press()
    assert full.charts.said.problem.startswith("All must go well for the PDF to be made")


def test_what_comes_after_the_kernels_loop_has_ended_is_dropped():
    """Closing a page while it draws would end in a trace in somebody's terminal."""
    go, came, aside = threading.Event(), [], Aside("test")

    async def leave():
        aside.do(lambda: go.wait(20), came.append, what="it")

    asyncio.run(leave())
    go.set()
    aside._worker.shutdown(wait=True)
    assert came == []
