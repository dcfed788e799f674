"""
Sort a pile into dark, medium and light.

A function finds the edges between groups, `Breaks` uses them:

    fixed_breaks     edges you choose: the same from one session to the next
    natural_breaks   edges where this pile has its gaps (Fisher 1958, Jenks 1967; exact)
    equal_breaks     edges that give each group as equal a count as ties allow

A lightness on an edge belongs to the darker group, equal values are never split, unknown lightness stays unknown.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from contrastkit.columns import GROUP_NAMES
from contrastkit.errors import InvalidInputError, TooFewSwatchesError
from contrastkit.light.lightness import as_numbers, check_not_negative

if TYPE_CHECKING:  # pandas takes longer to load than all of this module
    import pandas as pd

Array = NDArray[np.float64]
Cost = Callable[[NDArray[np.int64], NDArray[np.int64]], Array]

SURE = 0.8  # a piece is borderline where no group is at least this likely

_WORDS = {
    2: ("dark", "light"),
    3: GROUP_NAMES,
    4: ("dark", "medium dark", "medium light", "light"),
    5: ("very dark", "dark", "medium", "light", "very light"),
    6: ("very dark", "dark", "medium dark", "medium light", "light", "very light"),
    7: ("very dark", "dark", "medium dark", "medium", "medium light", "light", "very light"),
    8: ("darkest", "very dark", "dark", "medium dark", "medium light", "light", "very light", "lightest"),
    9: ("darkest", "very dark", "dark", "medium dark", "medium", "medium light", "light", "very light", "lightest"),
}

# Chance groupings are simulated for piles of up to this many pieces; beyond, what chance adds shrinks as the root of
# their number (300 simulated piles of 300 and of 1000 pieces agree within 0.001).
_LARGEST_SIMULATED = 100
_SIMULATED_PILES = 1000
_LARGEST_RESAMPLE = 1000
_SHORT = 0.5  # a group with at most this share of an equal count is short
_GLUT = 1.5  # and with at least this many times an equal count there are many of it


@dataclass(frozen=True, repr=False)
class Breaks:
    """
    Edges between lightness groups, darkest first. A value on an edge is in the darker group.

    Attributes
    ----------
    edges : lightness L* where one group ends and the next begins, increasing
    names : one more than edges, darkest first

    Raises
    ------
    InvalidInputError
        Edges that do not increase, or names that do not fit them.

    >>> Breaks((40, 70))
    dark <= 40 < medium <= 70 < light
    """

    edges: tuple[float, ...]
    names: tuple[str, ...] = GROUP_NAMES

    def __post_init__(self) -> None:
        _check_groups(len(self.edges) + 1)
        edges = as_numbers("edges", self.edges)
        if not np.isfinite(edges).all() or not (np.diff(edges) > 0).all():
            raise InvalidInputError(
                f"Edges between groups must increase, darkest first; got {_listed(self.edges)}. "
                "Put the lower lightness first and leave none out."
            )
        if len(self.names) != len(self.edges) + 1:
            raise InvalidInputError(
                f"There must be one name more than edges; got {len(self.names)} names for {len(self.edges)} edges. "
                "Name every group, darkest first."
            )
        if len(set(self.names)) != len(self.names) or not all(self.names):
            raise InvalidInputError(
                f"Each group must have a name of its own; got {', '.join(map(repr, self.names))}. Rename one of them."
            )

    def __repr__(self) -> str:
        pairs = (f"{name} <= {edge:g} < " for name, edge in zip(self.names, self.edges, strict=False))
        return "".join(pairs) + self.names[-1]

    def assign(self, lightness: ArrayLike) -> pd.Categorical:
        """
        Return the group of each lightness, in order from dark to light; unknown lightness stays unknown.

        >>> list(Breaks((40, 70)).assign([40, 40.1, 90]))
        ['dark', 'medium', 'light']
        """
        import pandas as pd

        from_codes: Any = pd.Categorical.from_codes  # whose stubs know no plain array
        grouped = from_codes(self._codes(lightness), categories=list(self.names), ordered=True)
        return cast("pd.Categorical", grouped)

    def membership(self, lightness: ArrayLike, sigma: ArrayLike, edge_sigma: ArrayLike = 0) -> pd.DataFrame:
        """
        Return how likely each piece belongs to each group: one row a piece, one column a group, 0-1.

        Lightness and edge are taken as normally distributed round what was measured. A row is unknown (nan)
        where the lightness or its sigma is. Rows keep the index of a table's column.

        Parameters
        ----------
        lightness : L*, 0-100
        sigma : standard uncertainty of the lightness, L*: one number, or one a piece
        edge_sigma : standard uncertainty of the edges, L*: one number, or one an edge; 0 for edges you chose,
            `edge_sigma_bootstrap` for edges found in the pile

        Raises
        ------
        InvalidInputError
            A sigma is negative, or there are as many of them as neither pieces nor edges.

        >>> Breaks((40, 70)).membership([38], 2).round(3).values.tolist()
        [[0.841, 0.159, 0.0]]
        """
        import pandas as pd

        values = np.atleast_1d(as_numbers("lightness", lightness))
        sigmas = _fitted("sigma", sigma, values.size, "piece")
        edge_sigmas = _fitted("edge_sigma", edge_sigma, len(self.edges), "edge")
        likely = _membership(values, sigmas, np.array(self.edges, dtype=float), edge_sigmas)
        index = lightness.index if isinstance(lightness, pd.Series) else None
        return pd.DataFrame(likely, columns=list(self.names), index=index)

    def _codes(self, lightness: ArrayLike) -> NDArray[np.int64]:
        values = np.atleast_1d(as_numbers("lightness", lightness))
        return np.where(np.isnan(values), -1, np.searchsorted(self.edges, values, side="left"))


def fixed_breaks(edges: Sequence[float] = (40, 70), names: Sequence[str] | None = None) -> Breaks:
    """
    Return breaks at lightness edges you choose; 40 and 70 cut what paint on cotton reaches into thirds.

    Raises
    ------
    InvalidInputError
        Edges that do not increase, too many of them, or names that do not fit them.

    >>> fixed_breaks([50])
    dark <= 50 < light
    """
    groups = _check_groups(len(edges) + 1)
    return Breaks(tuple(float(edge) for edge in edges), _names(groups, names))


def natural_breaks(lightness: ArrayLike, groups: int = 3, names: Sequence[str] | None = None) -> Breaks:
    """
    Return the breaks that leave least variation inside the groups: edges fall in the pile's own gaps.

    Exact: the best of all possible groupings, found by dynamic programming. Each edge lies midway between the
    lightest value of one group and the darkest of the next, so that it serves pieces that come later too
    (many programs give the lightest value of each group instead).

    Parameters
    ----------
    lightness : L*, 0-100; unknown values are passed over
    groups : how many, 2-9
    names : darkest first; plain words where not given

    Raises
    ------
    TooFewSwatchesError
        Fewer distinct values than groups.
    InvalidInputError
        Groups not from 2 to 9, or names that do not fit them.

    References
    ----------
    W. D. Fisher, On grouping for maximum homogeneity, Journal of the American Statistical Association 53, 789-798,
    1958. G. F. Jenks, The data model concept in statistical mapping, International Yearbook of Cartography 7,
    186-190, 1967.

    >>> natural_breaks([22, 25, 27, 48, 52, 88, 91])
    dark <= 37.5 < medium <= 70 < light
    """
    values, counts = _distinct(lightness, _check_groups(groups))
    centred = values - np.average(values, weights=counts)  # or squares would drown what is summed
    weight, first, second = (_running_sum(counts * centred**power) for power in (0, 1, 2))

    def squares_within(start: NDArray[np.int64], stop: NDArray[np.int64]) -> Array:
        total = first[stop] - first[start]
        return np.asarray(second[stop] - second[start] - total * total / (weight[stop] - weight[start]))

    return Breaks(_edges(values, _best_starts(squares_within, values.size, groups)), _names(groups, names))


def equal_breaks(lightness: ArrayLike, groups: int = 3, names: Sequence[str] | None = None) -> Breaks:
    """
    Return the breaks that give the groups the most equal counts.

    Equal values are never split, so counts can differ by more than one; of all such groupings it is the one whose
    squared counts add up to least. Where that leaves a choice, lighter groups get the larger counts.
    Each edge lies midway between neighbouring values.

    Parameters
    ----------
    lightness : L*, 0-100; unknown values are passed over
    groups : how many, 2-9
    names : darkest first; plain words where not given

    Raises
    ------
    TooFewSwatchesError
        Fewer distinct values than groups.
    InvalidInputError
        Groups not from 2 to 9, or names that do not fit them.

    >>> equal_breaks([20, 30, 40, 50, 60, 60])
    dark <= 35 < medium <= 55 < light
    """
    values, counts = _distinct(lightness, _check_groups(groups))
    weight = _running_sum(counts)

    def squared_count(start: NDArray[np.int64], stop: NDArray[np.int64]) -> Array:
        return np.asarray((weight[stop] - weight[start]) ** 2)

    return Breaks(_edges(values, _best_starts(squared_count, values.size, groups)), _names(groups, names))


def edge_sigma_bootstrap(
    lightness: ArrayLike,
    method: Callable[..., Breaks] = natural_breaks,
    groups: int = 3,
    *,
    seed: int = 0,
    repeats: int = 200,
) -> Array:
    """
    Return the standard uncertainty (L*) of each edge found in a pile, from the spread of edges of resampled piles.

    Parameters
    ----------
    lightness : L*, 0-100; unknown values are passed over
    method : `natural_breaks` or `equal_breaks`
    groups : how many, 2-9
    seed : of the random resampling; the same seed gives the same answer
    repeats : how many resampled piles

    Raises
    ------
    TooFewSwatchesError
        Too few distinct values for the groups, or for resampled piles to have them.
    InvalidInputError
        Fewer than two resampled piles.

    References
    ----------
    B. Efron, Bootstrap methods: another look at the jackknife, Annals of Statistics 7(1), 1-26, 1979.

    >>> bool((edge_sigma_bootstrap([20, 21, 22, 50, 51, 52, 80, 81, 82]) < 6).all())
    True
    """
    if repeats < 2:
        raise InvalidInputError(f"There must be 2 or more resampled piles; got repeats {repeats}. Pass 200.")
    values = _known(lightness)
    method(values, groups)  # refuses what cannot be grouped, in its own words
    rng = np.random.default_rng(seed)
    size = min(values.size, _LARGEST_RESAMPLE)
    piles = (rng.choice(values, size) for _ in range(repeats))
    edges = [method(pile, groups).edges for pile in piles if np.unique(pile).size >= groups]
    if len(edges) < max(repeats / 2, 2):
        raise TooFewSwatchesError(
            f"How sure {groups} groups' edges are needs more distinct lightness values than {np.unique(values).size}. "
            "Measure more swatches or use fixed edges."
        )
    # A pile resampled smaller than it is scatters more, by the square root of the share.
    return np.asarray(np.std(edges, axis=0, ddof=1) * np.sqrt(size / values.size))


def sort_into_groups(table: pd.DataFrame, breaks: Breaks, *, edge_sigma: ArrayLike = 0) -> pd.DataFrame:
    """
    Return the swatch table with `group`, `group_probability` and `borderline` filled in, rows in the same order.

    `group` follows the lightness; it is empty where that is unknown. Without a `lightness_sigma` nothing is known
    of probabilities: they stay unknown and no piece is called borderline.

    Parameters
    ----------
    table : swatches, with a column `lightness` and preferably `lightness_sigma`
    breaks : edges between the groups
    edge_sigma : standard uncertainty of the edges, L*; one number or one an edge

    Raises
    ------
    InvalidInputError
        The table has no lightness.

    >>> import pandas as pd
    >>> pile = pd.DataFrame({"lightness": [20.0, 41.0], "lightness_sigma": [1.0, 2.0]})
    >>> sort_into_groups(pile, fixed_breaks())[["group", "borderline"]].values.tolist()
    [['dark', False], ['medium', True]]
    """
    import pandas as pd

    if "lightness" not in table:
        raise InvalidInputError(
            f"The table must have a column 'lightness'; it has: {', '.join(map(str, table.columns)) or 'none'}. "
            "Measure the swatches first, or rename your column."
        )
    codes = breaks._codes(table["lightness"])
    sigma = table.get("lightness_sigma", np.nan)
    likely = breaks.membership(table["lightness"], sigma, edge_sigma).to_numpy()
    own = np.where(codes < 0, np.nan, likely[np.arange(len(table)), codes])
    names = pd.Series([breaks.names[code] if code >= 0 else "" for code in codes], index=table.index, dtype="str")
    return table.assign(group=names, group_probability=own, borderline=np.asarray((likely < SURE).all(axis=1)))


def goodness_of_variance_fit(lightness: ArrayLike, breaks: Breaks) -> float:
    """
    Return the share (0-1) of the variation in lightness that these groups explain; unknown values are passed over.

    Not to be read alone: values spread evenly, without any groups, reach 1 - 1/k² in k groups. Compare with
    `evenly_spread_limit`.

    Raises
    ------
    TooFewSwatchesError
        All values are the same.

    References
    ----------
    G. F. Jenks and F. C. Caspall, Error on choroplethic maps, Annals of the Association of American Geographers
    61(2), 217-244, 1971.

    >>> round(goodness_of_variance_fit([20, 22, 50, 52, 80, 82], fixed_breaks()), 4)
    0.9983
    """
    values = _known(lightness)
    total = float(((values - values.mean()) ** 2).sum()) if values.size else 0.0
    if total == 0:
        raise TooFewSwatchesError(
            f"There must be at least 2 distinct lightness values to explain; got {np.unique(values).size}. "
            "Measure more swatches."
        )
    codes = breaks._codes(values)
    parts = (values[codes == code] for code in np.unique(codes))
    return 1 - sum(float(((part - part.mean()) ** 2).sum()) for part in parts) / total


def evenly_spread_limit(count: int, groups: int = 3) -> float:
    """
    Return the goodness of variance fit that a pile without groups exceeds only once in twenty.

    From natural breaks of simulated piles of `count` pieces, scattered evenly over one range of lightness.

    Raises
    ------
    TooFewSwatchesError
        Fewer pieces than groups.

    >>> round(evenly_spread_limit(20), 2)
    0.95
    """
    if count < _check_groups(groups):
        raise TooFewSwatchesError(f"{groups} groups need at least {groups} pieces; got {count}. Measure more swatches.")
    simulated = min(count, _LARGEST_SIMULATED)
    spaced = 1 - 1 / groups**2  # what evenly spaced values reach
    return float(spaced + (_simulated_limit(simulated, groups) - spaced) * np.sqrt(simulated / count))


def grouping_sentence(lightness: ArrayLike, breaks: Breaks) -> str:
    """
    Return in plain words whether the pile really has as many groups as there are breaks, and whether these are they.

    >>> grouping_sentence([20, 21, 22, 23, 50, 51, 52, 53, 80, 81, 82, 83], fixed_breaks()).split(",")[0]
    'The pile really falls into these 3 groups: they explain 99.8 % of the differences in lightness'
    """
    values, groups = _known(lightness), len(breaks.names)
    distinct = int(np.unique(values).size)
    if distinct <= groups:
        return (
            f"Too few pieces to tell whether the pile falls into {groups} groups (different lightnesses: {distinct})."
        )
    natural = natural_breaks(values, groups)
    best, own = goodness_of_variance_fit(values, natural), goodness_of_variance_fit(values, breaks)
    return _verdict(own, best, natural, int(values.size))


def balance_sentence(table: pd.DataFrame, names: Sequence[str] | None = None) -> str:
    """
    Return in plain words which groups the pile is short of, or has too many of, measured by an equal count each.

    Short is half an equal count or less; many is one and a half times or more, and two pieces more.

    Parameters
    ----------
    table : swatches with a column `group`
    names : all groups, darkest first, such as `breaks.names`; where not given, dark, medium and light,
        or the fewest of our words that cover the groups in the table

    Raises
    ------
    InvalidInputError
        The table has no groups, or one that is not among the names.

    >>> import pandas as pd
    >>> balance_sentence(pd.DataFrame({"group": ["dark"] * 8 + ["medium"] * 9 + ["light"] * 3}))
    'Short of lights: 3 of 20.'
    """
    if "group" not in table:
        raise InvalidInputError(
            f"The table must have a column 'group'; it has: {', '.join(map(str, table.columns)) or 'none'}. "
            "Sort the pile into groups first."
        )
    found = [str(name) for name in table["group"].dropna() if str(name)]
    every = tuple(names) if names is not None else _covering_names(found)
    if not set(found) <= set(every):
        strange = sorted(set(found) - set(every))[0]
        raise InvalidInputError(
            f"Each piece's group must be one of {', '.join(every)}; got {strange!r}. Pass the names of all groups."
        )
    return _balance({name: found.count(name) for name in every})


def _balance(counts: dict[str, int]) -> str:
    total = sum(counts.values())
    if total == 0:
        return "No piece is in a group yet."
    equal = total / len(counts)
    short = [
        f"{_plural(name)}: {count or 'none'} of {total}" for name, count in counts.items() if count <= _SHORT * equal
    ]
    if short:
        return "Short of " + ", and of ".join(short) + "."
    enough = max(_GLUT * equal, equal + 2)  # one piece more is no glut in a small pile
    many = [f"{_plural(name)}: {count} of {total}" for name, count in counts.items() if count >= enough]
    if many:
        return "Many " + ", and many ".join(many) + "."
    return "Well balanced: " + ", ".join(f"{count} {name}" for name, count in counts.items()) + "."


def _plural(name: str) -> str:
    return f"{name}s" if name in GROUP_NAMES else f"{name} pieces"


def _covering_names(found: Sequence[str]) -> tuple[str, ...]:
    for groups in (3, *range(4, 10)):  # two groups' words are among the three: pass the names to mean two
        if set(found) <= set(_WORDS[groups]):
            return _WORDS[groups]
    return tuple(dict.fromkeys(found))


def _verdict(own: float, best: float, natural: Breaks, count: int) -> str:
    groups = len(natural.names)
    limit, spaced = evenly_spread_limit(count, groups), 1 - 1 / groups**2
    even = (
        f"where {count} evenly spread pieces would reach {spaced:.1%}, and by chance hardly ever more than {limit:.1%}."
    )
    of_what = "of the differences in lightness"
    if own > limit:
        text = f"The pile really falls into these {groups} groups: they explain {own:.1%} {of_what}, {even}"
    elif best > limit:
        text = (
            f"The pile really falls into {groups} groups, but not at these edges: they explain {own:.1%} {of_what}, "
            f"edges at {_listed(natural.edges)} would explain {best:.1%}, {even}"
        )
    else:
        text = (
            f"The pile does not fall into {groups} groups of its own: the best edges explain {best:.1%} {of_what}, "
            f"{even} Take the edges as a convenience."
        )
    return text.replace("%", " %")


@lru_cache(maxsize=256)
def _simulated_limit(count: int, groups: int) -> float:
    piles = np.sort(np.random.default_rng(0).random((count, _SIMULATED_PILES)), axis=0) - 0.5
    total = ((piles - piles.mean(axis=0)) ** 2).sum(axis=0)
    return float(np.quantile(1 - _least_squares_within(piles, groups) / total, 0.95))


def _least_squares_within(piles: Array, groups: int) -> Array:
    """The least sum of squares within groups of many sorted piles at once, one a column: shape (n, piles)."""
    count = len(piles)
    first, second = _running_sum(piles), _running_sum(piles**2)
    best = np.zeros((groups, count + 1, piles.shape[1]))  # [g - 1, j]: of the first j values in g groups
    for stop in range(1, count + 1):
        sizes = np.arange(stop, 0, -1)[:, None]
        within = second[stop] - second[:stop] - (first[stop] - first[:stop]) ** 2 / sizes
        best[0, stop] = within[0]
        for group in range(1, groups):
            best[group, stop] = (best[group - 1, :stop] + within).min(axis=0)
    return np.asarray(best[-1, -1])


def _best_starts(cost: Cost, count: int, groups: int) -> list[int]:
    """
    Where each group after the first starts, in the grouping of `count` sorted values whose costs add up to least.

    `cost(start, stop)` is that of values[start:stop], and must make the best start never move down as more values
    are added (the quadrangle inequality); then each layer takes count × log(count) steps and not count².
    """
    everything = np.arange(count + 1)
    best = np.concatenate([[0.0], cost(np.zeros(count, dtype=np.int64), everything[1:])])
    layers = []
    for group in range(2, groups):
        best, starts = _one_more_group(best, cost, group)
        layers.append(starts)
    last = everything[groups - 1 : count]
    start = int(last[np.argmin(best[last] + cost(last, np.full_like(last, count)))])
    found = [start]
    for starts in reversed(layers):
        start = int(starts[start])
        found.insert(0, start)
    return found


def _one_more_group(best: Array, cost: Cost, group: int) -> tuple[Array, NDArray[np.int64]]:
    """
    The least cost of the first j values in `group` groups, and where the last starts, from those in one group less.

    Divide and conquer, all halves of one depth at once: the middle j of each range is solved, and what it finds
    bounds where the j on either side have to look.
    """
    count = len(best) - 1
    least, starts = np.full(count + 1, np.inf), np.zeros(count + 1, dtype=np.int64)
    low, high = np.array([group]), np.array([count])
    lowest, highest = np.array([group - 1]), np.array([count - 1])
    while low.size:
        middle = (low + high) // 2
        least[middle], starts[middle] = _solve(best, cost, middle, lowest, np.minimum(highest, middle - 1))
        low, high = np.concatenate([low, middle + 1]), np.concatenate([middle - 1, high])
        lowest, highest = np.concatenate([lowest, starts[middle]]), np.concatenate([starts[middle], highest])
        left = low <= high
        low, high, lowest, highest = low[left], high[left], lowest[left], highest[left]
    return least, starts


def _solve(
    best: Array, cost: Cost, stops: NDArray[np.int64], lowest: NDArray[np.int64], highest: NDArray[np.int64]
) -> tuple[Array, NDArray[np.int64]]:
    """For each stop the least best[start] + cost(start, stop) over its own range of starts, and its first start."""
    sizes = highest - lowest + 1
    offsets = np.cumsum(sizes) - sizes
    candidates = np.arange(sizes.sum()) - np.repeat(offsets - lowest, sizes)
    totals = best[candidates] + cost(candidates, np.repeat(stops, sizes))
    least = np.minimum.reduceat(totals, offsets)
    hits = np.flatnonzero(totals == np.repeat(least, sizes))
    return least, candidates[hits[np.searchsorted(hits, offsets)]]


def _edges(values: Array, starts: Sequence[int]) -> tuple[float, ...]:
    """Midway between neighbouring values, but never on the lighter one, which would fall into the darker group."""
    darker, lighter = values[np.array(starts) - 1], values[starts]
    middle = darker + (lighter - darker) / 2
    return tuple(float(edge) for edge in np.where(middle < lighter, middle, darker))


def _membership(values: Array, sigmas: Array, edges: Array, edge_sigmas: Array) -> Array:
    from scipy.special import ndtr

    spread = np.hypot(sigmas[:, None], edge_sigmas[None, :])
    distance = edges[None, :] - values[:, None]
    certain = spread == 0
    with np.errstate(over="ignore"):  # next to no spread puts an edge infinitely far away, which is right
        below = np.where(certain, distance >= 0, ndtr(distance / np.where(certain, 1, spread)))
    below[np.isnan(distance) | np.isnan(spread)] = np.nan
    ends = np.zeros((len(values), 1)), np.ones((len(values), 1))
    likely = np.diff(np.hstack([ends[0], below, ends[1]]), axis=1)
    likely = np.maximum(likely, 0)  # edges of unlike sigma may seem to cross
    likely[np.isnan(below).any(axis=1)] = np.nan
    return np.asarray(likely / likely.sum(axis=1, keepdims=True))


def _fitted(name: str, values: ArrayLike, count: int, what: str) -> Array:
    """One number for each, from one for all or one for each."""
    numbers = check_not_negative(name, values, "A standard uncertainty is 0 or more.")
    if numbers.ndim == 0 or numbers.shape == (count,):
        return np.broadcast_to(numbers, (count,))
    raise InvalidInputError(
        f"{name} must be one number or one for each {what}; got {numbers.size} for {count}. Pass {count} or 1."
    )


def _known(lightness: ArrayLike) -> Array:
    values = as_numbers("lightness", lightness).ravel()
    if np.isinf(values).any():
        raise InvalidInputError("lightness must be a finite number; got infinity. Measure that piece again.")
    return values[~np.isnan(values)]


def _distinct(lightness: ArrayLike, groups: int) -> tuple[Array, Array]:
    values, counts = np.unique(_known(lightness), return_counts=True)
    if values.size < groups:
        raise TooFewSwatchesError(
            f"{groups} groups need at least {groups} distinct lightness values; got {values.size}. "
            "Measure more swatches or ask for fewer groups."
        )
    return values, counts.astype(float)


def _running_sum(values: Array) -> Array:
    """Sums of the first 0, 1, 2 ... values along the first axis."""
    return np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])


def _check_groups(groups: int) -> int:
    if not isinstance(groups, int | np.integer) or groups not in _WORDS:
        raise InvalidInputError(
            f"There must be from 2 to 9 groups; got {groups}. Two are dark and light, three add medium."
        )
    return groups


def _names(groups: int, names: Sequence[str] | None) -> tuple[str, ...]:
    return _WORDS[groups] if names is None else tuple(names)


def _listed(numbers: Sequence[float]) -> str:
    """35 and 62.5, to one decimal."""
    *others, last = (f"{round(float(number), 1):g}" for number in numbers)
    return f"{', '.join(others)} and {last}" if others else last
