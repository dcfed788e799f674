"""The catalogue as people use it: pieces come in, are found, described, set aside, used, lost; nothing is doubled."""

from __future__ import annotations

import math
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from catalogues import everything, rows
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from contrastkit.camera.pipeline import measure_photo
from contrastkit.columns import DETAILS, SWATCHES, check_table
from contrastkit.errors import InvalidInputError, UnreadablePhotoError
from contrastkit.keep import adding, drift
from contrastkit.keep.catalogue import open_catalogue
from contrastkit.keep.schema import STATES
from contrastkit.show.study import piece_crops

pytest_plugins = ["postgres"]

PHOTO = Path(__file__).parents[1] / "data" / "thistlewick" / "photos" / "morning-card.jpg"
HOSTILE = (
    "'; DROP TABLE swatches; --", '<script>alert("x")</script>', "../../etc/passwd", "C:\\x\\..\\y", "=1+1", "@cmd",
    "🌿🧵" * 20, "שלום \u202egnp.exe", "nul \0 and \x1a and \x1a0000", "half \ud800 pair", "%s %(x)s {x} %",
    "\t tab", "\x1b[2J",
)  # fmt: skip


@pytest.fixture
def pile(where):
    with open_catalogue(where, who="me") as opened:
        yield opened


@pytest.fixture(scope="module")
def photographed():
    """The demo photograph measured, and its crops."""
    result = measure_photo(PHOTO)
    return result, piece_crops(result)


def table(*names, **columns):
    """A swatch table of these pieces, a bit lighter one after the other."""
    lightness = [20.0 + 10 * n for n in range(len(names))]
    return pd.DataFrame({"swatch_id": names, "lightness": lightness, "lightness_sigma": 1.0, **columns})


def taken(result, when):
    """The photograph as if it had been taken then."""
    return replace(result, photo=replace(result.photo, taken=when))


def shifted(result, name, by, when):
    """The photograph as if taken then under that name, its pieces a bit lighter or darker."""
    later = taken(result, when)
    return replace(
        later, photo=replace(later.photo, name=name, codes=np.ascontiguousarray(later.photo.codes[::-1])),
        table=result.table.assign(lightness=result.table["lightness"] + by),
    )  # fmt: skip


def few(result):
    """The photograph with five of its pieces, so that comparing them does not take long."""
    return replace(result, table=result.table.iloc[:5])


def state_of(pile, name):
    return pile.show(name).state


# --- pieces come in ---------------------------------------------------------------------------------------------------


def test_a_photograph_brings_its_pieces_with_all_that_was_measured(pile, photographed):
    """A number would be lost on its way into the catalogue."""
    result, crops = photographed
    added = pile.add(result, path=PHOTO, crops=crops, surface="wet", measured_by="ann", ground="madder cotton")
    assert list(added.new) == result.table["swatch_id"].tolist()
    back = pile.table().set_index("swatch_id").loc[list(added.new)].reset_index()
    for column in SWATCHES:
        if column.name not in ("group", "group_probability", "borderline"):
            assert back[column.name].tolist() == pytest.approx(result.table[column.name].tolist(), nan_ok=True)
    assert set(back["ground"]) == {"madder cotton"}
    assert set(back["surface"]) == {"wet"}
    kept = pile.crops(added.new)
    assert all(np.array_equal(kept[name], crops[name]) for name in added.new)
    piece = pile.show(added.new[0])
    assert piece.photos == (("morning-card.jpg", str(PHOTO)),)
    assert piece.reading["measured"] == "2024-03-09T10:12:00"
    assert piece.reading["measured_by"] == "ann"
    assert piece.reading["calibration"] == result.calibration.sentence


def test_a_table_is_as_the_rest_of_the_program_takes_it(pile, photographed):
    """The catalogue could not stand in for a table: a column would lack, or have another dtype."""
    pile.add(photographed[0], path=PHOTO)
    back = pile.table()
    checked = check_table(back, (*SWATCHES, *DETAILS))
    pd.testing.assert_frame_equal(back, checked)
    assert [column.name for column in (*SWATCHES, *DETAILS) if column.name not in back] == []
    empty = pile.table("name=nothing")
    assert len(empty) == 0
    assert empty.dtypes.equals(back.dtypes)


@pytest.mark.parametrize("name", ["morning-card.jpg", "IMG_0001.jpg"])
def test_a_photograph_measured_twice_doubles_nothing(pile, photographed, tmp_path, name):
    """The pile would double each time a folder is added again, or the file was renamed meanwhile."""
    result, crops = photographed
    first = pile.add(result, path=PHOTO, crops=crops)
    before = everything(pile.store)
    copy = shutil.copy(PHOTO, tmp_path / name)
    second = pile.add(measure_photo(copy), path=copy, crops=crops)
    assert second.new == second.remeasured == ()
    assert second.known_photo == "morning-card.jpg"
    assert sorted(second.known.values()) == sorted(first.new)
    assert everything(pile.store) == before
    assert "nothing of it is doubled" in second.sentences[0]


def test_the_same_pixels_are_known_without_a_file(pile, photographed):
    """Whoever adds what is in memory would double the pile."""
    assert pile.add(photographed[0]).new
    assert pile.add(photographed[0]).known_photo == "morning-card.jpg"


def test_a_known_photograph_can_be_measured_better(pile, photographed):
    """A wrong reference would stand for ever, since the photograph is known."""
    result, crops = photographed
    first = pile.add(result, path=PHOTO, crops=crops)
    better = replace(result, table=result.table.assign(
        lightness=[value + (2 if n == 0 else 0) for n, value in enumerate(result.table["lightness"])],
        swatch_id=[f"other-{n}" for n in range(len(result.table))],
    ))  # fmt: skip
    again = pile.add(better, path=PHOTO, crops=crops, again=True)
    assert again.remeasured == (first.new[0],)
    assert len(again.known) == len(first.new) - 1
    assert again.new == ()
    assert len(pile.history(first.new[0])) == 2
    assert pile.show(first.new[0]).reading["lightness"] == pytest.approx(result.table["lightness"][0] + 2)


def test_pieces_of_a_photograph_of_the_same_name_get_names_of_their_own(pile, photographed):
    """Every camera counts from 1 again: pieces of the second IMG_0001.jpg would be refused, or taken for the first."""
    result = photographed[0]
    first = pile.add(result, path=PHOTO)
    other = pile.add(shifted(result, "morning-card.jpg", 3, "2024-05-01T10:00:00"), offers=False)
    assert other.new == tuple(name.replace("card-", "card(2)-") for name in first.new)
    assert other.names[first.new[0]] == other.new[0]


def test_a_table_with_names_that_are_known_measures_those_pieces_again(pile):
    """A hand-written table would double its pieces each time it is added."""
    pile.add(table("a", "b"))
    again = pile.add(table("a", "b", "c"))
    assert (again.new, again.known) == (("c",), {"a": "a", "b": "b"})
    third = pile.add(table("a", "b").assign(lightness=[25.0, 30.0]))
    assert (third.remeasured, third.known) == (("a",), {"b": "b"})
    assert pile.show("a").reading["lightness"] == 25


def test_what_a_table_says_beside_is_kept(pile):
    """Columns that people keep for themselves would be lost."""
    given = table(
        "a", "b", side=[76.2, math.nan], ground=["red", ""], note=["first\nsecond", ""], place=["drawer 3", ""],
        shape=["square", ""], price=[3.5, math.nan],
    )  # fmt: skip
    pile.add(given, ground="blue", sheet="s1")
    columns = ["side", "ground", "sheet", "place", "note", "shape", "price"]
    first, second = pile.table(sort="name")[columns].values.tolist()
    assert first == [76.2, "red", "s1", "drawer 3", "first\nsecond", "square", "3.5"]
    assert second[1:] == ["blue", "s1", "", "", "", ""]
    assert pile.show("a").extra == {"shape": "square", "price": "3.5"}


def test_a_clock_that_runs_ahead_is_not_believed(pile, photographed):
    """A measurement of the year 2099 would be the newest for the rest of her life."""
    pile.add(taken(photographed[0], "2099-01-01T00:00:00"))
    assert pile.table()["measured"].max() < "2099"


def test_only_the_newest_by_date_counts(pile, photographed):
    """An old photograph that is added late would take the place of a newer one."""
    result = photographed[0]
    name = pile.add(taken(result, "2024-05-01T10:00:00")).new[0]
    older = shifted(result, "older.jpg", 5, "2024-01-01T10:00:00")
    ids = older.table["swatch_id"]
    pile.add(older, same_as={ids[0]: name}, offers=False)
    assert pile.show(name).reading["lightness"] == pytest.approx(result.table["lightness"][0])
    assert pile.history(name)["newest"].tolist() == [False, True]
    newer = shifted(result, "newer.jpg", 7, "2024-06-01T10:00:00")
    newer = replace(newer, photo=replace(newer.photo, codes=np.ascontiguousarray(newer.photo.codes[:, ::-1])))
    pile.add(newer, same_as={ids[0]: name}, offers=False)
    assert pile.show(name).reading["lightness"] == pytest.approx(result.table["lightness"][0] + 7)
    assert pile.table(f'name="{name}"')["lightness"].tolist() == pytest.approx([result.table["lightness"][0] + 7])
    assert pile.check() == []


def test_what_looks_known_is_offered_and_not_merged(pile, photographed):
    """A piece would be lost in another one without a word; or be doubled without a question."""
    result, crops = photographed
    first = pile.add(result, path=PHOTO, crops=crops)
    again = shifted(few(result), "again.jpg", 1.5, "2024-06-01T10:00:00")
    turned = {name: np.ascontiguousarray(np.rot90(crop)) for name, crop in crops.items()}
    before = pile.likely_same(again, turned)
    assert len(pile.names()) == len(first.new)
    added = pile.add(again, crops=turned)
    assert len(added.new) == 5
    offered = {name: offers[0].name for name, offers in added.likely_same.items()}
    own = {new: old for old, new in added.names.items()}
    assert len(offered) >= 4  # those without a pattern cannot be told
    assert all(own[new] == old for new, old in offered.items())
    assert {added.names[name]: offers for name, offers in before.items()} == added.likely_same
    offer = next(iter(added.likely_same.values()))[0]
    assert offer.lightness == pytest.approx(1.5)
    assert any("is it the same piece?" in sentence for sentence in added.sentences)


def test_what_a_person_says_is_the_same_is_measured_again(pile, photographed):
    """A yes to the question would change nothing."""
    result, crops = photographed
    first = pile.add(result, path=PHOTO, crops=crops, surface="wet")
    again = shifted(result, "again.jpg", -3, "2024-06-01T10:00:00")
    ids = list(again.table["swatch_id"])
    added = pile.add(again, crops=crops, same_as={ids[0]: first.new[0]}, surface="cured", plate="rings", offers=False)
    assert added.remeasured == (first.new[0],)
    assert len(added.new) == len(ids) - 1
    assert added.names[ids[0]] == first.new[0]
    assert pile.show(first.new[0]).details["plate"] == "rings"
    assert pile.history(first.new[0])["surface"].tolist() == ["wet", "cured"]
    assert np.array_equal(pile.crops(first.new[0])[first.new[0]], crops[ids[0]])


def test_used_pieces_are_not_offered(pile, photographed):
    """A piece that was fused into a block would be offered for one on the board."""
    result, crops = photographed
    first = pile.add(result, path=PHOTO, crops=crops)
    again = shifted(few(result), "again.jpg", 0, "2024-06-01T10:00:00")
    assert pile.likely_same(again, crops)
    pile.use(first.new)
    assert pile.likely_same(again, crops) == {}


def test_a_lost_piece_that_is_measured_is_found(pile):
    """It would lie on the board and be lost."""
    pile.add(table("a", "b"))
    pile.lose("a")
    added = pile.add(table("c").assign(lightness=21.0), same_as={"c": "a"})
    assert added.found_again == ("a",)
    assert state_of(pile, "a") == "at hand"


@pytest.mark.parametrize(("options", "message"), [
    ({"surface": "dry"}, "Paint is wet, cured or unknown; got 'dry'"),
    ({"surface": "wett"}, "the nearest is 'wet'"),
    ({"ground": "a\nb"}, r"The ground must be one line of at most 500 characters; got 'a\\nb'"),
    ({"plate": "x" * 501}, "The plate must be one line of at most 500 characters; got 501 characters"),
    ({"paints": 7}, "The paints must be a text; got 7"),
    ({"measured_by": "a\nb"}, "Who measured must be one line"),
    ({"side": "3 kg"}, "The side must be in one of mm, cm"),
    ({"same_as": {"zz": "a"}}, "Only a piece that is added can be the same as a known one; got 'zz'"),
    ({"same_as": {"new": "aa"}}, "There is no piece 'aa'; the nearest is 'a'"),
    ({"same_as": {"new": "a", "new2": "a"}}, "A known piece can lie on the board only once; 'a' is named twice"),
    ({"same_as": {"new": "u"}}, "A piece that was used cannot be measured again; 'u' was"),
    ({"crops": {"new": np.zeros((4, 4), np.uint8)}}, "A crop must be 8-bit pixels"),
])  # fmt: skip
def test_what_cannot_be_added_is_said_and_nothing_is(pile, options, message):
    """Half a photograph would be in the catalogue, or a word that nobody can ask for."""
    pile.add(table("a", "u"))
    pile.use("u")
    before = everything(pile.store)
    with pytest.raises(InvalidInputError, match=message):
        pile.add(table("new", "new2"), **options)
    assert everything(pile.store) == before


@pytest.mark.parametrize(("given", "message"), [
    (pd.DataFrame({"swatch_id": ["a"]}), "The table must have a column 'lightness'"),
    (table(""), "A piece must have a name; got ''"),
    (table("x" * 201), "A piece must have a name of at most 200 characters; got 201"),
    (table("a\nb"), "A piece must be named on one line"),
    (table("a", "a"), "Each swatch_id must be unique; 'a'"),
    (table("a", side=[0.0]), "The side must be more than zero"),
    (table("a").assign(lightness=120.0), "lightness must be a number from 0 to 100"),
    (table("a", note=["x" * 20_000_001]), "A note must have at most 20,000,000 characters"),
])  # fmt: skip
def test_a_table_that_cannot_be_right_is_refused(pile, given, message):
    """A piece without a name could never be named again."""
    with pytest.raises(InvalidInputError, match=message):
        pile.add(given)
    assert pile.names() == []


def test_a_photograph_that_is_gone_is_named(pile, photographed):
    """Its content would be taken for known by its name."""
    with pytest.raises(UnreadablePhotoError, match="must be there to be known by its content; '/nowhere.jpg'"):
        pile.add(photographed[0], path="/nowhere.jpg")


def test_no_pieces_is_no_action(pile, photographed):
    """An empty board would fail, or fill the list of actions."""
    result = photographed[0]
    added = pile.add(replace(result, table=result.table.iloc[:0]))
    assert added.new == ()
    assert added.sentences == ["There is no piece."]
    assert pile.actions() == []
    assert pile.add(result).new  # a photograph without pieces is not known: it may be measured better


def test_pieces_that_are_found_later_on_a_known_photograph_are_told(pile, photographed):
    """What was overlooked the first time would be passed over for ever."""
    result = photographed[0]
    some = replace(result, table=result.table.iloc[2:])
    pile.add(some, path=PHOTO)
    overlooked = tuple(result.table["swatch_id"][:2])
    added = pile.add(result, path=PHOTO)
    assert (added.new, added.not_added) == ((), overlooked)
    assert "Found there now and not in the catalogue: 2 pieces" in added.sentences[1]
    assert pile.add(result, path=PHOTO, again=True).new == overlooked


def test_an_outline_that_is_none_is_no_place():
    """A table from elsewhere would end in a traceback."""
    assert [adding._box(outline) for outline in (None, "", "[]", "[[1]]", "x", "[[1, 2], [3]]")] == [None] * 6


# --- one piece --------------------------------------------------------------------------------------------------------


def test_history_tells_a_real_change_from_doubt(pile):
    """Paint that has cured would look like a mistake of the camera, or the other way round."""
    for lightness, surface, day in ((50.0, "wet", "01"), (47.0, "cured", "02"), (46.5, "cured", "03")):
        batch = table("a").assign(lightness=lightness)
        pile.add(batch, surface=surface)
        key = rows(pile.store, "measurements")[-1]["measurement"]
        with pile.store.writing("date it") as action:  # the table itself says no date
            row = [r for r in rows_in(action) if r["measurement"] == key][0]
            action.update("swatches", row["swatch"], {"measurement": None})
            action.delete("measurements", key)
            action.insert("measurements", [row | {"measured": f"2024-05-{day}T10:00:00"}])
            action.update("swatches", row["swatch"], {"measurement": key})
    told = pile.history("a")
    # 1.96 * sqrt(1² + 1²) = 2.77: a change of 3.0 is real, one of 0.5 is not, 3.5 since the first is.
    assert told["since_previous"].tolist() == pytest.approx([math.nan, -3.0, -0.5], nan_ok=True)
    assert told["since_first"].tolist() == pytest.approx([math.nan, -3.0, -3.5], nan_ok=True)
    assert told["since_previous_allowed"].tolist() == pytest.approx([math.nan, 2.77, 2.77], abs=0.01, nan_ok=True)
    assert told["since_previous_real"].tolist() == [False, True, False]
    assert told["since_first_real"].tolist() == [False, True, True]
    assert told["sentence"].tolist() == [
        "2024-05-01, wet: L* 50.0 ± 1.0.",
        "2024-05-02, cured: L* 47.0 ± 1.0; 3.0 darker now that it has cured, more than both may err by (2.8).",
        "2024-05-03, cured: L* 46.5 ± 1.0; 0.5 darker than before, no more than both may err by (2.8); 3.5 darker than "
        "at first, more than both may err by (2.8).",
    ]


@pytest.mark.parametrize(("after", "real"), [(52.77, False), (52.78, True), (47.23, False), (47.22, True)])
def test_a_change_is_real_from_196_standard_uncertainties_on(pile, after, real):
    """Every second piece would seem to have changed, or none."""
    pile.add(table("a").assign(lightness=50.0))
    pile.add(table("a").assign(lightness=after))
    # ISO/IEC Guide 98-3: 1.96 sigma hold 95 %; of a difference of two readings of sigma 1 that is 1.96 * √2 = 2.772.
    assert pile.history("a")["since_previous_real"].tolist() == [False, real]


def rows_in(action):
    from sqlalchemy import select

    from contrastkit.keep.schema import measurements

    return [dict(row) for row in action.connection.execute(select(measurements)).mappings()]


def test_history_says_what_it_does_not_know(pile):
    """A change without doubt would be claimed where none is known."""
    pile.add(table("a").assign(lightness=math.nan))
    pile.add(table("a").assign(lightness=40.0, lightness_sigma=math.nan))
    pile.add(table("a").assign(lightness=30.0, lightness_sigma=math.nan))
    told = pile.history("a")
    assert not told[["since_first_real", "since_previous_real"]].to_numpy().any()
    assert "lightness not known" in told["sentence"][0]
    assert "how it changed is not known" in told["sentence"][1]
    assert "nobody knows how much they may err by" in told["sentence"][2]
    assert drift.TWO_SIDED == 1.96


def test_show_tells_everything(pile):
    """Something that is kept could not be seen."""
    pile.add(table("a", "b", "c", ground=["red", "", ""], shape=["square", "", ""]))
    pile.note("a", "cut twice")
    pile.tag("a", ["shiny", "gift"])
    pile.put("a", "drawer 3")
    pile.set_aside_stacks("Evening wall", [["b", "a"]])
    piece = pile.show("a")
    assert (piece.name, piece.state, piece.place, piece.note) == ("a", "set aside", "drawer 3", "cut twice")
    assert piece.details == {"ground": "red", "paints": "", "plate": "", "sheet": "", "side": None}
    assert (piece.tags, piece.project, piece.extra) == (("gift", "shiny"), "Evening wall", {"shape": "square"})
    assert piece.stacks == (("Evening wall", 1, 2),)
    assert (piece.reading["lightness"], len(piece.history)) == (20.0, 1)
    assert pile.crops("a") == {}


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_text_comes_back_as_text(pile, text):
    """A note would run, end early, or take the catalogue with it."""
    name = text.replace("\n", " ")
    one_line = text.strip()
    tag = text.replace(";", ",").strip()[:100]
    pile.add(table("a"), ground=text, paints=text, plate=text, sheet=text, place=text, measured_by=text)
    pile.rename("a", name)
    pile.note(name, text)
    pile.tag(name, [tag])
    pile.set_aside(name, name)
    piece = pile.show(name)
    assert (piece.name, piece.note, piece.project, piece.tags) == (name, text, name, (tag,))
    assert [piece.details[which] for which in ("ground", "paints", "plate", "sheet")] == [one_line] * 4
    assert (piece.place, piece.reading["measured_by"]) == (one_line, one_line)
    row = pile.table().iloc[0]
    assert (row["swatch_id"], row["note"], row["ground"], row["tags"]) == (name, text, one_line, tag)
    assert pile.page().table.loc[0, "swatch_id"] == name
    assert pile.history(name)["measured_by"][0] == one_line
    assert pile.project(name).set_aside == (name,)
    quoted = text.replace('"', '""')
    assert pile.names(f'note="{quoted}"') == [name]
    assert pile.names(f'state="set aside" "{quoted}"') == [name]
    assert name in pile.actions()[0].what
    assert pile.check() == []


def test_a_note_of_ten_megabytes_comes_back(pile):
    """A whole book pasted into a note would be cut, or stop every list."""
    pile.add(table("a", "b"))
    book = "🌿 line\n" * 1_600_000
    pile.note("a", book)
    assert pile.show("a").note == book
    assert len(pile.page().table.loc[0, "note"]) == 200
    with pytest.raises(InvalidInputError, match="A note must have at most 20,000,000 characters; got 22,400,001"):
        pile.note("a", book, add=True)
    assert pile.undo() == ["Note on a"]
    assert pile.show("a").note == ""


def test_names_of_ten_megabytes_are_refused_in_a_sentence(pile):
    """The sentence itself would have ten megabytes."""
    pile.add(table("a"))
    for attempt in (lambda: pile.rename("a", "x" * 10**7), lambda: pile.note("x" * 10**7, "y"),
                    lambda: pile.set_aside("a", "x" * 10**7), lambda: pile.put("a", "x" * 10**7),
                    lambda: pile.names("x" * 10**7), lambda: pile.tag("a", ["x" * 10**7])):  # fmt: skip
        with pytest.raises(InvalidInputError) as raised:
            attempt()
        assert len(str(raised.value)) < 400


# --- pieces are described and used up ---------------------------------------------------------------------------------


def test_verbs_say_what_they_did(pile):
    """Nobody would know what the last command changed."""
    pile.add(table("a", "b", "c", "d", "e", "f"))
    assert pile.put("a", "drawer 3") == "a: put in drawer 3."
    assert pile.put("a", "drawer 3") == "Nothing to change: a: put in drawer 3."
    assert pile.describe("a", ground="red", side="3 in") == "a: ground red, side 76.2 mm."
    assert pile.describe("a", side="") == "a: side not known."
    assert pile.tag(["a", "b"], ["shiny"]) == "Tag 2 pieces: a, b: shiny."
    assert pile.tag("a", "gift", remove="shiny") == "Tag a: gift; not shiny."
    assert pile.note("a", "one") == "Note on a."
    assert pile.note("a", "two", add=True) == "Note on a."
    assert pile.show("a").note == "one\ntwo"
    assert pile.rename("a", "A") == "Rename a to A."
    assert pile.set_aside(["A", "b"], "Wall") == "Set aside for Wall: 2 pieces: A, b."
    assert pile.release("b") == "Release b."
    assert pile.use("c") == "Use c."
    assert pile.use("A", "Wall") == "Use A in Wall."
    assert pile.lose("d") == "Lose d."
    assert pile.find_again(["c", "d"]) == "Find again 2 pieces: c, d."
    assert pile.lose(["b", "c", "d", "e", "f"]) == "Lose 5 pieces: b, c, d, e and 1 more."
    assert [done.what for done in pile.actions(3)] == [
        "Lose 5 pieces: b, c, d, e and 1 more", "Find again 2 pieces: c, d", "Lose d",
    ]  # fmt: skip
    assert pile.actions(1)[0].who == "me"


def test_a_verb_on_many_is_one_action(pile):
    """Undo would bring back one of a hundred pieces."""
    pile.add(table(*(f"p{n}" for n in range(7))))
    before = everything(pile.store)
    pile.tag(pile.names("medium"), ["shiny", "gift"])
    assert pile.undo() == ["Tag 3 pieces: p3, p4, p5: shiny; gift"]
    assert everything(pile.store) == before
    assert pile.redo() == ["Tag 3 pieces: p3, p4, p5: shiny; gift"]
    assert sorted(pile.names("tag=gift")) == ["p3", "p4", "p5"]


@pytest.mark.parametrize(("attempt", "message"), [
    (lambda p: p.note("bord-01", "x"), "There is no piece 'bord-01'; the nearest is 'board-01'"),
    (lambda p: p.show("zzz"), "There is no piece 'zzz'; there is none of a name like it"),
    (lambda p: p.crops("BOARD-01"), "There is no piece 'BOARD-01'; the nearest is 'board-01'"),
    (lambda p: p.history("01"), "There is no piece '01'; the nearest is 'board-01'"),
    (lambda p: p.show("board \0 \ud800 01"), "There is no piece 'board .x00 .ud800 01'; the nearest is 'board-01'"),
    (lambda p: p.show("%"), "There is no piece '%'; there is none of a name like it"),
    (lambda p: p.note([], "x"), "Pieces must be named by their names; got none"),
    (lambda p: p.note([7], "x"), "Pieces must be named by their names; got 7"),
    (lambda p: p.tag("board-01"), "A tag must be given or taken away; got none"),
    (lambda p: p.tag("board-01", ["a;b"]), "A tag must have at most 100 characters and no ';'; got 'a;b'"),
    (lambda p: p.tag("board-01", ["x" * 101]), "A tag must have at most 100 characters and no ';'; got 101 characters"),
    (lambda p: p.tag("board-01", ["a\nb"]), "A tag must be named on one line"),
    (lambda p: p.tag("board-02", remove=["shinny"]), "none of these pieces has 'shinny': the nearest is 'shiny'"),
    (lambda p: p.tag("board-01", remove=["x"]), "none of these pieces has 'x': they have none"),
    (lambda p: p.describe("board-01"), "A piece is described by ground, paints, plate, side or sheet; got none"),
    (lambda p: p.describe("board-01", side="-3 in"), "The side must not be negative"),
    (lambda p: p.put("board-01", "a\nb"), "A place must be one line"),
    (lambda p: p.rename("board-01", "board-02"), "A name must be free; 'board-02' is another piece's"),
    (lambda p: p.rename("board-01", " "), "A piece must have a name; got ' '"),
    (lambda p: p.release("board-01"), "Only what is set aside can be released; 'board-01' is at hand"),
    (lambda p: p.find_again("board-02"), "Only what is lost or used can be found again; 'board-02' is set aside"),
    (lambda p: p.use("used"), "A piece can be used once; 'used' was used for 'Evening wall'"),
    (lambda p: p.use("lost"), "A piece must be at hand; 'lost' is lost"),
    (lambda p: p.lose("used"), "What was used cannot be lost; 'used' was"),
    (lambda p: p.set_aside("board-02", "Other"), "set aside for one project; 'board-02' is for 'Evening wall'"),
    (lambda p: p.set_aside("board-01", "Evening wal"), "no project 'Evening wal'; the nearest is 'Evening wall'"),
    (lambda p: p.use("board-02", "Other"), "set aside for one project; 'board-02' is for 'Evening wall'"),
    (lambda p: p.set_aside("board-01", ""), "A project must have a name"),
    (lambda p: p.same("board-01", "board-01"), "Two names are needed to make two pieces one; got 'board-01' twice"),
    (lambda p: p.same("board-02", "board-01"), "must be at hand; 'board-02' is set aside"),
    (lambda p: p.undo(0), "At least one action must be asked for; got 0"),
])  # fmt: skip
def test_what_cannot_be_done_is_said_and_nothing_is(pile, attempt, message):
    """A slip would change another piece, use one twice, or end in a traceback."""
    pile.add(table("board-01", "board-02", "used", "lost"))
    pile.tag("board-02", ["shiny"])
    pile.set_aside("board-02", "Evening wall")
    pile.use("used", "Evening wall")
    pile.lose("lost")
    before = everything(pile.store)
    with pytest.raises(InvalidInputError, match=message):
        attempt(pile)
    assert everything(pile.store) == before


def test_two_pieces_that_are_one_become_one(pile, photographed):
    """A piece that was doubled would stay doubled."""
    result, crops = photographed
    first = pile.add(result, path=PHOTO, crops=crops, surface="wet")
    again = shifted(result, "again.jpg", -2, "2024-06-01T10:00:00")
    second = pile.add(again, crops=crops, surface="cured", ground="red", offers=False)
    old, new = first.new[0], second.new[0]
    pile.note(old, "old note")
    pile.note(new, "new note")
    pile.tag([old, new], ["both"])
    pile.tag(new, ["newer"])
    before = everything(pile.store)
    assert pile.same(new, old) == f"{new} is the same piece as {old}."
    assert new not in pile.names()
    piece = pile.show(old)
    assert (piece.note, piece.tags, piece.details["ground"]) == ("old note\nnew note", ("both", "newer"), "red")
    assert piece.history["surface"].tolist() == ["wet", "cured"]
    assert piece.reading["lightness"] == pytest.approx(result.table["lightness"][0] - 2)
    assert np.array_equal(pile.crops(old)[old], crops[old])
    assert pile.check() == []
    assert pile.undo() == [f"{new} is the same piece as {old}"]
    assert everything(pile.store) == before


def test_a_backup_holds_everything(pile, tmp_path):
    """The copy on the stick would be another pile."""
    pile.add(table("a", "b"))
    pile.tag("a", ["shiny"])
    copy = pile.backup(tmp_path / "stick.sqlite")
    with open_catalogue(copy, create=False) as other:
        assert everything(other.store) == everything(pile.store)


def test_the_name_of_whoever_does_it_is_kept(where):
    """In a school nobody would know who used the last light piece."""
    with open_catalogue(where, who="ann") as ann:
        ann.add(table("a"))
    with open_catalogue(where, who="bo") as bo:
        bo.use("a")
        assert [done.who for done in bo.actions()] == ["bo", "ann"]


# --- a plain model and a random sequence of verbs ---------------------------------------------------------------------

NAMES = ("a", "b", "c", "d", "e")
SOME = st.lists(st.sampled_from(NAMES), min_size=1, max_size=3, unique=True)
STEP = st.one_of(
    st.tuples(st.just("add"), SOME, st.integers(10, 90)),
    st.tuples(st.just("note"), SOME, st.sampled_from(["", "x", "ü\0"])),
    st.tuples(st.just("tag"), SOME, st.sampled_from(["t1", "t2"])),
    st.tuples(st.just("untag"), SOME, st.sampled_from(["t1", "t2"])),
    st.tuples(st.just("put"), SOME, st.sampled_from(["", "drawer"])),
    st.tuples(st.just("describe"), SOME, st.sampled_from(["red", ""])),
    st.tuples(st.just("rename"), st.sampled_from(NAMES), st.sampled_from(NAMES)),
    st.tuples(st.just("set_aside"), SOME, st.sampled_from(["Wall", "Quiet one"])),
    st.tuples(st.just("release"), SOME, st.none()),
    st.tuples(st.just("use"), SOME, st.sampled_from([None, "Wall"])),
    st.tuples(st.just("lose"), SOME, st.none()),
    st.tuples(st.just("find_again"), SOME, st.none()),
    st.tuples(st.just("undo"), st.integers(1, 3), st.none()),
    st.tuples(st.just("redo"), st.integers(1, 2), st.none()),
)  # fmt: skip


ALLOWED = {"release": ("set aside",), "lose": ("at hand", "set aside", "lost"), "find_again": ("lost", "used")}


class Model:
    """What the catalogue should hold: plain dicts, and whole copies for undo."""

    def __init__(self):
        self.pieces = {}
        self.done, self.undone = [], []

    def changed(self, new):
        """An action that leaves these pieces; where nothing is different it is none."""
        if new != self.pieces:
            self.done.append(self.pieces)
            self.pieces, self.undone = new, []

    def undo(self, count):
        for _ in range(min(count, len(self.done))):
            self.undone.append(self.pieces)
            self.pieces = self.done.pop()

    def redo(self, count):
        for _ in range(min(count, len(self.undone))):
            self.done.append(self.pieces)
            self.pieces = self.undone.pop()

    def step(self, verb, names, value):
        """Do it here; whether the catalogue should do it too."""
        if verb in ("undo", "redo"):
            getattr(self, verb)(names)
            return True
        if verb == "rename":
            return self._rename(names, value)
        if verb == "add":
            return self._add(names, float(value))
        if any(name not in self.pieces for name in names):
            return False
        new = {name: dict(piece) for name, piece in self.pieces.items()}
        if not all(self._change(new[name], verb, value) for name in names):
            return False
        if verb == "untag" and not any(value in self.pieces[name]["tags"] for name in names):
            return False
        self.changed(new)
        return True

    def _add(self, names, lightness):
        used = any(self.pieces.get(name, {}).get("state") == "used" for name in names)
        if used:
            return False
        new = {name: dict(piece) for name, piece in self.pieces.items()}
        for place, name in enumerate(names):
            own = new.setdefault(name, {"state": "at hand", "project": "", "note": "", "tags": frozenset(), "place": "",
                                        "ground": "", "readings": ()})  # fmt: skip
            reading = lightness + place
            if own["readings"][-1:] != (reading,):
                own["readings"] += (reading,)
                own["state"] = "at hand" if own["state"] == "lost" else own["state"]
        self.changed(new)
        return True

    def _rename(self, old, new):
        if old not in self.pieces or (new in self.pieces and new != old):
            return False
        self.changed({new if name == old else name: piece for name, piece in self.pieces.items()})
        return True

    @staticmethod
    def _change(piece, verb, value):
        state, project = piece["state"], piece["project"]
        if verb in ("note", "put", "describe"):
            piece[{"note": "note", "put": "place", "describe": "ground"}[verb]] = value
        elif verb in ("tag", "untag"):
            piece["tags"] = piece["tags"] | {value} if verb == "tag" else piece["tags"] - {value}
        elif verb == "set_aside":
            if state in ("used", "lost") or (state == "set aside" and project != value):
                return False
            piece.update(state="set aside", project=value)
        elif verb == "use":
            if state in ("used", "lost") or (state == "set aside" and value and project != value):
                return False
            piece.update(state="used", project=value or project)
        else:
            if state not in ALLOWED[verb]:
                return False
            piece.update(state="lost" if verb == "lose" else "at hand", project="")
        return True


def really(pile, verb, names, value):
    if verb == "add":
        lightness = [float(value + place) for place in range(len(names))]
        pile.add(pd.DataFrame({"swatch_id": names, "lightness": lightness}))
    elif verb == "tag":
        pile.tag(names, [value])
    elif verb == "untag":
        pile.tag(names, remove=[value])
    elif verb == "describe":
        pile.describe(names, ground=value)
    elif verb in ("undo", "redo"):
        getattr(pile, verb)(names)
    else:
        getattr(pile, verb)(*([names] if verb in ("release", "lose", "find_again") else [names, value]))


def as_modelled(pile):
    """The catalogue as the model has it."""
    found = pile.table()
    return {
        row["swatch_id"]: {
            "state": row["state"], "project": row["project"], "note": row["note"], "place": row["place"],
            "ground": row["ground"], "tags": frozenset(filter(None, row["tags"].split("; "))),
            "readings": tuple(pile.history(row["swatch_id"])["lightness"]),
        }
        for row in found.to_dict("records")
    }  # fmt: skip


def follows_the_model(pile, steps):
    model = Model()
    for verb, names, value in steps:
        before = model.pieces, list(model.done), list(model.undone)
        if model.step(verb, names, value):
            really(pile, verb, names, value)
        else:
            model.pieces, model.done, model.undone = before
            with pytest.raises(InvalidInputError):
                really(pile, verb, names, value)
    assert as_modelled(pile) == model.pieces
    assert pile.check() == []


@given(st.lists(STEP, min_size=5, max_size=30))
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
def test_any_sequence_of_verbs_leaves_what_a_plain_model_has(tmp_path_factory, steps):
    """Some order of verbs and undos would leave a pile that nobody meant."""
    with open_catalogue(tmp_path_factory.mktemp("model") / "pile.sqlite", who="me") as pile:
        follows_the_model(pile, [("add", list(NAMES), 20), *steps])


@pytest.mark.parametrize("seed", range(6))
def test_so_it_does_on_a_server(server, seed):
    """What holds for a file would not hold in a school."""
    rng = np.random.default_rng(seed)
    verbs = ("note", "tag", "untag", "put", "describe", "set_aside", "release", "use", "lose", "find_again", "undo",
             "redo")  # fmt: skip
    values = {"note": ["", "x", "ü\0"], "tag": ["t1", "t2"], "untag": ["t1", "t2"], "put": ["", "drawer"],
              "describe": ["red", ""], "set_aside": ["Wall", "Quiet one"], "use": [None, "Wall"]}  # fmt: skip
    steps = [("add", list(NAMES), 20)]
    for _ in range(30):
        verb = str(rng.choice(verbs))
        names = int(rng.integers(1, 3)) if verb in ("undo", "redo") else list(
            rng.choice(NAMES, rng.integers(1, 4), replace=False).tolist())  # fmt: skip
        own = values.get(verb, [None])
        steps.append((verb, names, own[int(rng.integers(len(own)))]))
    with open_catalogue(f"{server}&schema=model_{seed}", who="me") as pile:
        follows_the_model(pile, steps)


def test_every_state_can_be_reached_and_left(pile):
    """A piece would be stuck in a drawer that does not exist."""
    pile.add(table("a"))
    seen = [state_of(pile, "a")]
    for verb in (lambda: pile.set_aside("a", "Wall"), lambda: pile.use("a"), lambda: pile.find_again("a"),
                 lambda: pile.lose("a"), lambda: pile.find_again("a")):  # fmt: skip
        verb()
        seen.append(state_of(pile, "a"))
    assert seen == ["at hand", "set aside", "used", "at hand", "lost", "at hand"]
    assert set(seen) == set(STATES)

