"""
Is this crop a piece that is known already? Lightness and colour first, then the pattern, whichever way it lies.

    1. Only pieces that are near in colour (CIEDE2000, lightness in it) are looked at further.
    2. Their small pictures are laid on the new one in 64 turns, shifted a little, and correlated: colours less their
       means, over what both cover. This finds how the two lie to each other.
    3. The few that come near are laid on it exactly, at twice the size, by small steps that turn, stretch and skew as a
       photograph from another side would, and correlated again. Only this number decides.

A print of the same plate on the same cloth comes near, too: what parts the two is how the paint was rubbed on. So the
same piece is offered, and a person decides.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import gaussian_filter

from contrastkit.keep.pictures import SMALL_SIDE, SMALL_UNIT, Look, Pixels, Sight, look_of, seen_at, sight_of
from contrastkit.light.contrast import ciede2000

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

# All of these were set on 16 rendered boards of 12 pieces, each photographed twice under different lights, cameras and
# references, and once more with other prints of the same plates in the same paints; see tests/test_alike.py.
FURTHEST_COLOUR = 10.0  # CIEDE2000 [design choice]: the same piece, measured badly, was at most 8.9 apart
SURE_PATTERN = 0.92  # correlation from which a piece is offered [design choice]
MOST_OFFERS = 3
_NEAR_PATTERN = 0.4  # correlation of small pictures from which two are laid on each other exactly [design choice]
_MOST_LAID = 8
_TURNS, _SHIFT = 64, 2  # turns of a small picture, and pixels it is shifted by at most, each way
_SHARED = 0.75  # of what either covers, at least, must be covered by both
_FINE_UNIT = 48  # pixels for the square root of the area when two are laid on each other exactly
_FINE_SIDE = 72
_STEPS = (4.0,) * 4 + (2.0,) * 4 + (1.0,) * 4 + (0.6,) * 3  # blur, pixels, of each step of laying them exactly
_EDGE = 2  # pixels along the cut edge that do not count: they are mixed with the board


@dataclass(frozen=True)
class Offer:
    """
    A known piece that a new one may be.

    Attributes
    ----------
    name : of the known piece
    lightness : L* of the new one less that of the known one
    colour : CIEDE2000 between the two
    pattern : correlation of the two patterns, at most 1
    """

    name: str
    lightness: float
    colour: float
    pattern: float


@dataclass(frozen=True, eq=False)
class Known:
    """A piece that is known: its name, its CIELAB colour, and its small picture."""

    name: str
    lab: tuple[float, float, float]
    look: Look


def near_in_colour(lab: ArrayLike, labs: ArrayLike) -> NDArray[np.int64]:
    """
    Return which of the colours, CIELAB of shape (n, 3), are near enough to be of the same piece, nearest first.

    >>> near_in_colour([50, 0, 0], [[70, 0, 0], [51, 0, 0], [50, 0, 0]]).tolist()
    [2, 1]
    """
    labs = np.asarray(labs, dtype=float).reshape(-1, 3)
    away = ciede2000(lab, labs) if len(labs) else np.zeros(0)
    order = np.argsort(away, kind="stable")
    return np.asarray(order[away[order] <= FURTHEST_COLOUR])


def alike(
    crop: Pixels, lab: tuple[float, float, float], known: Sequence[Known], picture: Callable[[str], Pixels]
) -> list[Offer]:
    """
    Return the known pieces that a new one may be, the likeliest first; none where its pattern cannot tell.

    Parameters
    ----------
    crop : the new piece, 8-bit sRGB of shape (rows, cols, 3), or (rows, cols, 4) with alpha 0 outside it
    lab : its CIELAB colour
    known : pieces near it in colour
    picture : gives the crop of a known piece by its name
    """
    if not known:
        return []
    sight = sight_of(crop, 1.5 * SMALL_UNIT)
    near, laid = _coarse(sight, look_of(crop), known)
    exact = sight_of(crop, 1.2 * _FINE_UNIT)
    offers = [
        _offer(known[place], lab, _exact(exact, sight_of(picture(known[place].name), 1.2 * _FINE_UNIT), at))
        for place, at in zip(near, laid, strict=True)
    ]
    likely = [offer for offer in offers if offer.pattern >= SURE_PATTERN]
    return sorted(likely, key=lambda offer: (-offer.pattern, offer.name))[:MOST_OFFERS]


def _offer(piece: Known, lab: tuple[float, float, float], pattern: float) -> Offer:
    return Offer(piece.name, lab[0] - piece.lab[0], float(ciede2000(lab, piece.lab)), pattern)


# --- small pictures, in every turn ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Lie:
    """How a new piece lies on a known one: places of it are `turn` @ place + `shift`, in sides from its middle."""

    turn: Floats
    shift: Floats


def _coarse(sight: Sight, upright: Look, known: Sequence[Known]) -> tuple[list[int], list[_Lie]]:
    """Which of the known come near, the nearest first, and how the new one lies on each."""
    turned = [_turned(sight, turn) for turn in range(_TURNS)]
    shifts = [(down, right) for down in range(-_SHIFT, _SHIFT + 1) for right in range(-_SHIFT, _SHIFT + 1)]
    flat = [(_rolled(centred, shift), _rolled(inside, shift)) for centred, inside in turned for shift in shifts]
    ours = np.stack([colours for colours, _ in flat]), np.stack([inside for _, inside in flat])
    pairs = [_flat(piece.look) for piece in known]
    theirs = np.stack([colours for colours, _ in pairs]), np.stack([inside for _, inside in pairs])
    likeness = _correlations(ours, theirs)
    best = likeness.argmax(axis=0)
    reached = likeness[best, np.arange(len(known))]
    order = [int(place) for place in np.argsort(-reached, kind="stable")[:_MOST_LAID] if reached[place] > _NEAR_PATTERN]
    return order, [_lie(*divmod(int(best[place]), len(shifts)), shifts) for place in order]


def _turned(sight: Sight, turn: int) -> tuple[Singles, Singles]:
    return _flat(_view(sight, _Lie(_rotation(turn), np.zeros(2)), SMALL_UNIT, SMALL_SIDE))


def _rotation(turn: int) -> Floats:
    angle = 2 * np.pi * turn / _TURNS
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def _lie(turn: int, shift: int, shifts: Sequence[tuple[int, int]]) -> _Lie:
    rotation = _rotation(turn)
    return _Lie(rotation, -rotation @ np.array(shifts[shift], dtype=float) / SMALL_UNIT)


def _view(sight: Sight, lie: _Lie, unit: int, side: int) -> Look:
    """A piece as it looks from above when it lies so: a square picture of `side` pixels, `unit` of them to its side."""
    steps = (np.arange(side) - (side - 1) / 2) / unit
    places = np.stack(np.meshgrid(steps, steps, indexing="ij"))
    rows, cols = np.tensordot(lie.turn, places, 1) + lie.shift[:, None, None]
    return seen_at(sight, sight.middle[0] + rows * sight.side, sight.middle[1] + cols * sight.side)


def _flat(look: Look) -> tuple[Singles, Singles]:
    """The colours less their mean, shape (3, side, side), and where they count, shape (side, side)."""
    inside = look.inside.astype(np.float32)
    mean = look.lab[look.inside].mean(axis=0) if look.inside.any() else np.zeros(3)
    return np.moveaxis((look.lab - mean) * inside[..., None], 2, 0).astype(np.float32), inside


def _rolled(picture: Singles, shift: tuple[int, int]) -> Singles:
    return np.roll(picture, shift, axis=(-2, -1))


def _correlations(ours: tuple[Singles, Singles], theirs: tuple[Singles, Singles]) -> Singles:
    """Of each of ours with each of theirs, over what both cover; -1 where they cover too little in common."""
    colours, inside = (part.reshape(len(part), -1) for part in ours)
    their_colours, their_inside = (part.reshape(len(part), -1) for part in theirs)
    shared = inside @ their_inside.T
    either = inside.sum(axis=1)[:, None] + their_inside.sum(axis=1)[None] - shared
    own = _energy(ours[0]) @ their_inside.T
    other = inside @ _energy(theirs[0]).T
    likeness = (colours @ their_colours.T) / np.sqrt(np.maximum(own * other, np.float32(1e-6)))
    return np.where(shared >= _SHARED * either, likeness, np.float32(-1))


def _energy(colours: Singles) -> Singles:
    squares: Singles = np.square(colours).sum(axis=1)
    return squares.reshape(len(colours), -1)


# --- laid on each other exactly ---------------------------------------------------------------------------------------


def _exact(new: Sight, known: Sight, lie: _Lie) -> float:
    """
    The correlation of two pieces once one lies on the other as well as it can.

    B. D. Lucas and T. Kanade, An iterative image registration technique with an application to stereo vision, 7th
    International Joint Conference on Artificial Intelligence, 674-679, 1981; with an affine motion.
    """
    upright = _Lie(np.eye(2), np.zeros(2))
    target = _view(known, upright, _FINE_UNIT, _FINE_SIDE)
    for blur in _STEPS:
        soft_new, soft_known = _blurred(new, blur), _view(_blurred(known, blur), upright, _FINE_UNIT, _FINE_SIDE)
        better = _step(soft_new, soft_known, target.inside, lie)
        if better is None:
            return -1.0
        lie = better
    return _likeness(_view(new, lie, _FINE_UNIT, _FINE_SIDE), target)


def _blurred(sight: Sight, pixels: float) -> Sight:
    sigma = pixels * sight.side / _FINE_UNIT
    return replace(sight, layers=gaussian_filter(sight.layers, (sigma, sigma, 0), mode="constant"))


def _step(new: Sight, known: Look, covered: NDArray[np.bool_], lie: _Lie) -> _Lie | None:
    """The new piece moved a little so that it lies better; None where too little of it lies on the other."""
    seen = _view(new, lie, _FINE_UNIT, _FINE_SIDE)
    both = seen.inside & known.inside & covered
    if both.sum() < _SHARED**2 * covered.sum():
        return None
    ours, theirs = _less_mean(seen.lab, both), _less_mean(known.lab, both)
    power = float((ours[both] ** 2).sum())
    gain = float((ours[both] * theirs[both]).sum()) / power if power > 0 else 0.0
    down, right = (np.gradient(seen.lab, axis=axis)[both] * gain * _FINE_UNIT for axis in (0, 1))
    steps = (np.arange(_FINE_SIDE) - (_FINE_SIDE - 1) / 2) / _FINE_UNIT
    row, col = (place[both][:, None] for place in np.meshgrid(steps, steps, indexing="ij"))
    slopes = np.stack([down * row, down * col, down, right * row, right * col, right], axis=-1).reshape(-1, 6)
    missing = (theirs - gain * ours)[both].ravel()
    square = slopes.T @ slopes
    damped = square + np.eye(6) * (1e-3 * np.trace(square) / 6 + 1e-9)
    change = np.clip(np.linalg.solve(damped, slopes.T @ missing), -0.05, 0.05)  # a twentieth of the piece at most
    return _Lie(lie.turn @ (np.eye(2) + change[[[0, 1], [3, 4]]]), lie.shift + lie.turn @ change[[2, 5]])


def _likeness(seen: Look, target: Look) -> float:
    both = seen.inside & target.inside
    if both.sum() < _SHARED * (seen.inside | target.inside).sum():
        return -1.0
    within = _worn(both)
    if not within.any():
        return -1.0
    ours, theirs = _less_mean(seen.lab, within)[within], _less_mean(target.lab, within)[within]
    power = float((ours**2).sum() * (theirs**2).sum())
    return float((ours * theirs).sum()) / float(np.sqrt(power)) if power > 0 else -1.0


def _less_mean(lab: Floats, where: NDArray[np.bool_]) -> Floats:
    return np.asarray(lab - lab[where].mean(axis=0))


def _worn(inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """What is left of an area without the pixels along its edge."""
    left = np.pad(inside, _EDGE)
    for _ in range(_EDGE):
        left = left & np.roll(left, 1, 0) & np.roll(left, -1, 0) & np.roll(left, 1, 1) & np.roll(left, -1, 1)
    return left[_EDGE:-_EDGE, _EDGE:-_EDGE]
