"""Plans filled from a pile: as many stacks as it allows, the best of them, and what is missing named rightly."""

import math
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching

from contrastkit.compose.choosing import choose_stacks
from contrastkit.compose.filling import Missing, fill_plan, missing_sentences, parts_of
from contrastkit.compose.plan import check_swatches, plan_of_values
from contrastkit.compose.rules import Rules

GROUPS = ("dark", "medium", "light")
MIDDLE = dict(zip(GROUPS, (25.0, 55.0, 85.0), strict=True))


def pile_of(*rows):
    """A sorted pile: (group, side) of each piece, or (group, side, lightness)."""
    return pd.DataFrame({
        "swatch_id": [f"p{number}" for number in range(len(rows))],
        "lightness": [row[2] if len(row) > 2 else MIDDLE[row[0]] + 0.01 * number for number, row in enumerate(rows)],
        "group": [row[0] for row in rows],
        "side": [float(row[1]) for row in rows],
    })  # fmt: skip


def plan_with(*blocks, **more):
    return plan_of_values({"units": "mm", "block": list(blocks)} | more)


def stacks_of(done):
    return [stack for block in done.plan.blocks for *_, layers in block.stacks for stack in layers.stacks]


def test_cores_are_filled_before_surrounds_and_kinds_in_their_order():
    """A short pile would make surrounds without cores to set them round."""
    plan = plan_with(
        {"name": "a", "prints": [80], "count": 2, "surrounds": 1}, {"name": "b", "prints": [60], "surrounds": 1}
    )
    assert [(part.block, part.surround, part.count) for part in parts_of(plan)] == [
        (0, 0, 2), (1, 0, 1), (0, 1, 2), (1, 1, 1),
    ]  # fmt: skip
    done = fill_plan(plan, pile_of(*[("dark", 90)] * 4))
    assert [len(block.core.stacks) for block in done.plan.blocks] == [2, 1]
    assert [len(block.surrounds[0].stacks) for block in done.plan.blocks] == [1, 0]


def test_a_further_surround_of_two_stacks_a_block_asks_for_both():
    """Every second triangle of the second surround would stay grey."""
    plan = plan_with({"prints": [80], "count": 3, "surrounds": 2})
    assert [part.count for part in parts_of(plan)] == [3, 3, 6]


def test_what_is_missing_is_said_by_group_and_by_the_size_as_cut():
    """Someone would paint prints of the right size and find them too small with their rim."""
    plan = plan_with({"prints": [80, 50], "count": 5, "layers": ["dark", "light"]}, rim=2)
    done = fill_plan(plan, pile_of(*[("dark", 90)] * 6, ("light", 60), ("light", 53)))
    assert done.missing == (Missing(4, "light", Fraction(54)),)  # one of the lights is 1 mm too small
    assert missing_sentences(done.missing, "mm") == ("4 lights of at least 54 mm are missing.",)
    assert (done.filled, done.count) == (1, 5)


def test_sentences_about_what_is_missing_agree_in_number_and_list_the_sizes():
    """The sentence beside the wall would read as if written by a machine."""
    inch = Fraction(127, 5)
    listed = [Missing(1, "dark", Fraction(29, 8) * inch), Missing(2, "light", 3 * inch), Missing(1, "light", 2 * inch),
              Missing(3, "very dark", inch), Missing(2, "", inch)]  # fmt: skip
    assert missing_sentences(listed, "in") == (
        "1 dark of at least 3 5/8 in is missing.",
        "3 lights are missing: 2 of at least 3 in and 1 of at least 2 in.",
        "3 very dark pieces of at least 1 in are missing.",
        "2 pieces of at least 1 in are missing.",
    )
    assert missing_sentences((), "in") == ()


def test_large_pieces_are_left_for_the_squares_that_need_them():
    """A pile that suffices would be called short, because a large piece went into a small square."""
    plan = plan_with({"prints": [80, 50], "count": 2, "layers": ["dark", "dark"]})
    done = fill_plan(plan, pile_of(("dark", 90), ("dark", 52), ("dark", 90), ("dark", 55)))
    assert done.missing == ()
    assert done.filled == 2


squares = st.tuples(st.sampled_from(("", *GROUPS)), st.integers(1, 4))
pieces = st.tuples(st.sampled_from(GROUPS), st.integers(1, 5))


@settings(max_examples=60, deadline=None)
@given(st.lists(pieces, max_size=10), st.lists(st.tuples(squares, st.integers(1, 4)), min_size=1, max_size=4))
def test_no_more_is_missing_than_an_independent_matching_says(pile, wanted):
    """Prints would be made that the pile already has. The judge is Hopcroft and Karp's matching in SciPy."""
    blocks = [
        {"name": str(number), "prints": [10 * side], "count": count, "layers": [group or "any"]}
        for number, ((group, side), count) in enumerate(wanted)
    ]
    done = fill_plan(plan_with(*blocks), pile_of(*[(group, 10 * side) for group, side in pile]))
    asked = [square for square, count in wanted for _ in range(count)]
    fits = np.array([[(not group or own == group) and large >= side for own, large in pile] for group, side in asked])
    matched = 0
    if len(pile):
        matched = int((maximum_bipartite_matching(csr_array(fits.astype(np.int8)), perm_type="column") >= 0).sum())
    assert sum(each.count for each in done.missing) == len(asked) - matched
    assert done.filled == matched  # stacks of one layer are filled wherever their square can be had


@settings(max_examples=30, deadline=None)
@given(st.lists(pieces, max_size=14), st.lists(st.tuples(squares, squares), min_size=1, max_size=3))
def test_whatever_is_filled_could_be_cut(pile, layers):
    """A stack would hold a piece twice, one of the wrong group, or one too small for its square."""
    blocks = [
        {"name": str(number), "prints": [10 * below[1] + 50, 10 * above[1]], "count": 2,
         "layers": [below[0] or "any", above[0] or "any"], "surrounds": 1}
        for number, (below, above) in enumerate(layers)
    ]  # fmt: skip
    table = pile_of(*[(group, 10 * side + 45) for group, side in pile])
    done = fill_plan(plan_with(*blocks), table, seconds=0.2)
    check_swatches(done.plan, table)
    used = [name for stack in stacks_of(done) for name in stack]
    assert len(used) == len(set(used))
    group = dict(zip(table["swatch_id"], table["group"], strict=True))
    for block in done.plan.blocks:
        for _, count, _, parts in block.stacks:
            assert len(parts.stacks) <= count
            for stack in parts.stacks:
                wanted = zip(stack, parts.groups, strict=True)
                assert all(not name or group[piece] == name for piece, name in wanted)


def test_the_stacks_of_one_kind_are_the_best_there_are():
    """The plan would be filled with weaker stacks than the command `stacks` finds in the same pile."""
    rng = np.random.default_rng(7)
    lightness = rng.uniform(10, 95, 24)
    table = pile_of(*[(GROUPS[int(value > 40) + int(value > 70)], 90, value) for value in lightness])
    plan = plan_with({"prints": [80, 50, 30], "count": 4, "layers": list(GROUPS)})
    done = fill_plan(plan, table)
    best = choose_stacks(table, layers=3, blocks=4, order="free", rules=Rules(groups=GROUPS))
    assert done.weakest == pytest.approx(best.worst_step, abs=1e-9)  # the same sums
    assert done.sure


def test_a_known_background_counts_as_a_step():
    """Bottoms would be chosen that vanish on the cloth they lie on."""
    plan = plan_with({"prints": [80, 50], "count": 1}, background={"lightness": 30})
    table = pile_of(("dark", 90, 31.0), ("light", 90, 75.0), ("medium", 90, 52.0), ("light", 90, 95.0))
    done = fill_plan(plan, table)
    [stack] = done.plan.blocks[0].core.stacks
    assert stack[0] != "p0"
    bottom, top = (float(table.set_index("swatch_id").loc[name, "lightness"]) for name in stack)
    assert done.weakest == pytest.approx(min(abs(bottom - 30), abs(top - bottom)))


def test_single_layers_are_those_that_stand_furthest_from_the_background():
    """A block of one layer would be chosen by chance."""
    table = pile_of(("dark", 90, 20.0), ("medium", 90, 50.0), ("light", 90, 80.0))
    plan = plan_with({"prints": [80]}, background={"lightness": 25})
    assert fill_plan(plan, table).plan.blocks[0].core.stacks == (("p2",),)
    assert fill_plan(plan_with({"prints": [80]}), table).plan.blocks[0].core.stacks == (("p0",),)


def test_the_parts_after_it_get_what_they_need_though_the_first_would_like_it_better():
    """The cores would take the only lights that the second kind can use, and its blocks stay empty."""
    plan = plan_with(
        {"name": "a", "prints": [50, 40], "count": 1, "layers": ["dark", "any"]},
        {"name": "b", "prints": [80, 60], "count": 1, "layers": ["dark", "light"]},
    )
    table = pile_of(("dark", 90, 20.0), ("dark", 90, 22.0), ("light", 90, 90.0), ("medium", 45, 60.0))
    done = fill_plan(plan, table)
    assert done.filled == 2
    assert done.plan.blocks[0].core.stacks[0][1] == "p3"
    assert not done.sure  # the first part could have had better alone


def test_stacks_that_were_laid_come_first_where_they_fit():
    """What was laid by hand would be taken apart."""
    plan = plan_with({"prints": [80, 50], "count": 2, "layers": ["dark", "light"]})
    table = pile_of(*[("dark", 90)] * 3, *[("light", 90)] * 3, ("light", 40))
    laid = [("p2", "p5"), ("p0", "p6"), ("p1",), ("p0", "ghost"), ("p2", "p3"), ("p1", "p1")]
    done = fill_plan(plan, table, first=laid)
    assert done.plan.blocks[0].core.stacks[0] == ("p2", "p5")
    assert done.filled == 2
    assert "p6" not in done.plan.swatches  # too small


def test_a_stack_that_was_laid_against_the_groups_is_used_where_it_fits_by_size():
    """The hand decides; it would be overruled by the plan's groups."""
    plan = plan_with({"prints": [80, 50], "count": 1, "layers": ["dark", "light"]})
    done = fill_plan(plan, pile_of(("light", 90), ("dark", 90)), first=[("p0", "p1")])
    assert done.plan.blocks[0].core.stacks == (("p0", "p1"),)
    assert done.missing == ()


def test_stacks_that_the_plan_names_are_kept():
    """Pieces that were set aside would be exchanged for others."""
    plan = plan_with({"prints": [80, 50], "count": 2, "layers": ["dark", "light"], "stacks": [["p1", "p3"]]})
    done = fill_plan(plan, pile_of(("dark", 90), ("dark", 90), ("light", 90), ("light", 90)))
    assert done.plan.blocks[0].core.stacks == (("p1", "p3"), ("p0", "p2"))


def test_pieces_of_unknown_size_are_used_and_named_and_those_of_unknown_lightness_are_not():
    """Most piles have no sizes: nothing could be planned with them. A piece without lightness has no place at all."""
    plan = plan_with({"prints": [80, 50], "layers": ["dark", "light"]})
    table = pile_of(("dark", math.nan), ("light", 90), ("dark", 90, math.nan))
    done = fill_plan(plan, table)
    assert done.plan.blocks[0].core.stacks == (("p0", "p1"),)
    assert done.unsized == ("p0",)
    bare = table.drop(columns="side")
    assert fill_plan(plan, bare).unsized == ("p0", "p1")


def test_an_empty_pile_leaves_everything_missing():
    """The panel could not be opened before the first photograph."""
    plan = plan_with({"prints": [80, 50], "count": 3, "layers": ["dark", "light"]})
    done = fill_plan(plan, pile_of())
    assert [each.count for each in done.missing] == [3, 3]
    assert done.filled == 0
    assert math.isnan(done.weakest)


def test_where_no_best_is_found_in_time_the_blocks_are_filled_all_the_same(monkeypatch):
    """A hard pile would leave the wall grey though there are pieces for it."""
    from contrastkit.compose import filling
    from contrastkit.errors import InvalidInputError

    def never(*_, **__):
        raise InvalidInputError("No stacks were found in time.")

    monkeypatch.setattr(filling, "choose_stacks", never)
    plan = plan_with({"prints": [80, 50], "count": 2, "layers": ["dark", "light"]})
    done = fill_plan(plan, pile_of(*[("dark", 90)] * 2, *[("light", 60)] * 2))
    assert done.filled == 2
    assert not done.sure
