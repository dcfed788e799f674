"""The Explore panel without a page: every control's effect on the session."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from contrastkit.errors import InvalidInputError
from contrastkit.panels import exploring
from contrastkit.panels.desk import Desk
from contrastkit.panels.explore_panel import ExplorePanel
from contrastkit.panels.exploring import Exploring
from contrastkit.panels.session import empty_session, session_of
from contrastkit.panels.sorting import with_edge


def pile(**columns):
    known = {
        "swatch_id": ["red", "green", "pale red", "grey"], "lightness": [50.0, 52.0, 85.0, 30.0],
        "lightness_sigma": 1.0, "chroma": [60.0, 45.0, 20.0, 2.0], "hue_angle": [30.0, 150.0, 35.0, 90.0],
        "lightness_apparent_low": [58.0, 54.0, 86.0, 30.0], "lightness_apparent_high": [65.0, 57.0, 88.0, 30.0],
    }
    return pd.DataFrame(known | columns)


@pytest.fixture
def panel():
    crops = {name: np.full((20, 20, 4), 90, np.uint8) for name in pile()["swatch_id"]}
    return ExplorePanel(Desk(session_of(pile(), crops)))


def listed(panel):
    return [(names, words) for names, words, _ in panel.pairs.found]


def tap(panel, content):
    panel.fields._handle_custom_msg(content, [])


def test_both_fields_hold_every_piece_dark_to_light_with_words(panel):
    """A piece would be missing from a field, or say nothing to a screen reader."""
    assert [point[:4] for point in panel.fields.points] == [
        ["grey", 30.0, 90.0, 2.0], ["red", 50.0, 30.0, 60.0], ["green", 52.0, 150.0, 45.0],
        ["pale red", 85.0, 35.0, 20.0],
    ]
    assert panel.fields.points[1][4] == "red: L* 50 ± 1, medium, hue 30°, vividness 60"
    assert [field["up"] for field in panel.fields.fields] == ["hue", "chroma"]
    assert set(panel.fields.places) == set(pile()["swatch_id"])
    assert panel.state.value == "4 pieces from L* 30 to 85, in 2 hues: green, red."
    assert panel.rows.value[1] == ["red", "50 ± 1", "medium", "red", "30°", "60"]


def test_pairs_are_listed_with_what_they_show_and_how_sure_it_is(panel):
    """The list would be of something else than it says, or a guess be told as sure."""
    assert listed(panel) == [(["red", "green"], "red and green: red and green, yet surely alike in value: 2 L* apart "
                              "(± 1). A seam between them is lost.")]
    panel.listed.value = "hue"
    assert listed(panel) == [(["red", "pale red"], "red and pale red: both red, yet surely far apart in value: 35 L* "
                              "apart (± 1). A seam between them is bold.")]
    panel.listed.value = "vivid"
    assert listed(panel) == [(["red"], "red: measures L* 50, looks like 58 to 65. Beside a dull piece of its own value "
                              "it seems the lighter.")]
    assert panel.desk.said == "Listed: vivid: look lighter than they are."
    assert panel.within.layout.display == "none"
    panel.undo.press()
    assert panel.listed.value == "hue"


def test_nothing_is_sure_of_pieces_whose_uncertainty_is_unknown():
    """A table without uncertainties would be told as if it were exact."""
    unsure = pile()
    unsure.loc[1, "lightness_sigma"] = np.nan
    panel = ExplorePanel(Desk(session_of(unsure)))
    assert "yet perhaps alike in value: 2 L* apart (± ?)." in listed(panel)[0][1]


def test_an_edge_that_is_moved_elsewhere_changes_the_words(panel):
    """The fields would go on to call a piece dark that is now medium."""
    desk = panel.desk
    desk.change(replace(desk.session, sorting=with_edge(desk.session, 0, 55)), "moved")
    assert panel.fields.points[1][4] == "red: L* 50 ± 1, dark, hue 30°, vividness 60"
    assert panel.rows.value[1][2] == "dark"


def test_a_narrower_step_finds_fewer_pairs_and_says_so(panel):
    """The slide would move and nothing change."""
    panel.within._handle_custom_msg({"moved": 1.0, "settled": False, "number": 1}, [])
    assert panel.pairs.found == []
    assert panel.nothing.value == "No two pieces differ much in colour and hardly in value."
    panel.within._handle_custom_msg({"moved": 1.0, "settled": True, "number": 2}, [])
    assert (panel.desk.said, panel.desk.session.exploring.within) == ("Alike within 1 L*.", 1.0)
    panel.within.value = 3.0
    assert "yet perhaps alike in value: 2 L* apart (± 1)" in listed(panel)[0][1]


def test_picks_are_linked_and_a_pair_is_picked_at_once(panel):
    """A pick would be marked in one view and not in the other."""
    tap(panel, {"tapped": ["red", "green"]})
    assert panel.desk.session.picked == ("red", "green") == tuple(panel.fields.picked)
    assert panel.desk.said == "Picked red and green."
    tap(panel, {"tapped": ["grey"]})
    tap(panel, {"tapped": ["red", "pale red"]})
    assert panel.desk.session.picked == ("red", "green", "grey", "pale red")
    assert panel.told.value.endswith("And 1 more picked.")
    tap(panel, {"tapped": ["red", "green"]})
    assert (panel.desk.session.picked, panel.desk.said) == (("grey", "pale red"), "Let go of red and green.")
    for nonsense in ({"tapped": []}, {"tapped": [1]}, {"tapped": "red"}, "x"):
        tap(panel, nonsense)
    tap(panel, {"tapped": ["<script>"]})
    assert panel.desk.problem.startswith("A piece must be in the pile; '<script>' is not.")
    panel.drop.press()
    assert panel.desk.session.picked == ()


def test_surrounds_change_what_the_pieces_lie_on(panel):
    """Colours would be judged on another grey than was asked for."""
    panel.surround.value = "light"
    assert panel.fields.surround == "#e8e8e8"
    assert panel.desk.said == "On a light surround."


def test_piles_without_colours_or_pieces_say_what_to_do():
    """The panel would stop on a table of lightness alone."""
    plain = ExplorePanel(Desk(session_of(pile().drop(columns=["chroma", "hue_angle"]))))
    assert (plain.fields.points, plain.pairs.found) == ([], [])
    assert plain.state.value == "4 pieces from L* 30 to 85."
    assert ExplorePanel(Desk(empty_session())).state.value == "The pile is empty: photograph some pieces."


def test_a_very_large_palette_shows_a_thousand_and_says_so():
    """The page would hang."""
    count = 1100
    many = pd.DataFrame({"swatch_id": [f"p{at}" for at in range(count)], "lightness": np.linspace(5, 95, count),
                         "chroma": 30.0, "hue_angle": 40.0})
    panel = ExplorePanel(Desk(session_of(many)))
    assert len(panel.fields.points) == 1000
    assert panel.too_many.value.startswith("100 more, the lightest, are not shown")


@pytest.mark.parametrize(("call", "message"), [
    (lambda: exploring.with_list(Exploring(), "x"), r"^A list must be one of value, hue, vivid; got 'x'\. Pick one"),
    (lambda: exploring.with_within(Exploring(), 0), r"^Values are called alike within 1 to 20 L\*; got 0\. Half a"),
    (lambda: exploring.with_surround(Exploring(), "x"), r"^surround must be one of light, middle, dark; got 'x'\."),
])
def test_what_cannot_be_is_refused(call, message):
    """A view of nothing would be shown."""
    with pytest.raises(InvalidInputError, match=message):
        call()
