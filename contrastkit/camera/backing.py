"""
The backing under the pieces: where it is, and what it says about the light.

Everything here works on a small copy of the photograph whose colours are cube roots of linear light (close to
perceived steps, cheap to make, and a change of light is still a plain factor).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

Tone = Callable[[NDArray[np.float64]], NDArray[np.float64]]

CELL = 8  # side of the cells the backing is fitted on, in small pixels [design choice]
_SURELY = 0.4  # share of cells that leaves no room for a larger backing worth looking for
_LEAST_CLEAR = 0.06  # share of cells that must show backing for the light to be judged by it [design choice]
_RIDGE = np.array([0, 0.02, 0.02, 0.2, 0.2, 0.2, 0.4, 1, 1, 1, 1])  # pulls curved terms to zero


@dataclass(frozen=True, eq=False)
class Surface:
    """A smooth surface over the photograph, one polynomial a channel; positions are relative, see `_terms`."""

    coefficients: NDArray[np.float64]  # (terms, channels)

    def at(self, rows: NDArray[np.float64], cols: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the surface at relative positions (-1 to 1 along the long side): shape (..., channels)."""
        return np.asarray(_terms(rows, cols) @ self.coefficients)

    def grid(self, shape: tuple[int, int]) -> NDArray[np.float32]:
        """Return the surface at the middles of a grid of cells that tiles the photograph."""
        return np.asarray(_grid_terms(shape) @ self.coefficients, np.float32)


@dataclass(frozen=True, eq=False)
class Backing:
    """The board in a small picture: its smooth colour, which cells show it, and how restless it is."""

    surface: Surface
    means: NDArray[np.float32]  # (rows, cols, 3) mean of each cell
    cells: NDArray[np.bool_]  # (rows, cols) cells that show plain backing
    share: float  # of all cells


def relative_positions(shape: tuple[int, int]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the relative positions of row and column middles of a grid that tiles the photograph."""
    half = max(shape) / 2
    rows, cols = (np.asarray((np.arange(count) + 0.5 - count / 2) / half, float) for count in shape)
    return rows, cols


def _terms(rows: NDArray[np.float64], cols: NDArray[np.float64]) -> NDArray[np.float64]:
    r, c = np.broadcast_arrays(rows, cols)
    rr, cc = r * r, c * c
    around = (rr + cc) * (rr + cc)
    return np.stack([np.ones_like(r), r, c, rr, r * c, cc, around, rr * r, rr * c, r * cc, cc * c], axis=-1)


@lru_cache(maxsize=8)
def _grid_terms(shape: tuple[int, int]) -> NDArray[np.float64]:
    rows, cols = relative_positions(shape)
    terms = _terms(rows[:, None], cols[None, :])
    terms.flags.writeable = False
    return terms


def fit_surface(
    values: NDArray[np.floating], weights: NDArray[np.floating], *, stiffness: float = 1e-3
) -> Surface:
    """
    Return the smooth surface through a grid of cell values (rows, cols, channels), weighted by cell.

    `stiffness` is the ridge on each curved term, as a share of the total weight.
    """
    chosen = weights > 0
    basis = _grid_terms((values.shape[0], values.shape[1]))[chosen]
    weight = weights[chosen].astype(float)
    weighted = basis * weight[:, None]
    ridge = np.diag(_RIDGE * stiffness * weight.sum())
    return Surface(np.linalg.solve(weighted.T @ basis + ridge + 1e-9 * np.eye(len(_RIDGE)),
                                   weighted.T @ values[chosen].astype(float)))


def cell_means(picture: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return mean and standard deviation (largest channel) of each CELL x CELL cell of a (rows, cols, 3) picture."""
    rows, cols = picture.shape[0] // CELL, picture.shape[1] // CELL
    size = (max(cols, 1), max(rows, 1))
    mean = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    square = cv2.resize(cv2.multiply(picture, picture), size, interpolation=cv2.INTER_AREA)
    return mean, np.sqrt(np.maximum(square - mean * mean, 0).max(axis=2))


def find_backing(roots: NDArray[np.float32]) -> Backing:
    """
    Return the backing of a small cube-root picture (rows, cols, 3): the smooth surface that most plain cells share.

    Starts from the frame's border and from the commonest colour, and keeps the better.
    """
    mean, spread = cell_means(roots)
    plain = spread <= max(2.5 * float(np.quantile(spread, 0.25)), 0.012)
    surface, cells = fit_surface(mean, plain + 1e-3, stiffness=1.0), np.zeros_like(plain)
    for seed in _seeds(mean, plain):
        grown, shown = _grow(mean, plain, seed)
        if shown.sum() > cells.sum():
            surface, cells = grown, shown
        if cells.mean() > _SURELY:
            break
    return Backing(surface, mean, cells, float(cells.mean()))


def _seeds(mean: NDArray[np.float32], plain: NDArray[np.bool_]) -> Iterator[NDArray[np.bool_]]:
    border = np.zeros(plain.shape, bool)
    width = max(1, min(plain.shape) // 20)
    border[:width] = border[-width:] = border[:, :width] = border[:, -width:] = True
    for where in (border & plain, plain, np.ones(plain.shape, bool)):
        if where.sum() >= 20:
            yield where & (np.abs(mean - _mode(mean[where])).max(axis=2) < 0.06)


def _mode(colours: NDArray[np.float32]) -> NDArray[np.float32]:
    """The commonest colour: middle of the fullest 0.05-wide box."""
    boxes, index, count = np.unique((colours * 20).astype(int), axis=0, return_inverse=True, return_counts=True)
    return np.asarray(np.median(colours[index.ravel() == count.argmax()], axis=0), np.float32)


def _grow(
    mean: NDArray[np.float32], plain: NDArray[np.bool_], seed: NDArray[np.bool_]
) -> tuple[Surface, NDArray[np.bool_]]:
    surface = fit_surface(mean[::2, ::2], (seed if seed.sum() >= 40 else plain)[::2, ::2].astype(float), stiffness=0.3)
    near = seed
    for tolerance, stiffness, every in (
        (0.08, 0.1, 2), (0.06, 0.03, 2), (0.05, 0.01, 2), (0.04, 3e-3, 2), (0.035, 1e-3, 2), (0.03, 1e-3, 1)
    ):
        few, calm = mean[::every, ::every], plain[::every, ::every]
        away = np.abs(few / np.maximum(surface.grid((few.shape[0], few.shape[1])), 0.02) - 1).max(axis=2)
        near = calm & (away < tolerance)
        if near.sum() < 12:
            return surface, np.zeros_like(plain)
        scale = max(1.4826 * float(np.median(away[near])), 0.002)
        weights = np.where(near, 1 / (1 + (away / (2 * scale)) ** 2) ** 2, 0)
        surface = fit_surface(few, weights, stiffness=stiffness)
    return surface, near


def light_over(
    backing: Backing, covered: NDArray[np.bool_], tone: Tone | None = None
) -> Surface | None:
    """
    Return the natural logarithm of the light on the board, up to a constant, as the backing shows it.

    `tone` turns linear readings (..., 3) into true linear light. None where too little backing shows to judge by.
    """
    mean = backing.means
    shape = (mean.shape[0], mean.shape[1])
    shade = cv2.resize(covered.astype(np.float32), shape[::-1], interpolation=cv2.INTER_AREA)
    clear = backing.cells & (cv2.dilate(shade, np.ones((3, 3), np.uint8)) < 0.03)
    if clear.mean() < _LEAST_CLEAR:
        return None
    linear = mean.astype(float) ** 3
    light = np.log(np.maximum((linear if tone is None else tone(linear)).mean(axis=2, keepdims=True), 1e-4))
    weights = clear.astype(float)
    for _ in range(3):
        surface = fit_surface(light, weights, stiffness=1e-4)
        away = np.abs(light - surface.grid(shape))[..., 0]
        usual = max(float(np.median(away[clear])), 1e-4)
        weights = np.where(clear, 1 / (1 + (away / (2 * usual)) ** 2) ** 2, 0.0)
    return surface
