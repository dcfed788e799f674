"""The demo pile, kept in a catalogue as someone keeps it who has photographed it."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from contrastkit.camera.pipeline import measure_each
from contrastkit.keep.catalogue import open_catalogue
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
