"""
Stacks that reach given scores, or the proof that there are none: what closed forms cannot answer, by CP-SAT.

Two layers of stacks can be joined, each piece of one with one of the other, with steps of t or more upwards, if and
only if that holds for the darkest with the darkest, the next with the next, and so on. So it is enough to ask how many
pieces up to each lightness lie in each layer (the counting condition of P. Hall, On representatives of subsets,
J. London Math. Soc. 10, 26-30, 1935, on a line), without ever saying which stack a piece is in: thousands of unknowns
become hundreds. Only what is asked of a stack as a whole, twins and pieces that must differ, needs more.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from contrastkit.compose.rules import FINE, Signs, Task

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

Places = NDArray[np.int64]

_SEED = 20  # any; the same for ever, so that ties are broken the same way
_ATTEMPTS = 200
_SECONDS = 1.0  # of a usual computer, to the solver's own unit of work
_BUILDING = 1e-5  # seconds an unknown, to write the question down
_JOINING = 7e-8  # seconds for one piece in one stack, in one round
_MISFIT = 1e6  # worse than any number of pieces that meet
_MOST_UNKNOWNS = 8_000  # pieces times places; the whole question takes too long beyond
_NO_WAYS = np.zeros((0, 0), np.int64)


class Effort:
    """
    How much looking is left, in seconds of a usual computer.

    What is spent is counted by the work done, not by the clock, so that the same question gets the same answer on a
    slow computer, only later.
    """

    def __init__(self, seconds: float, *, of: Effort | None = None) -> None:
        self._left, self._of = seconds, of

    @property
    def left(self) -> float:
        """Seconds left, never negative."""
        own = max(0.0, self._left)
        return own if self._of is None else min(own, self._of.left)

    def part(self, share: float) -> Effort:
        """Return a share of what is left; what is spent of it is spent of the whole."""
        return Effort(share * self.left, of=self)

    def spend(self, seconds: float) -> None:
        """Take away what some work has cost."""
        self._left -= seconds
        if self._of is not None:
            self._of.spend(seconds)


@dataclass(frozen=True, eq=False)
class Answer:
    """
    What came of looking for stacks.

    Attributes
    ----------
    places : pieces of each stack, bottom first, shape (blocks, layers); None where none were found
    impossible : whether it is proved that there are none
    least_cost : where a cost was to be kept low, what it is at least
    """

    places: Places | None = None
    impossible: bool = False
    least_cost: float = 0.0


IMPOSSIBLE, UNKNOWN = Answer(impossible=True), Answer()


def lifted(
    task: Task, scores: Sequence[int], effort: Effort, *, cost: Sequence[int] | None = None, loosely: bool = False
) -> Answer:
    """
    Return stacks of which each reaches one of these scores, or that there are none, or that time ran out.

    Parameters
    ----------
    task : the pile and what is asked of its stacks
    scores : the least score of each stack, ten-thousandths of L*, shape (blocks,)
    effort : how long to look
    cost : of using each piece, shape (N,); the sum is kept as small as can be
    loosely : whether to leave out what is asked of a stack as a whole: what is impossible then is impossible anyway
    """
    scores = sorted(scores)
    last = loosely or not task.whole_stacks  # nothing comes after the layers
    classes = sorted(Counter(scores).items())
    answer, ways = _levels(task, classes, task.signs, effort if last else effort.part(0.5), cost)
    if answer.places is None or last:
        return answer
    chained = joined(task, answer.places, scores, ways, effort)
    if chained is not None:
        return Answer(chained, least_cost=answer.least_cost)
    if len(scores) * task.layers * len(task.whole) > _MOST_UNKNOWNS:
        return Answer(least_cost=answer.least_cost)
    whole = _whole(task, scores, answer.places, effort, cost)
    return Answer(whole.places, whole.impossible, max(whole.least_cost, answer.least_cost))


# --- which pieces lie in which layer ---------------------------------------------------------------------------------


def _levels(
    task: Task, classes: Sequence[tuple[int, int]], ways: Sequence[Signs], effort: Effort, cost: Sequence[int] | None
) -> tuple[Answer, Places]:
    """
    Stacks with nothing asked of them as a whole, and the way each goes up and down, shape (blocks, layers - 1).

    A class is a score and how many stacks reach it; stacks come in the order of the classes.
    """
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    sets: dict[tuple[int, int, int], dict[int, cp_model.IntVar]] = {}
    for number, (score, count) in enumerate(classes):
        shares = [model.new_int_var(0, count, "") for _ in ways]
        model.add(sum(shares) == count)
        for way, share in enumerate(shares):
            for layer in range(task.layers):
                fits = task.allowed[layer] & (task.on_background(score) if layer == 0 else True)
                chosen = {int(piece): model.new_bool_var("") for piece in np.flatnonzero(fits)}
                model.add(sum(chosen.values()) == share)
                sets[number, way, layer] = chosen
            group = [sets[number, way, layer] for layer in range(task.layers)]
            _add_steps(model, task, ways[way], group, score, count)
            for members in _alike(task):
                model.add(sum(chosen[p] for chosen in group for p in members if p in chosen) <= share)
    _use_once(model, task, list(sets.values()))
    _keep_low(model, list(sets.values()), cost)
    solver, status = _solved(model, effort)
    if status == cp_model.INFEASIBLE:
        return IMPOSSIBLE, _NO_WAYS
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return UNKNOWN, _NO_WAYS
    found = {key: [piece for piece, used in chosen.items() if solver.value(used)] for key, chosen in sets.items()}
    rows, gone = [], []
    for number in range(len(classes)):
        for way, signs in enumerate(ways):
            if found[number, way, 0]:  # the darkest with the darkest
                rows.append(np.column_stack([found[number, way, layer] for layer in range(task.layers)]))
                gone.append(np.tile(signs, (len(rows[-1]), 1)))
    least_cost = 0.0 if cost is None else solver.best_objective_bound
    return Answer(np.vstack(rows).astype(np.int64), least_cost=least_cost), np.vstack(gone).astype(np.int64)


def _add_steps(
    model: cp_model.CpModel, task: Task, way: Signs, group: Sequence[dict[int, Any]], score: int, count: int
) -> None:
    """Every two layers can be joined by steps of this score: counted up to each lightness."""
    sums = [_running(model, chosen, len(task.whole), count) for chosen in group]
    for seam, sign in enumerate(way):
        least, largest = task.reach(seam, score)
        darker, lighter = (seam, seam + 1) if sign > 0 else (seam + 1, seam)
        below = np.searchsorted(task.whole, task.whole - least, side="right")
        for piece in group[lighter]:
            model.add(sums[lighter][piece + 1] <= sums[darker][below[piece]])
        if largest is not None:
            above = np.searchsorted(task.whole, task.whole + largest, side="right")
            for piece in group[darker]:
                model.add(sums[darker][piece + 1] <= sums[lighter][above[piece]])


def _running(model: cp_model.CpModel, chosen: dict[int, Any], count: int, most: int) -> list[Any]:
    """How many of the first n pieces are chosen, for n from 0 to all."""
    sums: list[Any] = [0]
    for piece in range(count):
        if piece in chosen:
            total = model.new_int_var(0, most, "")
            model.add(total == sums[-1] + chosen[piece])
            sums.append(total)
        else:
            sums.append(sums[-1])
    return sums


def _alike(task: Task) -> Iterator[list[int]]:
    """Groups of pieces of which a stack may have only one."""
    for kinds in task.kinds:
        for kind in range(int(kinds.max(initial=-1)) + 1):
            members = np.flatnonzero(kinds == kind)
            if len(members) > 1:
                yield [int(piece) for piece in members]


def _use_once(model: cp_model.CpModel, task: Task, sets: Sequence[dict[int, Any]]) -> None:
    for piece in range(len(task.whole)):
        uses = [chosen[piece] for chosen in sets if piece in chosen]
        if task.must[piece]:
            model.add_exactly_one(uses)
        else:
            model.add_at_most_one(uses)


def _keep_low(model: cp_model.CpModel, sets: Sequence[dict[int, Any]], cost: Sequence[int] | None) -> None:
    if cost is not None:
        model.minimize(sum(int(cost[piece]) * used for chosen in sets for piece, used in chosen.items()))


def _solved(model: cp_model.CpModel, effort: Effort) -> tuple[cp_model.CpSolver, Any]:
    """The solver after it has solved the model, or has spent what is left, and its status."""
    from ortools.sat.python import cp_model

    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1  # more would break ties by which is first
    solver.parameters.random_seed = _SEED
    solver.parameters.max_deterministic_time = max(effort.left / _SECONDS, 0.01)
    status = solver.solve(model)
    effort.spend(_SECONDS * solver.response_proto.deterministic_time + _BUILDING * len(model.proto.variables))
    return solver, status


# --- which pieces of two layers belong together ----------------------------------------------------------------------


def joined(
    task: Task, places: Places, scores: Sequence[int], ways: Places, effort: Effort | None = None
) -> Places | None:
    """
    Return the same pieces in the same layers, joined so that pieces of a stack differ and so many stacks are twins.

    None where that was not found, which proves nothing. Twins come first.

    Parameters
    ----------
    places : stacks that reach their scores, shape (blocks, layers)
    scores : of each stack, shape (blocks,)
    ways : up (1) and down (-1) of each, shape (blocks, layers - 1)
    effort : where to count what it costs
    """
    if task.kinds:
        apart, rounds = _set_apart(task, places, np.asarray(scores), ways)
        if effort is not None:
            effort.spend(_JOINING * rounds * task.layers * len(places) ** 2)
        if apart is None:
            return None
        places = apart
    pairs = _twins_in(task, places)[: task.twins]
    if len(pairs) < task.twins:
        return None
    first = [stack for pair in pairs for stack in pair]
    return np.vstack([places[first], np.delete(places, first, axis=0)])


def ways_of(task: Task, places: Places) -> Places:
    """Return the ways that stacks go, as the order has them where two layers are equal, shape (blocks, layers - 1)."""
    allowed = np.array([way for way in product((1, -1), repeat=task.layers - 1) if task.goes(way)])
    return np.asarray(allowed[np.argmax(np.diff(task.whole[places], axis=1) @ allowed.T, axis=1)])


def _twins_in(task: Task, places: Places) -> list[tuple[int, int]]:
    """Pairs of stacks that are alike, each stack in one pair at most."""
    left = sorted(range(len(places)), key=lambda stack: tuple(task.whole[places[stack]]))
    pairs = []
    while left and task.twins:
        stack = left.pop(0)
        apart = np.abs(task.whole[places[left]] - task.whole[places[stack]]).max(axis=1) if left else np.zeros(0)
        if len(apart) and apart.min() <= task.twin_tolerance:
            pairs.append((stack, left.pop(int(np.argmin(apart)))))
    return pairs


def _set_apart(task: Task, places: Places, scores: Places, ways: Places) -> tuple[Places | None, int]:
    """
    One layer after another laid anew on all others, so that fewest pieces meet one they must differ from.

    Also how many rounds that took.
    """
    from scipy.optimize import linear_sum_assignment

    places = places.copy()
    alike = _alike_pairs(task)
    chance = np.random.default_rng(_SEED)
    for attempt in range(_ATTEMPTS):
        for layer in range(task.layers):
            pieces = places[:, layer]
            clashes = sum(alike[places[:, other]][:, pieces] for other in range(task.layers) if other != layer)
            cost = np.asarray(clashes, dtype=float) + _MISFIT * ~_fits(task, places, layer, scores, ways)
            rows, columns = linear_sum_assignment(cost + (0.3 * chance.random(cost.shape) if attempt else 0))
            places[rows, layer] = pieces[columns]
        if not _meet(task, places).any():
            return places, attempt + 1
    return None, _ATTEMPTS


def _alike_pairs(task: Task) -> NDArray[np.int64]:
    """1 where two pieces may not lie in one stack, shape (N, N)."""
    alike = np.zeros((len(task.whole),) * 2, bool)
    for kinds in task.kinds:
        alike |= (kinds[:, None] == kinds[None, :]) & (kinds >= 0)
    return alike.astype(np.int64)


def _meet(task: Task, places: Places) -> NDArray[np.bool_]:
    """Stacks in which two pieces meet that must differ."""
    meet = np.zeros(len(places), bool)
    for kinds in task.kinds:
        kind = np.sort(kinds[places], axis=1)
        meet |= ((kind[:, 1:] == kind[:, :-1]) & (kind[:, 1:] >= 0)).any(axis=1)
    return meet


def _fits(task: Task, places: Places, layer: int, scores: Places, ways: Places) -> NDArray[np.bool_]:
    """Whether each stack could have each of the pieces of this layer, shape (stacks, pieces)."""
    heights = task.whole[places[:, layer]][None, :]
    good = np.ones((len(places), len(places)), bool)
    if layer == 0:
        for score in np.unique(scores):
            good[scores == score] &= task.on_background(int(score))[places[:, 0]]
    for seam, sign in ((layer - 1, 1), (layer, -1)):
        if 0 <= seam < task.layers - 1:
            reaches = [task.reach(seam, int(score)) for score in scores]
            least = np.array([low for low, _ in reaches])[:, None]
            largest = np.array([np.inf if high is None else high for _, high in reaches])[:, None]
            beside = task.whole[places[:, layer - sign]][:, None]
            steps = sign * ways[:, seam, None] * (heights - beside)
            good &= (steps >= least) & (steps <= largest)
    return good


# --- which piece lies where: the whole question ----------------------------------------------------------------------


def _whole(task: Task, scores: Sequence[int], near: Places, effort: Effort, cost: Sequence[int] | None) -> Answer:
    """Stacks with all that is asked of them; `near` is where to begin to look."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    sets: dict[tuple[int, int], dict[int, Any]] = {}
    height: dict[tuple[int, int], Any] = {}
    low, high = int(task.whole[0]), int(task.whole[-1])
    for stack, score in enumerate(scores):
        for layer in range(task.layers):
            fits = task.allowed[layer] & (task.on_background(score) if layer == 0 else True)
            chosen = {int(piece): model.new_bool_var("") for piece in np.flatnonzero(fits)}
            model.add_exactly_one(chosen.values())
            height[stack, layer] = model.new_int_var(low, high, "")
            model.add(height[stack, layer] == sum(int(task.whole[p]) * used for p, used in chosen.items()))
            for piece, used in chosen.items():
                model.add_hint(used, piece == near[stack, layer])
            sets[stack, layer] = chosen
        _add_way(model, task, [height[stack, layer] for layer in range(task.layers)], score)
        for members in _alike(task):
            here = [sets[stack, layer] for layer in range(task.layers)]
            model.add(sum(chosen[p] for chosen in here for p in members if p in chosen) <= 1)
    _add_twins(model, task, height)
    _break_ties(model, task, scores, height)
    _use_once(model, task, list(sets.values()))
    _keep_low(model, list(sets.values()), cost)
    solver, status = _solved(model, effort)
    if status == cp_model.INFEASIBLE:
        return IMPOSSIBLE
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return UNKNOWN
    places = np.array([
        [next(p for p, used in sets[stack, layer].items() if solver.value(used)) for layer in range(task.layers)]
        for stack in range(len(scores))
    ])
    return Answer(places, least_cost=0.0 if cost is None else solver.best_objective_bound)


def _add_way(model: cp_model.CpModel, task: Task, height: Sequence[Any], score: int) -> None:
    """The steps of one stack, upwards or downwards as the order allows."""
    up = [model.new_bool_var("") for _ in range(task.layers - 1)]
    model.add_allowed_assignments(up, [[int(sign > 0) for sign in way] for way in task.signs])
    for seam, upwards in enumerate(up):
        least, largest = task.reach(seam, score)
        step = height[seam + 1] - height[seam]
        model.add(step >= least).only_enforce_if(upwards)
        model.add(step <= -least).only_enforce_if(~upwards)
        if largest is not None:
            model.add(step <= largest).only_enforce_if(upwards)
            model.add(step >= -largest).only_enforce_if(~upwards)


def _add_twins(model: cp_model.CpModel, task: Task, height: dict[tuple[int, int], Any]) -> None:
    """Any stacks may be the twins: numbers 2 i and 2 i + 1, once scores allow any order of stacks."""
    for pair in range(task.twins):
        for layer in range(task.layers):
            apart = height[2 * pair, layer] - height[2 * pair + 1, layer]
            model.add_linear_constraint(apart, -task.twin_tolerance, task.twin_tolerance)


def _break_ties(
    model: cp_model.CpModel, task: Task, scores: Sequence[int], height: dict[tuple[int, int], Any]
) -> None:
    """Of stacks that ask for the same, the one with the darker base comes first."""
    for stack in range(2 * task.twins, len(scores) - 1):
        if scores[stack] == scores[stack + 1]:
            model.add(height[stack, 0] <= height[stack + 1, 0])


def score_of(task: Task, places: Places) -> NDArray[np.int64]:
    """
    Return the score of each stack, ten-thousandths of L*: its smallest step, or less the furthest from its profile.
    """
    steps = np.abs(np.diff(task.whole[places], axis=-1))
    scores = steps if not task.wanted else -np.abs(steps - np.array(task.wanted))
    if task.background is not None:
        first = np.abs(task.whole[places[..., :1]] - task.background)
        if task.background_wanted is not None:
            first = -np.abs(first - task.background_wanted)
        elif task.wanted:
            first = np.full_like(first, np.iinfo(np.int64).max)
        scores = np.concatenate([first, scores], axis=-1)
    return np.asarray(scores.min(axis=-1))


def in_lightness(score: float) -> float:
    """Return a score in L*."""
    return score / FINE
