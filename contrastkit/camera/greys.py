"""Grey cards and grey scales among the things on the board: which thing is one, and what its greys read."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from contrastkit.camera.find import Thing
from contrastkit.camera.polygons import Floats, clockwise
from contrastkit.light.lightness import luminance_to_lightness

Codes = NDArray[np.uint8 | np.uint16]

_INSET = 0.78  # share of a card's side that is read
_BLOCK = 8  # working pixels a side of the blocks that evenness is judged on
_TINT = 0.02  # how far the channels of a grey card typically part, as a natural logarithm [all: design choices]
_USUAL_CARD, _CARD_SPREAD = np.log(0.12), 0.4  # of its reading: an 18 % card at usual exposures, one sigma
_SMOOTH, _SMOOTH_SPREAD = np.log(0.006), 0.9  # of its blocks' scatter
_GRAIN, _GRAIN_SPREAD = np.log(0.003), 0.5  # of its 4-pixel grain: cloth shows its weave, card does not
_FINER = 0.35  # natural log of the ratio of grains that makes the smoother thing likelier by one sigma
_FILLED = 0.85  # share of the rectangle round it that a card fills
_BOX_INSET, _BOX_SPREAD = 0.6, 0.15  # share of a box that is read as a card, and the most that its pixels may scatter
_AT_FRAME = 2.0  # cost of being cut by the frame
_SCALE_LENGTH = 1.6  # length over width from which a thing may be half a scale or more
_PLAUSIBLE = 16.0  # cost above which a thing is no card
_DOUBT = 3.0  # a rival this near in cost leaves a doubt


@dataclass(frozen=True, eq=False)
class Card:
    """A thing that may be a grey card: what it reads and how unlikely it is to be one."""

    thing: Thing
    linear: Floats  # (3,) mean linear light of its middle
    clipped: bool
    grain: float  # relative, of its 4-pixel means
    cost: float


@dataclass(frozen=True, eq=False)
class Scale:
    """A grey scale: its outline, and for each step from the lightest what it reads and where."""

    outline: Floats  # (4, 2) row, col, clockwise
    linear: Floats  # (steps, 3)
    places: Floats  # (steps, 2) row, col
    clipped: NDArray[np.bool_]  # (steps,)
    misfit: float


def linear_of(codes: Codes, tables: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the linear light of encoded pixels (rows, cols, 3) by a table for each channel."""
    if codes.dtype == np.uint8:
        return np.asarray(cv2.LUT(codes, np.ascontiguousarray(tables.T[None])))
    return np.stack([tables[channel][codes[..., channel]] for channel in range(3)], axis=-1)


def read_cards(
    codes: Codes, tables: NDArray[np.float32], things: tuple[Thing, ...], boards: Floats
) -> list[Card]:
    """
    Return every thing that could be a grey card, likeliest first.

    `boards` is what the backing reads beside each thing, (things, 3). A card is smooth, neutral either on its own or
    against the board, four-sided, and neither very dark nor burnt out.
    """
    cards = [card for thing, board in zip(things, boards, strict=True)
             if (card := _as_card(codes, tables, thing, board)) is not None]
    finest = min((card.grain for card in cards if card.cost < _PLAUSIBLE), default=1.0)
    return sorted((_against(card, finest) for card in cards), key=lambda card: card.cost)


def _against(card: Card, finest: float) -> Card:
    """The card with its cost raised where another, as likely in itself, is smoother."""
    return replace(card, cost=card.cost + max(float(np.log(card.grain / finest)) / _FINER, 0.0) ** 2)


def plausible(cards: list[Card]) -> list[Card]:
    """
    Return the cards that could be meant, likeliest first: the best, and any rival that comes near it.

    Burnt-out things count only where nothing else could be the card.
    """
    likely = [card for card in cards if card.cost < _PLAUSIBLE]
    likely = [card for card in likely if not card.clipped] or likely
    return [card for card in likely if card.cost < likely[0].cost + _DOUBT]


def card_in_box(
    codes: Codes, tables: NDArray[np.float32], box: tuple[float, float, float, float]
) -> Card | None:
    """Return the card that fills a box (row, col, row, col; working pixels), or None where the box is not one grey."""
    top, left, bottom, right = box
    outline = np.array([[top, left], [top, right], [bottom, right], [bottom, left]], float)
    area = (bottom - top) * (right - left)
    part, mask = middle_of(codes, outline, _BOX_INSET)
    linear = linear_of(part, tables)
    mean, spread = (np.ravel(values)[:3] for values in cv2.meanStdDev(linear, mask=mask))
    if mean.min() <= 0 or float((spread / mean).max()) > _BOX_SPREAD:
        return None
    brightest = np.iinfo(codes.dtype).max * 254 / 255
    clipped = float(((part >= brightest).any(axis=2) & (mask > 0)).sum()) > 0.02 * float(mask.sum())
    thing = Thing(outline, area, 1.0, area, 1.0, 1.0, False, 1.0)
    return Card(thing, mean.astype(float), clipped, 0.0, 0.0)


def middle_of(codes: Codes, outline: Floats, share: float) -> tuple[Codes, NDArray[np.uint8]]:
    """Return the pixels of a box round an outline shrunk towards its middle, and the mask of what lies inside."""
    centre = outline.mean(axis=0)
    inner = (outline - centre) * share + centre
    top, left = np.maximum(np.floor(inner.min(axis=0)).astype(int), 0)
    bottom, right = np.minimum(np.ceil(inner.max(axis=0)).astype(int) + 1, codes.shape[:2])
    box = codes[top : max(bottom, top + 1), left : max(right, left + 1)]
    mask = np.zeros(box.shape[:2], np.uint8)
    cv2.fillPoly(mask, [(inner - (top, left))[:, ::-1].round().astype(np.int32)], 1)
    return box, mask


def _as_card(codes: Codes, tables: NDArray[np.float32], thing: Thing, board: Floats) -> Card | None:
    if len(thing.outline) > 6 or thing.elongation > 2.4 or thing.confirmed < 0.4:
        return None
    if thing.area < _FILLED * thing.box_area:
        return None
    if _tinted(codes, tables, thing.outline, board):
        return None
    box, mask = middle_of(codes, thing.outline, _INSET)
    linear = linear_of(box, tables)
    mean = np.array(cv2.mean(linear, mask)[:3])
    scatter, grain = _scatter(linear, mask), _grain(linear, mask)
    if scatter is None or grain is None or mean.min() <= 0:
        return None
    brightest = np.iinfo(codes.dtype).max * 254 / 255
    clipped = float(((box >= brightest).any(axis=2) & (mask > 0)).sum()) > 0.02 * float(mask.sum())
    tint = min(_tint(mean), _tint(mean / np.maximum(board, 1e-4)))
    level = float(np.log(mean.mean()))
    unlikely = 0.0 if clipped else (level - _USUAL_CARD) / _CARD_SPREAD  # a burnt-out reading says nothing
    cost = (_AT_FRAME * thing.at_frame + (tint / _TINT) ** 2 + unlikely**2
            + max((np.log(scatter) - _SMOOTH) / _SMOOTH_SPREAD, 0.0) ** 2
            + max((np.log(grain) - _GRAIN) / _GRAIN_SPREAD, 0.0) ** 2)
    return Card(thing, mean, clipped, grain, float(cost))


def _tinted(codes: Codes, tables: NDArray[np.float32], outline: Floats, board: Floats) -> bool:
    """A quick look at a few pixels: whether they are too coloured, or differ too much, for a card."""
    centre = outline.mean(axis=0)
    rays = (outline[None] - centre) * np.linspace(0.1, 0.7, 6)[:, None, None] + centre
    row, col = np.clip(rays.reshape(-1, 2).round().astype(int), 0, np.array(codes.shape[:2]) - 1).T
    linear = np.stack([tables[channel][codes[row, col, channel]] for channel in range(3)], axis=1).astype(float)
    middle = np.maximum(np.median(linear, axis=0), 1e-4)
    apart = float(np.median(np.abs(linear.mean(axis=1) / middle.mean() - 1)))
    return apart > 0.15 or min(_tint(middle), _tint(middle / np.maximum(board, 1e-4))) > 5 * _TINT


def _tint(colour: Floats) -> float:
    return float(np.abs(np.log(colour / colour.mean())).max())


def _scatter(linear: NDArray[np.float32], mask: NDArray[np.uint8]) -> float | None:
    """Relative scatter of block means about a plane: the largest of the channels."""
    size = (mask.shape[1] // _BLOCK, mask.shape[0] // _BLOCK)
    if min(size) < 2:
        return None
    rows, cols = size[1] * _BLOCK, size[0] * _BLOCK
    blocks = cv2.resize(linear[:rows, :cols], size, interpolation=cv2.INTER_AREA)
    whole = cv2.resize(mask[:rows, :cols].astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.999
    if whole.sum() < 6:
        return None
    row, col = np.nonzero(whole)
    basis = np.stack([np.ones(len(row)), row, col], axis=1)
    light = np.log(np.maximum(blocks[whole], 1e-4))
    rest = light - basis @ np.linalg.lstsq(basis, light, rcond=None)[0]
    return float(max(rest.std(axis=0).max(), 1e-4))


def _grain(linear: NDArray[np.float32], mask: NDArray[np.uint8]) -> float | None:
    """Relative deviation of 4-pixel means from their neighbours' mean."""
    size = (mask.shape[1] // 4, mask.shape[0] // 4)
    if min(size) < 5:
        return None
    level = cv2.resize(linear.mean(axis=2), size, interpolation=cv2.INTER_AREA)
    whole = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.999
    deep = cv2.erode(whole.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    if deep.sum() < 6:
        return None
    around = cv2.blur(level, (3, 3))
    return float(max((level - around)[deep].std() / max(float(level[deep].mean()), 1e-4), 1e-4))


# --- scales ----------------------------------------------------------------------------------------------------------


def find_scale(
    codes: Codes, tables: NDArray[np.float32], things: tuple[Thing, ...], lightness: tuple[float, ...]
) -> Scale | None:
    """
    Return the scale whose steps fit the given lightness values (light to dark) best, or None.

    Every four-sided thing may be the whole scale or some of its steps (the others vanish on a board of their own
    lightness), along either of its axes and either way round.
    """
    truth = np.asarray(lightness, float)
    found: list[Scale] = []
    for thing in (thing for thing in things if thing.elongation > _SCALE_LENGTH):
        quad = _four_sided(thing)
        if quad is not None:
            found += _scales_along(codes, tables, quad, truth)
            found += _scales_along(codes, tables, np.roll(quad, 1, axis=0), truth)
    return min(found, key=lambda scale: scale.misfit) if found else None


def _four_sided(thing: Thing) -> Floats | None:
    """The outline if it has four corners, else the rectangle round a thing that nearly fills it."""
    if len(thing.outline) == 4:
        return thing.outline
    if thing.area < _FILLED * thing.box_area:
        return None
    box = cv2.boxPoints(cv2.minAreaRect(thing.outline[:, ::-1].astype(np.float32)))
    return clockwise(box[:, ::-1].astype(float))


def _scales_along(
    codes: Codes, tables: NDArray[np.float32], quad: Floats, truth: Floats
) -> list[Scale]:
    """Scales that run along the first side of a quad of which the quad is 1 to all steps."""
    steps = len(truth)
    start, end = (quad[0] + quad[3]) / 2, (quad[1] + quad[2]) / 2
    half_width = (quad[3] - quad[0] + quad[2] - quad[1]) / 4
    length = float(np.hypot(*(end - start)))
    found = []
    for shown in range(max(steps // 2, 2), steps + 1):
        step = (end - start) / shown
        if not 0.35 < length / shown / max(2 * float(np.hypot(*half_width)), 1e-6) < 2.5:
            continue
        for before in range(steps - shown + 1):
            scale = _read_scale(codes, tables, start - before * step, step, half_width, truth)
            found += [scale] if scale else []
    return found


def _read_scale(
    codes: Codes, tables: NDArray[np.float32], start: Floats, step: Floats, half_width: Floats, truth: Floats,
    *, turned: bool = False,
) -> Scale | None:
    along = np.linspace(0.2, 0.8, 10)
    across = np.linspace(-0.55, 0.55, 9)
    number = np.arange(len(truth))[:, None, None]
    spots = (start + (number + along[None, :, None])[..., None] * step + across[None, None, :, None] * half_width)
    if (spots < 0).any() or (spots > np.array(codes.shape[:2]) - 1).any():
        return None
    row, col = spots.round().astype(int).transpose(3, 0, 1, 2)
    picked = codes[row, col].reshape(len(truth), -1, 3)
    linear = np.stack([tables[channel][picked[..., channel]] for channel in range(3)], axis=-1)
    means = linear.mean(axis=1)
    if not turned and luminance_to_lightness(means[0].mean()) < luminance_to_lightness(means[-1].mean()):
        # Once only: places are whole pixels, not the same ones from the other end, and two equal ends could go on so.
        return _read_scale(codes, tables, start + len(truth) * step, -step, half_width, truth, turned=True)
    misfit = _misfit(linear, means, truth)
    if misfit is None:
        return None
    clipped = (picked >= np.iinfo(codes.dtype).max * 254 / 255).any(axis=2).mean(axis=1) > 0.1
    whole = len(truth) * step
    outline = np.array([start - half_width, start + whole - half_width,
                        start + whole + half_width, start + half_width])
    places = start + (np.arange(len(truth)) + 0.5)[:, None] * step
    return Scale(outline, means.astype(float), places, clipped, misfit)


def _misfit(linear: NDArray[np.float32], means: NDArray[np.float32], truth: Floats) -> float | None:
    """How badly plateaus fit known greys: None where they are no plateaus, not neutral or out of order."""
    level = luminance_to_lightness(np.maximum(means.mean(axis=1), 0))
    each = luminance_to_lightness(np.maximum(linear.mean(axis=2), 0))
    uneven = float(np.median(each.std(axis=1)))
    balance = np.log(np.maximum(means, 1e-4) / np.maximum(means.mean(axis=1, keepdims=True), 1e-4))
    off_grey = float(np.median(np.abs(balance - np.median(balance, axis=0))))  # beyond a cast that all steps share
    falls = -np.diff(level)
    if uneven > 3 or off_grey > 0.12 or float(np.median(np.abs(balance))) > 0.6 or (falls < -1).any():
        return None
    expected = -np.diff(truth)
    contrast = falls.sum() / expected.sum()
    if not 0.5 < contrast < 1.9 or (falls < 0.25 * expected - 1.5).any() or (falls > 2.4 * expected + 2).any():
        return None  # no camera stretches or squeezes greys so much: these are other greys than was said
    agreement = float(np.corrcoef(level, truth)[0, 1])
    return None if agreement < 0.95 else (1 - agreement) * 100 + uneven + 20 * off_grey
