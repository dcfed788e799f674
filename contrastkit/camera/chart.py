"""
The 24-patch chart: found anywhere in a photograph, its patches read, and the colour correction fitted on them.

Finding goes from cheap to dear, since nearly every photograph has no chart: even, roughly square spots; enough of
them alike and side by side; a lattice through them; and last the test that decides, whether the colours on the
lattice are the chart's, whichever way it is turned. Chance squares pass the first tests often and the last never.

Positions are (row, column) in pixels, whole numbers in the middle of a pixel. Patches are numbered row by row from 0,
dark skin, to 23, black.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from contrastkit.camera.tone import tone_from_greys
from contrastkit.errors import CalibrationError, InvalidInputError
from contrastkit.light.lightness import luminance_to_lightness

Floats = NDArray[np.float64]
Kind = Literal["matrix", "root-polynomial"]

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
# A chart at hand differs from nominal by up to about 2 L*. Lightness under D50 is not quite lightness under D65:
# up to 1.6 L* higher for reds and 1.2 lower for blues; greys are the same. Whoever fits on this table gets D50 values.
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

_SHRINK = 3  # the coarse look is at a third of the size
_WORKING = 1100  # longest side the search works at; larger pictures are reduced first
_EDGE = 12  # an 8-bit step between neighbouring pixels that counts as an edge; noise stays below
_FAINT = 0.2
_EROSION = 2.5  # pixels a spot's side loses to its edges
_SMALLEST = 12  # area of the smallest spot, pixels
_FEWEST_SPOTS = 8
_MOST_ALIKE = 24
_MOST_SPOTS = 300
_MOST_SEEDS = 12
_FEWEST_SEEN = 16
_FEWEST_HUES = 5
_LIKELY = 0.55
_READ = 0.6
_ENOUGH_INSIDE = 0.25
_MOST_SAMPLES = 64
_FEW = 0.05
_FINEST = 0.003  # cube root of light: about 0.35 L*
_LEAN = (0.006 / 0.1) ** 2  # an error of 0.7 L* against a doubt of 0.1 about each coefficient of the sRGB matrix
_USUAL_TILT = 0.05
_CHANCE = 5.99  # chi-squared of two unknowns that chance exceeds once in twenty times
_MOST_VEIL = 0.08
_MOST_UNEVEN = 0.35
DEBUG=0
_FOLD = 40
_FRAME = 0.05
_CORNERS = (0, 5, 23, 18)
_KERNEL3, _KERNEL9 = np.ones((3, 3), np.uint8), np.ones((9, 9), np.uint8)
_GRID = np.stack(np.meshgrid(*[np.linspace(-0.5, 0.5, 9)] * 2, indexing="ij"), axis=-1).reshape(-1, 2)
_MIDDLE = 0.4 * _GRID[::2]


def _turns() -> list[NDArray[np.int64]]:
    """Cells (24, 2) of the patches for the four ways to turn the chart; never mirrored, which no chart can be."""
    upright = np.stack(np.meshgrid(range(ROWS), range(COLS), indexing="ij"), axis=-1).reshape(-1, 2)
    quarter = np.array([[0, 1], [-1, 0]])
    turned = [upright @ np.linalg.matrix_power(quarter, n) for n in range(4)]
    return [t - t.min(axis=0) for t in turned]


_TURNS = _turns()


@dataclass(frozen=True)
class Chart:
    """
    A 24-patch chart in a photograph.

    Attributes
    ----------
    corners : (4, 2) row and column of the centres of patches 0, 5, 23 and 18: clockwise as the chart is printed
    centres : (24, 2) row and column of every patch's centre, those outside the photograph too
    outline : (4, 2) corners of the whole chart with its frame, about, clockwise from the corner at patch 0
    patch : side of a patch, pixels
    visible : (24,) true where a patch lies whole inside the photograph, is even, and is of the expected colour
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


@dataclass(frozen=True)
class _Spots:
    """Even, roughly square spots: centres (n, 2) as row and column, sides (n,), and whether each meets the frame."""

    centres: Floats
    sides: Floats

    def __len__(self) -> int:
        return len(self.sides)


@dataclass(frozen=True)
class _Lattice:
    """Spots on a lattice: their cells (n, 2), which spots they are, and the homography from cells to pixels."""

    cells: NDArray[np.int64]
    members: NDArray[np.int64]
    to_pixels: Floats


def find_chart(
    codes: NDArray[np.uint8], *, at: tuple[float, float, float, float] | None = None
) -> Chart | None:
    """
    Return the 24-patch chart in a photograph, or None where there is none.

    The chart may be turned any way, seen at a slant, short of one outer row or column, and partly covered.
    Pictures longer than 1100 pixels are reduced for the search; the answer is in the pixels given.

    Parameters
    ----------
    codes : 8-bit picture, shape (rows, columns, 3), in any RGB space
    at : row, column, row, column of two opposite corners of a box that contains the chart, to search only there

    Raises
    ------
    InvalidInputError
        The picture is not 8-bit with three channels, or the box lies outside it.
    """
    _check_picture(codes)
    top, left, part = _part(codes, at)
    factor = min(1.0, _WORKING / max(part.shape[:2])) if at is None else min(3.0, _WORKING / max(part.shape[:2]))
    picture = _resized(part, factor)
    for chart in _search(picture, thorough=at is not None):
        found = chart.scaled(1 / factor)
        shift = np.array([top, left], dtype=float)
        return replace(found, corners=found.corners + shift, centres=found.centres + shift,
                       outline=found.outline + shift)
    return None


def _check_picture(codes: NDArray[np.uint8]) -> None:
    if codes.dtype != np.uint8 or codes.ndim != 3 or codes.shape[2] != 3 or 0 in codes.shape:
        raise InvalidInputError(
            f"The picture must be 8-bit with shape (rows, columns, 3); got {codes.dtype} {codes.shape}. "
            "Convert it to 8-bit RGB first."
        )


def _part(codes: NDArray[np.uint8], at: tuple[float, float, float, float] | None) -> tuple[int, int, NDArray[np.uint8]]:
    """Top row, left column and pixels of the box to search in."""
    if at is None:
        return 0, 0, codes
    box = np.asarray(at, dtype=float)
    (top, bottom), (left, right) = np.sort(box[[0, 2]]), np.sort(box[[1, 3]])
    rows, cols = codes.shape[:2]
    top, left = max(0, int(np.floor(top))), max(0, int(np.floor(left)))
    bottom, right = min(rows, int(np.ceil(bottom)) + 1), min(cols, int(np.ceil(right)) + 1)
    if bottom - top < 2 * ROWS or right - left < 2 * ROWS:
        raise InvalidInputError(
            f"The box for the chart must lie in the picture of {rows} by {cols} pixels; got {tuple(map(float, at))}. "
            "Give row, column, row, column of two opposite corners round the chart."
        )
    return top, left, codes[top:bottom, left:right]


def _resized(picture: NDArray[np.uint8], factor: float) -> NDArray[np.uint8]:
    if factor == 1:
        return np.ascontiguousarray(picture)
    size = (max(1, round(picture.shape[1] * factor)), max(1, round(picture.shape[0] * factor)))
    method = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    return np.asarray(cv2.resize(picture, size, interpolation=method))


def _search(picture: NDArray[np.uint8], *, thorough: bool) -> Iterator[Chart]:
    """Charts found, large patches first: the coarse look costs a ninth of the fine one."""
    edges = (_EDGE, 2 * _EDGE, _EDGE / 2) if thorough else (_EDGE,)
    for edge in edges:
        for shrink in (_SHRINK, 1):
            spots = _find_spots(picture, edge, shrink)
            for lattice in _lattices(spots):
                chart = _match(picture, spots, lattice)
                if chart is not None:
                    yield chart


# ---- spots ---------------------------------------------------------------------------------------------------------


def _find_spots(picture: NDArray[np.uint8], edge: float, shrink: int) -> _Spots:
    """Spots that may be patches, in the pixels of a picture `shrink` times as large; none where too few are in doubt."""
    small = _shrunk(picture, shrink)
    contours, levels = cv2.findContours(_even(small, edge), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    outer = np.flatnonzero(levels[0, :, 3] < 0).tolist() if levels is not None else []
    largest = (max(small.shape[:2]) / ROWS) ** 2
    squares = [(contours[i], spot) for i in outer if (spot := _square(contours[i], largest)) is not None]
    spots = np.array([spot for _, spot in squares]).reshape(-1, 3)
    kept = np.flatnonzero(_clear_of_frame(spots, small.shape))
    colours = small[tuple(np.rint(spots[kept, :2]).astype(int).T)].astype(float)
    rare = _rare(colours)
    if not _many_hued(colours[rare]):
        return _Spots(np.empty((0, 2)), np.empty(0))
    kept = kept[rare]
    centres = np.array([_centroid(squares[i][0]) for i in kept.tolist()]).reshape(-1, 2)
    return _Spots((centres + 0.5) * shrink - 0.5, (spots[kept, 2] + 1 + _EROSION) * shrink)


def _shrunk(picture: NDArray[np.uint8], shrink: int) -> NDArray[np.uint8]:
    """The picture at one part in `shrink` (odd): block means, left-over rows and columns dropped."""
    if shrink == 1:
        return picture
    middle = slice(shrink // 2, None, shrink)
    rows, cols = picture.shape[0] // shrink, picture.shape[1] // shrink
    return np.ascontiguousarray(cv2.blur(picture, (shrink, shrink))[middle, middle][:rows, :cols])


def _even(picture: NDArray[np.uint8], edge: float) -> NDArray[np.uint8]:
    """
    255 where neighbouring pixels hardly differ in any channel, without specks.

    Hardly: by less than `edge`, or than a fifth of the strongest step nearby: small patches are blurred to the middle.
    """
    steps = cv2.morphologyEx(cv2.medianBlur(picture, 3), cv2.MORPH_GRADIENT, _KERNEL3)
    red, green, blue = cv2.split(steps)
    step = cv2.max(cv2.max(red, green), blue)
    limit = cv2.max(cv2.convertScaleAbs(cv2.dilate(step, _KERNEL9), alpha=_FAINT), edge)
    even = cv2.compare(step, limit, cv2.CMP_LT)
    return np.asarray(cv2.morphologyEx(even, cv2.MORPH_OPEN, _KERNEL3))


def _square(contour: NDArray[np.int32], largest: float) -> tuple[float, float, float] | None:
    """Row, column and side of a contour that is about square, else None; cheap tests first."""
    area = cv2.contourArea(contour)
    if not _SMALLEST <= area <= largest:
        return None
    _, _, cols, rows = cv2.boundingRect(contour)
    if cols > 2.2 * rows or rows > 2.2 * cols or area < 0.35 * (rows - 1) * (cols - 1):
        return None
    (col, row), (width, height), _ = cv2.minAreaRect(contour)
    if area < 0.7 * width * height or width > 2 * height or height > 2 * width:
        return None
    return row, col, area**0.5


def _centroid(contour: NDArray[np.int32]) -> tuple[float, float]:
    moments = cv2.moments(contour)
    return moments["m01"] / moments["m00"], moments["m10"] / moments["m00"]


def _clear_of_frame(spots: Floats, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Spots that do not touch the picture's edge: a cut spot's middle is not its patch's."""
    room = spots[:, 2:] / 2 + 1.5
    return np.asarray(((spots[:, :2] > room) & (spots[:, :2] < np.array(shape[:2]) - 1 - room)).all(axis=1))


def _rare(colours: Floats) -> NDArray[np.int64]:
    """
    Which colours (n, 3) few others share: leaves out checks, weaves and grain, which repeat a colour many times.

    Where very many are left, the most colourful: three quarters of a chart are colours.
    """
    boxes = (colours // 16) @ np.array([1, 16, 256])
    _, box, count = np.unique(boxes, return_inverse=True, return_counts=True)
    kept = np.flatnonzero(count[box.ravel()] <= _MOST_ALIKE)
    if len(kept) > _MOST_SPOTS:
        kept = kept[np.argsort(-np.ptp(colours[kept], axis=1), kind="stable")[:_MOST_SPOTS]]
    return kept


def _many_hued(colours: Floats) -> bool:
    """Whether colours have hues all round the circle, as a chart's have under any light: in most photographs not."""
    if len(colours) < _FEWEST_SPOTS:
        return False
    balanced = (colours + 1) / np.median(colours + 1, axis=0)
    red, green, blue = (balanced / balanced.mean(axis=1, keepdims=True) - 1).T
    hue, chroma = np.arctan2(np.sqrt(3) * (green - blue), 2 * red - green - blue), np.abs([red, green, blue]).max(axis=0)
    return len(np.unique(np.floor(hue[chroma > 0.06] * 4 / np.pi))) >= _FEWEST_HUES


def _neighbours(spots: _Spots) -> NDArray[np.bool_]:
    """Which spots (n, n) are of about the same size and about one patch apart."""
    place = spots.centres[:, 0] + 1j * spots.centres[:, 1]
    apart = np.abs(place[:, None] - place[None, :])
    size = np.maximum(spots.sides[:, None], spots.sides[None, :])
    alike = np.minimum(spots.sides[:, None], spots.sides[None, :]) > 0.6 * size
    return np.asarray(alike & (apart > 0.8 * size) & (apart < 1.9 * size))


# ---- lattice -------------------------------------------------------------------------------------------------------


def _lattices(spots: _Spots) -> Iterator[_Lattice]:
    """Lattices of at least eight spots, each grown from a spot not yet on one; at most a few are tried."""
    if len(spots) < _FEWEST_SPOTS:
        return
    near = _neighbours(spots)
    free = near.sum(axis=1) >= 2
    for _ in range(_MOST_SEEDS):
        counts = np.where(free, (near & free).sum(axis=1), 0)
        seed = int(counts.argmax())
        if counts[seed] < 2 or free.sum() < _FEWEST_SPOTS:
            return
        free[seed] = False
        lattice = _grow(spots, near, seed)
        if lattice is not None:
            free[lattice.members] = False
            yield lattice


def _grow(spots: _Spots, near: NDArray[np.bool_], seed: int) -> _Lattice | None:
    """The lattice that spreads from one spot to its neighbours, and from those to theirs."""
    basis = _basis(spots, near, seed)
    if basis is None:
        return None
    to_pixels = np.vstack([np.column_stack([*basis, spots.centres[seed]]), [0, 0, 1]])
    cells, members = np.zeros((1, 2), int), np.array([seed])
    while len(members) <= 2 * ROWS * COLS:
        new_cells, new_members = _extend(spots, cells, members, to_pixels)
        if len(new_members) == len(members):
            break
        cells, members = new_cells, new_members
        if np.ptp(cells, axis=0).min() >= 1:
            to_pixels = _fit_lattice(cells, spots.centres[members], spots.sides[members], rounds=2)
    if not _FEWEST_SPOTS <= len(members) <= 2 * ROWS * COLS or np.ptp(cells, axis=0).min() < 1:
        return None
    return _Lattice(cells, members, to_pixels)


def _basis(spots: _Spots, near: NDArray[np.bool_], seed: int) -> tuple[Floats, Floats] | None:
    """Steps to the nearest neighbour and to the nearest one about square to it, right-handed."""
    steps = spots.centres[near[seed]] - spots.centres[seed]
    lengths = np.hypot(*steps.T)
    across = steps[lengths.argmin()]
    turn = (across[0] * steps[:, 1] - across[1] * steps[:, 0]) / (lengths * lengths.min())
    square = np.flatnonzero((np.abs(turn) > 0.8) & (lengths < 1.5 * lengths.min()))
    if not square.size:
        return None
    nearest = square[lengths[square].argmin()]
    return (across, steps[nearest]) if turn[nearest] > 0 else (across, -steps[nearest])


def _extend(
    spots: _Spots, cells: NDArray[np.int64], members: NDArray[np.int64], to_pixels: Floats
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The lattice with every spot added that lies where a cell beside it should be."""
    wanted = _beside(cells)
    expected, pitch = _project(to_pixels, wanted), _pitch(to_pixels, wanted)
    place = spots.centres[:, 0] + 1j * spots.centres[:, 1]
    apart = np.abs((expected[:, 0] + 1j * expected[:, 1])[:, None] - place[None, :])
    size = spots.sides[members].mean()
    apart[:, (spots.sides < 0.55 * size) | (spots.sides > 1.8 * size)] = np.inf
    apart[:, members] = np.inf
    nearest = apart.argmin(axis=1)
    close = apart[np.arange(len(wanted)), nearest] < 0.22 * pitch
    chosen, first = np.unique(nearest[close], return_index=True)
    return np.vstack([cells, wanted[close][first]]), np.concatenate([members, chosen])


def _beside(cells: NDArray[np.int64]) -> NDArray[np.int64]:
    """Cells that share a side with one of these and are not among them."""
    taken = {(i, j) for i, j in cells.tolist()}
    around = {(i + di, j + dj) for i, j in taken for di, dj in ((0, 1), (1, 0), (0, -1), (-1, 0))}
    return np.array(sorted(around - taken))


def _project(homography: Floats, cells: NDArray[np.generic]) -> Floats:
    """Pixels (n, 2) of lattice positions (n, 2)."""
    points = cells @ homography[:, :2].T + homography[:, 2]
    return np.asarray(points[:, :2] / points[:, 2:])


def _pitch(homography: Floats, cells: NDArray[np.generic]) -> Floats:
    """Distance from each cell to its neighbours in pixels: the geometric mean of both directions."""
    here = _project(homography, cells)
    down, across = (_project(homography, cells + np.array(step)) - here for step in ((1, 0), (0, 1)))
    return np.sqrt(np.abs(down[:, 0] * across[:, 1] - down[:, 1] * across[:, 0]))


def _fit_lattice(cells: NDArray[np.int64], centres: Floats, sides: Floats, *, rounds: int) -> Floats:
    """
    Homography from cells to pixels, by weighted least squares that outliers sway little.

    Perspective is held back (as by one observation) where few spots speak for it: far cells stay sensible.
    """
    middle, scale = centres.mean(axis=0), sides.mean()
    targets, weights = (centres - middle) / scale, np.ones(len(cells))
    for _ in range(rounds):
        solution = _solve_homography(cells.astype(float), targets, weights)
        errors = np.hypot(*(_project(solution, cells) - targets).T)
        weights = 1 / (1 + (errors / max(2 * float(np.median(errors)), 0.02)) ** 2)
    back = np.array([[scale, 0, middle[0]], [0, scale, middle[1]], [0, 0, 1.0]])
    return np.asarray(back @ solution)


def _solve_homography(cells: Floats, targets: Floats, weights: Floats) -> Floats:
    base = np.column_stack([cells, np.ones(len(cells))])
    system = np.zeros((2, len(cells), 8))
    system[0, :, :3] = system[1, :, 3:6] = base
    system[:, :, 6:] = -targets.T[:, :, None] * cells
    flat, wanted = system.reshape(-1, 8), targets.T.ravel()
    weighted = flat * np.tile(weights, 2)[:, None]
    normal = weighted.T @ flat + np.diag([1e-9] * 6 + [1.0, 1.0])
    return np.append(np.linalg.solve(normal, weighted.T @ wanted), 1.0).reshape(3, 3)


# ---- colours -------------------------------------------------------------------------------------------------------


def _expected_codes() -> tuple[Floats, Floats]:
    """
    The patches as sRGB would encode them, 0-1, shape (24, 3), and how far each lies outside what sRGB can show (24,).

    A pattern to compare with, not to measure by.
    """
    linear = reference_xyz() @ _SRGB_FROM_XYZ_D50.T
    size = np.abs(linear)
    codes = np.sign(linear) * np.where(size <= 0.0031308, 12.92 * size, 1.055 * size ** (1 / 2.4) - 0.055)
    shown = np.clip(codes, 0, 1)
    return shown, np.linalg.norm(codes - shown, axis=1)


def reference_xyz() -> Floats:
    """
    Return X, Y, Z (0-1, D50, 2 degree observer) of the 24 patches, shape (24, 3), from their nominal CIELAB.

    >>> float(round(reference_xyz()[18, 1], 3))
    0.881
    """
    fy = (LAB[:, 0] + 16) / 116
    f = np.column_stack([fy + LAB[:, 1] / 500, fy, fy - LAB[:, 2] / 200])
    return np.asarray(D50 * np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)))


# IEC 61966-2-1 primaries, Bradford-adapted to D50, as in the sRGB ICC profile: columns are red, green, blue.
_SRGB_TO_XYZ_D50 = np.array([
    [0.4360747, 0.3850649, 0.1430804],
    [0.2225045, 0.7168786, 0.0606169],
    [0.0139322, 0.0971045, 0.7141733],
])  # fmt: skip
_SRGB_FROM_XYZ_D50 = np.linalg.inv(_SRGB_TO_XYZ_D50)
_EXPECTED, _OUTSIDE = _expected_codes()


def _match(picture: NDArray[np.uint8], spots: _Spots, lattice: _Lattice) -> Chart | None:
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


def _placements(lattice: _Lattice) -> NDArray[np.int64]:
    """Cells of the 24 patches for every way the chart can lie on the lattice, shape (ways, 24, 2)."""
    ways = []
    for turned in _TURNS:
        size, low, high = turned.max(axis=0), lattice.cells.min(axis=0), lattice.cells.max(axis=0)
        spare = high - size
        for i in range(min(low[0], spare[0]), max(low[0], spare[0]) + 1):
            for j in range(min(low[1], spare[1]), max(low[1], spare[1]) + 1):
                inside = ((lattice.cells >= (i, j)) & (lattice.cells <= size + (i, j))).all(axis=1)
                if inside.sum() >= _FEWEST_SPOTS:
                    ways.append(turned + (i, j))
    return np.array(ways, dtype=np.int64).reshape(-1, 24, 2)


def _colours(picture: NDArray[np.uint8], to_pixels: Floats, places: NDArray[np.int64]) -> Floats:
    """Mean colour (0-1) of the middle of each cell, shape (ways, 24, 3); nan where it lies outside the picture."""
    cells, back = np.unique(places.reshape(-1, 2), axis=0, return_inverse=True)
    points = _project(to_pixels, (cells[:, None] + _MIDDLE).reshape(-1, 2))
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
    seen = np.isfinite(colours).all(axis=2)[..., None]
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


def _finish(picture: NDArray[np.uint8], spots: _Spots, lattice: _Lattice, place: NDArray[np.int64]) -> Chart:
    """The chart with its lattice fitted once more, on every spot that is one of its patches."""
    to_pixels = _refit(spots, lattice.to_pixels, place)
    share = _patch_share(picture, to_pixels, place)
    middle = (place[:, None] + share * _READ * _GRID).reshape(-1, 2)
    values = _pick(picture, _project(to_pixels, middle)).reshape(24, -1, 3) / 255
    agreement, left = _agreement(_seen_mean(values))
    centres, ends = _project(to_pixels, place), place[list(_CORNERS)].astype(float)
    grown = ends + np.sign(ends - ends.mean(axis=0)) * (share + _FRAME)
    return Chart(
        corners=centres[list(_CORNERS)],
        centres=centres,
        outline=_project(to_pixels, grown),
        patch=share * float(np.median(_pitch(to_pixels, place))),
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


def _refit(spots: _Spots, to_pixels: Floats, place: NDArray[np.int64]) -> Floats:
    """The homography from cells to pixels, fitted on the spots nearest to the patches' expected centres."""
    apart = np.linalg.norm(_project(to_pixels, place)[:, None] - spots.centres[None, :], axis=2)
    nearest = apart.argmin(axis=1)
    close = apart[np.arange(24), nearest] < 0.2 * _pitch(to_pixels, place)
    return _fit_lattice(place[close], spots.centres[nearest[close]], spots.sides[nearest[close]], rounds=6)


def _patch_share(picture: NDArray[np.uint8], to_pixels: Floats, place: NDArray[np.int64]) -> float:
    """Side of a patch as a share of the distance between patches: where the edges are, all patches laid together."""
    steps = np.linspace(-0.5, 0.5, _FOLD + 1)
    profile = np.zeros(_FOLD)
    for across in ((0, 1), (1, 0)):
        grid = steps[:, None, None] * across + np.linspace(-0.25, 0.25, 5)[:, None] * across[::-1]
        points = _project(to_pixels, (place[:, None, None] + grid).reshape(-1, 2))
        values = _pick(picture, points).reshape(24, _FOLD + 1, 5, 3).mean(axis=2)
        profile += np.nanmean(np.abs(np.diff(values, axis=1)).sum(axis=2), axis=0)
    both = (profile + profile[::-1])[_FOLD // 2 :]
    where = (np.arange(len(both)) + 0.5) / _FOLD
    strong = np.where((where > 0.3) & (both > both.max() / 2), both, 0)
    return float(2 * (strong * where).sum() / strong.sum())


# ---- reading -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class PatchReadings:
    """
    What the 24 patches of a chart read.

    Attributes
    ----------
    linear : (24, 3) mean linear light of the middle of each patch; nan where less than a quarter of it is in the photograph
    spread : (24,) standard deviation over the middle, of the three channels' mean, as a share of that mean
    clipped : (24,) true where more than 5 % of the middle is burnt out in a channel, or black in all of them
    visible : (24,) true where the patch lies whole inside the photograph, is even and not covered
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
    points = _reading_points(chart)
    picked = _pick(codes, points.reshape(-1, 2)).reshape(24, -1, 3)
    seen = np.isfinite(picked)
    whole = np.where(seen, picked, 0).astype(np.int64)
    light = np.where(seen, np.stack([tables[c][whole[..., c]] for c in range(3)], axis=-1), np.nan)
    linear = _seen_mean(light)
    known = np.isfinite(linear).all(axis=1)
    spread = np.full(24, np.nan)
    spread[known] = np.nanstd(light[known].mean(axis=2), axis=1) / np.maximum(linear[known].mean(axis=1), 1e-6)
    return PatchReadings(linear, spread, _clipped(picked, levels), chart.visible & known)


def _reading_points(chart: Chart) -> Floats:
    """Points of a fine even grid over the middle of each patch, (24, n, 2)."""
    cells = np.stack(np.meshgrid(range(ROWS), range(COLS), indexing="ij"), axis=-1).reshape(-1, 2)
    to_pixels = _fit_lattice(cells, chart.centres, np.full(24, chart.patch), rounds=2)
    share = chart.patch / float(np.median(_pitch(to_pixels, cells)))
    count = int(np.clip(round(_READ * chart.patch), 3, _MOST_SAMPLES))
    steps = ((np.arange(count) + 0.5) / count - 0.5) * _READ * share
    grid = np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1).reshape(-1, 2)
    return _project(to_pixels, (cells[:, None] + grid).reshape(-1, 2)).reshape(24, -1, 2)


def _clipped(picked: Floats, levels: int) -> NDArray[np.bool_]:
    """Patches burnt out in a channel or black in all; a vivid colour may well have one channel at zero."""
    known = np.maximum(np.isfinite(picked).all(axis=2).sum(axis=1), 1)
    burnt = (picked >= (levels - 1) * 254 / 255).sum(axis=1).max(axis=1) / known
    black = (picked <= (levels - 1) / 255).all(axis=2).sum(axis=1) / known
    return np.asarray((burnt > _FEW) | (black > _FEW))


# ---- colour correction ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ColourCorrection:
    """
    From linear red, green, blue to X, Y, Z.

    `coefficients` has one row each for X, Y, Z and one column for each channel ("matrix") or each of the
    `root_polynomial_terms` ("root-polynomial"). Both kinds keep to exposure: half the light gives half of X, Y, Z.
    """

    kind: Kind
    coefficients: Floats

    def apply(self, linear_rgb: ArrayLike) -> Floats:
        """Return X, Y, Z, shape (..., 3), of linear red, green, blue of that shape."""
        return np.asarray(_terms(linear_rgb, self.kind) @ self.coefficients.T)


def root_polynomial_terms(linear_rgb: ArrayLike) -> Floats:
    """
    Return R, G, B and the roots of RG, GB, RB, shape (..., 6), of linear red, green, blue; negatives count as 0 in roots.

    References
    ----------
    G. D. Finlayson, M. Mackiewicz and A. Hurlbert, "Color correction using root-polynomial regression",
    IEEE Transactions on Image Processing 24(5):1460-1470, 2015 (degree 2).

    >>> root_polynomial_terms([4, 1, 9]).tolist()
    [4.0, 1.0, 9.0, 2.0, 3.0, 6.0]
    """
    rgb = _triples(linear_rgb)
    root = np.sqrt(np.maximum(rgb, 0))
    return np.concatenate([rgb, root * np.roll(root, -1, axis=-1)], axis=-1)


def fit_correction(
    linear_rgb: ArrayLike, xyz: ArrayLike, *, kind: Kind, white: ArrayLike | None = None
) -> ColourCorrection:
    """
    Return the colour correction that takes linear readings nearest to known X, Y, Z, judged by eye and not by light.

    Errors count as steps of lightness (and of its like in X and Z): an error in a dark patch weighs more than the same
    amount of light in a pale one. Patches more than two typical errors off lose weight. The fit leans, about as much
    as a hundredth of one patch, on the plain sRGB matrix, which steadies what few patches decide.

    Parameters
    ----------
    linear_rgb : readings, shape (n, 3), best with a tone curve applied so that greys have equal channels
    xyz : known values, shape (n, 3), white 1
    kind : "matrix" or "root-polynomial"
    white : X, Y, Z that equal channels of 1 must give exactly, so that greys stay grey; free where not given

    Raises
    ------
    InvalidInputError
        The shapes do not fit, a value is missing, or the kind is unknown.
    CalibrationError
        There are fewer patches than the fit has unknowns, and two more.

    Examples
    --------
    >>> rgb = np.array([[1, 1, 1], [0.5, 0.1, 0.1], [0.1, 0.5, 0.1], [0.1, 0.1, 0.5], [0.2, 0.2, 0.2], [0.4, 0.3, 0.1]])
    >>> fit = fit_correction(rgb, rgb * 0.5, kind="matrix")
    >>> bool(np.allclose(fit.apply([0.2, 0.4, 0.6]), [0.1, 0.2, 0.3], atol=0.003))
    True
    """
    terms, wanted = _checked_fit(linear_rgb, xyz, kind)
    whites = [None] * 3 if white is None else [float(w) for w in np.asarray(white, dtype=float)]
    rows = [_fit_row(terms, wanted[:, i], _SRGB_TO_XYZ_D50[i], whites[i]) for i in range(3)]
    return ColourCorrection(kind, np.array(rows))


def leave_one_out(linear_rgb: ArrayLike, xyz: ArrayLike, *, kind: Kind, white: ArrayLike | None = None) -> Floats:
    """
    Return, for each patch, the lightness L* that a correction fitted on all the others gives it, shape (n,).

    Raises
    ------
    InvalidInputError, CalibrationError
        As `fit_correction`, of one patch fewer.
    """
    rgb, wanted = _triples(linear_rgb), _triples(xyz)
    others = ~np.eye(len(rgb), dtype=bool)
    fits = [fit_correction(rgb[o], wanted[o], kind=kind, white=white) for o in others]
    luminance = np.array([fit.apply(reading)[1] for fit, reading in zip(fits, rgb, strict=True)])
    return np.asarray(luminance_to_lightness(np.maximum(luminance, 0)))


def _triples(values: ArrayLike) -> Floats:
    numbers = np.asarray(values, dtype=float)
    if numbers.shape[-1:] != (3,):
        raise InvalidInputError(f"Colours must have shape (..., 3); got {numbers.shape}. Pass the three together.")
    return numbers


def _terms(linear_rgb: ArrayLike, kind: Kind) -> Floats:
    if kind not in ("matrix", "root-polynomial"):
        raise InvalidInputError(f"A correction is 'matrix' or 'root-polynomial'; got {kind!r}. Choose one of the two.")
    return root_polynomial_terms(linear_rgb) if kind == "root-polynomial" else _triples(linear_rgb)


def _checked_fit(linear_rgb: ArrayLike, xyz: ArrayLike, kind: Kind) -> tuple[Floats, Floats]:
    terms, wanted = _terms(linear_rgb, kind), _triples(xyz)
    if terms.ndim != 2 or wanted.shape != (len(terms), 3) or not np.isfinite(terms).all() or not np.isfinite(wanted).all():
        raise InvalidInputError(
            f"Readings and known colours must be numbers of shape (n, 3) each; got {np.shape(linear_rgb)} and "
            f"{wanted.shape}. Leave patches that are not usable out of both."
        )
    if len(terms) < terms.shape[1] + 2:
        raise CalibrationError(
            f"A {kind} correction needs at least {terms.shape[1] + 2} usable patches; got {len(terms)}. "
            "Photograph the whole chart, without burnt-out or covered patches."
        )
    return terms, wanted


def _fit_row(terms: Floats, wanted: Floats, prior: Floats, white: float | None) -> Floats:
    """Coefficients of one of X, Y, Z: least squares in cube roots, to first order, with outliers held back."""
    start = np.zeros(terms.shape[1])
    start[:3] = prior
    slope = np.maximum(wanted, 216 / 24389) ** (-2 / 3) / 3  # of the cube root, constant below the knee of L*
    start *= (slope**2 * wanted * (terms @ start)).sum() / max(((slope * (terms @ start)) ** 2).sum(), 1e-12)
    trust = np.ones(len(wanted))
    for _ in range(4):
        row = _solve_row(terms, wanted, start, slope**2 * trust, white)
        off = np.abs(slope * (terms @ row - wanted))
        trust = 1 / np.maximum(1, off / (2 * max(1.4826 * float(np.median(off)), _FINEST)))
    return row


def _solve_row(terms: Floats, wanted: Floats, start: Floats, weights: Floats, white: float | None) -> Floats:
    """Weighted least squares, drawn to `start`, and where asked held to sum to `white` (all terms of white are 1)."""
    size = len(start)
    normal, right = (terms.T * weights) @ terms + _LEAN * np.eye(size), (terms.T * weights) @ wanted + _LEAN * start
    if white is None:
        return np.asarray(np.linalg.solve(normal, right))
    border = np.ones((size, 1))
    held = np.block([[normal, border], [border.T, np.zeros((1, 1))]])
    return np.asarray(np.linalg.solve(held, np.append(right, white))[:size])


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
    place = np.array([[r / 1.5 - 1, c / 2.5 - 1] for r in range(ROWS) for c in range(COLS)])
    tilt = np.zeros(2)
    for _ in range(4):
        base = _misfit(readings, place @ tilt)
        step = 0.01
        slope = np.column_stack([(_misfit(readings, place @ (tilt + d)) - base) / step for d in step * np.eye(2)])
        scale = max(1.4826 * float(np.median(np.abs(base))), 0.5)
        trust = 1 / (1 + (base / (2 * scale)) ** 2) / scale**2
        normal = (slope.T * trust) @ slope + np.eye(2) / _USUAL_TILT**2
        tilt = tilt - np.linalg.solve(normal, (slope.T * trust) @ base + tilt / _USUAL_TILT**2)
        tilt = np.clip(tilt, -0.5, 0.5)
    if tilt @ normal @ tilt < _CHANCE:
        tilt = np.zeros(2)
    relative = np.exp(place @ tilt)
    return ChartLight(relative, float(np.exp(2 * np.abs(tilt).sum()) - 1))


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
    if readings.usable.sum() < _FEWEST_SEEN - 4:
        return None
    across = light_on_chart(readings).across
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
