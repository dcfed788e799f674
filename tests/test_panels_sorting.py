"""The Sort panel without a page: every control's effect on the session."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from contrastkit.compose.grouping import Grouping
from contrastkit.errors import InvalidInputError
from contrastkit.keep.catalogue import open_catalogue
from contrastkit.keep.projects import Project, Settings
from contrastkit.light.lightness import srgb1_to_lightness
from contrastkit.panels import sorting
from contrastkit.panels.desk import Desk, open_desk
from contrastkit.panels.session import empty_session, session_of
from contrastkit.panels.sort_panel import SortPanel
from contrastkit.panels.sorting import Sorting


def table(count=12, **columns):
    lightness = np.linspace(10, 92, count)
    known = {"swatch_id": [f"p{number:02d}" for number in range(count)], "lightness": lightness, "lightness_sigma": 1.0,
             "chroma": 40.0, "hue_angle": np.linspace(0, 330, count)}
    return pd.DataFrame(known | columns)


def crops(names):
    return {name: np.full((20, 20, 4), (200, 40, 40, 255), np.uint8) for name in names}


@pytest.fixture
def panel():
    pile = table(ground=["red", "blue"] * 6, side=np.linspace(40, 110, 12), tags=["shiny; sold", ""] * 6)
    return SortPanel(Desk(session_of(pile, crops(pile["swatch_id"]))))


def edges(panel):
    return tuple(panel.desk.session.breaks.edges)


def drag(panel, place, lightness, *, settled, number):
    """What the page sends while an edge is in the hand, and when it is let go."""
    panel.strip._handle_custom_msg({"moved": [place, lightness], "settled": settled, "number": number}, [])


def names(panel):
    return [piece[0] for piece in panel.strip.pieces]


def test_the_strip_shows_every_piece_dark_to_light_with_words(panel):
    """A piece would be missing, or out of order, or say nothing to a screen reader."""
    assert names(panel) == [f"p{number:02d}" for number in range(12)]
    assert panel.strip.pieces[0][2] == "p00: L* 10 ± 1, value 1.0, dark."
    assert panel.strip.label == "12 pieces from dark to light"
    assert panel.strip.all == list(np.linspace(10, 92, 12))
    assert set(panel.strip.places) == set(names(panel))
    assert [group[0] for group in panel.strip.groups] == ["dark", "medium", "light"]
    assert panel.state.value == panel.desk.session.sorted.balance


def test_the_grey_pieces_have_the_lightness_of_the_coloured_ones(panel):
    """Grey by luma would draw a red piece at another value than it has. L* of both within what 8 bits allow."""
    colour, grey = (np.asarray(Image.open(io.BytesIO(data)).convert("RGBA"))[10, 10, :3] / 255
                    for data in (panel.strip.colour, panel.strip.grey))
    assert grey[0] == grey[1] == grey[2]
    assert float(srgb1_to_lightness(grey)) == pytest.approx(float(srgb1_to_lightness(colour)), abs=0.4)


def test_a_dragged_edge_is_one_step_that_can_be_undone(panel):
    """Every pixel of the drag would be a step, or the counts stay behind the hand."""
    for value in (41.0, 44.5, 48.0):
        drag(panel, 0, value, settled=False, number=value)
        assert edges(panel) == (value, 70.0)
        assert (panel.strip.answered, panel.strip.edges) == (value, [value, 70.0])
    drag(panel, 0, 48.0, settled=True, number=99)
    assert panel.desk.said == "Edge between dark and medium: L* 48."
    assert panel.strip.edges == [48.0, 70.0]
    assert panel.strip.pieces[5][2] == (
        "p05: L* 47 ± 1, value 4.6, dark; borderline dark/medium, about 8 in 10 that it is dark."
    )
    panel.undo.press()
    assert (edges(panel), panel.strip.edges) == ((40.0, 70.0), [40.0, 70.0])
    assert panel.strip.pieces[5][2] == "p05: L* 47 ± 1, value 4.6, medium."
    drag(panel, 0, "far", settled=True, number=3)
    for nonsense in ([], [0], [0, float("nan")], "far", None):
        panel.strip._handle_custom_msg({"moved": nonsense}, [])
    assert edges(panel) == (40.0, 70.0)
    drag(panel, 7, 50.0, settled=True, number=4)
    assert panel.desk.problem == "An edge must be one of 2; got number 8. Reload the page."


def test_edges_stop_short_of_one_another_and_of_the_ends():
    """Two edges would cross, and a group have no room."""
    session = session_of(table())
    assert sorting.with_edge(session, 0, 200).grouping.edges == (69.0, 70.0)
    assert sorting.with_edge(session, 0, -5).grouping.edges == (1.0, 70.0)
    assert sorting.with_edge(session, 1, 10).grouping.edges == (40.0, 41.0)
    with pytest.raises(InvalidInputError, match=r"^An edge must lie at L\* 0 to 100; got nan\. Move it again\.$"):
        sorting.with_edge(session, 0, float("nan"))


def test_groups_are_found_by_other_methods_and_in_other_numbers(panel):
    """The choice would change nothing, or the edges set by hand be lost without a word."""
    panel.method.value = "equal"
    assert panel.desk.session.sorting.grouping == Grouping("equal", count=3)
    assert [len(group.swatches) for group in panel.desk.session.sorted.groups] == [4, 4, 4]
    panel.count.value = 5
    assert (len(edges(panel)), panel.desk.said) == (4, "Sorted into 5 groups.")
    panel.method.value = "natural"
    assert panel.desk.session.sorting.grouping == Grouping("natural", count=5)
    drag(panel, 0, 20.0, settled=True, number=1)
    assert panel.method.value == "fixed"
    assert len(panel.strip.groups) == 5


def test_view_and_surround_change_what_is_seen_and_nothing_else(panel):
    """The pile would be sorted anew for a look at it in grey."""
    before = edges(panel)
    panel.view.value = "grey"
    assert (panel.strip.view, panel.desk.said) == ("grey", "In true grey.")
    panel.surround.value = "dark"
    assert (panel.strip.surround, panel.strip.ink) == ("#262626", "#ffffff")
    assert edges(panel) == before


def test_every_filter_narrows_what_is_in_view_but_not_the_groups(panel):
    """Counts would change with what is looked at, or a filter find other pieces."""
    panel.filters["ground"].value = "red"
    assert names(panel) == [f"p{number:02d}" for number in range(0, 12, 2)]
    assert len(panel.strip.all) == 12
    panel.filters["least_side"].value = "3 in"
    assert names(panel) == ["p06", "p08", "p10"]
    assert panel.desk.said == "3 of 12 pieces in view."
    panel.filters["hue"].value = "blue"
    assert names(panel) == ["p08"]
    panel.all.press()
    assert (len(names(panel)), panel.filters["least_side"].value) == (12, "")
    panel.filters["tag"].value = "sold"
    assert len(names(panel)) == 6
    panel.undo.press()
    panel.undo.press()
    assert (len(names(panel)), panel.filters["least_side"].value) == (1, "76.2 mm")  # as it was before


def test_filters_are_offered_for_what_the_table_knows():
    """A choice would find nothing, whatever is chosen."""
    plain = SortPanel(Desk(session_of(table().drop(columns=["chroma", "hue_angle"]))))
    assert {name for name, field in plain.filters.items() if field.layout.display != "none"} == set()
    stated = SortPanel(Desk(session_of(table(state=["at hand"] * 9 + ["set aside"] * 3, side=50.0))))
    shown = {name for name, field in stated.filters.items() if field.layout.display != "none"}
    assert shown == {"state", "least_side", "hue"}
    assert stated.filters["state"].options == [["any", ""], ["at hand", "at hand"], ["set aside", "set aside"]]
    stated.filters["state"].value = "set aside"
    assert names(stated) == ["p09", "p10", "p11"]


def test_what_is_not_in_view_is_said():
    """Somebody would take the pieces in view for the whole pile, or miss one that could not be measured."""
    pile = table(ground=["red", "blue"] * 6)
    pile.loc[3, "lightness"] = np.nan
    panel = SortPanel(Desk(session_of(pile)))
    assert panel.in_view.value == "Of unknown lightness, and so without a place here: 1. Measure again."
    assert sorting.piece_sentence(panel.desk.session, panel.desk.session.piece("p03")) == (
        "p03: lightness unknown; measure it again."
    )
    panel.filters["ground"].value = "blue"
    assert panel.in_view.value.startswith("5 of 11 pieces are in view; the counts are those of all 11.")


def test_too_few_pieces_for_groups_of_their_own_are_told():
    """Edges would be shown as found in the pile that were not."""
    pile = table(2)
    panel = SortPanel(Desk(session_of(pile)))
    panel.method.value = "natural"
    assert panel.verdict.value == "Too few different values to find 3 groups among them: even edges are used."
    assert edges(panel) == (40.0, 70.0)


def test_a_filter_that_cannot_be_is_told_beside_its_field(panel):
    """The pieces in view would not be those asked for."""
    panel.filters["least_side"].value = "three"
    assert "three" in panel.filters["least_side"].problem
    assert len(names(panel)) == 12
    panel.filters["least_side"].value = "80 mm"
    assert panel.filters["least_side"].problem == ""
    for name, word, message in (("hue", "mauve", "A hue must be"), ("state", "gone", "A state must be")):
        with pytest.raises(InvalidInputError, match=message):
            sorting.with_shown(panel.desk.session, name, word)
    for call, message in ((lambda: sorting.with_view(Sorting(), "x"), r"^A view must be one of colour, grey; got 'x'"),
                          (lambda: sorting.with_surround(Sorting(), "x"), r"^surround must be one of light, middle,")):
        with pytest.raises(InvalidInputError, match=message):
            call()


def test_words_are_asked_of_the_catalogue(tmp_path):
    """Her own words would find nothing, or stay when the field is emptied."""
    with open_catalogue(tmp_path / "pile.sqlite") as pile:
        pile.add(table(), crops=crops(["p00"]), offers=False)
        pile.tag(["p03", "p04"], add=["shiny"])
    panel = open_desk(tmp_path / "pile.sqlite").sort()
    panel.filters["words"].value = "tag=shiny"
    assert names(panel) == ["p03", "p04"]
    panel.filters["words"].value = "tag>>"
    assert panel.filters["words"].problem
    assert names(panel) == ["p03", "p04"]
    panel.filters["words"].value = ""
    assert len(names(panel)) == 12
    panel.keep.press()
    assert panel.desk.said == "Edges at L* 40, 70 are kept with first project."
    drag(panel, 1, 75.5, settled=True, number=1)
    panel.keep.press()
    again = open_desk(tmp_path / "pile.sqlite").sort()
    assert again.strip.edges == [40.0, 75.5]


def test_words_for_groups_mean_the_groups_in_view(tmp_path):
    """“Dark” would find what is dark by other edges than those on the strip, or stay when an edge is moved."""
    with open_catalogue(tmp_path / "pile.sqlite") as pile:
        pile.add(table(), crops={}, offers=False)
    panel = open_desk(tmp_path / "pile.sqlite").sort()
    panel.filters["words"].value = "dark"
    assert names(panel) == [f"p{number:02d}" for number in range(5)]
    drag(panel, 0, 60.0, settled=True, number=1)
    assert names(panel) == [f"p{number:02d}" for number in range(7)]
    panel.all.press()
    panel.undo.press()
    assert (len(names(panel)), panel.filters["words"].value) == (7, "dark")
    panel.filters["words"].value = "tag=shinny"
    assert panel.desk.said == "0 of 12 pieces in view."
    assert panel.filters["words"].problem.startswith("No piece has tag 'shinny'")


def test_taps_pick_pieces_and_say_what_they_are(panel):
    """A tap would do nothing, or a page could pick what is not there."""
    panel.strip._handle_custom_msg({"tapped": "p03"}, [])
    panel.strip._handle_custom_msg({"tapped": "p05"}, [])
    panel.strip._handle_custom_msg({"tapped": "p03"}, [])
    assert (panel.desk.session.picked, panel.desk.said) == (("p05",), "Let go of p03.")
    assert panel.told.value.startswith("p05: L* 47 ± 1")
    panel.strip._handle_custom_msg({"tapped": "<img>"}, [])
    assert panel.desk.problem.startswith("A piece must be in the pile; '<img>' is not.")
    panel.strip._handle_custom_msg({"tapped": 5}, [])
    panel.strip._handle_custom_msg("nonsense", [])
    panel.drop.press()
    assert (panel.desk.session.picked, panel.drop.disabled) == ((), True)
    for name in ("p00", "p01", "p02", "p03"):
        panel.strip._handle_custom_msg({"tapped": name}, [])
    assert panel.told.value.endswith("And 1 more picked.")


def test_borderline_pieces_and_pieces_to_check_say_so():
    """Somebody would trust a group that is a guess."""
    pile = table(4, flags=["glare", "", "", ""])
    pile.loc[1, ["lightness", "lightness_sigma"]] = [41.0, 3.0]
    session = session_of(pile)
    assert "check: glare" in sorting.piece_sentence(session, session.piece("p00"))
    doubtful = sorting.piece_sentence(session, session.piece("p01"))
    assert "; borderline dark/medium, about 6 in 10 that it is medium" in doubtful
    assert SortPanel(Desk(session)).strip.pieces[1][3] is True


def test_an_empty_pile_and_a_very_large_one_say_what_to_do():
    """The panel would stop, or the page hang on thousands of pieces."""
    empty = SortPanel(Desk(empty_session()))
    assert empty.state.value == "The pile is empty: photograph some pieces."
    large = SortPanel(Desk(session_of(table(700))))
    assert len(large.strip.pieces) == 600
    assert large.in_view.value == "100 more are not shown: ask for fewer under “Show only some”."
    assert large.strip.places == {}
    assert large.strip.greys[0].startswith("#")


def test_a_project_gives_its_edges_back_and_odd_ones_are_left_out():
    """A sorted pile would be sorted otherwise when new pieces arrive, or an odd project stop the desk."""
    session = session_of(table())
    kept = Project("wall", Settings(edges=(33.0, 66.0), method="natural"))
    assert Sorting.from_plain({}, session, kept).grouping == Grouping(edges=(33.0, 66.0))
    strange = replace(kept)
    object.__setattr__(strange, "settings", type("Odd", (), {"edges": ("x",)})())
    assert Sorting.from_plain({}, session, strange) == Sorting()
    assert Sorting(Grouping("equal", count=4)).to_plain() == {"method": "equal", "edges": None, "count": 4}
