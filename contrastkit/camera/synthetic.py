"""
Photographs of painted swatches rendered from spectra, with their whole truth: for the demo, the docs and the tests.

Reflectances meet a light and a camera's sensitivities (Physics below); the results are laid out as cut cotton pieces
on a board, lit unevenly, blurred, exposed, and written as the 8-bit picture a camera would save.

Physics: raw_c = sum R E q_c / sum E q_c, a 3 x 3 matrix to linear sRGB (rows sum to 1, so greys stay grey),
white-balance error, light field, noise, tone curve. Truth: luminance under the same light with the CIE 1931 2 degree
observer, relative to the perfect diffuser; lightness of the linear-light mean over all that shows, rim included.
Light, shadow and lens are no part of the truth.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

import cv2
import numpy as np
from numpy.typing import NDArray

from contrastkit.errors import InvalidInputError

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float32]
Doubles = NDArray[np.float64]
Outline = tuple[tuple[float, float], ...]

ILLUMINANTS = ("A", "D50", "D65", "LED-B3", "FL7")
CAMERAS = ("Nikon 5100 (NPL)", "Sigma SDMerill (NPL)")
BACKINGS = ("white", "grey", "black")
REFERENCES = ("card", "scale", "chart", "none", "two cards")
SHAPES = ("square", "triangle", "rectangle", "quadrilateral", "hexagon", "circle", "diamond", "strip")
TONES = ("srgb", "phone")
CLUTTER = ("ruler", "hand", "label", "thread")
MOTIFS = ("rings", "leaf", "waves", "lattice", "dots", "spiral", "chevrons", "petals")

CARD_REFLECTANCE = 0.18
SCALE_LIGHTNESS = (95.5, 81.0, 66.0, 50.5, 35.5, 20.5)
GROUP_EDGES = (40.0, 70.0)
TRUTH_COLUMNS = [
    "swatch_id", "outline", "lightness", "lightness_paint", "lightness_ground", "coverage", "lightness_rim", "group",
    "shape", "motif", "ground", "paints",
]  # fmt: skip
FULL_SIDE = 4000  # textures and shadows are drawn for a frame of this many columns and shrink with smaller ones
_BAND = 256  # rows exposed at a time: small enough to stay in the cache


@dataclass(frozen=True, kw_only=True)
class SceneSpec:
    """
    One photograph to render. Two specs that are equal give the same picture, bit for bit.

    Attributes
    ----------
    seed
        Of all that is random: layout, materials, motifs, noise.
    size
        Rows and columns of the picture, pixels.
    illuminant, camera
        Names in colour-science: CIE illuminants, NPL camera sensitivities.
    backing, reference, shapes, tone, clutter
        Words from BACKINGS, REFERENCES, SHAPES, TONES, CLUTTER. Tone "phone" is half a smoothstep on the encoded
        values, then encoded saturation x 1.15.
    pieces, side
        How many, and their smallest and largest side, fractions of the long side. A crowded frame makes them smaller.
    gradient, vignetting
        Light lost across the frame, peak to peak, and in its corners, fractions.
    perspective
        How far the corners of the frame may be displaced, fraction of the frame.
    exposure
        Linear value of a perfect diffuser in the middle of the frame, before the tone curve.
    white_balance
        Largest error of the red and of the blue gain, fraction.
    noise, blur
        Standard deviation at linear 1; sigma of the lens, pixels.
    shadows
        Share of the light that the cast shadows take from the board, at most.
    rim
        Bare ground round each piece, fraction of its side.
    quality
        Of the JPEG.
    low_contrast, pearly, undyed
        Share of pieces on cotton nearly as light as the board, with sheen, on undyed cotton.
    undulation
        How much the light changes over a piece because cloth does not lie flat; its mean over the piece is kept.
    paints, grounds
        Rows of paint_reflectances() to choose from; empty for all.
    loads
        How much paint, from -1 (nearly none) to 1 (nearly all over), to choose from.
    """

    seed: int = 0
    size: tuple[int, int] = (3000, 4000)
    illuminant: str = "D65"
    camera: str = "Nikon 5100 (NPL)"
    backing: str = "white"
    reference: str = "card"
    pieces: int = 16
    shapes: tuple[str, ...] = ("square", "triangle")
    gradient: float = 0.15
    vignetting: float = 0.2
    perspective: float = 0.02
    exposure: float = 0.8
    white_balance: float = 0.0
    tone: str = "srgb"
    noise: float = 0.004
    blur: float = 0.7
    shadows: float = 0.3
    rim: float = 0.03
    quality: int = 92
    clutter: tuple[str, ...] = ()
    low_contrast: float = 0.15
    pearly: float = 0.35
    side: tuple[float, float] = (0.06, 0.16)
    undulation: float = 0.01
    paints: tuple[int, ...] = ()
    grounds: tuple[int, ...] = ()
    undyed: float = 0.3
    loads: tuple[float, ...] = (-1.0, -0.35, -0.1, -0.1, 0.1, 0.1, 0.35, 0.35, 1.2)


@dataclass(frozen=True)
class Scene:
    """
    A rendered photograph and all that is true of it.

    codes: uint8 sRGB, shape (rows, cols, 3). truth: one row a piece. reference_outline: [row, col] corners, clockwise;
    empty without a reference. reference_patches: one outline a patch (card 1, scale 6, chart 24), reading order;
    reference_lightness: their true L*. decoy_outline: the second, differing grey of "two cards".
    clutter_outlines: rulers, labels and the hull of a hand.
    """

    codes: NDArray[np.uint8]
    truth: pd.DataFrame
    reference_outline: Outline
    spec: SceneSpec
    reference_patches: tuple[Outline, ...] = ()
    reference_lightness: tuple[float, ...] = ()
    decoy_outline: Outline = ()
    clutter_outlines: tuple[Outline, ...] = ()


# --------------------------------------------------------------------------------------------- spectra


@lru_cache(maxsize=1)
def _wavelengths() -> Doubles:
    # 5 nm, not 10: the mercury lines of the FL lamps stand on the odd fives of the CIE tables.
    return np.arange(400.0, 700.1, 5.0)


def _sampled(distribution: Any) -> Doubles:
    """Return a colour-science distribution on our wavelengths, nought beyond what was measured."""
    values = np.asarray(distribution.values, dtype=float)
    columns = values.reshape(len(values), -1).T
    sampled = np.array([np.interp(_wavelengths(), distribution.wavelengths, c, left=0, right=0) for c in columns])
    return sampled[0] if values.ndim == 1 else sampled.T


def _quiet_colour() -> Any:
    """Return the colour module; its one warning is about plotting extras we do not use."""
    import warnings

    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message=".*related API features are not available.*")
        import colour
    return colour


@lru_cache(maxsize=1)
def chart_reflectances() -> Doubles:
    """
    Return the reflectances of the 24-patch chart, shape (24, 61), 400-700 nm in 5 nm, reading order.

    >>> chart_reflectances().shape
    (24, 61)
    """
    chart = _quiet_colour().SDS_COLOURCHECKERS["BabelColor Average"]
    return np.array([_sampled(patch) for patch in chart.values()])


@lru_cache(maxsize=1)
def paint_reflectances() -> Doubles:
    """
    Return 187 measured reflectances that do not exceed 1, shape (187, 61), 400-700 nm in 5 nm.

    They are colour-science's 190 camera training reflectances without the three that exceed 1.

    >>> paint_reflectances().shape
    (187, 61)
    """
    _quiet_colour()
    from colour.characterisation import read_training_data_rawtoaces_v1

    table = np.clip(_sampled(read_training_data_rawtoaces_v1()).T, 0.0, None)
    return cast(Doubles, table[table.max(axis=1) <= 1.0])


@lru_cache(maxsize=32)
def _projector(illuminant: str, camera: str) -> Doubles:
    """Return the matrix from reflectance to (linear red, green, blue, luminance), shape (wavelengths, 4)."""
    colour = _quiet_colour()
    light = _sampled(colour.SDS_ILLUMINANTS[illuminant])
    eye = light[:, None] * _sampled(colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"])
    eye = eye / eye.sum(axis=0)  # each of X, Y, Z is 1 for the perfect diffuser
    raw = light[:, None] * _sampled(colour.MSDS_CAMERA_SENSITIVITIES[camera])
    raw = raw / raw.sum(axis=0)
    xyz_to_linear = np.asarray(colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB)
    white = np.linalg.solve(xyz_to_linear, np.ones(3))
    wanted = chart_reflectances() @ eye * white @ xyz_to_linear.T
    matrix = _white_keeping_fit(chart_reflectances() @ raw, wanted)
    return np.column_stack([raw @ matrix, eye[:, 1]])


def _white_keeping_fit(raw: Doubles, wanted: Doubles) -> Doubles:
    """Return the least-squares matrix whose columns sum to 1, so that raw (1, 1, 1) stays white."""
    free = np.linalg.lstsq(raw[:, :2] - raw[:, 2:], wanted - raw[:, 2:], rcond=None)[0]
    return np.vstack([free, 1 - free.sum(axis=0)])


def _lightness(luminance: float | Doubles) -> Any:
    """L* of a luminance factor (CIE 15:2004); one line of its own, so that truth owes nothing to what it tests."""
    y = np.asarray(luminance, dtype=float)
    return np.where(y > (6 / 29) ** 3, 116 * np.cbrt(y) - 16, y * 24389 / 27)


def _luminance(lightness: float) -> float:
    return ((lightness + 16) / 116) ** 3 if lightness > 8 else lightness * 27 / 24389


def _flat(level: float, tint: float = 0.0) -> Doubles:
    """Return a neutral reflectance, tilted by tint from blue to red."""
    return np.asarray(level * (1 + tint * (_wavelengths() - 550) / 150))


# --------------------------------------------------------------------------------------------- noise and shapes


def _noise(rng: np.random.Generator, shape: tuple[int, int], cell: float) -> Floats:
    """Return smooth noise of standard deviation near 1 whose blobs are about `cell` pixels."""
    coarse = (max(2, round(shape[0] / cell) + 2), max(2, round(shape[1] / cell) + 2))
    noise = rng.standard_normal(coarse, dtype=np.float32)
    return cast(Floats, cv2.resize(noise, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC))


def _smoothstep(low: float, high: float, values: Floats) -> Floats:
    t = np.clip((values - np.float32(low)) * np.float32(1 / (high - low)), 0, 1)
    return cast(Floats, t * t * (3 - 2 * t))


def _ring(corners: int, start: float) -> Doubles:
    angles = start + np.arange(corners) * 2 * np.pi / corners
    return np.column_stack([np.sin(angles), np.cos(angles)])


def _box(height: float, width: float) -> Doubles:
    return np.array([[-height, -width], [-height, width], [height, width], [height, -width]]) / 2


def _unit_shape(name: str, rng: np.random.Generator) -> Doubles:
    """Return the corners (row, col) of a shape of side 1 about its centre, clockwise as seen."""
    if name == "square":
        return _box(1, 1)
    if name == "rectangle":
        return _box(rng.uniform(0.55, 0.75), 1.1)
    if name == "strip":
        return _box(rng.uniform(0.32, 0.45), rng.uniform(1.3, 1.6))
    if name == "triangle":
        half_square = np.array([[-0.45, -0.45], [0.65, 0.65], [0.65, -0.45]])
        return half_square if rng.random() < 0.6 else _ring(3, -np.pi / 2) * 0.64
    if name == "quadrilateral":
        return _box(1, 1) + rng.uniform(-0.14, 0.14, (4, 2))
    if name == "hexagon":
        return _ring(6, 0.0) * 0.55
    if name == "circle":
        return _ring(24, 0.0) * 0.53
    return np.array([[-0.42, 0.0], [0.0, 0.68], [0.42, 0.0], [0.0, -0.68]])  # diamond


def _turned(polygon: Doubles, angle: float) -> Doubles:
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(polygon @ np.array([[c, s], [-s, c]]))


def _edge_distance(polygon: Doubles, shape: tuple[int, int]) -> Floats:
    """Return, for every pixel, the distance inside the convex polygon's nearest edge (negative outside)."""
    rows = np.arange(shape[0], dtype=np.float32)[:, None]
    cols = np.arange(shape[1], dtype=np.float32)[None, :]
    nearest = np.full(shape, np.inf, dtype=np.float32)
    for (r0, c0), (r1, c1) in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        length = np.hypot(r1 - r0, c1 - c0)
        down, right = np.float32((c1 - c0) / length), np.float32((r1 - r0) / length)
        np.minimum(nearest, (rows - np.float32(r0)) * down - (cols - np.float32(c0)) * right, out=nearest)
    return nearest


def _mapped(points: Doubles, homography: Doubles) -> Doubles:
    """Return (row, col) points through a homography written for (col, row, 1)."""
    lifted = np.column_stack([points[:, 1], points[:, 0], np.ones(len(points))]) @ homography.T
    return np.column_stack([lifted[:, 1] / lifted[:, 2], lifted[:, 0] / lifted[:, 2]])


def _window(points: Doubles, margin: float, size: tuple[int, int]) -> tuple[slice, slice]:
    """Return the slices of the frame that hold the points and a margin."""
    low = np.clip(np.floor(points.min(axis=0) - margin), 0, size).astype(int)
    high = np.clip(np.ceil(points.max(axis=0) + margin) + 1, 0, size).astype(int)
    return slice(int(low[0]), int(high[0])), slice(int(low[1]), int(high[1]))


def _mask(polygons: list[Doubles], window: tuple[slice, slice], oversample: int = 4) -> Floats:
    """Return the share of each pixel of the window that lies in any of the polygons, 0-1."""
    shape = (window[0].stop - window[0].start, window[1].stop - window[1].start)
    fine = np.zeros((shape[0] * oversample, shape[1] * oversample), dtype=np.uint8)
    for polygon in polygons:
        local = (polygon - [window[0].start, window[1].start] + 0.5) * oversample - 0.5
        cv2.fillPoly(fine, [np.round(local[:, ::-1] * 16).astype(np.int32)], 255, cv2.LINE_8, 4)
    return cast(Floats, cv2.resize(fine, shape[::-1], interpolation=cv2.INTER_AREA).astype(np.float32) / 255)


def _as_outline(points: Doubles) -> Outline:
    return tuple((round(float(row), 2), round(float(col), 2)) for row, col in points)


# --------------------------------------------------------------------------------------------- paint on cotton


def _relief(motif: str, rng: np.random.Generator, shape: tuple[int, int], side: float) -> Floats:
    """Return the height 0-1 of a relief plate under a piece of this side, pixels."""
    angle = rng.uniform(0, 2 * np.pi)
    c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    down, right = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    down, right = (down - shape[0] / 2) * np.float32(2 / side), (right - shape[1] / 2) * np.float32(2 / side)
    u, v = right * c - down * s, right * s + down * c
    wobble = _noise(rng, shape, side / 3) * np.float32(0.12)
    waves = _MOTIFS[motif](u, v, rng) + wobble
    return _smoothstep(-0.35, 0.35, np.sin(waves * np.float32(2 * np.pi)) + wobble)


def _motif_rings(u: Floats, v: Floats, rng: np.random.Generator) -> Floats:
    r0, c0 = rng.uniform(-0.5, 0.5, 2).astype(np.float32)
    return np.asarray(np.hypot(u - c0, v - r0) * np.float32(rng.uniform(2.0, 4.0)))


def _motif_leaf(u: Floats, v: Floats, rng: np.random.Generator) -> Floats:
    ribs = v * np.float32(rng.uniform(2.5, 4.0)) + np.abs(u) * np.float32(rng.uniform(1.5, 3.0)) + u * u
    return np.asarray(np.where(np.abs(u) < np.float32(0.05), np.float32(0.75), ribs))  # the midrib stands proud


def _motif_waves(u: Floats, v: Floats, rng: np.random.Generator) -> Floats:
    swell = np.float32(0.3) * np.sin(u * np.float32(rng.uniform(3, 7)))
    return np.asarray(v * np.float32(rng.uniform(2.0, 4.0)) + swell)


def _motif_lattice(u: Floats, v: Floats, rng: np.random.Generator) -> Floats:
    pitch = np.float32(rng.uniform(6.0, 12.0))
    return np.asarray(np.maximum(np.sin(u * pitch), np.sin(v * pitch)) * np.float32(0.25))


def _motif_dots(u: Floats, v: Floats, rng: np.random.Generator) -> Floats:
    pitch = np.float32(rng.uniform(6.0, 11.0))
    return np.asarray(np.sin(u * pitch) * np.sin(v * pitch) * np.float32(0.25))


def _motif_spiral(u: Floats, v: Floats, rng: np.random.Generator) -> Floats:
    arms = np.float32(rng.integers(1, 4) / (2 * np.pi))
    return np.asarray(np.hypot(u, v) * np.float32(rng.uniform(2.0, 3.5)) + np.arctan2(v, u) * arms)


def _motif_chevrons(u: Floats, v: Floats, rng: np.random.Generator) -> Floats:
    width = np.float32(rng.uniform(0.35, 0.7))
    zigzag = np.abs((u / width) % 2 - 1) * width
    return np.asarray((v + zigzag) * np.float32(rng.uniform(2.0, 4.0)))


def _motif_petals(u: Floats, v: Floats, rng: np.random.Generator) -> Floats:
    petals = np.float32(rng.integers(5, 10))
    bloom = np.hypot(u, v) * (1 + np.float32(0.3) * np.cos(petals * np.arctan2(v, u)))
    return np.asarray(bloom * np.float32(rng.uniform(1.5, 2.5)))


_MOTIFS: dict[str, Callable[[Floats, Floats, np.random.Generator], Floats]] = {
    "rings": _motif_rings,
    "leaf": _motif_leaf,
    "waves": _motif_waves,
    "lattice": _motif_lattice,
    "dots": _motif_dots,
    "spiral": _motif_spiral,
    "chevrons": _motif_chevrons,
    "petals": _motif_petals,
}


def _rubbing(rng: np.random.Generator, shape: tuple[int, int], scale: float) -> tuple[Floats, Floats]:
    """
    Return the pressure of short one-way strokes, and the fine streaks along them, both about 0.

    Each stroke lies in a lane of its own, is heaviest where it begins and fades to where the hand lifts.
    """
    angle, width, length = rng.uniform(0, 2 * np.pi), 34 * scale, rng.uniform(130, 260) * scale
    c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    v, u = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    along = u * c + v * s + _noise(rng, shape, 60 * scale) * np.float32(width / 2)
    across = v * c - u * s + _noise(rng, shape, 260 * scale) * np.float32(width / 2)
    lane = np.floor(across / np.float32(width)).astype(np.int32) % 1024
    starts, weights = rng.random(1024, dtype=np.float32), rng.normal(0, 0.25, 1024).astype(np.float32)
    phase = (along / np.float32(length) + starts[lane]) % 1
    pressure = (np.float32(0.5) - phase) * np.float32(0.8) + weights[lane]
    grain = rng.standard_normal((256, 256), dtype=np.float32)
    wide, fine = np.float32(1 / (45 * scale)), np.float32(1 / max(1.2, 2.2 * scale))
    streaks = cv2.remap(grain, along * wide % 255, across * fine % 255, cv2.INTER_LINEAR)
    return cast(Floats, cv2.GaussianBlur(pressure, (0, 0), max(0.5, 3 * scale))), cast(Floats, streaks)


def _weave(rng: np.random.Generator, shape: tuple[int, int], scale: float) -> Floats:
    """Return the height of plain-woven cotton, mean near 0, standard deviation near 1."""
    pitch = max(2.4, 3.4 * scale)
    rows = np.arange(shape[0], dtype=np.float32)[:, None] / np.float32(pitch)
    cols = np.arange(shape[1], dtype=np.float32)[None, :] / np.float32(pitch)
    slub = np.float32(0.4)
    threads = slub * _noise(rng, (shape[0], 1), pitch)[:, :1] + slub * _noise(rng, (1, shape[1]), pitch)[:1]
    over = np.sin(np.float32(np.pi) * rows) * np.sin(np.float32(np.pi) * cols)
    return cast(Floats, over + threads + np.float32(0.35) * _noise(rng, shape, 1.6))


@dataclass(frozen=True)
class _Piece:
    """What is decided of a piece before it is drawn: where, of what, how painted."""

    shape: str
    polygon: Doubles  # corners (row, col) on the flat board, pixels
    turn: float
    side: float
    ground: Doubles  # red, green, blue, luminance; paints likewise
    paints: Doubles
    ground_row: int  # of paint_reflectances(); -1 for undyed cotton
    paint_rows: tuple[int, ...]
    motif: str
    load: float  # how much paint: -1 leaves nearly none, 1 covers nearly all
    opacity: float
    sheen: float
    rim: float  # pixels


@dataclass(frozen=True)
class _Flat:
    """A flat thing ready to lie on the board."""

    polygon: Doubles
    look: Floats  # its upright picture: red, green, blue, luminance
    move: Doubles  # homography from that picture to the board


def _paint_amount(
    piece: _Piece, rng: np.random.Generator, inside: Floats, rubbed: Floats, scale: float
) -> Floats:
    """Return how thickly the paint lies, 0-1, for every pixel of the piece's own canvas."""
    shape = (inside.shape[0], inside.shape[1])
    relief = _relief(piece.motif, rng, shape, piece.side)
    ridges = relief * (1 - relief)  # the stick bites where the plate has an edge
    patchy = _noise(rng, shape, piece.side / 4)
    field = (relief - 0.5) * 0.9 + ridges * 0.8 - 0.08 + rubbed + patchy * 0.08 + np.float32(piece.load)
    amount = _smoothstep(-0.22, 0.26, field.astype(np.float32))
    ragged = inside + _noise(rng, shape, max(2.0, 28 * scale)) * np.float32(3 * scale)
    ragged = ragged + (_noise(rng, shape, max(2.0, 5 * scale)) + 2 * rubbed) * np.float32(1.2 * scale)
    return cast(Floats, amount * _smoothstep(-1.5 * scale, 1.5 * scale + 0.5, ragged))


def _draw_piece(
    piece: _Piece, rng: np.random.Generator, scale: float, undulation: float
) -> tuple[_Flat, Floats]:
    """Return the piece as it looks, and its (paint amount, rim) on the same upright canvas."""
    upright = _turned(piece.polygon - piece.polygon.mean(axis=0), -piece.turn)
    corner = np.floor(upright.min(axis=0)) - 3
    rows, cols = (np.ceil(upright.max(axis=0)) + 4 - corner).astype(int)
    inside = _edge_distance(upright - corner, (rows, cols)) - np.float32(piece.rim)
    weave = _weave(rng, (rows, cols), scale)
    pressure, streaks = _rubbing(rng, (rows, cols), scale)
    rubbed = pressure * np.float32(0.5) + streaks * np.float32(0.13) + weave * np.float32(0.15)
    amount = _paint_amount(piece, rng, inside, rubbed, scale)
    look = _mix(piece, rng, amount, weave, streaks, rubbed)
    look[..., :3] *= _undulating(rng, look[..., 3] * (inside > -piece.rim), piece.side, undulation)[..., None]
    flat = _Flat(piece.polygon, look, _canvas_to_board(corner, piece.turn, piece.polygon.mean(axis=0)))
    return flat, np.dstack([amount, (inside <= 0).astype(np.float32)])


def _undulating(rng: np.random.Generator, shown: Floats, side: float, depth: float) -> Floats:
    """Return the light over cloth that does not lie quite flat; the light it sends back in all stays the same."""
    light = 1 + np.float32(depth) * _noise(rng, (shown.shape[0], shown.shape[1]), side / 2.5)
    return np.asarray(light / (_mean(light, shown) or 1.0))


def _canvas_to_board(corner: Doubles, turn: float, middle: Doubles) -> Doubles:
    """Return the homography (col, row, 1) that turns an upright canvas about its middle and lays it on the board."""
    c, s = np.cos(turn), np.sin(turn)
    move = np.eye(3)
    move[:2, :2] = [[c, s], [-s, c]]  # for (col, row), the same turn as _turned for (row, col)
    move[:2, 2] = middle[::-1] + move[:2, :2] @ corner[::-1]
    return move


def _mix(
    piece: _Piece, rng: np.random.Generator, amount: Floats, weave: Floats, streaks: Floats, rubbed: Floats
) -> Floats:
    """Return what is reflected: cotton where bare, paint where rubbed, sheen and glints on the paint."""
    shape = (amount.shape[0], amount.shape[1])
    paint = np.broadcast_to(piece.paints[0].astype(np.float32), (*shape, 4))
    if len(piece.paints) > 1:
        share = _smoothstep(-0.15, 0.15, _noise(rng, shape, piece.side / 2.2) + 1.2 * rubbed)[..., None]
        paint = paint * (1 - share) + piece.paints[1].astype(np.float32) * share
    slope = np.linspace(-0.5, 0.5, shape[1], dtype=np.float32)[None, :] * np.float32(piece.sheen)
    cloth = piece.ground.astype(np.float32) * (1 + np.float32(0.045) * weave)[..., None]
    lit = paint * (1 + slope + np.float32(0.03) * weave + np.float32(0.035) * streaks)[..., None]
    glints = np.clip(_noise(rng, shape, 1.5) - np.float32(1.6), 0, 1) * np.float32(piece.sheen * 0.6)
    hides = np.clip(np.float32(piece.opacity) + np.float32(0.05) * streaks, 0, 1) * amount
    return cast(Floats, cloth + (lit + glints[..., None] - cloth) * hides[..., None])


# --------------------------------------------------------------------------------------------- layout


class _Board:
    """A coarse map of how far everything is from what already lies on the board, so that nothing touches."""

    def __init__(self, size: tuple[int, int], margin: float) -> None:
        self.cell = max(size) / 400  # pixels of the picture to a cell of the map
        self.margin = margin  # pixels kept free along the frame's edges
        self.taken = np.zeros((round(size[0] / self.cell), round(size[1] / self.cell)), dtype=np.uint8)
        self.room = np.full(self.taken.shape, np.inf, dtype=np.float32)

    def room_round(self, polygon: Doubles) -> float:
        """Return the pixels between the polygon and the nearest thing; less than nought where it leaves the frame."""
        limits = np.array(self.taken.shape) * self.cell - self.margin
        if polygon.min() < self.margin or (polygon.max(axis=0) > limits).any():
            return -1.0
        return float((self.room[self._print(polygon).astype(bool)].min() - 1) * self.cell)

    def open_spots(self, side: float) -> Doubles:
        """Return all places, shape (n, 2), that lie about half a side from everything and from the frame's edges."""
        rows, cols = np.indices(self.taken.shape)
        edge = np.minimum(np.minimum(rows, cols), np.minimum(rows[::-1], cols[:, ::-1])) - self.margin / self.cell
        places = np.argwhere(np.minimum(self.room, edge) * self.cell > 0.5 * side)
        return np.asarray(places * self.cell, dtype=float)

    def take(self, polygon: Doubles) -> None:
        self.taken |= self._print(polygon)
        self.room = cast(Floats, cv2.distanceTransform(1 - self.taken, cv2.DIST_L2, 5))

    def _print(self, polygon: Doubles) -> NDArray[np.uint8]:
        print_ = np.zeros_like(self.taken)
        cv2.fillPoly(print_, [np.round(polygon[:, ::-1] / self.cell).astype(np.int32)], 1)
        return print_


@dataclass(frozen=True)
class _Placed:
    polygon: Doubles
    turn: float
    side: float


def _place(
    board: _Board,
    shape: Doubles,
    spots: Doubles,
    rng: np.random.Generator,
    *,
    side: float,
    gap: float,
    turn: float | None = None,
    jitter: float = 0.25,
    tuck: bool = False,
) -> _Placed:
    """
    Return a shape laid on a free spot, smaller where it must be.

    turn: radians, None for any. jitter: how far off a spot, in sides. tuck: take the tightest of the free spots tried.
    """
    while side > 0.02 * max(board.taken.shape) * board.cell:
        found: list[tuple[float, _Placed]] = []
        for spot in spots[rng.permutation(len(spots))[:40]]:
            angle = float(rng.uniform(0, 2 * np.pi)) if turn is None else turn
            polygon = _turned(shape * side, angle) + spot + rng.uniform(-jitter, jitter, 2) * side
            room = board.room_round(polygon)
            if room > gap:
                found.append((room, _Placed(polygon, angle, side)))
                if not tuck:
                    break
        if found:
            best = min(found, key=lambda entry: entry[0])[1]
            board.take(best.polygon)
            return best
        side *= 0.95
        spots, jitter = board.open_spots(side), 0.1
    raise InvalidInputError(
        "The frame must have room for everything on it; it ran out. Ask for fewer pieces or less clutter."
    )


def _spots(size: tuple[int, int], count: int) -> Doubles:
    """Return the centres of a grid of at least `count` cells over the frame."""
    cols = int(np.ceil(np.sqrt(count * size[1] / size[0])))
    rows = int(np.ceil(count / cols))
    grid = [((r + 0.5) * size[0] / rows, (c + 0.5) * size[1] / cols) for r in range(rows) for c in range(cols)]
    return np.array(grid)


def _border_spots(size: tuple[int, int]) -> Doubles:
    """Return places for a reference: corners and middles of the sides."""
    near, far = 0.14, 0.86
    places = [(a, b) for a in (near, 0.5, far) for b in (near, 0.5, far) if (a, b) != (0.5, 0.5)]
    return np.array(places) * size


# --------------------------------------------------------------------------------------------- the scene


def render_scene(spec: SceneSpec) -> Scene:
    """
    Return the photograph the spec describes, with its truth.

    Parameters
    ----------
    spec
        What to render.

    Returns
    -------
    Scene
        uint8 picture, truth table (lightness in L* 0-100, nan where a piece has no such part), reference and clutter.

    Raises
    ------
    InvalidInputError
        A word, light or camera is unknown, or the frame has no room for all that was asked for.

    References
    ----------
    CIE 15:2004, Colorimetry, 3rd edition: illuminants, 1931 observer, L*.
    IEC 61966-2-1:1999: the sRGB transfer curve.
    Darrodi et al., Reference data set for camera spectral sensitivity estimation, JOSA A 32(3):381-391, 2015.

    Examples
    --------
    >>> scene = render_scene(SceneSpec(size=(300, 400), pieces=4, seed=1))
    >>> scene.codes.shape, len(scene.truth)
    ((300, 400, 3), 4)
    """
    import pandas as pd

    _check_spec(spec)
    scale = max(spec.size) / FULL_SIDE
    projector = _projector(spec.illuminant, spec.camera)
    view = _perspective(spec, _stream(spec, "perspective"))
    level = _board_level(spec.backing, _stream(spec, "board"))

    board = _Board(spec.size, (0.012 + spec.perspective) * max(spec.size))
    hand = _lay_hand(spec, board, _stream(spec, "hand"))
    reference = _lay_reference(spec, board, _stream(spec, "reference"))
    flats = _lay_flats(spec, board, projector, _stream(spec, "flats"))
    pieces = _lay_pieces(spec, board, projector, level, _stream(spec, "pieces"))

    canvas = _board_surface(spec, projector, level, _stream(spec, "surface"), scale)
    _draw_threads(canvas, spec, projector, _stream(spec, "threads"), scale)
    lying = [[p.polygon] for p in pieces] + [[r.polygon] for r in reference] + [[f.polygon] for f in flats] + [hand]
    seen = [[_mapped(polygon, view) for polygon in solid] for solid in lying if solid]
    _cast_shadows(canvas, seen, spec, _stream(spec, "shadows"), scale)
    for thing in reference:
        _draw_reference(canvas, thing, projector, view)
    for flat in flats:
        _stamp(canvas, flat, view)
    _draw_hand(canvas, [_mapped(p, view) for p in hand], projector, _stream(spec, "skin"))
    rows = [
        _show_piece(canvas, piece, view, spec, f"piece-{number:02d}") for number, piece in enumerate(pieces, 1)
    ]
    main = reference[:1]
    return Scene(
        codes=_expose(canvas, spec, _stream(spec, "camera")),
        truth=pd.DataFrame(rows, columns=TRUTH_COLUMNS),
        reference_outline=_as_outline(_mapped(main[0].polygon, view)) if main else (),
        spec=spec,
        reference_patches=tuple(_as_outline(_mapped(patch, view)) for thing in main for patch in thing.patches),
        reference_lightness=tuple(value for thing in main for value in _true_lightness(thing.reflectances @ projector)),
        decoy_outline=_as_outline(_mapped(reference[1].polygon, view)) if len(reference) > 1 else (),
        clutter_outlines=tuple(_as_outline(_mapped(polygon, view)) for polygon in _outlines_of(flats, hand)),
    )


def _stream(spec: SceneSpec, name: str) -> np.random.Generator:
    """Return the random numbers of one part of the scene, so that a change to one part leaves the others alone."""
    return np.random.default_rng([spec.seed, zlib.crc32(name.encode())])


def _outlines_of(flats: list[_Flat], hand: list[Doubles]) -> list[Doubles]:
    hull = [cv2.convexHull(np.concatenate(hand).astype(np.float32)[:, ::-1])[:, 0, ::-1]] if hand else []
    return [flat.polygon for flat in flats] + [np.asarray(points, dtype=float) for points in hull]


def _true_lightness(values: Doubles) -> tuple[float, ...]:
    return tuple(round(float(v), 4) for v in _lightness(values[:, 3]))


def _check_spec(spec: SceneSpec) -> None:
    """Refuse a spec with a word that means nothing."""
    known = {"backing": BACKINGS, "reference": REFERENCES, "tone": TONES, "shapes": SHAPES, "clutter": CLUTTER}
    for name, allowed in known.items():
        value = getattr(spec, name)
        wrong = [v for v in (value if isinstance(value, tuple) else (value,)) if v not in allowed]
        if wrong:
            raise InvalidInputError(f"{name} must be from {', '.join(allowed)}; got {wrong[0]!r}. Choose one of these.")
    colour = _quiet_colour()
    lights, cameras = colour.SDS_ILLUMINANTS, colour.MSDS_CAMERA_SENSITIVITIES
    for name, table, examples in (("illuminant", lights, ILLUMINANTS), ("camera", cameras, CAMERAS)):
        if getattr(spec, name) not in table:
            raise InvalidInputError(
                f"{name} must be one that colour-science knows; got {getattr(spec, name)!r}. "
                f"Choose for instance one of {', '.join(examples)}."
            )
    if spec.pieces < 0 or min(spec.size) < 64:
        raise InvalidInputError(
            f"A scene must have at least 64 rows and columns and no fewer than 0 pieces; got size {spec.size} "
            f"and {spec.pieces} pieces. Ask for a larger frame."
        )


def _perspective(spec: SceneSpec, rng: np.random.Generator) -> Doubles:
    """Return the homography (col, row, 1) from the flat board to the picture."""
    rows, cols = spec.size
    corners = np.array([[0, 0], [cols, 0], [cols, rows], [0, rows]], dtype=np.float32)
    moved = corners + rng.uniform(-1, 1, (4, 2)) * spec.perspective * np.array([cols, rows])
    return np.asarray(cv2.getPerspectiveTransform(corners, moved.astype(np.float32)), dtype=float)


def _board_level(backing: str, rng: np.random.Generator) -> float:
    low, high = {"white": (0.78, 0.92), "grey": (0.2, 0.45), "black": (0.03, 0.06)}[backing]
    return float(rng.uniform(low, high))


def _board_surface(
    spec: SceneSpec, projector: Doubles, level: float, rng: np.random.Generator, scale: float
) -> Floats:
    """Return the bare board as linear light, shape (rows, cols, 3)."""
    colour = (_flat(level, rng.uniform(-0.02, 0.02)) @ projector)[:3].astype(np.float32)
    fine, coarse = _noise(rng, (1024, 1024), 1.7), _noise(rng, (1024, 1024), max(2.0, 5 * scale))
    tile = fine * np.float32(0.012) + coarse * np.float32(0.006)
    repeats = (spec.size[0] // 1024 + 1, spec.size[1] // 1024 + 1)
    grain: Floats = np.tile(tile, repeats)[: spec.size[0], : spec.size[1]]
    grain = 1 + grain + np.float32(0.004) * _noise(rng, spec.size, 300 * scale)
    return np.asarray(grain[..., None] * colour)


def _cast_shadows(
    canvas: Floats, solids: list[list[Doubles]], spec: SceneSpec, rng: np.random.Generator, scale: float
) -> None:
    """Darken the board on one side of everything that lies on it, and a little all round."""
    angle = rng.uniform(0, 2 * np.pi)
    towards = np.array([np.sin(angle), np.cos(angle)])
    for polygons in solids:
        lift = 1 if len(polygons) == 1 else 3  # a hand stands higher than cloth
        reach = rng.uniform(3, 18) * scale * lift
        strength = np.float32(spec.shadows * rng.uniform(0.5, 1.0))
        window = _window(np.concatenate(polygons), 5 * reach + 8, spec.size)
        thrown = cv2.GaussianBlur(_mask([p + reach * towards for p in polygons], window, 1), (0, 0), 0.5 + 0.7 * reach)
        contact = cv2.GaussianBlur(_mask(polygons, window, 1), (0, 0), 0.6 + 2.5 * scale)
        canvas[window] *= ((1 - strength * thrown) * (1 - strength * np.float32(0.5) * contact))[..., None]


def _stamp(canvas: Floats, flat: _Flat, view: Doubles, extra: Floats | None = None) -> tuple[Floats, Floats, Floats]:
    """Lay a flat thing on the canvas; return its luminance, its share of each pixel, and the extra layers, as seen."""
    outline = _mapped(flat.polygon, view)
    window = _window(outline, 2, (canvas.shape[0], canvas.shape[1]))
    shift = np.array([[1, 0, -window[1].start], [0, 1, -window[0].start], [0, 0, 1]], dtype=float)
    shape = (window[1].stop - window[1].start, window[0].stop - window[0].start)
    lay = shift @ view @ flat.move
    seen = cv2.warpPerspective(flat.look, lay, shape, borderMode=cv2.BORDER_REPLICATE)
    parts = seen if extra is None else cv2.warpPerspective(extra, lay, shape, borderMode=cv2.BORDER_REPLICATE)
    mask = _mask([outline], window)
    canvas[window] += (seen[..., :3] - canvas[window]) * mask[..., None]
    return cast(Floats, seen[..., 3]), mask, cast(Floats, parts)


def _show_piece(canvas: Floats, piece: _Piece, view: Doubles, spec: SceneSpec, name: str) -> dict[str, Any]:
    """Draw a piece on the canvas and return its row of the truth."""
    rng, scale = _stream(spec, name), max(spec.size) / FULL_SIDE
    _fray(canvas, piece, view, rng, scale)
    flat, layers = _draw_piece(piece, rng, scale, spec.undulation)
    luminance, mask, parts = _stamp(canvas, flat, view, layers)
    made_of = {
        "shape": piece.shape,
        "motif": piece.motif,
        "ground": piece.ground_row,
        "paints": json.dumps(piece.paint_rows),
    }
    return _truth_row(name, _mapped(piece.polygon, view), luminance, parts, mask) | made_of


def _fray(canvas: Floats, piece: _Piece, view: Doubles, rng: np.random.Generator, scale: float) -> None:
    """Draw the few fibres that stick out of a cut edge; no more than a hair, and no part of the outline."""
    polygon = _mapped(piece.polygon, view)
    window = _window(polygon, 20 * scale + 2, (canvas.shape[0], canvas.shape[1]))
    hairs = np.zeros((window[0].stop - window[0].start, window[1].stop - window[1].start), dtype=np.uint8)
    for _ in range(int(rng.integers(6, 22))):
        edge, part = rng.integers(len(polygon)), rng.random()
        root = polygon[edge] * (1 - part) + polygon[(edge + 1) % len(polygon)] * part
        hair = root + np.cumsum(rng.normal(0, 4.5 * scale, (4, 2)), axis=0) - [window[0].start, window[1].start]
        cv2.polylines(hairs, [np.round(hair[:, ::-1] * 16).astype(np.int32)], False, 140, 1, cv2.LINE_AA, 4)
    share = hairs.astype(np.float32)[..., None] * np.float32(min(1.0, scale) / 255)
    canvas[window] += (piece.ground[:3].astype(np.float32) - canvas[window]) * share


def _truth_row(
    name: str, outline: Doubles, luminance: Floats, parts: Floats, mask: Floats
) -> dict[str, Any]:
    rim = mask * (parts[..., 1] > 0.5)
    inner = mask - rim
    painted = inner * (parts[..., 0] > 0.5)
    bare = inner * (parts[..., 0] <= 0.5) + rim
    whole = float(_lightness(_mean(luminance, mask)))
    return {
        "swatch_id": name,
        "outline": json.dumps(_as_outline(outline)),
        "lightness": whole,
        "lightness_paint": float(_lightness(_mean(luminance, painted))),
        "lightness_ground": float(_lightness(_mean(luminance, bare))),
        "coverage": _mean(parts[..., 0], inner),
        "lightness_rim": float(_lightness(_mean(luminance, rim * (parts[..., 0] < 0.1)))),
        "group": "dark" if whole < GROUP_EDGES[0] else "medium" if whole < GROUP_EDGES[1] else "light",
    }


def _mean(values: Floats, weights: Floats) -> float:
    total = float(weights.sum(dtype=float))
    return float((values * weights).sum(dtype=float)) / total if total > 0 else float("nan")


# --------------------------------------------------------------------------------------------- things on the board


@dataclass(frozen=True)
class _Reference:
    polygon: Doubles
    patches: tuple[Doubles, ...]
    reflectances: Doubles
    frame: float  # reflectance between the patches


def _lay_reference(spec: SceneSpec, board: _Board, rng: np.random.Generator) -> list[_Reference]:
    if spec.reference == "none":
        return []
    shape, low, high, level = _reference_shape(spec.reference, rng)
    side, spots = rng.uniform(low, high) * max(spec.size), _border_spots(spec.size)
    placed = [_place(board, shape, spots, rng, side=side, gap=0.03 * max(spec.size), turn=level)]
    things = [_reference_on(placed[0].polygon, spec.reference)]
    if spec.reference == "two cards":
        other = _place(board, shape, spots, rng, side=side, gap=0.03 * max(spec.size)).polygon
        things.append(_Reference(other, (other,), _flat(float(rng.choice([0.09, 0.36])))[None], 0.0))
    return things


def _reference_shape(kind: str, rng: np.random.Generator) -> tuple[Doubles, float, float, float | None]:
    """Return a shape of side 1, its smallest and largest side as fractions of the frame, and its turn (None: any)."""
    quarter = float(rng.integers(0, 4) * np.pi / 2 + rng.uniform(-0.3, 0.3))
    if kind == "scale":
        return _box(rng.uniform(1.0, 1.3) / 6, 1), 0.3, 0.42, quarter
    if kind == "chart":
        return _box(4.5 / 6.7, 1), 0.28, 0.36, quarter
    return _box(rng.uniform(0.65, 1.0), 1), 0.07, 0.16, None


def _reference_on(polygon: Doubles, kind: str) -> _Reference:
    if kind == "scale":
        levels = np.array([_flat(_luminance(lightness)) for lightness in SCALE_LIGHTNESS])
        return _Reference(polygon, _cells(polygon, 1, 6, 0.0), levels, 0.0)
    if kind == "chart":
        return _Reference(polygon, _cells(polygon, 4, 6, 0.1), chart_reflectances(), 0.035)
    return _Reference(polygon, (polygon,), _flat(CARD_REFLECTANCE)[None], 0.0)


def _cells(polygon: Doubles, rows: int, cols: int, gap: float) -> tuple[Doubles, ...]:
    """Return the cells of a grid in a parallelogram, reading order; gap as a fraction of a cell, all round."""
    origin, right, down = polygon[0], polygon[1] - polygon[0], polygon[3] - polygon[0]
    cells = []
    for top, bottom in (_cell_ends(index, rows, gap) for index in range(rows)):
        for left, far in (_cell_ends(index, cols, gap) for index in range(cols)):
            corners = ((top, left), (top, far), (bottom, far), (bottom, left))
            cells.append(np.array([origin + a * down + b * right for a, b in corners]))
    return tuple(cells)


def _cell_ends(index: int, count: int, gap: float) -> tuple[float, float]:
    """Return where a cell begins and ends, 0-1, with equal gaps between cells and at both ends."""
    pitch = 1 / (count + (count + 1) * gap)
    low = (index * (1 + gap) + gap) * pitch
    return low, low + pitch


def _draw_reference(canvas: Floats, thing: _Reference, projector: Doubles, view: Doubles) -> None:
    if thing.frame > 0:
        _fill(canvas, _mapped(thing.polygon, view), _flat(thing.frame) @ projector)
    for patch, reflectance in zip(thing.patches, thing.reflectances, strict=True):
        # Touching patches: each covers all that follow, so that no sliver of board shows in the joints.
        last = thing.patches[-1] if thing.frame == 0 else patch
        to_the_end = np.array([patch[0], last[1], last[2], patch[3]])
        _fill(canvas, _mapped(to_the_end, view), reflectance @ projector)


def _fill(canvas: Floats, polygon: Doubles, colour: Doubles) -> None:
    window = _window(polygon, 2, canvas.shape[:2])
    mask = _mask([polygon], window)[..., None]
    canvas[window] += (colour[:3].astype(np.float32) - canvas[window]) * mask


def _lay_flats(
    spec: SceneSpec, board: _Board, projector: Doubles, rng: np.random.Generator
) -> list[_Flat]:
    """Return the ruler and the paper labels, laid on the board."""
    long, flats = max(spec.size), []
    if "ruler" in spec.clutter:
        side, thick = rng.uniform(0.42, 0.55) * long, rng.uniform(0.055, 0.08)
        turn = float(rng.integers(0, 4) * np.pi / 2 + rng.uniform(-0.06, 0.06))
        spots = np.array([(0.1, 0.5), (0.9, 0.5), (0.5, 0.1), (0.5, 0.9), (0.3, 0.5), (0.7, 0.5)]) * spec.size
        placed = _place(board, _box(thick, 1), spots, rng, side=side, gap=0.02 * long, turn=turn, jitter=0.02)
        flats.append(_on_paper(placed, _box(thick, 1), _ruler_ink, _flat(rng.uniform(0.5, 0.7), 0.12), projector, rng))
    for _ in range(int(rng.integers(2, 5)) if "label" in spec.clutter else 0):
        shape, turn = _box(rng.uniform(0.45, 0.6), 1), float(rng.uniform(-0.4, 0.4))
        side = rng.uniform(0.045, 0.07) * long
        placed = _place(board, shape, _spots(spec.size, 30), rng, side=side, gap=0.02 * long, turn=turn)
        flats.append(_on_paper(placed, shape, _scribble_ink, _flat(rng.uniform(0.7, 0.85), 0.03), projector, rng))
    return flats


Ink = Callable[[tuple[int, int], np.random.Generator], NDArray[np.uint8]]


def _on_paper(
    placed: _Placed, shape: Doubles, ink: Ink, paper: Doubles, projector: Doubles, rng: np.random.Generator
) -> _Flat:
    """Return a strip of paper or wood with dark marks."""
    corner = np.floor(shape.min(axis=0) * placed.side)
    rows, cols = np.ceil(shape.max(axis=0) * placed.side - corner).astype(int) + 1
    marks = ink((int(rows), int(cols)), rng).astype(np.float32)[..., None] / 255
    grain = 1 + np.float32(0.015) * _noise(rng, (int(rows), int(cols)), 4)[..., None]
    look = grain * (paper @ projector).astype(np.float32) * (1 - marks * np.float32(0.88))
    middle = placed.polygon.mean(axis=0)
    return _Flat(placed.polygon, np.asarray(look, dtype=np.float32), _canvas_to_board(corner, placed.turn, middle))


def _ruler_ink(shape: tuple[int, int], rng: np.random.Generator) -> NDArray[np.uint8]:
    """Return the ticks and numbers of a ruler, 255 where ink lies."""
    ink = np.zeros(shape, dtype=np.uint8)
    pitch, line = shape[1] / 305, max(1, round(shape[1] / 1600))
    for tick in range(301):
        col = round((tick + 2.5) * pitch)
        length = (0.42 if tick % 10 == 0 else 0.32 if tick % 5 == 0 else 0.2) * shape[0]
        cv2.line(ink, (col, 0), (col, round(length)), 255, line)
        if tick % 10 == 0 and 0 < tick < 300:
            size = shape[0] / 130
            place = (round(col - size * 9 * len(str(tick // 10))), round(0.82 * shape[0]))
            cv2.putText(ink, str(tick // 10), place, cv2.FONT_HERSHEY_SIMPLEX, size, 255, line, cv2.LINE_AA)
    return ink


def _scribble_ink(shape: tuple[int, int], rng: np.random.Generator) -> NDArray[np.uint8]:
    """Return two lines of unreadable handwriting, 230 where ink lies."""
    ink = np.zeros(shape, dtype=np.uint8)
    for line in (0.36, 0.72):
        loops = np.arange(0, rng.uniform(50, 75), 0.5)
        tall = np.interp(loops, np.arange(0, 80, 4), rng.uniform(0.03, 0.15, 20))
        along = 0.1 + 0.011 * loops + 0.02 * np.cos(loops)
        points = np.column_stack([along * shape[1], (line - tall * np.sin(loops)) * shape[0]])
        for word in np.split(points, np.sort(rng.integers(10, len(points) - 10, 2))):
            stroke = np.round(word[6:] * 16).astype(np.int32).reshape(-1, 1, 2)
            cv2.polylines(ink, [stroke], False, 230, max(1, round(shape[1] / 110)), cv2.LINE_AA, 4)
    return ink


def _draw_threads(
    canvas: Floats, spec: SceneSpec, projector: Doubles, rng: np.random.Generator, scale: float
) -> None:
    """Draw loose ends of thread on the board; what is laid down later covers them."""
    for _ in range(int(rng.integers(2, 5)) if "thread" in spec.clutter else 0):
        turns = np.cumsum(rng.normal(0, 0.16, 90)) + rng.uniform(0, 2 * np.pi)
        steps = np.column_stack([np.sin(turns), np.cos(turns)]) * rng.uniform(4, 10) * scale
        points = rng.random(2) * spec.size + np.cumsum(steps, axis=0)
        window = _window(points, 12, spec.size)
        line = np.zeros((max(1, window[0].stop - window[0].start), max(1, window[1].stop - window[1].start)), np.uint8)
        local = np.round((points - [window[0].start, window[1].start])[:, ::-1] * 16).astype(np.int32)
        cv2.polylines(line, [local], False, 255, max(1, round(2 * scale)), cv2.LINE_AA, 4)
        share = cv2.GaussianBlur(line, (0, 0), 0.6).astype(np.float32)[: canvas[window].shape[0], :, None] / 255
        dye = (rng.choice(paint_reflectances()) @ projector)[:3].astype(np.float32)
        canvas[window] += (dye - canvas[window]) * share[:, : canvas[window].shape[1]]


def _capsule(base: tuple[float, float], angle: float, length: float, width: float) -> Doubles:
    """Return a round-ended bar (row, col) from base, pointing up at angle 0."""
    ends = np.linspace(0, np.pi, 12)
    tip = np.column_stack([-np.sin(ends), -np.cos(ends)]) * width / 2 - [length, 0]
    bar = np.concatenate([tip, -(tip + [length, 0])])
    return _turned(bar, angle) + base


def _lay_hand(spec: SceneSpec, board: _Board, rng: np.random.Generator) -> list[Doubles]:
    """Return the palm, fingers and thumb of a hand that reaches in over one side of the frame."""
    if "hand" not in spec.clutter:
        return []
    bars = [_capsule((0.75, 0.0), 0.0, 0.5, 0.98), _capsule((0.35, -0.36), 0.75, 0.6, 0.25)]
    for place, length in zip((-0.37, -0.125, 0.125, 0.37), (0.85, 1.0, 0.93, 0.72), strict=True):
        bars.append(_capsule((-0.05, place), -place * 0.55 + rng.uniform(-0.05, 0.05), length, 0.215))
    mirror, lean = np.array([1.0, rng.choice([-1.0, 1.0])]), rng.uniform(-0.35, 0.35)
    quarter, along = int(rng.integers(0, 4)), rng.uniform(0.25, 0.75)
    rows, cols = spec.size
    root = [(rows, along * cols), (along * rows, 0), (0, along * cols), (along * rows, cols)][quarter]
    width = rng.uniform(0.1, 0.13) * max(spec.size)
    hand = [_turned(bar * mirror * width, lean + quarter * np.pi / 2) + np.array(root, dtype=float) for bar in bars]
    board.take(_outlines_of([], hand)[0])
    return hand


def _draw_hand(canvas: Floats, hand: list[Doubles], projector: Doubles, rng: np.random.Generator) -> None:
    """Draw the hand: joined softly, rounded by its shading."""
    if not hand:
        return
    width = float(np.linalg.norm(hand[0][0] - hand[0][11]))
    window = _window(np.concatenate(hand), 8, (canvas.shape[0], canvas.shape[1]))
    soft = cv2.GaussianBlur(_mask(hand, window, 1), (0, 0), max(1.0, 0.02 * width))
    joined = _smoothstep(0.4, 0.6, cast(Floats, soft))
    depth = cv2.distanceTransform((joined > 0.5).astype(np.uint8), cv2.DIST_L2, 5) / np.float32(0.11 * width)
    bulge = np.sqrt(1 - (1 - np.clip(depth, 0, 1)) ** 2)
    shape = (joined.shape[0], joined.shape[1])
    mottle = 1 + np.float32(0.02) * (_noise(rng, shape, 0.03 * width) + 2 * _noise(rng, shape, 0.3 * width))
    dark, light = chart_reflectances()[:2]
    share = rng.random()
    skin = (np.exp(np.log(dark) * share + np.log(light) * (1 - share)) @ projector)[:3].astype(np.float32)
    shade = cv2.GaussianBlur(np.float32(0.55) + np.float32(0.45) * bulge, (0, 0), 0.015 * width) * mottle
    canvas[window] += (shade[..., None] * skin - canvas[window]) * joined[..., None]


# --------------------------------------------------------------------------------------------- pieces


def _lay_pieces(
    spec: SceneSpec, board: _Board, projector: Doubles, level: float, rng: np.random.Generator
) -> list[_Piece]:
    """Return the pieces, laid on the board largest first and numbered at random."""
    long, grid = max(spec.size), _spots(spec.size, spec.pieces + 6)
    sides = np.sort(rng.uniform(*spec.side, spec.pieces))[::-1] * long
    room = 0.38 * np.prod(spec.size) * (1 - board.taken.mean())  # fuller than this and nothing more can be laid down
    pieces = []
    for side in sides * min(1.0, np.sqrt(room / max(1.0, np.sum(sides**2)))):
        tuck = bool(rng.random() < 0.6)
        spots = rng.random((60, 2)) * spec.size if tuck else grid
        name, gap = str(rng.choice(spec.shapes)), rng.uniform(0.02, 0.035) * long
        placed = _place(board, _unit_shape(name, rng), spots, rng, side=side, gap=gap, tuck=tuck)
        pieces.append(_one_piece(spec, name, placed, projector, level, rng))
    return [pieces[i] for i in rng.permutation(len(pieces))]


def _one_piece(
    spec: SceneSpec, name: str, placed: _Placed, projector: Doubles, level: float, rng: np.random.Generator
) -> _Piece:
    paints = spec.paints or range(len(paint_reflectances()))
    rows = rng.choice(paints, min(len(paints), 1 + int(rng.random() < 0.3)), replace=False)
    ground, ground_row = _cotton(spec, level, projector, rng)
    return _Piece(
        shape=name,
        polygon=placed.polygon,
        turn=placed.turn,
        side=placed.side,
        ground=ground,
        paints=paint_reflectances()[rows] @ projector,
        ground_row=ground_row,
        paint_rows=tuple(int(row) for row in rows),
        motif=str(rng.choice(MOTIFS)),
        load=float(rng.choice(spec.loads)),
        opacity=float(rng.uniform(0.82, 1.0)),
        sheen=float(rng.uniform(0.05, 0.22)) if rng.random() < spec.pearly else 0.0,
        rim=spec.rim * placed.side,
    )


def _cotton(spec: SceneSpec, level: float, projector: Doubles, rng: np.random.Generator) -> tuple[Doubles, int]:
    """Return a ground that can, if only just, be told from the board, and its row (-1: undyed)."""
    for _ in range(50):
        reflectance, row = _any_cotton(spec, level, rng)
        ground = reflectance @ projector
        if np.abs(np.cbrt(np.clip(ground, 0, None)) - np.cbrt(level)).max() > 0.02:  # about 2.3 L*
            break
    return np.asarray(ground), row


def _any_cotton(spec: SceneSpec, level: float, rng: np.random.Generator) -> tuple[Doubles, int]:
    """Return the reflectance of a ground: dyed, or undyed and often nearly as light as the board."""
    if rng.random() < spec.low_contrast:
        away = rng.choice([-1, 1]) * rng.uniform(2.5, 6.0)
        lightness = float(_lightness(level)) + away
        near = lightness if 12 < lightness < 94 else lightness - 2 * away
        return _flat(_luminance(near), rng.uniform(-0.02, 0.06)), -1
    if rng.random() < spec.undyed:
        cloth = float(rng.choice([0.035, 0.1, 0.3, 0.55, 0.8])) * rng.uniform(0.85, 1.08)
        return _flat(cloth, rng.uniform(-0.03, 0.1)), -1
    row = int(rng.choice(spec.grounds or range(len(paint_reflectances()))))
    return np.asarray(paint_reflectances()[row]), row


# --------------------------------------------------------------------------------------------- the camera


def _expose(canvas: Floats, spec: SceneSpec, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Return the 8-bit picture of the linear scene."""
    blurred = cv2.GaussianBlur(canvas, (0, 0), spec.blur, dst=canvas) if spec.blur > 0 else canvas
    gains = np.array([1 + spec.white_balance * rng.uniform(-1, 1), 1, 1 + spec.white_balance * rng.uniform(-1, 1)])
    gains = (gains * spec.exposure).astype(np.float32)
    angle, mix = rng.uniform(0, 2 * np.pi), rng.random()
    codes = np.empty(canvas.shape, dtype=np.uint8)
    for top in range(0, spec.size[0], _BAND):
        band = blurred[top : top + _BAND]
        light = _light_field(spec, top, len(band), angle, mix)
        seen = band * (light[..., None] * gains)
        sigma = np.float32(spec.noise) * np.sqrt(np.clip(seen, 0, 1) + np.float32(0.15))
        seen += sigma * rng.standard_normal(seen.shape, dtype=np.float32)
        codes[top : top + _BAND] = _encode(seen, spec.tone)
    return codes


def _light_field(spec: SceneSpec, top: int, rows: int, angle: float, mix: float) -> Floats:
    """Return the light that falls on these rows, 1 in the middle of the frame."""
    half = np.array(spec.size) / 2
    down = ((np.arange(top, top + rows) - half[0]) / np.hypot(*half)).astype(np.float32)[:, None]
    right = ((np.arange(spec.size[1]) - half[1]) / np.hypot(*half)).astype(np.float32)[None, :]
    reach = np.abs(np.sin(angle)) * half[0] / np.hypot(*half) + np.abs(np.cos(angle)) * half[1] / np.hypot(*half)
    slope = (down * np.float32(np.sin(angle)) + right * np.float32(np.cos(angle))) * np.float32(0.5 / reach)
    squared = down * down + right * right
    fall = squared * np.float32(mix) + squared * squared * np.float32(1 - mix)
    return cast(Floats, (1 + np.float32(spec.gradient) * slope) * (1 - np.float32(spec.vignetting) * fall))


@lru_cache(maxsize=2)
def _tone_table(tone: str) -> Floats:
    """Return encoded values 0-1 of 65,536 steps of linear light (IEC 61966-2-1:1999, then the phone's curve)."""
    linear = np.arange(65536) / 65535
    encoded = np.where(linear <= 0.0031308, linear * 12.92, 1.055 * linear ** (1 / 2.4) - 0.055)
    if tone == "phone":
        encoded = (encoded + encoded * encoded * (3 - 2 * encoded)) / 2
    return encoded.astype(np.float32)


def _encode(linear: Floats, tone: str) -> NDArray[np.uint8]:
    steps = (np.clip(linear, 0, 1) * np.float32(65535) + np.float32(0.5)).astype(np.uint16)
    if tone == "srgb":
        return np.take((_tone_table(tone) * 255 + 0.5).astype(np.uint8), steps)
    encoded = np.take(_tone_table(tone), steps)
    luma = encoded @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)
    vivid = luma[..., None] + (encoded - luma[..., None]) * np.float32(1.15)
    return (np.clip(vivid, 0, 1) * 255 + 0.5).astype(np.uint8)


# --------------------------------------------------------------------------------------------- public helpers


def random_spec(seed: int, **overrides: Any) -> SceneSpec:
    """
    Return a spec drawn from the whole range of lights, cameras, boards and faults; overrides are kept as given.

    Examples
    --------
    >>> random_spec(3, backing="black").backing
    'black'
    """
    unknown = set(overrides) - {field.name for field in fields(SceneSpec)}
    if unknown:
        raise InvalidInputError(f"A scene has no {sorted(unknown)[0]!r}. Use the names of SceneSpec.")
    rng = np.random.default_rng([20240, seed])
    drawn: dict[str, Any] = {
        "seed": seed,
        "illuminant": str(rng.choice(ILLUMINANTS)),
        "camera": str(rng.choice(CAMERAS)),
        "backing": str(rng.choice(BACKINGS)),
        "pieces": int(rng.integers(12, 25)),
        "shapes": ("square", "triangle") if rng.random() < 0.6 else SHAPES,
        "gradient": float(rng.uniform(0, 0.25)),
        "vignetting": float(rng.uniform(0, 0.35)),
        "perspective": float(rng.uniform(0, 0.04)),
        "exposure": float(rng.uniform(0.55, 1.05)),
        "white_balance": float(rng.uniform(0, 0.12)),
        "noise": float(rng.uniform(0.002, 0.006)),
        "blur": float(rng.uniform(0.5, 1.0)),
        "shadows": float(rng.uniform(0, 0.4)),
        "rim": float(rng.uniform(0.0, 0.08)),
        "undulation": float(rng.uniform(0.0, 0.02)),
    }
    return SceneSpec(**(drawn | overrides))


def clipped_shares(scene: Scene) -> pd.DataFrame:
    """
    Return, for each piece, the share of its pixels with a channel burnt out (254 and up) or cut off (0), 0-1.

    What the file has lost nobody can measure: burnt out by the exposure, cut off where a colour is more vivid than
    sRGB can say.

    >>> clipped_shares(render_scene(SceneSpec(size=(300, 400), pieces=2, exposure=0.55)))["burnt"].max() < 0.01
    True
    """
    import pandas as pd

    rows = []
    for outline in scene.truth["outline"]:
        mask = np.zeros(scene.codes.shape[:2], dtype=np.uint8)
        cv2.fillPoly(mask, [np.round(np.array(json.loads(outline))[:, ::-1]).astype(np.int32)], 1)
        codes = scene.codes[mask > 0]
        rows.append({"burnt": (codes >= 254).any(axis=1).mean(), "cut": (codes == 0).any(axis=1).mean()})
    return pd.DataFrame(rows, index=scene.truth.index, columns=["burnt", "cut"])


def save_scene(scene: Scene, path: str | Path, quality: int | None = None, *, taken: str = "") -> None:
    """
    Write the photograph as a JPEG with halved colour resolution (4:2:0), as phones do.

    quality: 1-95, the spec's if left out. taken: date for the file, "YYYY:MM:DD HH:MM:SS"; none if empty.
    """
    from PIL import ExifTags, Image

    photo = Image.fromarray(scene.codes)
    exif = photo.getexif()
    if taken:
        exif[ExifTags.Base.DateTime] = taken
        exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = taken
    photo.save(path, quality=quality or scene.spec.quality, subsampling=2, exif=exif)
