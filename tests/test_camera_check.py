"""How far a camera can be trusted, from one photograph of a chart."""

from pathlib import Path

import cv2
import numpy as np
import pytest
from made_photos import board, chart

from contrastkit.camera.chart import LAB, NAMES
from contrastkit.camera.check import PATCHES, check_camera
from contrastkit.errors import CalibrationError, UnreadablePhotoError

PHOTOS = Path(__file__).parents[2] / "shared" / "photos"
COLOURS = np.arange(24) < 18

# Mean error in L* of the 18 colours to reach. The chart's values are nominal: no chart at hand is nearer than about 1.
LIMITS = {
    "sheet_chart_overhead.jpg": 1.0,
    "chart_cabinet_contrasty.jpg": 1.0,
    "chart_cut_by_frame.jpg": 1.0,
    "chart_sun_upside_down.jpg": 1.5,
    "chart_handheld_rotated.jpg": 2.0,
}


def real(name):
    if not (PHOTOS / name).exists():
        pytest.skip(f"the photographs beside the project are not here: no {PHOTOS / name}")
    return PHOTOS / name


@pytest.fixture(scope="module")
def check(tmp_path_factory):
    return check_camera(chart(tmp_path_factory.mktemp("camera") / "chart.png"))


def test_a_faithful_camera_errs_by_less_than_half_a_step(check):
    """The chart was drawn with its nominal colours; what is left is noise and colours that sRGB cannot hold."""
    assert check.colours.count == 18 and check.greys.count == 6
    assert check.colours.mean < 0.5
    assert check.greys.mean < 1.0  # of the ends, read beyond the curve
    assert "measures lightness well" in check.verdict


def test_the_table_has_a_row_a_patch_in_the_declared_columns(check):
    """A program that reads the table would find other columns than those told of."""
    table = check.table
    assert list(table.columns) == [column.name for column in PATCHES]
    assert [str(dtype) for dtype in table.dtypes] == [column.dtype for column in PATCHES]
    assert table["patch"].tolist() == list(range(1, 25))
    assert table["name"].tolist() == list(NAMES)
    assert table["lightness_reference"].tolist() == LAB[:, 0].tolist()
    np.testing.assert_allclose(table["lightness_measured"] - table["lightness_reference"], table["error"], atol=1e-9)
    np.testing.assert_allclose(table["lightness_by_greys"] - table["lightness_reference"], table["error_by_greys"],
                               atol=1e-9)


def test_the_numbers_are_those_of_the_table(check):
    """The summary would promise what the table does not keep."""
    size = check.table["error"].abs()
    assert check.colours.mean == pytest.approx(size[COLOURS].mean())
    assert check.colours.largest == pytest.approx(size[COLOURS].max())
    assert check.colours.worst == NAMES[int(size[COLOURS].idxmax())]
    assert check.greys.mean == pytest.approx(size[~COLOURS].mean())
    assert check.colours_by_greys.mean == pytest.approx(check.table["error_by_greys"].abs()[COLOURS].mean())


def test_sigma_is_never_finer_than_charts_are_alike(check):
    """A lucky photograph would promise more than its chart can tell."""
    assert check.colours.mean < 0.5
    assert check.sigma == 0.7


def test_sigma_is_the_root_mean_square_of_the_errors():
    """The figure to expect would be another than the one that was seen."""
    check = check_camera(real("chart_handheld_rotated.jpg"))
    errors = check.table.loc[check.table["usable"] & COLOURS, "error"]
    assert check.sigma == pytest.approx(float(np.sqrt((errors**2).mean())))


def test_uneven_light_on_the_chart_is_evened_out_and_told(check, tmp_path):
    """A lamp at the side of the chart would be taken for a fault of the camera."""
    uneven = check_camera(chart(tmp_path / "chart.png", across=0.2))

    # Over the picture the light changes by 20 %, over the 0.675 of it between the outer patches by about 13 %.
    assert uneven.light_across == pytest.approx(0.13, abs=0.03)
    assert uneven.colours.mean < check.colours.mean + 0.2


@pytest.mark.parametrize("patch", [2, 21])
def test_a_spoilt_patch_does_not_flatter_itself(tmp_path, patch):
    """A patch in its own calibration pulls it towards itself, and errs less than any piece would."""
    path = chart(tmp_path / "chart.png")
    clean = check_camera(path).table["lightness_measured"][patch]
    picture = cv2.imread(str(path))
    row, col = divmod(patch, 6)
    part = picture[100 + 130 * row : 210 + 130 * row, 110 + 135 * col : 220 + 135 * col]
    codes = float(part.mean())
    part[:] = (part * 1.12).astype(np.uint8)  # about 6 L* at these patches
    cv2.imwrite(str(path), picture)

    shift = check_camera(path).table["lightness_measured"][patch] - clean

    rise = 100 * (0.12 * codes) / 255 * 0.9  # L* goes with sRGB's codes, 100 for 255, give or take a tenth
    assert shift == pytest.approx(rise, rel=0.2)


def test_what_is_not_seen_is_not_measured():
    """A thumb's lightness would stand in the table as a patch's."""
    check = check_camera(real("chart_handheld_rotated.jpg"))

    assert np.flatnonzero(~check.table["visible"]).tolist() == [0, 6]
    assert check.table["lightness_measured"].isna().to_numpy().nonzero()[0].tolist() == [0, 6]
    assert check.colours.count == 16


@pytest.mark.parametrize(("name", "limit"), LIMITS.items())
def test_real_charts_are_measured_within_the_limits(name, limit):
    """The main claim: greys and the other colours tell each colour's lightness."""
    check = check_camera(real(name))

    assert check.colours.count >= 14
    assert check.colours.mean <= limit
    assert check.colours_by_greys.mean > check.colours.mean  # colour correction must be worth its trouble


@pytest.mark.parametrize(
    ("fault", "words"), [("veil", "light is mirrored in the chart|burnt out"), ("burnt", "burnt out")]
)
def test_a_spoilt_chart_is_refused_with_the_reason(tmp_path, fault, words):
    """Numbers from a mirroring chart look fine and are wrong by 10 L*."""
    with pytest.raises(CalibrationError, match=f"The chart in chart.png cannot be trusted: .*({words})"):
        check_camera(chart(tmp_path / "chart.png", fault=fault))


def test_the_real_veiled_chart_is_refused():
    """Its black reads half as bright as its white."""
    with pytest.raises(CalibrationError, match="cannot be trusted"):
        check_camera(real("chart_veiled_refuse.jpg"))


def test_a_photograph_without_a_chart_is_refused(tmp_path):
    """Painted squares would be taken for patches."""
    with pytest.raises(CalibrationError, match="none was found in board.png"):
        check_camera(board(tmp_path / "board.png"))
    with pytest.raises(UnreadablePhotoError, match="there is no file"):
        check_camera(tmp_path / "nowhere.png")
