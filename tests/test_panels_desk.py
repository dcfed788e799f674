"""The desk that all panels share: what is done on it is told, kept and taken back."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from contrastkit.compose.grouping import Grouping
from contrastkit.errors import InvalidInputError
from contrastkit.keep.catalogue import open_catalogue
from contrastkit.keep.tables import write_table
from contrastkit.panels.desk import open_desk
from contrastkit.panels.panel import Panel
from contrastkit.panels.session import CatalogueCrops, empty_session, fetch_crops, session_of


def table(**lightness):
    return pd.DataFrame({"swatch_id": list(lightness), "lightness": [float(each) for each in lightness.values()]})


@pytest.fixture
def place(tmp_path):
    """A catalogue of three pieces, one of which is used."""
    where = tmp_path / "pile.sqlite"
    with open_catalogue(where) as pile:
        pile.add(table(a=20, b=50, c=80), crops={})
        pile.use("c")
    return where


def test_a_session_knows_its_pieces_in_their_groups_dark_to_light():
    """Panels would show pieces in another order, or groups other than those of the Sort panel."""
    session = session_of(table(light=80, dark=20, middle=50))
    assert [(piece.swatch_id, piece.group) for piece in session.pieces] == [
        ("dark", "dark"), ("middle", "medium"), ("light", "light")
    ]
    assert session.piece("dark").lightness == 20
    with pytest.raises(InvalidInputError, match=r"^A piece must be in the pile; 'x' is not\. Keep its photograph"):
        session.piece("x")


def test_a_pile_too_small_for_natural_groups_is_sorted_in_fixed_ones():
    """An almost empty pile would stop every panel."""
    session = session_of(table(a=20))
    natural = replace(session, sorting=replace(session.sorting, grouping=Grouping("natural")))
    assert natural.breaks.edges == session.breaks.edges
    assert empty_session().pieces == ()


def test_picks_come_and_go_in_order_and_only_in_the_pile():
    """A pick would be lost, or one of a piece that is gone would stay."""
    session = session_of(table(a=20, b=50)).picking("b").picking("a")
    assert session.picked == ("b", "a")
    assert session.picking("b").picked == ("a",)
    assert session.with_pile(table(b=50), {}).picked == ("b",)
    with pytest.raises(InvalidInputError, match="A piece must be in the pile; 'z' is not"):
        session.picking("z")


def test_every_step_is_told_and_can_be_taken_back_and_done_again():
    """A step would be lost, or a drag would be a step at every pixel."""
    desk = open_desk(table(a=20, b=50))
    first, heard = desk.session, []
    desk.watch(lambda new, old: heard.append((new.picked, old.picked)))
    desk.change(first.picking("a"), "Picked a.")
    desk.show(desk.session.picking("b"))
    desk.show(desk.session.picking("a"))
    desk.change(desk.session, "Picked b alone.")
    assert (desk.said, desk.to_undo, desk.to_redo) == ("Picked b alone.", "Picked b alone.", "")
    assert heard == [(("a",), ()), (("a", "b"), ("a",)), (("b",), ("a", "b")), (("b",), ("b",))]
    desk.undo()
    assert (desk.session.picked, desk.said) == (("a",), "Undone: Picked b alone.")
    desk.undo()
    assert desk.session is first
    desk.undo()
    assert desk.said == "There is nothing to undo."
    desk.redo()
    desk.redo()
    assert desk.session.picked == ("b",)
    desk.redo()
    assert desk.said == "There is nothing to do again."
    desk.undo()
    desk.change(first, "Something else.")
    assert desk.to_redo == ""


def test_what_cannot_be_done_is_said_and_nothing_has_changed():
    """An error in a panel would be a page of code, or half of a change would stay."""
    desk = open_desk(table(a=20, b=50))
    desk.show(desk.session.picking("a"))
    desk.attempt(lambda: desk.session.picking("z"))()
    assert desk.problem == "A piece must be in the pile; 'z' is not. Keep its photograph first."
    assert (desk.said, desk.session.picked) == ("", ())
    desk.attempt(lambda name: desk.change(desk.session.picking(name), "Picked."))("a")
    assert (desk.said, desk.problem, desk.session.picked) == ("Picked.", "", ("a",))


def test_a_desk_on_a_catalogue_shows_what_is_at_hand_and_keeps_as_one_step(place):
    """What is used would be offered; an undo on the desk would leave the catalogue as it was, or undo half of it."""
    desk = open_desk(place, who="me")
    assert list(desk.session.table["swatch_id"]) == ["a", "b"]
    desk.keep("Set a aside, and b.", lambda pile: pile.set_aside("a", "x"), lambda pile: pile.set_aside("b", "y"))
    assert list(desk.session.table["state"]) == ["set aside", "set aside"]
    desk.undo()
    assert list(desk.session.table["state"]) == ["at hand", "at hand"]
    assert list(desk.catalogue.table()["state"]) == ["at hand", "at hand", "used"]
    desk.redo()
    assert list(desk.catalogue.table("-state=used")["state"]) == ["set aside", "set aside"]
    desk.undo()
    assert list(desk.session.table["state"]) == ["at hand", "at hand"]
    desk.close()


def test_several_steps_in_the_catalogue_are_undone_and_done_again_one_by_one(place):
    """Only the last thing that was kept could be taken back: the undo itself would count as somebody's action."""
    desk = open_desk(place)
    for name in ("a", "b"):
        desk.keep(f"Set {name} aside.", lambda pile, name=name: pile.set_aside(name, "x"))
    desk.keep_project()
    states = lambda: list(desk.catalogue.table("-state=used")["state"])  # noqa: E731
    for _ in range(2):
        for expected in (["set aside", "set aside"], ["set aside", "at hand"], ["at hand", "at hand"]):
            desk.undo()
            assert (desk.problem, states()) == ("", expected)
        for expected in (["set aside", "at hand"], ["set aside", "set aside"], ["set aside", "set aside"]):
            desk.redo()
            assert (desk.problem, states()) == ("", expected)


def test_half_of_a_step_that_fails_is_taken_back(place):
    """The first piece would stay set aside although the sentence says that it could not be done."""
    desk = open_desk(place)
    desk.attempt(desk.keep)("Both.", lambda pile: pile.set_aside("a", "x"), lambda pile: pile.set_aside("nobody", "x"))
    assert "nobody" in desk.problem
    assert list(desk.catalogue.table("-state=used")["state"]) == ["at hand", "at hand"]


def test_undo_does_not_take_back_what_somebody_else_has_done_since(place):
    """The last action of the catalogue would be undone, whoever did it."""
    desk = open_desk(place)
    desk.keep("Lost a.", lambda pile: pile.lose("a"))
    with open_catalogue(place, who="another") as pile:
        pile.note("b", "mine")
    desk.attempt(desk.undo)()
    assert desk.problem.startswith("Nothing may have been done to the catalogue since; another has: Note on b.")
    assert desk.problem.endswith("Undo that first, on the desk or with `contrastkit pile undo`.")
    with open_catalogue(place) as pile:
        assert pile.show("b").note == "mine"


def test_nothing_is_done_again_over_what_somebody_else_has_done_since(place):
    """Their note would be undone, or a redo of something else be taken for ours."""
    desk = open_desk(place)
    desk.keep("Lost a.", lambda pile: pile.lose("a"))
    desk.undo()
    with open_catalogue(place, who="another") as pile:
        pile.note("b", "mine")
    desk.attempt(desk.redo)()
    assert desk.problem.startswith("Nothing may have been done to the catalogue since")


def test_a_project_is_found_again_with_its_edges(place):
    """Edges that were moved would be back at 40 and 70 when the page is opened anew."""
    desk = open_desk(place, project="wall")
    moved = replace(desk.session, sorting=replace(desk.session.sorting, grouping=Grouping(edges=(30, 60))))
    desk.keep_project(session=moved)
    assert desk.said == "Kept with wall."
    desk.close()
    again = open_desk(place, project="wall")
    assert again.session.breaks.edges == (30, 60)
    assert open_desk(place, project="another").session.breaks.edges == (40, 70)


def test_a_desk_about_a_file_says_that_it_cannot_keep(tmp_path):
    """What was said to be kept would be gone."""
    write_table(table(a=20, b=50), tmp_path / "pile.csv")
    desk = open_desk(tmp_path / "pile.csv")
    desk.attempt(desk.keep_project)()
    assert desk.problem == (
        "Keeping needs a catalogue; this desk is about a table in a file. Open it with contrastkit.open_desk()."
    )
    desk.reload()
    desk.close()
    assert desk.session.where.endswith("pile.csv")


def test_pictures_are_read_from_the_catalogue_when_they_are_asked_for(place):
    """Opening a large pile would read every picture, or a piece without one would stop a panel."""
    asked = []

    class Counting:
        def crops(self, names):
            asked.append(list(names))
            return {name: name.upper() for name in names if name != "none"}

    crops = CatalogueCrops(Counting(), ["a", "b", "none"])
    assert (crops["a"], "none" in crops, "x" in crops) == ("A", False, False)
    assert fetch_crops(crops, ["a", "b", "none", "x"]) == {"a": "A", "b": "B"}
    assert (asked, dict(crops), len(crops)) == ([["a"], ["none"], ["b"]], {"a": "A", "b": "B"}, 2)
    assert fetch_crops({"a": 1}, ["a", "b"]) == {"a": 1}


def test_a_panel_says_what_was_done_and_offers_to_take_it_back():
    """The foot of a panel would not follow the desk."""
    desk = open_desk(table(a=20, b=50))
    panel = Panel(desk)
    assert (panel.undo.disabled, panel.redo.disabled) == (True, True)
    desk.change(desk.session.picking("a"), "Picked a.")
    assert (panel.said.value, panel.undo.disabled, panel.undo.hint) == ("Picked a.", False, "Picked a.")
    panel.undo.press()
    assert (desk.session.picked, panel.said.value, panel.redo.disabled) == ((), "Undone: Picked a.", False)
    panel.redo.press()
    desk.say("That was wrong.", problem=True)
    assert (panel.said.value, panel.said.problem) == ("", "That was wrong.")


def test_a_step_that_leaves_the_pile_as_it_is_does_not_sort_it_again():
    """Every tap would cost the sorting of the whole pile; or another pile be shown in the groups of the last."""
    session = session_of(table(a=20, b=50))
    picked = session.picking("a")
    assert picked.pieces is session.pieces
    moved = replace(session, sorting=replace(session.sorting, grouping=Grouping(edges=(10, 60))))
    assert [piece.group for piece in moved.pieces] == ["medium", "medium"]
    assert [piece.group for piece in session.pieces] == ["dark", "medium"]
    assert [piece.swatch_id for piece in picked.with_pile(table(c=70), {}).pieces] == ["c"]
