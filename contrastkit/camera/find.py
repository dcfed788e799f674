"""
The pieces in a photograph: everything that lies on the backing, each with the outline of its cut edge.

Steps: the backing's smooth colour (`backing`) ▸ what differs from it, shadows apart ▸ guesses of one polygon a piece
(`polygons`) ▸ each guess's sides moved to the cut edge (`edges`) ▸ of guesses that overlap, the better seen is kept.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from contrastkit.camera.backing import Backing, find_backing
from contrastkit.camera.edges import refine
from contrastkit.camera.polygons import Floats, polygons_of, solidity, turn

Mask = NDArray[np.uint8]
Singles = NDArray[np.float32]

SMALL_SIDE = 700  # pixels, long side of the picture that finding starts on [design choice]
_SMALLEST = 0.018  # of the long side: anything less across is a crumb, not a piece [design choice]
_MOST = 0.85  # of the frame: what covers more is the board itself [design choice]
_THINNEST = 0.006  # of the long side: twice its area over its outline, half the side of a square [design choice]
_SHADOW = 0.75  # cube root of the share of light left in the deepest shadow taken for one (0.42) [design choice]
_CODE_ERROR = 0.7  # codes: rounding that a JPEG may leave in a smooth dark area
_COARSE = 3  # small pixels a side in a cell of the faint map
_BUSY = 0.015  # of the backing's cube root: sharp detail that no smooth board has
_SEEN = 0.4  # share of an outline that must show a sharp edge
_WELL_SEEN = 0.7
_HARDLY_SEEN = 0.3  # things that lie close together have no edge in common
_HOLLOW_CORNERS = 8  # most corners of a cut shape that is not convex; paint on an unseen ground has more
_MANY = 4  # fragments in one region are one print, where most of the region is surely painted
_MOSTLY = 0.6
_CRUMB = 0.12
_RIM = 0.02  # of a piece's size: rim taken to lie beyond the paint where the ground cannot be told from the board
_STRONG = 0.4  # share of an outline's area that must differ surely where no edge is sharp enough to see


# Level and two tints of what share of the backing's light is left: a shadow changes the level alone.
_OPPONENT = np.array([[1 / 3, 1 / 3, 1 / 3], [1.0, -1.0, 0.0], [-0.5, -0.5, 1.0]])
# Relative size of rounding at each 8-bit code, in cube roots: large in the darks, where it looks like colour.
_COARSENESS = (_CODE_ERROR * 0.8 / np.maximum(np.arange(256), 4)).astype(np.float32)


@dataclass(frozen=True, eq=False)
class Thing:
    """Something on the backing: its outline in the pixels of the working picture, and how it was recognised."""

    outline: Floats  # (corners, 2) row, col; a pixel's middle is a whole number; clockwise
    area: float  # working pixels
    confirmed: float  # share of the outline where a sharp edge was seen
    box_area: float  # of the smallest rectangle round it, working pixels
    elongation: float  # length over width of the smallest rectangle round it
    solidity: float  # its area, hollows left out, over the area of its convex hull
    at_frame: bool  # touches the frame
    strong: float  # share of its area that no shadow or stain on the backing explains


@dataclass(frozen=True, eq=False)
class Finding:
    """Everything found, the small picture it was found on, and the backing."""

    things: tuple[Thing, ...]
    small: NDArray[np.uint8]  # small picture, encoded
    roots: Singles  # the same as cube roots of linear light
    ratio: float  # working pixels per small pixel
    backing: Backing
    covered: NDArray[np.bool_]  # small picture: not plain backing (things and their shadows)


@dataclass(frozen=True, eq=False)
class _Difference:
    """How the small picture differs from its backing."""

    sure: Mask  # no shadow looks like this
    maybe: Mask  # a neutral piece, or the backing in shadow
    faint: Mask  # coarse picture: differs a little, but over an area
    busy: Mask  # coarse picture: full of sharp detail


@dataclass(frozen=True, eq=False)
class _Guess:
    """A polygon that may be a piece: its region, and whether it joins several fragments or is ragged itself."""

    polygon: Floats
    region: int
    joined: bool
    ragged: bool  # the hull of a shape with hollows, as paint on an unseen ground leaves it
    solidity: float  # of the shape itself, hollows and all


def find_things(codes: NDArray[np.uint8], root_table: Singles) -> Finding:
    """
    Return everything that lies on the backing.

    Parameters
    ----------
    codes : uint8 (rows, cols, 3)
        Upright encoded picture.
    root_table : float32 (3, 256)
        Cube root of linear light for each code of each channel.

    Returns
    -------
    Finding
        Nothing found is a finding with no things.
    """
    small, ratio = _small(codes)
    roots = np.asarray(cv2.LUT(small, np.ascontiguousarray(root_table.T[None])), np.float32)
    backing = find_backing(roots)
    difference = _differs(small, roots, backing)
    guesses, regions = _guesses(_without_thin_shadows(difference), difference.faint)
    polygons = [(guess.polygon + 0.5) * ratio - 0.5 for guess in guesses]
    owners = np.array([guess.region for guess in guesses], np.int32)
    unseen = np.array([(-2.0 if guess.joined else _RIM * np.sqrt(abs(turn(guess.polygon)) / 2)) * ratio
                       for guess in guesses])
    refined = refine(codes, root_table, polygons, regions, owners, unseen, ratio * _COARSE)
    shown = cv2.resize(difference.sure, difference.faint.shape[::-1], interpolation=cv2.INTER_AREA) | difference.busy
    things = [_thing(outline, seen, guess.solidity, codes.shape[:2], shown)
              for guess, (outline, seen) in zip(guesses, refined, strict=True)]
    things = list(_best(guesses, things, (codes.shape[0], codes.shape[1])))
    return Finding(tuple(things), small, roots, ratio, backing, (difference.sure | difference.maybe) > 0)


def doubled(finding: Finding) -> Finding:
    """Return the same finding in the pixels of a picture twice as large."""
    things = tuple(replace(thing, outline=2 * thing.outline + 0.5, area=4 * thing.area, box_area=4 * thing.box_area)
                   for thing in finding.things)
    return replace(finding, things=things, ratio=2 * finding.ratio)


def find_outlined(codes: NDArray[np.uint8], root_table: Singles, finding: Finding) -> tuple[Thing, ...]:
    """
    Return four-sided things that show by their edges alone, for a grey card on a board of its own grey.

    A slower second look, for where the first found no card: closed lines in the picture, not areas.
    """
    level = cv2.GaussianBlur(finding.roots.mean(axis=2), (0, 0), 1.2)
    slope = np.hypot(cv2.Scharr(level, cv2.CV_32F, 1, 0), cv2.Scharr(level, cv2.CV_32F, 0, 1))
    lines = (slope > 4 * np.median(slope)).astype(np.uint8)
    lines = cv2.morphologyEx(lines, cv2.MORPH_CLOSE, _disc(7))
    contours, _ = cv2.findContours(lines, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    least = (3 * _SMALLEST * max(level.shape)) ** 2
    hulls = [np.asarray(cv2.convexHull(np.asarray(contour))) for contour in contours]
    polygons = polygons_of([hull for hull in hulls if cv2.contourArea(hull) > least])
    four = [(polygon + 0.5) * finding.ratio - 0.5 for polygon in polygons if len(polygon) == 4]
    empty = np.zeros((level.shape[0], level.shape[1]), np.int32)
    refined = refine(codes, root_table, four, empty, np.zeros(len(four), np.int32), np.zeros(len(four)),
                     finding.ratio)
    shown = np.zeros((level.shape[0] // _COARSE, level.shape[1] // _COARSE), np.uint8)
    return _apart([_thing(outline, seen, 1.0, codes.shape[:2], shown) for outline, seen in refined if seen >= _SEEN])


def _small(codes: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], float]:
    """The picture reduced by a whole number to about SMALL_SIDE, and that number."""
    every = max(1, round(max(codes.shape[:2]) / SMALL_SIDE))
    if every == 1:
        return codes, 1.0
    rows, cols = codes.shape[0] // every, codes.shape[1] // every
    whole = codes[: rows * every, : cols * every]
    return np.asarray(cv2.resize(whole, (cols, rows), interpolation=cv2.INTER_AREA), np.uint8), float(every)


def _differs(small: NDArray[np.uint8], roots: Singles, backing: Backing) -> _Difference:
    rows, cols = roots.shape[:2]
    plain = cv2.resize(backing.surface.grid(backing.cells.shape), (cols, rows), interpolation=cv2.INTER_LINEAR)
    share = cv2.divide(roots, cv2.max(plain, 0.02, dst=plain), dst=plain)  # in place: fresh memory costs more than sums
    grain = cv2.LUT(np.ascontiguousarray(small[..., 1]), _COARSENESS)
    still = backing.cells.astype(np.uint8)
    tinted, up, down, deep = _unlike(cv2.blur(share, (3, 3)), still, grain, (0.008, 0.006, 0.008))
    sure = tinted | up | deep
    size = (cols // _COARSE, rows // _COARSE)
    coarse_grain = 0.7 * cv2.resize(grain, size, interpolation=cv2.INTER_AREA)
    coarse = cv2.resize(share, size, interpolation=cv2.INTER_AREA)
    tinted, up, faint, _ = _unlike(coarse, still, coarse_grain, (0.0045, 0.004, 0.005))
    thick = cv2.morphologyEx(faint, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    busy = cv2.compare(_busy(cv2.extractChannel(share, 1), size), coarse_grain + _BUSY, cv2.CMP_GT) & 1
    return _Difference(sure, down & ~sure, tinted | up | thick | busy, busy)


def _busy(share: Singles, size: tuple[int, int]) -> Singles:
    """How much each coarse cell holds of sharp detail, which a print has and a shadow has not: root mean square."""
    detail = cv2.blur(share, (5, 5))
    cv2.subtract(share, detail, dst=detail)
    cv2.multiply(detail, detail, dst=detail)
    return np.asarray(cv2.sqrt(cv2.resize(detail, size, interpolation=cv2.INTER_AREA)))


def _unlike(share: Singles, still: Mask, grain: Singles, least: tuple[float, float, float]) -> tuple[Mask, ...]:
    """Where the share of the backing's light has another tint, more light, less light, or less than any shadow."""
    usual, limits = _still_values(share, still, least)
    rows = np.column_stack([_OPPONENT, -usual]).astype(np.float32)
    away = cv2.transform(share, rows[1:2])
    bound = cv2.add(grain, float(limits[1]))
    tinted = cv2.compare(cv2.absdiff(away, 0.0, dst=away), bound, cv2.CMP_GT)
    away = cv2.transform(share, rows[2:3], dst=away)
    bound = cv2.add(grain, float(limits[2]), dst=bound)
    tinted |= cv2.compare(cv2.absdiff(away, 0.0, dst=away), bound, cv2.CMP_GT)
    away = cv2.transform(share, rows[0:1], dst=away)
    bound = cv2.addWeighted(grain, 0.5, grain, 0.0, float(limits[0]), dst=bound)
    up = cv2.compare(away, bound, cv2.CMP_GT)
    down = cv2.compare(away, cv2.multiply(bound, -1.0, dst=bound), cv2.CMP_LT)
    deep = cv2.compare(away, float(_SHADOW - usual[0]), cv2.CMP_LT)
    return tinted & 1, up & 1, down & 1, deep & 1


def _still_values(share: Singles, still: Mask, least: tuple[float, float, float]) -> tuple[Floats, Floats]:
    """Middle of level and tints where the backing shows, and how far from it still counts as backing: (3,) each."""
    every = max(1, min(share.shape[:2]) // 64)
    few = share[::every, ::every]
    row, col = (np.arange(few.shape[axis]) * every * still.shape[axis] // share.shape[axis] for axis in (0, 1))
    where = still[np.ix_(row, col)] > 0
    if not where.any():
        return np.array([1.0, 0, 0]), np.asarray(least, float)
    values = few[where] @ _OPPONENT.T
    usual = np.median(values, axis=0)
    typical, odd = np.quantile(np.abs(values - usual), (0.5, 0.99), axis=0)
    return usual, np.maximum.reduce([5 * 1.4826 * typical, 0.7 * odd, np.asarray(least)])


def _disc(size: int) -> Mask:
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)), np.uint8)


def _without_thin_shadows(difference: _Difference) -> Mask:
    """Join neutral areas too thick for a shadow to what surely is a piece; drop threads and specks."""
    core = cv2.morphologyEx(difference.maybe, cv2.MORPH_OPEN, _disc(11))
    thick = cv2.dilate(core, _disc(5)) & difference.maybe
    mask = cv2.morphologyEx(difference.sure | thick, cv2.MORPH_CLOSE, _disc(5))
    return np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, _disc(7)), np.uint8)


def _guesses(mask: Mask, faint: Mask) -> tuple[list[_Guess], NDArray[np.int32]]:
    """Polygons that may be pieces, and the regions (coarse picture, 0: backing) that they belong to."""
    least = 0.6 * (_SMALLEST * max(mask.shape)) ** 2
    coarse = cv2.resize(mask, faint.shape[::-1], interpolation=cv2.INTER_AREA) | faint
    coarse = cv2.morphologyEx(cv2.morphologyEx(coarse, cv2.MORPH_CLOSE, _disc(5)), cv2.MORPH_OPEN, _disc(3))
    _, regions = cv2.connectedComponents(coarse)
    single = [part for contour in _contours(mask, least) for part in _parts(contour, least)]
    ragged = [_is_ragged(part) for part in single]
    filled = [np.asarray(cv2.convexHull(part)) if torn else part for part, torn in zip(single, ragged, strict=True)]
    guesses = [_Guess(polygon, int(np.bincount(_region_at(regions, part[:, 0])).argmax()), False, torn, solidity(part))
               for part, polygon, torn in zip(single, polygons_of(filled), ragged, strict=True)]
    joined = [(hull, region, solidity(contour)) for contour in _contours(coarse, least / _COARSE**2)
              for hull, region in _joined(contour, regions, guesses)]
    polygons = polygons_of([hull for hull, _, _ in joined])
    guesses += [_Guess(polygon, region, True, False, solid)
                for polygon, (_, region, solid) in zip(polygons, joined, strict=True)]
    return guesses, regions


def _contours(mask: Mask, least: float) -> list[NDArray[np.int32]]:
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return [np.asarray(contour) for contour in contours if cv2.contourArea(contour) >= least]


def _is_ragged(contour: NDArray[np.int32]) -> bool:
    """Whether a shape has hollows with ragged sides, as paint has, not the straight ones of a cut piece."""
    if solidity(contour) >= 0.9:
        return False
    corners = cv2.approxPolyDP(contour, 0.015 * cv2.arcLength(contour, True), True)
    return len(corners) > _HOLLOW_CORNERS or solidity(contour) <= 0.5


def _region_at(regions: NDArray[np.int32], points: NDArray[np.int32]) -> NDArray[np.int32]:
    """Regions at (col, row) points of the small picture."""
    cell = np.minimum(points // _COARSE, np.array(regions.shape[::-1]) - 1)
    return np.asarray(regions[cell[:, 1], cell[:, 0]])


def _joined(
    contour: NDArray[np.int32], regions: NDArray[np.int32], singles: list[_Guess]
) -> list[tuple[NDArray[np.int32], int]]:
    """The hull of all that a region of the coarse map holds, unless a single guess says the same; and the region."""
    region = int(regions[contour[0, 0, 1], contour[0, 0, 0]])
    hull = np.asarray(cv2.convexHull(((contour.astype(np.float32) + 0.5) * _COARSE - 0.5).round().astype(np.int32)))
    area = cv2.contourArea(hull) - _COARSE / 2 * cv2.arcLength(hull, True)  # its cells reach beyond the edge
    alike = any(abs(turn(guess.polygon)) / 2 > 0.88 * area for guess in singles if guess.region == region)
    return [] if region == 0 or alike else [(hull, region)]


def _parts(contour: NDArray[np.int32], least: float) -> list[NDArray[np.int32]]:
    """Split a shape made of pieces that touch, where a narrow neck joins two solid parts."""
    if solidity(contour) >= 0.9:
        return [contour]
    col, row, width, height = cv2.boundingRect(contour)
    filled = np.zeros((height + 2, width + 2), np.uint8)
    cv2.drawContours(filled, [contour - (col - 1, row - 1)], -1, 1, cv2.FILLED)
    depth = cv2.distanceTransform(filled, cv2.DIST_L2, 5)
    for share in (0.35, 0.5, 0.65, 0.8):
        count, cores = cv2.connectedComponents((depth > share * depth.max()).astype(np.uint8))
        if count < 3:
            continue
        markers = np.asarray(np.where(filled > 0, cores, count), np.int32)
        relief = cv2.merge([255 - cv2.convertScaleAbs(depth, alpha=255 / float(depth.max()))] * 3)
        markers = cv2.watershed(relief, markers)
        parts = [part for core in range(1, count) for part in _contours((markers == core).astype(np.uint8), least)]
        if len(parts) >= 2 and min(map(solidity, parts)) > max(0.9, solidity(contour)):
            return [part + (col - 1, row - 1) for part in parts]
    return [contour]


def _best(guesses: list[_Guess], things: list[Thing], shape: tuple[int, int]) -> tuple[Thing, ...]:
    """In each region keep the fragments or what joins them, whichever the edges bear out."""
    kept: list[Thing] = []
    for region in sorted({guess.region for guess in guesses}):
        mine = [(guess, thing) for guess, thing in zip(guesses, things, strict=True) if guess.region == region]
        single = [thing for guess, thing in mine if not guess.joined]
        even = [thing for guess, thing in mine if not guess.joined and not guess.ragged]
        joined = [thing for guess, thing in mine if guess.joined]
        kept += joined if joined and _better_joined(joined[0], single, even) else _without_crumbs(single)
    kept = [thing for thing in kept if _is_broad(thing, max(shape)) and thing.area < _MOST * shape[0] * shape[1]]
    return _apart([thing for thing in kept if thing.confirmed >= _SEEN or thing.strong >= _STRONG])


def _is_broad(thing: Thing, size: int) -> bool:
    """Whether a thing is more than a crumb or a thread, against the picture's long side."""
    around = float(np.hypot(*(thing.outline - np.roll(thing.outline, 1, axis=0)).T).sum())
    return thing.area >= (_SMALLEST * size) ** 2 and 2 * thing.area >= _THINNEST * size * around


def _without_crumbs(single: list[Thing]) -> list[Thing]:
    """Without what is much smaller than the largest of its region: corners of a print whose ground does not show."""
    least = _CRUMB * max((thing.area for thing in single), default=0.0)
    return [thing for thing in single if thing.area >= least]


def _apart(things: list[Thing]) -> tuple[Thing, ...]:
    """Without the things that lie mostly inside a larger one."""
    kept: list[Thing] = []
    for thing in sorted(things, key=lambda thing: -thing.area):
        points = thing.outline[:, ::-1].astype(np.float32)
        if not any(_overlap(points, other) > 0.5 * thing.area for other in kept):
            kept.append(thing)
    return tuple(kept)


def _overlap(points: Singles, other: Thing) -> float:
    """Area that the hulls of two outlines share."""
    hull = cv2.convexHull(other.outline[:, ::-1].astype(np.float32))
    return float(cv2.intersectConvexConvex(cv2.convexHull(points), hull)[0])


def _better_joined(joined: Thing, single: list[Thing], even: list[Thing]) -> bool:
    """Whether what joins the fragments is the piece, rather than one or several of them."""
    if joined.strong < _STRONG or (len(single) > 1 and joined.confirmed < _HARDLY_SEEN):
        return not single
    whole = [thing for thing in even if thing.solidity > 0.9 and thing.confirmed >= _SEEN]
    well = [thing for thing in whole if thing.confirmed >= _WELL_SEEN]
    if len(well) >= 2 and sum(thing.area for thing in well) > 0.4 * joined.area:
        return False
    if max((thing.area for thing in whole), default=0.0) > 0.6 * joined.area:
        return joined.confirmed > max(thing.confirmed for thing in whole) + 0.1
    return joined.confirmed >= _WELL_SEEN or not whole or (len(single) >= _MANY and joined.strong > _MOSTLY)


def _thing(outline: Floats, confirmed: float, solid: float, shape: tuple[int, int], shown: Mask) -> Thing:
    points = outline[:, ::-1].astype(np.float32)
    (_, (width, height), _) = cv2.minAreaRect(points)
    area = max(turn(outline) / 2, 0.0)
    at_frame = bool((outline < 2).any() or (outline > np.array(shape) - 3).any())
    return Thing(outline, area, confirmed, width * height, max(width, height) / max(min(width, height), 1e-6),
                 solid, at_frame, _share_inside(points * (shown.shape[1] / shape[1]), shown))


def _share_inside(points: Singles, mask: Mask) -> float:
    """Share of a polygon (col, row) that a mask covers."""
    size = np.array(mask.shape[::-1])
    low = np.clip(np.floor(points.min(axis=0)).astype(int), 0, size - 1)
    high = np.clip(np.ceil(points.max(axis=0)).astype(int) + 1, low + 1, size)
    box = np.ascontiguousarray(mask[low[1] : high[1], low[0] : high[0]])
    inside = np.zeros_like(box)
    cv2.fillPoly(inside, [(points - low).round().astype(np.int32)], 1)
    return cv2.countNonZero(inside & box) / max(cv2.countNonZero(inside), 1)
