"""Pairs that colour fools the eye with, and words for hues."""

from __future__ import annotations

from itertools import combinations

import colour
import numpy as np
import pandas as pd
import pytest

from contrastkit.compose.colour_pairs import ALIKE, FAR, UNLIKE, alike_in_hue, alike_in_value
from contrastkit.compose.hues import HUE_NAMES, hue_name, hue_names
from contrastkit.errors import InvalidInputError


def palette(count, seed=1, sigma=1.0):
    chance = np.random.default_rng(seed)
    return pd.DataFrame({
        "swatch_id": [f"p{number:03d}" for number in range(count)], "lightness": chance.uniform(10, 95, count),
        "lightness_sigma": sigma, "chroma": chance.uniform(0, 70, count), "hue_angle": chance.uniform(0, 360, count),
    })


def lab(row):
    angle = np.radians(row["hue_angle"])
    return np.array([row["lightness"], row["chroma"] * np.cos(angle), row["chroma"] * np.sin(angle)])


def test_pairs_alike_in_value_are_the_furthest_apart_in_colour_that_there_are():
    """A striking pair would be missed. Every pair tried, colour differences by colour-science."""
    table = palette(40)
    rows = table.to_dict("records")
    apart = {
        frozenset((one["swatch_id"], other["swatch_id"])): float(colour.delta_E(lab(one), lab(other), "CIE 2000"))
        for one, other in combinations(rows, 2) if abs(one["lightness"] - other["lightness"]) <= ALIKE
    }
    pairs = alike_in_value(table, most=5)
    assert pairs[0].difference == pytest.approx(max(apart.values()), abs=1e-6)
    for pair in pairs:
        assert 0 <= pair.step <= ALIKE
        assert pair.difference >= UNLIKE
        assert pair.difference == pytest.approx(apart[frozenset((pair.darker, pair.lighter))], abs=1e-6)
        assert pair.sigma == pytest.approx(2**0.5)
        assert pair.sure == (pair.step + 1.645 * 2**0.5 <= ALIKE)
    assert [pair.difference for pair in pairs] == sorted((pair.difference for pair in pairs), reverse=True)


def test_pairs_alike_in_hue_are_the_furthest_apart_in_value_that_there_are():
    """The one pair that shows what value does would be missed, or the hues would not be alike across 0 degrees."""
    table = palette(60)
    table.loc[0, ["lightness", "chroma", "hue_angle"]] = [5.0, 60.0, 355.0]
    table.loc[1, ["lightness", "chroma", "hue_angle"]] = [96.0, 30.0, 8.0]
    (first, *others) = alike_in_hue(table, most=6)
    assert (first.darker, first.lighter, round(first.hue_step)) == ("p000", "p001", 13)
    assert first.step == pytest.approx(91)
    for pair in others:
        assert pair.step >= FAR
        assert pair.hue_step <= 20
    assert alike_in_hue(table.assign(chroma=3.0)) == ()


def test_no_piece_is_in_more_than_two_pairs_of_a_list():
    """One odd piece would fill the whole list."""
    table = palette(80, seed=4)
    for pairs in (alike_in_value(table, most=30), alike_in_hue(table, most=30)):
        names = [name for pair in pairs for name in (pair.darker, pair.lighter)]
        assert max(map(names.count, names)) <= 2


def test_unknown_colours_and_large_piles_are_no_trouble():
    """A table without colours would stop the panel, a pile of thousands take minutes."""
    table = palette(20)
    assert alike_in_value(table.drop(columns=["chroma", "hue_angle"])) == ()
    table.loc[:, "chroma"] = np.nan
    assert alike_in_hue(table) == ()
    assert len(alike_in_value(palette(3000), most=10)) == 10
    unsure = alike_in_value(palette(40).drop(columns="lightness_sigma"), most=1)[0]
    assert np.isnan(unsure.sigma)
    assert not unsure.sure


def test_steps_and_numbers_that_cannot_be_are_refused():
    """A list of everything, or of nothing, would be shown as if it had been asked for."""
    for call in (lambda: alike_in_value(palette(4), within=-1), lambda: alike_in_hue(palette(4), most=-1)):
        with pytest.raises(InvalidInputError, match=r"^Pairs need a step of 0 to 100 L\* and a number of 0 or more;"):
            call()


def test_words_for_hues_go_round_the_whole_circle():
    """Some colour would have no name, or a grey one be called red. The hues of the primaries of sRGB in CIELAB, as
    colour-science has them, carry the words that anybody would use."""
    primaries = {
        "red": (1, 0, 0), "yellow": (1, 1, 0), "green": (0, 1, 0), "blue-green": (0, 1, 1), "violet": (0, 0, 1)
    }  # fmt: skip
    for word, rgb in primaries.items():
        _, a, b = colour.XYZ_to_Lab(colour.sRGB_to_XYZ(rgb))
        assert hue_name(float(np.hypot(a, b)), float(np.degrees(np.arctan2(b, a)))) == word
    assert {hue_name(50, angle) for angle in range(360)} == set(HUE_NAMES) - {"grey"}
    assert (hue_name(3, 30), hue_name(50, float("nan")), hue_name(float("nan"), 30)) == ("grey", "", "")
    assert hue_names(pd.DataFrame({"swatch_id": ["a"]})) == [""]
