"""
The 24-patch chart: found anywhere in a photograph, its patches read, and the readings judged.

Finding goes from cheap to dear, since nearly every photograph has no chart: even, square spots on a lattice (see
`lattice`), then the test that decides, whether the colours on the lattice are the chart's, whichever way it is turned.
Chance squares pass the first test often and the second never.

Positions are (row, column) in pixels, whole numbers in the middle of a pixel. Patches are numbered row by row from 0,
dark skin, to 23, black.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from contrastkit.camera.correction import (
    SRGB_TO_XYZ_D50,
    ColourCorrection,
    Kind,
    fit_correction,
    leave_one_out,
    root_polynomial_terms,
)
from contrastkit.camera.lattice import (
    FEWEST_SPOTS,
    Lattice,
    Spots,
    find_lattices,
    find_spots,
    fit_lattice,
    pitch_at,
    project,
)
from contrastkit.camera.tone import tone_from_greys
from contrastkit.errors import CalibrationError, InvalidInputError
from contrastkit.light.lightness import luminance_to_lightness

# The colour correction lives in a room of its own and is part of this one's face.
__all__ = [
    "Chart", "ChartLight", "ColourCorrection", "D50", "GREYS", "Kind", "LAB", "NAMES", "PatchReadings", "find_chart",
    "fit_correction", "judge_readings", "leave_one_out", "light_on_chart", "read_patches", "reference_xyz",
    "root_polynomial_terms",
]  # fmt: skip

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]

ROWS, COLS = 4, 6
GREYS = tuple(range(18, 24))  # the last row, from white to black
NAMES = (
    "dark skin", "light skin", "blue sky", "foliage", "blue flower", "bluish green",
    "orange", "purplish blue", "moderate red", "purple", "yellow green", "orange yellow",
    "blue", "green", "red", "yellow", "magenta", "cyan",
    "white", "neutral 8", "neutral 6.5", "neutral 5", "neutral 3.5", "black",
)  # fmt: skip

# CIELAB of the patches, illuminant D50, 2 degree observer, relative to the perfect diffuser: the maker's nominal
# values, data set 'ColorChecker24 - After November 2014' as in colour-science 0.4.7 (CCS_COLOURCHECKERS).
# A chart at hand differs from nominal by up to about 2 L*. Lightness under D50 is not quite lightness under D65: up to
# 1.6 L* higher for reds and 1.1 lower for blues and cyans, the same for greys. A fit on this table gives D50 values.
LAB = np.array([
    [37.54, 14.37, 14.92], [64.66, 19.27, 17.50], [49.32, -3.82, -22.54],
    [43.46, -12.74, 22.72], [54.94, 9.61, -24.79], [70.48, -32.26, -0.37],
    [62.73, 35.83, 56.50], [39.43, 10.75, -45.17], [50.57, 48.64, 16.67],
    [30.10, 22.54, -20.87], [71.77, -24.13, 58.19], [71.51, 18.24, 67.37],
    [28.37, 15.42, -49.80], [54.38, -39.72, 32.27], [42.43, 51.05, 28.62],
    [81.80, 2.67, 80.41], [50.63, 51.28, -14.12], [49.57, -29.71, -28.32],
    [95.19, -1.03, 2.93], [81.29, -0.57, 0.44], [66.89, -0.75, -0.06],
    [50.76, -0.13, 0.14], [35.63, -0.46, -0.48], [20.64, 0.07, -0.46],
])  # fmt: skip
# ICC.1:2010 profile connection space, table 14: X, Y, Z of D50.
D50 = np.array([0.9642, 1.0, 0.8249])

_WORKING = 1100  # longest side the search works at; larger pictures are reduced first
_SHRINKS = (3, 1)  # large patches first: that look costs a ninth of the other
_EDGE = 12.0  # an 8-bit step between neighbouring pixels that counts as an edge; noise stays below
_LARGEST_ZOOM = 3.0  # of a box that is said to contain a chart
_BOX_MARGIN = 1 / 12  # by which such a box is widened: patches must clear its edges
_FEWEST_SEEN = 16  # a row of six cut off and two more patches covered
_LIKELY = 0.55  # mean correlation with the chart's colours, below which the full comparison is spared
_READ = 0.6  # side of the middle that is read, as a share of the patch's
_ENOUGH_INSIDE = 0.25  # share of that middle that must be in the photograph
_MOST_SAMPLES = 64  # along each side of it
_FEW = 0.05  # share of its pixels that may be clipped
_FOLD = 40  # samples from one patch's middle to the next
_REACH = 12  # of them: how far a patch's middle may be off its place
_FAINT_EDGE = 12.0  # sum over the channels of an 8-bit step, below which an edge says nothing
_FRAME = 0.05  # margin of the outline beyond half a patch, in distances between patches
_USUAL_TILT = 0.05  # logarithm of the light from the middle of the chart to its edge: 10 % across
_CHANCE = 5.99  # chi-squared of two unknowns that chance exceeds one time in twenty
_MOST_VEIL = 0.08  # light mirrored in the chart, relative to a perfect white
_FEWEST_FOR_LIGHT = 12  # patches, to tell uneven light from colours
_MOST_UNEVEN = 0.4  # of the light, corner to corner
_CORNERS = (0, 5, 23, 18)
_CELLS = np.stack(np.meshgrid(range(ROWS), range(COLS), indexing="ij"), axis=-1).reshape(-1, 2)
_GRID = np.stack(np.meshgrid(*[np.linspace(-0.5, 0.5, 9)] * 2, indexing="ij"), axis=-1).reshape(-1, 2)
_MIDDLE = 0.4 * _GRID[::2]
_NUMBERS = np.arange(24).reshape(ROWS, COLS)
_TURNS = tuple(np.rot90(_NUMBERS, turns) for turns in range(4))  # never mirrored: no chart can be


@dataclass(frozen=True)
class Chart:
    """
    A 24-patch chart in a photograph.

    Attributes
    ----------
    corners : (4, 2) row and column of the centres of patches 0, 5, 23 and 18: clockwise as the chart is printed
    centres : (24, 2) row and column of every patch's centre, those outside the photograph too
    outline : (4, 2) corners of the patch area grown by half a patch and a little, which about covers the frame round
        it; clockwise from the corner at patch 0
    patch : side of a patch, pixels
    visible : (24,) true where at least a quarter of a patch's middle is in the photograph, and what is there is even
        and about the colour that the other patches lead to expect
    agreement : 0-1, how well the colours fit the chart's: share of their variance explained
    """

    corners: Floats
    centres: Floats
    outline: Floats
    patch: float
    visible: NDArray[np.bool_]
    agreement: float

    def scaled(self, factor: float) -> Chart:
        """Return the same chart in the pixels of a photograph `factor` times as large."""
        moved = {name: (getattr(self, name) + 0.5) * factor - 0.5 for name in ("corners", "centres", "outline")}
        return replace(self, **moved, patch=self.patch * factor)

    def shifted(self, corner: tuple[float, float]) -> Chart:
        """Return the same chart in a photograph that has `corner` (row, column) where this one has its first pixel."""
        moved = {name: getattr(self, name) + corner for name in ("corners", "centres", "outline")}
        return replace(self, **moved)


def find_chart(codes: NDArray[np.uint8], *, at: Box | None = None) -> Chart | None:
    """
    Return the 24-patch chart in a photograph, or None where there is none.

    The chart may be turned any way, seen at a slant, short of one outer row or column, and partly covered. Patches
    must be at least about 12 pixels apart in the picture or, where that is longer than 1100 pixels, in it reduced
    to that. Of two charts one is found.

    Parameters
    ----------
    codes : 8-bit picture, shape (rows, columns, 3), in any RGB space
    at : row, column, row, column of two opposite corners of a box that contains the chart, to look only there and
        longer; small boxes are enlarged, so patches may be smaller

    Raises
    ------
    InvalidInputError
        The picture is not 8-bit with three channels, or the box lies outside it.

    Examples
    --------
    >>> find_chart(np.full((300, 400, 3), 128, np.uint8)) is None
    True
    """
    _check_picture(codes)
    part, corner = (codes, (0, 0)) if at is None else _part(codes, at)
    factor = min(1.0 if at is None else _LARGEST_ZOOM, _WORKING / max(part.shape[:2]))
    picture = _resized(part, factor)
    for chart in _charts(picture, (_EDGE,) if at is None else (_EDGE, 2 * _EDGE, _EDGE / 2)):
        return chart.scaled(1 / factor).shifted(corner)
    return None


def _check_picture(codes: NDArray[np.uint8]) -> None:
    if codes.dtype != np.uint8 or codes.ndim != 3 or codes.shape[2] != 3 or 0 in codes.shape:
        raise InvalidInputError(
            f"The picture must be 8-bit with shape (rows, columns, 3); got {codes.dtype} {codes.shape}. "
            "Convert it to 8-bit RGB first."
        )


def _part(codes: NDArray[np.uint8], at: Box) -> tuple[NDArray[np.uint8], tuple[int, int]]:
    """The part of the picture in the box, a little widened, and its top row and left column."""
    ends = np.sort(np.array([at[:2], at[2:]], dtype=float), axis=0)
    size = np.array(codes.shape[:2])
    clipped = np.clip(ends, 0, size - 1)
    if not np.all(clipped[1] - clipped[0] >= 2 * COLS):
        raise InvalidInputError(
            f"The box round the chart must lie in the picture of {size[0]} by {size[1]} pixels and be at least "
            f"{2 * COLS} pixels wide and high; got {tuple(map(float, at))}. "
            "Give row, column, row, column of two opposite corners."
        )
    margin = (ends[1] - ends[0]) * _BOX_MARGIN
    (top, left), (bottom, right) = np.clip([ends[0] - margin, ends[1] + margin + 1], 0, size).astype(int).tolist()
    return codes[top:bottom, left:right], (top, left)


def _resized(picture: NDArray[np.uint8], factor: float) -> NDArray[np.uint8]:
    if factor == 1:
        return np.ascontiguousarray(picture)
    size = (max(1, round(picture.shape[1] * factor)), max(1, round(picture.shape[0] * factor)))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC))


def _charts(picture: NDArray[np.uint8], edges: tuple[float, ...]) -> Iterator[Chart]:
    """Charts in a picture, looked for with each strength of edge in turn."""
    for edge in edges:
        for shrink in _SHRINKS:
            spots = find_spots(picture, edge, shrink)
            for lattice in find_lattices(spots):
                chart = _match(picture, spots, lattice)
                if chart is not None:
                    yield chart


def reference_xyz() -> Floats:
    """
    Return X, Y, Z (D50, 2 degree observer, white 1) of the 24 patches, shape (24, 3), from their nominal CIELAB.

    >>> float(round(reference_xyz()[18, 1], 3))
    0.881
    """
    fy = (LAB[:, 0] + 16) / 116
    f = np.column_stack([fy + LAB[:, 1] / 500, fy, fy - LAB[:, 2] / 200])
    return np.asarray(D50 * np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)))


# ---- the colours on a lattice --------------------------------------------------------------------------------------


def _expected_codes() -> tuple[Floats, Floats]:
    """
    The patches as sRGB would encode them, 0-1, shape (24, 3), and how far each lies outside what sRGB can show (24,).

    A pattern to compare with, not to measure by.
    """
    linear = reference_xyz() @ np.linalg.inv(SRGB_TO_XYZ_D50).T
    size = np.abs(linear)
    codes = np.sign(linear) * np.where(size <= 0.0031308, 12.92 * size, 1.055 * size ** (1 / 2.4) - 0.055)
    shown = np.clip(codes, 0, 1)
    return shown, np.linalg.norm(codes - shown, axis=1)


_EXPECTED, _OUTSIDE = _expected_codes()


def _match(picture: NDArray[np.uint8], spots: Spots, lattice: Lattice) -> Chart | None:
    """The chart on a lattice, where one of its placements has the chart's colours."""
    places = _placements(lattice)
    if not len(places):
        return None
    colours = _colours(picture, lattice.to_pixels, places)
    likeness = _likeness(colours)
    best = int(likeness.argmax())
    if likeness[best] < _LIKELY or not _enough(_agreement(colours[best])[0], colours[best]):
        return None
    return _finish(picture, spots, lattice, places[best])


def _placements(lattice: Lattice) -> NDArray[np.int64]:
    """Cells of the 24 patches for every way the chart can lie on the lattice, shape (ways, 24, 2)."""
    ways = []
    for turned in _TURNS:
        cells = np.argwhere(np.ones_like(turned))[np.argsort(turned.ravel())]
        size, low, high = cells.max(axis=0), lattice.cells.min(axis=0), lattice.cells.max(axis=0)
        spare = high - size
        for i in range(min(low[0], spare[0]), max(low[0], spare[0]) + 1):
            for j in range(min(low[1], spare[1]), max(low[1], spare[1]) + 1):
                inside = np.all((lattice.cells >= (i, j)) & (lattice.cells <= size + (i, j)), axis=1)
                if inside.sum() >= FEWEST_SPOTS:
                    ways.append(cells + (i, j))
    return np.array(ways, dtype=np.int64).reshape(-1, 24, 2)


def _colours(picture: NDArray[np.uint8], to_pixels: Floats, places: NDArray[np.int64]) -> Floats:
    """Mean colour (0-1) of the middle of each cell, shape (ways, 24, 3); nan where it lies outside the picture."""
    cells, back = np.unique(places.reshape(-1, 2), axis=0, return_inverse=True)
    points = project(to_pixels, (cells[:, None] + _MIDDLE).reshape(-1, 2))
    values = _seen_mean(_pick(picture, points).reshape(len(cells), len(_MIDDLE), 3)) / 255
    return np.asarray(values[back.ravel()].reshape(*places.shape[:2], 3))


def _seen_mean(values: Floats) -> Floats:
    """Mean (n, 3) of values (n, points, 3); nan where less than a quarter of the points are in the picture."""
    seen = np.isfinite(values)
    count = seen.sum(axis=1)
    total = np.where(seen, values, 0).sum(axis=1)
    return np.where(count >= _ENOUGH_INSIDE * values.shape[1], total / np.maximum(count, 1), np.nan)


def _pick(picture: NDArray[np.generic], points: Floats) -> Floats:
    """Pixels at points (n, 2), shape (n, 3); nan outside."""
    row, col = np.rint(points).astype(int).T
    inside = (row >= 0) & (col >= 0) & (row < picture.shape[0]) & (col < picture.shape[1])
    values = np.full((len(points), 3), np.nan)
    values[inside] = picture[row[inside], col[inside]]
    return values


def _likeness(colours: Floats) -> Floats:
    """How well colours (ways, 24, 3) follow the chart's: mean correlation over the channels, -1 where too few show."""
    seen = np.asarray(np.isfinite(colours).all(axis=2))[..., None]
    count = np.maximum(seen.sum(axis=1, keepdims=True), 1)
    a, b = np.where(seen, colours, 0), np.where(seen, _EXPECTED, 0)
    a, b = (np.where(seen, v - v.sum(axis=1, keepdims=True) / count, 0) for v in (a, b))
    power = np.sqrt((a * a).sum(axis=1) * (b * b).sum(axis=1))
    mean = ((a * b).sum(axis=1) / np.maximum(power, 1e-9)).mean(axis=1)
    return np.where(seen.sum(axis=(1, 2)) >= _FEWEST_SEEN, mean, -1)


def _agreement(colours: Floats) -> tuple[float, Floats]:
    """
    Share of the chart's colour variance that colours (24, 3) explain, and what is left over (24, 3).

    Each channel may be stretched and shifted freely, and all bent alike: exposure, white balance, contrast and a veil
    do not count. The three worst patches do not count either: a thumb may cover them.
    """
    tries = [_explained(colours**bend) for bend in (0.6, 1, 1.6)]
    return max(tries, key=lambda result: result[0])


def _explained(colours: Floats) -> tuple[float, Floats]:
    seen = np.isfinite(colours).all(axis=1)
    left = np.full(colours.shape, np.nan)
    if seen.sum() < _FEWEST_SEEN:
        return 0.0, left
    left[seen] = np.column_stack([_robust_line(colours[seen, c], _EXPECTED[seen, c]) for c in range(3)])
    counted = np.flatnonzero(seen)[np.argsort((left[seen] ** 2).sum(axis=1))[:-3]]
    total = ((_EXPECTED[counted] - _EXPECTED[counted].mean(axis=0)) ** 2).sum()
    return float(np.clip(1 - (left[counted] ** 2).sum() / total, 0, 1)), left


def _enough(agreement: float, colours: Floats) -> bool:
    """
    Whether the agreement cannot be chance.

    Of 50 000 random or shuffled sets of 24 colours the best reached 0.49; of sets of 16 colours 0.67.
    """
    return agreement >= 0.70 + 0.02 * float(np.isnan(colours).any(axis=1).sum())


def _robust_line(x: Floats, y: Floats) -> Floats:
    """What a line through (x, y) that outliers sway little leaves over."""
    weights = np.ones(len(x))
    for _ in range(4):
        share = weights / weights.sum()
        dx, dy = x - share @ x, y - share @ y
        left = dy - max((share * dx) @ dy / max((share * dx) @ dx, 1e-9), 0.0) * dx
        weights = 1 / (1 + (left / 0.1) ** 2)
    return np.asarray(left)


def _finish(picture: NDArray[np.uint8], spots: Spots, lattice: Lattice, place: NDArray[np.int64]) -> Chart:
    """The chart with its lattice fitted once more, on every spot that is a patch and then on the patches' edges."""
    to_pixels = _refit(spots, lattice.to_pixels, place)
    for _ in range(2):
        to_pixels = _settled(picture, to_pixels, place)
    share = _patch_share(_edges(picture, to_pixels, place))
    middle = (place[:, None] + share * _READ * _GRID).reshape(-1, 2)
    values = _pick(picture, project(to_pixels, middle)).reshape(24, -1, 3) / 255
    agreement, left = _agreement(_seen_mean(values))
    centres, ends = project(to_pixels, place), place[list(_CORNERS)].astype(float)
    grown = ends + np.sign(ends - ends.mean(axis=0)) * (share + _FRAME)
    return Chart(
        corners=centres[list(_CORNERS)],
        centres=centres,
        outline=project(to_pixels, grown),
        patch=share * float(np.median(pitch_at(to_pixels, place))),
        visible=_visible(values, left),
        agreement=agreement,
    )


def _visible(values: Floats, left: Floats) -> NDArray[np.bool_]:
    """Patches whose middle (24, points, 3) can be read, is even, and has about the colour the others lead to expect."""
    off = np.sqrt((left**2).sum(axis=1))
    seen = np.isfinite(off)
    spread = np.full(24, np.inf)
    spread[seen] = np.nanstd(values[seen], axis=1).max(axis=1)
    even = spread < max(0.035, 3.5 * float(np.median(spread[seen])))
    expected = off < max(0.25, 4 * float(np.median(off[seen]))) + _OUTSIDE
    return np.asarray(seen & even & expected)


def _refit(spots: Spots, to_pixels: Floats, place: NDArray[np.int64]) -> Floats:
    """The homography from cells to pixels, fitted on the spots nearest to the patches' expected centres."""
    apart = np.linalg.norm(project(to_pixels, place)[:, None] - spots.centres[None, :], axis=2)
    nearest = apart.argmin(axis=1)
    close = apart[np.arange(24), nearest] < 0.2 * pitch_at(to_pixels, place)
    return fit_lattice(place[close], spots.centres[nearest[close]], spots.sides[nearest[close]], rounds=6)


def _settled(picture: NDArray[np.uint8], to_pixels: Floats, place: NDArray[np.int64]) -> Floats:
    """The homography once more, fitted on where the edges of each patch say its middle is."""
    edges = _edges(picture, to_pixels, place)
    half = round(_patch_share(edges) * _FOLD / 2)
    shifts = np.arange(-_REACH, _REACH + 1)
    middle = _FOLD + shifts
    pairs = np.minimum(edges[..., middle - half - 1], edges[..., middle + half])  # both sides must be there
    best = pairs.argmax(axis=2)
    sure = (pairs.max(axis=2) > _FAINT_EDGE).all(axis=0)
    if sure.sum() < FEWEST_SPOTS:
        return to_pixels
    moved = place[sure] + shifts[best[:, sure].T] / _FOLD
    return fit_lattice(place[sure], project(to_pixels, moved), pitch_at(to_pixels, place[sure]), rounds=6)


def _edges(picture: NDArray[np.uint8], to_pixels: Floats, place: NDArray[np.int64]) -> Floats:
    """
    Strength of the edges along the rows and the columns of each patch, shape (2, 24, 2 * _FOLD).

    From the middle of one neighbour through the patch to the middle of the other; 0 outside the picture.
    """
    steps, profiles = np.linspace(-1, 1, 2 * _FOLD + 1), []
    for along in np.eye(2):
        grid = steps[:, None, None] * along + np.linspace(-0.25, 0.25, 5)[:, None] * along[::-1]
        points = project(to_pixels, (place[:, None, None] + grid).reshape(-1, 2))
        values = _pick(picture, points).reshape(24, len(steps), 5, 3).mean(axis=2)
        profiles.append(np.nan_to_num(np.abs(np.diff(values, axis=1)).sum(axis=2)))
    return _smoothed(np.array(profiles))


def _smoothed(profiles: Floats) -> Floats:
    """Each value with half its neighbours': steps of a few samples' width add up."""
    padded = np.pad(profiles, [(0, 0), (0, 0), (2, 2)])
    return np.asarray(
        sum(padded[..., i : i + profiles.shape[2]] * w for i, w in enumerate((0.25, 0.75, 1, 0.75, 0.25)))
    )


def _patch_share(edges: Floats) -> float:
    """Side of a patch as a share of the distance between patches: where the edges are, all patches laid together."""
    profile = edges.sum(axis=(0, 1))
    outwards = (profile + profile[::-1])[_FOLD : _FOLD + _FOLD // 2]
    where = (np.arange(len(outwards)) + 0.5) / _FOLD
    strong = np.where((where > 0.3) & (outwards > outwards[where > 0.3].max() / 2), outwards, 0)
    return float(2 * (strong * where).sum() / strong.sum())


# ---- reading -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class PatchReadings:
    """
    What the 24 patches of a chart read.

    Attributes
    ----------
    linear : (24, 3) mean linear light of the middle of each patch; nan where less than a quarter of it is in the
        photograph
    spread : (24,) standard deviation over the middle, of the three channels' mean, as a share of that mean
    clipped : (24,) true where more than 5 % of the middle is burnt out in a channel, or black in all of them
    visible : (24,) as of the chart, where it can be read
    """

    linear: Floats
    spread: Floats
    clipped: NDArray[np.bool_]
    visible: NDArray[np.bool_]

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Patches to calibrate on, (24,): visible and not clipped."""
        return self.visible & ~self.clipped


def read_patches(codes: NDArray[np.unsignedinteger], chart: Chart, luts: ArrayLike) -> PatchReadings:
    """
    Return the mean linear light of the middle of each patch (a square of 0.6 of its side).

    Parameters
    ----------
    codes : 8- or 16-bit picture, shape (rows, columns, 3)
    chart : the chart in the pixels of that picture; see `Chart.scaled` where it was found in a smaller one
    luts : linear light (0-1) of every code of each channel, shape (3, 256) or (3, 65536)

    Raises
    ------
    InvalidInputError
        The tables do not fit the pixels.
    """
    tables = np.asarray(luts, dtype=float)
    levels = np.iinfo(codes.dtype).max + 1 if np.issubdtype(codes.dtype, np.unsignedinteger) else 0
    if tables.shape != (3, levels):
        raise InvalidInputError(
            f"The tables must have three rows of as many values as the pixels have codes; got {tables.shape} for "
            f"{codes.dtype} pixels. Make them for 8 or 16 bits, as the picture has."
        )
    picked = _pick(codes, _reading_points(chart).reshape(-1, 2)).reshape(24, -1, 3)
    light = _decoded(picked, tables)
    linear = _seen_mean(light)
    known = np.isfinite(linear).all(axis=1)
    spread = np.full(24, np.nan)
    spread[known] = np.nanstd(light[known].mean(axis=2), axis=1) / np.maximum(linear[known].mean(axis=1), 1e-6)
    return PatchReadings(linear, spread, _clipped(picked, levels), chart.visible & known)


def _decoded(picked: Floats, tables: Floats) -> Floats:
    """Linear light of codes (..., 3); nan stays nan."""
    seen = np.isfinite(picked)
    whole = np.where(seen, picked, 0).astype(np.int64)
    return np.where(seen, np.stack([tables[c][whole[..., c]] for c in range(3)], axis=-1), np.nan)


def _reading_points(chart: Chart) -> Floats:
    """Points of a fine even grid over the middle of each patch, (24, n, 2)."""
    to_pixels = fit_lattice(_CELLS, chart.centres, np.full(24, chart.patch), rounds=2)
    share = chart.patch / float(np.median(pitch_at(to_pixels, _CELLS)))
    count = int(np.clip(round(_READ * chart.patch), 3, _MOST_SAMPLES))
    steps = ((np.arange(count) + 0.5) / count - 0.5) * _READ * share
    grid = np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1).reshape(-1, 2)
    return project(to_pixels, (_CELLS[:, None] + grid).reshape(-1, 2)).reshape(24, -1, 2)


def _clipped(picked: Floats, levels: int) -> NDArray[np.bool_]:
    """Patches burnt out in a channel or black in all; a vivid colour may well have one channel at zero."""
    known = np.maximum(np.isfinite(picked).all(axis=2).sum(axis=1), 1)
    burnt = (picked >= (levels - 1) * 254 / 255).sum(axis=1).max(axis=1) / known
    black = (picked <= (levels - 1) / 255).all(axis=2).sum(axis=1) / known
    return np.asarray((burnt > _FEW) | (black > _FEW))


# ---- light and trust -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ChartLight:
    """
    How evenly the chart is lit.

    Attributes
    ----------
    relative : (24,) light on each patch, relative to the chart's middle
    across : lightest corner over darkest, minus 1
    """

    relative: Floats
    across: float


def light_on_chart(readings: PatchReadings) -> ChartLight:
    """
    Return how the light changes over the chart, as a plane in the logarithm of light.

    The plane is the one that lets a tone curve through the greys and a matrix explain the colours best; it leans
    towards even light, as by one measurement that the light changes by less than about 10 % over the chart.
    Divide the readings by `relative` before calibrating, unless the light has been evened out already.

    Raises
    ------
    CalibrationError
        Fewer than three greys or too few patches are usable.
    """
    place = 2 * _CELLS / (ROWS - 1, COLS - 1) - 1
    tilt = np.zeros(2)
    for _ in range(4):
        tilt, significance = _better_tilt(readings, place, tilt)
    if significance < _CHANCE:
        tilt = np.zeros(2)
    return ChartLight(np.exp(place @ tilt), float(np.exp(2 * np.abs(tilt).sum()) - 1))


def _better_tilt(readings: PatchReadings, place: Floats, tilt: Floats) -> tuple[Floats, float]:
    """One robust Gauss-Newton step, and the chi-squared by which the tilt differs from none."""
    base, step = _misfit(readings, place @ tilt), 0.01
    slope = np.column_stack([(_misfit(readings, place @ (tilt + d)) - base) / step for d in step * np.eye(2)])
    scale = max(1.4826 * float(np.median(np.abs(base))), 0.5)
    trust = 1 / (1 + (base / (2 * scale)) ** 2) / scale**2
    normal = (slope.T * trust) @ slope + np.eye(2) / _USUAL_TILT**2
    change = np.linalg.solve(normal, (slope.T * trust) @ base + tilt / _USUAL_TILT**2)
    better = np.clip(tilt - change, -0.5, 0.5)
    return better, float(better @ normal @ better)


def _misfit(readings: PatchReadings, tilt: Floats) -> Floats:
    """Errors in L* of the usable patches after a calibration on them, were the light tilted so."""
    usable, xyz = readings.usable, reference_xyz()
    linear = readings.linear / np.exp(tilt)[:, None]
    greys = np.array([g for g in GREYS if usable[g]])
    if len(greys) < 3:
        raise CalibrationError(_TOO_FEW_GREYS.format(len(greys)))
    rgb = tone_from_greys(linear[greys], xyz[greys, 1]).apply(linear[usable])
    fit = fit_correction(rgb, xyz[usable], kind="matrix")
    return np.asarray(luminance_to_lightness(np.maximum(fit.apply(rgb)[:, 1], 0)) - LAB[usable, 0])


def judge_readings(readings: PatchReadings) -> str | None:
    """
    Return why a chart's readings must not be trusted, in a sentence with what to do, or None where they may.

    Burnt-out white alone is no reason, as long as the next grey is not: lightness above it is then a guess of the tone
    curve, and swatches that light deserve a warning.

    >>> white = PatchReadings(np.ones((24, 3)), np.zeros(24), np.ones(24, bool), np.ones(24, bool))
    >>> judge_readings(white)[:44]
    "The chart's white and its lightest grey are "
    """
    usable = readings.usable
    greys = [g for g in GREYS if usable[g]]
    if readings.clipped[18] and readings.clipped[19]:
        return "The chart's white and its lightest grey are burnt out: photograph it again with less exposure."
    if len(greys) < 3:
        return _TOO_FEW_GREYS.format(len(greys))
    return _judge_greys(readings, greys) or _judge_light(readings)


def _judge_greys(readings: PatchReadings, greys: list[int]) -> str | None:
    known, read = reference_xyz()[:, 1], readings.linear.mean(axis=1)
    if np.any(np.diff(read[greys]) >= 0):
        return "The chart's greys do not get darker from white to black: see that nothing mirrors in it or shades it."
    light, dark = greys[0], greys[-1]
    ratio = read[dark] / read[light]
    veil = (ratio * known[light] - known[dark]) / (1 - ratio)
    if veil > _MOST_VEIL:
        return (
            f"The chart's {NAMES[dark]} reads {100 * ratio:.0f} % of its {NAMES[light]}, where "
            f"{100 * known[dark] / known[light]:.0f} % is right: light is mirrored in the chart. "
            "Tilt it or move the lamp, and photograph it again."
        )
    return None


def _judge_light(readings: PatchReadings) -> str | None:
    if readings.usable.sum() < _FEWEST_FOR_LIGHT:
        return None
    try:
        across = light_on_chart(readings).across
    except CalibrationError as error:  # a channel in which the greys read alike
        return str(error)
    if across > _MOST_UNEVEN:
        return (
            f"The light changes by about {100 * across:.0f} % from one corner of the chart to the other; no more than "
            f"{100 * _MOST_UNEVEN:.0f} % can be evened out. Move the lamp further away or use open shade."
        )
    return None


_TOO_FEW_GREYS = (
    "At least 3 of the chart's 6 greys must be in the photograph and not burnt out; {} are. "
    "Photograph the whole chart again, with less exposure."
)
