"""
A picture in a few values as regions to draw round: none too narrow for a pencil, one smooth boundary between two.

Outlines run along the edges of pixels first, so that neighbours share each of them and no gap can be left. Every corner
is then drawn tight, as a thread would be, but never as far as half a pixel from its place: two boundaries that do not
meet cannot cross. Places are (row, column), whole numbers in the middle of a pixel; outlines run clockwise, holes the
other way round.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import cast

import cv2
import numpy as np
from numpy.typing import NDArray

from contrastkit.errors import InvalidInputError

Labels = NDArray[np.uint8]
Patches = NDArray[np.int32]
Floats = NDArray[np.float64]
Point = tuple[float, float]
Ring = tuple[Point, ...]

LEAST_WIDTH = 3.0  # pixels: what is narrower could be drawn tight to nothing
_MOST = 9  # values
_SMOOTH = 0.25  # of the least width: how far round about counts, as the deviation of a Gaussian
_TIGHT = 0.49  # pixels, less than a half: how far a corner may be drawn from its place
_PULLS = 40  # how often it is drawn; stairs of up to about eight pixels become straight
_FLAT = 0.15  # pixels by which a corner must stand out from a line to be kept
_ALIKE = 0.97  # of the largest circle: of places with room for as much the one nearest to the middle is taken


@dataclass(frozen=True)
class Region:
    """
    A part of a picture that is all of one value.

    Attributes
    ----------
    value : its place among the values, 0 the darkest
    outline : (row, column) corners, clockwise
    holes : what lies inside it and is of another value, each (row, column) corners, the other way round
    centre : where its number stands: the middle of as large a circle as fits into it, or nearly
    radius : of that circle, pixels
    """

    value: int
    outline: Ring
    holes: tuple[Ring, ...]
    centre: Point
    radius: float


def cleaned(labels: Labels, *, width: float) -> Labels:
    """
    Return values whose connected patches have smooth outlines and are all somewhere at least `width` pixels wide.

    First every place goes to the value that most of what is round it has, weighed by nearness: fingers, necks and jags
    go that no pencil would follow. Then what is narrower than `width` goes, whole, to the neighbour it shares most of
    its boundary with, until nothing is. Patches of one value never meet at a corner alone.

    Parameters
    ----------
    labels : the value of every pixel, 0 the darkest, shape (rows, cols)
    width : of the largest circle in a patch, pixels

    Raises
    ------
    InvalidInputError
        Not a picture of two dimensions with values from 0 to 8, or a width below 0.

    Examples
    --------
    >>> picture = np.zeros((40, 40), np.uint8)
    >>> picture[10:12, 5:35], picture[20:38, 20:38] = 1, 2
    >>> np.unique(cleaned(picture, width=8)).tolist()
    [0, 2]
    """
    found = _checked(labels)
    if not width >= 0:
        raise InvalidInputError(f"The least width of a region must be 0 pixels or more; got {width:g}. Pass 0 for any.")
    found = _smoothed(found, _SMOOTH * width)
    while True:
        found = _without_touching(found)
        patches, values = _patches(found)
        if len(values) == 1:
            return found
        radius = _largest(_room(patches), patches, len(values))
        narrow = np.flatnonzero(2 * radius < width)
        if not len(narrow):
            return found
        found = _merged(patches, values, narrow)[patches]


def traced(labels: Labels) -> tuple[Region, ...]:
    """
    Return the regions of a picture in a few values: they cover it without gap or overlap.

    Neighbours have the very same corners along the boundary they share. What encloses others comes before them, so
    that outlines filled in this order show every region.

    Parameters
    ----------
    labels : the value of every pixel, 0 the darkest, shape (rows, cols)

    Raises
    ------
    InvalidInputError
        Not a picture of two dimensions with values from 0 to 8, or a region of it is too narrow to be drawn round.

    Examples
    --------
    >>> [region.outline for region in traced(np.zeros((20, 30), np.uint8))]
    [((-0.5, -0.5), (-0.5, 29.5), (19.5, 29.5), (19.5, -0.5))]
    """
    patches, values = _patches(_without_touching(_checked(labels)))
    room = _room(patches)
    radius = _largest(room, patches, len(values))
    if len(values) > 1 and 2 * radius.min() < LEAST_WIDTH:
        raise InvalidInputError(
            f"Regions must be somewhere {LEAST_WIDTH:g} pixels wide to be drawn round; one is {2 * radius.min():g}. "
            "Pass what `cleaned` returns."
        )
    centres = _centres(room, radius, patches)
    found = []
    for patch, rings in enumerate(_rings(patches, len(values))):
        outline, *holes = sorted(rings, key=_area, reverse=True)
        corners = (_as_ring(ring) for ring in (outline, *holes))
        first, *others = corners
        row, col = centres[patch]
        region = Region(int(values[patch]), first, tuple(others), (row, col), float(room[int(row), int(col)]))
        found.append((_area(outline), region))
    return tuple(region for _, region in sorted(found, key=lambda pair: -pair[0]))


def _checked(labels: Labels) -> Labels:
    found = np.asarray(labels)
    if found.ndim != 2 or found.size == 0 or found.dtype != np.uint8 or int(found.max()) >= _MOST:
        raise InvalidInputError(
            f"Values must be whole numbers from 0 to {_MOST - 1}, 8-bit, shape (rows, cols); got {found.dtype} of "
            f"shape {found.shape}. Sort a picture into values first."
        )
    return found


def _smoothed(labels: Labels, deviation: float) -> Labels:
    """The value most places round each have, weighed by a Gaussian; of equals the darker."""
    if deviation <= 0:
        return labels
    best, most = labels, np.zeros(labels.shape, np.uint8)
    for value in np.unique(labels).tolist():
        share = cv2.GaussianBlur(
            np.where(labels == value, np.uint8(255), np.uint8(0)), (0, 0), deviation, borderType=cv2.BORDER_REFLECT
        )
        best = np.where(share > most, np.uint8(value), best)
        most = np.maximum(most, share)
    return best


# --- patches ----------------------------------------------------------------------------------------------------------


def _without_touching(labels: Labels) -> Labels:
    """
    Values in which no two patches of one value meet at a corner alone: the lighter pixels there become darker.

    Values only ever fall, so this comes to an end.
    """
    found = labels.copy()
    while True:
        before = found.copy()
        for flipped in (found, found[:, ::-1]):  # diagonals one way, then the other
            a, b, c, d = flipped[:-1, :-1], flipped[:-1, 1:], flipped[1:, :-1], flipped[1:, 1:]
            at = np.nonzero((a == d) & (a != b) & (a != c))
            one, right, below = a[at], b[at], c[at]
            a[at] = np.where(one > np.maximum(right, below), np.maximum(right, below), one)
            b[at] = np.minimum(b[at], np.where(right > one, one, right))
            c[at] = np.minimum(c[at], np.where((right <= one) & (below > one), one, below))
        if np.array_equal(before, found):
            return found


def _patches(labels: Labels) -> tuple[Patches, Labels]:
    """The number of the connected patch of every pixel, and the value of each patch."""
    patches = np.zeros(labels.shape, np.int32)
    values: list[int] = []
    for value in np.unique(labels).tolist():
        own = (labels == value).view(np.uint8)
        count, found = cv2.connectedComponents(own, connectivity=4)
        patches += np.where(own, found + np.int32(len(values) - 1), np.int32(0))
        values += [value] * (count - 1)
    return patches, np.array(values, np.uint8)


def _room(patches: Patches) -> NDArray[np.float32]:
    """How far it is from the middle of every pixel to the boundary of its patch, or a little less."""
    inside = np.zeros((patches.shape[0] + 2, patches.shape[1] + 2), np.uint8)
    own = inside[1:-1, 1:-1]
    own[1:-1, 1:-1] = 1
    low, high, every = slice(None, -1), slice(1, None), slice(None)
    for one, other in (((every, low), (every, high)), ((low, every), (high, every)), ((low, low), (high, high)),
                       ((low, high), (high, low))):
        apart = patches[one] != patches[other]
        own[one][apart] = own[other][apart] = 0
    distance = cv2.distanceTransform(inside, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return cast("NDArray[np.float32]", distance[1:-1, 1:-1] + np.float32(0.5))


def _largest(room: NDArray[np.float32], patches: Patches, count: int) -> Floats:
    """The radius of the largest circle in each patch."""
    radius = np.zeros(count, np.float32)
    np.maximum.at(radius, patches.ravel(), room.ravel())
    return radius.astype(float)


def _centres(room: NDArray[np.float32], radius: Floats, patches: Patches) -> list[Point]:
    """Of each patch the place with room for the largest circle; of many such the nearest to the middle of the patch."""
    rows, cols = patches.shape
    flat = patches.ravel()
    size = np.bincount(flat)
    middle_row = np.bincount(flat, np.repeat(np.arange(rows), cols)) / size
    middle_col = np.bincount(flat, np.tile(np.arange(cols), rows)) / size
    at = np.flatnonzero(room.ravel() >= (_ALIKE * radius.astype(np.float32))[flat])
    patch, row, col = flat[at], at // cols, at % cols
    away = np.hypot(row - middle_row[patch], col - middle_col[patch])
    order = np.lexsort((away, patch))
    _, first = np.unique(patch[order], return_index=True)
    return [(float(row[i]), float(col[i])) for i in order[first]]


def _merged(patches: Patches, values: Labels, narrow: NDArray[np.int64]) -> Labels:
    """The value of every patch once the narrow ones, smallest first, have gone to neighbours."""
    shared = _shared(patches, len(values))
    size = np.bincount(patches.ravel(), minlength=len(values))
    joined = list(range(len(values)))  # whom each patch went to
    grown: set[int] = set()  # these are looked at again before they may go to others

    def owner(patch: int) -> int:
        while joined[patch] != patch:
            patch = joined[patch]
        return patch

    for patch in sorted(narrow.tolist(), key=lambda patch: (size[patch], patch)):
        if patch not in grown:
            goal = owner(max(shared[patch], key=lambda other: (shared[patch][other], -other)))
            joined[patch] = goal
            grown.add(goal)
    return np.array([values[owner(patch)] for patch in range(len(values))], np.uint8)


def _shared(patches: Patches, count: int) -> list[dict[int, int]]:
    """Of each patch how many sides of pixels it shares with each neighbour."""
    sides = []
    for one, other in ((patches[:, 1:], patches[:, :-1]), (patches[1:], patches[:-1])):
        apart = one != other
        sides.append(one[apart].astype(np.int64) * count + other[apart])
    found, lengths = np.unique(np.concatenate(sides), return_counts=True)
    shared: list[dict[int, int]] = [{} for _ in range(count)]
    for pair, length in zip(found.tolist(), lengths.tolist(), strict=True):
        a, b = divmod(pair, count)
        shared[a][b] = shared[b][a] = shared[a].get(b, 0) + length
    return shared


# --- outlines ---------------------------------------------------------------------------------------------------------

# From a corner between pixels along their sides: east, south, west, north. Of the four pixels that meet in the corner
# (north-west, north-east, south-west, south-east) the one to the right and the one to the left of each way.
_RIGHT, _LEFT = (3, 2, 0, 1), (1, 3, 2, 0)


@dataclass(frozen=True)
class _Corners:
    """
    The corners between pixels at which boundaries run.

    places : (row, column) of each, shape (n, 2)
    around : the patches of the four pixels that meet there, -1 outside the picture, shape (4, n)
    towards : the corner one pixel east, south, west and north, or -1 where there is no boundary to it, shape (4, n)
    """

    places: Floats
    around: Patches
    towards: NDArray[np.int64]
    is_end: NDArray[np.bool_]

    @property
    def beside(self) -> NDArray[np.int64]:
        """The two corners next to each that is no end, shape (2, n)."""
        return np.sort(self.towards, axis=0)[2:]


def _corners(patches: Patches) -> _Corners:
    rows, cols = patches.shape
    wide = cols + 1
    padded = np.full((rows + 2, cols + 2), -1, np.int32)
    padded[1:-1, 1:-1] = patches
    four = [padded[r : r + rows + 1, c : c + wide] for r in (0, 1) for c in (0, 1)]
    at = np.flatnonzero((four[0] != four[1]) | (four[0] != four[2]) | (four[0] != four[3]))
    around = np.stack([each.ravel()[at] for each in four])
    number = np.full((rows + 1) * wide, -1, np.int64)
    number[at] = np.arange(len(at))
    meets = np.stack([around[_RIGHT[way]] != around[_LEFT[way]] for way in range(4)])
    towards = np.full(meets.shape, -1, np.int64)
    for way, step in enumerate((1, wide, -1, -wide)):
        towards[way, meets[way]] = number[at[meets[way]] + step]
    row, col = np.divmod(at, wide)
    outside = (around == -1).sum(axis=0)
    # Boundaries end where more than two meet and in the corners of the picture; its straight sides are not drawn at.
    return _Corners(np.column_stack([row - 0.5, col - 0.5]), around, towards, (meets.sum(axis=0) > 2) | (outside == 3))


def _rings(patches: Patches, count: int) -> list[list[Floats]]:
    """The outlines of every patch, drawn tight: (row, column) corners, shape (n, 2), the patch to their right."""
    corners = _corners(patches)
    places = _drawn_tight(corners)
    start, way = np.nonzero((corners.towards >= 0).T)
    owner = corners.around[np.array(_RIGHT)[way], start]
    inner = owner >= 0
    start, way, owner = start[inner], way[inner], owner[inner]
    end = corners.towards[way, start]
    right, left = (corners.around[np.array(side)[way], end] for side in (_RIGHT, _LEFT))
    turned = (way + np.where(right != owner, 1, np.where(left == owner, 3, 0))) % 4
    following = np.searchsorted(start * 4 + way, end * 4 + turned)
    rings: list[list[Floats]] = [[] for _ in range(count)]
    straightened: dict[tuple[int, ...], Floats] = {}
    for cycle in _cycles(following):
        ring = [_straightened(arc, places, straightened) for arc in _arcs(start[cycle], corners.is_end)]
        rings[int(owner[cycle[0]])].append(np.concatenate([part[:-1] for part in ring]))
    return rings


def _cycles(following: NDArray[np.int64]) -> Iterator[NDArray[np.int64]]:
    """Sides one after the other until the first comes again."""
    after = following.tolist()
    seen = bytearray(len(after))
    for first in range(len(after)):
        if seen[first]:
            continue
        cycle, at = [], first
        while not seen[at]:
            seen[at] = 1
            cycle.append(at)
            at = after[at]
        yield np.array(cycle)


def _arcs(ring: NDArray[np.int64], is_end: NDArray[np.bool_]) -> Iterator[NDArray[np.int64]]:
    """A ring of corners cut where boundaries end, or at its first corner; each part ends where the next begins."""
    nodes = np.flatnonzero(is_end[ring])
    if not len(nodes):
        nodes = np.array([int(np.argmin(ring))])
    closed = np.concatenate([ring[nodes[0] :], ring[: nodes[0] + 1]])
    cuts = [*(nodes - nodes[0]).tolist(), len(ring)]
    for begin, end in zip(cuts, cuts[1:], strict=False):
        yield closed[begin : end + 1]


def _straightened(
    arc: NDArray[np.int64], places: Floats, known: dict[tuple[int, ...], Floats]
) -> Floats:
    """The places of an arc, without what lies on a line; the same from either side, whoever asks first."""
    ends = (int(arc[0]), int(arc[1])), (int(arc[-1]), int(arc[-2]))
    turned = ends[1] < ends[0]
    key = (*ends[1], *ends[0]) if turned else (*ends[0], *ends[1])
    if key not in known:
        known[key] = _without_flat(places[arc[::-1] if turned else arc].astype(np.float32))
    return known[key][::-1] if turned else known[key]


def _without_flat(line: NDArray[np.float32]) -> Floats:
    """A line without the corners that lie almost straight between others; both its ends stay."""
    if (line[0] == line[-1]).all():  # a whole loop, in two halves, or OpenCV would begin it anew
        far = int(np.argmax(((line - line[0]) ** 2).sum(axis=1)))
        return np.concatenate([_without_flat(line[: far + 1])[:-1], _without_flat(line[far:])])
    return np.asarray(cv2.approxPolyDP(line[:, None], _FLAT, False)[:, 0], float)


def _drawn_tight(corners: _Corners) -> Floats:
    """Where every corner lies once boundaries are drawn tight between their ends, (row, column)."""
    free = np.flatnonzero(~corners.is_end)
    before, after = corners.beside[:, free]
    places = corners.places.T.copy()
    low, high = places[:, free] - _TIGHT, places[:, free] + _TIGHT
    for place, least, most in zip(places, low, high, strict=True):  # rows, then columns
        for _ in range(_PULLS):
            own = place[free] + (place[before] + place[after]) / 2
            place[free] = np.clip(own / 2, least, most)
    return np.ascontiguousarray(places.T)


def _area(ring: Floats) -> float:
    """Of a ring of (row, column) corners; above 0 for one that runs clockwise in the upright picture."""
    row, col = (ring - ring[0]).T
    after_row, after_col = np.roll(row, -1), np.roll(col, -1)
    return float(col @ after_row - row @ after_col) / 2


def _as_ring(ring: Floats) -> Ring:
    return tuple((float(row), float(col)) for row, col in ring)
