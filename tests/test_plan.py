"""Plans: what a TOML file may say, and one clear sentence, with its place, for whatever it may not."""

import math
from fractions import Fraction
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from contrastkit.compose.groups import equal_breaks
from contrastkit.compose.layout import lay_out
from contrastkit.compose.plan import (
    MOST_PIECES,
    Layers,
    check_swatches,
    plan_of_text,
    plan_of_values,
    plan_text,
    plan_values,
    read_plan,
)  # fmt: skip
from contrastkit.errors import InvalidInputError

DEMO = Path(__file__).parents[1] / "data" / "thistlewick" / "plan.toml"
INCH = Fraction(127, 5)

BLOCK = '[[block]]\nname = "Hearth"\nprints = ["3 1/2", "2 1/2"]\n'
SMALL = 'units = "in"\n' + BLOCK


@pytest.fixture
def plan_of(tmp_path):
    """Read the plan that this text makes."""

    def read(text):
        file = tmp_path / "wall.toml"
        file.write_text(text, encoding="utf-8")
        return read_plan(file)

    return read


def refused(plan_of, text, words):
    """The message of a plan that must be refused: one or two sentences that name the file."""
    with pytest.raises(InvalidInputError) as caught:
        plan_of(text)
    message = str(caught.value)
    assert words in message
    assert "wall.toml'" in message
    assert message.endswith(".") and "\n" not in message and len(message) < 400
    return message


# What a plan says.


def test_every_part_of_a_plan_is_read(plan_of):
    """A length in the wrong unit, or a key that nothing comes of, would spoil a whole project."""
    plan = plan_of("""
        title = "Evening wall"
        units = "in"
        rim = "1/16"
        gap = 0.25
        table = "pile.csv"
        [background]
        cloth = "linen"
        lightness = 22
        margin = 3
        in_row = 2
        spacing = "4 cm"
        in_turn = true
        [supplies.web]
        width = 17
        length = "2 yd"
        [supplies.cloth]
        width = 44
        sheet = [18, 22]
        room = "1/8"
        [[supplies.plates]]
        motif = "rings"
        print = "3 1/2"
        [[block]]
        name = "Lantern"
        count = 2
        prints = ["3 1/2", "2 1/2 in", 1.75]
        layers = ["dark", "any", "light"]
        stacks = [["a", "b", "c"]]
        [[block.surrounds]]
        turned = true
        [[block.surrounds]]
        prints = ["3 1/2", 2]
        layers = ["light", "dark"]
        """)
    assert (plan.title, plan.unit, plan.rim, plan.gap) == ("Evening wall", "in", INCH / 16, INCH / 4)
    assert plan.table is not None and plan.table.name == "pile.csv" and plan.table.is_absolute()
    ground = plan.background
    assert (ground.cloth, ground.lightness, ground.margin, ground.spacing) == ("linen", 22.0, 3 * INCH, 40)
    assert (ground.in_row, ground.in_turn) == (2, True)
    assert plan.web is not None and (plan.web.width, plan.web.length) == (17 * INCH, 72 * INCH)
    assert plan.cloth is not None
    assert (plan.cloth.width, plan.cloth.length, plan.cloth.room) == (18 * INCH, 22 * INCH, INCH / 8)
    assert plan.cloth_width == 44 * INCH
    assert [(plate.motif, plate.print_side) for plate in plan.plates] == [("rings", Fraction(7, 2) * INCH)]
    [block] = plan.blocks
    assert block.shape.prints == (Fraction(7, 2) * INCH, Fraction(5, 2) * INCH, Fraction(7, 4) * INCH)
    assert [surround.turned for surround in block.shape.surrounds] == [True, False]
    assert block.core == Layers(("dark", "", "light"), (("a", "b", "c"),))
    assert block.surrounds == (Layers(("dark", "", "light")), Layers(("light", "dark")))
    assert plan.swatches == ("a", "b", "c")


def test_what_a_plan_leaves_out_has_plain_defaults(plan_of):
    """A short plan could not be tried before every supply is known."""
    plan = plan_of(SMALL + "count = 5")
    assert (plan.title, plan.rim, plan.gap, plan.web, plan.cloth, plan.table) == ("wall", 0, 0, None, None, None)
    assert plan.background.in_row == 3  # five blocks make a wall of three and two
    assert plan.blocks[0].shape.surrounds == ()


def test_a_number_of_surrounds_is_that_many_plain_ones(plan_of):
    """The short way to write surrounds would mean something else than the long one."""
    short, long = plan_of(SMALL + "surrounds = 2"), plan_of(SMALL + "[[block.surrounds]]\n[[block.surrounds]]")
    assert short == long
    assert len(short.blocks[0].shape.further_blocks) == 2


def test_every_group_that_piles_are_sorted_into_can_be_named(plan_of):
    """A pile in five groups could not be planned with."""
    for count in range(2, 10):
        for group in equal_breaks(range(count), count).names:
            plan = plan_of(f'units = "mm"\n[[block]]\nprints = [50]\nlayers = ["{group}"]')
            assert plan.blocks[0].core.groups == (group,)


def test_the_demo_plan_is_the_one_that_is_described():
    """The demo would show something else than README and tests say."""
    plan = read_plan(DEMO)
    assert plan.unit == "in"
    assert (plan.rim, plan.gap) == (INCH / 16, INCH / 4)
    assert plan.web is not None and plan.web.width == 17 * INCH
    assert [len(block.shape.surrounds) for block in plan.blocks] == [2, 1]
    for block in plan.blocks:
        assert block.shape.prints == (Fraction(7, 2) * INCH, Fraction(5, 2) * INCH, Fraction(7, 4) * INCH)


def test_the_pieces_of_the_demo_pile_suffice_for_the_cores():
    """The demo project could not be made from the demo pile: each core takes one piece of each group."""
    plan, table = read_plan(DEMO), pd.read_csv(DEMO.with_name("truth.csv"))
    check_swatches(plan, table)
    group = dict(zip(table["swatch_id"], table["group"], strict=True))
    needed: dict[str, int] = dict.fromkeys(("dark", "medium", "light"), 0)
    for block in plan.blocks:
        for name in block.core.groups:
            needed[name] += block.count
        for stack in block.core.stacks:
            assert [group[swatch] for swatch in stack] == list(block.core.groups)
    assert all(needed[name] <= (table["group"] == name).sum() for name in needed)


# What it may not say.


def test_a_typo_in_a_key_names_the_place_and_the_nearest_key(plan_of):
    """Someone would hunt for the slip through the whole file."""
    message = refused(plan_of, SMALL + 'cuont = 3', "'cuont'")
    assert "block 'Hearth'" in message and "the nearest is 'count'" in message


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("unit = 'in'\n" + SMALL, "'units'"),
        (SMALL + "[background]\nmargins = 3", "'wall.toml', background: every key must be a known one; got 'margins'"),
        (SMALL + "[supplies.web]\nwitdh = 3", "supplies, web: every key must be a known one; got 'witdh', and the nea"),
        (SMALL + "[[supplies.plates]]\nmotive = 'rings'", "plate 1: every key must be a known one; got 'motive', and"),
        (SMALL + "[[block.surrounds]]\nturn = true", "block 'Hearth', surround 1: every key must be a known one; got"),
        ("margin = 3\n" + SMALL, "which belongs in background. Move it there."),
        ("zzz = 3\n" + SMALL, "what can stand here is title, units, rim, gap, table, background, supplies, block"),
    ],
)
def test_unknown_keys_are_refused_wherever_they_stand(plan_of, text, words):
    """A key with a slip in it would silently do nothing, and the cloth be cut without it."""
    refused(plan_of, text, words)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("gap = -1\n" + SMALL, "gap must not be negative; got -1"),
        ("gap = nan\n" + SMALL, "gap must be a finite number; got nan"),
        ("rim = inf\n" + SMALL, "rim must be a finite number; got inf"),
        ("rim = true\n" + SMALL, "rim must be a number or text"),
        ("rim = 'wide'\n" + SMALL, "rim must be a number and a unit; got 'wide'"),
        ("gap = '3 spans'\n" + SMALL, "gap must be in one of mm, cm, m, in, ft, yd; got 'spans'"),
        ("gap = '1/0'\n" + SMALL, "gap must not be a fraction with 0 below"),
        ("gap = 2026-11-25\n" + SMALL, "gap must be a number or text"),
        (SMALL + "[background]\nmargin = -3", "background: margin must not be negative"),
        (SMALL + "[background]\nspacing = nan", "background: spacing must be a finite number"),
        (SMALL + "[background]\nlightness = nan", "lightness must be a number from 0 to 100; got nan"),
        (SMALL + "[background]\nlightness = 101", "lightness must be a number from 0 to 100; got 101"),
        (SMALL + "[background]\nlightness = 'dark'", "lightness must be a number from 0 to 100; got 'dark'"),
        (SMALL + "[background]\nin_row = 0", "in_row must be a whole number from 1 to 1000; got 0"),
        (SMALL + "[background]\nin_turn = 'yes'", "in_turn must be true or false; got 'yes'"),
        (SMALL + "[background]\ncloth = 3", "cloth must be text; got 3"),
        (BLOCK, "units must be 'mm' or 'in'; it is missing"),
        ("units = 'inch'\n" + BLOCK, "units must be 'mm' or 'in'; got 'inch'"),
        ("title = 3\n" + SMALL, "title must be text; got 3"),
        ("background = 3\n" + SMALL, "background must be a table; got 3"),
        ("", "units must be 'mm' or 'in'; it is missing"),
        ("units = 'mm'", "a plan must have 1 to 100 kinds of blocks; got 0"),
        ("units = 'mm'\nblock = 3", "block must be tables; got 3"),
        ("units = 'mm'\n[[block]]", "prints must be a list of lengths"),
        ("units = 'mm'\n[[block]]\nprints = []", "prints must be a list of lengths"),
        ("units = 'mm'\n[[block]]\nprints = 50", "prints must be a list of lengths"),
        ("units = 'mm'\n[[block]]\nprints = [50, 0]", "prints, entry 2, must be more than zero; got 0"),
        ("units = 'mm'\n[[block]]\nprints = [50, -4]", "prints, entry 2, must not be negative; got -4"),
        ("units = 'mm'\n[[block]]\nprints = [50, 60]", "Each layer must be smaller than the one it lies on; layer 2"),
        ("units = 'mm'\nrim = 30\n[[block]]\nprints = [50]", "The rim must be narrower than half of every print"),
        (SMALL + "count = 0", "count must be a whole number from 1 to 1000; got 0"),
        (SMALL + "count = -2", "count must be a whole number from 1 to 1000; got -2"),
        (SMALL + "count = 2.5", "count must be a whole number from 1 to 1000; got 2.5"),
        (SMALL + "count = true", "count must be a whole number from 1 to 1000; got True"),
        (SMALL + "count = 1000000", "count must be a whole number from 1 to 1000; got 1000000"),
        (SMALL + "name = 'twice'", "Cannot overwrite a value"),
        (SMALL + BLOCK, "each block must have a name of its own; got 'Hearth' twice"),
        (SMALL + "surrounds = -1", "surrounds must be a whole number from 0 to 20, or tables; got -1"),
        (SMALL + "surrounds = 21", "surrounds must be a whole number from 0 to 20, or tables; got 21"),
        (SMALL + "surrounds = [3]", "surrounds must be tables; got [3]"),
        (SMALL + "[[block.surrounds]]\nturned = 1", "turned must be true or false; got 1"),
        (SMALL + "[[block.surrounds]]\nprints = [5]", "The blocks for surround 1 must be cut to"),
        (SMALL + "layers = ['dark']", "layers must have one entry for each of the 2 prints; got 1"),
        (SMALL + "layers = 'dark'", "layers must be a list of groups"),
        (SMALL + "layers = ['drak', 'light']", "got 'drak', and the nearest is 'dark'"),
        (SMALL + "layers = ['#', 'light']", "there are darkest, very dark, dark"),
        (SMALL + "stacks = ['a', 'b']", "stacks must be lists of swatches"),
        (SMALL + "stacks = [['a']]", "a stack must have one swatch for each of the 2 prints; stack 1 has 1"),
        (SMALL + "stacks = [['a', 'b'], ['c', 'd']]", "stacks must have at most 1 lists, one a stack; got 2"),
        (SMALL + "stacks = [['a', 'a']]", "each swatch can be cut only once; 'a' is in block 'Hearth', core, and in"),
        (SMALL + "[supplies.web]\nwidth = 17\nsheet = [9, 12]", "it must be a roll, with a width, or sheets; got both"),
        (SMALL + "[supplies.web]\nsheet = [9]", "sheet must be two lengths, such as [18, 22]; got 1"),
        (SMALL + "[supplies.web]\nlength = 9", "width must be there"),
        (SMALL + "[supplies.cloth]\nsheet = [9, 9]\nlength = 9", "it must have a length, of a roll, or sheets; got"),
        (SMALL + "[supplies.cloth]\nwidth = 0", "width must be more than zero; got 0"),
        (SMALL + "[supplies.cloth]\nwidth = 44\nroom = -1", "room must not be negative"),
        (SMALL + "[[supplies.plates]]\nmotif = 'rings'", "plate 1: print must be there"),
        ("units = 'in", "cannot be read"),
        ("\x00", "cannot be read"),
        ("\N{PILE OF POO}", "cannot be read"),
        ("a=" + "[" * 5000, "cannot be read"),
    ],
)  # fmt: skip
def test_what_cannot_be_right_is_refused_in_a_sentence_that_names_the_place(plan_of, text, words):
    """Cloth would be cut by a slip of the pen, or the reason stay dark."""
    refused(plan_of, text, words)


def test_a_plan_of_more_pieces_than_anyone_cuts_is_refused(plan_of):
    """A slip in a count would fill the memory."""
    text = SMALL + "".join(f"count = 1000\n[[block]]\nname = '{name}'\nprints = [3, 2, 1]\n" for name in "abcdefgh")
    refused(plan_of, text + "count = 1000", f"a plan must have at most {MOST_PIECES:,} pieces; got 26,000")


def test_too_many_kinds_of_blocks_are_refused(plan_of):
    """A file made by a machine would make a page that nobody can open."""
    text = "units = 'mm'\n" + "".join(f"[[block]]\nname = '{number}'\nprints = [9]\n" for number in range(101))
    refused(plan_of, text, "a plan must have 1 to 100 kinds of blocks; got 101")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\xff\xfe\x00", "cannot be read: it is not UTF-8 text"),
        (b"\xff\xd8\xff\xe0" + bytes(100), "cannot be read: it is not UTF-8 text"),
        (bytes(1_000_001), "at most a megabyte"),
        (b"swatch_id,lightness\nT1,50\n", "cannot be read"),
    ],
)
def test_a_file_that_is_no_plan_is_refused(tmp_path, content, words):
    """A photograph or a table given by mistake would end in a traceback."""
    file = tmp_path / "wall.toml"
    file.write_bytes(content)
    with pytest.raises(InvalidInputError, match=words):
        read_plan(file)


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    """A slip in the name would end in a traceback."""
    with pytest.raises(InvalidInputError, match=r"There is no file '.*nowhere.toml'. Check the name"):
        read_plan(tmp_path / "nowhere.toml")
    with pytest.raises(InvalidInputError, match="is a folder. Name the file in it"):
        read_plan(tmp_path)
    with pytest.raises(InvalidInputError, match="cannot be read"):
        read_plan("a\0b")


# Swatches.


def test_swatches_that_the_table_lacks_are_named_with_the_nearest(plan_of):
    """A stack would be planned from a piece that does not exist."""
    plan = plan_of(SMALL + "stacks = [['T1', 'Y2']]")
    with pytest.raises(InvalidInputError, match="block 'Hearth' names 'Y2', which is not, and the nearest is 'T2'"):
        check_swatches(plan, pd.DataFrame({"swatch_id": ["T1", "T2"]}))
    with pytest.raises(InvalidInputError, match="block 'Hearth' names 'T1', which is not. Correct the name"):
        check_swatches(plan, pd.DataFrame({"swatch_id": ["other"]}))


def test_a_swatch_too_small_for_its_layer_is_named(plan_of):
    """A piece would be cut and turn out too small. 3 1/2 in and two rims of 1/16 in are 92.075 mm."""
    plan = plan_of("rim = '1/16'\n" + SMALL + "stacks = [['T1', 'T2']]")
    fitting = pd.DataFrame({"swatch_id": ["T1", "T2"], "side": [92.1, math.nan]})
    check_swatches(plan, fitting)
    with pytest.raises(InvalidInputError, match="'T1' gives ≈ 3 9/16 in, and block 'Hearth', core takes 3 5/8 in"):
        check_swatches(plan, fitting.assign(side=[91.0, math.nan]))


# Where blocks lie.


def test_no_block_lies_on_another_or_in_the_margin():
    """The wall would be planned with blocks across one another, or cut by its frame."""
    plan = read_plan(DEMO)
    layout = lay_out(plan)
    boxes = []
    for laid in layout.blocks:
        half = plan.blocks[laid.kind].shape.finished[-1] / 2
        x, y = laid.centre
        boxes.append((x - half, y - half, x + half, y + half))
        assert x - half >= plan.background.margin and y - half >= plan.background.margin
        assert x + half <= layout.width - plan.background.margin
        assert y + half <= layout.height - plan.background.margin
    for place, (left, bottom, right, top) in enumerate(boxes):
        for other in boxes[:place]:
            apart = left - other[2], other[0] - right, bottom - other[3], other[1] - top
            assert max(apart) >= plan.background.spacing


def test_blocks_take_turns_when_asked_to(plan_of):
    """Two kinds of blocks would lie in two heaps where a mixture was planned, or the other way round."""
    text = "units = 'mm'\n" + "".join(
        f"[[block]]\nname = '{name}'\ncount = {count}\nprints = [9]\n" for name, count in (("a", 3), ("b", 1))
    )
    assert [laid.kind for laid in lay_out(plan_of(text)).blocks] == [0, 0, 0, 1]
    turns = lay_out(plan_of(text + "[background]\nin_turn = true"))
    assert [(laid.kind, laid.number) for laid in turns.blocks] == [(0, 0), (1, 0), (0, 1), (0, 2)]


# The way back.


def test_the_demo_plan_comes_back_from_its_text():
    """What the panel keeps of a plan would be another plan after a reload."""
    plan = read_plan(DEMO)
    assert plan_of_text(plan_text(plan)) == plan
    assert plan_of_values(plan_values(plan)) == plan


LENGTHS = st.one_of(
    st.builds(lambda sixteenths: f"{sixteenths}/16 in", st.integers(1, 400)),
    st.decimals(1, 500, places=3).map(lambda mm: f"{mm} mm"),
    st.integers(1, 40),
    st.floats(0.01, 30, allow_nan=False),
    st.builds(lambda top, bottom: f"{top}/{bottom} cm", st.integers(1, 99), st.integers(1, 99)),
)
NAMES = st.text(min_size=1, max_size=12).filter(lambda name: name.strip())


@st.composite
def plans(draw):
    """A plan as someone may write it, odd lengths and odd names included."""
    unit = draw(st.sampled_from(("in", "mm")))
    layers = draw(st.integers(1, 3))
    longest = draw(st.integers(40, 60))
    prints = [f"{longest - 7 * layer} cm" for layer in range(layers)]
    block = {
        "name": draw(NAMES), "prints": prints, "count": draw(st.integers(1, 4)),
        "surrounds": [{"turned": draw(st.booleans())} for _ in range(draw(st.integers(0, 4)))],
    }
    if draw(st.booleans()):
        block["layers"] = [draw(st.sampled_from(("any", "dark", "medium light"))) for _ in prints]
        for surround in block["surrounds"]:
            if draw(st.booleans()):
                surround["layers"] = [draw(st.sampled_from(("any", "light"))) for _ in prints]
    if draw(st.booleans()):
        block["stacks"] = [[f"{draw(NAMES)}{layer}" for layer in range(layers)]]
    ground = {"in_turn": draw(st.booleans()), "in_row": draw(st.integers(1, 5)), "cloth": draw(st.text(max_size=9)),
              "margin": draw(LENGTHS), "spacing": draw(LENGTHS)}
    if draw(st.booleans()):
        ground["lightness"] = draw(st.floats(0, 100, allow_nan=False))
    supplies = {"plates": [{"motif": draw(NAMES), "print": draw(LENGTHS)}]}
    if draw(st.booleans()):
        supplies["web"] = {"width": draw(LENGTHS)} | ({"length": draw(LENGTHS)} if draw(st.booleans()) else {})
    if draw(st.booleans()):
        supplies["cloth"] = {"width": draw(LENGTHS), "room": draw(LENGTHS)}
        supplies["cloth"] |= draw(st.sampled_from(({}, {"sheet": [18, "22 cm"]}, {"length": 99})))
    return {"units": unit, "title": draw(NAMES), "rim": draw(st.sampled_from(("1/16 in", "0", "0.123456789 mm"))),
            "gap": draw(LENGTHS), "background": ground, "supplies": supplies, "block": [block]}  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(plans())
def test_any_plan_comes_back_from_its_values_and_its_text(values):
    """A length would change by a hair each time a plan is kept, or a name lose its quotes."""
    plan = plan_of_values(values)
    assert plan_of_values(plan_values(plan)) == plan
    assert plan_of_text(plan_text(plan), title="another") == plan


def test_a_length_no_ruler_has_comes_back_all_but_exact():
    """A plan with a number that somebody's program worked out could not be kept."""
    plan = plan_of_values({"units": "in", "rim": 1 / 3e-3 / 1e6, "block": [{"prints": [3]}], "gap": 1e-70})
    back = plan_of_text(plan_text(plan))
    assert back.rim == plan.rim
    assert back.gap == 0  # it would take more letters than a length may have


def test_names_with_quotes_marks_and_lines_come_back():
    """A hostile name would end its line of the file and begin one of its own."""
    stacks = [['say "hi"', "a\nrim = 3", "\x7f\x00\\", "𝄞 <b>é"]]
    plan = plan_of_values({"units": "mm", "block": [{"prints": [90, 60, 40, 20], "stacks": stacks}]})
    assert plan_of_text(plan_text(plan)).blocks[0].core.stacks == tuple(map(tuple, stacks))


def test_half_letters_become_question_marks_in_the_text():
    """A name from a broken file name would make a text that no file can hold."""
    plan = plan_of_values({"units": "mm", "block": [{"prints": [90], "name": "a\ud800"}]})
    assert plan_of_text(plan_text(plan)).blocks[0].name == "a?"


def test_what_a_plan_without_a_file_may_not_say_is_refused_in_the_same_words():
    """The panel would take what the command refuses, or name a file that is not there."""
    with pytest.raises(InvalidInputError, match=r"^Gap must not be negative; got -1\. Leave out the minus sign\.$"):
        plan_of_values({"units": "mm", "gap": -1, "block": [{"prints": [90]}]})
    with pytest.raises(InvalidInputError, match="^Block 'Hearth': count must be a whole number from 1 to 1000; got 0"):
        plan_of_text('units = "mm"\n[[block]]\nname = "Hearth"\nprints = [9]\ncount = 0')
    with pytest.raises(InvalidInputError, match="^Background: margin must be a finite number; got nan"):
        plan_of_text('units = "mm"\n[background]\nmargin = nan\n[[block]]\nprints = [9]')
    with pytest.raises(InvalidInputError, match=r"^Block 1, surround 1: every key must be a known one; got 'x'"):
        plan_of_values({"units": "mm", "block": [{"prints": [90], "surrounds": [{"x": 1}]}]})


@pytest.mark.parametrize("text", ["units = ", "a=" + "[" * 5000, "\x00"])
def test_text_that_is_no_toml_is_refused(text):
    """A slip of the pen in the field would end in a traceback."""
    with pytest.raises(InvalidInputError, match="^A plan must be TOML; this cannot be read: .*Correct it there"):
        plan_of_text(text)


def test_the_table_a_plan_names_stands_in_the_folder_that_is_given(tmp_path):
    """Swatches would be looked for in the wrong folder."""
    text = 'units = "mm"\ntable = "pile.csv"\n[[block]]\nprints = [90]'
    assert plan_of_text(text, folder=tmp_path).table == tmp_path / "pile.csv"
    assert plan_of_text(plan_text(plan_of_text(text, folder=tmp_path))).table == tmp_path / "pile.csv"
