"""The demo pile, kept in a catalogue as someone keeps it who has photographed it."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import pandas as pd

from contrastkit.camera.pipeline import measure_each
from contrastkit.keep.catalogue import open_catalogue
from contrastkit.light.lightness import (
    lightness_to_luminance,
    linear_to_srgb1,
    luminance,
    luminance_to_lightness,
    srgb1_to_linear,
)
from contrastkit.show.gathered import pile_at
from contrastkit.show.study import Pile, find_photos, piece_crops

PHOTOS = Path(__file__).parents[1] / "data" / "thistlewick" / "photos"
GROUNDS = {"morning-card.jpg": "blue", "evening-scale.jpg": "red", "noon-chart.jpg": "black"}  # invented


def keep_demo(place: Path) -> Path:
    """Measure the demo photographs and keep all their pieces in a new catalogue."""
    photos = find_photos([PHOTOS])
    with open_catalogue(place, who="tester") as pile:
        for path, result in zip(photos, measure_each(photos), strict=True):
            pile.add(result, path=path, crops=piece_crops(result), side="4in", ground=GROUNDS[path.name])
    return place


@lru_cache(maxsize=1)
def demo_pile() -> Pile:
    """Measure the demo photographs once for all tests; nothing of it may be changed."""
    return pile_at([PHOTOS])


def demo_pieces() -> tuple[pd.DataFrame, dict[str, np.ndarray]]:
    """The table and the crops of the demo pile."""
    return demo_pile().table, demo_pile().crops


@lru_cache(maxsize=1)
def many_pieces(count=200):
    """Those of the demo again and again, each time in another light and with its primaries changed over."""
    table, crops = demo_pieces()
    chance = np.random.default_rng(3)
    rows, pictures = [], {}
    for number in range(count):
        row = table.iloc[number % len(table)].copy()
        share, crop = chance.uniform(0.6, 1.3), crops[row["swatch_id"]].copy()
        row["swatch_id"] = f"{row['swatch_id']} {number // len(table)}"
        for name in ("lightness", "lightness_paint", "lightness_ground", "lightness_rim"):
            row[name] = float(luminance_to_lightness(min(1.0, float(lightness_to_luminance(row[name])) * share)))
        row["hue_angle"] = chance.uniform(0, 360)
        light = srgb1_to_linear(crop[..., :3] / 255)
        mixed = light[..., chance.permutation(3)]
        mixed *= share * np.mean(luminance(light)) / np.mean(luminance(mixed))
        crop[..., :3] = np.round(255 * linear_to_srgb1(np.clip(mixed, 0, 1)))
        rows.append(row)
        pictures[row["swatch_id"]] = crop
    return pd.DataFrame(rows).reset_index(drop=True), pictures
