"""
A plan filled from a pile: the best stacks for its blocks, and what the pile lacks.

Blocks are filled kind by kind, cores before surrounds, as many as the pile allows; none is filled at the cost of one
before it. Which squares cannot be had is a question of matching squares with pieces of the right group and size, and
is answered exactly: a square is missing if no exchange of pieces among the squares before it sets one free.

References
----------
J. Edmonds and D. R. Fulkerson, Transversals and matroid partition, Journal of Research of the National Bureau of
Standards 69B, 147-153, 1965.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from contrastkit.compose.choosing import choose_stacks
from contrastkit.compose.plan import GROUPS, Layers, Plan
from contrastkit.compose.rules import Rules
from contrastkit.errors import InvalidInputError, TooFewSwatchesError
from contrastkit.lengths import length_words

if TYPE_CHECKING:
    import pandas as pd

Names = tuple[str, ...]
Yes = NDArray[np.bool_]

SECONDS = 2.0
_SAME = 1e-6  # mm; as for lengths


@dataclass(frozen=True)
class Part:
    """
    Stacks of one kind of block that are alike: its cores, or the further stacks of one of its surrounds.

    Attributes
    ----------
    block : place of the kind of block in the plan
    surround : 0 for cores, else 1 for the first surround
    count : how many stacks there are, for all blocks of the kind
    sides : of the squares as cut, mm, bottom first
    groups : lightness group of each layer, empty where any will do
    """

    block: int
    surround: int
    count: int
    sides: tuple[Fraction, ...]
    groups: tuple[str, ...]

    @property
    def squares(self) -> tuple[tuple[str, Fraction], ...]:
        """Group and side of each layer."""
        return tuple(zip(self.groups, self.sides, strict=True))


@dataclass(frozen=True)
class Missing:
    """Squares that the pile has no pieces for: how many, of which group (empty: any), cut to which side (mm)."""

    count: int
    group: str
    side: Fraction


@dataclass(frozen=True)
class FilledPlan:
    """
    A plan filled from a pile.

    Attributes
    ----------
    plan : the plan, with the stacks it is filled with
    missing : squares that the pile has no pieces for, from dark to light, the largest first
    weakest : the weakest step of the stacks, L*, that from a known background included; nan without any
    sure : whether each part's stacks are proved to be the best that were left for it
    unsized : pieces used of which no size is known
    """

    plan: Plan
    missing: tuple[Missing, ...] = ()
    weakest: float = math.nan
    sure: bool = True
    unsized: Names = ()

    @property
    def filled(self) -> int:
        """How many stacks are filled."""
        return sum(len(layers.stacks) for block in self.plan.blocks for *_, layers in block.stacks)

    @property
    def count(self) -> int:
        """How many stacks there are."""
        return sum(count for block in self.plan.blocks for _, count, _, _ in block.stacks)


def parts_of(plan: Plan) -> tuple[Part, ...]:
    """
    Return the stacks of a plan, part by part, in the order in which they are filled: all cores, then surrounds.

    >>> from contrastkit.compose.plan import plan_of_values
    >>> plan = plan_of_values({"units": "mm", "rim": 2, "block": [{"prints": [80, 56], "count": 3, "surrounds": 1}]})
    >>> [(part.surround, part.count, part.sides) for part in parts_of(plan)]
    [(0, 3, (Fraction(84, 1), Fraction(60, 1))), (1, 3, (Fraction(84, 1), Fraction(60, 1)))]
    """
    parts = [
        Part(place, surround, count, tuple(side + 2 * plan.rim for side in prints), layers.groups)
        for place, block in enumerate(plan.blocks)
        for surround, (_, count, prints, layers) in enumerate(block.stacks)
    ]
    return tuple(sorted(parts, key=lambda part: part.surround))


def fill_plan(
    plan: Plan, table: pd.DataFrame, *, first: Sequence[Sequence[str]] = (), seconds: float = SECONDS
) -> FilledPlan:
    """
    Return the plan filled with stacks of a pile: first those that are given, then the best that can be had of the rest.

    Parameters
    ----------
    plan : the plan; stacks that it names are kept
    table : a swatch table of the pieces that may be used, sorted into the groups that the plan names. A column `side`
        (mm) is heeded; a piece of unknown size is taken for large enough.
    first : stacks to be used first, names bottom first, wherever they fit: as many layers, pieces large enough
    seconds : how long to look at most, counted in work done; see `choose_stacks`

    >>> import pandas as pd
    >>> from contrastkit.compose.plan import plan_of_values
    >>> plan = plan_of_values({"units": "mm", "block": [{"prints": [80, 56], "count": 2, "layers": ["dark", "light"]}]})
    >>> pile = pd.DataFrame({"swatch_id": list("abc"), "lightness": [20, 30, 80], "group": ["dark", "dark", "light"]})
    >>> done = fill_plan(plan, pile)
    >>> done.plan.blocks[0].core.stacks, done.missing
    ((('a', 'c'),), (Missing(count=1, group='light', side=Fraction(56, 1)),))
    """
    return _Filling(plan, _Pile.of(table)).run(first, seconds)


# The pile, and who may be what.


@dataclass(frozen=True, eq=False)
class _Pile:
    """Pieces of known lightness: names, lightness, groups, sides (infinite where unknown), by row of a table."""

    table: pd.DataFrame
    names: tuple[str, ...]
    lightness: NDArray[np.float64]
    groups: NDArray[np.str_]
    sides: NDArray[np.float64]

    @classmethod
    def of(cls, table: pd.DataFrame) -> _Pile:
        rows = table[table["lightness"].notna()]
        sides = rows["side"].to_numpy(float) if "side" in rows else np.full(len(rows), math.nan)
        rows = rows.assign(side=np.where(np.isnan(sides), math.inf, sides))
        groups = rows["group"].astype(str).to_numpy(str) if "group" in rows else np.full(len(rows), "", "U1")
        return cls(
            rows, tuple(map(str, rows["swatch_id"])), rows["lightness"].to_numpy(float), groups,
            rows["side"].to_numpy(float),
        )

    def fits(self, group: str, side: Fraction) -> Yes:
        """Which pieces may be a square of this group and side."""
        large = self.sides >= float(side) - _SAME
        return np.asarray(large & (self.groups == group) if group else large)


class _Matching:
    """Pieces matched with squares, one more at a time."""

    def __init__(self, pile: _Pile, free: Yes) -> None:
        self.pile, self.free = pile, free.copy()
        self.fits: dict[tuple[str, Fraction], Yes] = {}
        self.of: dict[int, tuple[str, Fraction]] = {}  # piece: what it is matched with

    def take(self, squares: Iterable[tuple[str, Fraction]]) -> bool:
        """Match all these squares, or none of them."""
        before = self.free.copy(), dict(self.of)
        if all(self._matched(square) for square in squares):
            return True
        self.free, self.of = before
        return False

    def _matched(self, square: tuple[str, Fraction]) -> bool:
        """Match one more square, if need be by having others change pieces: the shortest chain of changes."""
        came: dict[int, int] = {}  # piece: from the square of which piece it was reached; -1 from the new one
        ahead = [(-1, square)]
        while ahead:
            further = []
            for origin, wanted in ahead:
                near = self._fits(wanted)
                open_to = np.flatnonzero(near & self.free)
                if len(open_to):
                    self._change(int(open_to[0]), origin, came, square)
                    return True
                for piece in map(int, np.flatnonzero(near)):
                    if piece in self.of and piece not in came:
                        came[piece] = origin
                        further.append((piece, self.of[piece]))
            ahead = further
        return False

    def _change(self, piece: int, origin: int, came: dict[int, int], square: tuple[str, Fraction]) -> None:
        self.free[piece] = False
        while origin != -1:
            self.of[piece] = self.of[origin]
            piece, origin = origin, came[origin]
        self.of[piece] = square

    def _fits(self, square: tuple[str, Fraction]) -> Yes:
        if square not in self.fits:
            self.fits[square] = self.pile.fits(*square)
        return self.fits[square]


# Filling.


class _Filling:
    """The work under way: which pieces are free, and the stacks of each part."""

    def __init__(self, plan: Plan, pile: _Pile) -> None:
        self.plan, self.pile = plan, pile
        self.parts = parts_of(plan)
        self.place = {name: row for row, name in enumerate(pile.names)}
        self.stacks = [list(_layers_of(plan, part).stacks) for part in self.parts]
        self.free = np.ones(len(pile.names), bool)
        self._use(name for stacks in self.stacks for stack in stacks for name in stack)
        self.sure = True

    def run(self, first: Sequence[Sequence[str]], seconds: float) -> FilledPlan:
        self._lay(first)
        missing = self._missing()
        wanted = self._fillable(range(len(self.parts)), self.free)
        busy = sum(1 for count in wanted if count)
        for number, count in enumerate(wanted):
            if count:
                self._choose(number, count, wanted[number + 1 :], seconds / busy)
        used = [name for stacks in self.stacks for stack in stacks for name in stack]
        return FilledPlan(
            self._plan(), missing, self._weakest(), self.sure,
            tuple(name for name in used if name in self.place and math.isinf(self.pile.sides[self.place[name]])),
        )

    def _use(self, names: Iterable[str]) -> None:
        rows = [self.place[name] for name in names if name in self.place]
        self.free[rows] = False

    def _lay(self, first: Sequence[Sequence[str]]) -> None:
        """Give the stacks that were laid by hand to the first parts that they fit, those of the right groups before."""
        for stack in first:
            rows = [self.place.get(name, -1) for name in stack]
            if -1 in rows or len(set(rows)) < len(rows) or not self.free[rows].all():
                continue
            for exact in (True, False):
                number = next((n for n in range(len(self.parts)) if self._suits(n, rows, exact)), None)
                if number is not None:
                    self.stacks[number].append(tuple(stack))
                    self.free[rows] = False
                    break

    def _suits(self, number: int, rows: Sequence[int], exact: bool) -> bool:
        part = self.parts[number]
        if len(part.sides) != len(rows) or len(self.stacks[number]) >= part.count:
            return False
        return all(
            self.pile.fits(group if exact else "", side)[row]
            for row, (group, side) in zip(rows, part.squares, strict=True)
        )

    def _left(self, number: int) -> int:
        return self.parts[number].count - len(self.stacks[number])

    def _fillable(self, numbers: Iterable[int], free: Yes) -> list[int]:
        """How many more stacks of each of these parts can be had, none at the cost of one before it."""
        matching, counts = _Matching(self.pile, free), []
        for number in numbers:
            squares, count = self.parts[number].squares, 0
            while count < self._left(number) and matching.take(squares):
                count += 1
            counts.append(count)
        return counts

    def _missing(self) -> tuple[Missing, ...]:
        """Squares without a piece, those of the first parts served first."""
        matching = _Matching(self.pile, self.free)
        missing: Counter[tuple[str, Fraction]] = Counter()
        for number, part in enumerate(self.parts):
            for square in part.squares:
                left = self._left(number)
                while left and matching.take([square]):
                    left -= 1
                missing[square] += left
        kinds = sorted((square for square, count in missing.items() if count), key=_dark_first)
        return tuple(Missing(missing[group, side], group, side) for group, side in kinds)

    def _choose(self, number: int, count: int, later: Sequence[int], seconds: float) -> None:
        """Fill a part with the best stacks of all that is free, if the parts after it can still be filled as well."""
        part = self.parts[number]
        stacks, proved = self._best(part, count, self.free, seconds)
        after = self.free.copy()
        after[[self.place[name] for stack in stacks for name in stack]] = False
        if self._fillable(range(number + 1, len(self.parts)), after) != list(later):
            own = self._own(number, count, later)
            stacks, proved = self._best(part, count, own, seconds)[0], False
        self.stacks[number] += stacks
        self.sure = self.sure and proved
        self._use(name for stack in stacks for name in stack)

    def _own(self, number: int, count: int, later: Sequence[int]) -> Yes:
        """Pieces for a part that leave the parts after it what they need."""
        matching = _Matching(self.pile, self.free)
        own = Counter(self.parts[number].squares * count)
        for square, times in own.items():
            for _ in range(times):
                matching.take([square])
        for ahead, wanted in enumerate(later, start=number + 1):
            for _ in range(wanted):
                matching.take(self.parts[ahead].squares)
        spare = matching.free
        for piece, square in matching.of.items():
            if own[square] > 0:
                own[square] -= 1
                spare[piece] = True
        return spare

    def _best(self, part: Part, count: int, free: Yes, seconds: float) -> tuple[list[Names], bool]:
        """The best stacks of these pieces, and whether that is proved."""
        if len(part.sides) == 1:
            return self._single(part, count, free), True
        rules = Rules(groups=tuple(group or None for group in part.groups), sides=tuple(map(float, part.sides)))
        try:
            choice = choose_stacks(
                self.pile.table[free], layers=len(part.sides), blocks=count, order="free",
                background=self.plan.background.lightness, rules=rules, seconds=seconds,
            )
        except (InvalidInputError, TooFewSwatchesError):  # none found in time: any will do, for some there are
            return self._any(part, count, free), False
        return [stack.layers for stack in choice.stacks], choice.proved

    def _single(self, part: Part, count: int, free: Yes) -> list[Names]:
        """Stacks of one layer: those that stand furthest from the background, or from dark to light without one."""
        [(group, side)] = part.squares
        rows = np.flatnonzero(free & self.pile.fits(group, side))
        ground, lightness = self.plan.background.lightness, self.pile.lightness[rows]
        order = np.argsort(lightness if ground is None else -np.abs(lightness - ground), kind="stable")
        return [(self.pile.names[row],) for row in rows[order[:count]]]

    def _any(self, part: Part, count: int, free: Yes) -> list[Names]:
        matching = _Matching(self.pile, free)
        for _ in range(count):
            matching.take(part.squares)
        pieces: dict[tuple[str, Fraction], list[int]] = {}
        for piece, square in sorted(matching.of.items()):
            pieces.setdefault(square, []).append(piece)
        return [tuple(self.pile.names[pieces[square].pop()] for square in part.squares) for _ in range(count)]

    def _weakest(self) -> float:
        known = [
            [self.pile.lightness[self.place[name]] for name in stack]
            for stacks in self.stacks for stack in stacks if all(name in self.place for name in stack)
        ]
        ground = self.plan.background.lightness
        below = [[ground, *stack] if ground is not None else stack for stack in known]
        steps = [abs(high - low) for stack in below for low, high in zip(stack, stack[1:], strict=False)]
        return float(min(steps, default=math.nan))

    def _plan(self) -> Plan:
        by_place = {(part.block, part.surround): tuple(stacks) for part, stacks in
                    zip(self.parts, self.stacks, strict=True)}
        blocks = []
        for place, block in enumerate(self.plan.blocks):
            core = replace(block.core, stacks=by_place[place, 0])
            surrounds = (replace(layers, stacks=by_place[place, number])
                         for number, layers in enumerate(block.surrounds, start=1))
            blocks.append(replace(block, core=core, surrounds=tuple(surrounds)))
        return replace(self.plan, blocks=tuple(blocks))


def _layers_of(plan: Plan, part: Part) -> Layers:
    block = plan.blocks[part.block]
    return block.core if part.surround == 0 else block.surrounds[part.surround - 1]


def _dark_first(square: tuple[str, Fraction]) -> tuple[int, Fraction]:
    group, side = square
    return GROUPS.index(group) if group in GROUPS else len(GROUPS), -side


# Words.


def pieces_of_group(count: int, group: str) -> str:
    """
    Return how many pieces of a group, as people say it.

    >>> pieces_of_group(4, "light"), pieces_of_group(1, "very dark"), pieces_of_group(2, "")
    ('4 lights', '1 very dark piece', '2 pieces')
    """
    if group in ("dark", "medium", "light"):
        return f"{count} {group}{'' if count == 1 else 's'}"
    return f"{count} {group + ' ' if group else ''}piece{'' if count == 1 else 's'}"


def missing_sentences(missing: Sequence[Missing], unit: str) -> tuple[str, ...]:
    """
    Return what is missing, a sentence for each group.

    >>> missing_sentences([Missing(4, "light", Fraction(90)), Missing(1, "light", Fraction(45))], "mm")
    ('5 lights are missing: 4 of at least 90 mm and 1 of at least 45 mm.',)
    """
    sentences = []
    for group, alike in groupby(missing, key=lambda each: each.group):
        sizes = [(each.count, length_words(each.side, unit)) for each in alike]
        count = sum(number for number, _ in sizes)
        what = pieces_of_group(count, group)
        is_are = "is" if count == 1 else "are"
        if len(sizes) == 1:
            sentences.append(f"{what} of at least {sizes[0][1]} {is_are} missing.")
        else:
            listed = [f"{number} of at least {side}" for number, side in sizes]
            sentences.append(f"{what} {is_are} missing: {', '.join(listed[:-1])} and {listed[-1]}.")
    return tuple(sentences)
