"""A pile sorted the way that was asked for by name, and what there is to say about it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from contrastkit.compose.groups import (
    Breaks,
    balance_sentence,
    edge_sigma_bootstrap,
    equal_breaks,
    fixed_breaks,
    grouping_sentence,
    natural_breaks,
    sort_into_groups,
)
from contrastkit.errors import InvalidInputError

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]

METHODS = ("fixed", "natural", "equal")
_FOUND: dict[str, Callable[..., Breaks]] = {"natural": natural_breaks, "equal": equal_breaks}
_PAINT_ON_COTTON = (10.0, 100.0)  # L* that fixed edges cut evenly, as 40 and 70 do in three [design choice]


@dataclass(frozen=True)
class Grouping:
    """
    How to sort a pile.

    Attributes
    ----------
    method : "fixed", edges that stay the same from pile to pile; "natural", where this pile has its gaps; or "equal",
        as many pieces in each group
    edges : lightness L* where one group ends, darkest first; for fixed groups only
    count : how many groups, 2-9; not given: three, or as many as the edges make

    Raises
    ------
    InvalidInputError
        Another method, edges with a method that finds its own, or edges and count that do not fit.

    >>> Grouping(edges=(30, 50, 70)).fixed
    dark <= 30 < medium dark <= 50 < medium light <= 70 < light
    >>> Grouping(count=2).fixed
    dark <= 55 < light
    """

    method: str = "fixed"
    edges: tuple[float, ...] | None = None
    count: int | None = None

    def __post_init__(self) -> None:
        if self.method not in METHODS:
            raise InvalidInputError(f"Groups must be {', '.join(METHODS)}; got {self.method!r}. Use one of these.")
        if self.count is not None and not 2 <= self.count <= 9:
            raise InvalidInputError(f"There must be from 2 to 9 groups; got {self.count}. Three are usual.")
        if self.edges is not None and self.method != "fixed":
            raise InvalidInputError(
                f"Edges are given for fixed groups only; {self.method} groups find their own. Leave one of the two out."
            )
        if self.edges is not None and self.count is not None and self.count != len(self.edges) + 1:
            raise InvalidInputError(
                f"There must be one group more than edges; got {len(self.edges)} edges and a count of {self.count}. "
                "Leave the count out."
            )
        fixed_breaks(self._edges())  # refuses what cannot be, in its own words

    @property
    def groups(self) -> int:
        """How many groups."""
        return len(self._edges()) + 1

    @property
    def fixed(self) -> Breaks:
        """The breaks of fixed groups."""
        return fixed_breaks(self._edges())

    def _edges(self) -> tuple[float, ...]:
        if self.edges is not None:
            return self.edges
        count = 3 if self.count is None else self.count
        return tuple(float(edge) for edge in np.linspace(*_PAINT_ON_COTTON, count + 1)[1:-1])


@dataclass(frozen=True)
class Group:
    """One group of a sorted pile: its name, between which L* it lies, and which pieces are in it."""

    name: str
    low: float
    high: float
    swatches: tuple[str, ...]
    borderline: int


@dataclass(frozen=True)
class SortedPile:
    """
    A pile in its groups.

    Attributes
    ----------
    table : the swatch table with `group`, `group_probability` and `borderline` filled in
    breaks : edges and names of the groups
    edge_sigma : standard uncertainty of each edge, L*; 0 for fixed ones
    """

    table: pd.DataFrame
    breaks: Breaks
    edge_sigma: tuple[float, ...]

    @property
    def groups(self) -> tuple[Group, ...]:
        """The groups, darkest first."""
        ends = (0.0, *self.breaks.edges, 100.0)
        return tuple(self._group(name, *pair) for name, pair in zip(self.breaks.names, pairwise(ends), strict=True))

    @property
    def balance(self) -> str:
        """Which groups the pile is short of, or has too many of, in a sentence."""
        return balance_sentence(self.table, self.breaks.names)

    @property
    def verdict(self) -> str:
        """Whether the pile really falls into these groups, in a sentence."""
        return grouping_sentence(self.table["lightness"], self.breaks)

    @property
    def sentences(self) -> list[str]:
        """Balance and verdict."""
        return [self.balance, self.verdict]

    def _group(self, name: str, low: float, high: float) -> Group:
        inside = self.table[self.table["group"] == name].sort_values("lightness", kind="stable")
        return Group(name, low, high, tuple(map(str, inside["swatch_id"])), int(inside["borderline"].sum()))


def sort_pile(table: pd.DataFrame, grouping: Grouping) -> SortedPile:
    """
    Return the pile in its groups, rows in the same order.

    Edges found in the pile are as uncertain as the pile is small; that counts for what is borderline.

    Parameters
    ----------
    table : swatches, with `swatch_id`, `lightness` and preferably `lightness_sigma`
    grouping : how to sort them

    Raises
    ------
    TooFewSwatchesError
        Too few distinct values to find so many groups.
    InvalidInputError
        The table has no lightness.

    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": list("abc"), "lightness": [20.0, 50.0, 80.0]})
    >>> [group.swatches for group in sort_pile(table, Grouping()).groups]
    [('a',), ('b',), ('c',)]
    """
    breaks, edge_sigma = _found(table, grouping)
    grouped = sort_into_groups(table, breaks, edge_sigma=edge_sigma)
    return SortedPile(grouped, breaks, tuple(float(sigma) for sigma in edge_sigma))


def _found(table: pd.DataFrame, grouping: Grouping) -> tuple[Breaks, Array]:
    if grouping.method == "fixed" or "lightness" not in table:
        return grouping.fixed, np.zeros(grouping.groups - 1)
    method = _FOUND[grouping.method]
    breaks = method(table["lightness"], grouping.groups)
    if "lightness_sigma" not in table or table["lightness_sigma"].isna().all():
        return breaks, np.zeros(grouping.groups - 1)  # nothing is known of probabilities, whatever the edges
    return breaks, edge_sigma_bootstrap(table["lightness"], method, grouping.groups)
