"""Value studies: what goes to which value, regions that can be drawn round, pages to colour in."""

from __future__ import annotations

import datetime
import json
import math
from pathlib import Path

import cv2
import numpy as np
import pytest
from drawn import assert_keeps_to_the_look, axes_of, boxes_of, extents, overlapping, pictures_of, polygons_of, words_of
from matplotlib.colors import to_rgb
from PIL import Image as Pillow
from shapely import Point, Polygon, box, unary_union
from skimage.color import rgb2lab
from skimage.filters import threshold_multiotsu

from contrastkit.camera.pipeline import measure_photo
from contrastkit.camera.read import Photo as Photograph
from contrastkit.compose.blocks import BlockShape, Surround
from contrastkit.compose.groups import Breaks
from contrastkit.compose.seams import Surface
from contrastkit.compose.stacks import Stack
from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import (
    ADOBE_RGB,
    DISPLAY_P3,
    SRGB,
    lightness_to_luminance,
    linear_to_srgb1,
    luminance,
    luminance_to_lightness,
    srgb1_to_lightness,
    srgb1_to_linear,
)
from contrastkit.show.block import LaidBlock
from contrastkit.show.chart import save_pages
from contrastkit.show.crops import encoded
from contrastkit.show.page import MARGIN, paper_size
from contrastkit.show.pieces import parse_outline
from contrastkit.show.regions import cleaned, traced
from contrastkit.show.studies import (
    NAMED_STEPS,
    PENCIL_MM,
    finding,
    layout_subject,
    outline_marks,
    photo_subject,
    stack_subject,
    study_chart,
    study_pages,
    swatch_subject,
    value_study,
)

DEMO = Path(__file__).parents[1] / "data" / "thistlewick" / "photos"
MADE = datetime.date(2031, 4, 2)
WAYS = [(2, "fixed"), (3, "fixed"), (5, "fixed"), (9, "fixed"), (3, "natural"), (5, "natural"), (9, "named")]


def grey(lightness):
    """A picture in linear RGB from L*."""
    return np.repeat(np.asarray(lightness_to_luminance(lightness), np.float32)[..., None], 3, axis=-1)


def blocks(lightnesses, side=150):
    """Squares of even greys in two rows."""
    half = math.ceil(len(lightnesses) / 2)
    rows = np.resize(lightnesses, 2 * half).reshape(2, half)
    return grey(np.kron(rows, np.ones((side, side))))


def cloudy(seed, shape=(420, 560), size=25.0):
    """Soft patches of all lightnesses and hues."""
    rng = np.random.default_rng(seed)
    noise = np.dstack([cv2.GaussianBlur(rng.normal(size=shape), (0, 0), size) for _ in range(3)])
    return srgb1_to_linear(np.clip(0.5 + 0.25 * noise / noise.std(), 0, 1)).astype(np.float32)


def labelled(seed, shape, count, size):
    rng = np.random.default_rng(seed)
    noise = cv2.GaussianBlur(rng.normal(size=shape), (0, 0), size)
    return np.digitize(noise, np.quantile(noise, np.linspace(0, 1, count + 1)[1:-1])).astype(np.uint8)


def as_polygon(region):
    return Polygon([p[::-1] for p in region.outline], [[p[::-1] for p in hole] for hole in region.holes])


@pytest.fixture(scope="module")
def study():
    return value_study(cloudy(4), values=5, words="clouds")


# What goes to which value.


@pytest.mark.parametrize(("values", "method"), WAYS)
def test_every_place_goes_to_the_value_of_its_own_lightness(values, method):
    """A study would contradict the table at the edges of bands. Outside: scikit-image's L*, sorted by numpy."""
    edges = value_study(blocks(np.linspace(8, 97, 12)), values=values, method=method).breaks.edges
    both = [edge + off for edge in edges for off in (-0.2, 0.2)]
    picture = blocks(both)
    found = value_study(picture, values=values, method=method, breaks=Breaks(edges, tuple("abcdefghi"[:values])))
    scale = found.labels.shape[0] / picture.shape[0]
    half = picture.shape[1] // 150
    for place in range(len(both)):
        row, col = 150 * (place // half) + 75, 150 * (place % half) + 75
        lightness = rgb2lab(linear_to_srgb1(picture[row : row + 1, col : col + 1]))[0, 0, 0]
        assert found.labels[round(row * scale), round(col * scale)] == np.digitize(lightness, edges, right=True)


def test_three_fixed_values_end_where_groups_do():
    """The study and the sorted pile would use other words for the same grey."""
    assert value_study(blocks([20, 55, 80, 90])).breaks == Breaks((40.0, 70.0))


@pytest.mark.parametrize(("values", "edges"), [(2, [55]), (5, [31, 47, 63, 79])])
def test_fixed_bands_cut_what_paint_on_cotton_reaches_into_equal_parts(values, edges):
    """One value would swallow most pictures. Gold: L* 15-95 in five bands is 16 a band."""
    assert value_study(blocks([20, 80]), values=values).breaks.edges == pytest.approx(edges)


def test_the_nine_named_values_are_those_of_the_book_and_evenly_spaced():
    """
    A name would stand for another grey. Gold: D. W. Ross, A Theory of Pure Design, 1907, §128, which names black, low
    dark, dark, high dark, middle, low light, light, high light and white, each halving what lies between others.
    """
    assert [step.letters for step in NAMED_STEPS] == ["Bk", "LD", "D", "HD", "M", "LLt", "Lt", "HLt", "Wh"]
    assert np.diff([step.lightness for step in NAMED_STEPS]).tolist() == [10] * 8
    found = value_study(blocks([step.lightness for step in NAMED_STEPS]), values=9, method="named")
    assert found.tones == tuple(step.lightness for step in NAMED_STEPS)
    assert found.breaks.edges == (20, 30, 40, 50, 60, 70, 80, 90)
    assert sorted({region.value for region in found.regions}) == list(range(9))


def test_natural_values_lie_in_the_pictures_own_gaps():
    """A study of a pale picture would be one flat grey. Outside: scikit-image's multi-Otsu, the same objective."""
    rng = np.random.default_rng(2)
    parts = [rng.normal(middle, 1.5, (600, 270)) for middle in (58, 70, 88)]
    lightness = np.concatenate(parts, axis=1)
    found = value_study(grey(lightness), method="natural")
    assert found.breaks.edges == pytest.approx(threshold_multiotsu(lightness, 3, nbins=256), abs=2.5)
    assert found.tones == pytest.approx((58, 70, 88), abs=0.4)
    assert sorted(found.percents) == [33, 33, 34]


def test_edges_of_your_own_are_used():
    """A project that moved its edges would be studied by others."""
    found = value_study(blocks([20, 30, 50, 90]), breaks=Breaks((25, 60), ("low", "mid", "high")))
    assert (found.method, found.percents) == ("chosen", (25, 50, 25))


def test_lightness_counts_and_not_luma():
    """Pure blue is L* 32 and pure green 88; luma and the mean of the codes would call both medium or dark."""
    picture = np.zeros((300, 600, 3), np.float32)
    picture[:, :300, 2] = picture[:, 300:, 1] = 1
    found = value_study(picture)
    lightness = luminance_to_lightness(found.grey[found.grey.shape[0] // 2, [50, -50], 0])
    assert lightness == pytest.approx([32.30, 87.74], abs=0.05)  # gold: IEC 61966-2-1, two calculators
    assert found.percents == (50, 0, 50)


# Shares.


@pytest.mark.parametrize(("values", "method"), WAYS)
def test_shares_add_up_to_one_exactly_and_percents_to_a_hundred(values, method):
    """A table of shares would come to 99 or 101."""
    found = value_study(cloudy(values), values=values, method=method)
    assert sum(found.shares) == 1
    assert sum(found.percents) == 100
    assert len(found.shares) == values
    assert all(abs(100 * share - percent) < 1 for share, percent in zip(found.shares, found.percents, strict=True))


def test_shares_are_those_of_the_regions_that_are_drawn(study):
    """The bars would tell of another picture. Smoothing moves outlines by less than half a pixel."""
    areas = np.zeros(5)
    for region in study.regions:
        areas[region.value] += as_polygon(region).area
    assert areas / study.labels.size == pytest.approx([float(share) for share in study.shares], abs=0.002)


# Greys.


@pytest.mark.parametrize(("values", "method"), WAYS)
def test_flat_greys_decode_to_their_lightness(values, method):
    """What the key calls L* 55 would be drawn as another. Half an 8-bit code is less than 0.3 L*."""
    found = value_study(cloudy(1), values=values, method=method)
    codes, labels = encoded(found.flat)[::4, ::4], found.labels[::4, ::4]
    assert np.ptp(codes, axis=-1).max() == 0
    lightness = srgb1_to_lightness(codes / 255)
    for value in np.unique(labels):
        assert lightness[labels == value] == pytest.approx(found.tones[value], abs=0.3)


def test_true_grey_decodes_to_the_lightness_of_every_place(study):
    """Grey would mislead where it is most needed: in vivid colours. 0.3 is half a code, 0.06 what 12 bits add."""
    codes = encoded(study.grey)[::4, ::4] / 255
    wanted = luminance_to_lightness(luminance(study.image[::4, ::4]))
    assert srgb1_to_lightness(codes) == pytest.approx(wanted, abs=0.36)


def test_greys_survive_into_png_and_pdf(study, tmp_path):
    """The file could be written in other greys than the chart holds."""
    import pypdfium2

    wanted = {round(tone) for tone in study.tones}
    study_chart(study).save(tmp_path / "a.png")
    png = np.asarray(Pillow.open(tmp_path / "a.png").convert("RGB"))
    save_pages(study_pages(study, made=MADE), tmp_path / "a.pdf")
    document = pypdfium2.PdfDocument(tmp_path / "a.pdf")
    pdf = document[0].render(scale=2).to_numpy()[..., :3]
    document.close()
    for pixels in (png, pdf):
        flat = pixels[np.ptp(pixels, axis=-1) == 0][:, 0]
        common = np.flatnonzero(np.bincount(flat, minlength=256) > 500)
        found = srgb1_to_lightness(np.repeat(common[:, None] / 255, 3, axis=1))
        assert all(np.abs(found - tone).min() <= 0.3 for tone in wanted)


# From afar.


def test_half_closed_eyes_mix_light_and_not_codes():
    """Half black, half white must become L* 76 and not 50. Gold: Y 50 is L* 76.0693, IEC and CIE formulas."""
    stripes = np.where(np.arange(900) % 8 < 4, 0.0, 1.0).astype(np.float32)
    found = value_study(np.repeat(np.tile(stripes, (900, 1))[..., None], 3, axis=2))
    middle = found.squinted[300:-300, 300:-300]
    assert luminance_to_lightness(luminance(middle)) == pytest.approx(76.07, abs=0.1)
    assert found.percents == (0, 0, 100)


def test_half_closed_eyes_see_from_where_the_blur_is_that_wide():
    """The distance would be made up. Gold: the eye's narrowest blur is 0.05 degrees wide (S-CIELAB)."""
    found = value_study(cloudy(3, (300, 400)), width_mm=400, squint=0.05)
    assert found.squint_mm * math.radians(0.05) == pytest.approx(0.05 * 300)


@pytest.mark.parametrize(("distance", "side"), [(5000.0, 36.0), (6000.0, 30.0)])
def test_the_small_picture_is_printed_at_the_true_visual_angle(distance, side):
    """It would look nearer or further than it says. Gold: 300 mm at 5 m is 36 mm at 0.6 m."""
    found = value_study(cloudy(3, (400, 400)), width_mm=300, distance_mm=distance)
    assert found.shrunk_mm == pytest.approx((side, side))
    for chart in (study_chart(found), study_pages(found)[0]):
        last, pixels = pictures_of(chart)[-1]
        assert [last[2] - last[0], last[3] - last[1]] == pytest.approx([side, side])
        assert pixels.shape[1] == pytest.approx(side * 300 / 25.4, abs=1)


@pytest.mark.parametrize(("width", "distance"), [(89.0, 2000), (300.0, 5000), (900.0, 20000), (9000.0, 135000)])
def test_the_distance_is_one_from_which_the_small_picture_has_room(width, distance):
    """It would push the key off the page."""
    found = value_study(cloudy(3, (200, 300)), width_mm=width)
    assert found.distance_mm == distance
    assert max(found.shrunk_mm) <= 40 + 1e-9


def test_a_small_picture_without_room_is_left_out():
    """From near by it would cover the key."""
    found = value_study(cloudy(3, (200, 300)), width_mm=300, distance_mm=600)
    assert len(pictures_of(study_chart(found))) == 3
    assert not any("held" in words for words in words_of(study_chart(found)))


def test_an_unknown_size_is_said_to_be_taken():
    """A learner would believe that a photograph was measured."""
    picture = cloudy(3, (200, 300))
    guessed, told = (" ".join(words_of(study_chart(value_study(picture, width_mm=w)))) for w in (None, 300.0))
    assert "taken as 30 cm wide" in guessed
    assert "taken" not in told
    assert "30 cm wide" in told


# Regions.


@pytest.mark.parametrize("seed", range(40))
def test_regions_cover_the_picture_without_gap_or_overlap(seed):
    """White slivers or lines drawn twice would lie between neighbours. Outside: shapely."""
    rng = np.random.default_rng(seed)
    shape = tuple(int(n) for n in rng.integers(12, 90, 2))
    labels = cleaned(labelled(seed, shape, int(rng.integers(2, 10)), rng.uniform(0.5, 4)), width=3)
    polygons = [as_polygon(region) for region in traced(labels)]
    assert all(polygon.is_valid for polygon in polygons)
    assert sum(polygon.area for polygon in polygons) == pytest.approx(labels.size, abs=1e-6)
    assert unary_union(polygons).area == pytest.approx(labels.size, abs=1e-6)


def test_neighbours_share_the_corners_of_their_boundary(study):
    """Each would be drawn smooth by itself, and a gap be left."""
    rows, cols = study.labels.shape
    rings = [ring for region in study.regions for ring in (region.outline, *region.holes)]
    inner = [p for ring in rings for p in ring if 0 < p[0] < rows - 1 and 0 < p[1] < cols - 1]
    _, counts = np.unique(np.array(inner), axis=0, return_counts=True)
    assert counts.min() >= 2


def test_outlines_run_clockwise_and_holes_the_other_way(study):
    """Whoever fills or offsets them would turn them inside out."""
    for region in study.regions:
        whole = as_polygon(region)
        assert whole.exterior.is_ccw  # to shapely, whose y runs up where rows run down
        assert not any(hole.is_ccw for hole in whole.interiors)


def test_what_encloses_others_comes_first():
    """Filled in that order, a frame would cover what is in it."""
    picture = grey(np.full((400, 400), 20.0))
    picture[60:340, 60:340], picture[140:260, 140:260] = grey(80.0), grey(50.0)
    found = value_study(picture)
    assert [region.value for region in found.regions] == [0, 2, 1]
    assert [len(region.holes) for region in found.regions] == [1, 1, 0]


@pytest.mark.parametrize(("values", "method"), WAYS)
def test_every_region_is_somewhere_as_wide_as_a_pencil_turns(values, method):
    """Specks would be left that nobody can colour in. A pixel is a sixth of a millimetre."""
    found = value_study(cloudy(8, size=8), values=values, method=method)
    assert len(found.regions) > 10
    for region in found.regions:
        room = as_polygon(region).boundary.distance(Point(region.centre[::-1]))
        assert room >= 6 * PENCIL_MM / 2 - 1
        assert region.radius - 1 <= room <= region.radius + 1.5


def test_a_speck_and_a_hair_go_and_a_patch_stays():
    """A glint would be a region of its own, or a layer be lost."""
    picture = grey(np.full((600, 600), 20.0))
    picture[100:108, 100:108] = picture[300:303] = grey(90.0)
    picture[400:500, 400:500] = grey(90.0)
    assert [region.value for region in value_study(picture).regions] == [0, 2]


@pytest.mark.parametrize("slope", [0.0, 0.07, 0.31, 1.0, 2.7])
def test_a_slanting_edge_is_drawn_straight(slope):
    """Outlines would be stairs. Half a pixel is 0.08 mm on the page."""
    rows, cols = np.indices((300, 300))
    labels = cleaned((rows - 150 > slope * (cols - 150)).astype(np.uint8), width=12)
    (one, _) = traced(labels)
    inner = np.array([p for p in one.outline if 5 < p[0] < 294 and 5 < p[1] < 294]).reshape(-1, 2)
    off = (inner[:, 0] - 150.5 - slope * (inner[:, 1] - 150)) / math.hypot(1, slope)
    assert np.abs(off).max(initial=0) < 0.75
    assert len(inner) < 60


def test_a_disc_stays_round():
    """Curves would be faceted, or shrink. Half a pixel of a radius of 60 is 0.8 %."""
    rows, cols = np.indices((200, 200))
    labels = cleaned((np.hypot(rows - 99.5, cols - 99.5) < 60).astype(np.uint8), width=12)
    disc = np.array(traced(labels)[1].outline)
    assert np.hypot(*(disc - 99.5).T) == pytest.approx(60, abs=0.9)
    assert Polygon(disc).area == pytest.approx(math.pi * 60**2, rel=0.015)


def test_values_that_touch_at_corners_alone_are_joined():
    """A region would cross itself where two of its parts meet in a point."""
    labels = np.zeros((60, 60), np.uint8)
    labels[:30, :30] = labels[30:, 30:] = 2
    labels[30:, :30] = 1
    polygons = [as_polygon(region) for region in traced(cleaned(labels, width=0))]
    assert all(polygon.is_valid for polygon in polygons)
    assert len(polygons) == 4


def test_a_flat_picture_is_one_region():
    """Nothing to draw round would be a fault."""
    found = value_study(grey(np.full((50, 70), 54.0)), values=9, method="named")
    assert [region.value for region in found.regions] == [4]
    assert finding(found) == "Most of it is middle, 100 %"


def test_the_same_picture_gives_the_same_study_and_is_not_changed():
    """A second print would not fit the first."""
    picture = cloudy(6)
    before = picture.copy()
    one, other = (value_study(picture, values=5, method="natural") for _ in range(2))
    assert np.array_equal(picture, before)
    assert one.regions == other.regions
    assert one.breaks == other.breaks


@pytest.mark.parametrize("shape", [(1, 1), (2, 3), (30, 300), (300, 30), (3, 30)])
def test_small_and_slender_pictures_are_studied_too(shape):
    """A thumbnail or a strip would be a fault."""
    found = value_study(cloudy(5, shape, 1.0))
    assert len(found.regions) >= 1
    assert len(study_pages(found, made=MADE)) == 2
    study_chart(found)


# The chart.


def test_the_title_is_the_finding(study):
    """A reader would have to add up bars."""
    assert words_of(study_chart(study))[0] == finding(study)
    named = dict(zip(study.breaks.names, study.percents, strict=True))
    most = max(named, key=named.__getitem__)
    part = "Most of it" if named[most] > 50 else "The largest part"
    assert finding(study).startswith(f"{part} is {most}, {named[most]} %; from ")


@pytest.mark.parametrize(
    ("lightnesses", "words"),
    [
        ([20, 20, 20, 90], "Mostly dark: 75 % dark, no medium, 25 % light"),
        ([20, 20, 50, 90], "50 % dark, 25 % medium, 25 % light"),
    ],
)
def test_few_values_are_all_named(lightnesses, words):
    """What is missing would go unsaid."""
    assert finding(value_study(blocks(lightnesses))) == words


def test_the_key_gives_every_value_its_number_its_band_and_its_share(study):
    """A learner could not tell which grey is which."""
    words = words_of(study_chart(study))
    for number, (name, percent) in enumerate(zip(study.breaks.names, study.percents, strict=True), start=1):
        assert str(number) in words
        assert name in words
        assert (str(percent) if percent else "none") in words
    assert {"up to 31", "31 to 47", "above 79"} <= set(words)


def test_bars_are_as_long_as_the_shares(study):
    """The eye reads the bar, not the number."""
    tone = 40.0
    bars = [b for b in boxes_of(study_chart(study)) if b[4] == pytest.approx(tone, abs=0.3) and b[3] < 4 and b[2] != 8]
    lengths = [b[2] for b in sorted(bars, key=lambda b: b[1])]
    shown = [percent for percent in study.percents if percent]
    assert np.array(lengths) / max(lengths) == pytest.approx(np.array(shown) / max(shown), abs=1e-6)


@pytest.mark.parametrize("shape", [(300, 400), (400, 300), (400, 400), (100, 600), (600, 100)])
@pytest.mark.parametrize(("values", "method"), [(2, "fixed"), (9, "fixed"), (9, "named")])
def test_nothing_collides_and_all_keeps_to_the_look(shape, values, method):
    """Words would run into pictures or off the page, or be too small to read."""
    found = value_study(cloudy(1, shape), values=values, method=method, words="a picture of clouds over the sea")
    paper = "A4" if values == 2 else "Letter"
    for chart in (study_chart(found), *study_pages(found, paper=paper, made=MADE)):
        assert_keeps_to_the_look(chart)
        words, pictures = extents(chart)
        assert overlapping(words) == []
        assert overlapping(words, pictures) == []
        axes = axes_of(chart)
        for _, (left, bottom, right, top) in [*words, *pictures]:
            assert min(left, bottom, axes.get_xlim()[1] - right, axes.get_ylim()[1] - top) > 5


def test_the_flat_picture_is_drawn_where_its_neighbours_are(study):
    """It would not compare with what stands beside it."""
    chart = study_chart(study)
    corners = np.concatenate([patch.get_xy() for patch in polygons_of(chart)])
    (first, _), (second, _), (third, _), _ = pictures_of(chart)
    assert corners.min(axis=0)[1] == pytest.approx(first[1])
    assert corners.max(axis=0)[1] == pytest.approx(first[3])
    assert corners[:, 0].min() - second[2] == pytest.approx(second[0] - first[2])
    assert third[0] - corners[:, 0].max() == pytest.approx(second[0] - first[2])


def test_the_description_says_what_the_chart_says(study):
    """Those who do not see it would learn nothing."""
    text = study_chart(study).description
    assert text.startswith(f"{finding(study)}. Study of clouds, {len(study.regions)} regions. Dark to light: very da")


# Pages.


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("shape", [(300, 400), (500, 300), (200, 600)])
def test_pages_keep_to_the_paper_and_its_margins(paper, shape):
    """The printer would scale them, or cut them off."""
    for page in study_pages(value_study(cloudy(2, shape)), paper=paper, made=MADE):
        size = page.figure.get_size_inches() * 25.4
        assert sorted(size) == pytest.approx(sorted(paper_size(paper)))
        for patch in polygons_of(page):
            low, high = patch.get_xy().min(axis=0), patch.get_xy().max(axis=0)
            assert (low >= MARGIN - 1e-6).all()
            assert (high <= size - MARGIN + 1e-6).all()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(("values", "method"), [(3, "fixed"), (9, "named")])
def test_every_region_bears_the_number_of_its_value_and_nothing_touches_it(paper, values, method):
    """A number would lie on a line, or in the wrong region."""
    found = value_study(cloudy(8, size=8), values=values, method=method)
    page = study_pages(found, paper=paper, made=MADE)[1]
    regions = [patch.get_xy() for patch in polygons_of(page)]
    left, top = np.min(np.concatenate(regions), axis=0)[0], np.max(np.concatenate(regions), axis=0)[1]
    scale = (np.max(np.concatenate(regions), axis=0)[0] - left) / found.labels.shape[1]
    figures = []
    for name, (x0, y0, x1, y1) in extents(page)[0]:
        inside = (x0 + x1) / 2 > left and min(p[:, 1].min() for p in regions) < y0 < top
        if inside and len(name) == 1:
            figures.append((name, x0, y0 + 0.22 / 0.97 * (y1 - y0), x1, y1))  # figures do not reach below the line
    assert len(figures) == len(found.regions)
    polygons = [as_polygon(region) for region in found.regions]
    lines = unary_union([polygon.boundary for polygon in polygons])
    for name, x0, y0, x1, y1 in figures:
        ink = box((x0 - left) / scale - 0.5, (top - y1) / scale - 0.5, (x1 - left) / scale - 0.5,
                  (top - y0) / scale - 0.5)
        assert lines.distance(ink) * scale > 0.2
        (holder,) = [region for region, p in zip(found.regions, polygons, strict=True) if p.contains(ink)]
        assert name == str(holder.value + 1)


def test_the_page_to_colour_in_is_lines_that_a_copier_keeps(study):
    """Outlines and numbers must read at 3 : 1 and 4.5 : 1 on paper. Gold: W3C, (Y + 0.05) ratio."""
    page = study_pages(study, made=MADE)[1]
    tones = {to_rgb(patch.get_edgecolor()) for patch in polygons_of(page)}
    tones |= {to_rgb(text.get_color()) for text in axes_of(page).texts}
    for tone in tones:
        assert 1.05 / (float(luminance(srgb1_to_linear(np.array(tone)))) + 0.05) > 4.5
    assert all(patch.get_facecolor()[3] == 0 for patch in polygons_of(page))


def test_the_key_on_the_page_to_colour_in_has_a_box_to_try_each_value(study):
    """Nobody could mix a grey beside the one it is meant to be."""
    page = study_pages(study, made=MADE)[1]
    squares = [b for b in boxes_of(page) if b[2] == b[3] == 8]
    assert [b[4] for b in squares[::2]] == pytest.approx(study.tones, abs=0.3)
    assert [b[4] for b in squares[1::2]] == [None] * 5
    assert set(study.breaks.names) <= set(words_of(page))


def test_a_wide_picture_lies_on_its_side():
    """It would be half as large to colour in."""
    overview, page = study_pages(value_study(cloudy(2, (200, 500))), made=MADE)
    assert overview.figure.get_size_inches()[0] < overview.figure.get_size_inches()[1]
    assert page.figure.get_size_inches()[0] > page.figure.get_size_inches()[1]


def test_outlines_are_lines_in_the_file_and_not_pixels(study, tmp_path):
    """They would blur when enlarged. Outside: pdfplumber reads the page back; 0.1 mm is what is asked of print."""
    import pdfplumber

    save_pages(study_pages(study, made=MADE), tmp_path / "a.pdf")
    with pdfplumber.open(tmp_path / "a.pdf") as file:
        page = file.pages[1]
        assert page.images == []
        read = sorted((curve["x0"] / 72 * 25.4, curve["x1"] / 72 * 25.4) for curve in page.curves)
    wanted = sorted((p[:, 0].min(), p[:, 0].max()) for p in (q.get_xy() for q in polygons_of(study_pages(study)[1])))
    assert np.array(read) == pytest.approx(np.array(wanted), abs=0.1)


def test_the_teachers_heading_stands_on_both_pages(study):
    """A class would not know whose pages they are."""
    for page in study_pages(study, heading="Tuesday class", made=MADE):
        assert "Tuesday class." in " ".join(words_of(page))


def test_outlines_can_be_drawn_into_a_page_of_ones_own(study):
    """Handouts would have to draw them again."""
    marks = outline_marks(study, 120, left=10, bottom=20)
    corners = np.array([p for mark in marks if hasattr(mark, "points") for p in mark.points])
    assert corners.min(axis=0) == pytest.approx([10, 20])
    assert corners.max(axis=0)[0] == pytest.approx(130)


# What is studied.


@pytest.mark.parametrize("space", [SRGB, DISPLAY_P3, ADOBE_RGB])
def test_a_photograph_keeps_the_lightness_that_its_profile_says(space):
    """Vivid colours of other profiles would be too light or too dark. Gold: the luminance rows of the three spaces."""
    codes = np.array([[[200, 30, 40], [30, 200, 40], [20, 60, 220], [118, 118, 118]]], np.uint8).repeat(40, 0)
    subject = photo_subject(Photograph("a.png", codes, 1, (40, 4), space, None, ()))
    wanted = srgb1_to_lightness(codes[:1] / 255, space)
    assert luminance_to_lightness(luminance(subject.image[:1])) == pytest.approx(wanted, abs=0.05)
    assert subject.image.min() >= 0
    assert subject.image.max() <= 1
    assert subject.words == "a.png"


def test_a_measured_photograph_is_as_light_as_its_card_says():
    """The study would show the camera's exposure and not the cloth. Gold: the demo's card is L* 49.5."""
    result = measure_photo(DEMO / "morning-card.jpg", reference="card")
    image = photo_subject(result.photo, result.calibration).image
    off = [mean_lightness(image, row.outline, result.photo) - row.lightness for row in result.table.itertuples()]
    assert np.median(np.abs(off)) < 1  # rims and edges, which are left out here, are part of a piece's lightness
    assert np.abs(off).max() < 3
    card = json.dumps((result.calibration.outline * result.photo.reduction).tolist())
    assert mean_lightness(image, card, result.photo, inside=15) == pytest.approx(49.5, abs=0.1)


def mean_lightness(image, outline, photo, inside=5):
    """L* of the mean light within an outline in full-resolution pixels, less its edge."""
    scale = image.shape[0] / photo.size[0]
    corners = np.array(parse_outline(outline)) * scale
    mask = np.zeros(image.shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(corners[:, ::-1]).astype(np.int32)], 1)
    inner = cv2.erode(mask, np.ones((inside, inside), np.uint8)) > 0
    return float(luminance_to_lightness(float(luminance(image[inner]).mean())))


def test_a_stack_is_studied_layer_by_layer():
    """The study would not show what will be fused, or count what is no part of it: shares of squares in squares."""
    layers = Surface("a", 20), Surface("b", 55), Surface("c", 90)
    wanted = [80**2 - 56**2, 56**2 - 34**2, 34**2]
    for background, area in ((None, 80**2), (Surface("wall", 90), (1.12 * 80) ** 2)):
        subject = stack_subject(Stack(layers, sides=(80, 56, 34), background=background), {}, surround="light")
        found = value_study(subject.image, words=subject.words, width_mm=subject.width_mm)
        light = wanted[2] + area - 80**2  # with what is known to lie round it
        assert [float(share) for share in found.shares] == pytest.approx(
            [wanted[0] / area, wanted[1] / area, light / area], abs=0.004
        )
        assert found.width_mm == pytest.approx(area**0.5)
        assert [region.value for region in found.regions] == [*([2] if background else []), 0, 1, 2]


def test_a_layout_is_studied_where_its_blocks_lie():
    """A wall would be studied upside down, or at another size."""
    shape = BlockShape((80, 40))
    dark = [[Surface("", 20), Surface("", 20)]]
    laid = [LaidBlock(shape, (60, 60), dark), LaidBlock(shape, (200, 140), [[Surface("", 55)] * 2])]
    subject = layout_subject(laid, width=260, height=200, background=90)
    found = value_study(subject.image, width_mm=subject.width_mm)
    rows, cols = found.labels.shape
    assert found.labels[round(rows * 0.7), round(cols * 60 / 260)] == 0
    assert found.labels[round(rows * 0.3), round(cols * 200 / 260)] == 1
    assert [float(share) for share in found.shares[:2]] == pytest.approx([80 * 80 / 52000] * 2, abs=0.002)
    assert found.size_mm == pytest.approx((260, 200), rel=0.002)


def test_a_block_with_surrounds_is_drawn_by_its_crops():
    """Its pieces would be greys though there are pictures."""
    crops = {"dusk": np.full((50, 50, 3), (200, 30, 40), np.uint8)}
    shape = BlockShape((80, 50), surrounds=(Surround(),))
    stacks = [[Surface("dusk", 43)] * 2] * len(shape.stacks)
    subject = layout_subject([LaidBlock(shape, (100, 100), stacks)], crops, width=200, height=200)
    assert encoded(subject.image)[subject.image.shape[0] // 2, subject.image.shape[1] // 2].tolist() == [200, 30, 40]


def test_a_swatch_that_is_not_square_has_its_own_colour_round_it():
    """The board in the corners of a triangle would be a value of its own."""
    crop = np.zeros((90, 90, 4), np.uint8)
    cv2.fillConvexPoly(crop, np.array([[5, 80], [45, 5], [85, 80]]), (118, 118, 118, 255))
    subject = swatch_subject(crop, words="dusk")
    assert value_study(subject.image).percents == (0, 100, 0)


# What is refused.


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"values": 4}, "2, 3, 5 or 9 values by one of fixed, natural, named; got 4 by 'fixed'"),
        ({"method": "even"}, "got 3 by 'even'. Pick one of these"),
        ({"values": 5, "method": "named"}, "There are 9 named values; got 5"),
        ({"width_mm": 0.0}, "width_mm must be above 0"),
        ({"width_mm": math.inf}, "width_mm must be above 0 and from 0 to inf; got inf"),
        ({"squint": 0.7}, "squint must be above 0 and from 0 to 0.5; got 0.7"),
        ({"pencil_mm": 0.1}, "pencil_mm must be above 0 and from 0.5 to 50; got 0.1"),
        ({"distance_mm": -1.0}, "Sizes and distances must be above 0 mm"),
    ],
)
def test_options_that_cannot_be_are_refused(options, words):
    """A slip would give a study of something else."""
    with pytest.raises(InvalidInputError, match=words):
        value_study(cloudy(1, (60, 80)), **options)


@pytest.mark.parametrize(
    ("picture", "words"),
    [
        (np.zeros((20, 30)), r"linear RGB of shape \(rows, cols, 3\); got shape \(20, 30\)"),
        (np.zeros((0, 30, 3)), "Render it first"),
        (np.zeros((10, 200, 3)), "at most 12 times as long as wide; got 10 by 200 pixels"),
        (np.full((20, 30, 3), -0.1), "known light of 0 or more"),
        (np.full((20, 30, 3), np.nan), "known light of 0 or more"),
    ],
)
def test_pictures_that_are_none_are_refused(picture, words):
    """An unknown place would be called black."""
    with pytest.raises(InvalidInputError, match=words):
        value_study(picture.astype(np.float32))


def test_natural_values_need_as_many_lightnesses():
    """Nothing can be cut where there is but one grey."""
    with pytest.raises(InvalidInputError, match="3 different lightnesses for as many natural values; it has 1. Ask"):
        value_study(grey(np.full((40, 40), 50.0)), method="natural")


def test_another_paper_is_refused(study):
    """A page would not fit the printer."""
    with pytest.raises(InvalidInputError, match="paper must be one of A4, Letter; got 'A5'"):
        study_pages(study, paper="A5")


@pytest.mark.parametrize(
    ("labels", "words"),
    [
        (np.zeros((4, 4)), "whole numbers from 0 to 8, 8-bit"),
        (np.full((4, 4), 9, np.uint8), "from 0 to 8"),
        (np.zeros((4, 4, 3), np.uint8), r"shape \(4, 4, 3\). Sort a picture"),
    ],
)
def test_labels_that_are_none_are_refused(labels, words):
    """A region without a value would be drawn."""
    for take in (traced, lambda found: cleaned(found, width=3)):
        with pytest.raises(InvalidInputError, match=words):
            take(labels)


def test_what_is_too_narrow_to_be_drawn_round_is_refused():
    """It would be drawn tight to nothing."""
    labels = np.zeros((20, 20), np.uint8)
    labels[5, 5] = 1
    with pytest.raises(InvalidInputError, match="somewhere 3 pixels wide to be drawn round; one is 1. Pass what"):
        traced(labels)
    with pytest.raises(InvalidInputError, match="0 pixels or more; got -1"):
        cleaned(labels, width=-1)
