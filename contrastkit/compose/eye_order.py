"""
Sort by eye: how well a learner's order of swatches, dark to light, agrees with what was measured.

What the measurement cannot tell apart is never counted against anybody: two pieces are in order or out of it only
where their lightness differs by more than 1.645 sigma of the difference. To call two pieces equal is wrong where they
differ by more than that and by half a Munsell step, 5 L* [design choice]. A learner's order is held against a true
order that follows theirs wherever the measurement leaves it open.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching
from scipy.stats import kendalltau, spearmanr

from contrastkit.compose.seams import ONE_SIDED
from contrastkit.errors import InvalidInputError

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]
Order = Sequence[str | Sequence[str]]

UNEQUAL = 5.0
"""L* from which on two pieces should not be called equal, a design choice: half a Munsell step."""
VIVID, PATTERNED, NEAR = 5.0, 25.0, 10.0
"""What counts as a reason, L*, design choices: it looks that much lighter than it measures; its lights and darks lie so
far apart; what it was taken for lies no further away."""


@dataclass(frozen=True)
class Misplaced:
    """
    A piece to move, so that a learner's order becomes right.

    Attributes
    ----------
    swatch_id : its name
    place : where the learner put it, from 1, the darkest
    right_place : where it belongs
    wrong : with how many pieces it was out of order
    widest : by how much it is out of order with the furthest of these, L*; above 0 where it was put too light
    reasons : "vivid", "patterned" or "near", what may have led the eye; none where nothing measured explains it
    sentence : in plain words
    """

    swatch_id: str
    place: int
    right_place: int
    wrong: int
    widest: float
    reasons: tuple[str, ...]
    sentence: str


@dataclass(frozen=True)
class EyeOrder:
    """
    A learner's order held against what was measured.

    Attributes
    ----------
    given : the learner's order, dark to light; pieces in one place were called equal
    right : the true order nearest to it, dark to light
    tau : Kendall's tau-b of the two, -1 to 1; nan where it says nothing, as when all were called equal
    rho : Spearman's rank correlation of the two
    turned, sure, open : pairs that are out of order; pairs the measurement tells apart; pairs it does not
    misplaced : the fewest pieces that must be moved to make the order right, those furthest off first
    """

    given: tuple[tuple[str, ...], ...]
    right: tuple[str, ...]
    tau: float
    rho: float
    turned: int
    sure: int
    open: int
    misplaced: tuple[Misplaced, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """The result in plain words: how many are in order, how well they agree, which pieces to look at again."""
        count = sum(len(place) for place in self.given)
        many = len(self.misplaced)
        if not self.turned:
            first = f"All {count} pieces are in order, as far as the measurement can tell."
        else:
            first = (f"{count - many} of {count} pieces are in order; move {many} and all are." if many < count else
                     f"None of the {count} pieces is in order.")
        agree = (f"Agreement: tau-b {self.tau:.2f}, rho {self.rho:.2f} (1 is perfect, 0 is chance)."
                 if math.isfinite(self.tau) else "Agreement cannot be told: all pieces were called equal.")
        left_open = (f"{self.open} of {self.sure + self.open} pairs are too close to tell apart and were not counted."
                     if self.open else "")
        return tuple(text for text in (first, agree, left_open, *(each.sentence for each in self.misplaced)) if text)


def judge_order(table: pd.DataFrame, order: Order) -> EyeOrder:
    """
    Return how well a learner's order agrees with the measured lightness.

    Parameters
    ----------
    table : swatches, with `swatch_id`, `lightness` and, where known, `lightness_sigma`; `lightness_apparent_low`,
        `lightness_low` and `lightness_high` serve to say why a piece was misplaced
    order : names from dark to light; a list of names in one place says that they look equal. Pieces of the table that
        are not in it are left out.

    Raises
    ------
    InvalidInputError
        Fewer than three pieces, a piece twice, one that is not in the table, or one of unknown lightness.

    References
    ----------
    Kendall, M. G. (1945), The treatment of ties in ranking problems, Biometrika 33(3), 239-251.
    Spearman, C. (1904), The proof and measurement of association between two things, Am. J. Psychology 15(1), 72-101.
    Fulkerson, D. R. (1956), Note on Dilworth's decomposition theorem for partially ordered sets, Proc. AMS 7(4),
    701-702, for the fewest pieces to move.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": list("abcd"), "lightness": [20.0, 40.0, 60.0, 80.0]})
    >>> judged = judge_order(table, ["a", "c", "b", "d"])
    >>> round(judged.tau, 3), [piece.swatch_id for piece in judged.misplaced]
    (0.667, ['b'])
    """
    given = tuple((place,) if isinstance(place, str) else tuple(place) for place in order)
    pieces = _Pieces.of(table, [name for place in given for name in place])
    places = np.repeat(np.arange(len(given)), [len(place) for place in given])
    right = _nearest(pieces.darker, places)
    ranks = np.empty(len(right))
    ranks[right] = np.arange(len(right))
    # [i, j]: i is surely darker than j, and was put lighter, or called equal although it is much darker
    unequal = pieces.lightness[None, :] - pieces.lightness[:, None] >= UNEQUAL
    later, same = places[:, None] > places[None, :], places[:, None] == places[None, :]
    wrong = pieces.darker & (later | same & unequal)
    sure = int(pieces.darker.sum())
    return EyeOrder(
        given=given,
        right=tuple(pieces.names[place] for place in right),
        tau=float(kendalltau(places, ranks).statistic) if places[-1] else math.nan,
        rho=float(spearmanr(places, ranks).statistic) if places[-1] else math.nan,
        turned=int(wrong.sum()), sure=sure, open=len(right) * (len(right) - 1) // 2 - sure,
        misplaced=_misplaced(pieces, places, ranks, wrong),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Pieces:
    """The pieces in the learner's order, and which of them is surely darker than which."""

    names: list[str]
    lightness: Array
    darker: NDArray[np.bool_]  # [i, j]: i is surely darker than j
    looks_lighter: Array  # by how much at least, for its vividness
    spread: Array  # of its lights and darks

    @classmethod
    def of(cls, table: pd.DataFrame, names: list[str]) -> _Pieces:
        _check(table, names)
        rows = table.set_index(table["swatch_id"].astype(str)).loc[names]
        lightness = rows["lightness"].to_numpy(float)
        sigma = np.nan_to_num(_column(rows, "lightness_sigma"))
        limit = ONE_SIDED * np.hypot(sigma[:, None], sigma[None, :])
        return cls(
            names, lightness, lightness[None, :] - lightness[:, None] > limit,
            np.nan_to_num(_column(rows, "lightness_apparent_low") - lightness),
            np.nan_to_num(_column(rows, "lightness_high") - _column(rows, "lightness_low")),
        )  # fmt: skip


def _column(rows: pd.DataFrame, name: str) -> Array:
    return rows[name].to_numpy(float) if name in rows else np.full(len(rows), np.nan)


def _check(table: pd.DataFrame, names: Sequence[str]) -> None:
    if len(names) < 3:
        raise InvalidInputError(f"An order must be of three pieces or more; got {len(names)}. Sort some more.")
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise InvalidInputError(f"A piece must have one place in an order; {twice!r} has more. Leave one of them out.")
    known = dict(zip(table["swatch_id"].astype(str), table["lightness"], strict=True))
    for name in names:
        if not math.isfinite(known.get(name, math.nan)):
            why = "its lightness is unknown" if name in known else "it is not in the table"
            raise InvalidInputError(f"An order must be of measured pieces; of {name!r}, {why}. Leave it out.")


def _nearest(darker: NDArray[np.bool_], places: NDArray[np.int_]) -> list[int]:
    """
    The pieces in a true order: of those that nothing surely darker is left before, always the learner's next.

    Where the learner's own order is a true one, it is that order.
    """
    before = darker.sum(axis=0)
    free = [(int(places[piece]), int(piece)) for piece in np.flatnonzero(before == 0)]
    heapq.heapify(free)
    order: list[int] = []
    while free:
        _, piece = heapq.heappop(free)
        order.append(piece)
        before = before - darker[piece]
        for freed in np.flatnonzero(darker[piece] & (before == 0)):
            heapq.heappush(free, (int(places[freed]), int(freed)))
    return order


def _misplaced(
    pieces: _Pieces, places: NDArray[np.int_], ranks: Array, wrong: NDArray[np.bool_]
) -> tuple[Misplaced, ...]:
    moved = _fewest_moved(wrong)
    off = np.where(wrong, pieces.lightness[None, :] - pieces.lightness[:, None], 0.0)
    too_light, too_dark = off.max(axis=1), off.max(axis=0)
    return tuple(sorted(
        (_why(pieces, places, ranks, wrong, piece, float(too_light[piece]), float(too_dark[piece])) for piece in moved),
        key=lambda each: (-abs(each.widest), each.swatch_id),
    ))  # fmt: skip


def _fewest_moved(wrong: NDArray[np.bool_]) -> list[int]:
    """
    The fewest pieces without which all others are in order.

    That i was put no darker than j although it is surely darker is transitive, so what can stay is a largest antichain:
    by Dilworth's theorem what a maximum matching leaves, found as a smallest vertex cover (Kőnig, 1931).
    """
    count = len(wrong)
    match = maximum_bipartite_matching(csr_array(wrong), perm_type="column")
    partner_of_col = np.full(count, -1)
    for row, col in enumerate(match):
        if col >= 0:
            partner_of_col[col] = row
    reached_rows, reached_cols = match < 0, np.zeros(count, bool)
    waiting = list(np.flatnonzero(reached_rows))
    while waiting:
        for col in np.flatnonzero(wrong[waiting.pop()] & ~reached_cols):
            reached_cols[col] = True
            row = partner_of_col[col]
            if row >= 0 and not reached_rows[row]:
                reached_rows[row] = True
                waiting.append(row)
    return [int(piece) for piece in np.flatnonzero(~reached_rows | reached_cols)]


def _why(
    pieces: _Pieces, places: NDArray[np.int_], ranks: Array, wrong: NDArray[np.bool_], piece: int, too_light: float,
    too_dark: float,
) -> Misplaced:
    lighter = too_light >= too_dark
    partners = np.flatnonzero(wrong[piece] | wrong[:, piece])
    reasons = tuple(
        reason for reason, holds in (
            ("vivid", bool(lighter and pieces.looks_lighter[piece] >= VIVID
                           or not lighter and (pieces.looks_lighter[partners] >= VIVID).any())),
            ("patterned", bool(pieces.spread[piece] >= PATTERNED)),
            ("near", max(too_light, too_dark) <= NEAR),
        ) if holds
    )  # fmt: skip
    words = {
        "vivid": "vivid colour looks lighter than it is" if lighter else
        "it was held against vivid pieces, which look lighter than they are",
        "patterned": "its own lights and darks lie far apart, and the eye goes to one of them",
        "near": f"the nearest lie within {NEAR:g} L*",
    }  # fmt: skip
    may = f" It may be that {' and that '.join(words[reason] for reason in reasons)}." if reasons else ""
    own = int(sum(places < places[piece])) + 1
    return Misplaced(
        pieces.names[piece], own, int(ranks[piece]) + 1, len(partners),
        too_light if lighter else -too_dark, reasons,
        f"{pieces.names[piece]} (L* {pieces.lightness[piece]:.0f}) was put too {'light' if lighter else 'dark'}: it is "
        f"out of order with {len(partners)} {'other' if len(partners) == 1 else 'others'}, by up to "
        f"{max(too_light, too_dark):.0f} L*.{may}",
    )  # fmt: skip


# --- a class ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class PooledPiece:
    """A piece as a class saw it: how many learners had to move it, and where they put it on average, from 1."""

    swatch_id: str
    moved: int
    mean_place: float
    right_place: float


@dataclass(frozen=True)
class ClassOrder:
    """
    The orders of a class, pooled.

    Attributes
    ----------
    learners : the results by name, in the order given
    concordance : Kendall's W, 0 to 1: how well the learners agree with each other, right or not; nan for one learner
    median_tau : of the learners whose tau says something
    pieces : dark to light by the average place, all that every learner sorted
    """

    learners: Mapping[str, EyeOrder]
    concordance: float
    median_tau: float
    pieces: tuple[PooledPiece, ...]

    @property
    def hardest(self) -> tuple[PooledPiece, ...]:
        """The pieces that at least a quarter of the class misplaced, the hardest first."""
        many = [piece for piece in self.pieces if piece.moved and 4 * piece.moved >= len(self.learners)]
        return tuple(sorted(many, key=lambda piece: (-piece.moved, piece.swatch_id)))

    @property
    def sentences(self) -> tuple[str, ...]:
        """The result in plain words."""
        count = len(self.learners)
        perfect = sum(not each.turned for each in self.learners.values())
        who = f"{'learner' if count == 1 else 'learners'} {'has' if 1 in (count, perfect) else 'have'}"
        first = f"{perfect or 'None'} of {count} {who} every piece in order."
        half = f"Half of the class reach tau-b {self.median_tau:.2f} or more." if math.isfinite(self.median_tau) else ""
        agree = (f"They agree with each other to W = {self.concordance:.2f} (1 is complete)."
                 if math.isfinite(self.concordance) else "")
        hard = [f"{each.swatch_id} ({each.moved} of {count})" for each in self.hardest[:5]]
        return tuple(text for text in (first, half, agree, f"Hardest: {', '.join(hard)}." if hard else "") if text)


def pool_orders(table: pd.DataFrame, orders: Mapping[str, Order]) -> ClassOrder:
    """
    Return the orders of a class, judged and pooled.

    Parameters
    ----------
    table : as for `judge_order`
    orders : each learner's order, dark to light, by name; pieces that not all of them sorted are judged but not pooled

    Raises
    ------
    InvalidInputError
        No learner, or an order that cannot be right; it is named.

    References
    ----------
    Kendall, M. G. and Babington Smith, B. (1939), The problem of m rankings, Annals of Mathematical Statistics 10(3),
    275-287; with ties, Kendall (1948), Rank Correlation Methods, chapter 6.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": list("abc"), "lightness": [20.0, 40.0, 60.0], "lightness_sigma": 1.0})
    >>> pooled = pool_orders(table, {"first": ["a", "b", "c"], "second": ["b", "a", "c"]})
    >>> round(pooled.concordance, 2), [(piece.swatch_id, piece.moved) for piece in pooled.hardest]
    (0.75, [('a', 1)])
    """
    if not orders:
        raise InvalidInputError("A class must have a learner; got none. Enter an order first.")
    learners = {}
    for name, order in orders.items():
        try:
            learners[name] = judge_order(table, order)
        except InvalidInputError as error:
            raise InvalidInputError(f"{name}: {error}") from error
    shared = _shared(learners.values())
    ranks = np.array([_ranks(each.given, shared) for each in learners.values()]).reshape(len(learners), -1)
    rights = np.array([_ranks([(name,) for name in each.right], shared) for each in learners.values()])
    mean, right = ranks.mean(axis=0), rights.reshape(len(learners), -1).mean(axis=0)
    taus = [each.tau for each in learners.values() if math.isfinite(each.tau)]
    moved = {name: sum(name in {each.swatch_id for each in one.misplaced} for one in learners.values())
             for name in shared}
    pieces = [PooledPiece(name, moved[name], float(mean[at]), float(right[at])) for at, name in enumerate(shared)]
    return ClassOrder(
        learners, _concordance(ranks), float(np.median(taus)) if taus else math.nan,
        tuple(sorted(pieces, key=lambda piece: (piece.mean_place, piece.swatch_id))),
    )  # fmt: skip


def _shared(learners: Iterable[EyeOrder]) -> list[str]:
    each = [set(one.right) for one in learners]
    return sorted(set.intersection(*each))


def _ranks(given: Iterable[Sequence[str]], names: Sequence[str]) -> Array:
    """Ranks from 1 among these names; pieces in one place share the mean of their ranks."""
    wanted, before = set(names), 0
    ranks: dict[str, float] = {}
    for place in given:
        inside = [name for name in place if name in wanted]
        ranks |= dict.fromkeys(inside, before + (len(inside) + 1) / 2)
        before += len(inside)
    return np.array([ranks[name] for name in names], np.float64)


def _concordance(ranks: Array) -> float:
    """Kendall's W of ranks, shape (learners, pieces), corrected for ties."""
    learners, count = ranks.shape
    if learners < 2 or count < 2:
        return math.nan
    sums = ranks.sum(axis=0)
    ties = sum(float((repeats**3 - repeats).sum()) for repeats in map(_repeats, ranks))
    most = learners**2 * (count**3 - count) - learners * ties
    return 12 * float(((sums - sums.mean()) ** 2).sum()) / most if most > 0 else math.nan


def _repeats(ranks: Array) -> Array:
    return np.unique(ranks, return_counts=True)[1].astype(float)


def progress(results: Iterable[tuple[str, str, EyeOrder] | tuple[str, str, EyeOrder, str]]) -> pd.DataFrame:
    """
    Return how learners get on from week to week.

    Parameters
    ----------
    results : date (as 2026-11-25), learner, result, and where there are several kinds of exercise, which it was

    Returns
    -------
    DataFrame
        One row an exercise, by learner and date: `learner`, `date`, `exercise`, `pieces`, `in_order` (how many need not
        be moved), `tau`, `rho`, and `gain`, by which tau is better than the learner's first in an exercise of that
        kind; unknown of the first.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": list("abc"), "lightness": [20.0, 40.0, 60.0]})
    >>> early, late = judge_order(table, ["b", "a", "c"]), judge_order(table, ["a", "b", "c"])
    >>> progress([("2026-03-02", "first", early), ("2026-03-09", "first", late)])["gain"].round(2).tolist()
    [nan, 0.67]
    """
    import pandas as pd

    rows: list[dict[str, Any]] = [
        {"learner": learner, "date": date, "exercise": kind[0] if kind else "", "pieces": len(one.right),
         "in_order": len(one.right) - len(one.misplaced), "tau": one.tau, "rho": one.rho}
        for date, learner, one, *kind in results
    ]  # fmt: skip
    names = ["learner", "date", "exercise", "pieces", "in_order", "tau", "rho"]
    table = pd.DataFrame(rows, columns=names).sort_values(["learner", "date"], kind="stable", ignore_index=True)
    alike = table.groupby(["learner", "exercise"])
    gain = table["tau"] - alike["tau"].transform("first")
    return table.assign(gain=gain.where(alike.cumcount() > 0))
