"""
Lattices of even, square spots in a picture: what a chart of patches looks like before its colours are asked.

Cheap tests first, since most pictures have none: even spots, about square, of a colour that does not repeat all over
the picture, hues all round the circle; then neighbours, and lattices grown from neighbour to neighbour.
Positions are (row, column) in pixels, whole numbers in the middle of a pixel; cells of a lattice are (i, j).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Contour = NDArray[np.int32]

FEWEST_SPOTS = 8  # that make a lattice
_MOST_CELLS = 48  # twice a chart's patches: a larger lattice is a pattern
_MOST_SEEDS = 8  # spots to try to grow a lattice from
_MOST_SPOTS = 300  # keeps the tables of distances small
_MOST_ALIKE = 24  # spots of one colour before it counts as a pattern or grain
_FEWEST_HUES = 5  # of eight
_SMALLEST, _LARGEST = 12, 1 / 4  # of a spot: its area in pixels, its side as a share of the picture's
_FEWEST_PIXELS = 16  # of a picture's shorter side: room for two rows of spots
_FAINT = 0.2  # an edge this much weaker than one nearby is that edge's blur
_EROSION = 3.5  # pixels that a patch's side is longer than its spot's, which stops short of the edges
_KERNEL3, _KERNEL9 = np.ones((3, 3), np.uint8), np.ones((9, 9), np.uint8)


@dataclass(frozen=True)
class Spots:
    """Even, roughly square spots: centres (n, 2) as row and column, sides (n,), pixels."""

    centres: Floats
    sides: Floats

    def __len__(self) -> int:
        return len(self.sides)


@dataclass(frozen=True)
class Lattice:
    """Spots on a lattice: their cells (n, 2), which spots they are (n,), and the homography from cells to pixels."""

    cells: NDArray[np.int64]
    members: NDArray[np.int64]
    to_pixels: Floats


def find_spots(picture: NDArray[np.uint8], edge: float, shrink: int) -> Spots:
    """
    Return the spots that may be patches of a chart of many colours; none where too few or all of a few hues.

    Parameters
    ----------
    picture : 8-bit picture, shape (rows, columns, 3)
    edge : step between neighbouring pixels that counts as an edge, 8-bit codes
    shrink : look at the picture reduced by this odd number; answers are in the pixels of the picture given
    """
    none = Spots(np.empty((0, 2)), np.empty(0))
    if min(picture.shape[:2]) < _FEWEST_PIXELS * shrink:
        return none
    small = _shrunk(picture, shrink)
    contours, levels = cv2.findContours(_even(small, edge), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    outer = np.flatnonzero(levels[0, :, 3] < 0).tolist() if levels is not None else []
    largest = (_LARGEST * max(small.shape[:2])) ** 2
    squares = [(contours[i], spot) for i in outer if (spot := _square(contours[i], largest)) is not None]
    spots = np.array([spot for _, spot in squares]).reshape(-1, 3)
    kept = np.flatnonzero(_clear_of_frame(spots, small.shape))
    colours = small[tuple(np.rint(spots[kept, :2]).astype(int).T)].astype(float)
    rare = _rare(colours)
    if not _many_hued(colours[rare]):
        return none
    kept = kept[rare]
    centres = np.array([_centroid(squares[i][0]) for i in kept.tolist()]).reshape(-1, 2)
    return Spots((centres + 0.5) * shrink - 0.5, (spots[kept, 2] + _EROSION) * shrink)


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
    faint = cv2.convertScaleAbs(cv2.dilate(step, _KERNEL9), alpha=_FAINT)
    even = cv2.compare(step, np.maximum(faint, np.uint8(edge)), cv2.CMP_LT)
    return np.asarray(cv2.morphologyEx(even, cv2.MORPH_OPEN, _KERNEL3))


def _square(contour: Contour, largest: float) -> tuple[float, float, float] | None:
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


def _centroid(contour: Contour) -> tuple[float, float]:
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
    boxes = (colours.astype(int) // 16) @ np.array([1, 16, 256])
    kept = np.flatnonzero(np.bincount(boxes, minlength=16**3)[boxes] <= _MOST_ALIKE)
    if len(kept) > _MOST_SPOTS:
        kept = kept[np.argsort(-np.ptp(colours[kept], axis=1), kind="stable")[:_MOST_SPOTS]]
    return kept


def _many_hued(colours: Floats) -> bool:
    """Whether colours have hues all round the circle, as a chart's have under any light: in most photographs not."""
    if len(colours) < FEWEST_SPOTS:
        return False
    balanced = (colours + 1) / np.median(colours + 1, axis=0)
    tint = balanced / balanced.mean(axis=1, keepdims=True) - 1
    red, green, blue = tint[np.abs(tint).max(axis=1) > 0.06].T
    hue = np.arctan2(np.sqrt(3) * (green - blue), 2 * red - green - blue)
    return int(np.count_nonzero(np.bincount(np.floor(hue * 4 / np.pi + 4).astype(int)))) >= _FEWEST_HUES


def _neighbours(spots: Spots) -> NDArray[np.bool_]:
    """Which spots (n, n) are of about the same size and about one patch apart."""
    apart = np.hypot(*(spots.centres.T[:, :, None] - spots.centres.T[:, None, :]))
    size = np.maximum(spots.sides[:, None], spots.sides[None, :])
    alike = np.minimum(spots.sides[:, None], spots.sides[None, :]) > 0.6 * size
    return np.asarray(alike & (apart > 0.8 * size) & (apart < 1.9 * size))


def find_lattices(spots: Spots) -> Iterator[Lattice]:
    """Yield lattices of at least eight spots, each grown from a spot not yet on one; only a few starts are tried."""
    if len(spots) < FEWEST_SPOTS:
        return
    near = _neighbours(spots)
    free = near.sum(axis=1) >= 2
    for _ in range(_MOST_SEEDS):
        counts = np.where(free, (near & free).sum(axis=1), 0)
        seed = int(counts.argmax())
        if counts[seed] < 3 or free.sum() < FEWEST_SPOTS:
            return
        free[seed] = False
        lattice = _grow(spots, near, seed)
        if lattice is not None:
            free[lattice.members] = False
            yield lattice


def _grow(spots: Spots, near: NDArray[np.bool_], seed: int) -> Lattice | None:
    """The lattice that spreads from one spot to its neighbours, and from those to theirs."""
    basis = _basis(spots, near, seed)
    if basis is None:
        return None
    to_pixels = np.vstack([np.column_stack([*basis, spots.centres[seed]]), [0, 0, 1]])
    cells, members = np.zeros((1, 2), int), np.array([seed])
    while len(members) <= _MOST_CELLS:
        new_cells, new_members = _extend(spots, cells, members, to_pixels)
        if len(new_members) == len(members):
            break
        cells, members = new_cells, new_members
        if np.ptp(cells, axis=0).min() >= 1:
            to_pixels = fit_lattice(cells, spots.centres[members], spots.sides[members], rounds=2)
    if not FEWEST_SPOTS <= len(members) <= _MOST_CELLS or np.ptp(cells, axis=0).min() < 1:
        return None
    return Lattice(cells, members, to_pixels)


def _basis(spots: Spots, near: NDArray[np.bool_], seed: int) -> tuple[Floats, Floats] | None:
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
    spots: Spots, cells: NDArray[np.int64], members: NDArray[np.int64], to_pixels: Floats
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The lattice with every spot added that lies where a cell beside it should be."""
    wanted = _beside(cells)
    expected, pitch = project(to_pixels, wanted), pitch_at(to_pixels, wanted)
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


def project(homography: Floats, cells: NDArray[Any]) -> Floats:
    """Return the pixels (n, 2) of lattice positions (n, 2)."""
    points = cells @ homography[:, :2].T + homography[:, 2]
    return np.asarray(points[:, :2] / points[:, 2:])


def pitch_at(homography: Floats, cells: NDArray[Any]) -> Floats:
    """Return the distance from each cell (n, 2) to its neighbours in pixels: the geometric mean of both directions."""
    here = project(homography, cells)
    down, across = (project(homography, cells + np.array(step)) - here for step in ((1, 0), (0, 1)))
    return np.sqrt(np.abs(down[:, 0] * across[:, 1] - down[:, 1] * across[:, 0]))


def fit_lattice(cells: NDArray[np.int64], centres: Floats, sides: Floats, *, rounds: int) -> Floats:
    """
    Return the homography from cells (n, 2) to pixels (n, 2), by least squares that outliers sway little.

    Perspective is held back (as by one observation) where few spots speak for it: far cells stay sensible.
    """
    middle, scale = centres.mean(axis=0), sides.mean()
    targets, weights = (centres - middle) / scale, np.ones(len(cells))
    for _ in range(rounds):
        solution = _solve_homography(cells.astype(float), targets, weights)
        errors = np.hypot(*(project(solution, cells) - targets).T)
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
