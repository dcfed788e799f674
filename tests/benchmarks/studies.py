"""
How long a value study of a 12-megapixel photograph takes, beside the way that scikit-image suggests.

    python tests/benchmarks/studies.py [--runs N] [--json]

The peer, on the same picture reduced to the same size: L* by `skimage.color`, sorted by `numpy.digitize`, smoothed by
`filters.rank.median`, small things taken out by `morphology.remove_small_objects`, traced by `measure.find_contours`,
simplified by `measure.approximate_polygon`. It leaves gaps between neighbours and says nothing of where a number has
room; ours also makes the true grey, the squint and the small picture. One core, one thread, processor time, in turn.
"""

from __future__ import annotations

import argparse
import json
import statistics
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from common import ROOT, on_one_core, table

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Image = NDArray[np.float32]

ASKED = 1.0  # seconds
WAYS = [(3, "fixed"), (5, "fixed"), (9, "named"), (9, "natural")]
SHAPE = (3000, 4000)
PHOTO = ROOT / "data/thistlewick/photos/evening-scale.jpg"  # 12 megapixels


def photograph() -> Image:
    """Return the demo's photograph in linear light, at 12 megapixels."""
    import cv2

    from contrastkit.camera.read import read_photo
    from contrastkit.show.studies import photo_subject

    image = photo_subject(read_photo(PHOTO)).image
    large: Image = cv2.resize(image, SHAPE[::-1], interpolation=cv2.INTER_LINEAR)
    return large


def clouds() -> Image:
    """Return a picture of soft patches, which has far more regions than most."""
    import cv2
    import numpy as np

    rng = np.random.default_rng(7)
    coarse = cv2.GaussianBlur(rng.normal(size=(750, 1000, 3)).astype(np.float32), (0, 0), 12)
    large: Image = cv2.resize(np.clip(0.3 + 0.2 * coarse / coarse.std(), 0, 1), SHAPE[::-1])
    return large


def ours(image: Image, values: int, method: str) -> int:
    """Return how many regions a study has."""
    from contrastkit.show.studies import value_study

    return len(value_study(image, values=values, method=method).regions)


def peer(image: Image, edges: tuple[float, ...], shape: tuple[int, int], pencil: int) -> int:
    """Return how many outlines scikit-image finds."""
    import cv2
    import numpy as np
    from skimage import filters, measure, morphology
    from skimage.color import xyz2lab

    small = cv2.resize(image, shape[::-1], interpolation=cv2.INTER_AREA)
    to_xyz = np.array(((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505)))
    labels = np.digitize(xyz2lab(small @ to_xyz.T)[..., 0], edges, right=True).astype(np.uint8)
    labels = filters.rank.median(labels, morphology.disk(pencil // 2))
    outlines = 0
    for value in np.unique(labels):
        patches = morphology.remove_small_objects(measure.label(labels == value, connectivity=1), max_size=pencil**2)
        for contour in measure.find_contours((patches > 0).astype(float), 0.5):
            outlines += len(measure.approximate_polygon(contour, 0.15)) > 3
    return outlines


def seconds(work: Callable[[], object]) -> float:
    """Return the processor time of one call."""
    start = time.process_time()
    work()
    return time.process_time() - start


def timed(name: str, image: Image, values: int, method: str, runs: int) -> dict[str, Any]:
    """Return what both take, the median of so many runs, and the ratio."""
    from contrastkit.show.studies import PENCIL_MM, value_study

    known = value_study(image, values=values, method=method)
    shape = (known.labels.shape[0], known.labels.shape[1])
    mine, theirs = [], []
    for _ in range(runs):
        mine.append(seconds(lambda: ours(image, values, method)))
        theirs.append(seconds(lambda: peer(image, known.breaks.edges, shape, round(6 * PENCIL_MM))))
    took, peer_took = statistics.median(mine), statistics.median(theirs)
    return {"picture": name, "values": values, "method": method, "regions": len(known.regions), "seconds": took,
            "peer_seconds": peer_took, "ratio": took / peer_took, "asked": ASKED}


def from_file(runs: int) -> dict[str, Any]:
    """Return what the JPEG file takes, reading and all."""
    from contrastkit.camera.read import read_photo
    from contrastkit.show.studies import photo_subject, value_study

    regions = len(value_study(photo_subject(read_photo(PHOTO)).image).regions)
    took = statistics.median(seconds(lambda: value_study(photo_subject(read_photo(PHOTO)).image)) for _ in range(runs))
    return {"picture": "JPEG file", "values": 3, "method": "fixed", "regions": regions, "seconds": took,
            "peer_seconds": None, "ratio": None, "asked": ASKED}


def run(runs: int) -> list[dict[str, Any]]:
    """Return one line for the file, and one for each picture and way."""
    pictures = (("photograph", photograph()), ("clouds", clouds()))
    return [from_file(runs),
            *(timed(name, image, values, method, runs) for name, image in pictures for values, method in WAYS)]


def main() -> None:
    """Print the table, or the numbers as JSON."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    on_one_core()
    results = run(options.runs)
    if options.json:
        print(json.dumps(results, indent=2))
        return
    rows = [[f"{one['picture']}, {one['values']} {one['method']}", str(one["regions"]), f"≤ {one['asked']:.1f} s",
             f"{one['seconds']:.2f} s",
             *(["-", "-"] if one["ratio"] is None else [f"{one['peer_seconds']:.2f} s", f"{one['ratio']:.2f} ×"])]
            for one in results]
    print(table("A value study of 12 megapixels, one core, processor time",
                ["picture, values", "regions", "asked", "ours", "scikit-image", "ratio"], rows))


if __name__ == "__main__":
    main()
