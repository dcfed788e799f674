"""
The best stacks where nothing is asked of a piece but its lightness: closed forms, exact for millions of pieces.

Lightness is sorted, darkest first; a choice is an array of places in that order, shape (blocks, layers), bottom first.
Whatever is chosen, no other choice has a larger smallest step; each function says why.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Places = NDArray[np.int64]
Found = TypeVar("Found")

_NARROW = 1e-3  # L*, from which on it is asked whether there is anything better, not how much


def smallest_step(lightness: Floats, places: Places) -> float:
    """
    Return the smallest step between neighbouring layers of these stacks, L*.

    >>> smallest_step(np.array([10.0, 20, 50]), np.array([[0, 2, 1]]))
    30.0
    """
    return float(np.abs(np.diff(lightness[places], axis=1)).min())


def stepped(lightness: Floats, layers: int, blocks: int) -> Places:
    """
    Return the stacks that go from dark to light with the largest smallest step.

    Parameters
    ----------
    lightness : L*, sorted, shape (N,)
    layers : layers of a stack, 2 or more
    blocks : stacks, blocks * layers <= N

    Notes
    -----
    Of any B + 1 pieces next to one another in the order of those used, two lie in one stack: no choice of all pieces
    beats the least of x[i + B] - x[i], and stacks of every B-th piece reach it. Where pieces are left over, a smallest
    step t can be had if and only if it can be had by taking, layer by layer, the first pieces in the order that lie t
    above those of the layer before.

    >>> stepped(np.array([10.0, 20, 30, 40]), 2, 2).tolist()
    [[0, 2], [1, 3]]
    """
    if len(lightness) == layers * blocks:
        return np.arange(blocks)[:, None] + blocks * np.arange(layers)
    best = _best(
        lambda step: _climb(lightness, layers, blocks, step), lambda places: smallest_step(lightness, places),
        float(lightness[-1] - lightness[0]) / (layers - 1) + 1,
    )
    assert best is not None  # any pieces do for a step of nothing
    return best


def _best(reach: Callable[[float], Found | None], smallest: Callable[[Found], float], beyond: float) -> Found | None:
    """What reaches the largest step, if less than `beyond` is sure; None where nothing reaches a step of nothing."""
    best = reach(0.0)
    while best is not None:
        least = smallest(best)
        further = float(np.nextafter(least, np.inf))
        middle = max((least + beyond) / 2, further)
        found = reach(middle)
        if found is None and middle > further:
            beyond, wide = middle, beyond - least > _NARROW
            if wide:
                continue
            found = reach(further)  # is there anything better at all?
        if found is None:
            return best
        best = found
    return None


def _climb(lightness: Floats, layers: int, blocks: int, step: float) -> Places | None:
    """Stacks of steps no smaller than this, each layer as dark as can be; None where there are none."""
    levels = [np.arange(blocks)]
    for _ in range(layers - 1):
        free = levels[-1][-1] + 1
        above = _above(lightness[levels[-1]], lightness[free:], step)
        if above is None:
            return None
        levels.append(free + above)
    return np.column_stack(levels)


def alternating(lightness: Floats, layers: int, blocks: int) -> Places:
    """
    Return the stacks that go up and down in turn with the largest smallest step.

    Parameters
    ----------
    lightness : L*, sorted, shape (N,)
    layers : layers of a stack, 2 or more
    blocks : stacks, blocks * layers <= N

    Notes
    -----
    The low layers are the darkest pieces and the high layers the lightest, by exchange. For an even number of layers,
    2 m, the stacks hold blocks * m pairs of neighbours; laying the i-th lowest with the i-th highest piece makes the
    smallest step as large as any pairing of the two sets can, and pairs laid one on the other from light to dark have
    no smaller step between them.

    For an odd number, 2 m + 1, a stack has one piece more of one kind. It has steps of t or more if and only if its
    pieces less one make m such pairs, where that one is no lighter than the other lows, or no darker than the other
    highs. With h stacks of a further high, every (m + 1)-th of the highs from the bottom can be the further one, and
    no choice spares darker ones; the same holds for the lows from the top. The first h * m pairs have a smallest step
    that falls with h, the others one that rises: the best h is where the two cross.

    >>> alternating(np.array([10.0, 20, 60, 90]), 4, 1).tolist()
    [[1, 3, 0, 2]]
    >>> alternating(np.array([10.0, 20, 90]), 3, 1).tolist()
    [[0, 2, 1]]
    """
    pairs = layers // 2
    if layers % 2 == 0:
        return _zigzags(_even_pairs(len(lightness), pairs * blocks).reshape(blocks, pairs, 2))
    return _odd(lightness, pairs, blocks, _best_with_high(lightness, pairs, blocks))


def pairing_bound(lightness: Floats, layers: int, blocks: int) -> float:
    """
    Return a step that no stacks of any order can better: every stack holds pairs, and the best pairs have no more.

    >>> pairing_bound(np.array([10.0, 20, 60, 90]), 4, 1)
    50.0
    """
    count = blocks * (layers // 2)
    return float(np.min(lightness[len(lightness) - count :] - lightness[:count]))


def _even_pairs(count: int, pairs: int) -> Places:
    order = np.arange(pairs)
    return np.column_stack([order, count - pairs + order])


def _zigzags(pairs: Places) -> Places:
    """Pairs (low, high) of each stack, shape (blocks, m, 2), laid low, high, low, high; the lightest pair first."""
    return pairs[:, ::-1].reshape(len(pairs), -1)


def _odd_pairs(count: int, pairs: int, blocks: int, with_high: int) -> Places:
    """Low and high places of the pairs, shape (blocks * pairs, 2), where so many stacks have a further high."""
    order = np.arange(blocks * pairs)
    group = order // pairs
    low = np.where(group < with_high, order, order + group - with_high + 1)
    high = count - blocks * pairs + order + np.where(group < with_high, group - with_high, 0)
    return np.column_stack([low, high])


def _best_with_high(lightness: Floats, pairs: int, blocks: int) -> int:
    def two_sides(with_high: int) -> tuple[float, float]:
        places = _odd_pairs(len(lightness), pairs, blocks, with_high)
        steps = lightness[places[:, 1]] - lightness[places[:, 0]]
        cut = with_high * pairs
        return float(steps[:cut].min(initial=np.inf)), float(steps[cut:].min(initial=np.inf))

    low, high = 0, blocks  # the last where the falling side is still the larger, the first where it is not
    while high - low > 1:
        middle = (low + high) // 2
        falling, rising = two_sides(middle)
        low, high = (middle, high) if falling > rising else (low, middle)
    return max((low, high), key=lambda with_high: min(two_sides(with_high)))


def _odd(lightness: Floats, pairs: int, blocks: int, with_high: int) -> Places:
    count = len(lightness)
    grouped = _odd_pairs(count, pairs, blocks, with_high).reshape(blocks, pairs, 2)
    stack = np.arange(blocks)
    low_spare = with_high * pairs + (stack - with_high) * (pairs + 1)  # no lighter than the lows of its stack
    high_spare = count - blocks * pairs - with_high + (stack + 1) * (pairs + 1) - 1  # no darker than its highs
    with_high_rows = np.column_stack([high_spare, _zigzags(grouped)])[:with_high]
    # A further low lies under the stack from dark to light: spare, high, low, high, low.
    with_low_rows = np.column_stack([low_spare, grouped[:, :, ::-1].reshape(blocks, -1)])[with_high:]
    return np.vstack([with_high_rows, with_low_rows])


def by_layers(layers: Sequence[Floats], way: Sequence[int], blocks: int) -> list[Places] | None:
    """
    Return the stacks with the largest smallest step where each layer has pieces of its own and a way up or down.

    Parameters
    ----------
    layers : L* of the pieces of each layer, bottom first, each sorted
    way : of each step, 1 if it must go up, -1 if down
    blocks : stacks

    Returns
    -------
    list
        Of each layer, the places of the chosen pieces in it, shape (blocks,); stack n has the n-th of each. None where
        no stacks go this way.

    Notes
    -----
    A layer that lies below both its neighbours can be the darkest pieces there are, one that lies above both the
    lightest; between them, going up, each layer can be the first pieces that reach, as in `stepped`.

    >>> [each.tolist() for each in by_layers([np.array([10.0, 30]), np.array([20.0, 50, 60])], (1,), 1)]
    [[0], [2]]
    """
    def smallest(places: list[Places]) -> float:
        values = [pool[place] for pool, place in zip(layers, places, strict=True)]
        return min(float(np.abs(above - below).min()) for below, above in pairwise(values))

    widest = max(float(pool[-1]) for pool in layers) - min(float(pool[0]) for pool in layers)
    return _best(lambda step: _reaching(layers, way, blocks, step), smallest, widest + 1)


def _reaching(layers: Sequence[Floats], way: Sequence[int], blocks: int, step: float) -> list[Places] | None:
    order = np.arange(blocks)
    turns = [_turn(way, layer) for layer in range(len(layers))]
    chosen: list[Places | None] = [
        order if turn < 0 else len(pool) - blocks + order if turn > 0 else None
        for turn, pool in zip(turns, layers, strict=True)
    ]
    if any(len(pool) < blocks for pool in layers):
        return None
    ends = [layer for layer, turn in enumerate(turns) if turn]
    for first, last in pairwise(ends):
        run = range(first, last + 1) if way[first] > 0 else range(last, first - 1, -1)  # upwards
        for darker, lighter in pairwise(run):
            level = chosen[darker]
            assert level is not None
            reached = _above(layers[darker][level], layers[lighter], step)
            if reached is None:
                return None
            if chosen[lighter] is None:
                chosen[lighter] = reached
            elif (reached > np.asarray(chosen[lighter])).any():
                return None
    return [each for each in chosen if each is not None]


def _turn(way: Sequence[int], layer: int) -> int:
    """-1 where a layer lies below its neighbours, 1 where above, 0 where between."""
    beside = {*(way[layer - 1 : layer] if layer else ()), *(-sign for sign in way[layer : layer + 1])}
    return beside.pop() if len(beside) == 1 else 0


def _above(below: Floats, pool: Floats, step: float) -> Places | None:
    """The first pieces of a pool that lie a step above those below, one for each; None where there are too few."""
    order = np.arange(len(below))
    level = np.maximum.accumulate(np.searchsorted(pool, below + step) - order) + order
    while level[-1] < len(pool):
        short = pool[level] - below < step  # sums round
        if not short.any():
            return np.asarray(level)
        reach = np.where(short, np.searchsorted(pool, pool[level], side="right"), level)
        level = np.maximum.accumulate(reach - order) + order
    return None
