"""A stack and its score: what counts, what would mend it (against trying everything), and what is refused."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from contrastkit.compose.seams import BACKGROUND, Surface, judge_seam
from contrastkit.compose.stacks import (
    FULL_POINTS,
    GOAL,
    POINTS_MADE,
    Stack,
    default_sides,
    judge_stack,
    points_of,
    stack_of,
)
from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import lightness_to_luminance

INCH = 25.4
lightnesses = st.floats(0, 100)


def flat_stack(*values, background=None, **options):
    layers = tuple(Surface(f"p{i}", value) for i, value in enumerate(values))
    ground = None if background is None else Surface(BACKGROUND, background)
    return Stack(layers, background=ground, **options)


def made_pile(count, seed, *, vivid=False):
    rng = np.random.default_rng(seed)
    columns = {
        "swatch_id": [f"s{i:02d}" for i in range(count)],
        "lightness": rng.uniform(12, 95, count).round(1),
        "lightness_sigma": rng.uniform(0.3, 2, count),
    }
    if vivid:
        columns |= {"chroma": rng.uniform(0, 70, count), "hue_angle": rng.uniform(0, 360, count)}
    return pd.DataFrame(columns)


def textures_of(pile, seed):
    """A pattern of squares for every piece, round its lightness."""
    rng = np.random.default_rng(seed)
    return {
        row.swatch_id: np.kron(
            float(lightness_to_luminance(row.lightness)) * rng.uniform(0.5, 1.5, (12, 12)), np.ones((4, 4))
        )
        for row in pile.itertuples()
    }


# --- score ------------------------------------------------------------------------------------------------------------


def test_every_seam_is_judged_the_base_on_the_background_first():
    """The background would be left out, or the seams be in another order than the layers."""
    score = judge_stack(flat_stack(40, 70, 20, background=95))
    assert [(seam.below, seam.above) for seam in score.seams] == [(BACKGROUND, "p0"), ("p0", "p1"), ("p1", "p2")]
    assert [seam.step for seam in score.seams] == [-55, 30, -50]
    assert score.order == (1, 2, 0)
    assert score.weakest.above == "p1"
    assert score.sentences[0].startswith("The weakest seam is p1 on p0: 30 L* lighter, bold")


def test_points_by_hand():
    """The figure would be made another way than the three sentences say."""
    score = judge_stack(flat_stack(50, 65, 25))  # 15 and 40 L*: 50 and 100 points
    assert score.points == pytest.approx(50 / 2 + 75 / 2)
    assert len(POINTS_MADE) == 3
    assert f"{FULL_POINTS:g} L*" in POINTS_MADE[0]


@given(st.lists(st.floats(0, 100), min_size=1, max_size=6), st.data())
def test_a_stronger_seam_never_costs_points(counts, data):
    """Mending would lower the figure, or the order of the seams count."""
    place = data.draw(st.integers(0, len(counts) - 1))
    stronger = [*counts]
    stronger[place] += data.draw(st.floats(0, 50))
    assert 0 <= points_of(counts) <= points_of(stronger) + 1e-9 <= 100 + 1e-6
    assert points_of(counts[::-1]) == pytest.approx(points_of(counts))


@given(st.lists(st.floats(30, 100), min_size=1, max_size=6))
def test_a_lost_seam_costs_more_than_half(counts):
    """Bold seams would make good a lost one."""
    assert points_of([*counts, 0]) < 50


@given(st.lists(lightnesses, min_size=2, max_size=5))
def test_a_stack_turned_over_or_renamed_scores_the_same(values):
    """The figure would depend on names or on which side one begins."""
    stack = flat_stack(*values)
    turned = replace(stack, layers=stack.layers[::-1])
    renamed = replace(stack, layers=tuple(replace(layer, swatch_id=f"z{layer.swatch_id}") for layer in stack.layers))
    points = judge_stack(stack).points
    assert judge_stack(turned).points == pytest.approx(points)
    assert judge_stack(renamed).points == points


@given(st.lists(lightnesses, min_size=2, max_size=5))
def test_values_turned_round_score_the_same(values):
    """Light on dark would be preferred to dark on light."""
    assert judge_stack(flat_stack(*(100 - v for v in values))).points == pytest.approx(
        judge_stack(flat_stack(*values)).points, abs=1e-6
    )


def test_seams_are_those_of_judging_one_by_one():
    """Rim, distance, sides or what is covered would not reach the seams."""
    pile = made_pile(3, 1)
    textures = textures_of(pile, 2)
    stack = stack_of(pile, ["s00", "s01", "s02"], sides=(92, 66, 47), background=88, rim=1.5)
    stack = replace(stack, layers=tuple(replace(layer, rim=10.0) for layer in stack.layers))
    score = judge_stack(stack, distance_mm=3000, textures=textures)
    options = {"rim_mm": 1.5, "distance_mm": 3000, "textures": textures}
    expected = [
        judge_seam(stack.background, stack.layers[0], sides=(math.inf, 92), covered_mm=66, **options),
        judge_seam(stack.layers[0], stack.layers[1], sides=(92, 66), covered_mm=47, **options),
        judge_seam(stack.layers[1], stack.layers[2], sides=(66, 47), **options),
    ]
    assert list(map(repr, score.seams)) == list(map(repr, expected))
    assert not math.isnan(score.seams[1].weakest)
    assert score.seams[1].line_step > 0


def test_without_sides_textures_are_left_alone():
    """What shows would be guessed from how large the pieces could be cut."""
    pile = made_pile(2, 1).assign(side=[120.0, 60.0])
    stack = stack_of(pile, ["s00", "s01"])
    assert math.isnan(judge_stack(stack, textures=textures_of(pile, 1)).weakest.weakest)


# --- mending ----------------------------------------------------------------------------------------------------------


def swapped(stack, layer, piece):
    return replace(stack, layers=(*stack.layers[:layer], piece, *stack.layers[layer + 1 :]))


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), layers=st.integers(2, 4), background=st.booleans(), textured=st.booleans())
def test_what_would_mend_a_stack_is_what_trying_everything_finds(seed, layers, background, textured):
    """A piece that would do is left out, or one that would not is named."""
    pile = made_pile(14, seed, vivid=True)
    textures = textures_of(pile, seed) if textured else None
    ids = list(pile["swatch_id"][:layers])
    sides = default_sides(layers) if textured else ()
    stack = stack_of(pile, ids, background=85 if background else None, sides=sides)
    spare = stack_of(pile, list(pile["swatch_id"][layers:])).layers
    score = judge_stack(stack, pile=pile, textures=textures)
    tried = {
        (layer, piece.swatch_id): judge_stack(swapped(stack, layer, piece), textures=textures)
        for layer in range(layers)
        for piece in spare
    }
    before = score.weakest.counts
    would_do = {key for key, result in tried.items() if result.weakest.counts >= GOAL}
    would_help = {key for key, result in tried.items() if result.weakest.counts >= before + 1}
    named = {(r.layer, swatch_id) for r in score.remedies if r.layer >= 0 for swatch_id in r.swatch_ids}
    if before >= GOAL:
        assert score.remedies == ()
    elif would_do or any(r.enough for r in score.remedies):
        assert named == would_do
    else:
        assert named == would_help
    for remedy in score.remedies:
        if remedy.layer >= 0:
            best = tried[remedy.layer, remedy.swatch_ids[0]]
            assert remedy.points == pytest.approx(best.points)
            assert remedy.worst_step == pytest.approx(best.weakest.counts)
            worst = [tried[remedy.layer, swatch_id].weakest.counts for swatch_id in remedy.swatch_ids]
            assert worst == sorted(worst, reverse=True)


def test_the_remedy_is_said_in_words():
    """A person would have to work out which pieces, in which layer, by which limit."""
    pile = pd.DataFrame({"swatch_id": list("abcdefg"), "lightness": [52.0, 45, 80, 30, 31, 22, 60]})
    score = judge_stack(stack_of(pile, ["a", "b", "c"]), pile=pile)
    first = score.remedies[0]
    assert (first.layer, first.swatch_ids, first.lightness_ranges) == (1, ("f", "d", "e"), ((0, 32),))
    assert first.sentence == "Swap the middle layer for a piece of L* 32 or less: these three would do: f, d, e."
    assert first.worst_step == 30
    assert first.sentence in score.sentences


def test_no_paint_is_asked_for_that_there_is_not():
    """A piece of L* 6 or less would be asked for; one that lies in the pile is offered all the same."""
    pile = pd.DataFrame({"swatch_id": list("abcd"), "lightness": [26.0, 30, 55, 5]})
    stack = stack_of(pile, ["a", "b"])
    without, held = (
        next(r.sentence for r in judge_stack(stack, pile=there).remedies if r.layer == 0) for there in (pile[:3], pile)
    )
    assert without == "Swap the bottom layer for a piece of L* 50 or more: this one would do: c."
    assert held == (
        "Swap the bottom layer for a piece of L* 10 or less or of L* 50 or more: these two would do: c, d."
    )


def test_many_pieces_that_would_do_are_counted_and_the_best_named():
    """A sentence would list half the pile."""
    pile = pd.DataFrame({"swatch_id": list("abcdefghi"), "lightness": [50.0, 55, 80, 81, 82, 83, 84, 85, 86]})
    remedy = next(r for r in judge_stack(stack_of(pile, ["a", "b"]), pile=pile).remedies if r.layer == 1)
    assert remedy.sentence.endswith("seven of the pile would do: the best of them i, h, g, f.")


def test_what_the_pile_lacks_is_said():
    """A pile without the piece that is needed would leave the person without an answer."""
    pile = pd.DataFrame({"swatch_id": list("abcd"), "lightness": [50.0, 52, 52.5, 58]})
    score = judge_stack(stack_of(pile, ["a", "b"]), pile=pile)
    assert not any(remedy.enough for remedy in score.remedies)
    assert score.remedies[0].swatch_ids == ("d",)
    assert score.remedies[0].sentence == (
        "Swap the top layer: this one would help, but not be enough (weakest seam then 8 L*): d."
    )
    assert (
        "A piece of L* 30 or less or of L* 70 or more would be enough in the top layer: the pile has none."
        in score.sentences
    )


def test_another_background_is_offered_where_it_would_do():
    """Only pieces would be thought of, when the cloth behind is what swallows the base."""
    pile = made_pile(3, 0)
    stack = flat_stack(40, 75, 30, background=45)
    score = judge_stack(stack, pile=pile)
    remedy = next(r for r in score.remedies if r.layer == -1)
    assert (remedy.lightness_ranges, remedy.enough, remedy.worst_step) == (((15, 20), (60, 95)), True, 35)
    assert remedy.sentence == "Another background would do: of L* 20 or less or of L* 60 or more."
    mended = replace(stack, background=Surface(BACKGROUND, 60))
    assert judge_stack(mended).weakest.counts == 20


def test_another_background_that_would_not_help_is_said():
    """The person would try cloth after cloth."""
    score = judge_stack(flat_stack(40, 45, 90, background=85), pile=made_pile(3, 0))
    assert all(remedy.layer >= 0 for remedy in score.remedies)
    assert score.sentences[-1] == "Another background would not help: the weakest seam lies between two layers."


def test_a_background_that_helps_but_is_not_enough():
    """Half a remedy would be called a whole one, or be left out."""
    pile = pd.DataFrame({"swatch_id": ["x"], "lightness": [math.nan]})
    (remedy,) = judge_stack(flat_stack(40, 55, 90, background=45), pile=pile).remedies
    assert (remedy.layer, remedy.enough, remedy.worst_step) == (-1, False, 15)
    assert remedy.sentence.startswith("Another background would help, but not be enough: of L* 34 or less")


def test_a_background_that_hardly_helps_is_not_offered():
    """Cloth would be bought for half a step in lightness that nobody sees."""
    pile = pd.DataFrame({"swatch_id": ["x"], "lightness": [math.nan]})
    assert judge_stack(flat_stack(40, 52.5, 90, background=52), pile=pile).remedies == ()
    assert judge_stack(flat_stack(40, 53, 90, background=52), pile=pile).remedies[0].worst_step == 13


def test_nothing_is_mended_that_needs_no_mending():
    """A good stack would be pulled apart for a better one."""
    score = judge_stack(flat_stack(40, 75, 30), pile=made_pile(9, 0))
    assert score.remedies == ()
    assert score.sentences[-1] == "Every seam reaches 20 L*: nothing needs mending."


def test_pieces_too_small_or_unknown_are_not_offered():
    """A piece that cannot be cut that large would be named; one of size unknown may do."""
    pile = pd.DataFrame(
        {"swatch_id": list("abcdef"), "lightness": [50.0, 60, 90, 91, 92, math.nan], "side": [99, 99, 40, 66, None, 99]}
    )
    stack = stack_of(pile, ["a", "b"], sides=(92, 66))
    top = next(r for r in judge_stack(stack, pile=pile).remedies if r.layer == 1)
    assert top.swatch_ids == ("e", "d")


def test_mending_does_not_depend_on_the_order_of_the_pile():
    """Ties would be broken by where a piece stands in the table."""
    pile = made_pile(30, 4)
    stack = stack_of(pile, ["s00", "s01", "s02"], background=80)
    shuffled = pile.sample(frac=1, random_state=2)
    assert judge_stack(stack, pile=pile).remedies == judge_stack(stack, pile=shuffled).remedies


# --- sides ------------------------------------------------------------------------------------------------------------


def test_the_usual_sides():
    """Prints of 3 1/2, 2 1/2 and 1 3/4 in with a rim of 1/16 in: common practice, no source."""
    assert default_sides(3) == pytest.approx([3.625 * INCH, 2.625 * INCH, 1.875 * INCH])
    sides = default_sides(6)
    prints = [side - 2 * INCH / 16 for side in sides]
    assert [above / below for below, above in zip(prints[2:], prints[3:], strict=False)] == pytest.approx(
        [math.sqrt(0.5)] * 3
    )
    for below, above in zip(prints, prints[1:], strict=False):
        assert above / below == pytest.approx(math.sqrt(0.5), abs=0.011)


@given(count=st.integers(1, 8), base=st.floats(20, 500), rim=st.floats(0, 5))
def test_sides_of_another_base_keep_their_proportions(count, base, rim):
    """A larger base would get a wider rim, or the layers not fit."""
    sides = default_sides(count, base_mm=base, rim_mm=rim)
    assert sides[0] == pytest.approx(base)
    assert len(sides) == count
    prints = [side - 2 * rim for side in sides]
    usual = [side - 2 * INCH / 16 for side in default_sides(count)]
    assert [p / prints[0] for p in prints] == pytest.approx([u / usual[0] for u in usual])


@pytest.mark.parametrize(
    ("count", "options"), [(0, {}), (3, {"rim_mm": -1}), (3, {"base_mm": 3}), (2, {"rim_mm": math.nan})]
)
def test_sides_that_cannot_be_are_refused(count, options):
    """Sides would be negative or none."""
    with pytest.raises(InvalidInputError, match="one layer or more, and a rim.*Make the rim narrower"):
        default_sides(count, **options)


# --- refusals ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        ({"layers": ()}, "two layers or more; got 0. Lay another piece on it"),
        ({"layers": (Surface("a", 40),)}, "two layers or more; got 1. Lay another piece on it"),
        ({"layers": (Surface("a", 40), Surface("b", math.nan))}, "that of piece 'b' is nan. Measure it again"),
        ({"layers": (Surface("a", 40), Surface("b", -3))}, "that of piece 'b' is -3"),
        ({"background": Surface(BACKGROUND, math.nan)}, "that of the background is nan"),
        ({"sides": (92,)}, "one side for every layer; got 1 for 2. Give them bottom first"),
        ({"sides": (66, 92)}, "smaller than what it lies on; got 92 mm on 66 mm. Give the cut sides bottom first"),
        ({"sides": (66, 66)}, "smaller than what it lies on; got 66 mm on 66 mm"),
        ({"sides": (92, 0)}, "smaller than what it lies on; got 0 mm on 92 mm"),
        ({"sides": (92, math.nan)}, "smaller than what it lies on; got nan mm"),
        ({"sides": (92, 66), "rim": 33}, "rim must leave some of every layer; got 33 mm on either side of 66 mm"),
        ({"rim": -1}, "rim of a stack must be 0 mm or more; got -1. Pass 0 for no rim"),
        ({"gap": -0.5}, "gap of a stack must be 0 mm or more; got -0.5. Pass 0 for no gap"),
        ({"gap": math.nan}, "gap of a stack must be 0 mm or more; got nan"),
        (
            {"layers": (Surface("a", 40, side=60), Surface("b", 50)), "sides": (92, 66)},
            "'a' gives 60 mm at most, and 92 mm is asked. Make the layer smaller",
        ),
    ],
)
def test_stacks_that_cannot_be_are_refused_in_words(options, sentence):
    """Nonsense would get points."""
    with pytest.raises(InvalidInputError) as refused:
        Stack(**({"layers": (Surface("a", 40), Surface("b", 80))} | options))
    assert sentence in str(refused.value)


def test_an_unknown_piece_is_refused_with_the_nearest_names():
    """A typing error would be a stack trace."""
    pile = pd.DataFrame({"swatch_id": ["tower-1", "tower-2", "brook-1"], "lightness": [30.0, 60, 80]})
    with pytest.raises(InvalidInputError, match="'towr-1' is none of its 3. Nearest: tower-1, tower-2"):
        stack_of(pile, ["towr-1", "brook-1"])
    with pytest.raises(InvalidInputError, match="that of piece 'c' is nan"):
        stack_of(pd.DataFrame({"swatch_id": ["c", "d"], "lightness": [None, 60.0]}), ["c", "d"])
    with pytest.raises(InvalidInputError, match="that of the background is nan"):
        stack_of(pile, ["tower-1", "brook-1"], background=math.nan)
