"""How light vivid colours look: against the formulas as published and the range we promise."""

from __future__ import annotations

import gold
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from contrastkit.errors import InvalidInputError
from contrastkit.light.vivid import (
    apparent_lightness_fairchild,
    apparent_lightness_high,
    apparent_range,
    vivid_sentence,
)

MODELS = [apparent_lightness_fairchild, apparent_lightness_high]
HUES = [0, 90, 180, 270]
ROOT_HALF = 0.5**0.5

lightnesses, chromas, hues = st.floats(0, 100), st.floats(0, 150), st.floats(-720, 720)


def test_fairchild_at_the_four_hues():
    """The angle would be halved twice, as in one published program: 270° must give 62.5625. Reckoned by hand."""
    strength = 2.5 - 0.025 * 50
    by_hand = [50 + strength * (0.116 * s + 0.085) * 50 for s in (ROOT_HALF, 0, ROOT_HALF, 1)]
    assert apparent_lightness_fairchild(50, 50, HUES) == pytest.approx(by_hand, abs=1e-12)
    assert by_hand == pytest.approx([60.4390, 55.3125, 60.4390, 62.5625], abs=1e-4)  # three public implementations


def test_high_at_the_four_hues():
    """The part for reds would reach the wrong hues: it holds at 90° and 270° too. Reckoned by hand."""
    for_hue = [0.1644 * s + 0.0603 for s in (ROOT_HALF, 0, ROOT_HALF, 1)]
    for_red = [0.1307 + 0.006, 0.006, 0, 0.006]
    by_hand = [50 + (a + b) * 50 for a, b in zip(for_hue, for_red, strict=True)]
    assert apparent_lightness_high(50, 50, HUES) == pytest.approx(by_hand, abs=1e-12)
    assert by_hand == pytest.approx([65.6624, 53.3150, 58.8274, 61.5350], abs=1e-4)  # three public implementations


def test_high_of_a_purple_as_another_library_prints_it():
    """A constant would be mistyped."""
    colour, lightness = gold.APPARENT_LIGHTNESS_HIGH
    assert apparent_lightness_high(*colour) == pytest.approx(lightness, abs=gold.APPARENT_LIGHTNESS_HIGH_ATOL)


@pytest.mark.parametrize("model", MODELS, ids=lambda f: f.__name__)
@given(lightness=lightnesses)
def test_greys_look_as_light_as_they_are(model, lightness):
    """A grey card would be said to look lighter than it is."""
    assert model(lightness, 0, 123) == lightness


@pytest.mark.parametrize("model", MODELS, ids=lambda f: f.__name__)
@given(lightness=lightnesses, chroma=chromas, hue=hues)
def test_vivid_never_looks_darker_and_a_full_turn_is_the_same_hue(model, lightness, chroma, hue):
    """A hue below 0 or above 360 would be another colour, or a shift negative."""
    here = model(lightness, chroma, hue)
    assert here >= lightness
    # 90 and 270 are where the formula for reds steps by 0.006 C*ab: rounding may fall on either side.
    assert model(lightness, chroma, hue + 360) == pytest.approx(here, abs=1e-9 + 0.006 * chroma * (hue % 180 == 90))


def test_the_effect_ends_at_white():
    """A glint above 100 would look darker than it is by Fairchild's formula."""
    assert apparent_lightness_fairchild([100, 120], 40, 270).tolist() == [100, 120]


@given(lightness=lightnesses, chroma=chromas, hue=hues)
def test_range_runs_from_half_the_smaller_shift_to_the_larger(lightness, chroma, hue):
    """The range would leave out one of the models, or not reach down to the weaker published ones."""
    shifts = [model(lightness, chroma, hue) - lightness for model in MODELS]
    low, high = apparent_range(lightness, chroma, hue)
    assert low == pytest.approx(lightness + min(shifts) / 2, abs=1e-9)
    assert high == pytest.approx(lightness + max(shifts), abs=1e-9)
    assert lightness <= low <= high


def test_range_keeps_the_shape_of_a_column_and_its_unknowns():
    """A piece of unknown colour would get an apparent lightness."""
    low, high = apparent_range([40, np.nan, 40], [20, 20, np.nan], 30)
    for end in (low, high):
        assert np.isnan(end).tolist() == [False, True, True]


@pytest.mark.parametrize(
    ("colour", "words"),
    [
        ((41, 57, 27), "about one step lighter"),  # red paint
        ((29.7, 53.6, 294), "about one step lighter"),  # blue paint
        ((32.3, 134, 306), "about three steps lighter"),  # a screen's blue, which no paint is
        ((5, 400, 290), "about 12 steps lighter"),  # nothing real: the words run out at five
    ],
)
def test_vivid_pieces_are_named_with_their_steps(colour, words):
    """A piece that looks a step lighter than its grey photograph would go unmentioned."""
    low, high = apparent_range(*colour)
    sentence = vivid_sentence(*colour)
    assert sentence.startswith("Vivid: looks ")
    assert words in sentence
    assert f"(L* {colour[0]:.0f} looks like {low:.0f} to {high:.0f})" in sentence


@pytest.mark.parametrize(
    ("chroma", "words"),
    [(50.3, ""), (50.7, "about one step "), (100.5, "about one step "), (101.5, "about two steps "),
     (336, "about five steps ")],
)
def test_three_quarters_of_a_step_is_worth_saying_and_steps_are_rounded(chroma, words):
    """The limit would move. At L* 50, hue 180 the middle of the range is 0.148527 C*ab above L*, reckoned by hand."""
    by_hand = ((0.1644 * ROOT_HALF + 0.0603) / 2 + 1.25 * (0.116 * ROOT_HALF + 0.085)) / 2
    assert by_hand == pytest.approx(0.148527, abs=1e-6)
    sentence = vivid_sentence(50, chroma, 180)
    assert bool(sentence) == bool(words)
    assert words in sentence


@pytest.mark.parametrize("colour", [(50, 0, 0), (81.5, 80.2, 91), (55.5, 52.4, 140), (np.nan, 50, 20)])
def test_greys_yellows_and_unknowns_are_not_called_vivid(colour):
    """A remark would stand beside every piece and mean nothing."""
    assert vivid_sentence(*colour) == ""


@pytest.mark.parametrize("function", [*MODELS, apparent_range, vivid_sentence], ids=lambda f: f.__name__)
def test_what_cannot_be_a_colour_is_refused(function):
    """Arguments in the wrong order would give a number all the same: a hue cannot be told, a negative can."""
    with pytest.raises(InvalidInputError, match=r"chroma must be 0 or more; its smallest value is -8. Pass L\*, C\*ab"):
        function(50, -8, 20)
    with pytest.raises(InvalidInputError, match="lightness must be 0 or more; its smallest value is -50"):
        function(-50, 8, 20)
