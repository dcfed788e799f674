"""A pile of our own making for the tests of what is shown: a swatch table and the pieces cut out of no photograph."""

import json

import numpy as np
import pandas as pd

from contrastkit.columns import SWATCHES, check_table
from contrastkit.compose.groups import fixed_breaks, sort_into_groups
from contrastkit.light.lightness import lightness_to_luminance, lightness_to_munsell_value, linear_to_srgb1

BREAKS = fixed_breaks()
SHAPES = {
    "square": [(-0.7, -0.7), (-0.7, 0.7), (0.7, 0.7), (0.7, -0.7)],
    "triangle": [(-0.8, -0.8), (0.8, 0.8), (0.8, -0.8)],
    "strip": [(-0.35, -0.95), (-0.35, 0.95), (0.35, 0.95), (0.35, -0.95)],
}


def made_table(count=20, *, seed=1, photos=3):
    """A table as the camera fills it, sorted into groups: lightness spread over the scale, some of it borderline."""
    rng = np.random.default_rng(seed)
    lightness = np.clip(rng.normal(52, 20, count), 8, 96)
    shapes = rng.choice(list(SHAPES), count, p=[0.6, 0.2, 0.2])
    table = pd.DataFrame({
        "swatch_id": [f"{'abc'[i % photos]}-{i // photos + 1:02d}" for i in range(count)],
        "photo": [f"board-{'abc'[i % photos]}.jpg" for i in range(count)],
        "outline": [made_outline(shape, rng) for shape in shapes],
        "lightness": lightness,
        "lightness_sigma": rng.uniform(0.5, 1.8, count),
        "munsell_value": lightness_to_munsell_value(lightness),
        "lightness_apparent_low": lightness + 1,
        "lightness_apparent_high": lightness + rng.choice([2, 9], count),
        "area": 90_000.0,
        "reference": "card",
        "flags": [{3: "glare", 7: "uneven; too small"}.get(i, "") for i in range(count)],
    })
    return sort_into_groups(check_table(table, SWATCHES), BREAKS)


def made_outline(shape, rng):
    """Corners of a piece somewhere in a photograph of 3000 by 4000 pixels, as the table writes them."""
    angle, middle = rng.uniform(-0.6, 0.6), rng.uniform((400, 400), (2600, 3600))
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return json.dumps(np.round(np.array(SHAPES[shape]) @ turn * 210 + middle, 1).tolist())


def made_crops(table, *, size=300, seed=2):
    """The pieces' bounding boxes: woven, rubbed with colour, on a light board."""
    rng = np.random.default_rng(seed)
    return {
        row.swatch_id: made_crop(json.loads(row.outline), row.lightness, size, rng) for row in table.itertuples()
    }


def made_crop(outline, lightness, size, rng):
    """One bounding box whose linear mean has this lightness."""
    corners = np.array(outline)
    height, width = np.ptp(corners, axis=0) / np.ptp(corners, axis=0).max() * size
    rows, cols = np.mgrid[: round(height), : round(width)]
    weave = 1 + 0.18 * np.sin(rows * 1.3) * np.sin(cols * 1.3) + 0.1 * rng.standard_normal(rows.shape)
    motif = 1 + 0.35 * np.sign(np.sin(rows / 17 + 2 * np.sin(cols / 23)))
    tint = 1 + rng.uniform(-0.5, 0.5, 3)
    light = (weave * motif)[..., None] * tint / (tint @ [0.2126, 0.7152, 0.0722])
    light *= float(lightness_to_luminance(lightness)) / light.mean(axis=(0, 1)).dot([0.2126, 0.7152, 0.0722])
    return np.round(linear_to_srgb1(np.clip(light, 0, 1)) * 255).astype(np.uint8)
