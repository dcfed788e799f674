"""
Cut edges to a fraction of a pixel: each side of a polygon moved to the first sharp step met on the way in.

Cloth casts a soft shadow on the board, and a print has strong edges of its own inside the rim; so the strongest step
is not the one wanted. Wanted is the first that is a step, not a ramp, coming from the board.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from contrastkit.camera.polygons import ROUND_SIDES, Floats, Sides, meetings, robust_lines, sides_of, turn

Singles = NDArray[np.float32]

# All design choices, in samples or pixels of the working picture.
_STEP = 0.5  # pixels between samples across a side
_OUT, _IN = 44, 24  # samples looked at outside and inside a side
_STRETCHES = 8  # parts of a side judged apart
_MOST_ROWS = 32_000  # below SHRT_MAX
_ACROSS = 40  # places along a side where it is looked at, a multiple of _STRETCHES
_LEANS = (0, -3, 3, -6, 6, -10, 10)  # samples that an edge may lie further in at the side's end than at its middle
_FINE = 0.8  # pixels, smoothing of the finer of two slopes
_SHARP_SHARE = 0.46  # of the slope must be a step; a step blurred by the lens keeps 0.6, a shadow 3 pixels soft 0.36
_RINGING = 0.08  # share of a strong edge that its ringing in a JPEG may reach
_RING_REACH = 18  # samples: how far from the edge (a chroma block of 16 full-resolution pixels)
_LEAST_STEP = 0.0022  # cube-root units per pixel: a step of about 2 % in light
_DEEPEST_SHADOW = 0.72  # cube root of the share of light left in the deepest shadow looked past
_LIT_SHARE = 0.4  # of the outline that is seen lies off the shadow
_SHADOW_REACH = 28  # samples from a shadow's edge to the piece that casts it, at most
_AGREE = 6  # stretches, of _STRETCHES, that must show the edge on one line
_ON_EDGE = 3.0  # pixels from a sharp edge at which a side that was set by hand still lies on it


def refine(
    codes: NDArray[np.uint8],
    root_table: Singles,
    polygons: list[Floats],
    labels: NDArray[np.int32],
    owners: NDArray[np.int32],
    unseen: Floats,
    ratio: float,
) -> list[tuple[Floats, float]]:
    """
    Return each polygon with its sides moved to the cut edge, and the share of its outline seen as a sharp edge.

    `labels` is a map of things (0: backing), `ratio` pixels per pixel of that map, `owners` the label each polygon may
    cross, `unseen` how far out each polygon's sides go where no edge shows (pixels).
    """
    if not polygons:
        return []
    sides = sides_of(polygons)
    offsets = np.asarray((_OUT - np.arange(_OUT + _IN + 1)) * _STEP, float)  # from outside to inside
    stretches = _profiles(codes, root_table, sides, offsets)
    foreign = _foreign(labels, owners[sides.owner], sides, offsets, ratio)
    shift, tilt, seen = _edges(stretches, foreign, sides, offsets)
    result = []
    for index, polygon in enumerate(polygons):
        mine = sides.owner == index
        shifts = np.where(seen[mine], shift[mine], unseen[index])
        moved = (sides.along[mine], sides.out[mine], sides.length[mine], shifts, tilt[mine], seen[mine])
        result.append(_rounded(polygon, *moved) if len(polygon) == ROUND_SIDES else _cornered(polygon, *moved))
    return result


def seen_along(codes: NDArray[np.uint8], root_table: Singles, polygons: list[Floats]) -> list[float]:
    """Return the share of each polygon's outline that lies on a sharp edge as it is; none of them is moved."""
    if not polygons:
        return []
    sides = sides_of(polygons)
    offsets = np.asarray((_OUT - np.arange(_OUT + _IN + 1)) * _STEP, float)
    stretches = _profiles(codes, root_table, sides, offsets)
    beyond = np.broadcast_to(offsets > _ON_EDGE + 2, (len(sides.length), len(offsets)))  # not looked at, as if foreign
    shift, _, seen = _edges(stretches, beyond, sides, offsets)
    on_edge = sides.length * (seen & (np.abs(shift) <= _ON_EDGE))
    return [float(on_edge[sides.owner == index].sum() / sides.length[sides.owner == index].sum())
            for index in range(len(polygons))]


def _profiles(codes: NDArray[np.uint8], root_table: Singles, sides: Sides, offsets: Floats) -> Singles:
    """Cube-root colours across each side, averaged over its stretches: (stretches, offsets, sides, 3)."""
    row, col = (spot.reshape(-1, len(offsets)) for spot in _spots(sides, offsets, _ACROSS))
    picked = np.concatenate([  # a picture of more rows than that is more than OpenCV takes
        cv2.remap(codes, col[at : at + _MOST_ROWS], row[at : at + _MOST_ROWS], cv2.INTER_LINEAR,
                  borderMode=cv2.BORDER_REPLICATE)
        for at in range(0, len(row), _MOST_ROWS)
    ])  # fmt: skip
    roots = cv2.LUT(picked, np.ascontiguousarray(root_table.T[None]))
    size = (len(offsets), len(sides.start) * _STRETCHES)
    means = cv2.resize(roots, size, interpolation=cv2.INTER_AREA)
    ordered = means.reshape(len(sides.start), _STRETCHES, len(offsets), 3).transpose(1, 2, 0, 3)
    return np.ascontiguousarray(ordered)


def _spots(sides: Sides, offsets: Floats, places: int) -> tuple[Singles, Singles]:
    """Rows and columns of samples along each side and across it: (sides, places, offsets) each."""
    where = np.linspace(0.07, 0.93, places)
    spots = []
    for axis in (0, 1):
        along = sides.start[:, axis, None] + where * (sides.length * sides.along[:, axis])[:, None]
        across = offsets * sides.out[:, axis, None]
        spots.append(along.astype(np.float32)[:, :, None] + across.astype(np.float32)[:, None])
    return spots[0], spots[1]


def _foreign(
    labels: NDArray[np.int32], owner: NDArray[np.int32], sides: Sides, offsets: Floats, ratio: float
) -> NDArray[np.bool_]:
    """Whether a quarter of a side meets something else at each offset, or leaves the picture: (sides, offsets)."""
    row, col = (((spot + 0.5) * np.float32(1 / ratio)).astype(np.int32) for spot in _spots(sides, offsets, _STRETCHES))
    inside = (row >= 0) & (col >= 0) & (row < labels.shape[0]) & (col < labels.shape[1])
    met = labels[np.where(inside, row, 0), np.where(inside, col, 0)]
    return np.asarray((((met > 0) & (met != owner[:, None, None])) | ~inside).mean(axis=1) > 0.25)


@lru_cache(maxsize=4)
def _slope_matrix(samples: int, sigma: float) -> Singles:
    """Matrix that gives the slope per pixel at every sample, smoothed by a Gaussian of `sigma` pixels."""
    reach = int(np.ceil(3 * sigma / _STEP))
    x = np.arange(-reach, reach + 1) * _STEP
    kernel = x * np.exp(-x * x / (2 * sigma * sigma))
    kernel /= (kernel * x).sum()
    matrix = np.zeros((samples, samples), np.float32)
    for row in range(samples):
        np.add.at(matrix[row], np.clip(np.arange(row - reach, row + reach + 1), 0, samples - 1), kernel)
    matrix.flags.writeable = False
    return matrix


def _sharpness(profile: Singles) -> tuple[Singles, Singles]:
    """
    How much of the slope at each place is a step, and what share of it: (offsets, sides) each, of (offsets, sides, 3).

    The slope of a step falls as the smoothing grows (as 1/sigma); that of a soft shadow hardly does. The difference
    of the two is 0.33 of the step's height per pixel, two thirds of the whole, and little on a ramp.
    """
    flat = profile.reshape(len(profile), -1)
    fine = (_slope_matrix(len(profile), _FINE) @ flat).reshape(profile.shape)
    coarse = (_slope_matrix(len(profile), 3 * _FINE) @ flat).reshape(profile.shape)
    size = np.sqrt(np.einsum("tsc,tsc->ts", fine, fine))
    sharp = size - np.maximum(np.einsum("tsc,tsc->ts", fine, coarse) / np.maximum(size, 1e-9), 0)
    return sharp, sharp / np.maximum(size, 1e-9)


@dataclass(frozen=True)
class _Found:
    """Each side's edge: shift outward (pixels), tilt (pixels per pixel), the sample it lies at, whether it was seen."""

    shift: Floats
    tilt: Floats
    at: NDArray[np.intp]
    seen: NDArray[np.bool_]


def _edges(
    stretches: Singles, foreign: NDArray[np.bool_], sides: Sides, offsets: Floats
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Shift outward (pixels) and tilt (pixels per pixel) of each side's sharp edge, and whether one was seen."""
    leans, sharp = _sharpest_lean(stretches, sides.length)
    allowed = _where_to_look(foreign, sides, offsets)
    peaks = _peaks(sharp, allowed, max(6 * _noise(sharp, allowed, offsets), _LEAST_STEP))
    first = _settled(stretches, peaks, sharp, leans, sides.length, offsets)
    shaded = first.seen & _may_be_shadow(stretches, first.at) & _stronger_ahead(peaks, sharp, first.at)
    dim, clear = (np.bincount(sides.owner, sides.length * chosen)[sides.owner]
                  for chosen in (shaded, first.seen & ~shaded))
    again = shaded & (clear > _LIT_SHARE * (dim + clear))  # a rim goes all round, a shadow falls to one side
    further = _settled(stretches, peaks & again[:, None] & (np.arange(sharp.shape[1]) > first.at[:, None] + 4), sharp,
                       leans, sides.length, offsets)
    moved = again & further.seen
    return (np.where(moved, further.shift, first.shift), np.where(moved, further.tilt, first.tilt),
            first.seen | moved)


def _settled(
    stretches: Singles, peaks: NDArray[np.bool_], sharp: Singles, leans: Singles, length: Floats, offsets: Floats
) -> _Found:
    """The first peak of each side on which its stretches agree: one on which they disagree is no edge."""
    peaks = peaks.copy()
    shift, tilt = np.zeros(len(sharp)), np.zeros(len(sharp))
    spot, seen = np.zeros(len(sharp), np.intp), np.zeros(len(sharp), bool)
    for _ in range(4):
        sides = np.flatnonzero(~seen & peaks.any(axis=1))
        if not sides.size:
            break
        at = _first(peaks[sides], sharp[sides])
        shift[sides], tilt[sides], agreeing = _lines(
            stretches[:, :, sides], offsets, at, leans[sides, at], length[sides])
        seen[sides], spot[sides] = agreeing >= _AGREE, at
        peaks[sides] &= np.arange(sharp.shape[1]) > at[:, None]
    return _Found(np.where(seen, shift, 0.0), np.where(seen, tilt, 0.0), spot, seen)


def _may_be_shadow(stretches: Singles, at: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Whether each side's step is to less light of the same colour, as into the shadow that a piece casts."""
    mean = stretches.mean(axis=0)  # (offsets, sides, 3)
    side = np.arange(len(at))
    outside = mean[np.maximum(at - 5, 0), side]
    share = mean[np.minimum(at + 5, len(mean) - 1), side] / np.maximum(outside, 0.02)
    level = share.mean(axis=1)
    alike = np.abs(share - level[:, None]).max(axis=1) < 0.012 + 0.004 / np.maximum(outside.min(axis=1), 0.02)
    return np.asarray((level > _DEEPEST_SHADOW) & (level < 1) & alike)


def _stronger_ahead(peaks: NDArray[np.bool_], sharp: Singles, at: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Whether a much sharper step follows each side's within the reach of a shadow."""
    step = np.arange(sharp.shape[1]) - at[:, None]
    ahead = np.where(peaks & (step > 4) & (step <= _SHADOW_REACH), sharp, 0).max(axis=1)
    return np.asarray(ahead > 1.5 * sharp[np.arange(len(at)), at])


def _sharpest_lean(stretches: Singles, length: Floats) -> tuple[Singles, Singles]:
    """The lean of the edge that makes each place on the way in sharpest, and that sharpness: (sides, offsets) each."""
    samples, sides = stretches.shape[1:3]
    best = np.zeros((samples, sides), np.float32)
    leans = np.zeros_like(best)
    padded = np.pad(stretches, ((0, 0), (max(_LEANS), max(_LEANS)), (0, 0), (0, 0)), mode="edge")
    for lean in _LEANS:
        starts = max(_LEANS) + np.round(lean * _stretch_places()).astype(int)
        straight = sum(padded[stretch, start : start + samples] for stretch, start in enumerate(starts)) / _STRETCHES
        sharp, share = _sharpness(np.asarray(straight, np.float32))
        sharp = np.where((share > _SHARP_SHARE) & (abs(lean) * _STEP <= 0.15 * length), sharp, 0)
        leans[sharp > best] = lean
        best = np.maximum(best, sharp)
    return np.ascontiguousarray(leans.T), np.ascontiguousarray(best.T)


def _stretch_places() -> Floats:
    """Middles of the stretches along a side, -1 at its start to 1 at its end."""
    return np.linspace(-1, 1, 2 * _STRETCHES + 1)[1::2]


def _where_to_look(foreign: NDArray[np.bool_], sides: Sides, offsets: Floats) -> NDArray[np.bool_]:
    """Samples within reach of each side and short of any other piece: (sides, offsets)."""
    size = np.sqrt(np.bincount(sides.owner, sides.length**2)[sides.owner] / 2)
    reach = np.clip(0.14 * size, 5, _OUT * _STEP)[:, None]
    depth = np.clip(0.12 * size, 4, _IN * _STEP)[:, None]
    nearest = np.where(foreign & (offsets > 0), offsets, np.inf).min(axis=1)
    return np.asarray((offsets <= reach) & (offsets >= -depth) & (offsets < nearest[:, None] - 2))


def _noise(sharp: Singles, allowed: NDArray[np.bool_], offsets: Floats) -> float:
    """Sharpness of the plain backing: the middle of what the outermost stretches show."""
    outer = allowed & (offsets > 6)
    values = sharp[outer] if outer.sum() > 50 else sharp
    values = values[values > 0]
    return float(np.median(values)) if values.size else 0.0


def _peaks(sharp: Singles, allowed: NDArray[np.bool_], least: float) -> NDArray[np.bool_]:
    """Local maxima that stand clear of noise and of the ringing of a stronger edge ahead."""
    peak = np.zeros(sharp.shape, bool)
    peak[:, 1:-1] = (sharp[:, 1:-1] >= sharp[:, :-2]) & (sharp[:, 1:-1] > sharp[:, 2:])
    padded = np.pad(sharp, ((0, 0), (0, _RING_REACH)))
    ahead = np.lib.stride_tricks.sliding_window_view(padded, _RING_REACH + 1, axis=1).max(axis=2)
    return np.asarray(peak & allowed & (sharp > least) & (sharp > _RINGING * ahead))


def _first(peaks: NDArray[np.bool_], sharp: Singles) -> NDArray[np.intp]:
    """The first peak of each side, or the stronger one within two pixels that it is a flank of."""
    window = np.clip(peaks.argmax(axis=1)[:, None] + np.arange(5), 0, sharp.shape[1] - 1)
    best = np.take_along_axis(np.where(peaks, sharp, 0), window, axis=1).argmax(axis=1)
    return np.take_along_axis(window, best[:, None], axis=1)[:, 0]


def _lines(
    stretches: Singles, offsets: Floats, at: NDArray[np.intp], lean: Singles, length: Floats
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Fit the edge line near sample `at`: shift at the side's middle, tilt, and how many stretches agree."""
    count, samples = stretches.shape[:2]
    where = _stretch_places()
    middle = np.clip(at[:, None] + np.round(lean[:, None] * where).astype(int), 0, samples - 1)  # (sides, stretches)
    level = np.einsum("btsc,sc->tsb", stretches, _step_across(stretches, middle))
    slopes = (_slope_matrix(samples, _FINE) @ level.reshape(samples, -1)).reshape(samples, -1, count).transpose(1, 2, 0)
    window = np.clip(middle[:, :, None] + np.arange(-6, 7), 0, samples - 1)
    near = np.maximum(np.take_along_axis(slopes, window, axis=2), 0)
    weight = near * (near > 0.5 * near.max(axis=2, keepdims=True))
    total = weight.sum(axis=2)
    spot = (weight * offsets[window]).sum(axis=2) / np.maximum(total, 1e-12)
    along = where[None] * 0.43 * length[:, None]
    good = total > 0.25 * np.median(total, axis=1, keepdims=True)
    shift, tilt = robust_lines(along, spot, good + 1e-6)
    good &= np.abs(spot - shift[:, None] - tilt[:, None] * along) < 1.5
    return shift, tilt, good.sum(axis=1)


def _step_across(stretches: Singles, middle: NDArray[np.intp]) -> Singles:
    """Direction in colour of the step at each side's edge, unit length: (sides, 3)."""
    samples = stretches.shape[1]
    side, stretch = np.ogrid[: stretches.shape[2], : stretches.shape[0]]
    after = stretches[stretch, np.minimum(middle + 4, samples - 1), side]
    before = stretches[stretch, np.maximum(middle - 4, 0), side]
    step = (after - before).mean(axis=1)
    return np.asarray(step / np.maximum(np.linalg.norm(step, axis=1, keepdims=True), 1e-9), np.float32)


def _cornered(
    polygon: Floats, along: Floats, out: Floats, length: Floats, shift: Floats, tilt: Floats, seen: NDArray[np.bool_]
) -> tuple[Floats, float]:
    """Corners where the moved sides meet; a side with no sharp edge, a tip of shadow, goes if little goes too."""
    share = float(length[seen].sum() / length.sum())
    middle = polygon + along * length[:, None] / 2 + out * shift[:, None]
    direction = along + out * tilt[:, None]
    corners = _not_astray(meetings(middle, direction, polygon), polygon, length)
    keep = seen | (length > 0.6 * length.max())
    if keep.all() or keep.sum() < 3:
        return corners, share
    fewer = meetings(middle[keep], direction[keep], polygon[keep])
    alike = abs(turn(fewer) - turn(corners)) < 0.1 * abs(turn(corners))
    return (fewer if alike else corners), share


def _not_astray(corners: Floats, polygon: Floats, length: Floats) -> Floats:
    """Corners that moved unreasonably far go back to where they were guessed."""
    astray = np.hypot(*(corners - polygon).T) > np.maximum(12, 0.3 * length.max())
    return np.where(astray[:, None], polygon, corners)


def _rounded(
    polygon: Floats, along: Floats, out: Floats, length: Floats, shift: Floats, tilt: Floats, seen: NDArray[np.bool_]
) -> tuple[Floats, float]:
    """A round outline moved by what most of its neighbouring sides say."""
    known = np.where(seen, shift, np.nan)
    near = np.stack([np.roll(known, step) for step in range(-2, 3)])
    enough = np.isfinite(near).sum(axis=0) >= 2
    usual = np.nanmedian(known) if seen.any() else float(shift[0])
    moved = np.where(enough, np.nanmedian(np.where(enough, near, usual), axis=0), usual)
    middle = polygon + along * length[:, None] / 2 + out * moved[:, None]
    return meetings(middle, along, polygon), float(length[seen].sum() / length.sum())
