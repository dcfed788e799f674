"""Exercises made from a pile, and orders as learners write them."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from contrastkit.compose.exercise import Exercise, make_exercise, parse_order
from contrastkit.errors import InvalidInputError, TooFewSwatchesError


def pile(lightness, **columns):
    names = [f"p{number:02d}" for number in range(len(lightness))]
    return pd.DataFrame({"swatch_id": names, "lightness": np.array(lightness, float)} | columns)


@settings(max_examples=80, deadline=None)
@given(st.lists(st.integers(0, 100), min_size=3, max_size=9), st.integers(3, 6))
def test_pieces_far_apart_are_as_far_apart_as_they_can_be(lightness, count):
    """Learners would be given near pieces although far ones lie in the pile. Against trying every choice."""
    if count > len(lightness):
        return
    table = pile(lightness)
    value = dict(zip(table["swatch_id"], table["lightness"], strict=True))
    chosen = make_exercise(table, count=count).pieces
    assert len(set(chosen)) == count

    def least_step(names):
        return min(abs(value[one] - value[other]) for one, other in combinations(names, 2))

    best = max(least_step(names) for names in combinations(value, count))
    assert least_step(chosen) == pytest.approx(best, abs=1e-6)


def test_vivid_exercises_give_half_of_their_places_to_pieces_that_look_lighter_than_they_are():
    """The exercise would not train what eyes get wrong."""
    lightness = np.linspace(10, 90, 17)
    looks = lightness + np.where(np.arange(17) % 5 == 2, 9, 0)
    exercise = make_exercise(pile(lightness, lightness_apparent_low=looks), count=8, level="vivid")
    assert {"p02", "p07", "p12"} <= set(exercise.pieces)
    assert len(set(exercise.pieces)) == 8
    assert len(make_exercise(pile(lightness), count=8, level="vivid").pieces) == 8


def test_the_same_seed_gives_the_same_exercise_and_another_another():
    """The key printed next week would not fit the sheets."""
    table = pile(range(0, 100, 5))
    first, again, other = (make_exercise(table, seed=seed) for seed in (4, 4, 5))
    assert first == again
    assert first.pieces != other.pieces
    assert sorted(first.pieces) == sorted(other.pieces)
    assert list(first.pieces) != sorted(first.pieces)
    assert first.pieces[first.number_of("p00") - 1] == "p00"


def test_orders_are_read_as_people_write_them():
    """A comma or a space too many would cost a learner the exercise."""
    exercise = Exercise(("b", "a", "c", "d"))
    assert parse_order(" 2,1 = 3  4\n", exercise) == (("a",), ("b", "c"), ("d",))
    assert parse_order("4;3;2;1", exercise) == (("d",), ("c",), ("a",), ("b",))


@pytest.mark.parametrize(("text", "message"), [
    ("1 2 3 40", r"^An order must be of the numbers 1 to 4; got '40'\. Was it 4\? Write them from dark to light\.$"),
    ("1 2 3 x", r"^An order must be of the numbers 1 to 4; got 'x'\. Write them from dark to light\.$"),
    ("1 2 2 3", r"^Each number must be in the order once; 2 is there twice\. Leave one out\.$"),
    ("1 2", r"^Each number must be in the order; 3, 4 is missing\. Add what is\.$"),
    ("", r"^Each number must be in the order; 1, 2, 3, 4 is missing\. Add what is\.$"),
])
def test_an_order_with_a_slip_is_refused_in_a_sentence(text, message):
    """It would be judged as if the learner had meant it."""
    with pytest.raises(InvalidInputError, match=message):
        parse_order(text, Exercise(("b", "a", "c", "d")))


@pytest.mark.parametrize(("options", "error", "message"), [
    ({"level": "x"}, InvalidInputError, r"^An exercise must be far apart or vivid; got 'x'\. Use one of these\.$"),
    ({"count": 2}, InvalidInputError, r"^An exercise must be of 3 to 40 pieces; got 2\. Twelve are usual\.$"),
    ({"count": 9}, TooFewSwatchesError, r"needs as many of known lightness; the pile has 4\. Ask for fewer, or"),
])
def test_an_exercise_that_cannot_be_made_is_refused(options, error, message):
    """A sheet with empty places would be printed."""
    with pytest.raises(error, match=message):
        make_exercise(pile([10, 20, 30, 40, float("nan")]), **options)


@pytest.mark.parametrize("seed", [-1, 1_000_000_000])
def test_a_seed_that_cannot_be_written_on_a_sheet_is_refused(seed):
    """A sheet would be printed that nobody can score, or a traceback."""
    table = pd.DataFrame({"swatch_id": list("abc"), "lightness": [20.0, 50.0, 80.0]})
    with pytest.raises(InvalidInputError, match=rf"seed of an exercise must be 0 to 999,999,999; got {seed}\."):
        make_exercise(table, count=3, seed=seed)
