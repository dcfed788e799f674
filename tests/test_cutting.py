"""Cut plans: every piece once, amounts as worked out by hand, cuts in order, cautions beside their steps."""

import json
import math
from collections import Counter
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from contrastkit.compose.blocks import BlockShape, Surround
from contrastkit.compose.cutting import (
    cut_plan,
    cutting_order,
    length_for_sheets,
    length_of_cloth,
    plan_document,
    shopping_list,
)
from contrastkit.compose.days import BLADE, FUMES, IRON, PIGMENT, RAGS
from contrastkit.compose.exact import Root2, area
from contrastkit.compose.packing import Material
from contrastkit.compose.plan import Background, Layers, Plan, PlannedBlock, Plate, read_plan
from contrastkit.errors import InvalidInputError

DEMO = Path(__file__).parents[1] / "data" / "thistlewick" / "plan.toml"
INCH = Fraction(127, 5)
SIXTEENTH = INCH / 16


@pytest.fixture(scope="module")
def demo():
    return cut_plan(read_plan(DEMO))


@st.composite
def plans(draw, *, supplies=True):
    """Plans of a few kinds of blocks, in sixteenths of an inch; the swatches of some cores are named."""
    rim, gap = draw(st.integers(0, 2)) * SIXTEENTH, draw(st.integers(0, 8)) * SIXTEENTH
    blocks = []
    for name in "abc"[: draw(st.integers(1, 3))]:
        prints = sorted(draw(st.sets(st.integers(8, 80), min_size=1, max_size=4)), reverse=True)
        turned = draw(st.lists(st.booleans(), max_size=3))
        shape = BlockShape(
            tuple(side * SIXTEENTH for side in prints), rim, gap, tuple(Surround(turned=each) for each in turned)
        )
        count = draw(st.integers(1, 5))
        groups = tuple(draw(st.sampled_from(["", "dark", "medium", "light"])) for _ in prints)
        named = tuple(
            tuple(f"{name}{number}.{layer}" for layer in range(len(prints)))
            for number in range(draw(st.integers(0, count)))
        )
        blocks.append(PlannedBlock(name, count, shape, Layers(groups, named), tuple(Layers(groups) for _ in turned)))
    ground = Background(margin=draw(st.integers(0, 64)) * SIXTEENTH, in_row=draw(st.integers(1, 4)))
    web = draw(st.sampled_from([Material(30 * INCH), Material(22 * INCH, 24 * INCH)]))
    cloth = draw(st.sampled_from([None, Material(44 * INCH, None, INCH / 8), Material(22 * INCH, 25 * INCH, INCH / 4)]))
    if not supplies:
        web = cloth = None
    return Plan("Wall", "in", rim, gap, ground, tuple(blocks), web, cloth, 44 * INCH)


# Every piece once.


@settings(max_examples=40, deadline=None)
@given(plan=plans(supplies=False))
def test_every_piece_of_every_block_is_cut_just_once(plan):
    """Squares would be short in the middle of fusing, or left over. Counted from the pieces of the finished blocks."""
    wanted: Counter[tuple[str, Fraction, int]] = Counter()
    for block in plan.blocks:
        stacks = {(piece.stack, piece.layer) for piece in block.shape.pieces}
        for stack, layer in stacks:
            wanted[block.name, block.shape.stacks[stack][layer], layer] += block.count
    cut = cut_plan(plan)
    found: Counter[tuple[str, Fraction, int]] = Counter()
    for each in cut.squares:
        assert each.count == sum(count for _, count in each.blocks)
        for name, count in each.blocks:
            found[name, each.side, each.layer] += count
    assert found == wanted


@settings(max_examples=40, deadline=None)
@given(plan=plans(supplies=False))
def test_the_squares_are_as_large_together_as_the_pieces_of_all_blocks(plan):
    """Cloth would go missing between cutting and laying, exactly, √2 and all: a stack is cut up without a scrap."""
    laid = sum(
        (area(piece.corners) * block.count for block in plan.blocks for piece in block.shape.pieces), Root2(Fraction(0))
    )
    assert laid == Root2(cut_plan(plan).area)


@settings(max_examples=15, deadline=None)
@given(plan=plans())
def test_web_and_cloth_hold_each_square_once_with_what_is_at_hand_left_out_of_the_cloth(plan):
    """Too little would be bought, or prints rubbed that are there already."""
    cut = cut_plan(plan)
    sides, to_rub = Counter(), Counter()
    for each in cut.squares:
        sides[each.side] += each.count
        to_rub[each.group, each.side] += each.count - len(each.swatches)
    assert cut.web is not None
    assert Counter(square.side for square in cut.web.squares) == sides
    if plan.cloth is not None:
        rubbed = Counter(
            (cloth.group, cloth.packing.trimmed(square)) for cloth in cut.cloth for square in cloth.packing.squares
        )
        assert rubbed == +to_rub
    assert cut.rubbings == sum(to_rub.values()) == cut.square_count - len(plan.swatches)
    assert sorted(name for each in cut.squares for name in each.swatches) == sorted(plan.swatches)


@settings(max_examples=15, deadline=None)
@given(plan=plans())
def test_the_cuts_in_their_order_free_every_square(plan):
    """Who follows the page cut for cut would end with other squares than planned."""
    web = cut_plan(plan).web
    assert web is not None
    freed: Counter[Fraction] = Counter()
    for cuts in cutting_order(web):
        for width, strips, squares in cuts.strips:
            assert squares * width <= cuts.height
            freed[width] += len(cuts.sheets) * cuts.count * strips * squares
        assert sum(width * strips for width, strips, _ in cuts.strips) <= max(web.material.width, web.sheets[0].width)
    assert freed == Counter(square.side for square in web.squares)


def test_stacks_are_cut_up_after_they_are_fused(demo):
    """
    By hand: six Lanterns take one stack each for quarters and two for halves, six Hearths one each for quarters; each
    surround of four triangles.
    """
    found = [(each.block, each.surround, each.into, each.stacks, each.triangles) for each in demo.stacks]
    assert found == [
        ("Lantern", 1, "quarters", 6, 24), ("Lantern", 2, "halves", 12, 24), ("Hearth", 1, "quarters", 6, 24)
    ]
    side = Fraction(29, 8) * INCH
    assert [each.long_side for each in demo.stacks] == [Root2(side), Root2(0, side), Root2(side)]


# The demo, by hand.


def test_the_squares_of_the_demo_by_hand(demo):
    """
    Six Lanterns of 4 stacks (core, 1 + 2 further) and six Hearths of 2: 36 stacks, so 36 squares of each layer:
    prints of 3 1/2, 2 1/2 and 1 3/4 in with two rims of 1/16 in are cut to 3 5/8, 2 5/8 and 1 7/8 in.
    """
    sides = Counter()
    for each in demo.squares:
        sides[each.side] += each.count
    assert sides == {Fraction(29, 8) * INCH: 36, Fraction(21, 8) * INCH: 36, Fraction(15, 8) * INCH: 36}
    groups = {(each.layer, each.group): each.count for each in demo.squares}
    assert groups == {(0, "dark"): 24, (0, "light"): 12, (1, "medium"): 36, (2, "dark"): 12, (2, "light"): 24}


def test_prints_plates_and_rubbings_of_the_demo_by_hand(demo):
    """36 squares of each size less the 6 swatches named for it leave 30 rubbings; two plates make the largest print."""
    assert [(each.count, each.at_hand, each.rubbings) for each in demo.prints] == [(36, 6, 30)] * 3
    assert [[plate.motif for plate in each.plates] for each in demo.prints] == [
        ["rings", "chevrons"], ["dots"], ["spiral"]
    ]


def test_the_background_of_the_demo_by_hand(demo):
    """
    Lantern 2 x 3 5/8 + (1 + √2) / 4 = 7.853553 in, Hearth √2 x 3 7/8 = 5.480078 in. The widest row has two Lanterns
    and a Hearth: 21.187184 + 2 x 1.5 + 2 x 3 = 30.187184. Four rows of a Lantern: 31.414214 + 3 x 1.5 + 6 = 41.914214.
    Rounded up to sixteenths: 30 3/16 and 41 15/16; on cloth 44 in wide it lies across, and 30 3/16 in are bought.
    """
    ground = demo.background
    assert float(ground.layout.width / INCH) == pytest.approx(30.187184, abs=1e-6)
    assert float(ground.layout.height / INCH) == pytest.approx(41.914214, abs=1e-6)
    assert (ground.width, ground.height) == (Fraction(483, 16) * INCH, Fraction(671, 16) * INCH)
    assert ground.length == ground.width


def test_packing_of_the_demo_is_within_a_tenth_of_the_area_bound(demo):
    """More web or cloth would be bought than a tenth over what nothing can beat."""
    assert demo.web is not None
    assert 1 <= demo.web.over_bound <= Fraction(110, 100)
    assert [each.group for each in demo.cloth] == ["dark", "medium", "light"]
    for each in demo.cloth:
        assert 1 <= each.packing.over_bound <= Fraction(110, 100)


def test_the_sheets_of_the_demo_by_hand(demo):
    """Three sheets of 18 x 22 in from cloth 44 in wide: two side by side, so two rows of 18 in: 36 in."""
    assert [len(each.packing.sheets) for each in demo.cloth] == [1, 1, 1]
    assert length_for_sheets(demo) == 36 * INCH


def test_what_is_said_of_the_demo(demo):
    """The first thing read would be wrong."""
    assert demo.finding == "Evening wall: 12 blocks from 108 squares and 51 3/4 in of web"
    assert demo.sentences == (
        "108 squares to cut: 36 of 3 5/8 in, 36 of 2 5/8 in, 36 of 1 7/8 in.",
        "90 prints to rub; 18 swatches are at hand.",
        "Cloth to paint: 3 sheets; of what is used, 20 % is trimmed off or left over.",
        "Fusible web: 51 3/4 in; of what is used, 4 % is left over.",
        "Background: 30 3/16 in wide and 41 15/16 in high, hanging margin included.",
    )


def test_the_shopping_list_of_the_demo(demo):
    """Something would be missing on the day of painting."""
    items = {item.what: (item.amount, item.note) for item in shopping_list(demo)}
    assert items["Cloth to paint"] == (
        "3 sheets of 18 × 22 in, from 36 in of cloth 44 in wide", "1 sheet dark, 1 sheet medium, 1 sheet light"
    )
    assert items["Relief plate for prints of 3 1/2 in"] == ("for 30 rubbings", "at hand: rings, chevrons")
    assert items["Paint sticks"] == ("for 90 prints", "30 dark, 30 medium, 30 light")
    assert items["Fusible web"][0] == "51 3/4 in of a roll 17 in wide"
    assert items["Background, pebble linen"][0] == "30 3/16 × 41 15/16 in, from 30 3/16 in of cloth 44 in wide"


# Other plans.


def made_plan(**changes):
    shape = BlockShape((Fraction(80), Fraction(56)), rim=Fraction(2), gap=Fraction(6), surrounds=(Surround(),))
    groups = Layers(("dark", "light"))
    plan = {
        "title": "Wall", "unit": "mm", "rim": Fraction(2), "gap": Fraction(6),
        "background": Background(margin=Fraction(50), in_row=2),
        "blocks": (PlannedBlock("Hearth", 3, shape, groups, (groups,)),),
    }
    return Plan(**plan | changes)


def test_without_supplies_there_are_areas_at_least():
    """A first sketch of a plan would say nothing, or pretend to know. Six stacks of 84² + 60² mm² are 639 cm²."""
    cut = cut_plan(made_plan())
    items = {item.what: (item.amount, item.note) for item in shopping_list(cut)}
    assert cut.web is None and cut.cloth == ()
    assert items["Fusible web"][0] == items["Cloth to paint"][0] == "639 cm² at least"
    assert items["Relief plate for prints of 80 mm"] == ("for 6 rubbings", "one is still to be made")
    assert cut.finding == "Wall: 3 blocks from 12 squares"


def test_cloth_by_the_bolt_is_told_by_its_length():
    """Cloth that is not cut into sheets first would be counted in sheets that nobody has."""
    cut = cut_plan(made_plan(cloth=Material(Fraction(1100))))
    amounts = {item.what: item.amount for item in shopping_list(cut)}
    assert amounts["Cloth to paint"] == "144 mm, 1100 mm wide"  # a row of 84 and a row of 60
    assert cut.sentences[2].startswith("Cloth to paint: 144 mm;")


@pytest.mark.parametrize(
    ("supply", "words"),
    [("web", "Fusible web: Every square must fit on the material"), ("cloth", "Cloth to paint: Every square must fit")],
)
def test_material_that_is_too_narrow_is_named(supply, words):
    """Nobody could tell which of the supplies does not do."""
    with pytest.raises(InvalidInputError, match=words):
        cut_plan(made_plan(**{supply: Material(Fraction(83))}))


@settings(max_examples=40, deadline=None)
@given(plan=plans(supplies=False), unit=st.sampled_from(["in", "mm"]))
def test_the_background_is_rounded_up_to_the_next_mark(plan, unit):
    """A background cut a hair too small would leave the margin short; one mark too large is a waste."""
    ground = cut_plan(Plan(plan.title, unit, plan.rim, plan.gap, plan.background, plan.blocks)).background
    mark = {"in": SIXTEENTH, "mm": Fraction(1)}[unit]
    for cut, exact in ((ground.width, ground.layout.width), (ground.height, ground.layout.height)):
        assert cut % mark == 0
        assert exact <= cut < exact + mark


@pytest.mark.parametrize(
    ("width", "height", "cloth", "length"),
    [(900, 700, 1100, 700), (1200, 700, 1100, 1200), (1200, 1300, 1100, None), (900, 700, None, None)],
)
def test_the_background_lies_the_thrifty_way_on_its_cloth(width, height, cloth, length):
    """More cloth than need be would be bought, or cloth that is too narrow."""
    wide = None if cloth is None else Fraction(cloth)
    assert length_of_cloth(Fraction(width), Fraction(height), wide) == length


def test_a_background_wider_than_the_cloth_is_said_to_need_joining():
    """She would find out with the scissors in her hand."""
    cut = cut_plan(made_plan(cloth_width=Fraction(200)))
    notes = {item.what: item.note for item in shopping_list(cut)}
    assert notes["Background"] == "hanging margin included; wider than cloth of 200 mm, so join two lengths"


def test_plates_are_matched_to_prints_by_their_size():
    """A plate at hand would be made again, or one of another size be counted on."""
    cut = cut_plan(made_plan(plates=(Plate("rings", Fraction(80)), Plate("dots", Fraction(55)))))
    assert [[plate.motif for plate in each.plates] for each in cut.prints] == [["rings"], []]


# Days and cautions.


def steps_of(cut):
    return [step for day in cut.days for step in day.steps]


def test_each_caution_stands_beside_every_step_it_belongs_to(demo):
    """A hand would be cut or burnt, or a heap of rags catch fire, for want of a word."""
    steps = {step.title: step.cautions for step in steps_of(demo)}
    for title, cautions in steps.items():
        assert (BLADE in cautions) == title.startswith("Cut ")
        assert (IRON in cautions) == (title in (
            "Cut the background", "Iron web to the backs", "Fuse the stacks", "Fuse to the background"))  # fmt: skip
        assert FUMES not in cautions or "iron" in title.lower() or "use " in title or title == "Leave the prints flat"
    assert steps["Rub the prints"] == (PIGMENT, RAGS)
    assert IRON in steps["Iron web to the backs"] and FUMES in steps["Iron web to the backs"]
    assert "closed metal can" in RAGS and "local rules" in RAGS
    assert "label" in IRON and "label" in FUMES and "label" in PIGMENT


def test_a_day_of_rest_lies_between_painting_and_ironing(demo):
    """Web would be ironed to wet paint."""
    titles = [day.title for day in demo.days]
    assert titles == ["Paint", "Let the paint rest", "Cut, back and stack", "Lay and fuse"]
    rest = demo.days[1].steps[0].text
    assert "about a day" in rest and "goes on curing for days" in rest and "label rules" in rest
    order = [step.title for step in steps_of(demo)]
    assert order.index("Rub the prints") < order.index("Iron web to the backs") < order.index("Cut the further stacks")


def test_what_is_not_needed_is_left_out_of_the_days():
    """Who has all swatches would be told to paint, and who has no surrounds to cut them."""
    shape = BlockShape((Fraction(80), Fraction(56)))
    block = PlannedBlock("Hearth", 1, shape, Layers(("", ""), (("a", "b"),)))
    cut = cut_plan(made_plan(blocks=(block,), rim=Fraction(0), web=Material(Fraction(430))))
    titles = {step.title for step in steps_of(cut)}
    assert titles.isdisjoint({"Rub the prints", "Cut the cloth", "Leave the prints flat", "Cut the further stacks"})
    assert cut.rubbings == 0 and "Paint" not in [day.title for day in cut.days]


def test_numbers_in_the_steps_are_those_of_the_plan(demo):
    """The page would contradict itself."""
    texts = {step.title: step.text for step in steps_of(demo)}
    assert texts["Rub the prints"].count("30 of ") == 3
    assert "3/8 in of cloth stays bare between" in texts["Rub the prints"]  # two rims of 1/16 and twice 1/8 of room
    assert "12 along both diagonals into quarters and 12 along one diagonal into halves" in texts[
        "Cut the further stacks"
    ]
    assert "hanging margin of 3 in" in texts["Lay the blocks"] and "gap of 1/4 in" in texts["Lay the blocks"]


# As plain values.


def test_the_document_has_what_the_command_promises(demo):
    """Whoever reads the JSON would find other names or numbers. Sizes in inches: √2 (s + g), 2 s + g (1 + √2)."""
    document = json.loads(json.dumps(plan_document(demo)))
    s, g = 3.625, 0.25
    lantern, hearth = document["blocks"]
    sizes = [s, math.sqrt(2) * (s + g), 2 * s + g * (1 + math.sqrt(2))]
    assert [each / 25.4 for each in lantern["finished_mm"]] == pytest.approx(sizes, abs=1e-9)
    assert [each / 25.4 for each in hearth["finished_mm"]] == pytest.approx(sizes[:2], abs=1e-9)
    squares = [each for each in document["cut"] if each["what"] == "square"]
    assert sum(each["count"] for each in squares) == 108
    assert {"what", "count", "side_mm", "layer", "group", "blocks"} <= set(squares[0])
    assert squares[0]["side_mm"] == pytest.approx(92.075, abs=1e-9)
    assert squares[0]["blocks"] == {"Lantern": 24}
    further = [each for each in document["cut"] if each["what"] != "square"]
    assert [each["what"] for each in further] == [
        "fused stack into quarters", "fused stack into halves", "fused stack into quarters"
    ]
    assert document["web"]["used_length_mm"] == pytest.approx(51.75 * 25.4, abs=1e-9)
    assert document["background"]["width_mm"] == pytest.approx(30.1875 * 25.4, abs=1e-9)
