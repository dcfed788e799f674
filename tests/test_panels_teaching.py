"""The Teach panel without a page: every control's effect on the session."""

from __future__ import annotations

import datetime

import numpy as np
import pandas as pd
import pytest

from contrastkit.compose.exercise import Exercise
from contrastkit.errors import InvalidInputError
from contrastkit.keep.catalogue import open_catalogue
from contrastkit.keep.projects import Project
from contrastkit.panels import teaching
from contrastkit.panels.desk import Desk, open_desk
from contrastkit.panels.session import empty_session, session_of
from contrastkit.panels.teach_panel import TeachPanel
from contrastkit.panels.teaching import Teaching

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
    assert panel.class_words.value.startswith("1 of 2 learners have every piece in order.")
    weeks = [row[:3] for row in panel.weeks.value]
    assert weeks == [["Finch", "2026-11-25", "5 of 6"], ["Jay", "2026-11-25", "6 of 6"]]


def test_sheets_key_and_results_are_printed_as_pdf(panel):
    """A teacher would stand before the class without paper."""
    panel.print.press()
    assert panel.desk.problem == "Sheets are printed of an exercise; none is under way. Begin one first."
    begin(panel)
    panel.paper.value = "Letter"
    panel.print.press()
    assert [file.data[:5] for file in panel.files.values()] == [b"%PDF-", b"%PDF-", b""]
    assert panel.files["sheets"].name == "exercise-1-sheets.pdf"
    panel.learner.value = "Jay"
    panel.give_in.press()
    assert panel.files["sheets"].data == b""  # what was printed before is out of date
    panel.print.press()
    assert panel.files["results"].data[:5] == b"%PDF-"


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
