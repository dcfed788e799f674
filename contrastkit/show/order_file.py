"""
Orders that learners wrote, in a table: what a class sorted by eye, week by week.

    learner,date,order,seed,count,level
    Fennel,2026-11-18,3 1 2=5 4,1,5,far apart
    Sorrel,2026-11-18,1 3 2 5 4,1,5,far apart

An order runs from dark to light; numbers joined by = looked equal. Seed, count and level say which exercise it was, as
it stands at the foot of its sheets; where they are left out, those of the call hold.
"""

from __future__ import annotations

import datetime
import difflib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from contrastkit.columns import Column
from contrastkit.compose.exercise import LEVELS, MOST_SEED, Exercise, make_exercise, parse_order
from contrastkit.compose.eye_order import ClassOrder, judge_order, pool_orders, progress
from contrastkit.errors import ContrastkitError, InvalidInputError
from contrastkit.keep.files import StrPath, shown
from contrastkit.keep.tables import read_table

if TYPE_CHECKING:
    import pandas as pd

ORDERS = (
    Column("learner", "str", "", "name or initials", required=True),
    Column("date", "str", "", "as 2026-11-25", required=True),
    Column("order", "str", "", "numbers from dark to light, those that look equal joined by =", required=True),
    Column("seed", "float64", "", "of the exercise", 0, MOST_SEED),
    Column("count", "float64", "", "pieces of the exercise", 3, 40),
    Column("level", "str", "", "of the exercise"),
)
MOST_LETTERS = 80  # of a learner's name, as on screen


@dataclass(frozen=True)
class WrittenOrder:
    """An order as a learner wrote it: who, when (as 2026-11-25), the numbers; of which exercise; where it stands."""

    learner: str
    date: str
    numbers: str
    count: int
    level: str
    seed: int
    place: str


@dataclass(frozen=True, eq=False)
class SortedByEye:
    """What became of all orders: the newest exercise, its results pooled, and all weeks where there are several."""

    exercise: Exercise
    pooled: ClassOrder
    weeks: pd.DataFrame | None


def read_orders(
    path: StrPath, *, count: int = 12, level: str = LEVELS[0], seed: int = 1, learners: Sequence[str] = ()
) -> tuple[WrittenOrder, ...]:
    """
    Return the orders in a table (CSV), in its rows' order.

    Parameters
    ----------
    path : the table; see the top of this module
    count, level, seed : of the exercise, for rows that do not say
    learners : the names there may be; any, if none are given

    Raises
    ------
    InvalidInputError
        The file is no such table, or a row cannot be right; it is named.
    """
    table = read_table(path, columns=ORDERS)
    usual = {"count": count, "level": level, "seed": seed}
    orders = tuple(
        _order(row, f"{shown(path)}, row {at + 2}", usual, learners) for at, row in enumerate(table.to_dict("records"))
    )
    for at, one in enumerate(orders):
        other = next((each for each in orders[:at] if _occasion(each) == _occasion(one)), None)
        if other is not None:
            raise InvalidInputError(
                f"{one.place}: a learner must have one order of an exercise a day; {one.learner} has another in "
                f"{other.place.rpartition(', ')[2]}. Leave one out."
            )
    if not orders:
        raise InvalidInputError(f"There must be an order; {shown(path)} has none. Write a row for each learner.")
    return orders


def _occasion(order: WrittenOrder) -> tuple[str, str, int, str, int]:
    return order.learner, order.date, order.count, order.level, order.seed


def _order(row: Mapping[Any, Any], place: str, usual: Mapping[str, Any], learners: Sequence[str]) -> WrittenOrder:
    whole = {
        name: round(row[name]) if math.isfinite(row.get(name, math.nan)) else usual[name] for name in ("count", "seed")
    }
    level = str(row.get("level", "")).strip() or str(usual["level"])
    if level not in LEVELS:
        raise InvalidInputError(f"{place}: level must be {' or '.join(LEVELS)}; got {level[:40]!r}. Write one of them.")
    return WrittenOrder(
        _learner(str(row["learner"]), place, learners), _date(str(row["date"]), place), str(row["order"]),
        whole["count"], level, whole["seed"], place,
    )


def _learner(text: str, place: str, learners: Sequence[str]) -> str:
    name = " ".join(text.split())
    if not 1 <= len(name) <= MOST_LETTERS:
        raise InvalidInputError(
            f"{place}: learner must have 1 to {MOST_LETTERS} letters; got {len(name)}. Write a name, or initials."
        )
    if learners and name not in learners:
        near = difflib.get_close_matches(name, learners, 1)
        hint = f"the nearest is {near[0]!r}" if near else f"there are {', '.join(learners[:12])}"
        raise InvalidInputError(f"{place}: learner must be one of the class; got {name!r}, and {hint}. Correct it.")
    return name


def _date(text: str, place: str) -> str:
    try:
        return datetime.date.fromisoformat(text.strip()).isoformat()
    except ValueError as error:
        raise InvalidInputError(
            f"{place}: date must be written as 2026-11-25; got {text[:40]!r}. Correct it."
        ) from error


def judge_orders(table: pd.DataFrame, orders: Sequence[WrittenOrder]) -> SortedByEye:
    """
    Return all orders judged: the exercise of the newest pooled, a learner's last order counting, and all weeks.

    Parameters
    ----------
    table : the pile that the exercises were made from
    orders : see `read_orders`

    Raises
    ------
    InvalidInputError
        An order that cannot be right, or an exercise that the pile cannot have; the row is named.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": list("abc"), "lightness": [20.0, 50.0, 80.0]})
    >>> judged = judge_orders(table, [WrittenOrder("Wren", "2026-11-25", "1 2 3", 3, "far apart", 1, "row 2")])
    >>> judged.exercise.pieces, judged.pooled.sentences[0]
    (('a', 'b', 'c'), '1 of 1 learner has every piece in order.')
    """
    exercises: dict[tuple[int, str, int], Exercise] = {}
    read = []
    for each in orders:
        kind = (each.count, each.level, each.seed)
        try:
            if kind not in exercises:
                exercises[kind] = make_exercise(table, count=each.count, level=each.level, seed=each.seed)
            read.append((each, exercises[kind], parse_order(each.numbers, exercises[kind])))
        except ContrastkitError as error:
            raise InvalidInputError(f"{each.place}, {each.learner}: {error}") from error
    newest = max(read, key=lambda row: row[0].date)[1]
    by_date = sorted(read, key=lambda row: row[0].date)
    pooled = pool_orders(table, {each.learner: order for each, exercise, order in by_date if exercise == newest})
    many = len({each.date for each in orders}) > 1
    weeks = progress(
        (each.date, each.learner, judge_order(table, order), each.level) for each, _, order in read
    ) if many else None
    return SortedByEye(newest, pooled, weeks)
