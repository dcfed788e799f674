"""
What is asked of a choice of stacks, and the pile it is asked of, ready for arithmetic.

Inside, lightness is whole ten-thousandths of L*, so that two equal steps are equal however they came about.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from contrastkit.columns import DETAILS, GROUP_NAMES, SWATCHES, check_table
from contrastkit.compose.groups import fixed_breaks, sort_into_groups
from contrastkit.errors import InvalidInputError, TooFewSwatchesError

if TYPE_CHECKING:
    import pandas as pd

Whole = NDArray[np.int64]
Yes = NDArray[np.bool_]
Signs = tuple[int, ...]  # of each step from the bottom up: 1 lighter, -1 darker

ORDERS = ("stepped", "alternating", "free")
DIFFER = ("sheet", "ground", "hue")
FINE = 10_000  # parts of L*: finer than any table
MOST_LAYERS = 9

_GREY_CHROMA = 10.0  # C*ab; paler colours count as grey [design choice]
_HUE_FAMILY = 30.0  # degrees of CIELAB hue: twelve families, red first [design choice]
_NONE = -1


@dataclass(frozen=True)
class Rules:
    """
    What a choice of stacks must keep to, beside its order. Every rule that is not given asks for nothing.

    Attributes
    ----------
    groups : the group of each layer's piece, bottom first, e.g. ("dark", "medium", "light"); None in it: any
    sides : the least side of each layer's piece in mm, bottom first, against the column `side`
    must : names of pieces that have to be used
    never : names of pieces that may not be used
    differ : in what the pieces of one stack must differ: "sheet", "ground" or "hue" (a family of 30 degrees; greys are
        one family). Pieces for which it is not known differ from all.
    twins : so many pairs of stacks are alike, layer by layer
    twin_tolerance : how far two twins may be apart in a layer, L*
    profile : the wanted step between each two layers, L*, bottom first: softness on purpose; what counts is then
        how far the steps are from it at most. With a background, the first may be that from the background.
    at_least : a step that is enough, L*: every step reaches it, and the pile's darkest and lightest are spared

    >>> Rules(groups=("dark", None, "light"), never=("blotchy",)).groups
    ('dark', None, 'light')
    """

    groups: tuple[str | None, ...] = ()
    sides: tuple[float, ...] = ()
    must: tuple[str, ...] = ()
    never: tuple[str, ...] = ()
    differ: tuple[str, ...] = ()
    twins: int = 0
    twin_tolerance: float = 3.0
    profile: tuple[float, ...] = ()
    at_least: float | None = None


RULE_WORDS = {
    "groups": "the groups of the layers", "sides": "the sizes of the layers", "must": "the pieces that must be used",
    "never": "the pieces that may not be used", "differ": "that pieces of a stack differ", "twins": "the twins",
    "at_least": "the least step", "background": "the step from the background",
}  # fmt: skip


@dataclass(frozen=True, eq=False)
class Task:
    """
    A pile sorted from dark to light (equals by name), and what is asked of stacks of it.

    Attributes
    ----------
    names : swatch ids, shape (N,)
    lightness : L* as measured, shape (N,)
    whole : lightness in whole ten-thousandths, shape (N,)
    allowed : whether a piece may lie in a layer, shape (layers, N)
    must : whether a piece has to be used, shape (N,)
    kinds : for each thing that pieces of a stack must differ in, a number a piece; -1 differs from all
    wanted : the wanted step from the layer below for each layer but the first, in ten-thousandths; empty: none
    background, background_wanted : the same of the background; None: none
    """

    names: tuple[str, ...]
    lightness: NDArray[np.float64]
    whole: Whole
    layers: int
    blocks: int
    order: str
    allowed: Yes
    must: Yes
    kinds: tuple[Whole, ...]
    twins: int
    twin_tolerance: int
    wanted: tuple[int, ...]
    background: int | None
    background_wanted: int | None

    @property
    def plain(self) -> bool:
        """Whether nothing is asked of a piece but its lightness."""
        free = bool(self.allowed.all()) and not self.must.any() and not self.wanted
        return free and not self.kinds and not self.twins and self.background is None

    @property
    def whole_stacks(self) -> bool:
        """Whether something is asked of a stack as a whole, beside its steps."""
        return bool(self.kinds) or self.twins > 0

    @property
    def signs(self) -> tuple[Signs, ...]:
        """The ways a stack may go up and down; of two that are one another upside down only one, where that is all."""
        ways = [way for way in product((1, -1), repeat=self.layers - 1) if self.goes(way)]
        if not self._same_upside_down:
            return tuple(ways)
        return tuple(way for way in ways if way >= tuple(-step for step in reversed(way)))

    def goes(self, way: Signs) -> bool:
        """Whether the order asked for allows these ups and downs."""
        turns = [a != b for a, b in zip(way, way[1:], strict=False)]
        return {"stepped": not any(turns), "alternating": all(turns), "free": True}[self.order]

    @property
    def _same_upside_down(self) -> bool:
        palindrome = self.wanted == tuple(reversed(self.wanted))
        return palindrome and self.background is None and bool((self.allowed == self.allowed[::-1]).all())

    def reach(self, seam: int, score: int) -> tuple[int, int | None]:
        """The least and the largest step (None: any) that has at least this score, between layers seam and seam + 1."""
        return _reach(self.wanted[seam] if self.wanted else None, score)

    def on_background(self, score: int) -> Yes:
        """Which pieces have at least this score on the background, shape (N,)."""
        if self.background is None:
            return np.ones(len(self.whole), bool)
        least, largest = _reach(self.background_wanted, score)
        step = np.abs(self.whole - self.background)
        return np.asarray((step >= least) & (step <= (step.max() if largest is None else largest)))


def _reach(wanted: int | None, score: int) -> tuple[int, int | None]:
    return (max(score, 0), None) if wanted is None else (max(wanted + score, 0), wanted - score)


def task_of(
    table: pd.DataFrame, *, layers: int, blocks: int, order: str, background: float | None, rules: Rules
) -> Task:
    """
    Return the pile sorted, with what is asked of its stacks; refuse what cannot be right or contradicts itself.

    Raises
    ------
    InvalidInputError
        A number or name that cannot be right, or rules that contradict one another; they are named.
    TooFewSwatchesError
        The pile is too small.
    """
    _check_counts(layers, blocks, order, background)
    rows = check_table(table, (*SWATCHES, *DETAILS))
    _check_known(rows)
    _check_rules(rules, layers, blocks, background, rows)
    rows = rows[~rows["swatch_id"].isin(rules.never)].sort_values(["lightness", "swatch_id"], kind="stable")
    _check_enough(len(rows), layers, blocks, bool(rules.never))
    lightness = rows["lightness"].to_numpy(float)
    inner, outer = _profile(rules.profile, layers)
    task = Task(
        names=tuple(map(str, rows["swatch_id"])),
        lightness=lightness,
        whole=np.round(lightness * FINE).astype(np.int64),
        layers=layers,
        blocks=blocks,
        order=order,
        allowed=_allowed(rows, layers, rules),
        must=rows["swatch_id"].isin(rules.must).to_numpy(bool),
        kinds=tuple(_kinds(rows, what) for what in rules.differ),
        twins=rules.twins,
        twin_tolerance=round(rules.twin_tolerance * FINE),
        wanted=inner,
        background=None if background is None else round(background * FINE),
        background_wanted=outer,
    )
    _check_places(task, rules)
    return task


def loosened(task: Task, rule: str) -> Task:
    """Return the task without one of its rules, by its name in RULE_WORDS."""
    if rule in ("groups", "sides"):
        return replace(task, allowed=np.ones_like(task.allowed))
    changes: dict[str, dict[str, object]] = {
        "must": {"must": np.zeros_like(task.must)}, "differ": {"kinds": ()}, "twins": {"twins": 0},
        "background": {"background": None, "background_wanted": None},
    }  # fmt: skip
    return replace(task, **changes.get(rule, {}))  # type: ignore[arg-type]


def active(rules: Rules, background: float | None = None) -> list[str]:
    """
    Return the names of the rules that ask for something.

    >>> active(Rules(must=("a",), twins=1))
    ['must', 'twins']
    """
    asked = {
        "groups": any(rules.groups), "sides": any(rules.sides), "must": bool(rules.must), "never": bool(rules.never),
        "differ": bool(rules.differ), "twins": rules.twins > 0, "at_least": rules.at_least is not None,
        "background": background is not None,
    }  # fmt: skip
    return [name for name, is_asked in asked.items() if is_asked]


# --- what a piece may do ---------------------------------------------------------------------------------------------


def _allowed(rows: pd.DataFrame, layers: int, rules: Rules) -> Yes:
    allowed = np.ones((layers, len(rows)), bool)
    if any(rules.groups):
        groups = _groups(rows)
        for layer, name in enumerate(rules.groups):
            allowed[layer] &= np.ones(len(rows), bool) if name is None else groups == name
    if any(rules.sides):
        sides = rows["side"].to_numpy(float)
        for layer, least in enumerate(rules.sides):
            allowed[layer] &= (sides >= least - 1e-6) | (least == 0)  # an unknown side fits no layer that asks for one
    return allowed


def _groups(rows: pd.DataFrame) -> NDArray[np.str_]:
    if "group" not in rows or not (rows["group"] != "").any():
        rows = sort_into_groups(rows, fixed_breaks())
    return rows["group"].to_numpy(str)


def _kinds(rows: pd.DataFrame, what: str) -> Whole:
    if what == "hue":
        return _hue_families(rows)
    values = rows[what].to_numpy(str)
    numbers = {name: number for number, name in enumerate(sorted(set(values) - {""}))}
    return np.array([numbers.get(value, _NONE) for value in values], dtype=np.int64)


def _hue_families(rows: pd.DataFrame) -> Whole:
    chroma, hue = rows["chroma"].to_numpy(float), rows["hue_angle"].to_numpy(float)
    family = ((np.nan_to_num(hue) % 360) // _HUE_FAMILY).astype(np.int64)
    family = np.where(chroma < _GREY_CHROMA, round(360 / _HUE_FAMILY), family)
    return np.where(np.isnan(chroma) | (np.isnan(hue) & (chroma >= _GREY_CHROMA)), _NONE, family)


def _profile(profile: Sequence[float], layers: int) -> tuple[tuple[int, ...], int | None]:
    steps = [round(step * FINE) for step in profile]
    return (tuple(steps[1:]), steps[0]) if len(steps) == layers else (tuple(steps), None)


# --- what cannot be right --------------------------------------------------------------------------------------------


def _check_counts(layers: int, blocks: int, order: str, background: float | None) -> None:
    if not 2 <= layers <= MOST_LAYERS:
        raise InvalidInputError(f"A stack has 2 to {MOST_LAYERS} layers; got {layers}. Pick a number in between.")
    if blocks < 1:
        raise InvalidInputError(f"There must be at least 1 stack to choose; got {blocks}. Ask for one or more.")
    if order not in ORDERS:
        raise InvalidInputError(f"order must be one of {', '.join(ORDERS)}; got {order!r}. Pick one of these.")
    if background is not None and not 0 <= background <= 100:  # also nan
        raise InvalidInputError(
            f"The background's lightness must be a number from 0 to 100 (L*); got {background}. "
            "Measure it, or leave it out."
        )


def _check_known(rows: pd.DataFrame) -> None:
    unknown = rows.loc[rows["lightness"].isna(), "swatch_id"]
    if len(unknown):
        raise InvalidInputError(
            f"Every piece must have a lightness to be laid in a stack; {unknown.iloc[0]!r} has none"
            f"{f', and {len(unknown) - 1} more' if len(unknown) > 1 else ''}. Measure it, or take its row out."
        )


def _check_enough(count: int, layers: int, blocks: int, some_left_out: bool) -> None:
    if count < layers * blocks:
        there = "there are" if not some_left_out else "without those that may not be used there are"
        raise TooFewSwatchesError(
            f"{blocks} {'stack' if blocks == 1 else 'stacks'} of {layers} layers take {layers * blocks} pieces; "
            f"{there} {count}. Ask for {count // layers or 'no'} stacks, or for fewer layers."
        )


def _check_rules(rules: Rules, layers: int, blocks: int, background: float | None, rows: pd.DataFrame) -> None:
    _check_lengths(rules, layers, background)
    _check_numbers(rules, blocks)
    _check_ids(rules, set(map(str, rows["swatch_id"])), layers * blocks)
    for what in rules.differ:
        if what not in DIFFER:
            raise InvalidInputError(
                f"Pieces of a stack can be made to differ in {', '.join(DIFFER)}; got {what!r}. Pick from these."
            )
        needed = ("chroma", "hue_angle") if what == "hue" else (what,)
        _check_columns(rows, needed, f"that pieces of a stack differ in {what}")
    if any(rules.sides):
        _check_columns(rows, ("side",), "sizes of layers")
    _check_groups(rules, rows)


def _check_lengths(rules: Rules, layers: int, background: float | None) -> None:
    for what, given in (("groups", rules.groups), ("sides", rules.sides)):
        if given and len(given) != layers:
            raise InvalidInputError(
                f"{what} must name every layer once, bottom first: {layers} of them; got {len(given)}. "
                "Leave a place empty where anything will do."
            )
    fitting = {layers - 1} if background is None else {layers - 1, layers}
    if rules.profile and len(rules.profile) not in fitting:
        also = "" if background is None else f", or {layers} with the step from the background first"
        raise InvalidInputError(
            f"A profile for {layers} layers has {layers - 1} steps{also}; got {len(rules.profile)}. "
            "Give a step between each two layers."
        )


def _check_numbers(rules: Rules, blocks: int) -> None:
    numbers = {
        "sides": (rules.sides, math.inf), "profile": (rules.profile, 100),
        "twin_tolerance": ((rules.twin_tolerance,), 100),
        "at_least": (() if rules.at_least is None else (rules.at_least,), 100),
    }  # fmt: skip
    for what, (values, high) in numbers.items():
        wrong = [value for value in values if not 0 <= value <= high or math.isinf(value)]
        if wrong:
            limit = "0 or more" if math.isinf(high) else f"from 0 to {high:g}"
            raise InvalidInputError(f"{what} must be {limit}; got {wrong[0]}. Correct the number.")
    if rules.twins < 0 or 2 * rules.twins > blocks:
        raise InvalidInputError(
            f"{rules.twins} pairs of twins are {2 * rules.twins} stacks, and {blocks} are asked for. "
            "Ask for more stacks or fewer twins."
        )
    if rules.profile and rules.at_least is not None:
        raise InvalidInputError(
            "A profile and a least step (at_least) cannot both be asked for; got both. Leave one of them out."
        )


def _check_ids(rules: Rules, ids: set[str], places: int) -> None:
    for name in (*rules.must, *rules.never):
        if name not in ids:
            near = difflib.get_close_matches(name, sorted(ids), n=1)
            hint = f" Did you mean {near[0]!r}?" if near else " Look it up in the table."
            raise InvalidInputError(f"{name!r} is asked for by name, but no piece of the pile is called so.{hint}")
    both = sorted(set(rules.must) & set(rules.never))
    if both:
        raise InvalidInputError(
            f"{both[0]!r} must be used and may not be used: these two rules clash. Take it out of one of them."
        )
    if len(set(rules.must)) > places:
        raise InvalidInputError(
            f"{len(set(rules.must))} pieces must be used, but the stacks have only {places} places. "
            "Ask for more stacks, or insist on fewer pieces."
        )


def _check_columns(rows: pd.DataFrame, needed: Sequence[str], what: str) -> None:
    for name in needed:
        if name not in rows:
            raise InvalidInputError(
                f"To ask for {what}, the table must have a column {name!r}; it has none. Add it, or drop the rule."
            )


def _check_groups(rules: Rules, rows: pd.DataFrame) -> None:
    names = {name for name in rules.groups if name is not None}
    if not names:
        return
    known = set(_groups(rows)) | set(GROUP_NAMES)
    strange = sorted(names - known)
    if strange:
        raise InvalidInputError(
            f"No group is called {strange[0]!r}; the pile's are {', '.join(sorted(known - {''}))}. Pick from these."
        )


def _check_places(task: Task, rules: Rules) -> None:
    for layer, places in enumerate(task.allowed):
        if places.sum() < task.blocks:
            asked = [_layer_rule(rules, layer, what) for what in ("groups", "sides")]
            raise TooFewSwatchesError(
                f"Layer {layer + 1} from the bottom needs {task.blocks} pieces {' and '.join(filter(None, asked))}; "
                f"the pile has {int(places.sum())}. Ask for fewer stacks, or loosen that rule."
            )
    homeless = np.flatnonzero(task.must & ~task.allowed.any(axis=0))
    if len(homeless):
        raise InvalidInputError(
            f"{task.names[homeless[0]]!r} must be used, but fits no layer by its group or size: these rules clash. "
            "Loosen one of them."
        )


def _layer_rule(rules: Rules, layer: int, what: str) -> str:
    if what == "groups":
        return f"of the group {rules.groups[layer]}" if any(rules.groups) and rules.groups[layer] else ""
    return f"of {rules.sides[layer]:g} mm or more" if any(rules.sides) and rules.sides[layer] else ""
