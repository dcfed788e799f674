"""Measuring: from an outline and a calibration to one row of the swatch table, each column for what it says."""

import warnings
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from made_scenes import box, covered, drawn, encoded, looked_at, matched, outlines_of, photo_of, plain_scene
from numpy.testing import assert_allclose, assert_array_equal

from contrastkit.camera.backing import fit_surface
from contrastkit.camera.measure import measure_things, reading_order, to_full
from contrastkit.camera.pipeline import find
from contrastkit.camera.polygons import turn
from contrastkit.camera.reference import ReferenceChoice, calibrate, parse_reference
from contrastkit.columns import FLAGS, SWATCHES, check_table, empty_table
from contrastkit.light.lightness import SRGB, luminance_to_lightness

SIZE = (400, 400)
SIDE = 200
PIECE = box((199.5, 199.5), SIDE)  # covers rows and columns 100 to 299 to the last pixel
INSIDE = slice(100, 300)


@lru_cache(maxsize=1)
def usual():
    """A calibration that takes sRGB codes at their word, and a thing, for tests to change."""
    photo = photo_of(drawn([(PIECE, 0.2)], size=SIZE))
    finding = find(photo)
    calibration, _ = calibrate(photo, finding, ReferenceChoice("none"))
    return replace(calibration, kind="card", light=None, sigma=0.4), finding.things[0]


def thing(outline=PIECE, **changes):
    return replace(usual()[1], **{"outline": outline, "area": turn(outline) / 2, "confirmed": 1.0, **changes})


def measured(codes, *things, reduction=1, **changes):
    """The table of things (by default the one piece) on a picture, under the usual calibration with these changes."""
    photo = photo_of(codes, reduction=reduction)
    calibration = replace(usual()[0], tables=SRGB.luts(photo.bits), **changes)
    return measure_things(photo, calibration, things or (thing(),))


def one(pattern, *things, bits=16, board=0.8, **changes):
    """The row of the one piece, whose linear light is `pattern` (grey, or red, green and blue), on a plain board."""
    linear = np.full((*SIZE, 3), board)
    pattern = np.asarray(pattern, float)
    linear[INSIDE, INSIDE] = pattern[..., None] if pattern.ndim in (0, 2) else pattern
    return measured(encoded(linear, bits), *things, **changes).iloc[0]


def striped(paint, ground, *, of_ten, rim=0):
    """Slanting stripes of paint, so many tenths of the area, inside a rim of bare ground so many pixels wide."""
    rows, cols = np.mgrid[:SIDE, :SIDE]
    bare = np.minimum(np.minimum(rows, SIDE - 1 - rows), np.minimum(cols, SIDE - 1 - cols)) < rim
    return np.where(((rows + 2 * cols) % 200 < 20 * of_ten) & ~bare, paint, ground)


ACROSS = np.broadcast_to((np.arange(40) - 19.5) / 40, (40, 40))  # middles of cells, -0.5 at the left to 0.5


def surface_of(values):
    """The light's logarithm as a calibration holds it, through a grid of values over the frame."""
    return fit_surface(values[..., None], np.ones((40, 40)), stiffness=1e-6)


# --- lightness ------------------------------------------------------------------------------------------------------

# CIE 15:2004, L* of the linear-light mean, as the eye adds up what it cannot resolve (A. Murray, "Monochrome
# reproduction in photoengraving", J. Franklin Inst. 221, 1936): tenths of paint, Y of paint and of ground, L*.
MIXTURES = [(5, 0.0, 1.0, 76.0693), (3, 0.05, 0.8, 80.4600), (5, 0.02, 0.9, 73.5465), (5, 0.08, 0.7, 68.7463)]


@pytest.mark.parametrize(("of_ten", "paint", "ground", "lightness"), MIXTURES)
def test_lightness_is_that_of_the_linear_light_mean(of_ten, paint, ground, lightness):
    """Would be broken: averages of codes or of L*, off by 6 to 26 L* on half black, half white."""
    row = one(striped(paint, ground, of_ten=of_ten))
    # 16-bit codes round by 0.001 L*; the ring that stands in for the cut edge holds a little more or less of a stripe.
    assert row["lightness"] == pytest.approx(lightness, abs=0.1)


def test_a_chequerboard_of_single_pixels_reads_the_same():
    """Would be broken: patterns as fine as the sensor, where a filter before the mean would change it."""
    chequers = np.indices((SIDE, SIDE)).sum(axis=0) % 2
    assert one(chequers)["lightness"] == pytest.approx(76.0693, abs=0.02)


# scikit-image, colour-science and coloraide agree to 0.0001: L* of grey codes.
@pytest.mark.parametrize(("code", "lightness"), [(64, 27.0934), (118, 49.6370), (128, 53.5850), (200, 80.6041)])
def test_an_even_grey_reads_its_own_lightness(code, lightness):
    """Would be broken: anything added by the edge, the ring or the board."""
    codes = np.full((*SIZE, 3), 230, np.uint8)
    codes[INSIDE, INSIDE] = code
    assert measured(codes).iloc[0]["lightness"] == pytest.approx(lightness, abs=0.01)  # single precision


# IEC 61966-2-1 luminance of the primaries through CIE 15, by colour-science; chroma and hue are checked below.
@pytest.mark.parametrize(("codes", "lightness"), [
    ((255, 0, 0), 53.2329), ((0, 255, 0), 87.7370), ((0, 0, 255), 32.3026),
])  # fmt: skip
def test_each_channel_counts_by_its_luminance(codes, lightness):
    """Would be broken: red, green and blue weighed alike. Such colours also lose 1.5 for the light that is cut off."""
    picture = np.full((*SIZE, 3), 230, np.uint8)
    picture[INSIDE, INSIDE] = codes
    row = measured(picture).iloc[0]
    assert row["lightness"] == pytest.approx(lightness - 1.5, abs=0.01)
    assert "too vivid" in row["flags"]


def test_a_light_board_and_a_dark_board_give_the_same_piece_the_same_lightness():
    """Would be broken: the cut edge's mixed pixels counted in. On the whole edge they would be 1.5 L* apart."""
    share = np.repeat(covered(PIECE + 0.5, SIZE)[..., None], 3, axis=2)
    boards = (encoded(0.3 * share + board * (1 - share), 16) for board in (0.9, 0.02))
    readings = [measured(codes, thing(PIECE + 0.5)).iloc[0]["lightness"] for codes in boards]
    assert_allclose(readings, luminance_to_lightness(0.3), atol=0.01)


def test_the_rim_counts_with_the_print():
    """Would be broken: what is seen from across the room, rim and all."""
    pattern = striped(0.05, 0.6, of_ten=10, rim=10)
    expected = luminance_to_lightness(pattern.mean())  # 19 % of the area is rim; without it 26.7
    # OpenCV's filled polygon covers half a pixel more all round, rim here: 0.5 % of the area or 0.6 L*.
    assert one(pattern)["lightness"] == pytest.approx(expected, abs=0.7)


def test_the_light_on_the_board_is_divided_out():
    """Would be broken: a piece in the dim corner that reads dark. It is lit by half, falling from 0.6 to 0.4."""
    light = 0.5 - 0.4 * (np.mgrid[: SIZE[0], : SIZE[1]][1] - 199.5) / SIZE[1]
    codes = encoded(np.repeat((0.4 * light)[..., None], 3, axis=2), 16)
    row = measured(codes, light=surface_of(np.log(0.5 - 0.4 * ACROSS))).iloc[0]
    assert row["lightness"] == pytest.approx(luminance_to_lightness(0.4), abs=0.1)  # a surface of third degree: 0.3 %
    assert row["lightness_high"] - row["lightness_low"] < 0.5


# --- parts ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("paint", "ground"), [(0.05, 0.6), (0.6, 0.05)])
@pytest.mark.parametrize("of_ten", [2, 5, 8])
def test_paint_ground_and_coverage_of_a_two_tone_piece(paint, ground, of_ten):
    """Would be broken: what tells her how much a second rub would do. The rim says which of the two is ground."""
    pattern = striped(paint, ground, of_ten=of_ten, rim=6)
    row = one(pattern)
    # Local means of 2 x 2 pixels mix paint and ground along the stripes' edges: in a narrow stripe one in ten.
    assert row["lightness_paint"] == pytest.approx(luminance_to_lightness(paint), abs=4.0)
    assert row["lightness_ground"] == pytest.approx(luminance_to_lightness(ground), abs=4.0)
    assert row["lightness_rim"] == pytest.approx(luminance_to_lightness(ground), abs=0.1)
    painted = (pattern == paint)[6:-6, 6:-6].mean()
    assert row["coverage"] == pytest.approx(painted, abs=0.07)  # mixed pixels, and 2 of the rim inside the ring


def test_a_piece_of_one_colour_has_one_part():
    """Would be broken: a ground invented out of the weave. Like its rim, it is all ground; unlike it, all paint."""
    weave = np.random.default_rng(4).normal(0, 0.004, (SIDE, SIDE))
    bare = one(0.2 + weave)
    assert bare["coverage"] == 0.0
    assert bare["lightness_ground"] == pytest.approx(luminance_to_lightness(0.2), abs=0.1)
    assert np.isnan(bare["lightness_paint"])
    solid = one(striped(0.05, 0.6, of_ten=10, rim=4) + weave / 4)
    assert solid["coverage"] == 1.0
    assert solid["lightness_paint"] == pytest.approx(luminance_to_lightness(0.05), abs=0.1)
    assert np.isnan(solid["lightness_ground"])


def test_a_rim_of_ground_round_a_solid_print_is_told_from_it():
    """Would be broken: the rim, which lies between all the layers of a stack."""
    row = one(striped(0.05, 0.6, of_ten=10, rim=10))
    assert row["lightness_rim"] == pytest.approx(luminance_to_lightness(0.6), abs=0.01)
    assert row["lightness_ground"] == pytest.approx(luminance_to_lightness(0.6), abs=1.0)
    assert row["lightness_paint"] == pytest.approx(luminance_to_lightness(0.05), abs=1.0)
    # What of the rim lies deeper than 5 pixels is counted with the inside: 180 of 190 columns, both ways.
    assert row["coverage"] == pytest.approx(0.9, abs=0.03)


def test_a_print_that_runs_over_the_edge_leaves_no_bare_rim():
    """Would be broken: a rim lightness made of paint and ground in turn."""
    ramp = np.repeat(np.linspace(0.1, 0.5, SIDE)[:, None], SIDE, axis=1)
    assert np.isnan(one(ramp)["lightness_rim"])


def test_low_and_high_are_the_fifth_and_ninety_fifth_percentile_of_local_lightness():
    """Would be broken: the range of values within one piece."""
    ramp = np.repeat(np.linspace(0.1, 0.5, SIDE)[:, None], SIDE, axis=1)
    row = one(ramp)
    low, high = luminance_to_lightness(np.quantile(ramp[2:-2], (0.05, 0.95)))
    assert row["lightness_low"] == pytest.approx(low, abs=0.5)  # 2,000 samples: a percentile is good to half a per cent
    assert row["lightness_high"] == pytest.approx(high, abs=0.5)
    two_tone = one(striped(0.1, 0.5, of_ten=5))
    assert two_tone["lightness_low"] == pytest.approx(luminance_to_lightness(0.1), abs=0.1)
    assert two_tone["lightness_high"] == pytest.approx(luminance_to_lightness(0.5), abs=0.1)


# --- colour ---------------------------------------------------------------------------------------------------------


def colour_science():
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=".*related API features are not available.*")
        import colour
    return colour


@pytest.mark.parametrize("linear", [
    (0.4, 0.1, 0.05), (0.05, 0.3, 0.1), (0.1, 0.12, 0.5), (0.2, 0.2, 0.2), (0.6, 0.5, 0.1), (0.02, 0.015, 0.02),
])  # fmt: skip
def test_chroma_and_hue_are_those_of_colour_science(linear):
    """Would be broken: CIELAB of the mean. Hue of a grey is no number to compare."""
    colour = colour_science()
    xyz = np.array(SRGB.to_xyz) @ linear
    white = np.array(SRGB.to_xyz).sum(axis=1)
    _, a, b = colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(white))
    row = one(np.broadcast_to(linear, (SIDE, SIDE, 3)))
    # colour-science takes the white's x, y to full precision; 16-bit codes round by less than 0.01.
    assert row["chroma"] == pytest.approx(np.hypot(a, b), abs=0.02)
    if np.hypot(a, b) > 1:
        assert row["hue_angle"] == pytest.approx(np.degrees(np.arctan2(b, a)) % 360, abs=0.1)


@pytest.mark.parametrize("luminance", [0.02, 0.1, 0.2, 0.45, 0.8])
def test_munsell_value_is_that_of_astm_d1535(luminance):
    """Would be broken: the number that artists ask for. colour-science inverts the polynomial by a table, to 1e-3."""
    value = colour_science().notation.munsell_value_ASTMD1535(luminance * 100)
    assert one(luminance)["munsell_value"] == pytest.approx(float(value), abs=5e-3)


def test_vivid_colours_look_lighter_than_they_are_and_greys_do_not():
    """Would be broken: the apparent range beside the lightness."""
    red, grey = one(np.broadcast_to((0.4, 0.02, 0.02), (SIDE, SIDE, 3))), one(0.2)
    assert red["lightness_apparent_high"] > red["lightness_apparent_low"] > red["lightness"] + 1
    assert_allclose([grey["lightness_apparent_low"], grey["lightness_apparent_high"]], grey["lightness"], atol=0.2)


# --- flags ----------------------------------------------------------------------------------------------------------


def flags(row):
    return set(filter(None, row["flags"].split("; ")))


def spotted(share, spot, rest=0.2):
    """A piece, the upper part of which, this share, is something else."""
    pattern = np.empty((SIDE, SIDE, 3))
    pattern[:] = rest
    pattern[: round(share * SIDE)] = spot
    return pattern


def test_a_sound_piece_raises_no_flag():
    """Would be broken: trust in the flags."""
    assert flags(one(striped(0.05, 0.6, of_ten=5, rim=10))) == set()


@pytest.mark.parametrize(("flag", "raises", "spares"), [
    ("clipped", spotted(0.05, (1.0, 0.4, 0.3)), spotted(0.05, (0.9, 0.4, 0.3))),
    ("glare", spotted(0.05, 0.98), spotted(0.05, 0.8)),
    ("too vivid", spotted(0.3, (0.5, 0.0, 0.1)), spotted(0.1, (0.5, 0.0, 0.1))),
])  # fmt: skip
def test_spoilt_pixels_raise_their_flag_and_only_when_there_are_enough(flag, raises, spares):
    """Would be broken: a piece burnt out or too vivid that passes for sound, or a sound one flagged."""
    assert flag in flags(one(raises))
    assert flag in flags(one(raises, bits=8))
    assert flags(one(spares)) == set()


def test_a_light_piece_near_white_has_no_glare():
    """Would be broken: every white cotton taken for a mirror."""
    assert flags(one(0.97)) == set()


def test_uneven_light_across_a_piece_raises_its_flag():
    """Would be broken: a piece half in the window's light."""
    for fall, expected in ((0.6, {"uneven"}), (0.15, set())):  # across half the frame: 1.35 and 1.08 to 1
        surface = surface_of(-fall * ACROSS)
        assert flags(one(0.2, light=surface)) == expected


def test_a_piece_of_few_pixels_is_too_small_and_full_resolution_counts():
    """Would be broken: a photograph from too far away, and one that was only reduced for speed."""
    small = thing(box((199.5, 199.5), 60))
    assert flags(one(0.2, small)) == {"too small"}
    assert flags(one(0.2, small, reduction=2)) == set()


def test_a_piece_at_the_frame_and_one_without_reference_say_so():
    """Would be broken: two of the flags that a friend reads in the report."""
    assert flags(one(0.2, thing(at_frame=True))) == {"touches the frame"}
    assert flags(one(0.2, kind="none")) == {"no reference"}


def test_every_flag_is_declared():
    """Would be broken: a flag without its meaning and remedy in the report."""
    worst = thing(box((199.5, 199.5), 60), at_frame=True)
    surface = surface_of(4 * ACROSS)
    pattern = np.zeros((SIDE, SIDE, 3)) + (0.3, 0.0, 0.1)
    pattern[: SIDE // 2 - 15] = 1.0
    row = one(pattern, worst, kind="none", light=surface)
    assert flags(row) == {flag.name for flag in FLAGS}
    assert row["flags"].split("; ") == [flag.name for flag in FLAGS]  # in the order they are declared


# --- uncertainty ----------------------------------------------------------------------------------------------------


def test_sigma_holds_the_references_and_grows_with_what_makes_a_piece_doubtful():
    """Would be broken: one and the same sigma for all. Each cause on its own is said to be larger than nothing."""
    grey = one(0.2)["lightness_sigma"]
    assert grey >= 0.4  # the calibration's own
    vivid = one(np.broadcast_to((0.4, 0.05, 0.05), (SIDE, SIDE, 3)))["lightness_sigma"]
    unseen = one(0.2, thing(confirmed=0.3))["lightness_sigma"]
    small = one(0.2, thing(box((199.5, 199.5), 40)))["lightness_sigma"]
    rough = one(0.2, sigma=8.0)["lightness_sigma"]
    far = one(0.2, light=surface_of(0 * ACROSS - 0.7))["lightness_sigma"]
    assert min(vivid, unseen, small, far) > grey + 0.05
    assert rough > 8


# --- the table ------------------------------------------------------------------------------------------------------


def test_columns_and_dtypes_are_those_declared():
    """Would be broken: the contract between the rooms."""
    table = measured(encoded(np.full((*SIZE, 3), 0.2)), thing(), thing(PIECE * 0.5))
    assert list(table.columns) == [column.name for column in SWATCHES]
    for column in SWATCHES:
        assert str(table[column.name].dtype) == column.dtype, column.name
    assert_array_equal(check_table(table, SWATCHES)["lightness"], table["lightness"])  # within the declared ranges


def test_no_things_give_an_empty_table_of_the_same_columns_and_dtypes():
    """Would be broken: a photograph with nothing on it, joined to one that has."""
    photo = photo_of(encoded(np.full((*SIZE, 3), 0.2)))
    table = measure_things(photo, usual()[0], ())
    assert len(table) == 0
    assert (table.dtypes == empty_table(SWATCHES).dtypes).all()
    assert (table.dtypes == measured(photo.codes).dtypes).all()


def grid_of(rows, cols, *, jitter=0.0, tilt=0.0, seed=0):
    """Things laid in rows, shuffled; and the order they should come in."""
    rng = np.random.default_rng(seed)
    places = [(200 * r + tilt * c, 200 * c) for r in range(rows) for c in range(cols)]
    things = [thing(box(np.add(place, rng.uniform(-jitter, jitter, 2) + 100), 120)) for place in places]
    shuffled = [things[index] for index in rng.permutation(len(things))]
    return tuple(shuffled), things


@pytest.mark.parametrize(("jitter", "tilt"), [(0, 0), (12, 0), (0, 8)])
def test_pieces_are_numbered_row_by_row_from_the_left(jitter, tilt):
    """Would be broken: ids that jump about the board. Rows may be laid by hand, or the camera held askew."""
    shuffled, things = grid_of(3, 4, jitter=jitter, tilt=tilt)
    assert [id(found) for found in reading_order(shuffled)] == [id(expected) for expected in things]
    assert reading_order(()) == []


def test_ids_are_unique_and_sort_as_the_pieces_lie():
    """Would be broken: joins on swatch_id, and 10 before 2."""
    shuffled, things = grid_of(11, 10)
    photo = photo_of(np.full((2300, 2100, 3), 118, np.uint8), name="my board.v2.jpg")
    table = measure_things(photo, usual()[0], shuffled)
    assert table["swatch_id"].iloc[0] == "my board.v2-001"
    assert table["swatch_id"].iloc[-1] == "my board.v2-110"
    assert table["swatch_id"].is_unique
    assert table["swatch_id"].is_monotonic_increasing
    for outline, expected in zip(outlines_of(table), things, strict=True):
        assert_allclose(outline, expected.outline, atol=0.05)  # written to a tenth of a pixel
    assert set(table["photo"]) == {"my board.v2.jpg"}


def test_outlines_and_areas_are_in_full_resolution_pixels():
    """Would be broken: outlines drawn beside their pieces wherever a photograph was reduced to be measured."""
    codes = encoded(np.full((*SIZE, 3), 0.2))
    whole, reduced = (measured(codes, reduction=reduction).iloc[[0]] for reduction in (1, 4))
    assert whole["area"].iloc[0] == pytest.approx(SIDE**2)
    assert reduced["area"].iloc[0] == pytest.approx(16 * SIDE**2)
    # Working pixel 100 is the mean of full pixels 400 to 403: its upper edge, 99.5, is theirs, 399.5.
    assert_allclose(to_full(np.array([[99.5, 299.5]]), 4), [[399.5, 1199.5]])
    assert_allclose(outlines_of(reduced)[0].min(axis=0), [399.5, 399.5])


# --- the same scene, photographed otherwise -------------------------------------------------------------------------


def table_of(made, reference="card"):
    photo, finding = looked_at(made)
    return measure_things(photo, *calibrate(photo, finding, parse_reference(reference)))


def side_by_side(one_scene, other, reference="card"):
    """Lightness in two photographs of one scene, of each piece well found, not burnt out and not too vivid in both."""
    rows, good = [], np.ones(len(one_scene.truth), bool)
    for made in (one_scene, other):
        table = table_of(made, reference)
        which, shares = matched(outlines_of(one_scene.truth), outlines_of(table))
        rows.append(table.iloc[which])
        good &= (np.array(shares) > 0.9) & ~rows[-1]["flags"].str.contains("clipped|glare|vivid").to_numpy()
    assert good.sum() >= 8
    return [table["lightness"].to_numpy()[good] for table in rows]


def assert_nearly_all_alike(one_way, other):
    """One piece of twelve may get another outline in another picture, shadow with it, and be off by up to 1 L*."""
    apart = np.sort(np.abs(one_way - other))
    assert np.median(apart) < 0.1
    assert apart[-2] < 0.3
    assert apart[-1] < 1.0


def test_exposure_does_not_move_a_lightness_measured_against_a_card():
    """Would be broken: comparing pieces across photographs. Noise and rounding of the darker one leave 0.1."""
    dim, bright = side_by_side(plain_scene("white", exposure=0.55), plain_scene("white", exposure=0.8))
    assert_nearly_all_alike(dim, bright)


def test_white_balance_does_not_move_a_lightness_measured_against_a_card():
    """Would be broken: the camera that thinks a board of reds too warm."""
    right, wrong = side_by_side(plain_scene("white"), plain_scene("white", white_balance=0.12))
    assert_nearly_all_alike(right, wrong)


def test_without_a_reference_more_light_never_darkens_a_piece():
    """Would be broken: order within one pile, which is all that is left without a card."""
    dim, bright = side_by_side(plain_scene("black", exposure=0.55), plain_scene("black", exposure=0.8), "none")
    assert (bright > dim).all()


def test_lightness_is_near_the_truth_on_plain_boards_in_uneven_light():
    """Would be broken: the number this project stands for. Camera and eye see dyes differently: that is most of it."""
    errors = []
    for backing in ("white", "grey", "black"):
        made = plain_scene(backing, gradient=0.25, vignetting=0.35) if backing == "white" else plain_scene(backing)
        table = table_of(made)
        which, shares = matched(outlines_of(made.truth), outlines_of(table))
        assert min(shares) > 0.8
        errors += (table["lightness"].to_numpy()[which] - made.truth["lightness"]).tolist()
    assert np.median(np.abs(errors)) < 0.6
    assert np.quantile(np.abs(errors), 0.95) < 2.0


def test_the_parts_of_rendered_pieces_are_near_their_truth():
    """
    Would be broken: paint, ground, rim and coverage on woven, unevenly rubbed cotton.

    Rubbed paint has no sharp end, so how much of it is paint is a matter of 0.1; rims are flat but for the weave.
    """
    made = plain_scene("white", rim=0.06, pearly=0.0, loads=(-0.1, 0.1))
    table = table_of(made)
    which, shares = matched(outlines_of(made.truth), outlines_of(table))
    rows, good = table.iloc[which].reset_index(drop=True), np.array(shares) > 0.9
    off = {name: (rows[name] - made.truth[name])[good].abs().dropna() for name in
           ("lightness_rim", "lightness_ground", "coverage")}
    assert len(off["lightness_rim"]) >= 8
    assert off["lightness_rim"].median() < 1.0
    assert off["lightness_ground"].median() < 3.0
    assert off["coverage"].median() < 0.15
