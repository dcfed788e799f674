"""Where the blocks of a plan lie on the background."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import zip_longest

from contrastkit.compose.exact import Root2
from contrastkit.compose.plan import Plan


@dataclass(frozen=True)
class PlacedBlock:
    """A block on the background: which kind (place in `plan.blocks`), which of its kind (from 0), its centre (mm)."""

    kind: int
    number: int
    centre: tuple[Root2, Root2]


@dataclass(frozen=True)
class Layout:
    """
    All blocks on the background; x to the right and y up, mm, from the background's bottom left corner.

    Attributes
    ----------
    width, height : of the background, hanging margin included, exact
    blocks : row by row from the top, left to right
    """

    width: Root2
    height: Root2
    blocks: tuple[PlacedBlock, ...]


def lay_out(plan: Plan) -> Layout:
    """
    Return where the blocks lie: rows in the middle of the width, blocks in the middle of the height of their row.

    >>> from fractions import Fraction
    >>> from contrastkit.compose.blocks import BlockShape
    >>> from contrastkit.compose.plan import Background, Layers, PlannedBlock
    >>> block = PlannedBlock("Hearth", 3, BlockShape((Fraction(80),)), Layers(("",)))
    >>> ground = Background(margin=Fraction(50), spacing=Fraction(20), in_row=2)
    >>> layout = lay_out(Plan("Wall", "mm", Fraction(0), Fraction(0), ground, (block,)))
    >>> layout.width, layout.height, layout.blocks[-1].centre
    (Root2(280), Root2(280), (Root2(140), Root2(90)))
    """
    ground = plan.background
    order = list(_order(plan))
    rows = [order[first : first + ground.in_row] for first in range(0, len(order), ground.in_row)]
    sides = [block.shape.finished[-1] for block in plan.blocks]
    widths = [sum((sides[kind] for kind, _ in row), Root2(ground.spacing * (len(row) - 1))) for row in rows]
    heights = [max(sides[kind] for kind, _ in row) for row in rows]
    width = max(widths) + 2 * ground.margin
    height = sum(heights, Root2(ground.spacing * (len(rows) - 1) + 2 * ground.margin))
    placed: list[PlacedBlock] = []
    top = height - ground.margin
    for row, row_width, row_height in zip(rows, widths, heights, strict=True):
        left = (width - row_width) / 2
        for kind, number in row:
            placed.append(PlacedBlock(kind, number, (left + sides[kind] / 2, top - row_height / 2)))
            left = left + sides[kind] + ground.spacing
        top = top - row_height - ground.spacing
    return Layout(width, height, tuple(placed))


def _order(plan: Plan) -> Iterator[tuple[int, int]]:
    """Kind and number of each block, in the order in which they are laid."""
    kinds = [[(kind, number) for number in range(block.count)] for kind, block in enumerate(plan.blocks)]
    if plan.background.in_turn:
        yield from (block for turn in zip_longest(*kinds) for block in turn if block is not None)
    else:
        yield from (block for kind in kinds for block in kind)
