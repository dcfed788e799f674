"""
Outlines ▸ rows of the swatch table.

Lightness is L* of the linear-light mean of everything inside the outline, the bare rim included: what the eye gets
from across a room. Pixels on the cut edge itself are a mixture with the board; they are left out and the ring next to
them counts for them.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from contrastkit.camera.edges import seen_along
from contrastkit.camera.find import Thing
from contrastkit.camera.greys import linear_of
from contrastkit.camera.polygons import Floats, clockwise, solidity, turn
from contrastkit.camera.read import Photo, codes8
from contrastkit.camera.reference import Calibration
from contrastkit.columns import SWATCHES, empty_table
from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import (
    D65_WHITE,
    lab_to_chroma_hue,
    lightness_to_munsell_value,
    luminance_to_lightness,
    xyz_to_lab,
)
from contrastkit.light.vivid import apparent_range

if TYPE_CHECKING:
    import pandas as pd

# All design choices.
_EDGE = 2  # working pixels along the cut that are mixed with the board
_RING = 5  # working pixels, outer and inner limit of the ring that counts for them
_SAMPLES = 2_000  # pixels of a piece that percentiles and the split are judged on
_SMALL = 80  # full-resolution pixels across, less is too small
_CLIPPED = 0.01  # share of the area at the camera's limit
_GLARE = 0.002  # share of the area that is burnt-out white while the piece is not light
_CRUSHED = 0.2  # share of the area more vivid than the photograph can hold
_UNEVEN = 1.15  # most light over least light across one piece
_LEAST_ACROSS = 8  # working pixels across: in fewer there is nothing but edge
_MOST_CORNERS = 200
_BIMODAL = 0.68  # share of variance that two parts must explain; a single spread of colours reaches 2/pi = 0.64

# Uncertainty in L*, one sigma a cause; sizes fitted once on rendered scenes (DEVELOPERS.md, "How sure").
_SIGMA_TINT, _HALF_TINT = 0.82, 15.0  # camera and eye see colours differently: grows to this, half of it at this chroma
_SIGMA_TONE = 0.22  # per L* away from the only grey of a camera's own picture: 4 to 5 L* on average, as for phones
_SIGMA_STYLE = 0.021  # per unit of chroma, where the camera is known to have restyled the picture
_SIGMA_PLACE = 1.0  # per natural-log unit of light between reference and piece
_SIGMA_OUTLINE = 1.6  # where none of the cut edge shows
# A colour outside the photograph's space has its negative channel cut to 0 and reads too light: by this much, L*, where
# every pixel is cut (mean over rendered scenes of measured reflectances), and this uncertain.
_CRUSHED_BIAS, _SIGMA_CRUSHED = 1.5, 1.5
_SIGMA_SMALL = 75.0  # over the piece's width in full-resolution pixels


@dataclass(frozen=True, eq=False)
class _Pixels:
    """
    One piece: the pixels of its box, their linear light by the calibration's tables, and where they count.

    `weight` is 1 inside, more on the outer ring that stands in for the mixed edge, and 0 elsewhere, over the light that
    falls there: the weighted sum of `linear` over the sum of `share` is the mean in even light.
    """

    codes: NDArray[Any]  # (rows, cols, 3)
    linear: NDArray[np.float32]  # (rows, cols, 3)
    share: NDArray[np.float32]  # (rows, cols)
    weight: NDArray[np.float32]  # (rows, cols)
    depth: NDArray[np.float32]  # (rows, cols) pixels from the cut edge, 0 outside
    light: NDArray[np.float32]  # (rows, cols), 1 where the reference lies


def measure_things(photo: Photo, calibration: Calibration, things: tuple[Thing, ...]) -> pd.DataFrame:
    """
    Return the swatch table of the things given, in reading order, not yet in groups.

    Parameters
    ----------
    photo, calibration : the photograph and what its codes mean
    things : pieces, outlines in working pixels

    Returns
    -------
    DataFrame
        Columns of `columns.SWATCHES`; no things give an empty table.
    """
    stem, width = photo.name.rsplit(".", 1)[0], max(2, len(str(len(things))))
    names = [f"{stem}-{number:0{width}d}" for number in range(1, len(things) + 1)]
    return _table(photo, calibration, reading_order(things), names)


def measure_outlines(photo: Photo, calibration: Calibration, outlines: Mapping[str, ArrayLike]) -> pd.DataFrame:
    """
    Return the swatch table of outlines that were set by hand, in the order given, not yet in groups.

    An outline that was found by itself gives the same row again. How far a hand is to be trusted is seen on the
    photograph: the less of the outline lies on a sharp edge, the larger the sigma.

    Parameters
    ----------
    photo, calibration : the photograph and what its codes mean
    outlines : corners (row, col) of each piece by its name, shape (corners, 2), full-resolution pixels

    Returns
    -------
    DataFrame
        Columns of `columns.SWATCHES`; no outlines give an empty table.

    Raises
    ------
    InvalidInputError
        An outline has fewer than three corners, crosses itself, is too small to measure, or leaves the photograph.
    """
    polygons = [(checked_outline(photo, outlines[name], name) + 0.5) / photo.reduction - 0.5 for name in outlines]
    seen = seen_along(codes8(photo), np.cbrt(photo.space.luts(8)), polygons)
    things = [_thing(photo, polygon, share) for polygon, share in zip(polygons, seen, strict=True)]
    return _table(photo, calibration, things, list(outlines))


def checked_outline(photo: Photo, outline: ArrayLike, name: str) -> Floats:
    """
    Return an outline as an array of (row, col) corners, clockwise, once it can be one.

    Raises
    ------
    InvalidInputError
        As for `measure_outlines`.
    """
    try:
        corners = np.array(outline, float).reshape(-1, 2)
    except (TypeError, ValueError):
        corners = np.zeros((0, 2))
    if not 3 <= len(corners) <= _MOST_CORNERS or not np.isfinite(corners).all():
        raise InvalidInputError(
            f"An outline must have from 3 to {_MOST_CORNERS} corners, a row and a column each; that of {name!r:.80} "
            "has not. Draw it anew."
        )
    if (corners < -0.5).any() or (corners > np.array(photo.size) - 0.5).any():
        raise InvalidInputError(
            f"An outline must lie inside the photograph of {photo.size[0]} rows and {photo.size[1]} columns; that of "
            f"{name!r:.80} does not. Move its corners inside."
        )
    if _crosses_itself(corners):
        raise InvalidInputError(
            f"An outline must not cross itself; that of {name!r:.80} does. Set its corners in order round the piece."
        )
    corners = clockwise(corners)
    if turn(corners) / 2 < (_LEAST_ACROSS * photo.reduction) ** 2:
        raise InvalidInputError(
            f"An outline must be at least {_LEAST_ACROSS * photo.reduction} pixels across to be measured; that of "
            f"{name!r:.80} is smaller. Draw it round the whole piece."
        )
    return corners


def _crosses_itself(corners: Floats) -> bool:
    """Whether two sides of a polygon that are no neighbours meet."""
    start, end = corners, np.roll(corners, -1, axis=0)
    ahead, behind = _side_of(start[:, None], end[:, None], start), _side_of(start[:, None], end[:, None], end)
    parted = ahead * behind <= 0  # [i, j]: the ends of side j lie on both sides of the line through side i
    low, high = np.minimum(start, end), np.maximum(start, end)
    near = ((low[:, None] <= high) & (low <= high[:, None])).all(axis=2)
    step = np.abs(np.subtract.outer(np.arange(len(corners)), np.arange(len(corners))))
    apart = (step > 1) & (step < len(corners) - 1)
    return bool((parted & parted.T & near & apart).any())


def _side_of(start: Floats, end: Floats, point: Floats) -> Floats:
    """On which side of each line each point lies, by sign."""
    along, to = end - start, point - start
    return np.sign(along[..., 0] * to[..., 1] - along[..., 1] * to[..., 0])


def _thing(photo: Photo, outline: Floats, seen: float) -> Thing:
    """What a hand has outlined, in working pixels, as if it had been found."""
    points = outline[:, ::-1].astype(np.float32)
    (_, (width, height), _) = cv2.minAreaRect(points)
    at_frame = bool((outline < 2).any() or (outline > np.array(photo.codes.shape[:2]) - 3).any())
    return Thing(outline, turn(outline) / 2, seen, width * height, max(width, height) / max(min(width, height), 1e-6),
                 solidity(points.round().astype(np.int32)), at_frame, 1.0)


def _table(photo: Photo, calibration: Calibration, things: Sequence[Thing], names: list[str]) -> pd.DataFrame:
    import pandas as pd

    if not things:
        return empty_table(SWATCHES)
    rows = [_measure(photo, calibration, thing) for thing in things]
    columns: dict[str, Any] = {name: [row[name] for row in rows] for name in rows[0]} | {"swatch_id": names}
    columns |= _of_lightness(*(np.array(columns[name]) for name in ("lightness", "chroma", "hue_angle")))
    columns |= {"photo": photo.name, "reference": calibration.kind, "group": "", "borderline": False,
                "group_probability": float("nan")}
    return pd.DataFrame({column.name: pd.Series(columns[column.name], dtype=column.dtype, index=range(len(things)))
                         for column in SWATCHES})


def _of_lightness(lightness: Floats, chroma: Floats, hue: Floats) -> dict[str, Floats]:
    """Columns that follow from lightness, chroma and hue alone."""
    low, high = apparent_range(lightness, chroma, hue)
    return {"munsell_value": np.asarray(lightness_to_munsell_value(lightness)),
            "lightness_apparent_low": np.asarray(low), "lightness_apparent_high": np.asarray(high)}


def reading_order(things: tuple[Thing, ...]) -> list[Thing]:
    """Return things row by row, left to right: a new row begins where nothing overlaps the row's first piece."""
    left = sorted(things, key=lambda thing: float(thing.outline[:, 0].mean()))
    ordered: list[Thing] = []
    while left:
        limit = (float(left[0].outline[:, 0].mean()) + float(left[0].outline[:, 0].max())) / 2
        row = [thing for thing in left if float(thing.outline[:, 0].mean()) <= limit]
        ordered += sorted(row, key=lambda thing: float(thing.outline[:, 1].mean()))
        left = left[len(row):]
    return ordered


def to_full(outline: Floats, reduction: int) -> Floats:
    """Return an outline in full-resolution pixels; whole numbers are the middles of pixels."""
    return (outline + 0.5) * reduction - 0.5


def _measure(photo: Photo, calibration: Calibration, thing: Thing) -> dict[str, Any]:
    pixels = _pixels(photo, calibration, thing.outline)
    xyz = np.maximum(calibration.to_xyz(_mean(pixels)), 0)
    limits = _limits(pixels)
    lightness = float(np.clip(luminance_to_lightness(xyz[1]) - _CRUSHED_BIAS * limits.crushed, 0, 100))
    chroma, hue = _chroma_hue(xyz, calibration.white)
    across = float(np.sqrt(thing.area)) * photo.reduction
    sigma = _sigma(calibration, thing, lightness, chroma, float(pixels.light.mean()), across, limits.crushed)
    uneven = float(pixels.light.max() / max(float(pixels.light.min()), 1e-6)) > _UNEVEN
    return {
        "outline": json.dumps(np.round(to_full(thing.outline, photo.reduction), 1).tolist()),
        "lightness": lightness, "lightness_sigma": sigma, "chroma": chroma, "hue_angle": hue,
        "area": thing.area * photo.reduction**2,
        "flags": "; ".join(_flags(limits, calibration, thing, uneven, across, lightness)),
        **_parts(pixels, calibration),
    }


def _pixels(photo: Photo, calibration: Calibration, outline: Floats) -> _Pixels:
    top, left = np.maximum(np.floor(outline.min(axis=0)).astype(int) - 1, 0)
    bottom, right = np.minimum(np.ceil(outline.max(axis=0)).astype(int) + 2, photo.codes.shape[:2])
    codes = photo.codes[top:max(bottom, top + 1), left:max(right, left + 1)]
    size = (codes.shape[0], codes.shape[1])
    light = np.ones(size, np.float32) if calibration.light is None else _light(photo, calibration, (top, left), size)
    inside = np.zeros(size, np.uint8)
    cv2.fillPoly(inside, [((outline - (top, left))[:, ::-1] * 16).round().astype(np.int32)], 255, cv2.LINE_8, 4)
    depth = np.asarray(cv2.distanceTransform(inside, cv2.DIST_L2, 3))
    edge = min(_EDGE, 0.4 * cv2.minMaxLoc(depth)[1])
    inner = cv2.compare(depth, edge, cv2.CMP_GT)
    ring = cv2.bitwise_and(inner, cv2.compare(depth, edge + _RING - _EDGE, cv2.CMP_LE))
    whole = min(turn(outline) / 2, float(cv2.countNonZero(inside)))  # the drawn outline is half a pixel too wide
    missing = max(whole - cv2.countNonZero(inner), 0.0) / max(cv2.countNonZero(ring), 1)
    share = cv2.addWeighted(inner, 1 / 255, ring, missing / 255, 0.0, dtype=cv2.CV_32F)
    return _Pixels(codes, linear_of(codes, calibration.tables), share, cv2.divide(share, light), depth, light)


def _light(
    photo: Photo, calibration: Calibration, corner: tuple[int, int], size: tuple[int, int]
) -> NDArray[np.float32]:
    """Light over a box, relative to where the reference lies: sampled coarsely, for it is smooth."""
    assert calibration.light is not None
    shape = np.array(photo.codes.shape[:2])
    steps = [max(2, extent // 32 + 1) for extent in size]
    places = [start + (np.arange(count) + 0.5) * extent / count
              for start, count, extent in zip(corner, steps, size, strict=True)]
    rows, cols = ((place - middle) / (shape.max() / 2) for place, middle in zip(places, shape / 2, strict=True))
    coarse = np.exp(calibration.light.at(rows[:, None], cols[None, :])[..., 0]).astype(np.float32)
    return np.asarray(cv2.resize(coarse, (size[1], size[0]), interpolation=cv2.INTER_LINEAR))


def _mean(pixels: _Pixels) -> Floats:
    """Linear-light mean over the whole outline, in even light."""
    whole = max(float(pixels.share.sum()), 1e-6)
    return np.asarray(pixels.weight.ravel() @ pixels.linear.reshape(-1, 3) / whole, float)


def _chroma_hue(xyz: Floats, white: tuple[float, float, float]) -> tuple[float, float]:
    chroma, hue = lab_to_chroma_hue(xyz_to_lab(xyz / np.array(white) * np.array(D65_WHITE)))
    return float(chroma), float(hue)


def _sigma(
    calibration: Calibration, thing: Thing, lightness: float, chroma: float, light_here: float, across: float,
    crushed: float,
) -> float:
    """Standard uncertainty of one piece's lightness: independent causes, added in quadrature."""
    causes = (
        calibration.sigma,
        0.0 if calibration.anchor is None else _SIGMA_TONE * (lightness - calibration.anchor),
        (0.0 if calibration.kind == "chart" else _SIGMA_TINT) * chroma / (chroma + _HALF_TINT),  # a chart tells its own
        _SIGMA_STYLE * chroma * calibration.style,
        _SIGMA_PLACE * float(np.log(max(light_here, 1e-6))),
        _SIGMA_OUTLINE * (1 - thing.confirmed),
        _SIGMA_SMALL / max(across, 1.0),
        _SIGMA_CRUSHED * crushed,
    )
    return float(np.sqrt(np.square(causes).sum()))


@dataclass(frozen=True)
class _Limits:
    """Shares of a piece's area where the camera's numbers ran out."""

    burnt: float  # a channel at its top
    white: float  # all channels near their top
    crushed: float  # a channel at its floor while another is not: a colour outside the photograph's space


def _limits(pixels: _Pixels) -> _Limits:
    every = 4 if min(pixels.share.shape) > 200 else 2
    codes = pixels.codes[::every, ::every][pixels.share[::every, ::every] > 0]
    unit = float(np.iinfo(pixels.codes.dtype).max) / 255
    red, green, blue = codes.T
    least, most = np.minimum(np.minimum(red, green), blue), np.maximum(np.maximum(red, green), blue)
    count = max(len(codes), 1)
    return _Limits(float((most >= 254 * unit).sum() / count), float((least >= 250 * unit).sum() / count),
                   float(((least <= 3 * unit) & (most > 40 * unit)).sum() / count))


def _flags(limits: _Limits, calibration: Calibration, thing: Thing, uneven: bool, across: float, lightness: float
           ) -> list[str]:
    told = {
        "clipped": limits.burnt > _CLIPPED,
        "glare": limits.white > _GLARE and lightness < 85,
        "too vivid": limits.crushed > _CRUSHED,
        "uneven": uneven,
        "too small": across < _SMALL,
        "touches the frame": thing.at_frame,
        "no reference": calibration.kind == "none",
    }
    return [flag for flag, true in told.items() if true]


# --- paint, ground, rim, local range ---------------------------------------------------------------------------------


def _parts(pixels: _Pixels, calibration: Calibration) -> dict[str, float]:
    """Local low and high, paint and ground with coverage, and the rim."""
    every = max(1, int(np.sqrt(cv2.countNonZero(pixels.share) / _SAMPLES)))
    depth, light = pixels.depth[::every, ::every], pixels.light[::every, ::every]
    even = pixels.linear[::every, ::every] / light[..., None]
    edge = min(_EDGE, 0.4 * cv2.minMaxLoc(pixels.depth)[1])
    rim, inner = even[(depth > edge) & (depth <= edge + _RING - _EDGE)], even[depth > edge + _RING - _EDGE]
    sample = np.concatenate([rim, inner]).astype(float)
    if not len(sample):
        sample = even.reshape(-1, 3).astype(float)
    lightness = np.sort(_lightness(sample, calibration))
    low, high = lightness[int(0.05 * (len(lightness) - 1))], lightness[int(0.95 * (len(lightness) - 1))]
    rim_colour = np.median(rim if len(rim) else sample, axis=0).astype(float)
    paint, ground, coverage = _split(inner.astype(float) if len(inner) else sample, rim_colour)
    bare = len(rim) > 0 and _rim_is_bare(rim.astype(float), rim_colour, ground)
    return {
        "lightness_low": float(low), "lightness_high": float(high),
        "lightness_paint": _one(paint, calibration), "lightness_ground": _one(ground, calibration),
        "coverage": coverage, "lightness_rim": _one(rim_colour, calibration) if bare else float("nan"),
    }


def _lightness(linear: Floats, calibration: Calibration) -> Floats:
    return np.asarray(luminance_to_lightness(np.maximum(calibration.to_xyz(linear)[..., 1], 0)))


def _one(linear: Floats | None, calibration: Calibration) -> float:
    return float("nan") if linear is None else float(_lightness(linear, calibration))


def _split(inner: Floats, rim: Floats) -> tuple[Floats | None, Floats | None, float]:
    """
    Paint, ground and coverage: two parts along the axis on which the colours differ most (Otsu's threshold).

    The part nearer the rim is ground. Where there are no two parts it is all paint or, if like the rim, all ground.
    """
    roots = np.cbrt(np.maximum(inner, 0))
    centred = roots - roots.mean(axis=0)
    _, vectors = np.linalg.eigh(centred.T @ centred)
    along = centred @ vectors[:, -1]
    cut, explained = _otsu(along)
    upper = along > cut
    rim_root = np.cbrt(np.maximum(rim, 0))
    if explained < _BIMODAL or not 0.01 < upper.mean() < 0.99 or np.ptp(along) < 0.03:
        whole = inner.mean(axis=0)
        like_rim = np.linalg.norm(np.cbrt(whole) - rim_root) < 0.03
        return (None, whole, 0.0) if like_rim else (whole, None, 1.0)
    parts = inner[upper].mean(axis=0), inner[~upper].mean(axis=0)
    away = [float(np.linalg.norm(np.cbrt(part) - rim_root)) for part in parts]
    paint_up = away[0] > away[1]
    paint, ground = parts if paint_up else parts[::-1]
    return paint, ground, float(upper.mean() if paint_up else 1 - upper.mean())


def _otsu(values: Floats, bins: int = 128) -> tuple[float, float]:
    """Threshold that leaves the least variance within two parts, and the share of variance it explains."""
    low, width = float(values.min()), max(float(np.ptp(values)), 1e-12) / bins
    counts = np.bincount(np.minimum(((values - low) / width).astype(np.int64), bins - 1), minlength=bins)
    edges = low + width * np.arange(bins + 1)
    middles = (edges[:-1] + edges[1:]) / 2
    below, total = np.cumsum(counts), counts.sum()
    sum_below, sum_all = np.cumsum(counts * middles), (counts * middles).sum()
    above = total - below
    with np.errstate(divide="ignore", invalid="ignore"):
        between = below * above * (sum_below / below - (sum_all - sum_below) / above) ** 2 / total**2
    between = np.nan_to_num(between)
    best = int(between.argmax())
    return float(edges[best + 1]), float(between[best] / max(float(values.var()), 1e-12))


def _rim_is_bare(rim: Floats, colour: Floats, ground: Floats | None) -> bool:
    """Whether the outer ring is one even colour, that of the ground where the ground is known."""
    roots = np.cbrt(np.maximum(rim, 0))
    own = np.cbrt(np.maximum(colour, 0))
    even = float(np.median(np.linalg.norm(roots - own, axis=1))) < 0.03
    return even and (ground is None or float(np.linalg.norm(np.cbrt(np.maximum(ground, 0)) - own)) < 0.08)
