"""
How long the teaching charts take, of two hundred swatches with pictures, and a value study of a 12-megapixel picture.

    python tests/benchmarks/teaching.py [--runs N] [--json]

The peer of the charts is matplotlib alone: the same two hundred crops with `imshow` on a grid of `subplots`, its own
defaults. Each is timed from the table and the crops to the picture drawn as for a screen, 120 dots an inch; apart, what
writing it as a PDF takes. The study and its peer are those of `studies.py`. One core, one thread, processor time.
"""

from __future__ import annotations

import argparse
import io
import json
import statistics
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import studies
from common import ROOT, on_one_core, table

sys.path.insert(0, str(ROOT / "tests"))

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from contrastkit.show.crops import Crops

ASKED = 1.0  # seconds, of a chart, drawing included, and of a study
STUDY = (3, "fixed")


def drawn(figure: Figure) -> None:
    """Draw it as for a screen."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    figure.set_dpi(120)
    FigureCanvasAgg(figure).draw()


def printed(figure: Figure) -> None:
    """Write it as a PDF, to memory."""
    figure.savefig(io.BytesIO(), format="pdf", dpi=300)


def grid(crops: Crops) -> Figure:
    """Return the crops on a grid, as matplotlib does it by itself."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10, 8))
    for axes, (name, crop) in zip(figure.subplots(10, 20).flat, crops.items(), strict=True):
        axes.imshow(crop)
        axes.set_title(name, fontsize=6)
        axes.set_axis_off()
    return figure


def seconds(work: Callable[[], Any], runs: int) -> tuple[float, float]:
    """Return the median of so many runs, and the first, in which what is kept is not there yet."""
    took = [studies.seconds(work) for _ in range(runs)]
    return statistics.median(took), took[0]


def charts(runs: int) -> list[dict[str, Any]]:
    """Return a line for the peer and one for every chart that the pile allows."""
    from demo import many_pieces

    from contrastkit.cli.charts import CHARTS

    some, crops = many_pieces(200)
    peer, _ = seconds(lambda: drawn(grid(crops)), runs)
    figure = grid(crops)
    peer_printed, _ = seconds(lambda: printed(figure), runs)
    lines = [row("matplotlib, 200 pictures", peer, None, peer_printed, peer, None)]
    for kind, lesson in CHARTS.items():
        took, first = seconds(lambda lesson=lesson: drawn(lesson.draw(some, crops).figure), runs)  # type: ignore[misc]
        figure = lesson.draw(some, crops).figure
        saved, _ = seconds(lambda figure=figure: printed(figure), runs)  # type: ignore[misc]
        lines.append(row(kind, took, first, saved, peer, ASKED))
    return lines


def study(runs: int) -> list[dict[str, Any]]:
    """Return the lines of a value study: worked out, and drawn as well."""
    from contrastkit.show.studies import study_chart, value_study

    image = studies.photograph()
    values, method = STUDY
    known = studies.timed("12 megapixels", image, values, method, runs)
    took, first = seconds(lambda: drawn(study_chart(value_study(image, values=values, method=method)).figure), runs)
    return [
        row("value study, 12 megapixels", known["seconds"], None, None, known["peer_seconds"], ASKED),
        row("the same, drawn", took, first, None, known["peer_seconds"], None),
    ]


def row(what: str, took: float, first: float | None, saved: float | None, peer: float, asked: float | None) -> dict[
    str, Any]:
    """Return a row of the result."""
    return {"what": what, "asked": asked, "seconds": took, "first": first, "pdf": saved, "ratio": took / peer}


def main() -> None:
    """Print the table, or the numbers as JSON."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    on_one_core()
    results = [*charts(options.runs), *study(options.runs)]
    if options.json:
        print(json.dumps(results, indent=2))
        return

    def number(value: float | None) -> str:
        return "-" if value is None else f"{value:.2f} s"

    rows = [[one["what"], "-" if one["asked"] is None else f"≤ {one['asked']:.1f} s", number(one["seconds"]),
             number(one["first"]), f"{one['ratio']:.2f} ×", number(one["pdf"])] for one in results]
    print(table("Teaching charts of 200 swatches with pictures; one core, processor time",
                ["chart", "asked", "drawn", "the first", "to the peer", "and a PDF"], rows))


if __name__ == "__main__":
    main()
