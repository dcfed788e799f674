"""What the eye gets where two layers meet: the guards, what shows, the rim, and words that say what was measured."""

from __future__ import annotations

import math
from dataclasses import replace

import gold
import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from contrastkit.compose.seams import (
    AMBIGUOUS,
    BACKGROUND,
    ONE_SIDED,
    VERDICTS,
    Surface,
    judge_seam,
    rim_seen,
    surfaces,
    verdict_word,
    weigh_seam,
)
from contrastkit.compose.showing import SPAN_MM, Place
from contrastkit.errors import InvalidInputError
from contrastkit.light.contrast import bowman_sapolinski
from contrastkit.light.lightness import lightness_to_luminance, luminance_to_lightness
from contrastkit.light.vivid import apparent_lightness_high

SIXTEENTH = gold.SIXTEENTH_MM
WORDS = [verdict.word for verdict in VERDICTS]

lightnesses = st.floats(0, 100)
known = st.builds(
    Surface,
    swatch_id=st.just("a"),
    lightness=lightnesses,
    sigma=st.floats(0, 8),
    chroma=st.floats(0, 100),
    hue_angle=st.floats(0, 360),
    rim=lightnesses,
)


def light(lightness):
    return float(lightness_to_luminance(lightness))


def flat(lightness, pixels=96):
    return np.full((pixels, pixels), light(lightness))


def squares(pixels, side_mm):
    """Half the side, mm, of the square on which each pixel's middle lies, and where it is: written for the tests."""
    place = ((np.arange(pixels) + 0.5) / pixels - 0.5) * side_mm
    down, right = np.meshgrid(place, place, indexing="ij")
    return np.maximum(abs(down), abs(right)), down, right


# --- step, uncertainty, vivid colour ----------------------------------------------------------------------------------


@given(one=known, other=known)
def test_a_seam_turned_over_has_the_same_separation(one, other):
    """Which layer lies above would change how far the two stand apart."""
    seam, turned = judge_seam(one, other), judge_seam(other, one)
    assert turned.step == pytest.approx(-seam.step)
    assert turned.separation == pytest.approx(seam.separation)
    assert turned.apparent_step == pytest.approx((-seam.apparent_step[1], -seam.apparent_step[0]))
    assert (turned.sure_step, turned.ambiguous, turned.verdict) == (seam.sure_step, seam.ambiguous, seam.verdict)


@given(one=known, other=known)
def test_names_change_nothing(one, other):
    """A piece's name would weigh in the score."""
    seam = judge_seam(one, other, rim_mm=1.5, distance_mm=3000)
    renamed = judge_seam(
        replace(one, swatch_id="z9"), replace(other, swatch_id="b"), rim_mm=1.5, distance_mm=3000
    )
    assert repr(replace(renamed, below="", above="", sentence="")) == repr(
        replace(seam, below="", above="", sentence="")
    )


@given(one=known, other=known)
def test_the_separation_is_what_is_left_of_the_step(one, other):
    """A guard would add to a step, or count a step that the eye may see the other way round."""
    seam = judge_seam(one, other)
    apparent = float(
        apparent_lightness_high(other.lightness, other.chroma, other.hue_angle)
        - apparent_lightness_high(one.lightness, one.chroma, one.hue_angle)
    )
    agree = seam.step * apparent >= 0
    assert seam.separation == pytest.approx(min(abs(seam.step), abs(apparent)) if agree else 0, abs=1e-9)
    assert seam.ambiguous == (not agree)
    assert seam.apparent_step[0] <= seam.apparent_step[1]
    assert seam.sure_step == pytest.approx(max(abs(seam.step) - 1.645 * math.hypot(one.sigma, other.sigma), 0))


@given(lightness=lightnesses, chroma=st.floats(0, 100), hue=st.floats(0, 360), step=st.floats(0, 30))
def test_two_of_one_colour_look_as_far_apart_as_they_are(lightness, chroma, hue, step):
    """Each side would be judged by another pair of eyes, and a piece look lighter than itself."""
    one = Surface("a", lightness, chroma=chroma, hue_angle=hue)
    assert judge_seam(one, one).apparent_step == (0, 0)
    assert judge_seam(one, one).separation == 0


def test_a_vivid_blue_on_grey_is_ambiguous_and_says_so():
    """A blue that a grey photograph shows darker, and the eye takes for the lighter, would count as a dark."""
    blue = Surface("B", 40, chroma=60, hue_angle=290)  # looks like 56 by High, Green and Nussbaum
    seam = judge_seam(Surface("G", 50, chroma=0), blue)
    assert (seam.step, seam.ambiguous, seam.separation, seam.verdict) == (-10, True, 0, AMBIGUOUS)
    assert seam.apparent_step[0] < 0 < seam.apparent_step[1]
    assert seam.sentence.endswith("Ambiguous: by lightness G is the lighter, but the eye may take B for it.")


def test_vivid_colour_takes_from_a_step():
    """A dark vivid red on a light grey would count in full: 15 L* of its step are not seen."""
    red = Surface("R", 41, chroma=57, hue_angle=27)
    seam = judge_seam(Surface("G", 72, chroma=0), red)
    assert seam.step == -31
    assert seam.separation == pytest.approx(31 - 15.3, abs=0.05)  # the shift of red, SCIENCE.md par. 4
    assert seam.verdict == "firm"
    assert "Vivid colour leaves 16 of it." in seam.sentence


def test_the_range_of_an_apparent_step_by_hand():
    """The weak end would be left out, or only one formula asked: half and whole of either, SCIENCE.md par. 4."""
    grey, blue = Surface("g", 50, chroma=0), Surface("b", 50, chroma=50, hue_angle=270)  # like 62.5625 and 61.5350
    assert judge_seam(grey, blue).apparent_step == pytest.approx((11.535 / 2, 12.5625), abs=1e-4)
    assert judge_seam(blue, grey).apparent_step == pytest.approx((-12.5625, -11.535 / 2), abs=1e-4)


@pytest.mark.parametrize("missing", ["chroma", "hue_angle"])
def test_where_colour_is_unknown_lightness_alone_counts(missing):
    """A table without colours could not be judged, or unknown would be taken for grey."""
    one = replace(Surface("a", 30, chroma=60, hue_angle=290), **{missing: math.nan})
    seam = judge_seam(Surface("b", 50, chroma=0), one)
    assert math.isnan(seam.apparent_step[0])
    assert (seam.separation, seam.ambiguous) == (20, False)


def test_surely_is_only_said_of_what_uncertainty_leaves():
    """A step of 22 known to 2 would be promised to be clear."""
    seam = judge_seam(Surface("a", 60, 2.0), Surface("b", 82, 2.0))
    assert seam.sure_step == pytest.approx(22 - 1.645 * math.sqrt(8))
    assert seam.sentence == "b on a: 22 L* lighter, clear, but not surely."
    assert judge_seam(Surface("a", 60, 0.5), Surface("b", 82, 0.5)).sentence.endswith("surely clear.")
    assert judge_seam(Surface("a", 60), Surface("b", 82)).sentence == "b on a: 22 L* lighter, clear."


def test_unknown_stays_unknown():
    """nan would turn into a number on the way."""
    seam = judge_seam(Surface("a", 30), Surface("b", 60))
    for number in (seam.sigma, seam.sure_step, seam.weakest, seam.spread_ratio, seam.spread_ratio_far, seam.line_step):
        assert math.isnan(number)
    assert seam.counts == seam.separation == 30


# --- words ------------------------------------------------------------------------------------------------------------


def test_words_begin_where_they_say():
    """A limit would belong to the weaker word, or rounding decide."""
    for verdict in VERDICTS:
        assert verdict_word(verdict.at_least) == verdict.word
        if verdict.at_least:
            assert verdict_word(verdict.at_least - 1e-6) == WORDS[WORDS.index(verdict.word) - 1]
    assert verdict_word(60.1 - 40.1) == "clear"  # 19.999999999999993 or 20.000000000000004, as it happens
    assert [verdict.at_least for verdict in VERDICTS] == [0, 5, 10, 20, 30]


@given(smaller=st.floats(0, 100), larger=st.floats(0, 100))
def test_more_is_never_a_weaker_word(smaller, larger):
    """The words would not be in order."""
    smaller, larger = sorted((smaller, larger))
    assert WORDS.index(verdict_word(smaller)) <= WORDS.index(verdict_word(larger))


def test_two_munsell_steps_are_about_the_contrast_that_access_codes_ask():
    """The yardstick said beside "clear" would be wrong: 20 L* against the 30 % of AS 1428.1, darker side 25 to 70."""
    clear = next(verdict for verdict in VERDICTS if verdict.word == "clear")
    darker = np.arange(25, 71)
    contrast = bowman_sapolinski(lightness_to_luminance(darker), lightness_to_luminance(darker + clear.at_least))
    assert "AS 1428.1" in clear.yardstick
    assert contrast == pytest.approx(np.full(darker.shape, 30), abs=4)
    firm = bowman_sapolinski(lightness_to_luminance(darker), lightness_to_luminance(darker + 10))
    assert firm.max() < 20


def test_an_unknown_separation_has_no_word():
    """nan would be called lost."""
    with pytest.raises(InvalidInputError, match="separation must be 0 L\\* or more; got nan.*only if known"):
        verdict_word(math.nan)


# --- what shows -------------------------------------------------------------------------------------------------------


def test_only_the_ring_that_shows_of_a_covered_layer_counts():
    """A dark middle that nobody will see would darken the layer."""
    out, _, _ = squares(200, 92)
    base = np.where(out < 33, light(20), light(80))
    seam = judge_seam(
        Surface("base", 55), Surface("top", 45), sides=(92, 66), textures={"base": base, "top": flat(45)}
    )
    assert seam.lightness_below == pytest.approx(80, abs=1e-9)
    assert seam.step == pytest.approx(-35, abs=1e-9)
    assert judge_seam(Surface("base", 55), Surface("top", 45)).step == -10


def test_the_rim_and_what_lies_above_do_not_count_as_the_upper_layer():
    """Bare ground and a covered middle would be averaged into the layer between them."""
    out, _, _ = squares(264, 66)
    top = np.select([out < 22, out < 31], [light(5), light(50)], light(95))
    seam = judge_seam(
        Surface("base", 80), Surface("top", 70), sides=(92, 66), rim_mm=2, covered_mm=44,
        textures={"base": flat(80), "top": top},
    )  # fmt: skip
    assert seam.lightness_above == pytest.approx(50, abs=1e-9)


def test_the_visible_mean_is_of_light():
    """Half black, half white would read 50 and not 76: L* would be averaged."""
    _, down, _ = squares(100, 92)
    base = np.where(down < 0, 0.0, 1.0)
    seam = judge_seam(Surface("base", 50), Surface("top", 30), sides=(92, 66), textures={"base": base})
    assert seam.lightness_below == pytest.approx(76.069, abs=1e-3)  # SCIENCE.md par. 3


def test_a_piece_larger_than_its_layer_is_cut_from_its_middle():
    """The texture of a large piece would be squeezed into the layer."""
    out, _, _ = squares(240, 120)
    base = np.where(out < 46, light(80), light(10))
    textures = {"base": base}
    cut = judge_seam(Surface("base", 60, side=120), Surface("top", 30), sides=(92, 66), textures=textures)
    assert cut.lightness_below == pytest.approx(80, abs=1e-9)
    squeezed = judge_seam(Surface("base", 60), Surface("top", 30), sides=(92, 66), textures=textures)
    assert squeezed.lightness_below < 80


def test_a_lost_edge_is_the_weakest_tenth():
    """A seam that is bold on three sides and lost on the fourth would be called bold all round."""
    _, down, right = squares(240, 92)
    base = np.where((down < 0) & (abs(right) <= abs(down)), light(32), light(75))  # its top side
    seam = judge_seam(
        Surface("base", 68), Surface("top", 30), sides=(92, 66), textures={"base": base, "top": flat(30)}
    )
    assert seam.weakest == pytest.approx(2, abs=0.1)
    assert seam.counts == seam.weakest
    assert seam.separation > 30
    assert "Along a tenth of the seam it is 2 or less." in seam.sentence


def test_a_weak_stretch_shorter_than_a_tenth_does_not_decide():
    """The weakest spot, and not the weakest tenth, would be reported: here it is 6 mm long, less than one span."""
    _, down, right = squares(460, 92)
    base = np.where((down < 0) & (abs(right) < 3), light(32), light(75))
    seam = judge_seam(
        Surface("base", 74), Surface("top", 30), sides=(92, 66), textures={"base": base, "top": flat(30)}
    )
    assert seam.weakest > 40


def test_a_seam_that_turns_round_is_negative_and_said():
    """Where light and dark change places, the absolute step would pass for a clear edge."""
    _, _, right = squares(240, 92)
    base = np.where(right < -10, light(15), light(80))
    seam = judge_seam(
        Surface("base", 70), Surface("top", 45), sides=(92, 66), textures={"base": base, "top": flat(45)}
    )
    assert seam.step < 0
    assert seam.weakest == pytest.approx(-30, abs=0.1)
    assert seam.counts == 0
    assert "change places" in seam.sentence


def test_local_lightness_is_found_where_it_lies_round_the_seam():
    """The way round would jump at a corner or run to and fro: each side has its own lightness here."""
    _, down, right = squares(480, 92)
    across = abs(right) > abs(down)
    sides = [~across & (down < 0), across & (right > 0), ~across]
    base = np.select(sides, [light(30), light(45), light(60)], light(75))
    place = Place(92, 66, ring=5)
    seen = weigh_seam(Surface("base", 50), Surface("top", 10), place, {"base": base, "top": flat(10)})
    mean = luminance_to_lightness(np.mean([light(x) for x in (30, 45, 60, 75)]))
    assert seen.lightness_below == pytest.approx(float(mean), abs=0.02)
    assert seen.weakest == pytest.approx(20, abs=0.1)


@settings(max_examples=20, deadline=None)
@given(turns=st.integers(0, 3), mirrored=st.booleans(), seed=st.integers(0, 99))
def test_turning_or_mirroring_both_layers_changes_nothing(turns, mirrored, seed):
    """One side of the seam would be treated unlike the others."""
    rng = np.random.default_rng(seed)
    textures = {name: np.kron(rng.uniform(0.05, 0.6, (8, 8)), np.ones((10, 10))) for name in ("a", "b")}
    turned = {name: np.rot90(texture, turns) for name, texture in textures.items()}
    if mirrored:
        turned = {name: texture[:, ::-1] for name, texture in turned.items()}
    pair = Surface("a", 50), Surface("b", 50)
    seam, other = (judge_seam(*pair, sides=(92, 66), textures=t) for t in (textures, turned))
    assert other.step == pytest.approx(seam.step, abs=1e-9)
    assert other.weakest == pytest.approx(seam.weakest, abs=0.6)  # spans begin at other corners
    assert seam.weakest <= abs(seam.step) + 1e-9 or abs(seam.step) < 3


def test_local_lightness_is_that_beside_the_seam():
    """What lies far from the seam would be compared across it: here only 5 mm on either side are nearly alike."""
    out, _, _ = squares(480, 120)
    base = np.where(out < 33 + 5, light(42), light(90))
    out, _, _ = squares(264, 66)
    top = np.where(out > 33 - 1.5 - 5, light(40), light(5))
    options = {"sides": (120, 66), "rim_mm": 1.5, "textures": {"base": base, "top": top}}
    pair = Surface("base", 70), Surface("top", 30)
    assert judge_seam(*pair, ring_mm=5, **options).weakest == pytest.approx(2, abs=0.1)
    assert judge_seam(*pair, ring_mm=15, **options).weakest > 30


def test_what_is_outside_the_piece_is_passed_over():
    """A torn corner would be black, or spread nan over the whole seam."""
    base = flat(70, 120)
    base[:30, :30] = np.nan
    seam = judge_seam(
        Surface("base", 70), Surface("top", 40), sides=(92, 66), textures={"base": base}, distance_mm=3000
    )
    assert (seam.lightness_below, seam.weakest) == (pytest.approx(70), pytest.approx(30))


def test_a_texture_that_shows_nothing_leaves_the_table_to_speak():
    """An empty texture would make the layer nan."""
    seam = judge_seam(
        Surface("base", 70), Surface("top", 40), sides=(92, 66), textures={"base": np.full((9, 9), np.nan)}
    )
    assert (seam.lightness_below, seam.step) == (70, -30)
    assert math.isnan(seam.weakest)


def test_a_background_is_even_and_endless():
    """The base's seam with what it is fused to could not be judged."""
    seam = judge_seam(
        Surface(BACKGROUND, 90), Surface("base", 40), sides=(math.inf, 92), textures={"base": flat(50)}
    )
    assert (seam.step, seam.weakest) == (pytest.approx(-40), pytest.approx(40))
    assert seam.sentence.startswith("base on the background: 40 L* darker, bold")


# --- how lively -------------------------------------------------------------------------------------------------------


def test_pattern_counts_against_a_seam_near_by_and_averages_out_far_off():
    """A busy print would separate as well near by as far off."""
    rng = np.random.default_rng(3)
    textures = {name: np.kron(rng.uniform(*ends, (46, 46)), np.ones((4, 4))) for name, ends in
                {"base": (0.3, 0.7), "top": (0.05, 0.25)}.items()}  # fmt: skip
    pair = Surface("base", 74), Surface("top", 45)
    at = {d: judge_seam(*pair, sides=(92, 66), textures=textures, distance_mm=d) for d in (1000, 3000, 8000)}
    ratios = [at[1000].spread_ratio, *(at[d].spread_ratio_far for d in (1000, 3000, 8000))]
    assert ratios == sorted(ratios)
    assert ratios[-1] > 2 * ratios[0]
    assert at[1000].spread_ratio == at[8000].spread_ratio


def test_without_textures_the_table_tells_the_spread():
    """Percentiles would be taken for standard deviations: from the 5th to the 95th is 3.29 of them."""
    one = Surface("a", 40, low=40 - 3 * 1.645, high=40 + 3 * 1.645)
    other = Surface("b", 70, low=70, high=70 + 8 * 1.645)
    assert judge_seam(one, other).spread_ratio == pytest.approx(30 / math.sqrt((3**2 + 4**2) / 2))
    assert math.isnan(judge_seam(one, other, distance_mm=3000).spread_ratio_far)


def test_even_cloth_has_no_endless_ratio():
    """Dividing by no spread would give infinity, which no file of numbers can hold."""
    even = [Surface(name, lightness, low=lightness, high=lightness) for name, lightness in (("a", 40), ("b", 70))]
    assert judge_seam(*even).spread_ratio == 30


# --- the rim ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("bands", gold.THREE_BANDS)
def test_the_rim_stands_clear_as_tabled(bands):
    """The rim's line would be read in its middle, or compared with the wrong neighbour."""
    for metres, clear in zip(gold.THREE_BANDS_METRES, gold.THREE_BANDS[bands], strict=True):
        seen = rim_seen(*bands, rim_mm=SIXTEENTH, distance_mm=1000 * metres)
        assert seen.line_step == pytest.approx(clear, abs=gold.THREE_BANDS_ATOL), metres
        assert seen.step == bands[2] - bands[0]
        assert seen.verdict == verdict_word(seen.line_step)


def test_a_light_rim_on_dark_outlasts_a_dark_rim_on_light():
    """Blur would be of L* and not of light: with the same step of 40 they keep 18 and 8 L* at 5 m."""
    light_on_dark = rim_seen(30, 70, 30, rim_mm=SIXTEENTH, distance_mm=5000)
    dark_on_light = rim_seen(70, 30, 70, rim_mm=SIXTEENTH, distance_mm=5000)
    assert light_on_dark.line_step > 2 * dark_on_light.line_step
    assert light_on_dark.fades_mm > 2 * dark_on_light.fades_mm


@settings(deadline=None)
@given(
    left=lightnesses, rim=lightnesses, right=lightnesses,
    rim_mm=st.floats(0.2, 6), distance=st.floats(300, 15_000), limit=st.floats(0.5, 20),
)  # fmt: skip
def test_the_line_is_gone_just_where_it_says(left, rim, right, rim_mm, distance, limit):
    """The distance of fading would be another than where the line reaches its limit, or the rim come back beyond."""
    seen = rim_seen(left, rim, right, rim_mm=rim_mm, distance_mm=distance, limit=limit)
    if seen.fades_mm:
        there = rim_seen(left, rim, right, rim_mm=rim_mm, distance_mm=seen.fades_mm, limit=limit)
        assert there.line_step == pytest.approx(limit, abs=1e-3)
        assert (seen.line_step >= limit) == (distance < seen.fades_mm) or distance == pytest.approx(seen.fades_mm)
    else:
        clear = min(abs(rim - left), abs(rim - right)) if not min(left, right) <= rim <= max(left, right) else 0
        assert clear <= limit
    assert 0 <= seen.line_step <= max(min(abs(rim - left), abs(rim - right)), 0) + 1e-9


@settings(deadline=None)
@given(
    left=lightnesses, rim=lightnesses, right=lightnesses, distance=st.floats(300, 15_000), factor=st.floats(0.2, 5)
)
def test_a_rim_twice_as_wide_is_seen_as_well_from_twice_as_far(left, rim, right, distance, factor):
    """Something besides the angle would count; or left and right be treated differently."""
    one = rim_seen(left, rim, right, rim_mm=1.5, distance_mm=distance)
    other = rim_seen(right, rim, left, rim_mm=1.5 * factor, distance_mm=distance * factor)
    assert other.line_step == pytest.approx(one.line_step, abs=1e-3)
    assert other.fades_mm == pytest.approx(one.fades_mm * factor, rel=1e-4)


def test_what_is_said_of_rims():
    """A person would have to read four numbers to know whether the rim is seen."""
    said = {
        (70, 30, 75, 3000): "At 3 m the rim still stands 12 L* clear; at 5.8 m it is gone.",
        (30, 90, 70, 5000): "At 5 m the rim is gone; it is seen up to 3.6 m.",
        (30, 50, 70, 3000): "The rim is no lighter or darker than both its neighbours: it draws no line.",
        (50, 52, 50, 3000): "The rim draws no line: near by it stands only 2 L* clear.",
    }
    for (*bands, distance), sentence in said.items():
        assert rim_seen(*bands, rim_mm=SIXTEENTH, distance_mm=distance).sentence == sentence


def test_a_rim_in_between_draws_no_line():
    """Its middle would be compared with neighbours from which it cannot stand out."""
    seen = rim_seen(30, 60, 70, rim_mm=SIXTEENTH, distance_mm=1000)
    assert (seen.line_step, seen.fades_mm, seen.verdict) == (0, 0, "lost")
    assert 50 < seen.line_lightness < 62


def test_a_seam_tells_of_the_upper_layers_rim():
    """The rim of the layer below would be looked at, or none."""
    base, top = Surface("base", 70, rim=5), Surface("top", 75, rim=30)
    seam = judge_seam(base, top, rim_mm=SIXTEENTH, distance_mm=3000)
    alone = rim_seen(70, 30, 75, rim_mm=SIXTEENTH, distance_mm=3000)
    assert (seam.line_step, seam.line_fades_mm, seam.distance_mm) == (alone.line_step, alone.fades_mm, 3000)
    assert seam.sentence.endswith(alone.sentence)
    for without in ({"rim_mm": 0, "distance_mm": 3000}, {"rim_mm": 1.5}):
        assert math.isnan(judge_seam(base, top, **without).line_step)


# --- surfaces ---------------------------------------------------------------------------------------------------------


def test_a_table_of_names_and_lightness_is_enough():
    """A list typed by hand could not be judged."""
    found = surfaces(pd.DataFrame({"swatch_id": ["b", 7], "lightness": [40, None]}))
    assert list(found) == ["b", "7"]
    assert found["b"].lightness == 40
    assert math.isnan(found["7"].lightness)
    assert all(math.isnan(x) for x in (found["b"].sigma, found["b"].chroma, found["b"].rim, found["b"].side))


def test_every_column_reaches_its_place():
    """Chroma would land in hue, or the rim's lightness in the low end."""
    row = {
        "swatch_id": "a", "lightness": 50.0, "lightness_sigma": 1.0, "chroma": 20.0, "hue_angle": 30.0,
        "lightness_low": 40.0, "lightness_high": 60.0, "lightness_rim": 10.0, "lightness_ground": 12.0, "side": 90.0,
    }  # fmt: skip
    expected = Surface("a", 50, 1, 20, 30, 40, 60, 10, 90)
    assert surfaces(pd.DataFrame([row]))["a"] == expected
    assert surfaces(pd.DataFrame([row | {"lightness_rim": None}]))["a"] == replace(expected, rim=12)
    del row["lightness_rim"]
    assert surfaces(pd.DataFrame([row]))["a"] == replace(expected, rim=12)


def test_a_table_without_lightness_is_refused():
    """The pile would be read as unknown throughout."""
    with pytest.raises(InvalidInputError, match="must have a column 'lightness'"):
        surfaces(pd.DataFrame({"swatch_id": ["a"]}))


# --- refusals ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("spoilt", [math.nan, -1, math.inf])
def test_an_unknown_lightness_is_refused(spoilt):
    """nan would run through every number of the seam."""
    with pytest.raises(InvalidInputError, match="lightness of the piece 'x' must be known.*Measure it again"):
        judge_seam(Surface("a", 50), Surface("x", spoilt))
    with pytest.raises(InvalidInputError, match="lightness of the background must be known"):
        judge_seam(Surface(BACKGROUND, spoilt), Surface("a", 50))
    for bands, name in (((spoilt, 9, 9), "left layer"), ((9, spoilt, 9), "rim"), ((9, 9, spoilt), "right layer")):
        with pytest.raises(InvalidInputError, match=f"lightness of the {name} must be known"):
            rim_seen(*bands, rim_mm=1.5, distance_mm=3000)


def test_lengths_that_cannot_be_are_refused():
    """A negative rim or a distance of nothing would give a number."""
    pair = Surface("a", 50), Surface("b", 80, rim=10)
    with pytest.raises(InvalidInputError, match="A rim must be 0 mm wide or more; got -1.*Pass 0 for none"):
        judge_seam(*pair, rim_mm=-1)
    with pytest.raises(InvalidInputError, match="What lies on a layer must be 0 mm wide or more"):
        judge_seam(*pair, covered_mm=math.nan)
    with pytest.raises(InvalidInputError, match="depth looked at beside a seam must be above 0"):
        judge_seam(*pair, ring_mm=0)
    with pytest.raises(InvalidInputError, match="viewing distance must be above 0"):
        judge_seam(*pair, rim_mm=1, distance_mm=0)
    with pytest.raises(InvalidInputError, match="A rim must be above 0; got 0.*Leave the rim out"):
        rim_seen(30, 90, 35, rim_mm=0, distance_mm=3000)
    with pytest.raises(InvalidInputError, match="limit of a line must be above 0"):
        rim_seen(30, 90, 35, rim_mm=1, distance_mm=3000, limit=0)


def test_layers_that_do_not_fit_are_refused():
    """The larger piece would be judged as if it were seen under the smaller."""
    pair = Surface("a", 50), Surface("b", 80)
    with pytest.raises(InvalidInputError, match="must be smaller than what it lies on; got 92 mm on 66 mm"):
        judge_seam(*pair, sides=(66, 92))
    with pytest.raises(InvalidInputError, match="must leave some of it to be seen.*Make the rim narrower"):
        judge_seam(*pair, sides=(92, 66), rim_mm=33)
    with pytest.raises(InvalidInputError, match="must leave some of it to be seen"):
        judge_seam(*pair, sides=(92, 66), covered_mm=66)


@pytest.mark.parametrize("texture", [np.zeros(3), np.zeros((0, 3)), np.full((3, 3), -0.1), np.full((2, 2), np.inf)])
def test_a_texture_that_is_no_picture_of_light_is_refused(texture):
    """Codes, colour or negative light would be averaged as luminance."""
    with pytest.raises(InvalidInputError, match="texture of 'a' must be luminance in rows and columns.*linear light"):
        judge_seam(Surface("a", 50), Surface("b", 80), sides=(92, 66), textures={"a": texture})


def test_a_span_is_one_degree_at_arms_length():
    """The yardstick in the docstring would be another than the one used."""
    assert pytest.approx(10.472, abs=1e-3) == SPAN_MM
    assert ONE_SIDED == 1.645


@given(one=known, other=known)
def test_what_is_said_is_what_was_found(one, other):
    """The sentence would name another step or word than the numbers."""
    assume(abs(other.lightness - one.lightness) >= 1)
    seam = judge_seam(replace(one, swatch_id="under"), replace(other, swatch_id="over"))
    way = "lighter" if seam.step > 0 else "darker"
    assert seam.sentence.startswith(f"over on under: {round(abs(seam.step))} L* {way}, ")
    assert seam.verdict in seam.sentence
    assert ("surely" not in seam.sentence.replace("not surely", "")) or seam.sure_step >= VERDICTS[
        WORDS.index(seam.verdict)
    ].at_least - 1e-9
