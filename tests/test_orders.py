"""Closed forms for the best stacks: against exhaustive search, and what must hold whatever the numbers."""

from __future__ import annotations

import random
from functools import lru_cache
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from contrastkit.compose.orders import alternating, by_layers, pairing_bound, smallest_step, stepped

# SCIENCE, paragraph 10: worked out with CP-SAT, apart from this code.
TWELVE = np.array([20.0, 24, 31, 37, 45, 52, 58, 66, 71, 77, 84, 92])
WORKED = [(4, 3, 17, 38), (3, 4, 25, 38), (4, 2, 18, 51)]  # layers, stacks, stepped, alternating


@pytest.mark.parametrize(("layers", "blocks", "up", "turns"), WORKED)
def test_the_worked_examples(layers, blocks, up, turns):
    """A stack would be called best that is not."""
    assert smallest_step(TWELVE, stepped(TWELVE, layers, blocks)) == up
    assert smallest_step(TWELVE, alternating(TWELVE, layers, blocks)) == turns


def goes(steps, order):
    turns = [a * b <= 0 for a, b in pairwise(steps)]
    return all(steps >= 0) if order is stepped else all(turns)


def can_lie(values, layers, step, order):
    """Whether these values, in any order that goes the right way, have no step smaller than this."""

    @lru_cache(None)
    def further(left, last, sign):
        if not left:
            return True
        for at in left:
            move = values[at] - values[last]
            way = 1 if move > 0 else -1
            fits = abs(move) >= step and (sign == 0 or (way == sign) == (order is stepped))
            if fits and further(left - {at}, at, way):
                return True
        return False

    return any(further(frozenset(range(layers)) - {first}, first, 0) for first in range(layers))


def best_by_trying_all(lightness, layers, blocks, order):
    """The largest smallest step of all ways to take so many stacks: exhaustive."""
    values = tuple(lightness)
    steps = sorted({abs(a - b) for a, b in combinations(values, 2)} | {0.0})

    def reaches(step):
        sets = [c for c in combinations(range(len(values)), layers)
                if can_lie(tuple(values[i] for i in c), layers, step, order)]
        by_first = {first: [sum(1 << i for i in c) for c in sets if c[0] == first] for first in range(len(values))}

        @lru_cache(None)
        def enough(first, used, left):
            if left == 0:
                return True
            if first == len(values):
                return False
            return any(not used & one and enough(first + 1, used | one, left - 1) for one in by_first[first]) or enough(
                first + 1, used, left
            )

        return enough(0, 0, blocks)

    return max(step for step in steps if step == 0 or reaches(step))


def instances(count):
    chance = random.Random(41)
    while count:
        layers, blocks = chance.choice([(2, 1), (2, 3), (3, 1), (3, 2), (3, 3), (4, 1), (4, 2), (5, 1), (5, 2)])
        pieces = chance.randint(layers * blocks, min(layers * blocks + 3, 10))
        if pieces >= layers * blocks:
            count -= 1
            top = chance.choice([6, 30])  # few values make many equal ones
            yield layers, blocks, tuple(sorted(float(chance.randint(0, top)) for _ in range(pieces)))


@pytest.mark.parametrize("order", [stepped, alternating])
@pytest.mark.parametrize(("layers", "blocks", "lightness"), list(instances(60)))
def test_nothing_tried_is_better(order, layers, blocks, lightness):
    """The formula would be wrong for some pile."""
    values = np.array(lightness)
    places = order(values, layers, blocks)
    assert smallest_step(values, places) == best_by_trying_all(lightness, layers, blocks, order)


PILES = st.lists(st.integers(0, 10_000), min_size=2, max_size=60).map(lambda x: np.sort(np.array(x) / 100))


@given(PILES, st.integers(2, 7), st.integers(1, 12), st.sampled_from([stepped, alternating]))
def test_pieces_are_used_once_and_the_order_is_kept(pile, layers, blocks, order):
    """A piece would be in two stacks, or a stack go down where it was to go up."""
    if layers * blocks > len(pile):
        return
    places = order(pile, layers, blocks)
    assert places.shape == (blocks, layers)
    assert len(np.unique(places)) == places.size
    assert all(goes(np.diff(pile[row]), order) for row in places)


@given(PILES, st.integers(2, 6), st.integers(1, 8), st.sampled_from([stepped, alternating]))
def test_moving_or_mirroring_all_lightness_changes_no_step(pile, layers, blocks, order):
    """Only differences count, and dark and light are alike."""
    if layers * blocks > len(pile):
        return
    worst = smallest_step(pile, order(pile, layers, blocks))
    for other in (pile + 3, np.sort(100 - pile)):
        assert smallest_step(other, order(other, layers, blocks)) == pytest.approx(worst, abs=1e-9)


@given(PILES, st.integers(2, 6), st.integers(1, 8), st.floats(0, 100), st.sampled_from([stepped, alternating]))
def test_one_more_piece_never_makes_it_worse(pile, layers, blocks, more, order):
    """It can be left over."""
    if layers * blocks > len(pile):
        return
    larger = np.sort(np.append(pile, more))
    before = smallest_step(pile, order(pile, layers, blocks))
    assert smallest_step(larger, order(larger, layers, blocks)) >= before - 1e-9


@given(PILES, st.integers(2, 7), st.integers(1, 10))
def test_turns_reach_no_more_than_pairs_and_no_less_than_stairs(pile, layers, blocks):
    """The bound would not bound, or the easier order would be the worse."""
    if layers * blocks > len(pile):
        return
    turns = smallest_step(pile, alternating(pile, layers, blocks))
    assert turns <= pairing_bound(pile, layers, blocks) + 1e-9
    if layers <= 3:
        assert turns >= smallest_step(pile, stepped(pile, layers, blocks)) - 1e-9


def test_steps_that_round_are_still_reached():
    """0.1 + 0.2 is not 0.3: the climb would go on for ever or stop too soon."""
    pile = np.sort(np.cumsum(np.full(40, 0.1)))
    assert smallest_step(pile, stepped(pile, 4, 3)) == pytest.approx(1.1, abs=0.11)


@pytest.mark.parametrize(
    ("layers", "way", "blocks", "steps"),
    [
        # dark below, medium, light on top: 2 stacks; by hand: 10 12 | 45 50 | 80 95 reach 35 (10-45, 45-80)
        ([[10, 12, 30], [45, 50], [60, 80, 95]], (1, 1), 2, 35),
        # light, dark, medium: by hand 60 90 | 10 12 | 40 50 reach 40 - 10 = 30
        ([[60, 90], [10, 12, 39], [40, 50]], (-1, 1), 2, 30),
        ([[60, 90], [10, 12, 39]], (-1,), 1, 80),
        ([[60], [70]], (-1,), 1, None),
        ([[60], [70, 80]], (1,), 2, None),
    ],
)
def test_layers_with_pieces_of_their_own(layers, way, blocks, steps):
    """A base would not be dark, or a better choice from the same groups be missed."""
    pools = [np.array(pool, float) for pool in layers]
    found = by_layers(pools, way, blocks)
    if steps is None:
        assert found is None
        return
    values = np.array([pool[place] for pool, place in zip(pools, found, strict=True)])
    moves = np.diff(values, axis=0) * np.array(way)[:, None]
    assert moves.min() == steps


@given(st.lists(st.lists(st.integers(0, 60), min_size=1, max_size=4), min_size=2, max_size=4), st.integers(1, 2),
       st.data())
def test_no_choice_from_layers_of_their_own_is_better(layers, blocks, data):
    """Exhaustive, by trying every set of pieces of every layer, the darkest on the darkest."""
    way = tuple(data.draw(st.sampled_from([1, -1])) for _ in layers[1:])
    pools = [np.sort(np.array(pool, float)) for pool in layers]
    best = -1.0
    choices = [list(combinations(pool, blocks)) for pool in pools]
    for first in choices[0]:
        reached = [(np.array(first), np.inf)]
        for sign, level in zip(way, choices[1:], strict=True):
            reached = [
                (np.array(above), min(worst, float((sign * (np.array(above) - below)).min())))
                for below, worst in reached for above in level
            ]
        best = max([best, *(worst for _, worst in reached)])
    found = by_layers(pools, way, blocks)
    assert (found is None) == (best < 0)
    if found is not None:
        values = np.array([pool[place] for pool, place in zip(pools, found, strict=True)])
        assert (np.diff(values, axis=0) * np.array(way)[:, None]).min() == best
