"""
How far a camera can be trusted: one photograph of a 24-patch chart, every patch's lightness known and measured.

A patch that took part in a calibration would flatter it, so each is measured by a calibration made without it: the
colour correction is fitted on all others and, for a grey, the tone curve goes through the other greys. A grey at an end
of the row is then beyond the curve, and its error is that of reading on.

All lightness here is for D50, as the chart's values are.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from contrastkit.camera.chart import (
    GREYS,
    LAB,
    NAMES,
    PatchReadings,
    find_chart,
    fit_correction,
    judge_readings,
    light_on_chart,
    read_patches,
    reference_xyz,
)
from contrastkit.camera.polygons import Floats
from contrastkit.camera.read import Photo, read_photo
from contrastkit.camera.tone import tone_from_greys
from contrastkit.columns import Column
from contrastkit.errors import CalibrationError
from contrastkit.light.lightness import luminance_to_lightness

if TYPE_CHECKING:
    import pandas as pd

PATCHES = (
    Column("patch", "int64", "", "number of the patch, row by row from dark skin, 1, to black, 24", 1, 24),
    Column("name", "str", "", "what the patch is called"),
    Column("lightness_reference", "float64", "L*", "nominal lightness of the patch, D50", 0, 100),
    Column("lightness_measured", "float64", "L*", "measured with the chart, by a fit without this patch", 0, None),
    Column("error", "float64", "L*", "measured less reference"),
    Column("lightness_by_greys", "float64", "L*", "measured with the greys alone, without this patch", 0, None),
    Column("error_by_greys", "float64", "L*", "by greys less reference"),
    Column("usable", "bool", "", "true where the patch is visible and not clipped: it counts"),
    Column("clipped", "bool", "", "true where part of it is burnt out, or black"),
    Column("visible", "bool", "", "true where it is in the photograph, even, and about the colour it should be"),
)

_COLOURS = np.arange(24) < GREYS[0]
_LEAST_SIGMA = 0.7  # L*: what charts at hand differ by from nominal, one sigma; no check on one can promise less
_FINE, _FAIR = 1.0, 2.0  # mean error, L*: half a step of a fine grey scale, and one


@dataclass(frozen=True)
class Errors:
    """Errors in L* over some patches: how many count, the mean and the largest in size, and which is largest."""

    count: int
    mean: float
    largest: float
    worst: str

    @classmethod
    def over(cls, table: pd.DataFrame, column: str, counted: NDArray[np.bool_]) -> Errors:
        """Return the errors of a column over the patches counted; nan over none."""
        size = np.where(counted, np.abs(table[column].to_numpy(float)), np.nan)
        if not np.isfinite(size).any():
            return cls(0, float("nan"), float("nan"), "")
        worst = int(np.nanargmax(size))
        return cls(int(np.isfinite(size).sum()), float(np.nanmean(size)), float(size[worst]), str(table["name"][worst]))


@dataclass(frozen=True, eq=False)
class CameraCheck:
    """
    What one photograph of a chart says about a camera.

    Attributes
    ----------
    photo : its file name
    table : one row a patch, columns of `PATCHES`
    colours, greys : errors with the chart calibrating
    colours_by_greys, greys_by_greys : errors with the chart's greys alone calibrating, as a grey scale would
    sigma, sigma_by_greys : standard uncertainty to expect of a coloured piece's lightness, L*, either way
    light_across : how the light changes over the chart, corner to corner; 0.1 is 10 %
    """

    photo: str
    table: pd.DataFrame
    colours: Errors
    greys: Errors
    colours_by_greys: Errors
    greys_by_greys: Errors
    sigma: float
    sigma_by_greys: float
    light_across: float

    @property
    def verdict(self) -> str:
        """Whether to trust the camera, and how far, in plain words."""
        return _verdict(self)


def check_camera(path: str | os.PathLike[str]) -> CameraCheck:
    """
    Return how well a photograph of a 24-patch chart gives the lightness of its patches.

    Nominal values are good to about 2 L* for a chart at hand; nothing finer can be claimed of a camera by them.

    Raises
    ------
    UnreadablePhotoError
        The file is no whole photograph.
    CalibrationError
        There is no chart in it, or the chart is burnt out, veiled, covered or unevenly lit.
    """
    photo = read_photo(Path(path))
    readings = _readings(photo)
    light = light_on_chart(readings)
    even = readings.linear / light.relative[:, None]
    table = _table(even, readings, np.array(photo.space.to_xyz)[1])
    colours, greys = readings.usable & _COLOURS, readings.usable & ~_COLOURS
    return CameraCheck(
        photo.name, table,
        colours=Errors.over(table, "error", colours), greys=Errors.over(table, "error", greys),
        colours_by_greys=Errors.over(table, "error_by_greys", colours),
        greys_by_greys=Errors.over(table, "error_by_greys", greys),
        sigma=_sigma(table, "error", colours), sigma_by_greys=_sigma(table, "error_by_greys", colours),
        light_across=light.across,
    )


def _readings(photo: Photo) -> PatchReadings:
    chart = find_chart((photo.codes if photo.bits == 8 else photo.codes >> 8).astype(np.uint8, copy=False))
    if chart is None:
        raise CalibrationError(
            f"A 24-patch chart must lie whole in the photograph; none was found in {photo.name}. "
            "Go closer, and see that nothing lies on it."
        )
    readings = read_patches(photo.codes, chart, photo.space.luts(photo.bits))
    fault = judge_readings(readings)
    if fault is not None:
        raise CalibrationError(f"The chart in {photo.name} cannot be trusted: {fault}")
    return readings


def _table(even: Floats, readings: PatchReadings, weights: Floats) -> pd.DataFrame:
    import pandas as pd

    usable, reference = readings.usable, LAB[:, 0]
    measured, by_greys = _measured(even, readings, weights)
    return pd.DataFrame({
        "patch": np.arange(1, 25), "name": NAMES, "lightness_reference": reference,
        "lightness_measured": measured, "error": measured - reference,
        "lightness_by_greys": by_greys, "error_by_greys": by_greys - reference,
        "usable": usable, "clipped": readings.clipped, "visible": readings.visible,
    })


def _measured(even: Floats, readings: PatchReadings, weights: Floats) -> tuple[Floats, Floats]:
    """Lightness of each patch with the chart and with its greys alone calibrating, (24,) each; nan where unseen."""
    both = np.full((24, 2), np.nan)
    for patch in np.flatnonzero(readings.visible):
        both[patch] = _one_measured(even, readings.usable & (np.arange(24) != patch), weights, int(patch))
    return both[:, 0], both[:, 1]


def _one_measured(even: Floats, calibrating: NDArray[np.bool_], weights: Floats, patch: int) -> Floats:
    """Lightness of one patch by a calibration on others: with the chart, and with its greys alone."""
    xyz = reference_xyz()
    greys = calibrating & ~_COLOURS
    if greys.sum() < 3:
        return np.full(2, np.nan)  # a grey that cannot be spared
    curve = tone_from_greys(even[greys], xyz[greys, 1])
    own = curve.apply(even[patch])
    correction = fit_correction(curve.apply(even[calibrating]), xyz[calibrating], kind="root-polynomial")
    return _lightness(np.array([correction.apply(own)[1], own @ weights]))


def _lightness(luminance: Floats) -> Floats:
    return np.asarray(luminance_to_lightness(np.maximum(luminance, 0)))


def _sigma(table: pd.DataFrame, column: str, counted: NDArray[np.bool_]) -> float:
    """Root mean square of the errors over the patches counted."""
    errors = table[column].to_numpy(float)[counted]
    return max(float(np.sqrt(np.nanmean(np.square(errors)))), _LEAST_SIGMA)


def _verdict(check: CameraCheck) -> str:
    if check.colours.mean <= _FINE:
        opinion = "With a chart in the photograph this camera measures lightness well"
    elif check.colours.mean <= _FAIR:
        opinion = "With a chart in the photograph this camera is good enough to sort by, not for fine steps"
    else:
        opinion = "Even with a chart in the photograph this camera is not good enough to measure by"
    return (
        f"{opinion}: {check.colours.count} colours err by {check.colours.mean:.1f} L* on average, "
        f"{check.colours.largest:.1f} at most ({check.colours.worst}), so expect ± {check.sigma:.1f}. "
        f"With greys alone it is {check.colours_by_greys.mean:.1f} on average, so expect ± {check.sigma_by_greys:.1f}."
    )
