"""Boards with their truth for the tests of the camera room: rendered from spectra, or drawn flat to the last corner."""

import json
from functools import lru_cache

import cv2
import numpy as np

from contrastkit.camera.pipeline import find
from contrastkit.camera.read import Photo
from contrastkit.camera.synthetic import SceneSpec, paint_reflectances, random_spec, render_scene
from contrastkit.light.lightness import SRGB, linear_to_srgb1

FRAME = (1500, 2000)
CARD = 0.18  # reflectance: the trade's grey card
# Luminance of cotton that stands out from each board by some 15 L* and more.
PLAIN = {"white": [(0.08, 0.4)], "grey": [(0.0, 0.07), (0.6, 1.0)], "black": [(0.2, 1.0)]}


# --- rendered -------------------------------------------------------------------------------------------------------


def scene(**options):
    """The scene of a spec, rendered once for all tests; twelve pieces in a frame of 3 megapixels unless told."""
    return _rendered(SceneSpec(**{"size": FRAME, "pieces": 12, **options}))


def random_scene(seed, **options):
    """A scene from the whole range of lights, cameras, boards and faults, rendered once for all tests."""
    return _rendered(random_spec(seed, **{"size": FRAME, **options}))


def plain_scene(backing, seed=1, **options):
    """Pieces on cotton that stands out from the board."""
    shapes = ("square", "triangle", "rectangle")
    cotton = {"low_contrast": 0.0, "undyed": 0.0, "grounds": _grounds(backing)}
    return scene(**{"backing": backing, "seed": seed, "shapes": shapes, **cotton, **options})


def looked_at(made):
    """The photograph of a scene and what is found on it, once for all tests."""
    return _looked_at(made.spec)


@lru_cache(maxsize=24)
def _rendered(spec):
    return render_scene(spec)


@lru_cache(maxsize=24)
def _looked_at(spec):
    photo = photo_of(_rendered(spec).codes)
    return photo, find(photo)


@lru_cache(maxsize=3)
def _grounds(backing):
    """Rows of paint_reflectances() that stand out from this board."""
    light = paint_reflectances()[:, 24:37].mean(axis=1)  # 520-580 nm: near enough what the eye takes for light
    far = np.any([(light > low) & (light < high) for low, high in PLAIN[backing]], axis=0)
    return tuple(int(row) for row in np.flatnonzero(far))


# --- drawn ----------------------------------------------------------------------------------------------------------


def drawn(things, *, size=(600, 800), board=0.8, light=None, blur=0.7, noise=0.002, bits=8, seed=0):
    """
    Encoded sRGB of a flat board with flat things on it, later ones on top.

    things: (outline, linear light) each; light: what the whole is multiplied by. A pixel's middle is a whole number.
    """
    canvas = np.full((*size, 3), board, np.float32)
    for outline, colour in things:
        low = np.clip(np.floor(np.min(outline, axis=0)).astype(int) - 1, 0, size)
        high = np.clip(np.ceil(np.max(outline, axis=0)).astype(int) + 2, 0, size)
        part = canvas[low[0] : high[0], low[1] : high[1]]
        part += (np.asarray(colour, np.float32) - part) * covered(outline - low, part.shape[:2])[..., None]
    if light is not None:
        canvas *= np.asarray(light, np.float32)[..., None]
    if blur:
        canvas = cv2.GaussianBlur(canvas, (0, 0), blur)
    if noise:
        canvas += np.float32(noise) * np.random.default_rng(seed).standard_normal(canvas.shape, np.float32)
    return encoded(canvas, bits)


def encoded(linear, bits=8):
    """Linear light as sRGB codes, by a table of 65,536 steps."""
    most = 2**bits - 1
    table = np.round(linear_to_srgb1(np.arange(65536) / 65535) * most).astype(np.uint8 if bits == 8 else np.uint16)
    return table[(np.clip(linear, 0, 1) * 65535 + 0.5).astype(np.uint16)]


def covered(outline, size):
    """The share of each pixel that an outline covers, 0-1."""
    fine = np.zeros((size[0] * 4, size[1] * 4), np.uint8)
    corners = ((np.asarray(outline, float) + 0.5) * 4 - 0.5)[:, ::-1]
    cv2.fillPoly(fine, [np.round(corners * 16).astype(np.int32)], 255, cv2.LINE_8, 4)
    return cv2.resize(fine, size[::-1], interpolation=cv2.INTER_AREA) / 255


def box(middle, height, width=None, degrees=0.0):
    """Corners of a rectangle about (row, col), clockwise, turned clockwise."""
    width = height if width is None else width
    corners = np.array([[-height, -width], [-height, width], [height, width], [height, -width]]) / 2
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    return corners @ np.array([[c, -s], [s, c]]) + middle


def photo_of(codes, *, name="board.png", reduction=1):
    """A photograph that never was a file: sRGB, upright."""
    size = (codes.shape[0] * reduction, codes.shape[1] * reduction)
    return Photo(name, np.ascontiguousarray(codes), reduction, size, SRGB, None, ())


# --- outlines -------------------------------------------------------------------------------------------------------


def outlines_of(table):
    """The outline of each row of a table."""
    return [np.array(json.loads(outline)) for outline in table["outline"]]


def shared_area(a, b):
    """Area that two outlines share, over the area that either covers."""
    a, b = np.asarray(a, float), np.asarray(b, float)
    if (np.minimum(a.max(0), b.max(0)) < np.maximum(a.min(0), b.min(0))).any():
        return 0.0
    low = np.floor(np.minimum(a.min(0), b.min(0))) - 1
    size = (np.ceil(np.maximum(a.max(0), b.max(0))) + 2 - low).astype(int)
    one, other = (covered(outline - low, (int(size[0]), int(size[1]))) > 0.5 for outline in (a, b))
    return float((one & other).sum() / (one | other).sum())


def matched(truth, found):
    """For each true outline the index of the found one that shares most with it, and the shared area: two lists."""
    shares = np.array([[shared_area(a, b) for b in found] for a in truth]).reshape(len(truth), len(found))
    if not found:
        return [-1] * len(truth), [0.0] * len(truth)
    return shares.argmax(axis=1).tolist(), shares.max(axis=1).tolist()
