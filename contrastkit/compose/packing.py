"""
Squares packed on a roll or on sheets, with little waste, so that straight cuts from edge to edge free them.

Cutting goes in three rounds, as a rotary cutter and a ruler allow: sections across the roll or sheet, each section
into strips along it, each strip into squares. Which sections there are is a covering problem in whole numbers: every
way to fill a section with strips is a pattern, and patterns are chosen so that together they hold all squares on the
least length (Gilmore and Gomory's cutting stock, in stages). A plain grid is tried as well, and is taken where it is
as good: for squares of one size it is the best there is.

References
----------
P. C. Gilmore and R. E. Gomory, Multistage cutting stock problems of two and more dimensions, Operations Research
13(1), 94-120, 1965.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from itertools import islice

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from contrastkit.errors import InvalidInputError
from contrastkit.lengths import length_words

LONGEST_CUT = Fraction(24 * 127, 5)  # mm; 24 in, the longest ruler that most cutting mats come with
MOST_SQUARES = 200_000
_FINEST = Fraction(1, 1000)  # mm; below any blade. Lengths that share no coarser measure are rounded to it.
_MOST_UNITS = 10**9  # a length is this many whole units at most, so that sums of them stay whole numbers to CP-SAT
# Ways to fill a section: how many are tried, kept of each height, kept of all. More find hardly anything better.
_MOST_FILLINGS, _MOST_OF_A_HEIGHT, _MOST_PATTERNS = 2000, 100, 300
_EFFORT = 0.5  # CP-SAT's own measure of time, the same on every computer; about a second
_AS_GOOD = Fraction(1005, 1000)  # a simpler way to cut may take so much more


@dataclass(frozen=True)
class Material:
    """
    What is packed on: a roll or bolt of this width, or sheets of this width and length; all mm.

    Attributes
    ----------
    width : from edge to edge
    length : of a sheet, or of what is left on the roll; None where it is bought by length
    room : kept free round each piece, to be trimmed off
    """

    width: Fraction
    length: Fraction | None = None
    room: Fraction = Fraction(0)


@dataclass(frozen=True)
class PackedSquare:
    """A square on its sheet: left and bottom, mm from the sheet's bottom left corner (x across, y along), and side."""

    x: Fraction
    y: Fraction
    side: Fraction


@dataclass(frozen=True)
class Strip:
    """A strip cut along a section: its left edge and width, and the squares cut from it, from the bottom up; mm."""

    x: Fraction
    width: Fraction
    squares: tuple[PackedSquare, ...]


@dataclass(frozen=True)
class Section:
    """A piece cut across the roll or sheet from edge to edge: where it begins, how high it is, and its strips; mm."""

    y: Fraction
    height: Fraction
    strips: tuple[Strip, ...]

    @property
    def squares(self) -> tuple[PackedSquare, ...]:
        """All squares cut from it, strip by strip."""
        return tuple(square for strip in self.strips for square in strip.squares)


@dataclass(frozen=True)
class PackedSheet:
    """
    One sheet, or the roll.

    Attributes
    ----------
    width, length : of the sheet as it lies for cutting (sections go across its width), mm; of a roll bought by length,
        what is used of it
    used : how much of the length is used, mm
    sections : from the bottom up
    """

    width: Fraction
    length: Fraction
    used: Fraction
    sections: tuple[Section, ...]

    @property
    def squares(self) -> tuple[PackedSquare, ...]:
        """All squares on it."""
        return tuple(square for section in self.sections for square in section.squares)


@dataclass(frozen=True)
class Packing:
    """
    Squares packed on sheets.

    Attributes
    ----------
    material : the roll or the sheets
    sheets : in the order they are cut
    method : how it was found: "grid" or "patterns"
    """

    material: Material
    sheets: tuple[PackedSheet, ...] = field(repr=False)
    method: str

    @property
    def squares(self) -> tuple[PackedSquare, ...]:
        """All squares, sheet by sheet."""
        return tuple(square for sheet in self.sheets for square in sheet.squares)

    @property
    def area(self) -> Fraction:
        """Area of the squares as they will be when they are trimmed, mm²."""
        return sum((self.trimmed(square) ** 2 for square in self.squares), Fraction(0))

    @property
    def used_area(self) -> Fraction:
        """Area of the roll that is used, or of all sheets but the last and of the used part of that one, mm²."""
        whole = sum((sheet.width * sheet.length for sheet in self.sheets[:-1]), Fraction(0))
        return whole + sum((sheet.width * sheet.used for sheet in self.sheets[-1:]), Fraction(0))

    @property
    def packed_area(self) -> Fraction:
        """Area of the squares with the room round them, mm²: nothing can be packed on less."""
        return sum((square.side**2 for square in self.squares), Fraction(0))

    @property
    def waste(self) -> Fraction:
        """Share (0-1) of the used area that ends up in no square."""
        return 1 - self.area / self.used_area if self.sheets else Fraction(0)

    @property
    def used_length(self) -> Fraction:
        """Length of the roll that is used, or of all sheets but the last and of the used part of that one, mm."""
        return sum((sheet.length for sheet in self.sheets[:-1]), Fraction(0)) + sum(
            (sheet.used for sheet in self.sheets[-1:]), Fraction(0)
        )

    @property
    def over_bound(self) -> Fraction:
        """Used area over the packed area, at least 1: how far from what no packing can beat."""
        return self.used_area / self.packed_area if self.sheets else Fraction(1)

    def trimmed(self, square: PackedSquare) -> Fraction:
        """Return the side of a square once the room round it is trimmed off, mm."""
        return square.side - 2 * self.material.room


@dataclass(frozen=True)
class _Pattern:
    """A section in whole units: its height, and for each side how many strips of that width it has, widest first."""

    height: int
    strips: tuple[tuple[int, int], ...]

    def holds(self, side: int) -> int:
        return sum(count for width, count in self.strips if width == side) * (self.height // side)


_Held = tuple[int, ...]  # how many squares of each side
_Demand = dict[int, int]  # side in whole units: how many
_Sections = list[_Pattern]  # of one sheet, or of the roll


def pack(counts: Mapping[Fraction, int], material: Material) -> Packing:
    """
    Return squares packed so that straight cuts from edge to edge free them.

    Parameters
    ----------
    counts : side of the squares once they are trimmed (mm) and how many of them
    material : the roll or the sheets; its room is added round each square

    Raises
    ------
    InvalidInputError
        A side or count that cannot be, too many squares, or one that does not fit on the material.

    Examples
    --------
    >>> packing = pack({Fraction(50): 7}, Material(Fraction(160)))
    >>> packing.used_length, packing.method, len(packing.squares)
    (Fraction(150, 1), 'grid', 7)
    """
    sides = {Fraction(side): count for side, count in counts.items() if count}
    _check(sides, counts, material)
    if not sides:
        return Packing(material, (), "grid")
    ways = list(_on_a_roll(sides, material) if material.length is None else _on_sheets(sides, material))
    least = min(map(_cost, ways))
    return next(way for way in ways if _cost(way)[0] == least[0] and _cost(way)[1] <= least[1] * _AS_GOOD)


def _cost(packing: Packing) -> tuple[int, Fraction]:
    return (0 if packing.material.length is None else len(packing.sheets)), packing.used_area


def _check(sides: Mapping[Fraction, int], counts: Mapping[Fraction, int], material: Material) -> None:
    if any(count < 0 for count in counts.values()) or any(side <= 0 for side in counts):
        raise InvalidInputError(
            f"Squares to pack must have sides over 0 and counts from 0 on; got {dict(counts)}. Correct these."
        )
    if sum(sides.values()) > MOST_SQUARES:
        raise InvalidInputError(
            f"At most {MOST_SQUARES:,} squares are packed at once; got {sum(sides.values()):,}. Plan fewer blocks."
        )
    narrow = material.width if material.length is None else min(material.width, material.length)
    largest = max(sides, default=Fraction(0)) + 2 * material.room
    if narrow <= 0 or material.room < 0 or largest > narrow:
        raise InvalidInputError(
            f"Every square must fit on the material; the largest takes {length_words(largest)} "
            f"({length_words(largest, 'in')}), and it is {length_words(narrow)} ({length_words(narrow, 'in')}) wide. "
            "Take wider material, or smaller prints."
        )


# Ways to pack, the simplest to cut first.


def _on_a_roll(sides: Mapping[Fraction, int], material: Material) -> Iterator[Packing]:
    task = _Task.of(sides, material, material.width, None)
    yield _packing([_grid(task)], task, material, "grid")
    if len(task.demand) > 1:  # else a grid is the best there is
        yield _packing([_patterns_on_a_roll(task)], task, material, "patterns")


def _on_sheets(sides: Mapping[Fraction, int], material: Material) -> Iterator[Packing]:
    assert material.length is not None
    lying = [(material.width, material.length), (material.length, material.width)]
    if material.length > 2 * LONGEST_CUT or material.length == material.width:  # nobody cuts along a roll
        lying = lying[:1]
    tasks = [_Task.of(sides, material, *size) for size in lying]
    grids = [_packing(_first_fit(_grid(task), task.length), task, material, "grid") for task in tasks]
    yield from grids
    fewest = -(-grids[0].packed_area // (material.width * material.length))
    for task in tasks if len(tasks[0].demand) > 1 or len(grids[0].sheets) > fewest else []:
        found = _packing(_first_fit(_patterns_on_a_roll(task), task.length), task, material, "patterns")
        yield found
        if len(found.sheets) > fewest:
            yield _packing(_patterns_on_sheets(task), task, material, "patterns")


def _first_fit(sections: _Sections, length: int) -> list[_Sections]:
    """The sections on sheets: each, tallest first, on the first sheet that has room."""
    sheets: list[_Sections] = []
    for section in sorted(sections, key=lambda section: -section.height):
        room = (sheet for sheet in sheets if sum(other.height for other in sheet) + section.height <= length)
        sheet = next(room, None)
        if sheet is None:
            sheets.append(sheet := [])
        sheet.append(section)
    return sheets


# The task in whole units, and its answer in millimetres.


@dataclass(frozen=True)
class _Task:
    """The task in whole units; length 0 is a roll's, longest is how far a ruler reaches."""

    unit: Fraction
    width: int
    length: int
    longest: int
    demand: _Demand
    size: tuple[Fraction, Fraction | None]

    @classmethod
    def of(
        cls, sides: Mapping[Fraction, int], material: Material, width: Fraction, length: Fraction | None
    ) -> _Task:
        rough = {side + 2 * material.room: count for side, count in sides.items()}
        unit = _common_measure([*rough, width, *([] if length is None else [length])])
        demand: _Demand = Counter()
        for side, count in rough.items():
            demand[math.ceil(side / unit)] += count
        reach = max(LONGEST_CUT, *rough) if length is None else min(length, max(LONGEST_CUT, *rough))
        return cls(
            unit, math.floor(width / unit), math.floor((length or 0) / unit), math.floor(reach / unit),
            dict(sorted(demand.items(), reverse=True)), (width, length),
        )


def _common_measure(lengths: Sequence[Fraction]) -> Fraction:
    """The largest length of which all these are whole multiples, unless it is too small for any hand."""
    bottom = math.lcm(*(length.denominator for length in lengths))
    unit = Fraction(math.gcd(*(int(length * bottom) for length in lengths)), bottom)
    return unit if max(lengths) / unit <= _MOST_UNITS else _FINEST


def _packing(sheets: Sequence[_Sections], task: _Task, material: Material, method: str) -> Packing:
    left = dict(task.demand)
    packed = [_sheet(sections, task, left) for sections in sheets]
    return Packing(material, tuple(sheet for sheet in packed if sheet.sections), method)


def _sheet(patterns: _Sections, task: _Task, left: _Demand) -> PackedSheet:
    """The sheet with what is left to be cut, which shrinks; patterns may hold more than that."""
    sections: list[Section] = []
    bottom = 0
    for pattern in sorted(patterns, key=lambda pattern: (-pattern.strips[0][0], -pattern.height)):
        columns = _columns(pattern, left)
        if columns:
            sections.append(_section(columns, bottom, task.unit))
            bottom += max(side * count for side, count in columns)
    width, length = task.size
    used = bottom * task.unit
    return PackedSheet(width, used if length is None else length, used, tuple(sections))


def _columns(pattern: _Pattern, left: _Demand) -> list[tuple[int, int]]:
    """Strips of the pattern as (side, number of squares): as low as can be, then as few, while any are left to cut."""
    taken = []
    for side, strips in pattern.strips:
        squares = min(left[side], strips * (pattern.height // side))
        left[side] -= squares
        taken.append((side, strips, squares))
    height = max(side * -(-squares // strips) for side, strips, squares in taken)
    return [column for side, _, squares in taken if squares for column in _filled(side, squares, height // side)]


def _filled(side: int, squares: int, most: int) -> Iterator[tuple[int, int]]:
    """The fewest strips that hold the squares, as even as can be."""
    strips = -(-squares // most)
    for strip in range(strips):
        yield side, squares // strips + (strip < squares % strips)


def _section(columns: Sequence[tuple[int, int]], bottom: int, unit: Fraction) -> Section:
    strips, x = [], 0
    for side, count in columns:
        squares = (PackedSquare(x * unit, (bottom + i * side) * unit, side * unit) for i in range(count))
        strips.append(Strip(x * unit, side * unit, tuple(squares)))
        x += side
    return Section(bottom * unit, max(side * count for side, count in columns) * unit, tuple(strips))


# A grid: every section has squares of one size.


def _grid(task: _Task) -> _Sections:
    sections = []
    for side, count in task.demand.items():
        across, rows = task.width // side, task.longest // side
        full, rest = divmod(-(-count // across), rows)
        sections += [_Pattern(side * rows, ((side, across),))] * full
        sections += [_Pattern(side * rest, ((side, across),))] * (rest > 0)
    return sections


# Patterns: sections of all heights and fillings, the best of them chosen.


def _patterns_on_a_roll(task: _Task) -> _Sections:
    patterns = _patterns(task)
    model = cp_model.CpModel()
    most = [max(-(-task.demand[side] // pattern.holds(side)) for side, _ in pattern.strips) for pattern in patterns]
    used = [model.new_int_var(0, limit, "") for limit in most]
    for side, count in task.demand.items():
        model.add(cp_model.LinearExpr.weighted_sum(used, [pattern.holds(side) for pattern in patterns]) >= count)
    model.minimize(cp_model.LinearExpr.weighted_sum(used, [pattern.height for pattern in patterns]))
    return _repeated(patterns, _solved(model, used))


def _patterns_on_sheets(task: _Task) -> list[_Sections]:
    """Sheet after sheet, each as full of what is left as can be, and as often as it can be repeated."""
    left = dict(task.demand)
    sheets: list[_Sections] = []
    while left:
        sheet, held = _fullest_sheet(replace(task, demand=left))
        if not held:  # no answer within the effort allowed
            return sheets + _first_fit(_grid(replace(task, demand=left)), task.length)
        times = min(left[side] // count for side, count in held.items())
        sheets += [sheet] * times
        left = {side: count - times * held.get(side, 0) for side, count in left.items()}
        left = {side: count for side, count in left.items() if count}
    return sheets


def _fullest_sheet(task: _Task) -> tuple[_Sections, _Demand]:
    """The sections of the sheet that holds the largest area of squares, and how many squares of each side."""
    patterns = _patterns(task)
    model = cp_model.CpModel()
    used = [model.new_int_var(0, task.length // pattern.height, "") for pattern in patterns]
    model.add(cp_model.LinearExpr.weighted_sum(used, [pattern.height for pattern in patterns]) <= task.length)
    held = [model.new_int_var(0, count, "") for count in task.demand.values()]
    for side, cut in zip(task.demand, held, strict=True):
        model.add(cp_model.LinearExpr.weighted_sum(used, [pattern.holds(side) for pattern in patterns]) >= cut)
    model.maximize(cp_model.LinearExpr.weighted_sum(held, [side * side for side in task.demand]))
    counts = _solved(model, [*used, *held])
    cut_squares = zip(task.demand, counts[len(patterns) :], strict=True)
    return _repeated(patterns, counts[: len(patterns)]), {side: count for side, count in cut_squares if count}


def _repeated(patterns: Sequence[_Pattern], counts: Sequence[int]) -> _Sections:
    return [pattern for pattern, count in zip(patterns, counts, strict=True) for _ in range(count)]


def _solved(model: cp_model.CpModel, variables: Sequence[cp_model.IntVar]) -> list[int]:
    """The values of the variables in the best solution found, or zeros; the same every time."""
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_deterministic_time = _EFFORT
    solver.parameters.linearization_level = 2
    solver.parameters.relative_gap_limit = 0.002
    solver.parameters.random_seed = 0
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return [0] * len(variables)
    return [solver.value(variable) for variable in variables]


def _patterns(task: _Task) -> list[_Pattern]:
    """Sections that hold most for their area, some as high as a single square, and for each side plain ones."""
    sides, most = np.array(list(task.demand)), np.array(list(task.demand.values()))
    best: dict[_Held, _Pattern] = {}
    for height in _heights(task):
        usable = tuple(side for side in task.demand if side <= height)
        fillings = _fillings(task.width, usable, tuple(task.demand[side] for side in usable))
        held = np.zeros((len(fillings), len(sides)), np.int64)
        held[:, -len(usable) :] = fillings * (height // sides[-len(usable) :])  # widest first: the narrow ones fit
        held = np.minimum(held, most)
        for place in _fullest(held @ (sides.astype(float) ** 2)):
            pattern = _Pattern(height, _strips(usable, fillings[place]))
            best.setdefault(tuple(held[place].tolist()), pattern)
    found = sorted(best, key=lambda held: _empty(held, best[held], task))
    densest, rest = found[:_MOST_PATTERNS], found[_MOST_PATTERNS:]
    one_high = [held for held in rest if best[held].height in task.demand][:_MOST_PATTERNS]
    return list(dict.fromkeys([*(best[held] for held in [*densest, *one_high]), *_grid(task)]))


def _heights(task: _Task) -> list[int]:
    """Heights of sections that some side divides: no other can be better filled."""
    return sorted({
        rows * side for side, count in task.demand.items() for rows in range(1, min(task.longest // side, count) + 1)
    })


def _fullest(areas: NDArray[np.float64]) -> NDArray[np.int64]:
    return np.argsort(-areas, kind="stable")[:_MOST_OF_A_HEIGHT]


def _strips(sides: Sequence[int], filling: NDArray[np.int64]) -> tuple[tuple[int, int], ...]:
    return tuple((side, count) for side, count in zip(sides, filling.tolist(), strict=True) if count)


def _empty(held: _Held, pattern: _Pattern, task: _Task) -> tuple[Fraction, int]:
    """What share of the section is left empty, and how high it is, as that decides between equals."""
    area = sum(count * side * side for count, side in zip(held, task.demand, strict=True))
    return 1 - Fraction(area, pattern.height * task.width), pattern.height


@lru_cache(maxsize=256)
def _fillings(width: int, sides: tuple[int, ...], most: tuple[int, ...]) -> NDArray[np.int64]:
    """Ways to fill the width with strips of these sides, widest first, so that no further one fits: a row for each."""

    def fill(place: int, left: int) -> Iterator[tuple[int, ...]]:
        side = sides[place]
        enough = min(left // side, most[place])
        if place == len(sides) - 1:
            yield (enough,)
            return
        for count in range(enough, -1, -1):
            for rest in fill(place + 1, left - count * side):
                yield (count, *rest)

    return np.array([row for row in islice(fill(0, width), _MOST_FILLINGS) if any(row)], np.int64)
