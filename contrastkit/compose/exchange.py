"""
Stacks made better by exchanging pieces, one for one, until no exchange helps.

Better means that the weaker of the two stacks concerned gets stronger.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from contrastkit.compose.lifting import Effort, score_of
from contrastkit.compose.rules import Task

Places = NDArray[np.int64]
Scores = NDArray[np.int64]

MOST_LAYERS = 6  # so many can be laid in all their orders
MOST_PIECES = 2_000
_SECONDS = 1e-8  # of a usual computer, for one layer of one stack
_NEVER = np.iinfo(np.int64).min


def improved(task: Task, places: Places, effort: Effort) -> Places:
    """
    Return the stacks after every exchange that helps: with a piece of another stack, or with one left over.

    Twins stay as they are. Larger piles and higher stacks than can be tried are returned unchanged.
    """
    if task.layers > MOST_LAYERS or len(task.whole) > MOST_PIECES:
        return places
    places = places.copy()
    scores = score_of(task, places)
    fixed = _twin_rows(task, places)
    while effort.left:
        for stack in np.argsort(scores, kind="stable"):
            if fixed[stack]:
                continue
            found = _best_exchange(task, places, scores, int(stack), fixed)
            effort.spend(_laying(task))
            if found is not None:
                for row, pieces, score in found:
                    places[row], scores[row] = pieces, score
                break
        else:
            break
    return places


def _twin_rows(task: Task, places: Places) -> NDArray[np.bool_]:
    return np.arange(len(places)) < 2 * task.twins


def _best_exchange(
    task: Task, places: Places, scores: Scores, stack: int, fixed: NDArray[np.bool_]
) -> list[tuple[int, Places, int]] | None:
    """The exchange that helps this stack most: rows, their new pieces and scores; None where none helps."""
    in_use = np.isin(np.arange(len(task.whole)), places)
    others = np.flatnonzero(~fixed & (np.arange(len(places)) != stack))
    candidates: list[tuple[int, int, list[tuple[int, Places, int]]]] = []
    for layer in range(task.layers):
        piece = places[stack, layer]
        rest = np.delete(places[stack], layer)
        if not task.must[piece]:
            spare = np.flatnonzero(~in_use)
            own, laid = _laid(task, _with(rest, spare))
            if len(own):
                best = int(np.argmax(own))
                candidates.append((int(own[best]), _FAR, [(stack, laid[best], int(own[best]))]))
        theirs = places[others].ravel()
        rows = np.repeat(others, task.layers)
        own, laid = _laid(task, _with(rest, theirs))
        hope = np.flatnonzero(own > scores[stack])
        if not len(hope):
            continue
        swapped = places[rows[hope]].copy()
        swapped[swapped == theirs[hope][:, None]] = piece
        their_scores, their_laid = _laid(task, swapped)
        for number, at in enumerate(hope):
            pair = sorted((int(own[at]), int(their_scores[number])))
            before = sorted((int(scores[stack]), int(scores[rows[at]])))
            if pair > before:
                theirs_now = (int(rows[at]), their_laid[number], int(their_scores[number]))
                change = [(stack, laid[at], int(own[at])), theirs_now]
                candidates.append((pair[0], pair[1], change))
    better = [each for each in candidates if each[0] > scores[stack]]
    return max(better, key=lambda each: each[:2])[2] if better else None


_FAR = np.iinfo(np.int64).max


def _with(rest: Places, pieces: Places) -> Places:
    return np.column_stack([np.tile(rest, (len(pieces), 1)), pieces]).astype(np.int64)


def _laid(task: Task, sets: Places) -> tuple[Scores, Places]:
    """The best score of each set of pieces, shape (M, layers), _NEVER where no order will do; and that order."""
    if not len(sets):
        return np.zeros(0, np.int64), sets
    ways = _orders(task.layers)
    laid = sets[:, ways]  # (M, orders, layers)
    scores = score_of(task, laid)
    scores = np.where(_may(task, laid), scores, _NEVER)
    best = np.argmax(scores, axis=1)
    row = np.arange(len(sets))
    found = np.where(_differ(task, sets), scores[row, best], _NEVER)
    return found, laid[row, best]


def _laying(task: Task) -> float:
    """About how many seconds it takes to lay every piece in every place of a stack, in all orders."""
    return _SECONDS * len(task.whole) * task.layers**2 * len(_orders(task.layers))


@lru_cache(maxsize=MOST_LAYERS)
def _orders(layers: int) -> Places:
    return np.array(list(permutations(range(layers))), dtype=np.int64)


def _may(task: Task, laid: Places) -> NDArray[np.bool_]:
    fits = np.ones(laid.shape[:-1], bool)
    for layer in range(task.layers):
        fits &= task.allowed[layer][laid[..., layer]]
    steps = np.diff(task.whole[laid], axis=-1)
    if task.order == "stepped":
        fits &= (steps >= 0).all(axis=-1) | (steps <= 0).all(axis=-1)
    elif task.order == "alternating":
        turn = np.where(np.arange(task.layers - 1) % 2 == 0, 1, -1)
        fits &= (steps * turn >= 0).all(axis=-1) | (steps * turn <= 0).all(axis=-1)
    return fits


def _differ(task: Task, sets: Places) -> NDArray[np.bool_]:
    good = np.ones(len(sets), bool)
    for kinds in task.kinds:
        kind = np.sort(kinds[sets], axis=1)
        good &= ~((kind[:, 1:] == kind[:, :-1]) & (kind[:, 1:] >= 0)).any(axis=1)
    return good
