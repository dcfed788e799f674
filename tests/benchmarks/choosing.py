"""
How long the best stacks take, and how near they are to what is possible, beside trying everything and a plain model.

    python tests/benchmarks/choosing.py [--seconds S] [--quick] [--json]

The plain model is tests/plain_choice.py: the same question as it reads, by CP-SAT. Trying everything goes through all
stacks. Both are given S seconds a question; "-" stands for no answer in that time. One core; wall time. What can be
compared between computers is the ratio, and how far from the bound an answer is.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Callable
from itertools import combinations
from pathlib import Path
from typing import Any

from common import on_one_core, table

sys.path.insert(0, str(Path(__file__).parents[1]))

SEED = 7200
SMALL = ((12, 3, 4), (15, 3, 5), (18, 3, 6), (24, 3, 8), (36, 3, 12), (60, 4, 15), (100, 4, 20), (200, 4, 40))
LARGE = (  # what, pieces, layers, stacks, order, seconds asked
    ("stepped, all used", 1_000_000, 4, 250_000, "stepped", 0.5),
    ("stepped, a third used", 1_000_000, 3, 120_000, "stepped", 0.5),
    ("alternating, even", 1_000_000, 4, 250_000, "alternating", 0.5),
    ("alternating, odd", 100_000, 3, 33_000, "alternating", 2.0),
    ("alternating, odd, five layers", 100_000, 5, 20_000, "alternating", 2.0),
)
RULED: tuple[tuple[str, int, str, float | None, dict[str, Any]], ...] = (
    ("sizes, stepped", 3, "stepped", None, {"sides": (92.0, 70.0, 50.0)}),
    ("sizes, free", 3, "free", None, {"sides": (92.0, 70.0, 50.0)}),
    ("sheets differ, alternating", 3, "alternating", None, {"differ": ("sheet",)}),
    ("sheets differ, stepped", 4, "stepped", None, {"differ": ("sheet",)}),
    ("background, alternating", 4, "alternating", 20.0, {}),
    ("three musts, sheets differ, background", 4, "alternating", 20.0,
     {"must": ("p003", "p100", "p199"), "differ": ("sheet",)}),
    ("profile 25, 10", 3, "free", None, {"profile": (25.0, 10.0)}),
    ("ten twins", 3, "alternating", None, {"twins": 10}),
    ("sizes, musts, hue and sheet differ, background", 4, "free", 15.0,
     {"must": ("p003", "p100", "p199"), "differ": ("sheet", "hue"), "sides": (70.0, 50.0, 0.0, 0.0)}),
    ("dark, light, medium; grounds differ", 3, "free", 15.0,
     {"groups": ("dark", "light", "medium"), "differ": ("ground",)}),
    ("20 everywhere, extremes spared", 3, "alternating", None, {"at_least": 20.0, "differ": ("sheet",)}),
    ("sheets differ, free, five layers, all used", 5, "free", None, {"differ": ("sheet",)}),
)  # fmt: skip


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Return wall time and result of one call."""
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def pile(count: int, seed: int) -> Any:
    """Return an invented pile: mostly mediums, sizes, sheets, grounds and colours at random."""
    import numpy as np
    import pandas as pd

    chance = np.random.default_rng(seed)
    middles = chance.choice([30.0, 55.0, 78.0], count, p=[0.3, 0.4, 0.3])
    return pd.DataFrame({
        "swatch_id": [f"p{number:03d}" for number in range(count)],
        "lightness": np.round(chance.normal(middles, 8).clip(12, 97), 1),
        "side": chance.choice([50.0, 70.0, 92.0], count, p=[0.35, 0.35, 0.3]),
        "sheet": chance.choice([f"s{number}" for number in range(25)], count),
        "ground": chance.choice(["red", "blue", "black", "ochre", "plum", ""], count),
        "chroma": chance.uniform(0, 70, count), "hue_angle": chance.uniform(0, 360, count),
    })


# --- against trying everything and a plain model ----------------------------------------------------------------------


class OutOfTime(Exception):
    """The time is over."""


def by_trying(lightness: list[float], layers: int, blocks: int, until: float) -> float:
    """Return the best weakest step of stacks from dark to light, all pieces used, by going through all of them."""
    best = -1.0

    def grow(left: tuple[float, ...], worst: float) -> None:
        nonlocal best
        if time.perf_counter() > until:
            raise OutOfTime
        if not left:
            best = max(best, worst)
            return
        for rest in combinations(range(1, len(left)), layers - 1):
            stack = [left[0], *(left[at] for at in rest)]
            step = min(b - a for a, b in zip(stack, stack[1:], strict=False))
            if min(step, worst) > best:
                taken = set(rest)
                grow(tuple(x for at, x in enumerate(left[1:], 1) if at not in taken), min(step, worst))

    grow(tuple(sorted(lightness)), float("inf"))
    return best


def small_row(count: int, layers: int, blocks: int, seconds: float) -> dict[str, Any]:
    """Time the same question three ways: stepped stacks of all pieces."""
    from plain_choice import best_weakest

    from contrastkit.compose.choosing import choose_stacks

    some = pile(count, SEED + count)[["swatch_id", "lightness"]]
    whole = [round(10 * x) for x in some["lightness"]]
    ours, choice = timed(lambda: choose_stacks(some, layers=layers, blocks=blocks, seconds=1e-6))
    row: dict[str, Any] = {"pieces": count, "layers": layers, "stacks": blocks, "seconds": ours,
                           "worst_step": choice.worst_step, "proved": choice.proved}
    try:
        row["plain_seconds"], plain = timed(
            lambda: best_weakest(whole, layers, blocks, "stepped", seconds=seconds)
        )
        assert abs(plain / 10 - choice.worst_step) < 1e-6, (plain, choice.worst_step)
    except AssertionError as error:
        if "UNKNOWN" not in str(error) and "FEASIBLE" not in str(error):
            raise
        row["plain_seconds"] = None
    try:
        until = time.perf_counter() + seconds
        row["trying_seconds"], tried = timed(lambda: by_trying(list(some["lightness"]), layers, blocks, until))
        assert abs(tried - choice.worst_step) < 1e-6
    except OutOfTime:
        row["trying_seconds"] = None
    return row


# --- the large and the constrained ------------------------------------------------------------------------------------


def large_rows() -> list[dict[str, Any]]:
    """Time the closed forms on sorted arrays."""
    import numpy as np

    from contrastkit.compose import orders

    rows = []
    for what, count, layers, blocks, order, asked in LARGE:
        values = np.random.default_rng(SEED).uniform(10, 95, count)
        form = getattr(orders, order)
        seconds, _ = timed(lambda form=form, values=values, k=layers, b=blocks: form(np.sort(values), k, b))
        rows.append({"what": what, "pieces": count, "seconds": seconds, "asked": asked})
    return [*rows, fixed_groups_row()]


def fixed_groups_row() -> dict[str, Any]:
    """Time three layers with fixed groups, table to stacks."""
    from contrastkit.compose.choosing import choose_stacks
    from contrastkit.compose.rules import Rules

    some = pile(3000, SEED)
    rules = Rules(groups=("dark", "medium", "light"))
    seconds, choice = timed(
        lambda: choose_stacks(some, layers=3, blocks=700, order="free", rules=rules)
    )
    assert choice.proved
    return {"what": "fixed groups, table to 700 stacks", "pieces": 3000, "seconds": seconds, "asked": 2.0}


def ruled_rows(quick: bool) -> list[dict[str, Any]]:
    """Choose 40 stacks from 200 pieces by rules; how far from the bound."""
    from contrastkit.compose.choosing import choose_stacks
    from contrastkit.compose.rules import Rules

    some, rows = pile(200, SEED), []
    for what, layers, order, background, rules in RULED[:: 4 if quick else 1]:
        seconds, choice = timed(
            lambda layers=layers, order=order, background=background, rules=rules: choose_stacks(
                some, layers=layers, blocks=40, order=order, background=background, rules=Rules(**rules), seconds=25
            )
        )
        rows.append({"what": what, "seconds": seconds, "reached": choice.reached, "bound": choice.bound,
                     "proved": choice.proved, "away": abs(choice.bound - choice.reached), "settled": choice.settled})
    return rows


# --- printing ---------------------------------------------------------------------------------------------------------


def _time(seconds: float | None) -> str:
    return "-" if seconds is None else f"{1000 * seconds:.0f} ms" if seconds < 1 else f"{seconds:.1f} s"


def _ratio(other: float | None, ours: float) -> str:
    return "-" if other is None else f"{other / ours:.0f} ×"


def printed(small: list[dict[str, Any]], large: list[dict[str, Any]], ruled: list[dict[str, Any]]) -> str:
    """Return the three tables."""
    one = table(
        "Stepped stacks of all pieces, the same work three ways",
        ["pieces, layers, stacks", "ours", "plain CP-SAT", "ratio", "trying everything", "ratio"],
        [[f"{r['pieces']}, {r['layers']}, {r['stacks']}", _time(r["seconds"]), _time(r["plain_seconds"]),
          _ratio(r["plain_seconds"], r["seconds"]), _time(r["trying_seconds"]),
          _ratio(r["trying_seconds"], r["seconds"])] for r in small],
    )
    two = table("Closed forms, sorting included", ["what", "pieces", "asked", "took"],
                [[r["what"], f"{r['pieces']:,}", f"≤ {r['asked']:g} s", _time(r["seconds"])] for r in large])
    three = table(
        "40 stacks from 200 pieces, by rules; asked: proved, or 1 L* from the bound, in 30 s",
        ["rules", "took", "reached", "bound", "proved", "from the bound", "ranks proved"],
        [[r["what"], _time(r["seconds"]), f"{r['reached']:.2f}", f"{r['bound']:.2f}", "yes" if r["proved"] else "no",
          f"{r['away']:.2f}", str(r["settled"])] for r in ruled],
    )
    return "\n\n".join([one, two, three])


def main() -> None:
    """Time it all and print the tables."""
    parser = argparse.ArgumentParser(description="How long the best stacks take, and how near the bound they are.")
    parser.add_argument("--seconds", type=float, default=20.0, help="for each question to the others (20)")
    parser.add_argument("--quick", action="store_true", help="a third of the work")
    parser.add_argument("--json", action="store_true", help="print one JSON document")
    options = parser.parse_args()
    on_one_core()
    small = [small_row(*size, options.seconds) for size in SMALL[:: 3 if options.quick else 1]]
    large, ruled = large_rows(), ruled_rows(options.quick)
    print(json.dumps([small, large, ruled], indent=2) if options.json else printed(small, large, ruled))


if __name__ == "__main__":
    main()
