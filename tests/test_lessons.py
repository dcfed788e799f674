"""The teaching charts: what each says of a pile, that it is so, and that it can be read, printed and measured."""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from demo import demo_pieces as demo
from drawn import assert_keeps_to_the_look, boxes_of, extents, overlapping, pictures_of, words_of
from hypothesis import given
from hypothesis import strategies as st
from legible import illegible
from PIL import Image

from contrastkit.compose.seams import Surface, rim_seen
from contrastkit.compose.stacks import Stack
from contrastkit.errors import InvalidInputError
from contrastkit.light.distance import seen_from
from contrastkit.light.lightness import (
    SRGB,
    lab_to_chroma_hue,
    lightness_to_luminance,
    luminance,
    luminance_to_lightness,
    srgb1_to_lightness,
    srgb1_to_linear,
    xyz_to_lab,
)
from contrastkit.show.chart import save_pages
from contrastkit.show.lesson_colour import (
    fooling_pairs_chart,
    one_hue,
    one_value,
    same_hue_chart,
    same_value_chart,
)
from contrastkit.show.lesson_distance import RIM_MM, distances_chart, rim_chart, rims_of, steps_seen
from contrastkit.show.lesson_light import coverage_chart, coverage_steps, half_and_half_chart, melting_mm
from contrastkit.show.lesson_moves import Change, eyes_chart, films_chart, lamps_chart, moved, vivid_chart
from contrastkit.show.lesson_parts import Axis, samples_of, step_words
from contrastkit.show.lesson_scale import grey_scale_chart, place_on_steps
from contrastkit.show.lessons import LESSONS, lesson_named

LETTER_LYING, A4_LYING, MARGIN = (279.4, 215.9), (297.0, 210.0), 12.0


@lru_cache(maxsize=32)
def chart_of_demo(kind):
    return LESSONS[kind].draw(*demo())


def pile(*rows):
    """Rows of (name, lightness, chroma, hue angle)."""
    return pd.DataFrame(rows, columns=["swatch_id", "lightness", "chroma", "hue_angle"])


def titles_of(chart):
    """The words of the title, in one line."""
    texts = chart.figure.axes[0].texts
    return " ".join(text.get_text() for text in texts if text.get_fontsize() > 15)


# --- all of them ------------------------------------------------------------------------------------------------------

EVERY = pytest.mark.parametrize("kind", LESSONS)


@EVERY
def test_every_chart_can_be_read_in_grey(kind):
    """The copier would take a mark or a word away."""
    assert illegible(chart_of_demo(kind)) == []


@EVERY
def test_every_chart_keeps_to_the_look(kind):
    """Type under 8 points, lines under 0.25 mm, a hue of ours or another typeface."""
    chart = chart_of_demo(kind)
    if kind == "distances":  # nothing but pictures and words
        assert not chart.figure.axes[0].lines and not chart.figure.axes[0].patches
        assert min(text.get_fontsize() for text in chart.figure.axes[0].texts) >= 8
    else:
        assert_keeps_to_the_look(chart)


@EVERY
def test_no_words_run_into_each_other_or_off_the_chart(kind):
    """Names would be unreadable, or cut off by the printer."""
    chart = chart_of_demo(kind)
    words, _ = extents(chart)
    assert overlapping(words) == []
    width, height = chart.figure.get_size_inches() * 25.4
    assert all(left >= 3 and bottom >= 3 and right <= width - 3 and top <= height - 3
               for _, (left, bottom, right, top) in words)


@EVERY
def test_every_chart_fits_on_both_papers_at_its_true_size(kind):
    """A printer would shrink it, and nothing would be true to size any more. The charts' own margin is inside."""
    width, height = chart_of_demo(kind).figure.get_size_inches() * 25.4
    for paper in (LETTER_LYING, A4_LYING):
        long, short = (side - 2 * MARGIN for side in paper)
        assert (width <= long and height <= short) or (width <= short and height <= long)


@EVERY
def test_the_title_is_the_finding_and_the_description_begins_with_it(kind):
    """Whoever does not see the chart would not be told what it says."""
    chart = chart_of_demo(kind)
    title = titles_of(chart)
    assert len(title) > 20
    assert chart.description.startswith(title.split(":")[0])


@EVERY
def test_a_title_of_ones_own_takes_the_finding_s_place(kind):
    """A teacher could not say it in her own words."""
    chart = LESSONS[kind].draw(*demo(), title="What do you see?")
    assert titles_of(chart) == "What do you see?"


@pytest.mark.parametrize("kind", [kind for kind in LESSONS if kind != "balance"])
def test_real_pieces_are_shown(kind):
    """Grey boxes would stand for cloth."""
    coloured = [pixels for _, pixels in pictures_of(chart_of_demo(kind)) if np.ptp(pixels[..., :3], axis=2).max() > 20]
    assert len(coloured) >= 2


@EVERY
def test_charts_can_be_drawn_without_any_picture(kind):
    """Who has only a table would get nothing."""
    chart = LESSONS[kind].draw(demo()[0], {})
    assert titles_of(chart) == titles_of(chart_of_demo(kind)) or kind in ("same-value", "same-hue", "fooling-pairs")
    assert illegible(chart) == []


# What each of these lacks, and what to do. A table of nothing is the smallest pile of all.
TOO_FEW = {
    "grey-scale": (0, r"needs at least one swatch of known lightness; the pile has none\. Measure a photograph"),
    "same-value": (1, r"needs two hues within 5 L\* of each other; .* Paint or measure more pieces of middle value\."),
    "same-hue": (1, r"needs one hue that reaches over 20 L\*; .* Paint one colour over a dark and over a light ground"),
    "fooling-pairs": (1, r"needs two colours less than 5 L\* apart, or one hue in two values; the pile of 1 swatch"),
    "vivid": (0, r"needs a vivid swatch, .* none of 0 swatches of known colour does\. Measure some strong reds"),
    "half-and-half": (1, r"needs a dark and a light swatch 20 L\* apart or more; .* Measure darker or lighter pieces"),
    "coverage": (1, r"needs a dark and a light swatch 20 L\* apart or more; .* Measure darker or lighter pieces too\."),
    "distances": (2, r"needs 3 swatches of known lightness for a stack; the pile has 2\. Measure another one\."),
    "rim": (1, r"needs a swatch with a bare rim 10 L\* lighter or darker .* or fill in lightness_rim\."),
    "balance": (0, r"needs at least one swatch of known lightness; the pile has none\. Measure a photograph first\."),
    "pairs": (1, r"needs two swatches of known lightness or more; the pile has 1\. Measure another one\."),
    "lamps": (1, r"needs two swatches of known colour or more; the pile has 1\. Measure them from a photograph"),
    "eyes": (1, r"needs two swatches of known colour or more; the pile has 1\. Measure them from a photograph"),
    "films": (1, r"needs two swatches of known colour or more; the pile has 1\. Measure them from a photograph"),
}


@EVERY
def test_a_pile_too_small_is_told_what_to_do(kind):
    """A chart of nothing, or a traceback."""
    count, words = TOO_FEW[kind]
    with pytest.raises(InvalidInputError, match=f"^This chart {words}"):
        LESSONS[kind].draw(demo()[0].head(count), {})
    with pytest.raises(InvalidInputError, match=r"^This chart needs .+; .+\. .+\.$"):
        LESSONS[kind].draw(demo()[0].head(0), {})


@EVERY
def test_pieces_of_unknown_lightness_are_left_out(kind):
    """One piece without a reading would spoil the chart of all others."""
    table, crops = demo()
    unknown = pd.DataFrame({"swatch_id": ["nobody"], "lightness": [math.nan]})
    chart = LESSONS[kind].draw(pd.concat([table, unknown], ignore_index=True), crops)
    if kind != "balance":  # which counts it as a piece without a group
        assert chart.description == chart_of_demo(kind).description


def test_every_lesson_of_the_class_has_a_name():
    """`chart KIND` would not know it."""
    assert list(LESSONS) == [
        "grey-scale", "same-value", "same-hue", "fooling-pairs", "vivid", "half-and-half", "coverage", "distances",
        "rim", "balance", "pairs", "lamps", "eyes", "films",
    ]  # fmt: skip
    assert all(lesson.words and not lesson.words.endswith(".") for lesson in LESSONS.values())


def test_an_unknown_chart_is_refused():
    """A misspelt name would be answered with a KeyError."""
    with pytest.raises(InvalidInputError, match=r"A chart must be one of grey-scale, .*; got 'hue'\. Pick one"):
        lesson_named("hue")


# --- the grey scale ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("steps", [5, 9, 11])
def test_the_steps_decode_to_their_lightness_from_png_and_pdf(steps, tmp_path):
    """The file could hold other greys than it says; 0.3 L* is what 8 bits allow."""
    import pypdfium2

    chart = grey_scale_chart(*demo(), steps=steps)
    chart.save(tmp_path / "scale.png")
    png = np.asarray(Image.open(tmp_path / "scale.png").convert("RGB"))
    save_pages([chart], tmp_path / "scale.pdf")
    document = pypdfium2.PdfDocument(tmp_path / "scale.pdf")
    pdf = document[0].render(scale=2).to_numpy()[..., :3]
    document.close()
    tones = np.linspace(0, 100, 11) if steps == 11 else np.linspace(15, 95, steps)
    height = chart.figure.get_size_inches()[1] * 25.4
    boxes = [box for box in boxes_of(chart) if box[3] == 22.0 and box[4] is not None]
    assert len(boxes) == steps
    for tone, (left, bottom, *_) in zip(tones, boxes, strict=True):
        for pixels in (png, pdf):
            per_mm = pixels.shape[0] / height
            at = pixels[round((height - bottom - 2.0) * per_mm), round((left + 2.0) * per_mm)]
            assert float(srgb1_to_lightness(at / 255)) == pytest.approx(tone, abs=0.3)


@given(levels=st.lists(st.floats(0, 100), min_size=1, max_size=30), steps=st.sampled_from([5, 9, 11]))
def test_every_swatch_stands_under_the_nearest_step(levels, steps):
    """A piece would be called a step lighter or darker than it is."""
    table = pd.DataFrame({"swatch_id": [f"s{n}" for n in range(len(levels))], "lightness": levels})
    tones = np.linspace(0, 100, 11) if steps == 11 else np.linspace(15, 95, steps)
    for placed in place_on_steps(samples_of(table), tuple(tones)):
        nearest = np.abs(tones - placed.sample.lightness).min()
        assert abs(tones[placed.step] - placed.sample.lightness) == pytest.approx(nearest, abs=1e-9)


@pytest.mark.parametrize(("lightness", "sigma", "rival"), [(31.0, 1.0, None), (27.0, 1.5, 0), (44.0, 1.0, 2)])
def test_a_piece_near_the_border_of_two_steps_may_belong_to_either(lightness, sigma, rival):
    """A borderline piece would be put on a step as if that were sure. Steps at 15, 35, 55; borders at 25 and 45."""
    table = pd.DataFrame({"swatch_id": ["a"], "lightness": [lightness], "lightness_sigma": [sigma]})
    (placed,) = place_on_steps(samples_of(table), (15.0, 35.0, 55.0))
    assert (placed.step, placed.rival) == (1, rival)


def test_the_title_names_the_steps_that_have_no_swatch():
    """The finding would be that there is a grey scale."""
    table = pd.DataFrame({"swatch_id": list("abc"), "lightness": [16.0, 36.0, 57.0]})
    assert titles_of(grey_scale_chart(table, {}, steps=5)) == "The pile stands on 3 of 5 steps; none on L* 75 and 95"
    full = pd.DataFrame({"swatch_id": list("abcdef"), "lightness": [15, 35, 55, 75, 95, 94]})
    chart = grey_scale_chart(full, {}, steps=5)
    assert titles_of(chart) == "The pile stands on all 5 steps; fewest, 1, on L* 15"


def test_another_number_of_steps_is_refused():
    """Seven steps would be drawn with the wrong numbers."""
    with pytest.raises(InvalidInputError, match=r"A grey scale must have 5, 9 or 11 steps; got 7\."):
        grey_scale_chart(*demo(), steps=7)


def test_one_rim_alone_is_not_called_both():
    """A pile with one rim to show would be told of two."""
    table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [30.0, 60.0], "lightness_rim": [math.nan, 90.0]})
    said = " ".join(words_of(rim_chart(table, {})))
    assert "As cut, with 1/16 in of bare ground." in said and "Both" not in said
    assert "Both as cut" in " ".join(words_of(chart_of_demo("rim")))


# --- colour against value ---------------------------------------------------------------------------------------------


def test_one_value_takes_most_hues_within_half_a_step():
    """Two hues would be shown where the pile has three, or pieces of different value called one."""
    table = pile(("r", 50.0, 40, 20), ("g", 52.0, 40, 140), ("b", 54.9, 40, 270), ("r2", 70.0, 60, 20),
                 ("g2", 74.0, 60, 140), ("b2", 75.1, 60, 270), ("n", 51.0, 3, 90))
    assert [sample.name for sample in one_value(samples_of(table))] == ["r", "g", "b"]


def test_grey_pieces_have_no_hue_to_fool_with():
    """A grey and a red of one value would be called two hues."""
    with pytest.raises(InvalidInputError, match="no such two among 1 coloured swatch"):
        one_value(samples_of(pile(("r", 50.0, 40, 20), ("n", 51.0, 3, 140))))


def test_one_hue_goes_from_dark_to_light_in_steps_that_are_told_apart():
    """Seven reds of one value would be shown as seven values."""
    table = pile(*((f"r{n}", 20.0 + n, 40, 20 + n % 5) for n in range(60)))
    levels = [sample.lightness for sample in one_hue(samples_of(table))]
    assert levels[0] == 20 and levels[-1] >= 75
    assert len(levels) == 7
    assert min(np.diff(levels)) >= 4


def test_the_pair_in_the_title_is_one_in_grey_and_not_to_the_eye():
    """The title would name a pair that does not fool anyone."""
    table, crops = demo()
    chart = fooling_pairs_chart(table, crops)
    words = titles_of(chart)
    first, second = words.removeprefix("Grey says ").split(" are ")[0].split(" and ")
    rows = table.set_index("swatch_id").loc[[first, second]]
    step, sigma = np.diff(rows["lightness"])[0], np.hypot(*rows["lightness_sigma"])
    assert abs(step) + 1.645 * sigma <= 5
    turn = abs((np.diff(rows["hue_angle"])[0] + 180) % 360 - 180)
    assert turn > 60


def test_a_pair_that_is_not_surely_one_is_called_nearly_one():
    """What the measurement leaves open would be kept from the class."""
    table = pile(("r", 50.0, 50, 20), ("g", 53.0, 50, 160)).assign(lightness_sigma=[2.0, 2.0])
    assert titles_of(fooling_pairs_chart(table, {})) == "Grey says r and g are nearly one; the eye does not"
    assert "are one;" in titles_of(fooling_pairs_chart(table.assign(lightness_sigma=[0.5, 0.5]), {}))


def test_without_two_colours_of_one_value_the_reverse_is_the_finding():
    """A pile with one half of the lesson would be refused."""
    table = pile(("dusk", 30.0, 40, 20), ("dawn", 70.0, 40, 25))
    expected = "The eye says dusk and dawn are one colour; grey says 40 L* apart"
    assert titles_of(fooling_pairs_chart(table, {})) == expected


def test_a_many_coloured_piece_is_no_example_of_a_hue():
    """Half red, half green has a mean of a hue that is nowhere on it."""
    table = pile(("dusk", 30.0, 40, 20), ("dawn", 70.0, 40, 25))
    plain, halves = np.full((60, 60, 3), (170, 30, 30), np.uint8), np.full((60, 60, 3), (170, 30, 30), np.uint8)
    halves[:30] = (30, 120, 40)
    assert same_hue_chart(table, {"dusk": plain, "dawn": plain}).description.startswith("One hue, two values")
    with pytest.raises(InvalidInputError, match="one hue that reaches"):
        same_hue_chart(table, {"dusk": plain, "dawn": halves})


def test_the_row_in_grey_has_the_lightness_of_the_row_in_colour():
    """The grey row would be what an editor makes of it: luma, which draws vivid colours too light or too dark."""
    images = pictures_of(same_value_chart(*demo()))
    assert len(images) == 6
    for (_, colour), (_, grey) in zip(images[::2], images[1::2], strict=True):
        assert np.ptp(grey, axis=2).max() == 0
        wanted = luminance_to_lightness(luminance(srgb1_to_linear(colour / 255)))
        assert srgb1_to_lightness(grey / 255) == pytest.approx(wanted, abs=0.8)  # both are rounded to codes, twice


# --- what moves lightness ---------------------------------------------------------------------------------------------


@given(
    before=st.lists(st.floats(10, 90), min_size=2, max_size=12), seed=st.integers(0, 99), sigma=st.floats(0, 2),
    model=st.floats(0, 3),
)
def test_only_pairs_that_surely_change_places_are_counted(before, seed, sigma, model):
    """Pairs would be called turned round within what nobody knows. Held against a plain count of all pairs."""
    moves_by = np.random.default_rng(seed).normal(0, 15, len(before))
    table = pile(*((f"s{n}", level, 0, 0) for n, level in enumerate(sorted(before)))).assign(lightness_sigma=sigma)
    change = Change("x", "x", "by x", lambda lab: lab[:, 0] + moves_by, model)
    found = moved(samples_of(table), [change])
    levels = np.array([sample.lightness for sample in found.samples])
    after = levels + moves_by
    wanted = set()
    for one, other in combinations(range(len(levels)), 2):
        old, new = levels[other] - levels[one], after[one] - after[other]
        limit_after = 1.645 * math.sqrt(2 * sigma**2 + 2 * model**2)
        if old > 0 and old > 1.645 * math.sqrt(2) * sigma and new > limit_after:
            wanted.add((one, other))
    assert {(swap.darker, swap.lighter) for swap in found.swaps[0]} == wanted
    assert found.pairs == len(before) * (len(before) - 1) // 2


def test_surely_is_said_only_where_the_uncertainty_is_known():
    """A table typed in by hand would be called sure."""
    sure = words_of(films_chart(RED_AND_CYAN, {}))
    unsure = words_of(films_chart(RED_AND_CYAN.drop(columns="lightness_sigma"), {}))
    assert "Red film: 1 pair surely changes places" in sure
    assert "Red film: 1 pair changes places" in unsure


# CIELAB of the chart's red and cyan (D65, 2 degrees). Gold: 11 L* apart by daylight, equal under A, from spectra.
RED_AND_CYAN = pile(("red", 40.74, 57.0, 27.0), ("cyan", 51.8, 40.0, 230.0)).assign(lightness_sigma=0.5)


def test_red_and_cyan_change_places_through_red_film_and_not_by_a_filament():
    """The strongest case of the book would not be found, or one that is none."""
    assert titles_of(films_chart(RED_AND_CYAN, {})) == "Through red film the one pair changes places"
    assert "Filament lamp: no pair surely changes places" in words_of(lamps_chart(RED_AND_CYAN, {}))


def test_what_a_lamp_does_to_the_reference_red_stands_beside_its_arrow():
    """Gold: 40.74 by daylight, 47.43 under A, from spectra; the lamp's matrix is good to 0.4."""
    words = words_of(lamps_chart(RED_AND_CYAN, {}))
    assert any(word.startswith("47, ") and word.endswith("lighter") for word in words)


def test_a_red_that_protan_eyes_take_for_dark_is_said_to_be_darker():
    """Gold: sRGB (200, 30, 40) is L* 43.30, to protan eyes 33.60 (Machado 2009, two public implementations)."""
    lab = xyz_to_lab(srgb1_to_linear(np.array([200, 30, 40]) / 255) @ np.array(SRGB.to_xyz).T)
    chroma, hue = lab_to_chroma_hue(lab)
    table = pile(("red", lab[0], float(chroma), float(hue)), ("grey", 60.0, 0.0, 0.0))
    words = words_of(eyes_chart(table, {}))
    assert "34, 9 darker" in words  # of the whole numbers that stand there, 43 and 34
    assert "60, as before" in words


def test_the_vivid_piece_is_told_by_its_range():
    """Gold for L* 41, C* 57, h 27: Fairchild and Pirrotta 1991 and High and others 2023, the range being half the
    smaller shift to the larger: 47 to 56."""
    words = words_of(vivid_chart(pile(("red", 41.0, 57.0, 27.0), ("grey", 50.0, 1.0, 0.0)), {}))
    assert "Grey says L* 41 of red, the eye 47 to 56" in words
    assert "47 to 56" in words
    assert "grey" not in words


def test_what_the_eye_says_is_drawn_in_the_greys_it_says():
    """The bar would be lighter or darker than its numbers."""
    chart = vivid_chart(pile(("red", 41.0, 57.0, 27.0)), {})
    ((left, _, right, _), bar), = pictures_of(chart)
    ends = srgb1_to_lightness(bar[0, [0, -1]] / 255)
    assert ends == pytest.approx([46.9, 56.2], abs=0.4)
    assert right > left


# --- light adds up ----------------------------------------------------------------------------------------------------


def test_half_black_half_white_is_76():
    """Gold: Y 50 is L* 76.0693 (CIE formula, colour-science)."""
    chart = half_and_half_chart(*demo())
    assert titles_of(chart).startswith("Half black, half white is L* 76, not 50; half ")
    stripes = pictures_of(chart)[0][1]
    assert set(np.unique(stripes)) == {0, 255}
    mean = luminance(srgb1_to_linear(stripes / 255)).mean()
    assert float(luminance_to_lightness(mean)) == pytest.approx(76.0693, abs=0.05)


def test_stripes_of_the_pile_become_the_grey_beside_them():
    """The crops' strips would melt into another grey than the one that is said to be theirs. No crop is even: 2 L*."""
    chart = half_and_half_chart(*demo())
    mean = luminance(srgb1_to_linear(pictures_of(chart)[1][1] / 255)).mean()
    said = float(titles_of(chart).split(" is ")[-1].split(",")[0])
    assert float(luminance_to_lightness(mean)) == pytest.approx(said, abs=2)


@pytest.mark.parametrize(("dark", "light"), [(0.0, 100.0), (25.0, 80.0)])
def test_stripes_have_melted_from_where_it_says(dark, light):
    """The class would be told to step back too far, or not far enough. Held against stripes blurred as a picture."""
    fine = 10  # pixels to a stripe of 1 mm
    row = np.where(np.arange(600) // fine % 2 == 0, *lightness_to_luminance([dark, light]))
    distance = melting_mm(dark, light)
    ripples = []
    for factor in (0.8, 1.0):
        seen = seen_from(np.tile(row, (4, 1)), mm_per_pixel=1 / fine, distance_mm=factor * distance)[0, 200:400]
        ripples.append(float(np.ptp(luminance_to_lightness(seen))))
    assert ripples[0] > 2
    assert ripples[1] == pytest.approx(1, abs=0.06)  # half of it is reckoned above the mean, where L* is less steep


def test_coverage_half_way_is_30_and_69_and_a_half_per_cent():
    """Gold: paint of Y 55 per cent over Y 4, half-way in L* (51.36) at 0.3054 (worked with colour-science)."""
    dark, light = luminance_to_lightness([0.04, 0.55])
    steps = coverage_steps(float(dark), float(light), 3)
    assert steps.lightness[1] == pytest.approx(51.36, abs=0.005)
    assert steps.light_on_dark[1] == pytest.approx(0.3054, abs=5e-5)
    assert steps.dark_on_light[1] == pytest.approx(0.6946, abs=5e-5)


@pytest.mark.parametrize(("thinning", "expected"), [(1, 0.83196), (1.5, 0.77094), (2, 0.73578), (3, 0.69787)])
def test_paint_that_thins_needs_less_of_it_on_a_light_ground(thinning, expected):
    """Gold: L* 50 from paint of Y 8 per cent on Y 70 by Yule and Nielsen's formula, as published for these n."""
    low, high = (float(level) for level in luminance_to_lightness([0.08, 0.70]))
    steps = coverage_steps(high, low, 2001, thinning=thinning)
    share = np.interp(50.0, steps.lightness[::-1], steps.light_on_dark[::-1])
    assert share == pytest.approx(expected, abs=2e-5)


def test_each_patch_shows_the_share_it_says_and_becomes_its_grey():
    """A patch of 30 per cent would show 35, and not read as the grey under it."""
    table = pd.DataFrame({"swatch_id": ["d", "l"], "lightness": [20.0, 85.0]})
    chart = coverage_chart(table, {})
    steps = coverage_steps(20.0, 85.0)
    images = [pixels for _, pixels in pictures_of(chart)]
    assert len(images) == 14
    for place, (upper, lower) in enumerate(zip(images[::2], images[1::2], strict=True)):
        for pixels in (upper, lower):
            assert np.mean(pixels[..., 0] > 128) == pytest.approx(steps.light_on_dark[place], abs=1e-4)
            mean = luminance(srgb1_to_linear(pixels / 255)).mean()
            assert float(luminance_to_lightness(mean)) == pytest.approx(steps.lightness[place], abs=0.3)
    assert all(f"{100 * share:.0f} %" in words_of(chart) for share in (*steps.light_on_dark, *steps.dark_on_light))


def test_pieces_about_half_painted_are_told_as_measured():
    """The pile's own example would be worked out and not measured."""
    table, crops = demo()
    words = words_of(half_and_half_chart(table, crops))
    told = [word for word in words if word.startswith("reads ")]
    assert len(told) == 4
    measured = {f"{level:.0f}" for level in table["lightness"]}
    assert all(word.split()[1] in measured for word in told)


# --- distance ---------------------------------------------------------------------------------------------------------


def test_a_stack_keeps_its_steps_near_by_and_loses_them_far_off():
    """What is said to be left at 8 m would not follow from the eye's blur."""
    stack = Stack((Surface("a", 20.0), Surface("b", 50.0), Surface("c", 80.0)))
    near, room, field = steps_seen(stack, (500.0, 8000.0, 60_000.0))
    assert near == pytest.approx((30, 30), abs=0.3)
    assert all(15 < step < 30 for step in room)
    assert all(abs(step) < 10 for step in field)


def test_six_distances_in_colour_and_in_grey_and_four_true_to_the_eye():
    """A distance would be missing, or the small stack not as small as the eye has it."""
    chart = distances_chart(*demo())
    heads = [word for word in words_of(chart) if word.startswith("from ")]
    assert heads == [f"from {metres} m" for metres in ("0.5", "1", "2", "3", "5", "8")]
    sizes = [box[2] - box[0] for box, _ in pictures_of(chart)]
    assert len(sizes) == 16
    small = sorted(size for size in sizes if size < 37)
    assert small == pytest.approx([small[0], small[0] * 8 / 5, small[0] * 8 / 3, small[0] * 8 / 2])


def test_a_stack_of_ones_own_is_shown():
    """The pile's would be shown whatever was asked for."""
    stack = Stack((Surface("mine", 30.0), Surface("yours", 75.0)), rim=RIM_MM)
    chart = distances_chart(*demo(), stack=stack)
    assert titles_of(chart).startswith("mine and yours still stand ")


def test_the_rims_shown_are_the_one_that_lasts_longest_and_the_one_gone_soonest():
    """Another pair of the pile would make the point better. Held against every pair's own distance of fading."""
    rng = np.random.default_rng(4)
    table = pd.DataFrame({
        "swatch_id": [f"s{n}" for n in range(11)], "lightness": rng.uniform(20, 85, 11),
        "lightness_rim": rng.uniform(15, 95, 11),
    })
    samples = samples_of(table)
    fades = []
    for above in samples:
        for below in samples:
            clear = max(above.rim - max(below.lightness, above.lightness),
                        min(below.lightness, above.lightness) - above.rim)
            if below is not above and clear >= 10:
                seen = rim_seen(below.lightness, above.rim, above.lightness, rim_mm=RIM_MM, distance_mm=1000)
                fades.append(seen.fades_mm)
    lasting, going = rims_of(samples)
    assert len(fades) > 16  # which is how many of either end are asked
    assert lasting.seen(1000).fades_mm == pytest.approx(max(fades))
    assert going.seen(1000).fades_mm == pytest.approx(min(fades))


def test_a_light_rim_on_dark_outlasts_a_dark_rim_on_light():
    """Gold: 40 L* apart and 1/16 in wide, a light line keeps 18 L* at 5 m, a dark one 8 (S-CIELAB, worked apart)."""
    table = pd.DataFrame({
        "swatch_id": ["d1", "d2", "l1", "l2"], "lightness": [30.0, 30.0, 70.0, 70.0],
        "lightness_rim": [math.nan, 70.0, math.nan, 30.0],
    })
    lasting, going = rims_of(samples_of(table.iloc[[0, 1]]))[0], rims_of(samples_of(table.iloc[[2, 3]]))[0]
    assert lasting.seen(5000).line_step == pytest.approx(18.0, abs=0.05)
    assert going.seen(5000).line_step == pytest.approx(8.2, abs=0.05)
    words = words_of(rim_chart(table.iloc[[0, 1]], {}))
    assert "5 m: 18 L* clear" in words


# --- parts ------------------------------------------------------------------------------------------------------------


@given(levels=st.lists(st.floats(0, 100), min_size=1, max_size=9))
def test_the_axis_holds_all_that_lies_on_it(levels):
    """A mark would lie off the chart."""
    axis = Axis.over(levels, 10.0, 110.0)
    assert all(10 - 1e-9 <= axis.at(level) <= 110 + 1e-9 for level in levels)
    assert axis.high > axis.low


@pytest.mark.parametrize(("step", "words"), [(0.49, "no step"), (-0.6, "1 darker"), (12.5, "12 lighter")])
def test_steps_are_said_in_whole_numbers(step, words):
    """A step of nothing would be called lighter."""
    assert step_words(step) == words


@pytest.mark.parametrize("kind", ["same-value", "same-hue", "fooling-pairs"])
def test_a_pile_of_unknown_colour_is_told_that_its_colour_is_what_lacks(kind):
    """She would paint more pieces, and it would not help."""
    table = pd.DataFrame({"swatch_id": list("abc"), "lightness": [20.0, 50.0, 80.0]})
    with pytest.raises(InvalidInputError, match=r"swatches of known colour; .*Add the columns chroma and hue_"):
        LESSONS[kind].draw(table, {})


def test_a_stack_that_does_not_separate_is_said_to_run_into_one():
    """It would be praised for standing 0 L* apart."""
    table = pd.DataFrame({"swatch_id": list("abc"), "lightness": [50.0, 51.0, 52.0]})
    assert titles_of(distances_chart(table, {})) == "a, b and c run into one, seen from 8 m: a step is 1 L*"


def test_a_chart_of_pairs_tells_where_vivid_paint_makes_them_count_for_less():
    """Its counts would not be those of the steps, and nobody could say why."""
    table = pile(("red", 40.0, 80.0, 30.0), ("grey", 72.0, 0.0, 0.0))
    said = "such a pair counts by the nearest that the eye may see it; the stepped line goes by lightness alone."
    assert said in " ".join(words_of(LESSONS["pairs"].draw(table, {})))
    assert "vivid" not in " ".join(words_of(LESSONS["pairs"].draw(table.assign(chroma=0.0), {}))).lower().replace(
        "vivid paint: the eye may see it", "")


def test_the_balance_says_how_many_it_leaves_out():
    """The counts would not add up to the pile."""
    table = pd.DataFrame({"swatch_id": list("abcd"), "lightness": [20.0, 50.0, 80.0, np.nan]})
    assert "1 of unknown lightness left out." in " ".join(words_of(LESSONS["balance"].draw(table, {})))
