"""Photographs of boards for the tests of the command line and the study: drawn flat, quick to measure, truth known."""

import cv2
import numpy as np
from made_scenes import box, drawn

from contrastkit.camera.chart import reference_xyz
from contrastkit.camera.correction import SRGB_TO_XYZ_D50
from contrastkit.light.lightness import SRGB, lightness_to_luminance, linear_to_srgb1

PILE = (22.0, 30.0, 47.0, 52.0, 58.0, 76.0, 81.0)  # L* of the pieces, in reading order
STEPS = (95.0, 81.0, 66.0, 51.0, 36.0, 20.0)
PLACES = [(row, col) for row in (150, 450, 750) for col in (160, 400, 640)]
TINTS = [(1.5, 0.9, 0.6), (0.6, 1.1, 1.3), (1.2, 0.9, 1.4)]
SIZE = (900, 1200)


def board(path, lightness=PILE, *, reference="card", light=None):
    """Write a photograph of tinted squares on a white board, with a reference at the right, and return its path."""
    things = [
        (box(place, 150, degrees=7 * number), tinted(value, TINTS[number % 3]))
        for number, (place, value) in enumerate(zip(PLACES, lightness, strict=False))
    ]
    cv2.imwrite(str(path), drawn(things + references(reference), size=SIZE, light=light)[..., ::-1])
    return path


def tinted(lightness, tint):
    """Linear light of this L* and tint."""
    tint = np.array(tint)
    return tint * (float(lightness_to_luminance(lightness)) / float(tint @ SRGB.luminance_weights))


def references(kind):
    """The grey card, two of them that differ, the scale of STEPS or nothing, as things at the right of the board."""
    if kind == "card":
        return [(box((450, 1000), 180, 140), [0.18] * 3)]
    if kind == "two cards":
        return [(box((250, 1000), 180, 140), [0.18] * 3), (box((650, 1000), 180, 140), [0.21] * 3)]
    if kind == "scale":
        return [(box((200 + 100 * number, 1000), 100, 120), [float(lightness_to_luminance(step))] * 3)
                for number, step in enumerate(STEPS)]
    return []


def chart(path, *, fault=None, across=0.0, seed=0):
    """
    Write a photograph of a 24-patch chart as a camera with a bent tone sees it, and return its path.

    fault: "veil", light mirrored in the whole chart; "burnt", the lightest greys at the camera's limit.
    across: how much more light falls on its right edge than on its left.
    """
    linear = np.clip(reference_xyz() @ np.linalg.inv(SRGB_TO_XYZ_D50).T, 0, 1)
    picture = np.full((700, 1000, 3), 0.35)
    picture[80:620, 80:920] = 0.02
    for number, colour in enumerate(linear):
        row, col = divmod(number, 6)
        picture[100 + 130 * row : 210 + 130 * row, 110 + 135 * col : 220 + 135 * col] = colour
    picture = cv2.GaussianBlur(picture, (0, 0), 0.8)
    picture = picture * np.linspace(1, 1 / (1 + across), 1000)[None, ::-1, None]
    picture = picture * {"burnt": 2.2}.get(fault, 0.85) + {"veil": 0.25}.get(fault, 0.0)
    encoded = linear_to_srgb1(np.clip(picture, 0, 1))
    bent = 0.8 * encoded + 0.2 * encoded**2 * (3 - 2 * encoded)
    noisy = bent * 255 + np.random.default_rng(seed).normal(0, 1.5, bent.shape)
    cv2.imwrite(str(path), np.clip(np.rint(noisy), 0, 255).astype(np.uint8)[..., ::-1])
    return path
