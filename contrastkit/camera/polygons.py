"""Polygons as arrays of (row, col) corners, clockwise on the picture: fitted, simplified, rebuilt from their sides."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ROUND_SIDES = 16  # sides given to a shape without corners [design choice]
_MOST_CORNERS = 6  # a cut shape with more is treated as round
_CONVEX = 0.88  # solidity from which a shape is taken for convex
_POINTS = 120  # contour points used to lay sides through


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


def polygons_of(contours: list[NDArray[np.int32]]) -> list[Floats]:
    """
    Return straight sides for OpenCV contours: few for a cut shape, ROUND_SIDES for a round one.

    A shape that is far from convex keeps its hollows.
    """
    convex = [solidity(contour) >= _CONVEX for contour in contours]
    polygons = [_convex_outline(contour) if even else _hollow_outline(contour)
                for contour, even in zip(contours, convex, strict=True)]
    fitted = [index for index, polygon in enumerate(polygons) if convex[index] and len(polygon) <= _MOST_CORNERS]
    points = [contours[index][:: max(1, len(contours[index]) // _POINTS), 0, ::-1].astype(float) for index in fitted]
    for index, corners in zip(fitted, _fitted([polygons[index] for index in fitted], points), strict=True):
        polygons[index] = corners
    return polygons


def _hollow_outline(contour: NDArray[np.int32]) -> Floats:
    return clockwise(cv2.approxPolyDP(contour, 0.012 * cv2.arcLength(contour, True), True)[:, 0, ::-1].astype(float))


def _convex_outline(contour: NDArray[np.int32]) -> Floats:
    """Corners of a contour before its sides are laid through its points."""
    hull = cv2.convexHull(contour)
    around = cv2.approxPolyDP(hull, max(1.2, 0.004 * cv2.arcLength(hull, True)), True)
    corners = _fewer_sides(clockwise(around[:, 0, ::-1].astype(float)))
    return corners if len(corners) <= _MOST_CORNERS else _round(clockwise(hull[:, 0, ::-1].astype(float)))


def meetings(middle: Floats, direction: Floats, fallback: Floats) -> Floats:
    """Return where each side meets the one before it; nearly parallel neighbours keep their fallback corner."""
    direction = direction / np.linalg.norm(direction, axis=1, keepdims=True)
    previous_middle, previous = np.roll(middle, 1, axis=0), np.roll(direction, 1, axis=0)
    cross = _cross(previous, direction)
    usable = np.abs(cross) > 0.08
    reach = _cross(middle - previous_middle, direction) / np.where(usable, cross, 1)
    return np.where(usable[:, None], previous_middle + reach[:, None] * previous, fallback)


def robust_lines(x: Floats, y: Floats, trust: Floats, *, rounds: int = 4) -> tuple[Floats, Floats]:
    """
    Return middle and slope of a line through each row of points, points far off weighted down.

    Iteratively reweighted least squares with squared Cauchy weights; `trust` is each point's weight to begin with.
    """
    weight = trust
    for _ in range(rounds):
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


def _fitted(polygons: list[Floats], points: list[Floats]) -> list[Floats]:
    """Sides laid through the contour points they pass, bumps weighted down; corners where they meet."""
    if not polygons:
        return []
    sides = sides_of(polygons)
    size = (len(sides.length), max(map(len, points)))
    place, away, trust = np.zeros(size), np.zeros(size), np.full(size, 1e-9)
    for index, own in enumerate(points):
        mine = np.flatnonzero(sides.owner == index)
        relative = own[None] - sides.start[mine, None]
        along = np.einsum("spk,sk->sp", relative, sides.along[mine])
        out = np.einsum("spk,sk->sp", relative, sides.out[mine])
        length = sides.length[mine, None]
        on = (along > 0.08 * length) & (along < 0.92 * length) & (np.abs(out) < 4 + 0.05 * length)
        distance = np.where(on, np.abs(out), np.inf)
        place[mine, : len(own)], away[mine, : len(own)] = along - length / 2, out
        trust[mine, : len(own)] += on & (distance == distance.min(axis=0))
    shift, tilt = robust_lines(place, away, trust, rounds=3)
    fewest = np.full(len(polygons), np.inf)
    np.minimum.at(fewest, sides.owner, trust.sum(axis=1))
    known = fewest[sides.owner] >= 4  # a hull's corners are too few to lay sides through
    shift, tilt = np.where(known, shift, 0.0), np.where(known, tilt, 0.0)
    middle = sides.start + sides.along * sides.length[:, None] / 2 + sides.out * shift[:, None]
    direction = sides.along + sides.out * tilt[:, None]
    return [meetings(middle[sides.owner == index], direction[sides.owner == index], polygon)
            for index, polygon in enumerate(polygons)]


def _fewer_sides(corners: Floats) -> Floats:
    """Drop sides of a convex polygon while lengthening their neighbours adds next to no area."""
    area = abs(turn(corners)) / 2
    points = [(float(row), float(col)) for row, col in corners]
    costs = [_cost_of_dropping(points, side) for side in range(len(points))]
    spent = 0.0
    while len(points) > 3:
        side = min(range(len(points)), key=lambda index: costs[index][0])
        added, meeting = costs[side]
        if added > (0.02 if len(points) > 4 else 0.012) * area or spent + added > 0.05 * area:
            break
        spent += added
        if side == len(points) - 1:  # so that the next corner stands beside it in the list
            points, costs, side = points[1:] + points[:1], costs[1:] + costs[:1], side - 1
        points[side] = meeting
        del points[side + 1], costs[side]
        for near in range(side - 2, side + 2):  # only these sides have a corner that moved
            costs[near % len(points)] = _cost_of_dropping(points, near % len(points))
    return np.array(points)


def _cost_of_dropping(points: list[tuple[float, float]], side: int) -> tuple[float, tuple[float, float]]:
    """Area added by dropping a side (corner `side` to the next), and where its neighbours then meet."""
    count = len(points)
    before, start, end, after = (points[(side + step) % count] for step in (-1, 0, 1, 2))
    ahead = (start[0] - before[0], start[1] - before[1])
    back = (end[0] - after[0], end[1] - after[1])
    gap = (end[0] - start[0], end[1] - start[1])
    cross = ahead[0] * back[1] - ahead[1] * back[0]
    if abs(cross) < 1e-9:
        return float("inf"), start
    along = (gap[0] * back[1] - gap[1] * back[0]) / cross
    reach = (along * ahead[0], along * ahead[1])
    meeting = (start[0] + reach[0], start[1] + reach[1])
    outward = along > 0 and (meeting[0] - end[0]) * back[0] + (meeting[1] - end[1]) * back[1] > 0
    return (abs(gap[0] * reach[1] - gap[1] * reach[0]) / 2 if outward else float("inf")), meeting
