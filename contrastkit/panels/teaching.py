"""What the Teach panel is about: an exercise to sort by eye, how learners did, how pages look. No widgets here."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from contrastkit.compose.exercise import LEVELS, Exercise, make_exercise
from contrastkit.compose.eye_order import ClassOrder, EyeOrder, judge_order, pool_orders, progress
from contrastkit.errors import InvalidInputError
from contrastkit.show.handout_kinds import MOST_HEADING, check_heading
from contrastkit.show.page import PAPERS, paper_size

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.keep.projects import Project
    from contrastkit.panels.session import Session

Order = tuple[tuple[str, ...], ...]
_MOST_LETTERS = 80  # of a learner's name
_PAPER = "A4"
_MOST_RESULTS = 5000


@dataclass(frozen=True)
class Result:
    """What one learner did: the exercise, the order, the date (as 2026-11-25)."""

    learner: str
    date: str
    exercise: Exercise
    order: Order


@dataclass(frozen=True)
class Teaching:
    """
    An exercise under way, the results so far, and what all that is printed has in common.

    Attributes
    ----------
    exercise : the pieces to sort, or None before one is begun
    order : the pieces as they lie now, dark to light; those in one place were called equal
    judged : whether the order has been given in, so that the answer may be shown
    learner : whose order it is
    results : of all learners, as they were given in
    heading : the teacher's own line, on every page that is printed
    paper : "A4" or "Letter"
    """

    exercise: Exercise | None = None
    order: Order = ()
    judged: bool = False
    learner: str = ""
    results: tuple[Result, ...] = field(default=())
    heading: str = ""
    paper: str = _PAPER

    def to_plain(self) -> dict[str, Any]:
        """Return what a project keeps: the exercise, all results, heading and paper."""
        return {
            "exercise": _exercise_plain(self.exercise),
            "results": [
                {"learner": each.learner, "date": each.date, "exercise": _exercise_plain(each.exercise),
                 "order": [list(place) for place in each.order]}
                for each in self.results
            ],
            "heading": self.heading, "paper": self.paper,
        }  # fmt: skip

    @classmethod
    def from_plain(cls, data: Mapping[str, Any], session: Session, project: Project) -> Teaching:
        """Return it as a project kept it; what is not understood is left out."""
        exercise = _exercise_from(data.get("exercise"))
        kept = data.get("results")
        results = tuple(filter(None, map(_result_from, kept if isinstance(kept, list) else [])))
        now = cls(results=results, heading=_heading_from(data.get("heading")), paper=_paper_from(data.get("paper")))
        if exercise is None or not set(exercise.pieces) <= set(session.table["swatch_id"]):
            return now
        return replace(now, exercise=exercise, order=_laid_out(exercise))


def _exercise_plain(exercise: Exercise | None) -> dict[str, Any] | None:
    if exercise is None:
        return None
    return {"pieces": list(exercise.pieces), "level": exercise.level, "seed": exercise.seed}


def _exercise_from(data: Any) -> Exercise | None:
    try:
        pieces, level, seed = tuple(map(str, data["pieces"])), str(data["level"]), int(data["seed"])
    except (KeyError, TypeError, ValueError):
        return None
    return Exercise(pieces, level, seed) if level in LEVELS and len(set(pieces)) == len(pieces) >= 3 else None


def _result_from(data: Any) -> Result | None:
    try:
        order = tuple(tuple(map(str, place)) for place in data["order"])
        exercise, learner, date = _exercise_from(data["exercise"]), str(data["learner"]), str(data["date"])
    except (KeyError, TypeError):
        return None
    if exercise is None or sorted(name for place in order for name in place) != sorted(exercise.pieces):
        return None
    return Result(learner[:_MOST_LETTERS], date[:10], exercise, order)


def _heading_from(data: Any) -> str:
    return " ".join(data.split())[:MOST_HEADING] if isinstance(data, str) else ""


def _paper_from(data: Any) -> str:
    return data if isinstance(data, str) and data in PAPERS else _PAPER


def _laid_out(exercise: Exercise) -> Order:
    return tuple((name,) for name in exercise.pieces)


def begun(teaching: Teaching, table: pd.DataFrame, *, count: int, level: str, seed: int) -> Teaching:
    """
    Return teaching with a new exercise laid out in its mixed order; results stay.

    Raises
    ------
    InvalidInputError, TooFewSwatchesError
        As `make_exercise`.
    """
    exercise = make_exercise(table, count=count, level=level, seed=seed)
    return replace(teaching, exercise=exercise, order=_laid_out(exercise), judged=False)


def again(teaching: Teaching) -> Teaching:
    """Return teaching with the same exercise laid out anew, for the next learner."""
    exercise = _asked(teaching)
    return replace(teaching, order=_laid_out(exercise), judged=False, learner="")


def arranged(teaching: Teaching, places: Iterable[Iterable[int]]) -> Teaching:
    """
    Return teaching with the pieces in another order.

    Parameters
    ----------
    places : the pieces' numbers from dark to light; several in one place look equal

    Raises
    ------
    InvalidInputError
        No exercise is under way, it was given in, or the numbers are not those of the exercise, each once.
    """
    exercise = _asked(teaching)
    if teaching.judged:
        raise InvalidInputError("An order must be changed before it is given in; this one was. Begin again.")
    order = tuple(tuple(place) for place in places if tuple(place))
    if sorted(number for place in order for number in place) != list(range(1, len(exercise.pieces) + 1)):
        raise InvalidInputError(
            f"An order must have the numbers 1 to {len(exercise.pieces)}, each once. Reload the page if it does not."
        )
    return replace(teaching, order=tuple(tuple(exercise.pieces[number - 1] for number in place) for place in order))


def numbers(teaching: Teaching) -> list[list[int]]:
    """Return the order as the pieces' numbers."""
    exercise = _asked(teaching)
    return [[exercise.number_of(name) for name in place] for place in teaching.order]


def named(teaching: Teaching, learner: str) -> Teaching:
    """
    Return teaching with the learner's name.

    Raises
    ------
    InvalidInputError
        It is longer than 80 letters.
    """
    name = " ".join(learner.split())
    if len(name) > _MOST_LETTERS:
        raise InvalidInputError(f"A name must have {_MOST_LETTERS} letters or fewer; got {len(name)}. Shorten it.")
    return replace(teaching, learner=name)


def headed(teaching: Teaching, heading: str) -> Teaching:
    """
    Return teaching with another heading of the teacher's own.

    Raises
    ------
    InvalidInputError
        It is longer than 120 letters.
    """
    return replace(teaching, heading=check_heading(heading))


def on_paper(teaching: Teaching, paper: str) -> Teaching:
    """
    Return teaching with all that is printed on another paper.

    Raises
    ------
    InvalidInputError
        It is none of ours.
    """
    paper_size(paper)
    return replace(teaching, paper=paper)


def given_in(teaching: Teaching, *, today: datetime.date) -> Teaching:
    """
    Return teaching with the order given in: it is kept with the results under the learner's name.

    Raises
    ------
    InvalidInputError
        No exercise is under way, no name was given, or it was given in already.
    """
    exercise = _asked(teaching)
    if teaching.judged:
        raise InvalidInputError("An order must be given in once; this one was. Begin again for the next.")
    if not teaching.learner:
        raise InvalidInputError("An order must have a name, or initials; got none. Write one first.")
    result = Result(teaching.learner, today.isoformat(), exercise, teaching.order)
    return replace(teaching, judged=True, results=(*teaching.results, result)[-_MOST_RESULTS:])


def judged(teaching: Teaching, table: pd.DataFrame) -> EyeOrder:
    """Return how well the order under way agrees with what was measured; see `judge_order`."""
    _asked(teaching)
    return judge_order(table, teaching.order)


def pooled(teaching: Teaching, table: pd.DataFrame) -> ClassOrder | None:
    """Return the last result of every learner on the exercise under way, pooled; None where there is none."""
    exercise = teaching.exercise
    orders = {each.learner: each.order for each in teaching.results if each.exercise == exercise}
    return pool_orders(table, orders) if exercise is not None and orders else None


def weeks(teaching: Teaching, table: pd.DataFrame) -> pd.DataFrame:
    """Return how learners get on, from all results whose pieces are still in the pile; see `progress`."""
    known = set(table["swatch_id"])
    return progress(
        (each.date, each.learner, judge_order(table, each.order), each.exercise.level)
        for each in teaching.results if known.issuperset(each.exercise.pieces)
    )


def _asked(teaching: Teaching) -> Exercise:
    if teaching.exercise is None:
        raise InvalidInputError("An exercise must be under way; none is. Begin one first.")
    return teaching.exercise
