"""The tone curve through greys: what a camera bent is straightened, and what it lost is not invented."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from contrastkit.camera.tone import ToneCurve, tone_from_greys
from contrastkit.errors import CalibrationError, InvalidInputError
from contrastkit.light.lightness import (
    SRGB,
    lightness_to_luminance,
    linear_to_srgb1,
    luminance_to_lightness,
    srgb1_to_linear,
)

PHOTOS = Path(__file__).parents[2] / "shared" / "photos"
SIX = np.array([95.19, 81.29, 66.89, 50.76, 35.63, 20.64])  # the greys of the 24-patch chart, L*
BALANCE = np.array([1.1, 0.9, 0.7])


def three(values: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.repeat(values[:, None], 3, axis=1)


def phone(luminance: NDArray[np.float64], *, gain: float = 0.9, bend: float = 0.5) -> NDArray[np.float64]:
    """A phone's rendering, decoded as sRGB: part of a smoothstep on the encoded values ."""
    encoded = linear_to_srgb1(np.clip(gain * luminance, 0, 1))
    return srgb1_to_linear((1 - bend) * encoded + bend * encoded**2 * (3 - 2 * encoded))


def errors(curve: ToneCurve, readings: NDArray[np.float64], lightness: NDArray[np.float64]) -> NDArray[np.float64]:
    return luminance_to_lightness(curve.apply(three(readings))[:, 0]) - lightness


@pytest.mark.parametrize("exposure", [0.3, 0.8, 1.2])
@pytest.mark.parametrize("greys", [SIX, SIX[1:], SIX[1:4], np.linspace(10, 96, 20)], ids=len)
def test_a_change_of_exposure_is_undone_exactly_even_beyond_the_greys(exposure, greys):
    """A line in L* through the greys is what exposure does; anything else spoils swatches lighter than the white."""
    truth = lightness_to_luminance(greys)
    curve = tone_from_greys(three(exposure * truth), truth)

    lightness = np.linspace(min(greys), 99, 50)
    assert_allclose(errors(curve, exposure * lightness_to_luminance(lightness), lightness), 0, atol=1e-9)


def test_each_channel_has_its_own_curve_so_that_greys_come_out_neutral():
    """One curve for all leaves the lamp's tint in the greys."""
    truth = lightness_to_luminance(SIX)
    readings = phone(truth)[:, None] * BALANCE
    curve = tone_from_greys(readings, truth)

    assert_allclose(curve.apply(readings), three(truth), rtol=1e-9)


@pytest.mark.parametrize(
    ("bend", "limit"),
    [(0.0, 0.01), (0.5, 0.5), (1.0, 1.0)],  # six greys 15 L* apart follow a full S no closer; more would
)
def test_a_phones_curve_is_undone_between_and_a_little_beyond_the_greys(bend, limit):
    """A straight line between greys, or a curve that overshoots, leaves several L*."""
    truth = lightness_to_luminance(SIX)
    curve = tone_from_greys(three(phone(truth, bend=bend)), truth)

    lightness = np.linspace(15, 97, 83)
    off = errors(curve, phone(lightness_to_luminance(lightness), bend=bend), lightness)
    assert np.abs(off).max() < limit


def test_without_the_clipped_white_a_lighter_swatch_is_still_near():
    """Where white burnt out the curve has to go on from neutral 8; flat or wild ends would be off by ten."""
    truth = lightness_to_luminance(SIX[1:])
    curve = tone_from_greys(three(phone(truth)), truth)

    off = errors(curve, phone(lightness_to_luminance(np.array([86.0, 90.0]))), np.array([86.0, 90.0]))
    assert np.abs(off).max() < 1.5  # 9 L* beyond the last grey of a bent curve


def test_flare_is_taken_out_below_the_darkest_grey_too():
    """Light mirrored all over lifts black: a curve drawn to (0, 0) would read a black cloth as dark grey."""
    truth = lightness_to_luminance(SIX)
    curve = tone_from_greys(three(truth + 0.01), truth)

    lightness = np.array([0.0, 5, 12, 16])
    off = errors(curve, lightness_to_luminance(lightness) + 0.01, lightness)
    assert np.all(np.abs(off) < [5, 3, 1.2, 0.5])  # against 9.0, 7.9, 5.5 and 4.4 with no curve at all


def test_black_reads_black_where_nothing_lifts_it():
    """A curve that ends above zero would never let a piece be black."""
    truth = lightness_to_luminance(SIX)
    curve = tone_from_greys(three(phone(truth, bend=1.0)), truth)

    assert curve.apply([0.0, 0, 0]).tolist() == [0, 0, 0]


@given(
    readings=st.lists(st.floats(0, 1), min_size=6, max_size=6),
    ends=st.tuples(st.floats(0.001, 0.03), st.floats(0.5, 1)),
)
def test_the_curve_never_falls_whatever_the_greys_read(readings, ends):
    """A fall would make a lighter swatch darker than a darker one."""
    values = np.array(readings)
    values[[0, -1]] = ends  # the ends differ, so that there is a curve at all
    values[2] = 0.2
    curve = tone_from_greys(three(values), lightness_to_luminance(SIX[::-1]))

    grid = three(np.linspace(0, 1, 400))
    assert np.diff(curve.apply(grid), axis=0).min() >= -1e-12


def test_greys_that_read_the_same_are_pooled_by_their_certainty():
    """Noise in the darks must not turn into a cliff: greys of L* 10 and 14 that read alike are one, at their mean."""
    lightness = np.array([10.0, 14, 30, 60, 90])
    readings = lightness_to_luminance(np.array([12.05, 12, 30, 60, 90]))
    curve = tone_from_greys(three(readings), lightness_to_luminance(lightness), certainty=[1, 3, 1, 1, 1])

    assert_allclose(errors(curve, lightness_to_luminance(np.array([12.0125])), np.array([13.0])), 0, atol=1e-9)


def test_between_its_knots_the_curve_is_the_monotone_cubic_of_scipy():
    """scipy's pchip uses the same slopes (Fritsch and Butland 1984): an independent check of ours."""
    truth = lightness_to_luminance(SIX)
    curve = tone_from_greys(phone(truth)[:, None] * BALANCE, truth)

    for channel, (x, y) in enumerate(curve.knots):
        grid = np.linspace(x[0], x[-1], 300)
        ours = curve.apply(three(((grid + 16) / 116) ** 3))[:, channel]
        assert_allclose(116 * np.cbrt(ours) - 16, PchipInterpolator(x, y)(grid), atol=1e-9)


def test_the_table_holds_the_same_curve_as_apply():
    """Pixels go through the table, means through apply: they must agree."""
    truth = lightness_to_luminance(SIX)
    curve = tone_from_greys(phone(truth)[:, None] * BALANCE, truth)
    luts = SRGB.luts(8)

    table = curve.lut(luts)
    assert table.dtype == np.float32
    assert_allclose(table.T, curve.apply(luts.T), atol=1e-7)  # single precision


def test_the_residual_sees_a_grey_that_does_not_fit():
    """The residual becomes the calibration's sigma: a grey that is off by 6 L* must show in it."""
    truth = lightness_to_luminance(SIX)
    good = tone_from_greys(three(truth), truth).residual
    readings = truth.copy()
    readings[2] = lightness_to_luminance(SIX[2] - 6)
    poor = tone_from_greys(three(readings), truth).residual

    assert good < 1e-9
    assert 3 < poor < 8


def test_the_residual_is_the_error_on_each_grey_of_a_curve_without_it():
    """A residual on greys the curve runs through would always be nought."""
    lightness = np.array([20.0, 50, 80])
    readings = lightness_to_luminance(np.array([20.0, 53, 80]))
    curve = tone_from_greys(three(readings), lightness_to_luminance(lightness))

    assert curve.residual == pytest.approx(3, abs=1e-9)  # the line between the ends, at reading 53


def test_greys_may_come_in_any_order_and_unread_ones_are_passed_over():
    """A scale is photographed either way up, and a covered grey is nan."""
    truth = lightness_to_luminance(SIX)
    readings = three(phone(truth))
    order = [3, 0, 5, 1, 4, 2]
    gap = readings.copy()
    gap[2] = np.nan

    expected = tone_from_greys(readings, truth).apply([0.3, 0.2, 0.1])
    assert_allclose(tone_from_greys(readings[order], truth[order]).apply([0.3, 0.2, 0.1]), expected)
    without = tone_from_greys(np.delete(readings, 2, 0), np.delete(truth, 2))
    assert_allclose(tone_from_greys(gap, truth).apply([0.3, 0.2, 0.1]), without.apply([0.3, 0.2, 0.1]))


def test_two_greys_are_refused():
    """Two points fit any curve."""
    with pytest.raises(CalibrationError, match="at least 3 greys .* got 2. Photograph the whole scale"):
        tone_from_greys(three(np.array([0.1, 0.5])), [0.1, 0.5])


def test_greys_that_all_read_alike_are_refused_by_channel():
    """A scale burnt out in one channel gives no curve there."""
    readings = three(lightness_to_luminance(SIX))
    readings[:, 2] = 0.4
    with pytest.raises(CalibrationError, match="in the blue channel only 1 do. Photograph the greys again"):
        tone_from_greys(readings, lightness_to_luminance(SIX))


@pytest.mark.parametrize(
    ("linear", "luminance", "certainty", "words"),
    [
        (np.ones((4, 3)), [0.1, 0.2, 0.3], None, "shape .m, 3. with one luminance"),
        (np.ones((3, 2)), [0.1, 0.2, 0.3], None, "got .3, 2."),
        (np.ones((3, 3)), [10, 20, 30], None, "Divide percentages by 100"),
        (np.ones((3, 3)), [0.1, 0.2, 0.3], [1, 0, 1], "certainty above 0"),
    ],
)
def test_what_cannot_be_greys_is_refused(linear, luminance, certainty, words):
    """A per cent taken for a share would make every swatch a hundred times too dark."""
    with pytest.raises(InvalidInputError, match=words):
        tone_from_greys(linear, luminance, certainty=certainty)


def test_readings_and_tables_of_the_wrong_shape_are_refused():
    """Grey pictures and transposed tables would otherwise be broadcast into nonsense."""
    curve = tone_from_greys(three(lightness_to_luminance(SIX)), lightness_to_luminance(SIX))
    with pytest.raises(InvalidInputError, match="three channels last"):
        curve.apply([0.1, 0.2])
    with pytest.raises(InvalidInputError, match="one row a channel"):
        curve.lut(np.zeros((256, 3)))


def test_a_printed_twelve_step_strip_is_followed_within_a_step_and_a_half():
    """Each grey of a real strip with printed values, predicted from its neighbours"""
    strip = _truth("sheet_30patch_icc.jpg")
    greys = slice(9, 21)
    codes, lightness = np.array(strip["rgb8_median"])[greys] / 255, np.array(strip["L_ref"])[greys]
    curve = tone_from_greys(srgb1_to_linear(codes), lightness_to_luminance(lightness))

    assert curve.residual < 1.5


def test_a_wedge_whose_darks_are_lost_in_flare_stays_monotone_and_says_so():
    """The last six steps of a real wedge read the same: they are pooled, not fought over."""
    rows = _truth("wedge_20step_tilted.jpg")["rows"]
    codes = np.array([row[3] for row in rows]) / 255
    lightness = np.array([row[5] for row in rows])
    curve = tone_from_greys(srgb1_to_linear(codes), lightness_to_luminance(lightness))

    assert all(len(x) < 20 for x, _ in curve.knots)
    ramp = curve.apply(three(np.linspace(0, 1, 500)))
    assert np.diff(ramp, axis=0).min() >= 0
    off = luminance_to_lightness(curve.apply(srgb1_to_linear(codes)).mean(axis=1)) - lightness
    assert np.abs(off[:12]).max() < 1.0  # where the steps can be told apart the curve runs through them
    assert np.abs(off[14:]).max() < 6.5  # half of the 12 L* that read alike


def _truth(name: str) -> dict:
    path = PHOTOS / "truth.json"
    if not path.exists():
        pytest.skip("the shared photographs are not here")
    return json.loads(path.read_text(encoding="utf-8"))[name]
