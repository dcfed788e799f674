"""Polygons as arrays of (row, col) corners, clockwise on the picture: fitted, simplified, rebuilt from their sides."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ROUND_SIDES = 24  # sides given to a shape without corners [design choice]
_MOST_CORNERS = 6  # a cut shape with more is treated as round


@dataclass(frozen=True)
class Sides:
    """The sides of several polygons in one list: where each starts, runs, faces, how long it is, and whose it is."""

    start: Floats  # (sides, 2)
    along: Floats  # (sides, 2) unit vector, clockwise
    out: Floats  # (sides, 2) unit vector away from the piece
    length: Floats  # (sides,)
    owner: NDArray[np.int64]  # (sides,) index of the polygon


def sides_of(polygons: list[Floats]) -> Sides:
    """Return the sides of all polygons in one list."""
    start = np.concatenate(polygons)
    end = np.concatenate([np.roll(polygon, -1, axis=0) for polygon in polygons])
    length = np.maximum(np.hypot(*(end - start).T), 1e-6)
    along = (end - start) / length[:, None]
    out = np.stack([-along[:, 1], along[:, 0]], axis=1)  # left of the way round, rows running down
    owner = np.repeat(np.arange(len(polygons)), [len(polygon) for polygon in polygons])
    return Sides(start, along, out, length, owner)


def turn(corners: Floats) -> float:
    """Return twice the signed area: positive for corners that run clockwise on the picture."""
    row, col = corners.T
    return float(np.sum(col * np.roll(row, -1) - np.roll(col, -1) * row))


def clockwise(corners: Floats) -> Floats:
    """Return the corners in clockwise order on the picture."""
    return corners if turn(corners) >= 0 else corners[::-1]


def solidity(contour: NDArray[np.int32]) -> float:
    """Return the area of a contour over that of its convex hull."""
    return float(cv2.contourArea(contour) / max(cv2.contourArea(cv2.convexHull(contour)), 1.0))


def polygon_of(contour: NDArray[np.int32]) -> Floats:
    """
    Return straight sides for an OpenCV contour: few for a cut shape, ROUND_SIDES for a round one.

    A shape that is far from convex keeps its hollows.
    """
    if solidity(contour) < 0.88:
        return clockwise(cv2.approxPolyDP(contour, 0.012 * cv2.arcLength(contour, True), True)[:, 0, ::-1].astype(float))
    hull = cv2.convexHull(contour)
    corners = _fewer_sides(clockwise(cv2.approxPolyDP(hull, max(1.2, 0.003 * cv2.arcLength(hull, True)), True)[:, 0, ::-1].astype(float)))
    if len(corners) > _MOST_CORNERS:
        return _round(clockwise(hull[:, 0, ::-1].astype(float)))
    return _fitted(corners, contour[:: max(1, len(contour) // 160), 0, ::-1].astype(float))


def meetings(middle: Floats, direction: Floats, fallback: Floats) -> Floats:
    """Return where each side meets the one before it; nearly parallel neighbours keep their fallback corner."""
    direction = direction / np.linalg.norm(direction, axis=1, keepdims=True)
    previous_middle, previous = np.roll(middle, 1, axis=0), np.roll(direction, 1, axis=0)
    cross = _cross(previous, direction)
    usable = np.abs(cross) > 0.08
    reach = _cross(middle - previous_middle, direction) / np.where(usable, cross, 1)
    return np.where(usable[:, None], previous_middle + reach[:, None] * previous, fallback)


def robust_lines(x: Floats, y: Floats, trust: Floats) -> tuple[Floats, Floats]:
    """
    Return middle and slope of a line through each row of points, points far off weighted down.

    Iteratively reweighted least squares with squared Cauchy weights; `trust` is each point's weight to begin with.
    """
    weight = trust
    for _ in range(4):
        whole = weight.sum(axis=1, keepdims=True)
        mean_x, mean_y = (weight * x).sum(1, keepdims=True) / whole, (weight * y).sum(1, keepdims=True) / whole
        spread = (weight * (x - mean_x) ** 2).sum(1, keepdims=True)
        slope = (weight * (x - mean_x) * (y - mean_y)).sum(1, keepdims=True) / np.maximum(spread, 1e-9)
        middle = mean_y - slope * mean_x
        away = np.abs(y - middle - slope * x)
        usual = (trust * np.minimum(away, 3)).sum(1, keepdims=True) / trust.sum(1, keepdims=True)
        weight = trust / (1 + (away / np.maximum(usual, 0.1)) ** 2) ** 2
    return middle[:, 0], slope[:, 0]


def _cross(a: Floats, b: Floats) -> Floats:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def _round(hull: Floats) -> Floats:
    """ROUND_SIDES corners at equal steps along a closed hull."""
    closed = np.vstack([hull, hull[:1]])
    place = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    wanted = np.arange(ROUND_SIDES) / ROUND_SIDES * place[-1]
    return np.stack([np.interp(wanted, place, closed[:, 0]), np.interp(wanted, place, closed[:, 1])], axis=1)


def _fitted(corners: Floats, points: Floats) -> Floats:
    """Sides laid through the contour points they pass, bumps weighted down; corners where they meet."""
    sides = sides_of([corners])
    relative = points[:, None] - sides.start[None]
    place = (relative * sides.along[None]).sum(axis=2)
    away = (relative * sides.out[None]).sum(axis=2)
    on = (place > 0.08 * sides.length) & (place < 0.92 * sides.length)
    distance = np.where(on, np.abs(away), np.inf)
    own = on & (distance == distance.min(axis=1, keepdims=True))
    if own.sum(axis=0).min() < 4:
        return corners
    shift, tilt = robust_lines((place - sides.length / 2).T, away.T, own.T.astype(float) + 1e-9)
    middle = sides.start + sides.along * sides.length[:, None] / 2 + sides.out * shift[:, None]
    return meetings(middle, sides.along + sides.out * tilt[:, None], corners)


def _fewer_sides(corners: Floats) -> Floats:
    """Drop sides of a convex polygon while lengthening their neighbours adds next to no area."""
    area = abs(turn(corners)) / 2
    spent = 0.0
    while len(corners) > 3:
        added, meeting = _cost_of_dropping(corners)
        side = int(np.argmin(added))
        limit = 0.02 if len(corners) > 4 else 0.012
        if added[side] > limit * area or spent + added[side] > 0.05 * area:
            break
        spent += float(added[side])
        corners = corners.copy()
        corners[side] = meeting[side]
        corners = np.delete(corners, (side + 1) % len(corners), axis=0)
    return corners


def _cost_of_dropping(corners: Floats) -> tuple[Floats, Floats]:
    """Area added by dropping each side (corner i to i + 1), and where its neighbours then meet."""
    before, start, end, after = (np.roll(corners, shift, axis=0) for shift in (1, 0, -1, -2))
    ahead, back, gap = start - before, end - after, end - start
    cross = _cross(ahead, back)
    along = _cross(gap, back) / np.where(np.abs(cross) < 1e-9, 1e-9, cross)
    meeting = start + along[:, None] * ahead
    added = np.abs(_cross(gap, meeting - start)) / 2
    outward = (along > 0) & (((meeting - end) * back).sum(axis=1) > 0)
    return np.where(outward & (np.abs(cross) > 1e-9), added, np.inf), meeting
