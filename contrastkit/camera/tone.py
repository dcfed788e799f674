"""
The tone curve of a photograph, from greys of known luminance that are in it.

A camera does not record light in proportion: it lifts shadows, rolls off highlights and balances the channels.
Greys undo that. Each channel gets one monotone curve from what it reads (decoded by the photograph's colour space)
to what a grey of that reading truly is, so that every grey comes out with three equal, true, linear channels.
Both sides of the curve are kept in lightness, where the steps of a scale are about even; but with the cube root going
on down to black, which is -16 there, instead of the straight piece of L* below 8. On that scale a change of exposure
is a straight line through black, whatever the greys.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from contrastkit.errors import CalibrationError, InvalidInputError

_BLACK = -16.0
# Two readings nearer than this cannot be told apart (L*; an 8-bit code step is at least 0.27 L*) ...
_SAME_READING = 0.3
# ... nor two whose readings differ by less than a twelfth of their true difference: the camera no longer sees a step.
_FLATTEST = 1 / 12
_FEWEST_GREYS = 3

Knots = tuple[NDArray[np.float64], NDArray[np.float64]]  # readings and truth of one channel, on the scale of `_steps`


@dataclass(frozen=True)
class ToneCurve:
    """
    One monotone curve a channel, from linear reading to true linear light.

    Attributes
    ----------
    knots : for red, green, blue: readings and true values where the curve is held, both increasing, both in L* with
        the cube root going on below 8 (black is -16)
    residual : root mean square, in L*, of the error made on each inner grey by a curve fitted without it;
        an end is not left out, since nothing would hold the curve there. nan where every grey is an end.
    """

    knots: tuple[Knots, Knots, Knots]
    residual: float

    def apply(self, linear: ArrayLike) -> NDArray[np.float64]:
        """
        Return true linear light, shape (..., 3), of linear readings of that shape.

        Readings above the lightest grey follow the curve's end slope and may exceed 1; none is below 0.
        """
        values = np.asarray(linear, dtype=float)
        if values.shape[-1:] != (3,):
            raise InvalidInputError(
                f"Readings must have three channels last, shape (..., 3); got shape {values.shape}. "
                "Pass red, green and blue together."
            )
        channels = [_apply_one(values[..., i], self.knots[i]) for i in range(3)]
        return np.stack(channels, axis=-1)

    def lut(self, luts: ArrayLike) -> NDArray[np.float32]:
        """Return the curve applied to decoding tables, shape (3, codes): true linear light of each code."""
        tables = np.asarray(luts, dtype=float)
        if tables.ndim != 2 or tables.shape[0] != 3:
            raise InvalidInputError(
                f"Decoding tables must have shape (3, number of codes); got {tables.shape}. Pass one row a channel."
            )
        return np.stack([_apply_one(tables[i], self.knots[i]) for i in range(3)]).astype(np.float32)


def tone_from_greys(linear: ArrayLike, luminance: ArrayLike, *, certainty: ArrayLike | None = None) -> ToneCurve:
    """
    Return the tone curve through greys of known luminance.

    Through the greys runs a monotone cubic (Fritsch and Carlson 1980). Where noise or flare makes a darker grey
    read no darker than the next, both are pooled into their weighted mean. Above the lightest grey the curve goes on
    along its end slope; below the darkest it runs to black, either to a reading of zero or, where the end slope says
    that flare lifts the shadows, to the reading at which that slope meets black. Exposure is undone exactly.

    Parameters
    ----------
    linear : mean linear reading of each grey, shape (m, 3), 0-1; leave clipped greys out (rows with nan are ignored)
    luminance : known luminance of each grey, shape (m,), 0-1 relative to a perfect white, in any order
    certainty : weight of each grey where they must be pooled, shape (m,); equal where not given

    Raises
    ------
    InvalidInputError
        The shapes do not fit, or a luminance is not between 0 and 1.
    CalibrationError
        Fewer than three greys are left, or their readings do not tell at least three of them apart.

    References
    ----------
    F. N. Fritsch and R. E. Carlson, "Monotone piecewise cubic interpolation", SIAM J. Numer. Anal. 17(2):238-246,
    1980; end slopes and inner slopes as in F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5(2):300-304, 1984.

    Examples
    --------
    A photograph half a stop too dark:

    >>> greys = np.array([0.9, 0.59, 0.36, 0.19, 0.09, 0.03])
    >>> curve = tone_from_greys(np.stack([greys * 0.7] * 3, axis=1), greys)
    >>> [float(round(v, 3)) for v in curve.apply([0.35, 0.35, 0.35])]
    [0.5, 0.5, 0.5]
    """
    readings, truth, weights = _checked(linear, luminance, certainty)
    knots = [_knots(readings[:, i], truth, weights) for i in range(3)]
    for channel, (x, _) in zip(("red", "green", "blue"), knots, strict=True):
        if len(x) < _FEWEST_GREYS:
            raise CalibrationError(
                f"At least {_FEWEST_GREYS} greys must read differently; in the {channel} channel only {len(x)} do. "
                "Photograph the greys again with less glare and no burnt-out parts."
            )
    curves = tuple(_anchored(k) for k in knots)
    return ToneCurve((curves[0], curves[1], curves[2]), _residual(readings, truth, weights))


def _checked(
    linear: ArrayLike, luminance: ArrayLike, certainty: ArrayLike | None
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Readings (m, 3) and truth (m,) on the scale of `_steps`, and weights (m,), from dark to light."""
    readings, truth = np.asarray(linear, dtype=float), np.asarray(luminance, dtype=float)
    weights = np.ones(truth.shape) if certainty is None else np.asarray(certainty, dtype=float)
    if truth.ndim != 1 or readings.shape != (truth.size, 3) or weights.shape != truth.shape:
        raise InvalidInputError(
            "Greys must come as readings of shape (m, 3) with one luminance (and one certainty) each; got "
            f"{readings.shape}, {truth.shape} and {weights.shape}. Pass them in the same order."
        )
    if not np.all((truth >= 0) & (truth <= 1)) or not np.all(weights > 0):
        raise InvalidInputError(
            f"Each grey's luminance must lie in 0-1 and its certainty above 0; got {truth.tolist()} and "
            f"{weights.tolist()}. Divide percentages by 100."
        )
    known = np.isfinite(readings).all(axis=1)
    if known.sum() < _FEWEST_GREYS:
        raise CalibrationError(
            f"A tone curve needs at least {_FEWEST_GREYS} greys that are in the picture and not burnt out; got "
            f"{int(known.sum())}. Photograph the whole scale, with less exposure."
        )
    order = np.argsort(truth[known], kind="stable")
    return _steps(readings[known][order]), _steps(truth[known][order]), weights[known][order]


def _knots(x: NDArray[np.float64], y: NDArray[np.float64], weights: NDArray[np.float64]) -> Knots:
    """Readings and truth, both strictly increasing: neighbours that cannot be told apart become one."""
    pools: list[tuple[float, float, float]] = []
    for reading, truth, weight in zip(x, y, weights, strict=True):
        pool = (float(reading), float(truth), float(weight))
        while pools and _alike(pools[-1], pool):
            pool = _pooled(pools.pop(), pool)
        pools.append(pool)
    columns = np.array(pools)
    return columns[:, 0], columns[:, 1]


def _alike(a: tuple[float, float, float], b: tuple[float, float, float]) -> bool:
    return b[0] - a[0] < max(_SAME_READING, _FLATTEST * (b[1] - a[1]))


def _pooled(a: tuple[float, float, float], b: tuple[float, float, float]) -> tuple[float, float, float]:
    weight = a[2] + b[2]
    return (a[0] * a[2] + b[0] * b[2]) / weight, (a[1] * a[2] + b[1] * b[2]) / weight, weight


def _anchored(knots: Knots) -> Knots:
    """The knots with black below them, where the curve has room to reach it."""
    x, y = knots
    steepness = max(float(_slopes(x, y)[0]), 1e-6)
    black = max(_BLACK, float(x[0] - (y[0] - _BLACK) / steepness))
    if x[0] - black < _SAME_READING:
        return knots
    return np.concatenate([[black], x]), np.concatenate([[_BLACK], y])


def _slopes(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slope of the monotone cubic at each knot (at least two knots)."""
    step, secant = np.diff(x), np.diff(y) / np.diff(x)
    slopes = np.empty_like(x)
    if len(x) == 2:
        return np.full_like(x, secant[0])
    before, after = 2 * step[1:] + step[:-1], step[1:] + 2 * step[:-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        inner = (before + after) / (before / secant[:-1] + after / secant[1:])
    slopes[1:-1] = np.where(secant[:-1] * secant[1:] > 0, inner, 0)
    slopes[0] = _end_slope(step[0], step[1], secant[0], secant[1])
    slopes[-1] = _end_slope(step[-1], step[-2], secant[-1], secant[-2])
    return slopes


def _end_slope(step: float, next_step: float, secant: float, next_secant: float) -> float:
    """Slope of the parabola through three knots at its end, kept between 0 and three times the last secant."""
    slope = ((2 * step + next_step) * secant - step * next_secant) / (step + next_step)
    return float(min(max(slope, 0.0), 3 * secant))


def _apply_one(linear: NDArray[np.float64], knots: Knots) -> NDArray[np.float64]:
    return np.maximum((_follow(_steps(linear), knots) - _BLACK) / 116, 0) ** 3


def _steps(luminance: NDArray[np.float64]) -> NDArray[np.float64]:
    """L* with the cube root going on below 8, down to -16 for black; noise below black counts as black."""
    return np.asarray(116 * np.cbrt(np.maximum(luminance, 0)) + _BLACK)


def _follow(readings: NDArray[np.float64], knots: Knots) -> NDArray[np.float64]:
    """Truth of readings: the cubic between the knots, a line above the last, level below the first."""
    x, y = knots
    slopes = _slopes(x, y)
    left = np.clip(np.searchsorted(x, readings, side="right") - 1, 0, len(x) - 2)
    step = x[left + 1] - x[left]
    t = np.clip((readings - x[left]) / step, 0, 1)
    inside = (
        y[left] * (1 + 2 * t) * (1 - t) ** 2
        + y[left + 1] * t * t * (3 - 2 * t)
        + step * (slopes[left] * t * (1 - t) ** 2 - slopes[left + 1] * t * t * (1 - t))
    )
    return np.asarray(inside + slopes[-1] * np.maximum(readings - x[-1], 0))


def _residual(x: NDArray[np.float64], y: NDArray[np.float64], weights: NDArray[np.float64]) -> float:
    errors = []
    for i in range(1, len(y) - 1):
        others = np.arange(len(y)) != i
        knots = [_knots(x[others, c], y[others], weights[others]) for c in range(3)]
        if min(len(k[0]) for k in knots) >= 2:
            errors.append(np.mean([_follow(x[i, c], knots[c]) for c in range(3)]) - y[i])
    return float(np.sqrt(np.mean(np.square(errors)))) if errors else float("nan")
