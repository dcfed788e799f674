"""The Plan panel without a page: every control's effect on the session, what is refused, what is kept and found."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from made_pile import made_crops, made_table

from contrastkit.compose.cutting import cut_plan
from contrastkit.compose.filling import FilledPlan, fill_plan
from contrastkit.compose.groups import fixed_breaks
from contrastkit.compose.layout import lay_out
from contrastkit.compose.plan import plan_of_values, plan_text, read_plan
from contrastkit.errors import InvalidInputError
from contrastkit.keep.catalogue import open_catalogue
from contrastkit.panels import plan_panel, plan_words, planning
from contrastkit.panels.desk import Desk, open_desk
from contrastkit.panels.plan_panel import PlanPanel
from contrastkit.panels.planning import Planning
from contrastkit.panels.session import session_of
from contrastkit.panels.wall import Walls, small_squares
from contrastkit.show.block import block_placed
from contrastkit.show.crops import encoded
from contrastkit.show.mockup import render
from contrastkit.show.plan_pictures import Pile, stacks_of

INCH = Fraction(127, 5)
DEMO = Path(__file__).parents[1] / "data" / "thistlewick" / "plan.toml"


def pile(count=40, **columns):
    """A pile spread evenly from dark to light, with what it is made of."""
    lightness = np.linspace(12, 94, count)
    return pd.DataFrame({
        "swatch_id": [f"T{number:02d}" for number in range(count)], "lightness": lightness, "lightness_sigma": 0.5,
        "paints": ["soot" if value < 40 else "frost" for value in lightness], "ground": "undyed",
    } | columns)  # fmt: skip


@pytest.fixture
def panel(tmp_path):
    return PlanPanel(Desk(session_of(pile())), folder=tmp_path / "plans")


@pytest.fixture
def kept(tmp_path):
    """A panel on a catalogue whose pieces have pictures, and where the catalogue is."""
    where, table = tmp_path / "pile.sqlite", made_table(24)
    crops = {name: np.dstack([crop, np.full(crop.shape[:2], 255, np.uint8)]) if crop.shape[2] == 3 else crop
             for name, crop in made_crops(table, size=120).items()}  # fmt: skip
    with open_catalogue(where) as catalogue:
        catalogue.add(table, crops=crops)
    desk = open_desk(where, project="evening")
    yield PlanPanel(desk, folder=tmp_path / "plans"), where
    desk.close()


def plan_on(panel):
    return panel.desk.session.planning.plan


# Pure functions.


def test_a_new_plan_is_one_that_can_be_cut():
    """The panel would open on a plan that is refused."""
    plan = Planning().plan
    assert cut_plan(plan).square_count == 24
    assert (plan.unit, plan.rim, plan.gap) == ("in", INCH / 16, INCH / 4)


def test_every_change_gives_another_planning_and_leaves_the_first():
    """Undo would find the plan already changed."""
    first = Planning()
    before = plan_text(first.plan)
    planning.with_block(planning.with_length(first, "gap", "1"), 0, count="9", surrounds=3)
    planning.with_plates(planning.with_another_block(first), "rings 3 1/2")
    assert plan_text(first.plan) == before


def test_another_unit_changes_no_length():
    """Switching to millimetres and back would shrink the wall by a hair."""
    metric = planning.with_unit(Planning(), "mm")
    assert metric.plan == replace(Planning().plan, unit="mm")
    assert planning.with_unit(metric, "in") == Planning()
    with pytest.raises(InvalidInputError, match="^Lengths are written in mm or in; got 'ell'"):
        planning.with_unit(Planning(), "ell")


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda now: planning.with_title(now, "  "), "A plan must have a title; got nothing. Write a word or two."),
        (lambda now: planning.with_length(now, "gap", "-1"), "Gap must not be negative; got -1. Leave out the minus"),
        (lambda now: planning.with_length(now, "margin", "3,5"), "Background: margin must have a point before its"),
        (lambda now: planning.with_length(now, "rim", "1"), "Block 'Block': The rim must be narrower than half of"),
        (lambda now: planning.with_background(now, lightness="101"), "Background: lightness must be a number from 0"),
        (lambda now: planning.with_background(now, lightness="dark"), "Background: lightness must be a number from 0"),
        (lambda now: planning.with_background(now, lightness="nan"), "Background: lightness must be a number from 0"),
        (lambda now: planning.with_background(now, in_row="0"), "Background: in_row must be a whole number from 1"),
        (lambda now: planning.with_block(now, 0, count="many"), "Block 'Block': count must be a whole number from 1"),
        (lambda now: planning.with_block(now, 0, count="9" * 30), "Block 'Block': count must be a whole number from"),
        (lambda now: planning.with_block(now, 0, name=" "), "A kind of block must have a name; got nothing."),
        (lambda now: planning.with_block(now, 0, prints="2, 3"), "Block 'Block': Each layer must be smaller than"),
        (lambda now: planning.with_block(now, 0, prints=""), "Block 'Block': prints must be a list of lengths"),
        (lambda now: planning.with_block(now, 0, surrounds=4), "There are from 0 to 3 surrounds here; got 4."),
        (lambda now: planning.with_block(now, 0, layers=["grey"] * 3), "Block 'Block': a layer must be a lightness"),
        (lambda now: planning.with_web(now, "2"), "Fusible web: Every square must fit on the material; the largest"),
        (lambda now: planning.with_cloth(now, "44", "2 x 9", ""), "Cloth to paint: Every square must fit on the"),
        (lambda now: planning.with_cloth(now, "", "18", ""), "Supplies, cloth: sheet must be two lengths, such as"),
        (lambda now: planning.with_plates(now, "rings"), "A plate is written as its motif and the side of its print"),
        (lambda now: planning.with_fill(now, "paint"), "Blocks are filled with chosen, laid or greys; got 'paint'."),
        (lambda now: planning.without_block(now, 0), "A plan must have at least one kind of block; this is the only"),
        (lambda now: planning.with_text(now, "units ="), "A plan must be TOML; this cannot be read"),
        (lambda now: planning.with_text(now, plan_text(now.plan).replace("width = \"17\"", "width = 1")), "Fusible"),
    ],
)
def test_what_cannot_be_right_is_refused_in_a_sentence(call, words):
    """Cloth would be cut by a slip of the pen."""
    with pytest.raises(InvalidInputError) as caught:
        call(Planning())
    message = str(caught.value)
    assert message.startswith(words)
    assert message.endswith(".") and "\n" not in message


def test_a_background_can_be_undecided_again():
    """A lightness once typed could never be taken out."""
    known = planning.with_background(Planning(), lightness="0", cloth="slate linen", in_turn=True)
    assert (known.plan.background.lightness, known.plan.background.cloth) == (0.0, "slate linen")
    open_again = planning.with_background(known, lightness="")
    assert open_again.plan.background.lightness is None
    assert open_again.plan.background.cloth == "slate linen"


def test_other_prints_bring_usual_groups_and_fitting_surrounds():
    """A block of two layers would keep three groups, or a surround of another size."""
    two = planning.with_block(Planning(), 0, prints="4; 3").plan.blocks[0]
    assert two.core.groups == two.surrounds[0].groups == ("dark", "light")
    four = planning.with_block(Planning(), 0, prints="4, 3, 2, 1").plan.blocks[0]
    assert four.core.groups == ("",) * 4
    same = planning.with_block(Planning(), 0, prints="4, 3, 2").plan.blocks[0]
    assert same.core.groups == ("dark", "medium", "light")
    assert same.shape.further_blocks[0].prints == same.shape.prints


def test_supplies_can_be_left_out():
    """Someone who cuts from scraps would have to invent a bolt of cloth."""
    bare = planning.with_plates(planning.with_web(planning.with_cloth(Planning(), "", "", ""), " "), "")
    assert (bare.plan.web, bare.plan.cloth, bare.plan.cloth_width, bare.plan.plates) == (None, None, None, ())
    rolled = planning.with_cloth(Planning(), "44", "", "1/4")
    assert rolled.plan.cloth.length is None and rolled.plan.cloth.room == INCH / 4


def test_a_kind_of_block_added_has_a_name_of_its_own_and_can_be_taken_away():
    """Two kinds of one name are refused, so none could be added."""
    three = planning.with_another_block(planning.with_another_block(Planning()))
    assert [block.name for block in three.plan.blocks] == ["Block", "Block 2", "Block 3"]
    assert [block.name for block in planning.without_block(three, 1).plan.blocks] == ["Block", "Block 3"]


def test_stacks_that_were_set_aside_stay_as_far_as_they_fit():
    """One block more, and all pieces that were set aside would be chosen anew; or a smaller plan be refused."""
    block = {"name": "a", "prints": [80, 50], "count": 2, "stacks": [["p", "q"], ["r", "s"]]}
    values = {"units": "mm", "block": [block]}
    first = Planning(plan_of_values(values))
    assert planning.with_block(first, 0, count="5").set_aside == (("p", "q"), ("r", "s"))
    assert planning.with_block(first, 0, count="1").set_aside == (("p", "q"),)
    assert planning.with_block(first, 0, prints="80, 50, 30").set_aside == ()
    assert planning.with_block(first, 0, surrounds=2).set_aside == (("p", "q"), ("r", "s"))


def test_a_kind_added_to_a_plan_that_is_set_aside_takes_no_piece_twice():
    """The new kind would name the same pieces, and be refused."""
    values = {"units": "mm", "block": [{"name": "a", "prints": [80], "stacks": [["p"]],
                                        "surrounds": [{"stacks": [["q"]]}]}]}  # fmt: skip
    assert planning.with_another_block(Planning(plan_of_values(values))).set_aside == (("p",), ("q",))


def test_pieces_that_are_used_lost_or_set_aside_for_others_are_not_planned_with():
    """Two projects would cut the same piece."""
    table = pile(6, state=["at hand", "", None, "set aside", "set aside", "used"],
                 project=["", "", "", "mine", "theirs", "theirs"])  # fmt: skip
    assert planning.free_pieces(table, "mine")["swatch_id"].tolist() == ["T00", "T01", "T02", "T03"]
    assert len(planning.free_pieces(pile(6), "mine")) == 6


def test_stacks_whose_pieces_are_gone_or_too_small_are_filled_anew():
    """A plan would go on naming a piece that was lost since."""
    block = {"name": "a", "prints": [80], "count": 3, "stacks": [["T00"], ["gone"], ["T01"]]}
    values = {"units": "mm", "block": [block]}
    table = pile(8, side=[90.0, 60.0] + [90.0] * 6)
    session = replace(session_of(table), planning=Planning(plan_of_values(values)))
    done = planning.filled(session)
    assert done.plan.blocks[0].core.stacks[0] == ("T00",)
    assert not {"gone", "T01"} & set(done.plan.swatches)
    assert done.filled == 3


def test_the_stacks_that_were_laid_fill_the_first_blocks():
    """What was laid by hand would not be in the plan."""
    laid = (("T01", "T20", "T39"),)
    session = replace(session_of(pile()), laying=SimpleNamespace(stacks=laid))
    session = replace(session, planning=planning.with_fill(Planning(), "laid"))
    assert planning.laid_stacks(session) == laid
    done = planning.filled(session, laid)
    assert done.plan.blocks[0].core.stacks[0] == laid[0]
    assert done.filled == 8
    judged = SimpleNamespace(layers=("T01", "T20"))
    assert planning.laid_stacks(replace(session, laying=SimpleNamespace(stacks=[judged]))) == (("T01", "T20"),)


def test_what_does_not_matter_for_filling_leaves_the_answer():
    """Every change of a margin would have pieces chosen anew, and perhaps other ones."""
    session = session_of(pile())
    done = planning.filled(session)
    moved = replace(session, planning=planning.with_length(session.planning, "gap", "2"))
    assert planning.question(session) == planning.question(moved)
    again = planning.refilled(moved.planning.plan, done)
    assert again.plan.gap == 2 * INCH
    assert again.plan.swatches == done.plan.swatches
    for other in (
        planning.with_block(session.planning, 0, count="3"), planning.with_length(session.planning, "rim", "1/8"),
        planning.with_background(session.planning, lightness="30"), planning.with_fill(session.planning, "greys"),
    ):
        assert planning.question(session) != planning.question(replace(session, planning=other))


@pytest.mark.parametrize(
    "data",
    [{}, None, [], {"plan": None}, {"plan": {"units": "in"}}, {"plan": {"units": "in", "block": 3}}, {"fill": "x"},
     {"plan": {"units": "in", "block": [{"prints": ["x"]}]}, "fill": 3}, {"plan": "units"}],
)  # fmt: skip
def test_strange_data_gives_a_new_plan_and_says_so(data):
    """A project kept by another version could not be opened at all."""
    found = Planning.from_plain(data, session_of(pile()), None)
    assert found.plan == Planning().plan
    assert bool(found.note) == bool(data)


def test_what_is_kept_of_a_plan_is_found_again():
    """The plan would be gone after a reload."""
    kept = Planning(replace(read_plan(DEMO), table=None), "laid", True)
    assert Planning.from_plain(kept.to_plain(), session_of(pile()), None) == kept
    assert Planning.from_plain(kept.to_plain() | {"fill": "odd"}, session_of(pile()), None).fill == "chosen"


# Words.


def test_what_to_paint_next_says_how_light_which_print_and_how_the_pile_got_there():
    """The panel would say what is missing and leave her alone with it."""
    session = session_of(pile(12))
    plan = planning.with_plates(Planning(), "rings 3 1/2; dots 2 1/2").plan
    done = fill_plan(plan, session.sorted.table)
    text = " ".join(plan_words.paint_next(done, session.sorted.table, session.breaks))
    assert "4 darks (L* up to 40) as prints of 3 1/2 in" in text
    assert "4 lights (L* above 70) as prints of 1 3/4 in" in text
    assert "mediums (L* 40 to 70) as prints of 2 1/2 in" in text
    assert "Plates at hand for these: rings and dots." in text
    assert "Darks of this pile came of soot on undyed." in text
    assert plan_words.paint_next(replace(done, missing=()), session.sorted.table, session.breaks) == ()


def test_a_group_the_pile_is_not_sorted_into_is_named():
    """Someone would look for the very dark pieces of a pile in three groups."""
    plan = plan_of_values({"units": "mm", "block": [{"prints": [80], "layers": ["very dark"]}]})
    done = fill_plan(plan, session_of(pile(9)).sorted.table)
    [text] = plan_words.paint_next(done, pile(9).assign(group="dark").drop(columns="paints"), fixed_breaks())
    assert text == "Paint next: 1 very dark piece, though this pile has no group 'very dark' as prints of 80 mm."


def test_several_sizes_of_a_group_are_listed_with_their_numbers():
    """All prints would be painted in one size."""
    plan = plan_of_values({"units": "mm", "block": [{"prints": [80, 50], "count": 2, "layers": ["dark", "dark"]}]})
    done = fill_plan(plan, session_of(pile(0)).sorted.table)
    table = pd.DataFrame({"group": ["dark"], "paints": ["soot"]})
    assert plan_words.paint_next(done, table, fixed_breaks()) == (
        "Paint next: 4 darks (L* up to 40) as prints, 2 of 80 mm and 2 of 50 mm.", "Darks of this pile came of soot.",
    )  # fmt: skip


def test_the_tables_say_all_that_is_to_be_cut_had_and_done():
    """A square or a caution would be missing from the page that is worked from."""
    cut = cut_plan(replace(read_plan(DEMO), table=None))
    squares = plan_words.square_rows(cut)
    assert sum(int(row[0]) for row in squares) == cut.square_count
    assert any("▮▮▮ light" in row and "T08" in row[-1] for row in squares)
    assert [row[0] for row in plan_words.stack_rows(cut)] == ["6", "12", "6"]
    items = dict((row[0], row[1]) for row in plan_words.item_rows(cut))
    assert {"Fusible web", "Cloth to paint", "Background, pebble linen"} <= set(items)
    cautions = " ".join(row[-1] for row in plan_words.day_rows(cut))
    assert all(word in cautions for word in ("Blade:", "Hot iron:", "Fumes:", "Pigment and oil:", "Oily rags"))
    for table, head in ((squares, plan_words.SQUARE_HEAD), (plan_words.stack_rows(cut), plan_words.STACK_HEAD),
                        (plan_words.item_rows(cut), plan_words.ITEM_HEAD),
                        (plan_words.day_rows(cut), plan_words.DAY_HEAD)):  # fmt: skip
        assert {len(row) for row in table} == {len(head)}


def test_the_measures_of_a_block_are_those_of_its_parts():
    """A surround would be cut to the size of another. By hand: 3 5/8 and 3 7/8, and a gap of 1/4 in times √2: 7.85."""
    block = read_plan(DEMO).blocks[0]
    rows = [tuple(cell.replace("\N{NO-BREAK SPACE}", " ") for cell in row) for row in plan_words.part_rows(block, "in")]
    assert rows == [
        ("core", "3 5/8 in", "3 5/8 in, 2 5/8 in, 1 7/8 in", "left whole"),
        ("surround 1", "≈ 5 1/2 in", "3 5/8 in, 2 5/8 in, 1 7/8 in", "1 stack cut into quarters"),
        ("surround 2", "≈ 7 7/8 in", "3 5/8 in, 2 5/8 in, 1 7/8 in", "2 stacks cut into halves"),
    ]
    assert plan_words.piece_rows(block, 1) == [
        ("core", "T16, T18, T08"),
        *[(f"surround {number}", "still to be filled: ▮ dark, ▮▮ medium, ▮▮▮ light") for number in (1, 2, 2)],
    ]


def test_the_state_is_one_sentence_whatever_it_is():
    """The heading would contradict the wall."""
    session = session_of(pile())
    done = planning.filled(session)
    now = session.planning
    assert plan_words.state_sentence(now, done).startswith("4 blocks, all 8 stacks filled; weakest step 2")
    short = planning.filled(session_of(pile(12)))
    assert plan_words.state_sentence(now, short).startswith("4 blocks, 4 of 8 stacks filled; weakest step")
    assert plan_words.state_sentence(now, FilledPlan(now.plan)) == "4 blocks, 0 of 8 stacks filled."
    greys = planning.with_fill(now, "greys")
    assert plan_words.state_sentence(greys, FilledPlan(now.plan)) == (
        "4 blocks in the greys of their groups; 8 stacks to be filled."
    )
    assert plan_words.state_sentence(replace(now, fused=True), done) == "4 blocks, fused: their pieces are used."


# Pictures.


def test_the_fast_wall_is_the_wall_drawn_whole():
    """The panel would show another wall than the printed page: blocks moved, turned, or on another ground."""
    table = made_table(30)
    plan = fill_plan(replace(read_plan(DEMO), table=None), table, seconds=0.2).plan
    layout, stand_in = lay_out(plan), Pile.of(table, {})
    fast = Walls().wall(plan, layout, stand_in, side=600)
    assert 540 < max(fast.shape) <= 600
    width, height = float(layout.width), float(layout.height)
    placed = [
        piece for laid in layout.blocks
        for piece in block_placed(
            plan.blocks[laid.kind].shape, stacks_of(plan.blocks[laid.kind], laid.number, stand_in),
            centre=(float(laid.centre[0]), float(laid.centre[1])),
        )
    ]
    whole = render(placed, {}, background=66, size_mm=(width, height), pixels_per_mm=fast.shape[0] / height,
                   centre=(width / 2, height / 2))  # fmt: skip
    apart = np.abs(encoded(fast).astype(int) - encoded(whole).astype(int)).max(axis=2)
    assert fast.shape == whole.shape
    # Edges differ, as blocks lie to the nearest pixel; a block that lies elsewhere or is another differs by far more.
    assert (apart > 24).mean() < 0.05
    assert np.median(apart) == 0


def test_a_wider_margin_leaves_the_blocks_at_the_size_they_were_drawn_at():
    """Every step of the margin would draw all pieces again."""
    first, walls = planning.with_block(Planning(), 0, count="36"), Walls()
    for margin in ("3", "3.1"):
        plan = planning.with_length(first, "margin", margin).plan
        walls.wall(plan, lay_out(plan), Pile({}, {}))
    assert len(walls.tiles) == 1


def test_blocks_are_drawn_once_and_kept_until_there_are_too_many(monkeypatch):
    """Every look at another block would draw the whole wall again; or the memory fill over a day."""
    from contrastkit.panels import wall

    plan, layout, walls = Planning().plan, lay_out(Planning().plan), Walls()
    first = walls.wall(plan, layout, Pile({}, {}))
    assert len(walls.tiles) == 1  # all four are alike in greys
    calls = []
    monkeypatch.setattr(wall, "render", lambda *_, **__: calls.append(1))
    assert np.array_equal(walls.wall(plan, layout, Pile({}, {})), first)
    assert not calls
    monkeypatch.undo()
    monkeypatch.setattr(wall, "_MOST_TILES", 1)
    walls.block(plan, layout.blocks[0], Pile({}, {}))
    assert len(walls.tiles) == 1


def test_real_pieces_are_drawn_from_their_pictures():
    """The wall would show greys though there are pictures."""
    plan = plan_of_values({"units": "mm", "block": [{"prints": [80], "stacks": [["a"]]}]})
    red = np.zeros((200, 200, 3), np.uint8) + np.uint8([200, 20, 20])
    pieces = Pile.of(pd.DataFrame({"swatch_id": ["a"], "lightness": [43.0]}), small_squares({"a": red}))
    picture = Walls().wall(plan, lay_out(plan), pieces, side=50)
    assert picture[25, 25, 0] > 20 * picture[25, 25, 1]


# The panel.


def test_the_panel_opens_with_the_wall_filled(panel):
    """She would have to press something before she sees anything."""
    assert panel.state.value.startswith("4 blocks, all 8 stacks filled")
    assert panel.wall.data[:2] == b"\xff\xd8"
    assert panel.wall.alt.startswith("The wall, ≈ 18 7/16 in wide and ≈ 18 7/16 in high. 4 blocks")
    assert len(panel.wall.blocks) == 4
    assert panel.block_words.value == "Block, 1 of 4: ≈ 5 1/2 in finished"
    assert panel.stale.layout.display == "none"
    assert panel.print.main and not panel.keep.main


@pytest.mark.parametrize(
    ("field", "text", "found"),
    [
        ("rim", "1/8", lambda plan: plan.rim == INCH / 8),
        ("gap", "0", lambda plan: plan.gap == 0),
        ("margin", "2 cm", lambda plan: plan.background.margin == 20),
        ("spacing", "", lambda plan: plan.background.spacing == 0),
        ("in_row", "4", lambda plan: plan.background.in_row == 4),
        ("lightness", "66", lambda plan: plan.background.lightness == 66),
        ("cloth", "pebble linen", lambda plan: plan.background.cloth == "pebble linen"),
        ("web", "20", lambda plan: plan.web.width == 20 * INCH),
        ("cloth width", "60", lambda plan: plan.cloth_width == 60 * INCH),
        ("cloth sheet", "20 x 30", lambda plan: (plan.cloth.width, plan.cloth.length) == (20 * INCH, 30 * INCH)),
        ("cloth room", "", lambda plan: plan.cloth.room == 0),
        ("plates", "rings 3 1/2", lambda plan: plan.plates[0].motif == "rings"),
    ],
)
def test_every_line_of_the_settings_changes_its_part_of_the_plan(panel, field, text, found):
    """A field would do nothing, or something else."""
    before = panel.desk.session
    panel.lines[field].value = text
    assert found(plan_on(panel))
    assert not panel.lines[field].problem
    assert panel.desk.said
    panel.undo.press()
    assert panel.desk.session is before
    assert panel.lines[field].value == plan_words.entries(plan_on(panel))[field]


def test_the_kind_of_block_is_changed_by_its_own_controls(panel):
    """A count or a surround would not arrive in the plan."""
    panel.title.value = "Evening wall"
    panel.units.value = "mm"
    panel.name.value = "Lantern"
    panel.count.value = "3"
    panel.surrounds.value = 2
    panel.turned[1].value = True
    panel.layers[0].value = "light"
    panel.layers[2].value = "dark"
    plan = plan_on(panel)
    [block] = plan.blocks
    assert (plan.title, plan.unit, block.name, block.count) == ("Evening wall", "mm", "Lantern", 3)
    assert [each.turned for each in block.shape.surrounds] == [False, True]
    assert block.core.groups == ("light", "medium", "dark")
    panel.prints.value = "90 mm, 60 mm"
    assert plan_on(panel).blocks[0].core.groups == ("dark", "light")
    assert [pick.label for pick in panel.layers] == ["Layer 1, bottom", "Layer 2"]
    assert panel.prints.value == "90, 60"
    panel.surrounds.value = 0
    assert plan_on(panel).blocks[0].shape.surrounds == ()
    assert all(tick.layout.display == "none" for tick in panel.turned)


def test_a_bad_entry_is_one_sentence_beside_its_field_and_changes_nothing(panel):
    """The plan would be half changed, or the reason stand where nobody looks."""
    before, wall = panel.desk.session, panel.wall.data
    for line, text in ((panel.lines["gap"], "-1"), (panel.count, "few"), (panel.title, ""), (panel.text, "units =")):
        line.value = text
        assert line.problem.endswith(".")
        assert line.value == text  # to be corrected, not typed again
        assert panel.desk.session is before
    assert panel.wall.data == wall
    assert panel.undo.disabled
    panel.lines["gap"].value = "1"
    assert not panel.lines["gap"].problem and not panel.count.problem


def test_more_surrounds_than_the_panel_offers_come_in_as_text_and_are_shown(panel):
    """The page would show three surrounds where the plan has four."""
    panel.text.value = plan_text(plan_on(panel)) + "\n[[block.surrounds]]\n" * 3
    assert len(plan_on(panel).blocks[0].shape.surrounds) == 4
    assert ["4", 4] in panel.surrounds.options
    assert panel.surrounds.value == 4
    panel.surrounds.value = 3
    assert len(plan_on(panel).blocks[0].shape.surrounds) == 3
    assert ["4", 4] not in panel.surrounds.options


def test_what_would_not_fit_on_the_web_puts_the_surrounds_back(panel):
    """A choice would look taken though the plan is as before."""
    panel.lines["web"].value = "4"
    panel.surrounds.value = 3  # whose squares are twice as wide
    assert len(plan_on(panel).blocks[0].shape.surrounds) == 1
    assert panel.surrounds.value == 1
    assert panel.desk.problem.startswith("Fusible web: Every square must fit")


def test_kinds_of_blocks_are_added_looked_at_and_taken_away(panel):
    """The controls would change another kind than the one in view."""
    panel.another.press()
    assert [block.name for block in plan_on(panel).blocks] == ["Block", "Block 2"]
    assert panel.kind.layout.display != "none"
    panel.kind.value = 1
    assert panel.name.value == "Block 2"
    assert panel.wall.value == 4
    panel.count.value = "1"
    assert [block.count for block in plan_on(panel).blocks] == [4, 1]
    panel.in_turn.value = True
    assert plan_on(panel).background.in_turn
    panel.away.press()
    assert [block.name for block in plan_on(panel).blocks] == ["Block"]
    assert panel.away.disabled


def test_one_block_after_another_is_looked_at(panel):
    """Pointing at the wall would show another block than the one pointed at."""
    panel.wall.value = 2
    assert panel.block_words.value.startswith("Block, 3 of 4")
    assert [row[0] for row in panel.pieces.value] == ["core", "surround 1"]
    pieces = panel.pieces.value
    panel.next.press()
    assert panel.wall.value == 3
    assert panel.pieces.value != pieces
    assert panel.next.disabled
    for _ in range(5):
        panel.before.press()
    assert panel.wall.value == 0
    assert panel.before.disabled
    panel.wall.value = 99
    assert panel.wall.value == 3


def test_blocks_are_filled_with_greys_or_with_what_was_laid(panel):
    """The choice of filling would do nothing."""
    panel.fill.value = "greys"
    assert panel.done.filled == 0
    assert "in the greys of their groups" in panel.state.value
    assert panel.aside.disabled
    panel.fill.value = "chosen"
    assert panel.done.filled == 8
    laid = SimpleNamespace(stacks=(("T00", "T20", "T39"),))
    panel.desk.change(replace(panel.desk.session, laying=laid), "Laid.")
    assert panel.stale.layout.display != "none"
    panel.fill.value = "laid"
    assert panel.done.plan.blocks[0].core.stacks[0] == ("T00", "T20", "T39")
    assert panel.stale.layout.display == "none"


def test_a_pile_that_changes_is_not_chosen_from_anew_under_the_hand(panel):
    """Dragging an edge in the Sort panel would wait for the Plan panel, and the wall change unasked."""
    wall = panel.wall.data
    less = panel.desk.session.table.iloc[:30].reset_index(drop=True)
    panel.desk.change(panel.desk.session.with_pile(less, {}), "Ten pieces less.")
    assert panel.wall.data == wall
    assert panel.stale.layout.display != "none"
    panel.again.press()
    assert panel.stale.layout.display == "none"
    assert not set(panel.done.plan.swatches) - set(less["swatch_id"])
    assert "missing" in panel.shortage[0].value
    assert panel.shortage[1].value.startswith("Paint next: ")


def test_the_same_pile_read_again_is_no_other_pile(panel):
    """Keeping would ask to fill the plan again."""
    session = panel.desk.session
    panel.desk.change(session.with_pile(session.table.copy(), {}), "Read again.")
    assert panel.stale.layout.display == "none"


def test_picked_pieces_are_found_in_the_plan(panel):
    """A piece picked elsewhere could not be found on the wall."""
    name = panel.done.plan.blocks[0].core.stacks[0][0]
    panel.desk.change(panel.desk.session.picking(name), "Picked.")
    assert panel.picked.value == f"Picked: {name} in Block, core."
    panel.undo.press()
    assert panel.picked.value == ""


def test_the_cut_list_is_worked_out_when_it_is_opened(panel):
    """The list would be empty, or every change wait for it."""
    assert panel.tables["squares"].value == []
    panel.cut_list.button.press()
    assert panel.cut_words.value.startswith("24 squares to cut")
    assert len(panel.tables["squares"].value) == 3
    panel.surrounds.value = 0
    assert panel.cut_words.value.startswith("12 squares to cut")
    assert panel.tables["stacks"].layout.display == "none"


def test_a_cut_list_that_cannot_be_made_says_why(panel, monkeypatch):
    """The tables would go on showing the cut list before."""

    def refuse(_):
        raise InvalidInputError("It does not fit.")

    monkeypatch.setattr(plan_panel, "cut_plan", refuse)
    panel.cut_list.button.press()
    assert panel.cut_words.value == "It does not fit."


def test_the_plan_as_text_is_read_back_and_offered_as_a_file(panel):
    """The plan could not be carried to another computer."""
    text = DEMO.read_text(encoding="utf-8").replace("pebble", "<b>pebble</b>")
    panel.text.value = text
    assert plan_on(panel).title == "Evening wall"
    assert plan_on(panel).background.cloth == "<b>pebble</b> linen"
    assert plan_on(panel).table is None
    assert panel.toml.name == "plan.toml"
    assert read_text(panel.toml.data).blocks[0].name == "Lantern"


def read_text(data):
    from contrastkit.compose.plan import plan_of_text

    return plan_of_text(data.decode())


def test_printing_writes_the_folder_says_where_and_offers_the_page(panel, tmp_path):
    """She would look for the file all over the computer."""
    panel.title.value = "../Evening: wall"
    panel.print.press()
    folder = tmp_path / "plans" / "Evening wall"
    assert sorted(file.name for file in folder.iterdir()) == ["cut-list.csv", "plan.html"]
    assert panel.desk.said == f"Printed to {folder}: plan.html to print, cut-list.csv for a spreadsheet."
    assert panel.page.data == (folder / "plan.html").read_bytes()
    assert [offer.name for offer in panel.files] == ["plan.html", "cut-list.csv"]
    assert panel.busy.value == ""
    panel.count.value = "5"
    assert panel.page.data == b""  # it was another plan's


def test_a_place_that_cannot_be_written_to_is_said_and_nothing_offered(panel, tmp_path):
    """Printing would end in silence."""
    (tmp_path / "plans").write_text("a file")
    panel.print.press()
    assert "must be a folder" in panel.desk.problem or "cannot" in panel.desk.problem
    assert panel.page.data == b""
    assert panel.busy.value == ""


def test_plans_are_printed_into_the_users_documents(monkeypatch, tmp_path):
    """The folder would be somewhere that nobody opens."""
    monkeypatch.setenv("XDG_DOCUMENTS_DIR", str(tmp_path))
    assert PlanPanel(Desk(session_of(pile(3)))).folder.name == "contrastkit"


def test_a_table_without_a_catalogue_cannot_be_kept_and_says_so(panel):
    """The button would seem to have worked."""
    for press in (panel.keep, panel.aside):
        press.press()
        assert panel.desk.problem.startswith("Keeping needs a catalogue")


def test_a_plan_is_kept_and_found_again(kept):
    """An hour's planning would be gone with the page."""
    panel, where = kept
    panel.title.value = "Evening wall"
    panel.fill.value = "laid"
    panel.keep.press()
    assert panel.desk.said == "The plan is kept with evening."
    again = open_desk(where, project="evening")
    assert again.session.planning == panel.desk.session.planning
    again.close()


def test_pieces_are_set_aside_fused_and_taken_back(kept):
    """Pieces would be used up by a slip, or stay free for another project."""
    panel, where = kept
    panel.count.value = "2"
    panel.surrounds.value = 0
    panel.aside.press()
    stacks = panel.done.plan.blocks[0].core.stacks
    assert len(stacks) == 2
    assert panel.desk.said == "6 pieces set aside for evening."
    assert panel.desk.session.planning.set_aside == stacks
    assert panel.desk.catalogue.project("evening").stacks == stacks
    assert panel.fuse.layout.display != "none"

    assert panel.sure.layout.display == "none"
    panel.fuse.press()
    assert "6 pieces will be marked as used" in panel.asked.value
    panel.no.press()
    assert panel.sure.layout.display == "none"
    assert panel.desk.catalogue.project("evening").state == "under way"

    panel.fuse.press()
    panel.yes.press()
    assert panel.desk.catalogue.project("evening").state == "fused"
    assert len(panel.desk.session.table) == 18
    assert panel.state.value == "2 blocks, fused: their pieces are used."
    assert panel.fuse.layout.display == panel.sure.layout.display == "none"
    panel.print.press()  # though its pieces are no longer in the pile
    assert panel.page.data

    again = open_desk(where, project="evening")
    assert PlanPanel(again).state.value == panel.state.value
    again.close()

    panel.undo.press()
    assert panel.desk.catalogue.project("evening").state == "under way"
    assert len(panel.desk.session.table) == 24
    assert panel.done.plan.blocks[0].core.stacks == stacks


def test_setting_aside_is_taken_back_with_its_pieces(kept):
    """Undo would give the plan back and keep its pieces from other projects."""
    panel, _ = kept
    panel.aside.press()
    assert panel.desk.session.planning.set_aside
    panel.undo.press()
    assert panel.desk.catalogue.projects() == []
    assert set(panel.desk.session.table["state"]) == {"at hand"}
    assert panel.desk.session.planning.set_aside == ()


def test_a_fused_plan_that_is_changed_is_filled_with_other_pieces(kept):
    """A second wall would be planned with the pieces of the first."""
    panel, _ = kept
    panel.count.value, panel.surrounds.value = "2", 0
    panel.aside.press()
    used = set(panel.done.plan.swatches)
    panel.yes.press()
    panel.count.value = "1"
    assert not panel.desk.session.planning.fused
    assert not used & set(panel.done.plan.swatches)


def test_a_kept_plan_that_cannot_be_read_is_said_above_the_new_one():
    """The plan would be replaced in silence."""
    session = session_of(pile())
    note = Planning.from_plain({"plan": {"units": "ell"}}, session, None)
    panel = PlanPanel(Desk(replace(session, planning=note)))
    assert panel.shortage[0].value.startswith("The plan that was kept with this project cannot be read: Units must be")
    panel.count.value = "3"
    assert "cannot be read" not in panel.shortage[0].value


def test_hostile_names_stay_text(tmp_path):
    """A piece's name from a file would run in the page."""
    names = ['<img src=x onerror="alert(1)">', "=1+1", "a\nb", "𝄞"]
    table = pd.DataFrame({"swatch_id": names, "lightness": [20.0, 50.0, 80.0, 90.0]})
    panel = PlanPanel(Desk(session_of(table)), folder=tmp_path)
    panel.name.value = "<script>alert(2)</script>"
    panel.print.press()
    assert names[0] in panel.pieces.value[0][1]
    page = panel.page.data.decode()
    assert "<img src=x" not in page and "<script>alert" not in page


def test_an_empty_desk_has_a_plan_in_greys():
    """The page could not be opened before the first photograph."""
    panel = PlanPanel(Desk(session_of(pile(0))))
    assert panel.state.value == "4 blocks, 0 of 8 stacks filled."
    assert "8 darks of at least 3 5/8 in are missing." in panel.shortage[0].value
    assert panel.wall.data


def test_a_large_wall_is_drawn_whole(panel):
    """Blocks would be left out, or the page wait without a word."""
    said = []
    panel.busy.observe(lambda change: said.append(change["new"]), "value")
    panel.count.value = "30"
    assert len(panel.wall.blocks) == 30
    assert any("Choosing pieces for 60 stacks" in words for words in said)
    assert any("Drawing 450 pieces" in words for words in said)
    assert panel.busy.value == ""


@pytest.mark.parametrize("title", ["", "..", "/", "\x00", "∕", "a" * 200, "Wand für Änne"])
def test_a_folder_of_any_title_lies_where_it_should(title, tmp_path):
    """A title would write outside the folder for plans."""
    name = plan_panel._folder_name(title)
    assert (tmp_path / name).resolve().parent == tmp_path.resolve()
    assert name and len(name) <= 60
