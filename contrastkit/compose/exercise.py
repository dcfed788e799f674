"""
An exercise: swatches under numbers in a mixed order, for learners to sort by eye from dark to light.

Which pieces: "far apart" takes those whose lightness differs most evenly and widely; "vivid" gives half of the places
to pieces that look lighter than they measure, which is where eyes go wrong.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from contrastkit.errors import InvalidInputError, TooFewSwatchesError

if TYPE_CHECKING:
    import pandas as pd

LEVELS = ("far apart", "vivid")
MOST = 40  # pieces; more than anybody sorts in one sitting
MOST_SEED = 999_999_999  # nine figures: what stands on a sheet can be written down
_LEAST = 3


@dataclass(frozen=True)
class Exercise:
    """
    Pieces to sort.

    Attributes
    ----------
    pieces : their names, in the order of their numbers: the first is number 1
    level : how they were picked, one of LEVELS
    seed : what the mixed order was made from; the same pile and seed give the same exercise
    """

    pieces: tuple[str, ...]
    level: str = LEVELS[0]
    seed: int = 1

    def number_of(self, name: str) -> int:
        """
        Return the number of a piece.

        >>> Exercise(("b", "a", "c")).number_of("a")
        2
        """
        return self.pieces.index(name) + 1


def make_exercise(table: pd.DataFrame, *, count: int = 12, level: str = LEVELS[0], seed: int = 1) -> Exercise:
    """
    Return an exercise made from a pile.

    Parameters
    ----------
    table : swatches, with `swatch_id` and `lightness`; for "vivid" with `lightness_apparent_low`, too
    count : how many pieces, 3 to 40
    level : "far apart" or "vivid"
    seed : another number, 0 to 999,999,999, gives another mixed order

    Raises
    ------
    InvalidInputError
        A count, level or seed that cannot be.
    TooFewSwatchesError
        The pile has fewer pieces of known lightness.

    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": list("abcde"), "lightness": [10.0, 12.0, 50.0, 52.0, 90.0]})
    >>> sorted(make_exercise(table, count=3).pieces)
    ['a', 'c', 'e']
    """
    if level not in LEVELS:
        raise InvalidInputError(f"An exercise must be {' or '.join(LEVELS)}; got {level!r}. Use one of these.")
    if not _LEAST <= count <= MOST:
        raise InvalidInputError(f"An exercise must be of {_LEAST} to {MOST} pieces; got {count}. Twelve are usual.")
    if not 0 <= seed <= MOST_SEED:
        raise InvalidInputError(f"The seed of an exercise must be 0 to {MOST_SEED:,}; got {seed}. Take a smaller one.")
    known = table[np.isfinite(table["lightness"].to_numpy(float))].sort_values(["lightness", "swatch_id"])
    if len(known) < count:
        raise TooFewSwatchesError(
            f"An exercise of {count} pieces needs as many of known lightness; the pile has {len(known)}. "
            "Ask for fewer, or measure more."
        )
    lightness = known["lightness"].to_numpy(float)
    first = _vivid(known, count // 2) if level == "vivid" else []
    chosen = _spread(lightness, count, first)
    names = known["swatch_id"].astype(str).to_numpy()[chosen]
    return Exercise(tuple(map(str, np.random.default_rng(seed).permutation(names))), level, seed)


def _vivid(known: pd.DataFrame, count: int) -> list[int]:
    """The places of the pieces that look lighter than they measure by most."""
    if "lightness_apparent_low" not in known:
        return []
    lighter = np.nan_to_num((known["lightness_apparent_low"] - known["lightness"]).to_numpy(float))
    return [int(at) for at in np.argsort(-lighter, kind="stable")[:count] if lighter[at] > 0]


def _spread(lightness: NDArray[np.float64], count: int, kept: Sequence[int]) -> list[int]:
    """
    Places of `count` pieces, darkest first, among them those kept, with the least step as wide as it can be.

    The widest least step is found by halving: whether pieces at least so far apart can be had is seen by taking the
    next one that is, from the darkest up. Kept pieces may lie closer to one another.
    """
    low, high = 0.0, float(lightness[-1] - lightness[0]) + 1e-9
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if len(_apart(lightness, middle, kept)) >= count else (low, middle)
    chosen = _apart(lightness, low, kept)
    if len(chosen) < count:  # pieces of equal lightness
        chosen = sorted([*chosen, *[at for at in range(len(lightness)) if at not in chosen][: count - len(chosen)]])
    while len(chosen) > count:  # of those not kept, the one whose neighbours lie closest
        gaps = {at: lightness[after] - lightness[before]
                for before, at, after in zip(chosen, chosen[1:], chosen[2:], strict=False) if at not in kept}
        chosen.remove(min(gaps, key=lambda at: gaps[at]) if gaps else next(at for at in chosen if at not in kept))
    return chosen


def _apart(lightness: NDArray[np.float64], step: float, kept: Sequence[int]) -> list[int]:
    chosen = list(kept)
    for at, value in enumerate(lightness):
        if at not in kept and all(abs(value - lightness[other]) >= step for other in chosen):
            chosen.append(at)
    return sorted(chosen)


def parse_order(text: str, exercise: Exercise) -> tuple[tuple[str, ...], ...]:
    """
    Return the order that a learner wrote, dark to light, as names of pieces.

    Numbers are separated by spaces or commas; those that look equal are joined by an equals sign.

    Raises
    ------
    InvalidInputError
        Something that is no number of the exercise, a number twice, or one that is missing.

    >>> parse_order("2, 1=3", Exercise(("b", "a", "c")))
    (('a',), ('b', 'c'))
    """
    places = [part.split("=") for part in re.split(r"[\s,;]+", re.sub(r"\s*=\s*", "=", text.strip())) if part]
    written = [word for place in places for word in place]
    known = [str(number) for number in range(1, len(exercise.pieces) + 1)]
    for word in written:
        if word not in known:
            near = difflib.get_close_matches(word, known, 1)
            hint = f" Was it {near[0]}?" if near else ""
            raise InvalidInputError(
                f"An order must be of the numbers 1 to {len(known)}; got {word[:40]!r}.{hint} "
                "Write them from dark to light."
            )
        if written.count(word) > 1:
            raise InvalidInputError(f"Each number must be in the order once; {word} is there twice. Leave one out.")
    missing = [number for number in known if number not in written]
    if missing:
        raise InvalidInputError(f"Each number must be in the order; {', '.join(missing)} is missing. Add what is.")
    return tuple(tuple(exercise.pieces[int(word) - 1] for word in place) for place in places)
