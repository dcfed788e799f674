"""Projects: their stacks use up pieces, and a pile that was sorted stays sorted when new pieces come in."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from catalogues import everything, rows

from contrastkit.compose.choosing import choose_stacks
from contrastkit.compose.grouping import Grouping, sort_pile
from contrastkit.compose.seams import Surface
from contrastkit.compose.stacks import Stack
from contrastkit.errors import CatalogueError, InvalidInputError
from contrastkit.keep.catalogue import open_catalogue
from contrastkit.keep.projects import FUSED, UNDER_WAY, Project, Settings, settings_of, told

pytest_plugins = ["postgres"]

NAMES = tuple("abcdefghijkl")


def table(names=NAMES, *, sigma=1.0):
    """Pieces of which every one is a bit lighter than the one before, in three clumps."""
    lightness = [20 + 5 * n + (15 if n > 3 else 0) + (15 if n > 7 else 0) - 20 for n in range(1, len(names) + 1)]
    return pd.DataFrame({"swatch_id": names, "lightness": np.clip(lightness, 1, 99), "lightness_sigma": sigma})


@pytest.fixture
def pile(where):
    with open_catalogue(where, who="me") as opened:
        opened.add(table())
        yield opened


def states(pile):
    return dict(pile.table(sort="name")[["swatch_id", "state"]].values.tolist())


# --- settings ---------------------------------------------------------------------------------------------------------


def test_a_project_comes_back_as_it_was_saved(pile):
    """A setting would be lost between two evenings."""
    kept = Project("Evening wall", Settings(
        edges=(31.5, 52.25), groups=("low", "middle", "high"), method="natural", edge_sigma=(0.5, 1.5),
        background_lightness=22.0, background="slate linen", rim=1.5875, gap=6.35, more={"order": ["a", 1, None]},
    ), note="for the hall\n🌿")  # fmt: skip
    assert pile.save_project(kept) == "Save project Evening wall."
    assert pile.project("Evening wall") == kept
    assert pile.projects() == ["Evening wall"]
    assert pile.save_project(kept) == "Nothing to change: Save project Evening wall."
    changed = replace(kept, note="")
    pile.save_project(changed)
    assert pile.project("Evening wall") == changed
    assert pile.undo() == ["Save project Evening wall"]
    assert pile.project("Evening wall") == kept


def test_a_sorted_pile_stays_sorted_the_same_way(pile):
    """New pieces would move the edges, and half of the sorted boxes would be wrong."""
    grouping = Grouping(method="natural")
    before = sort_pile(pile.table(), grouping)
    pile.save_project(Project("Evening wall", settings_of(before, grouping, rim=1.5)))
    of = dict(zip(before.table["swatch_id"], before.table["group"], strict=True))
    new = [f"new {n}" for n in range(20)]
    pile.add(pd.DataFrame({"swatch_id": new, "lightness": np.linspace(26, 59, 20), "lightness_sigma": 1.0}))
    assert sort_pile(pile.table(), grouping).breaks != before.breaks  # the edges found anew would be others
    after = pile.sorted("Evening wall")
    assert after.breaks == before.breaks
    assert after.edge_sigma == before.edge_sigma
    same = after.table[after.table["swatch_id"].isin(of)]
    assert dict(zip(same["swatch_id"], same["group"], strict=True)) == of
    columns = ["swatch_id", "group", "group_probability", "borderline"]
    pd.testing.assert_frame_equal(
        same[columns].sort_values("swatch_id", ignore_index=True),
        before.table[columns].sort_values("swatch_id", ignore_index=True),
    )
    assert set(after.table.loc[after.table["swatch_id"].isin(new), "group"]) == {"medium"}


def test_lists_are_by_the_groups_of_the_project(pile):
    """The list would call a piece medium, and the project's boxes would call it high."""
    pile.save_project(Project("Wall", Settings(edges=(30.0,), groups=("low", "high"))))
    low = pile.names("low", project="Wall")
    assert low == [name for name, value in zip(table()["swatch_id"], table()["lightness"], strict=True) if value <= 30]
    assert sorted([*low, *pile.names("high", project="Wall")]) == sorted(NAMES)
    assert set(pile.table("low", project="Wall")["group"]) == {"low"}
    assert set(pile.page("high", project="Wall").table["group"]) == {"high"}
    assert [group.name for group in pile.sorted("Wall", "lightness>10").groups] == ["low", "high"]
    with pytest.raises(InvalidInputError, match="There is no project 'Wal'; the nearest is 'Wall'"):
        pile.table(project="Wal")


@pytest.mark.parametrize(("settings", "message"), [
    ({"edges": (70.0, 40.0)}, "Edges between groups must increase"),
    ({"edges": (40.0,)}, "one more than edges|one more name|There must be one name more"),
    ({"method": "by eye"}, "Groups must be fixed, natural, equal; got 'by eye'"),
    ({"edge_sigma": (1.0,)}, "There must be one standard uncertainty for each edge; got 1 for 2 edges"),
    ({"rim": -1.0}, "rim must be 0 or more; got -1.0"),
    ({"background_lightness": math.nan}, "background_lightness must be 0 or more; got nan"),
    ({"background": "a\nb"}, "The background must be one line"),
])  # fmt: skip
def test_settings_that_cannot_be_are_refused(settings, message):
    """A pile would be sorted by edges that run backwards."""
    with pytest.raises(InvalidInputError, match=message):
        Settings(**settings)


def test_what_is_no_plain_value_cannot_be_kept(pile):
    """The settings would be lost when the catalogue is read by another program."""
    for value in (object(), math.inf):
        with pytest.raises(InvalidInputError, match="Settings of a project must be plain values"):
            pile.save_project(Project("Wall", Settings(more={"x": value})))
    assert pile.projects() == []


def test_settings_of_a_later_version_are_kept(pile):
    """Whoever opens the catalogue with an older program would lose what a newer one keeps."""
    pile.save_project(Project("Wall"))
    (row,) = rows(pile.store, "projects")
    with pile.store.writing("A newer program") as action:
        action.update("projects", row["project"], {"settings": '{"edges": [30, 60], "lamp": "warm"}'})
    kept = pile.project("Wall")
    assert kept.settings == Settings(edges=(30, 60), more={"lamp": "warm"})
    pile.save_project(kept)
    assert pile.project("Wall").settings.more == {"lamp": "warm"}


@pytest.mark.parametrize("spoilt", ["no JSON", "[]", '{"edges": 7}', '{"edges": [70, 40]}'])
def test_spoilt_settings_are_named(pile, spoilt):
    """A damaged catalogue would end in a traceback."""
    pile.save_project(Project("Wall"))
    (row,) = rows(pile.store, "projects")
    with pile.store.writing("Spoil it") as action:
        action.update("projects", row["project"], {"settings": spoilt})
    with pytest.raises(CatalogueError, match="The settings of project 'Wall' must be whole"):
        pile.project("Wall")


# --- stacks -----------------------------------------------------------------------------------------------------------


def test_stacks_set_their_pieces_aside_and_fusing_uses_them(pile):
    """A piece that is fused would be found in the drawer, in the list at least."""
    assert pile.set_aside_stacks("Wall", [["a", "e", "i"], ["b", "f"]]) == "Set aside 2 stacks for Wall."
    project = pile.project("Wall")
    assert project.stacks == (("a", "e", "i"), ("b", "f"))
    assert (project.set_aside, project.used, project.state) == (("a", "b", "e", "f", "i"), (), UNDER_WAY)
    assert pile.fuse("Wall") == "Fuse the stacks of Wall: 5 pieces: a, e, i, b and 1 more."
    project = pile.project("Wall")
    assert (project.set_aside, project.used, project.state) == ((), ("a", "b", "e", "f", "i"), FUSED)
    assert {name for name, state in states(pile).items() if state == "used"} == {"a", "b", "e", "f", "i"}
    assert pile.undo() == ["Fuse the stacks of Wall: 5 pieces: a, e, i, b and 1 more"]
    assert pile.project("Wall").state == UNDER_WAY
    assert told(pile.project("Wall"))[0] == "Wall: under way, 2 stacks, 5 pieces set aside, 0 used."
    assert pile.check() == []


def test_the_same_stacks_once_more_change_nothing(pile):
    """A plan that is run twice would fill the list of actions, or refuse its own pieces."""
    pile.set_aside_stacks("Wall", [["a", "e"], ["b", "f"]])
    before = everything(pile.store)
    assert pile.set_aside_stacks("Wall", [["a", "e"], ["b", "f"]]) == "Nothing to change: Set aside 2 stacks for Wall."
    assert everything(pile.store) == before


def test_other_stacks_take_the_place_of_those_before(pile):
    """Pieces of a plan that was changed would stay set aside for ever."""
    pile.set_aside("l", "Wall")
    pile.set_aside_stacks("Wall", [["a", "e"], ["b", "f"]])
    pile.set_aside_stacks("Wall", [["e", "i"], ["c", "g"]])
    assert pile.project("Wall").stacks == (("e", "i"), ("c", "g"))
    assert pile.project("Wall").set_aside == ("c", "e", "g", "i", "l")
    assert states(pile)["a"] == states(pile)["b"] == "at hand"
    pile.set_aside_stacks("Wall", [])
    assert pile.project("Wall").stacks == ()
    assert pile.project("Wall").set_aside == ("l",)
    pile.undo(4)
    assert set(states(pile).values()) == {"at hand"}


def test_stacks_that_are_fused_stay(pile):
    """What hangs on the wall would vanish from the record."""
    pile.set_aside_stacks("Wall", [["a", "e"]])
    pile.fuse("Wall")
    pile.set_aside_stacks("Wall", [["b", "f"], ["c", "g"]])
    assert pile.project("Wall").stacks == (("a", "e"), ("b", "f"), ("c", "g"))
    assert pile.fuse("Wall") == "Fuse the stacks of Wall: 4 pieces: b, f, c, g."
    assert pile.show("c").stacks == (("Wall", 3, 1),)


def test_stacks_may_be_chosen_or_judged(pile):
    """What the program chose itself could not be set aside."""
    choice = choose_stacks(pile.table(), layers=3, blocks=2)
    pile.set_aside_stacks("Chosen", choice.stacks)
    assert pile.project("Chosen").stacks == tuple(stack.layers for stack in choice.stacks)
    pile.set_aside_stacks("Chosen", [])
    pile.set_aside_stacks("Judged", [Stack((Surface("a", 20), Surface("e", 60)))])
    assert pile.project("Judged").stacks == (("a", "e"),)


@pytest.mark.parametrize(("attempt", "message"), [
    (lambda p: p.set_aside_stacks("Wall", [["a", "e"], ["e", "i"]]), "one stack only, once; 'e' is named twice"),
    (lambda p: p.set_aside_stacks("Wall", [["a", "z"]]), "There is no piece 'z'"),
    (lambda p: p.set_aside_stacks("Wall", ["ae"]), "A stack must be a list of pieces; got 'ae' alone"),
    (lambda p: p.set_aside_stacks("Wall", [[]]), "Pieces must be named by their names; got none"),
    (lambda p: p.set_aside_stacks("Wall", [["a", "k"]]), "A piece can be used once; 'k' was used"),
    (lambda p: p.set_aside_stacks("Wall", [["a", "l"]]), "A piece must be at hand; 'l' is lost"),
    (lambda p: p.set_aside_stacks("Wall", [["a", "j"]]), "set aside for one project; 'j' is for 'Other'"),
    (lambda p: p.set_aside_stacks("Othr", [["a"]]), "There is no project 'Othr'; the nearest is 'Other'"),
    (lambda p: p.set_aside_stacks("", [["a"]]), "A project must have a name"),
    (lambda p: p.fuse("Wall"), "There is no project 'Wall'"),
    (lambda p: p.fuse("Other"), "Only stacks can be fused; project 'Other' has none"),
    (lambda p: p.save_project(Project("a\nb")), "A project must be named on one line"),
    (lambda p: p.same("i", "a"), "must be at hand; 'i' is in a stack"),
])  # fmt: skip
def test_what_cannot_be_is_said_and_nothing_is_changed(pile, attempt, message):
    """A piece would be promised to two blocks."""
    pile.set_aside("j", "Other")
    pile.use("k")
    pile.lose("l")
    pile.set_aside_stacks("Quiet one", [["h", "i"]])
    before = everything(pile.store)
    with pytest.raises(InvalidInputError, match=message):
        attempt(pile)
    assert everything(pile.store) == before


def test_a_stack_with_a_lost_piece_is_not_fused(pile):
    """A block would be recorded that cannot have been made."""
    pile.set_aside_stacks("Wall", [["a", "e"]])
    pile.lose("e")
    with pytest.raises(InvalidInputError, match="A piece must be at hand; 'e' is lost. Find it again"):
        pile.fuse("Wall")
    pile.find_again("e")
    pile.fuse("Wall")
    with pytest.raises(InvalidInputError, match="The stacks of project 'Wall' are fused already"):
        pile.fuse("Wall")


def test_a_piece_that_was_released_is_still_in_its_stack_until_that_is_fused(pile):
    """Another project would take a piece that a stack still names, and fusing would take it back."""
    pile.set_aside_stacks("Wall", [["a", "e"]])
    pile.release("a")
    pile.set_aside("a", "Other")
    with pytest.raises(InvalidInputError, match="'a' is for 'Other'"):
        pile.fuse("Wall")
    pile.use("a", "Other")
    with pytest.raises(InvalidInputError, match="'a' was used for 'Other'"):
        pile.fuse("Wall")
