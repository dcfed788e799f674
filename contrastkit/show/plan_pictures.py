"""The blocks of a plan and their layout: as pixels for a screen, as charts for paper."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from contrastkit.compose.plan import GROUPS, Layers, Plan, PlannedBlock
from contrastkit.compose.seams import Surface, surfaces
from contrastkit.lengths import length_words
from contrastkit.show.block import block_picture, block_placed
from contrastkit.show.chart import Chart
from contrastkit.show.crops import Crops, Pixels, encoded
from contrastkit.show.look import SURROUNDS
from contrastkit.show.mockup import Placed, render

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.compose.layout import Layout

_BLOCK_SIDE, _LAYOUT_SIDE = 760, 1200  # pixels, longest side
# The greys that stand for groups: as in charts where there are three, and between where there are more.
_TONES = dict(zip(GROUPS, (15.0, 20.0, 25.0, 40.0, 55.0, 70.0, 85.0, 90.0, 95.0), strict=True))

Stacks = tuple[tuple[Surface, ...], ...]


@dataclass(frozen=True)
class Pile:
    """Swatches at hand: what is known of each, and the pieces cut out of their photographs."""

    known: Mapping[str, Surface]
    crops: Crops

    @classmethod
    def of(cls, table: pd.DataFrame | None, crops: Crops | None) -> Pile:
        """Return the pile of a swatch table; empty without one."""
        return cls({} if table is None else surfaces(table), crops or {})


def stacks_of(block: PlannedBlock, number: int, pile: Pile) -> Stacks:
    """
    Return what the layers of one block of a kind are, for each of its stacks in order.

    A layer is the swatch that the plan names, else a grey that stands for its group; where the plan says neither, its
    lightness is unknown.
    """
    stacks = [_stack(block.core, number, pile)]
    for blocks, layers in zip(block.shape.further_blocks, block.surrounds, strict=True):
        stacks += [_stack(layers, number * blocks.count + place, pile) for place in range(blocks.count)]
    return tuple(stacks)


def _stack(layers: Layers, number: int, pile: Pile) -> tuple[Surface, ...]:
    greys = [Surface("", _TONES.get(group, float("nan"))) for group in layers.groups]
    if number >= len(layers.stacks):
        return tuple(greys)
    return tuple(
        pile.known.get(name, Surface(name, grey.lightness))
        for name, grey in zip(layers.stacks[number], greys, strict=True)
    )


def background_tone(plan: Plan) -> float:
    """Return the L* that the background is drawn in: its own, or middle grey where the plan does not say."""
    lightness = plan.background.lightness
    return SURROUNDS["middle"] if lightness is None else lightness


def block_pixels(plan: Plan, block: PlannedBlock, pile: Pile) -> Pixels:
    """Return the first block of a kind on the background, as 8-bit sRGB."""
    placed = block_placed(block.shape, stacks_of(block, 0, pile))
    side = 1.06 * float(block.shape.finished[-1])
    return encoded(
        render(placed, pile.crops, background=background_tone(plan), size_mm=(side, side),
               pixels_per_mm=_BLOCK_SIDE / side)
    )


def layout_pixels(plan: Plan, layout: Layout, pile: Pile) -> Pixels:
    """Return the whole project, hanging margin included, as 8-bit sRGB."""
    width, height = float(layout.width), float(layout.height)
    return encoded(
        render(_laid_pieces(plan, layout, pile), pile.crops, background=background_tone(plan),
               size_mm=(width, height), pixels_per_mm=_LAYOUT_SIDE / max(width, height),
               centre=(width / 2, height / 2))
    )


def _laid_pieces(plan: Plan, layout: Layout, pile: Pile) -> list[Placed]:
    return [
        piece for laid in layout.blocks
        for piece in block_placed(
            plan.blocks[laid.kind].shape, stacks_of(plan.blocks[laid.kind], laid.number, pile),
            centre=(float(laid.centre[0]), float(laid.centre[1])),
        )
    ]


def block_chart(plan: Plan, block: PlannedBlock, pile: Pile) -> Chart:
    """Return a kind of block to scale, with its sizes and chalk lines, to print."""
    title = f"{block.name}: {block.count} of {length_words(float(block.shape.finished[-1]), plan.unit)}"
    return block_picture(
        block.shape, stacks_of(block, 0, pile), pile.crops, unit=plan.unit, background=plan.background.lightness,
        title=title,
    )
