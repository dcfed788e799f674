"""
The best stacks a pile allows, each piece used once: as many as asked for, the weakest step as large as can be.

Where nothing is asked of a piece but its lightness, closed forms give the answer; where more is asked, CP-SAT finds it
or proves a bound. Once the weakest step is as good as can be, the next weakest stack is made as strong as can be
without weakening it, and so on, as far as time allows. What was proved is said, and so is what was not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from contrastkit.compose.exchange import MOST_LAYERS as MOST_EXCHANGED
from contrastkit.compose.exchange import MOST_PIECES, improved
from contrastkit.compose.lifting import UNKNOWN, Answer, Effort, in_lightness, joined, lifted, score_of, ways_of
from contrastkit.compose.orders import alternating, by_layers, pairing_bound, stepped
from contrastkit.compose.rules import FINE, RULE_WORDS, Rules, Task, active, loosened, task_of
from contrastkit.errors import InvalidInputError

if TYPE_CHECKING:
    import pandas as pd

Places = NDArray[np.int64]

SECONDS = 10.0
_MOST_UNKNOWNS = 30_000  # pieces times layers times ways; more is not worth the wait
_MOST_SETTLED = 40  # stacks whose rank is proved one by one
_SETTLING = 0.3  # of the time that is left, at most, once the weakest step is proved
_LOWER = (0.0, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 100.0)  # L*: how much room is given, step by step


@dataclass(frozen=True)
class ChosenStack:
    """
    One stack of a choice.

    Attributes
    ----------
    layers : swatch ids, bottom first
    steps : step between each two layers, L*, bottom first, never negative
    background_step : step from the background to the bottom layer, L*; None without a background
    """

    layers: tuple[str, ...]
    steps: tuple[float, ...]
    background_step: float | None = None

    @property
    def weakest(self) -> float:
        """The smallest step, that from the background included."""
        return min(self.steps if self.background_step is None else (self.background_step, *self.steps))


@dataclass(frozen=True)
class Choice:
    """
    Stacks chosen from a pile.

    Attributes
    ----------
    stacks : the strongest first; of equals, in the order of their names
    worst_step : the smallest step of all, L*
    bound : no stacks that keep to the rules have a larger smallest step; with a profile: none come nearer to it than
        this; with a least step: the least waste there can be
    reached : what was reached of that: the smallest step, the furthest from the profile, or the waste
    proved : whether what was reached is proved to be the best possible
    settled : so many of the weakest stacks are each proved to be as strong as can be without weakening a weaker one
    left_over : swatch ids of pieces not used, darkest first
    aim : "strongest", "profile" or "sparing"
    """

    stacks: tuple[ChosenStack, ...]
    worst_step: float
    bound: float
    reached: float
    proved: bool
    settled: int
    left_over: tuple[str, ...]
    aim: str = "strongest"

    @property
    def sentence(self) -> str:
        """What was chosen and how sure it is that nothing is better."""
        count = f"{len(self.stacks)} {'stack' if len(self.stacks) == 1 else 'stacks'}"
        what = {
            "strongest": f"weakest step {self.worst_step:.1f} L*",
            "profile": f"no step further than {self.reached:.1f} L* from the wanted one",
            "sparing": f"every step {self.worst_step:.1f} L* or more, darkest and lightest pieces spared",
        }[self.aim]
        return f"{count}, {what}: {self.how_sure}."

    @property
    def how_sure(self) -> str:
        """Whether it is proved best, or how far it is from the best possible at most."""
        if self.proved:
            return "proved best"
        return f"within {max(abs(self.bound - self.reached), 0.05):.1f} L* of the best possible"


def choose_stacks(
    table: pd.DataFrame,
    *,
    layers: int,
    blocks: int,
    order: str = "stepped",
    background: float | None = None,
    rules: Rules | None = None,
    seconds: float = SECONDS,
) -> Choice:
    """
    Return the best stacks of a pile, each piece used once.

    Best is: the smallest step of all is as large as can be; then the weakest step of the next weakest stack, and so on
    (leximin). With a profile in the rules, the steps come as near to it as can be; with a least step, every step
    reaches it and the sum of the distances of the pieces used from the middle of the pile is as small as can be.

    Parameters
    ----------
    table : a swatch table; `swatch_id` and `lightness` are enough
    layers : layers of each stack, 2 to 9
    blocks : how many stacks
    order : "stepped", from dark to light or back; "alternating", up and down in turn; "free", as it comes
    background : lightness of what the stacks are fused to; then the step from it to the bottom layer counts too
    rules : what else the stacks must keep to
    seconds : how long to look at most for what closed forms do not give, counted in work done on a usual computer;
        the weakest step comes first

    Raises
    ------
    InvalidInputError
        A number, name or table that cannot be right, or rules that contradict one another; the ones that clash are
        named.
    TooFewSwatchesError
        The pile is too small for what is asked.

    >>> import pandas as pd
    >>> pile = pd.DataFrame({"swatch_id": list("abcdef"), "lightness": [20, 24, 45, 52, 77, 84]})
    >>> choice = choose_stacks(pile, layers=3, blocks=2)
    >>> choice.sentence
    '2 stacks, weakest step 25.0 L*: proved best.'
    >>> [stack.layers for stack in choice.stacks]
    [('b', 'd', 'f'), ('a', 'c', 'e')]
    """
    rules = Rules() if rules is None else rules
    if not seconds > 0:
        raise InvalidInputError(f"seconds must be more than 0; got {seconds}. Give it a little time.")
    task = task_of(table, layers=layers, blocks=blocks, order=order, background=background, rules=rules)
    effort = Effort(seconds)
    if rules.at_least is not None:
        return _sparing(task, rules, background, effort)
    places, bound, proved = _strongest(task, effort) or _clash(task, rules, background, effort)
    settled = task.blocks if proved and task.blocks == 1 else 0
    places = improved(task, places, effort)
    if proved:
        places, settled = _settled(task, places, effort.part(_SETTLING))
    return _choice(task, places, "profile" if task.wanted else "strongest", bound, proved, settled)


# --- the weakest step ------------------------------------------------------------------------------------------------


def _strongest(task: Task, effort: Effort) -> tuple[Places, float, bool] | None:
    """Stacks, a bound on their weakest score in ten-thousandths, whether they reach it; None where there are none."""
    if not task.whole_stacks:
        return _strongest_of_steps(task, effort)
    loose = _strongest_of_steps(task, effort.part(0.6))
    if loose is None:
        return None
    places, bound, _ = loose
    return _searched(task, _joined_lower(task, places), bound, effort)


def _strongest_of_steps(task: Task, effort: Effort) -> tuple[Places, float, bool] | None:
    """The same with nothing asked of a stack as a whole."""
    exact = _closed_form(task)
    if exact is None:
        return _searched(task, None, _most(task), effort, loosely=True)
    places, bound = exact
    worst = float(score_of(task, places).min())
    if worst >= bound or not _worth_solving(task):
        return places, max(bound, worst), worst >= bound
    return _searched(task, places, _most(task), effort, loosely=True)


def _joined_lower(task: Task, places: Places) -> Places | None:
    """These stacks with pieces exchanged within the layers so that they keep to all rules, if with lower scores."""
    worst = int(score_of(task, places).min())
    ways = ways_of(task, places)
    for less in _LOWER:
        found = joined(task, places, [worst - round(less * FINE)] * task.blocks, ways)
        if found is not None:
            return found
    return None


def _closed_form(task: Task) -> tuple[Places, float] | None:
    """Stacks and a bound on their weakest score, where there is a formula."""
    if _loosely(task).plain:
        if task.order == "stepped":
            places = stepped(task.lightness, task.layers, task.blocks)
            return places, float(score_of(task, places).min())
        places = alternating(task.lightness, task.layers, task.blocks)
        exact = task.order == "alternating" or task.layers % 2 == 0 or task.layers == 3
        return places, float(score_of(task, places).min()) if exact else _most(task)
    return _own_pieces(task)


def _own_pieces(task: Task) -> tuple[Places, float] | None:
    """Where each layer has pieces of its own, all lighter or all darker than those of the next."""
    asks_more = task.must.any() or task.wanted or task.background is not None
    if asks_more or (task.allowed.sum(axis=0) > 1).any():
        return None
    members = [np.flatnonzero(row) for row in task.allowed]
    way = tuple(_direction(task, below, above) for below, above in zip(members, members[1:], strict=False))
    if 0 in way or not task.goes(way):
        return None
    found = by_layers([task.lightness[pieces] for pieces in members], way, task.blocks)
    if found is None:
        return None
    places = np.column_stack([pieces[place] for pieces, place in zip(members, found, strict=True)])
    return places, float(score_of(task, places).min())


def _direction(task: Task, below: Places, above: Places) -> int:
    if task.whole[below].max() <= task.whole[above].min():
        return 1
    return -1 if task.whole[below].min() >= task.whole[above].max() else 0


def _most(task: Task) -> float:
    """What no score can exceed, whatever is asked of the stacks."""
    if task.wanted:
        return 0.0
    if task.order == "stepped":
        lightness = task.whole.astype(float)
        return float(score_of(_plainly(task), stepped(lightness, task.layers, task.blocks)).min())
    return pairing_bound(task.whole.astype(float), task.layers, task.blocks)


def _loosely(task: Task) -> Task:
    return replace(task, kinds=(), twins=0)


def _plainly(task: Task) -> Task:
    return replace(task, background=None, background_wanted=None, wanted=())


def _worth_solving(task: Task) -> bool:
    return len(task.whole) * task.layers * len(task.signs) <= _MOST_UNKNOWNS


def _searched(
    task: Task, known: Places | None, most: float, effort: Effort, *, loosely: bool = False
) -> tuple[Places, float, bool] | None:
    """The best score: from one that is reached upwards, then by halving what is left below one that is out of reach."""
    scores = _possible_scores(task)

    def place(score: float) -> int:
        return int(np.searchsorted(scores, score, side="right")) - 1

    if known is None:
        known = _reached(task, [int(scores[0])] * task.blocks, effort, loosely=loosely).places
        if known is None:
            return None
    better = _loosely(task) if loosely else task
    known = improved(better, known, effort.part(0.3))
    low, beyond = place(score_of(task, known).min()), place(most) + 1  # reached, and proved to be out of reach
    unsure, stride = beyond, 1  # the lowest that was not decided in time; how far to go up next
    given: dict[int, float] = {}  # effort by place, of those not decided
    while low + 1 < beyond and effort.left:
        if low + 1 >= unsure:
            unsure = beyond  # once more, with the effort that is left
        ahead = min(low + stride, unsure - 1) if stride else (low + unsure) // 2
        part = effort.part(0.4)
        if part.left < 2 * given.get(ahead, 0.0):
            break  # it would come to nothing again
        given[ahead] = part.left
        answer = _reached(task, [int(scores[ahead])] * task.blocks, part, loosely=loosely)
        if answer.places is not None:
            known = improved(better, answer.places, effort.part(0.3))
            low, stride = max(ahead, place(score_of(task, known).min())), 4 * stride
            continue
        stride = 0  # from now on by halves
        if answer.impossible:
            beyond = ahead
        unsure = ahead
    bound, worst = float(scores[beyond - 1]), float(score_of(task, known).min())
    return known, bound, worst >= bound


def _reached(
    task: Task, scores: Sequence[int], effort: Effort, *, cost: Sequence[int] | None = None, loosely: bool = False
) -> Answer:
    """As `lifted`, but free stacks are looked for among alternating ones first: these have fewer ways to go."""
    if task.order == "free" and task.layers > 2:
        answer = lifted(replace(task, order="alternating"), scores, effort.part(0.5), cost=cost, loosely=loosely)
        if answer.places is not None and cost is None:
            return answer
        if not _worth_solving(task):
            return UNKNOWN
    return lifted(task, scores, effort, cost=cost, loosely=loosely)


def _possible_scores(task: Task) -> NDArray[np.int64]:
    steps = np.unique(np.abs(task.whole[:, None] - task.whole[None, :]))
    if task.background is not None:
        steps = np.union1d(steps, np.abs(task.whole - task.background))
    if not task.wanted:
        return steps
    wanted = {*task.wanted, *([] if task.background_wanted is None else [task.background_wanted])}
    return np.unique(np.concatenate([-np.abs(steps - step) for step in wanted]))


# --- the next weakest, and so on -------------------------------------------------------------------------------------


def _settled(task: Task, places: Places, effort: Effort) -> tuple[Places, int]:
    """The stacks with as many of the weakest as time allows proved, one by one, to be as strong as can be."""
    small = len(task.whole) <= MOST_PIECES and task.layers <= MOST_EXCHANGED and _worth_solving(task)
    if not small or task.twins or task.blocks > _MOST_SETTLED:
        return places, 0
    scores, possible = np.sort(score_of(task, places)), _possible_scores(task)
    rank = 0
    while rank < task.blocks and effort.left:
        higher = np.searchsorted(possible, scores[rank], side="right")
        if higher == len(possible):
            return places, task.blocks
        wanted = [*scores[:rank].tolist(), *[int(possible[higher])] * (task.blocks - rank)]
        answer = _reached(task, wanted, effort.part(0.5))
        if answer.places is not None:
            places = improved(task, answer.places, effort)
            scores = np.sort(score_of(task, places))
        elif answer.impossible:
            rank += 1
        else:
            break
    return places, rank


# --- enough everywhere, sparing the extremes -------------------------------------------------------------------------


def _sparing(task: Task, rules: Rules, background: float | None, effort: Effort) -> Choice:
    assert rules.at_least is not None
    score = round(rules.at_least * FINE)
    cost = np.abs(task.whole - round(float(np.median(task.whole)))).tolist()
    answer = _spared(task, score, cost, effort)
    if answer.places is None:
        best = _strongest(task, Effort(max(effort.left, 1.0)))
        if best is None:
            _clash(task, rules, background, effort)
        elif answer.impossible:
            most = in_lightness(score_of(task, best[0]).min())
            raise InvalidInputError(
                f"{task.blocks} stacks with every step at least {rules.at_least:g} L* cannot be had from this pile; "
                f"the best there are reach {most:.1f}. Ask for less, or for fewer stacks."
            )
        else:
            raise InvalidInputError(
                f"No {task.blocks} stacks with every step at least {rules.at_least:g} L* were found in time. "
                "Allow more seconds, or ask for less."
            )
    assert answer.places is not None
    waste = sum(cost[piece] for piece in answer.places.ravel())
    proved = waste <= answer.least_cost + 0.5
    return _choice(task, answer.places, "sparing", answer.least_cost, proved, 0, waste=float(waste))


def _spared(task: Task, score: int, cost: Sequence[int], effort: Effort) -> Answer:
    """The cheapest stacks; where those cannot be joined by all rules, cheap ones that leave more room to join them."""
    answer = _reached(task, [score] * task.blocks, effort.part(0.5), cost=cost)
    if answer.places is not None or answer.impossible:
        return answer
    for more in _LOWER[1:]:
        wide = _reached(task, [score + round(more * FINE)] * task.blocks, effort.part(0.4), cost=cost, loosely=True)
        if wide.places is None:
            break
        places = joined(task, wide.places, [score] * task.blocks, ways_of(task, wide.places))
        if places is not None:
            return Answer(places, least_cost=answer.least_cost)
    return answer


# --- what came of it -------------------------------------------------------------------------------------------------


def _choice(
    task: Task, places: Places, aim: str, bound: float, proved: bool, settled: int, *, waste: float = 0.0
) -> Choice:
    scores = score_of(task, places)
    stacks = sorted(
        (_stack(task, row) for row in places),
        key=lambda stack: (-round(stack.weakest, 4), -round(sum(stack.steps), 4), stack.layers),
    )
    used = set(places.ravel().tolist())
    worst = min(stack.weakest for stack in stacks)
    reached = {"strongest": worst, "profile": 0.0 - in_lightness(scores.min()), "sparing": in_lightness(waste)}[aim]
    return Choice(
        stacks=tuple(stacks),
        worst_step=worst,
        bound=reached if proved else abs(in_lightness(bound)),
        reached=reached,
        proved=proved,
        settled=settled,
        left_over=tuple(name for place, name in enumerate(task.names) if place not in used),
        aim=aim,
    )


def _stack(task: Task, row: Places) -> ChosenStack:
    """A stack whose order may be turned over begins with its darkest end."""
    if _turns_over(task) and (task.lightness[row[0]], row[0]) > (task.lightness[row[-1]], row[-1]):
        row = row[::-1]
    lightness = task.lightness[row]
    return ChosenStack(
        layers=tuple(task.names[piece] for piece in row),
        steps=tuple(float(step) for step in np.abs(np.diff(lightness))),
        background_step=None if task.background is None else abs(float(lightness[0]) - task.background / FINE),
    )


def _turns_over(task: Task) -> bool:
    same = bool((task.allowed == task.allowed[::-1]).all()) and task.wanted == tuple(reversed(task.wanted))
    return same and task.background is None


def _clash(task: Task, rules: Rules, background: float | None, effort: Effort) -> tuple[Places, float, bool]:
    """Refuse rules that cannot all be kept, naming the ones that clash."""
    asked = [name for name in active(rules, background) if name not in ("never", "at_least", "background")]
    floor = [int(_possible_scores(task)[0])] * task.blocks
    limit = Effort(max(effort.left, 5.0))
    if not _reached(task, floor, limit.part(0.3)).impossible:
        raise InvalidInputError(
            "No stacks that keep to all these rules were found in time, and it is not proved that there are none. "
            "Allow more seconds, or drop a rule."
        )
    needed = []  # a rule stays only if the others alone can be kept
    without = task
    for name in asked:
        looser = loosened(without, name)
        if _reached(looser, floor, limit.part(0.3)).impossible:
            without = looser
        else:
            needed.append(name)
    what = [RULE_WORDS[name] for name in needed] or ["these numbers"]
    listed = " and ".join([", ".join(what[:-1]), what[-1]] if len(what) > 1 else what)
    if len(what) == 1:
        raise InvalidInputError(
            f"{task.blocks} stacks of {task.layers} layers, {task.order}, cannot be had with {listed}. "
            "Loosen that rule, or ask for fewer stacks."
        )
    raise InvalidInputError(f"These rules clash: {listed} cannot all be kept. Loosen one, or ask for fewer stacks.")


