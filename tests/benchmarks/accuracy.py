"""
How many pieces are found, how far off their lightness is, and whether sigma is honest: on rendered scenes with their
truth, against the script of an afternoon, and on real photographs of charts where there are any.

    python tests/benchmarks/accuracy.py [--scenes N] [--seed S] [--json]

Each scene is a 12-megapixel photograph rendered from spectra and saved as JPEG 92; lights, cameras, boards and faults
are drawn by chance (`synthetic.random_spec`). None of the numbers depends on the computer.
"""

from __future__ import annotations

import argparse
import json
import tempfile
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import charts
from common import SCALE, Rendered, outlines, pairs, rendered_scenes, table

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

EDGES = (40.0, 70.0)  # L*, between dark, medium and light
SEED = 7000  # far from any seed the project was tuned on


@dataclass
class Tally:
    """Pieces counted over many scenes; one true lightness, lightness and sigma for each that was found."""

    pieces: int = 0
    extras: int = 0
    refused: list[str] = field(default_factory=list)
    true: list[float] = field(default_factory=list)
    lightness: list[float] = field(default_factory=list)
    sigma: list[float] = field(default_factory=list)

    def add(
        self,
        rendered: Rendered,
        found: Sequence[NDArray[np.float64]],
        lightness: Sequence[float],
        sigma: Sequence[float] = (),
    ) -> None:
        """Pair the found outlines of one scene with the true ones and count."""
        truth = rendered.scene.truth
        matched = pairs(found, outlines(truth["outline"]))
        self.pieces += len(truth)
        self.extras += len(found) - len(matched)
        self.true += [float(truth["lightness"].iloc[other]) for _, other in matched]
        self.lightness += [lightness[number] for number, _ in matched]
        self.sigma += [sigma[number] for number, _ in matched] if sigma else []

    def refuse(self, rendered: Rendered, reason: str) -> None:
        """Count all pieces of a scene as missed."""
        self.pieces += len(rendered.scene.truth)
        self.refused.append(f"seed {rendered.seed}: {reason}")

    def numbers(self) -> dict[str, float]:
        """
        Return every number of the benchmark by name, shares 0-1 and differences in L*.

        Extras are rows that overlap no true piece enough, badly outlined pieces included, as a share of the pieces.
        Errors are those of the pieces found. Without a sigma there is no share within it.
        """
        import numpy as np

        error = np.abs(np.array(self.lightness) - np.array(self.true))
        wrong = np.digitize(self.lightness, EDGES) != np.digitize(self.true, EDGES)
        numbers = {
            "pieces": self.pieces,
            "found": len(error) / self.pieces,
            "extras": self.extras / self.pieces,
            "median": float(np.median(error)),
            "p95": float(np.quantile(error, 0.95)),
            "wrong_group": float(wrong.mean()),
            "refused": len(self.refused),
        }
        within = {f"within_{count}_sigma": float((error <= count * np.array(self.sigma)).mean()) for count in (1, 2)
                  if self.sigma}
        return numbers | within

    def joined(self, other: Tally) -> Tally:
        """Return both counted as one."""
        return Tally(**{item.name: getattr(self, item.name) + getattr(other, item.name) for item in fields(Tally)})


def _measure(rendered: Rendered, reference: str, tally: Tally) -> None:
    from contrastkit.camera.pipeline import measure_photo
    from contrastkit.errors import ContrastkitError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a scene with nothing found is counted, not announced
            measured = measure_photo(rendered.path, reference=reference).table
    except ContrastkitError as error:
        tally.refuse(rendered, str(error))
        return
    tally.add(rendered, outlines(measured["outline"]), list(measured["lightness"]), list(measured["lightness_sigma"]))


def _peer(rendered: Rendered, tally: Tally) -> None:
    import afternoon
    import numpy as np

    lightness = rendered.scene.reference_lightness
    grey = int(np.argmin(np.abs(np.array(lightness) - 50)))  # the step of a scale that is nearest to a grey card
    found, measured = afternoon.measure(
        rendered.path, np.array(rendered.scene.reference_patches[grey]), lightness[grey])
    tally.add(rendered, found, measured)


def scene_rows(
    ours: dict[str, float], peers: dict[str, float], asked: tuple[str, str, str, str, str]
) -> list[tuple[str, str, str, str, str]]:
    """Return what was asked, what we got, what the peer got, and the ratio of the two, line by line."""
    def times(theirs: float, own: float) -> str:
        return f"{theirs / own:.1f} ×" if own > 0 else "-"

    def line(title: str, wanted: str, name: str, form: str) -> tuple[str, str, str, str, str]:
        return (title, wanted, format(ours[name], form), format(peers[name], form), times(peers[name], ours[name]))

    found = line("found, outlines overlap ≥ 0.8 (ratio: missed)", asked[0], "found", ".1%")
    return [
        (*found[:4], times(1 - peers["found"], 1 - ours["found"])),
        line("extras", asked[1], "extras", ".1%"),
        line("|ΔL*| median", asked[2], "median", ".2f"),
        line("|ΔL*| 95th percentile", asked[3], "p95", ".2f"),
        line("in the wrong group (40, 70)", asked[4], "wrong_group", ".1%"),
        *sigma_rows(ours, asked=asked[0] != "-"),
        ("photographs refused", "", f"{ours['refused']:.0f}", "-", ""),
    ]


def sigma_rows(numbers: dict[str, float], *, asked: bool = True) -> list[tuple[str, str, str, str, str]]:
    """Return the two lines that say whether sigma is honest."""
    wanted = ("58-78 %", "≥ 92 %") if asked else ("-", "-")
    return [(f"errors within {count} sigma", wanted[count - 1], f"{numbers[f'within_{count}_sigma']:.1%}", "-", "")
            for count in (1, 2)]


@dataclass(frozen=True)
class Kind:
    """A kind of scene: what is fixed of it, what it is measured against, and what is asked of the first five lines."""

    name: str
    title: str
    reference: str
    overrides: dict[str, Any]
    asked: tuple[str, str, str, str, str]


KINDS = (
    Kind("card", "One 18 % grey card, plain sRGB tone", "card", {"reference": "card", "tone": "srgb"},
         ("≥ 98 %", "≤ 1 %", "≤ 0.5", "≤ 2.0", "≤ 3 %")),
    Kind("scale", "Six-step scale, phone-like tone curve and saturation × 1.15", SCALE,
         {"reference": "scale", "tone": "phone"}, ("≥ 98 %", "≤ 1 %", "≤ 1.0", "≤ 3.0", "≤ 3 %")),
    Kind("card_phone", "What a card cannot know: one card, phone-like tone curve and saturation × 1.15", "card",
         {"reference": "card", "tone": "phone", "maker": "telephone"}, ("-",) * 5),
)
TOGETHER = ("card", "scale")  # the kinds over which sigma is to be honest


def run(kind: Kind, count: int, seed: int, *, told: Callable[[str], None] | None = None) -> tuple[Tally, Tally]:
    """Return what the package and what the peer made of the same scenes."""
    ours, peers = Tally(), Tally()
    with tempfile.TemporaryDirectory() as folder:
        for number, rendered in enumerate(rendered_scenes(Path(folder), count, seed, **kind.overrides), start=1):
            if told is not None:
                told(f"{kind.name}: scene {number} of {count} (seed {rendered.seed})")
            _measure(rendered, kind.reference, ours)
            _peer(rendered, peers)
    return ours, peers


def main() -> None:
    """Print the tables, or everything as JSON."""
    import sys

    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("--scenes", type=int, default=30, help="rendered scenes of each kind (30)")
    parser.add_argument("--seed", type=int, default=SEED, help=f"seed of the first scene ({SEED})")
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")
    asked = parser.parse_args()

    def told(line: str) -> None:
        print(line, file=sys.stderr, flush=True)

    results: dict[str, Any] = {"scenes": asked.scenes, "seed": asked.seed}
    tables, both = [], Tally()
    for kind in KINDS:
        ours, peers = run(kind, asked.scenes, asked.seed, told=told)
        results[kind.name] = {
            "contrastkit": ours.numbers(), "afternoon_script": peers.numbers(), "refused": ours.refused}
        tables.append(table(
            f"{kind.title}: {asked.scenes} scenes from seed {asked.seed}, {ours.pieces} pieces",
            ["", "asked", "contrastkit", "afternoon script", "ratio"],
            scene_rows(ours.numbers(), peers.numbers(), kind.asked)))
        tables += [f"  refused, {line}" for line in ours.refused]
        both = both.joined(ours) if kind.name in TOGETHER else both
    results["together"] = both.numbers()
    honest = [row[:3] for row in sigma_rows(both.numbers())]
    tables.append(table("The first two kinds together", ["", "asked", "contrastkit"], honest))
    results["charts"] = charts.run()
    title = "Real photographs of charts, |ΔL*| of the colours"
    header = ["", "asked", "mean", "largest", "colours", "by greys alone, mean"]
    tables.append(table(title, header, charts.rows(results["charts"])) if results["charts"]
                  else f"{title}: no such folder here")
    print(json.dumps(results, indent=2) if asked.json else "\n\n".join(tables))


if __name__ == "__main__":
    main()
