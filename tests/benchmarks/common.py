"""
What the benchmarks share: one core, scenes rendered to files, pieces paired with their truth, tables.

Nothing heavy is imported at the top, so that a script can choose its core and threads before numpy starts.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from contrastkit.camera.synthetic import Scene

    Outline = NDArray[np.float64]

ROOT = Path(__file__).parents[2]
SHARED = ROOT.parent / "shared"
OVERLAP = 0.8  # intersection over union from which a piece counts as found
SCALE = "scale=95.5,81,66,50.5,35.5,20.5"  # the steps that `synthetic` renders

_THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS")


# --- one core ---------------------------------------------------------------------------------------------------------


def on_one_core() -> None:
    """Start this script again with one thread a library, on one core: both must be set before numpy is imported."""
    if any(os.environ.get(name) != "1" for name in _THREADS):
        os.environ.update(dict.fromkeys(_THREADS, "1"))
        sys.stdout.flush()
        os.execv(sys.executable, [sys.executable, *sys.argv])
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
    import cv2

    cv2.setNumThreads(1)


# --- scenes -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Rendered:
    """A scene on disk: its seed, its JPEG, and all that is true of it."""

    seed: int
    path: Path
    scene: Scene


def rendered_scenes(
    folder: Path, count: int, seed: int, *, maker: str = "", **overrides: Any
) -> Iterator[Rendered]:
    """
    Yield `count` scenes from this seed on, each rendered to a JPEG; seeds whose pieces find no room are passed over.

    Parameters
    ----------
    folder : where the JPEG goes; it is taken away again before the next
    count, seed : how many, and the first seed
    maker : a name to write into the file, as a camera does that develops its own pictures
    overrides : what is not left to chance, by the names of SceneSpec
    """
    from contrastkit.camera.synthetic import random_spec, render_scene, save_scene
    from contrastkit.errors import InvalidInputError

    made = 0
    while made < count:
        try:
            scene = render_scene(random_spec(seed, **overrides))
        except InvalidInputError:  # no room; any other fault of a random spec would be one of `synthetic`
            seed += 1
            continue
        path = folder / f"scene-{seed}.jpg"
        save_scene(scene, path)
        if maker:
            _sign(scene, path, maker)
        yield Rendered(seed, path, scene)
        path.unlink(missing_ok=True)
        made, seed = made + 1, seed + 1


def _sign(scene: Scene, path: Path, maker: str) -> None:
    """Write the photograph again with the maker's name in it, else as `save_scene` does."""
    from PIL import ExifTags, Image

    photo = Image.fromarray(scene.codes)
    exif = photo.getexif()
    exif[ExifTags.Base.Make], exif[ExifTags.Base.Model] = maker, "rendered"
    photo.save(path, quality=scene.spec.quality, subsampling=2, exif=exif)


def outlines(column: Iterable[str]) -> list[Outline]:
    """Return the outlines of a table's column as arrays of (row, col) corners."""
    import numpy as np

    return [np.array(json.loads(text), dtype=float) for text in column]


# --- pieces and their truth -------------------------------------------------------------------------------------------


def overlap(one: Outline, other: Outline) -> float:
    """
    Return intersection over union of two outlines, 0-1, counted in pixels.

    >>> import numpy as np
    >>> square = np.array([[0, 0], [0, 99], [99, 99], [99, 0]], dtype=float)
    >>> overlap(square, square), overlap(square, square + [0, 50]), overlap(square, square + 200)
    (1.0, 0.3333333333333333, 0.0)
    """
    import cv2
    import numpy as np

    both = np.concatenate([one, other])
    low, high = np.floor(both.min(axis=0)) - 1, np.ceil(both.max(axis=0)) + 2
    masks = []
    for outline in (one, other):
        mask = np.zeros(tuple((high - low).astype(int)), np.uint8)
        cv2.fillPoly(mask, [np.round((outline - low)[:, ::-1] * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
        masks.append(mask > 0)
    return float((masks[0] & masks[1]).sum() / (masks[0] | masks[1]).sum())


def pairs(found: Sequence[Outline], true: Sequence[Outline]) -> list[tuple[int, int]]:
    """
    Return (found, true) numbers of the outlines that overlap by at least OVERLAP, each used once, the best first.

    >>> import numpy as np
    >>> square = np.array([[0, 0], [0, 99], [99, 99], [99, 0]], dtype=float)
    >>> pairs([square + 300, square + 1], [square, square + 1000])
    [(1, 0)]
    """
    near = []
    for number, one in enumerate(found):
        for other, truth in enumerate(true):
            boxes_meet = (one.min(axis=0) <= truth.max(axis=0)).all() and (truth.min(axis=0) <= one.max(axis=0)).all()
            share = overlap(one, truth) if boxes_meet else 0.0
            if share >= OVERLAP:
                near.append((share, number, other))
    taken: list[tuple[int, int]] = []
    for _, number, other in sorted(near, reverse=True):
        if all(number != a and other != b for a, b in taken):
            taken.append((number, other))
    return taken


# --- printing ---------------------------------------------------------------------------------------------------------


def table(title: str, header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """
    Return a table in plain text: the first column to the left, the others to the right.

    >>> print(table("Eggs", ["what", "asked", "got"], [["fresh", "≥ 12", "13"]]))
    Eggs
      what   asked  got
      fresh   ≥ 12   13
    """
    widths = [max(len(row[column]) for row in [header, *rows]) for column in range(len(header))]
    lines = ["  ".join(cell.ljust(width) if column == 0 else cell.rjust(width)
                       for column, (cell, width) in enumerate(zip(row, widths, strict=True))).rstrip()
             for row in [header, *rows]]
    return "\n".join([title, *(f"  {line}" for line in lines)])
