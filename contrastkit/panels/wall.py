"""Pictures of a plan, drawn fast enough to answer a hand: the wall, and one block. No widgets here."""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image as PillowImage

from contrastkit.compose.layout import Layout, PlacedBlock
from contrastkit.compose.plan import Plan
from contrastkit.light.lightness import lightness_to_luminance
from contrastkit.show.block import block_placed
from contrastkit.show.crops import Pixels, encoded
from contrastkit.show.mockup import piece_squares, render
from contrastkit.show.plan_pictures import Pile, Stacks, background_tone, stacks_of

Image = NDArray[np.float32]

WALL_SIDE, BLOCK_SIDE = 640, 420  # pixels, longest side
MARGIN = 1.06  # side of a block's picture, in sides of the block
_SQUARE = 96  # pixels of a piece's square, kept for drawing
_STEP = 8  # pixels
_MOST_TILES = 400


def small_squares(crops: Mapping[str, Pixels]) -> dict[str, Pixels]:
    """
    Return the squares of pieces laid straight and made small once, so that a wall can be drawn from them quickly.

    >>> small_squares({"a": np.full((300, 300, 3), 118, np.uint8)})["a"].shape
    (96, 96, 3)
    """
    return {name: encoded(square) for name, square in piece_squares(crops, side=_SQUARE).items()}


@dataclass(eq=False)
class Walls:
    """Draws walls; blocks that were drawn before, of the same pieces at the same size, are kept."""

    tiles: dict[tuple[Any, ...], Image] = field(default_factory=dict)

    def wall(self, plan: Plan, layout: Layout, pile: Pile, *, side: int = WALL_SIDE) -> Image:
        """
        Return the whole wall, hanging margin included, in linear RGB; its longer side has `side` pixels at most.

        Each block lies to the nearest pixel. The scale goes in steps, so that most changes round the blocks leave them
        at the size at which they were drawn before.
        """
        width, height = float(layout.width), float(layout.height)
        scale = _scale(plan, max(width, height), side)
        rows, cols = max(1, round(height * scale)), max(1, round(width * scale))
        picture = np.full((rows, cols, 3), lightness_to_luminance(background_tone(plan)), np.float32)
        for laid in layout.blocks:
            tile = self.block(plan, laid, pile, side=_tile_side(plan, laid, scale), margin=1.0)
            row = round((height - float(laid.centre[1])) * scale - tile.shape[0] / 2)
            col = round(float(laid.centre[0]) * scale - tile.shape[1] / 2)
            _paste(picture, tile, row, col)
        return picture

    def block(
        self, plan: Plan, laid: PlacedBlock, pile: Pile, *, side: int = BLOCK_SIDE, margin: float = MARGIN
    ) -> Image:
        """Return one block on the background, square, in linear RGB."""
        block = plan.blocks[laid.kind]
        stacks = stacks_of(block, laid.number, pile)
        key = (block.shape, _known(stacks), background_tone(plan), side, margin)
        if key not in self.tiles:
            if len(self.tiles) >= _MOST_TILES:
                self.tiles.clear()
            size = margin * float(block.shape.finished[-1])
            self.tiles[key] = render(
                block_placed(block.shape, stacks), pile.crops, background=background_tone(plan),
                size_mm=(size, size), pixels_per_mm=side / size,
            )
        return self.tiles[key]


def _known(stacks: Stacks) -> tuple[tuple[tuple[str, float | None], ...], ...]:
    """Which pieces or greys; an unknown lightness is None, as nan never equals itself."""
    return tuple(
        tuple((each.swatch_id, each.lightness if each.lightness == each.lightness else None) for each in stack)
        for stack in stacks
    )


def _scale(plan: Plan, longest: float, side: int) -> float:
    """Pixels per mm: the largest block takes a multiple of some pixels, where that is not much smaller."""
    largest = max(float(block.shape.finished[-1]) for block in plan.blocks)
    pixels = side / longest * largest
    return (pixels - pixels % _STEP if pixels > 8 * _STEP else pixels) / largest


def _tile_side(plan: Plan, laid: PlacedBlock, scale: float) -> int:
    return max(2, round(float(plan.blocks[laid.kind].shape.finished[-1]) * scale))


def _paste(picture: Image, tile: Image, row: int, col: int) -> None:
    rows, cols = picture.shape[:2]
    top, left = max(row, 0), max(col, 0)
    bottom, right = min(row + tile.shape[0], rows), min(col + tile.shape[1], cols)
    if bottom > top and right > left:
        picture[top:bottom, left:right] = tile[top - row : bottom - row, left - col : right - col]


def as_jpeg(image: Image, *, quality: int = 90) -> bytes:
    """
    Return a picture in linear RGB as JPEG, quickly.

    >>> as_jpeg(np.zeros((8, 8, 3), np.float32))[:2]
    b'\\xff\\xd8'
    """
    file = io.BytesIO()
    PillowImage.fromarray(encoded(image)).save(file, "JPEG", quality=quality, subsampling=0)
    return file.getvalue()
