"""
How long a 12-megapixel JPEG takes from file to table, beside what Pillow takes to open the same file; how much memory;
how soon the command answers.

    python tests/benchmarks/speed.py [--runs N] [--json]

One core, one thread; both sides are timed in turn, in one process, on the same file, by the processor time they use,
so that neighbours on the computer do not count. The ratio is what can be compared between computers.
Memory is the most a fresh process held at once, libraries included.
"""

from __future__ import annotations

import argparse
import json
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from common import ROOT, SCALE, on_one_core, rendered_scenes, table

SEED = 7100
DEMO_REFERENCES = {"morning-card.jpg": "card", "evening-scale.jpg": SCALE, "noon-chart.jpg": "chart"}


@dataclass(frozen=True)
class Subject:
    """A photograph to time, what to measure it against, and the corners (row, col) of one of its greys."""

    name: str
    path: Path
    reference: str
    card: tuple[tuple[float, float], ...] = ()
    card_lightness: float = 0.0


def subjects(folder: Path) -> Iterator[Subject]:
    """Yield the demo photographs and a few rendered scenes, one on each kind of board."""
    for path in sorted(ROOT.glob("data/*/photos/*.jpg")):
        yield Subject(path.name, path, DEMO_REFERENCES.get(path.name, "auto"))
    for backing in ("white", "grey", "black"):
        for rendered in rendered_scenes(folder, 1, SEED, backing=backing, reference="card", pieces=16):
            scene = rendered.scene
            yield Subject(f"rendered, 16 pieces, {backing} board", rendered.path, "card", scene.reference_patches[0],
                          scene.reference_lightness[0])


# --- time -------------------------------------------------------------------------------------------------------------


def processor_seconds(work: Callable[[], object]) -> float:
    """Return the processor time of one call."""
    start = time.process_time()
    work()
    return time.process_time() - start


def timed(subject: Subject, runs: int) -> dict[str, Any]:
    """Return the median times of the package, of Pillow and, once, of the afternoon script; and their ratios."""
    from PIL import Image

    from contrastkit.camera.pipeline import measure_photo

    def ours() -> object:
        return measure_photo(subject.path, reference=subject.reference).table

    def pillow() -> object:
        return Image.open(subject.path).convert("RGB")

    ours(), pillow()  # the first call loads what is loaded late
    both = [(processor_seconds(ours), processor_seconds(pillow)) for _ in range(runs)]
    measured, opened = (statistics.median(times) for times in zip(*both, strict=True))
    return {"name": subject.name, "contrastkit_s": measured, "pillow_s": opened, "ratio": measured / opened,
            "afternoon_script_s": _afternoon(subject), "peak_mb": peak_memory(subject)}


def _afternoon(subject: Subject) -> float | None:
    if not subject.card:
        return None
    import afternoon
    import numpy as np

    return processor_seconds(
        lambda: afternoon.measure(subject.path, np.array(subject.card), subject.card_lightness))


# --- memory -----------------------------------------------------------------------------------------------------------

# ru_maxrss of a fresh process begins at what its parent held, on Linux; the kernel's own high-water mark does not.
_MEASURE = """
import sys
from contrastkit.camera.pipeline import measure_photo
measure_photo(sys.argv[1], reference=sys.argv[2])
try:
    status = open("/proc/self/status").read()
    print(int(status.partition("VmHWM:")[2].split()[0]) * 1024)
except OSError:
    import resource
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024))
"""


def peak_memory(subject: Subject) -> float:
    """Return the most memory a fresh process held while it measured one photograph, MB (10^6 bytes)."""
    command = [sys.executable, "-W", "ignore", "-c", _MEASURE, str(subject.path), subject.reference]
    return int(subprocess.run(command, check=True, capture_output=True, text=True, cwd=ROOT).stdout) / 1e6


# --- start ------------------------------------------------------------------------------------------------------------


def started(arguments: list[str], runs: int) -> float:
    """Return the median wall time of a fresh process."""
    times = []
    for _ in range(runs + 1):  # the first fills the disk's cache
        start = time.perf_counter()
        subprocess.run(arguments, check=True, capture_output=True, cwd=ROOT)
        times.append(time.perf_counter() - start)
    return statistics.median(times[1:])


def starts(runs: int) -> dict[str, float]:
    """Return how long Python takes to do nothing, to import the package, and the command to say what it can do."""
    command = shutil.which("contrastkit", path=str(Path(sys.executable).parent))
    own = [command] if command else [sys.executable, "-m", "contrastkit"]
    return {
        "python -c pass": started([sys.executable, "-c", "pass"], runs),
        "import contrastkit": started([sys.executable, "-c", "import contrastkit"], runs),
        "contrastkit --help": started([*own, "--help"], runs),
    }


# --- tables -----------------------------------------------------------------------------------------------------------


def photo_table(results: list[dict[str, Any]]) -> str:
    """Return the table of times and memory."""
    rows = []
    for one in results:
        peer = one["afternoon_script_s"]
        rows.append([one["name"], f"{one['contrastkit_s'] * 1e3:.0f} ms", f"{one['pillow_s'] * 1e3:.0f} ms",
                     f"{one['ratio']:.2f} ×", "-" if peer is None else f"{peer / one['contrastkit_s']:.0f} ×",
                     f"{one['peak_mb']:.0f} MB"])
    rows.append(["median", "", "", f"{statistics.median(one['ratio'] for one in results):.2f} ×", "", ""])
    rows.append(["asked", "", "", "≤ 1.50 ×", "", "≤ 400 MB"])
    return table("12-megapixel JPEG, file to table, one core, processor time",
                 ["", "contrastkit", "Pillow opens it", "ratio", "afternoon script", "peak memory"], rows)


def start_table(times: dict[str, float]) -> str:
    """Return the table of starts."""
    nothing = times["python -c pass"]
    asked = {"import contrastkit": "≤ 0.3 s", "contrastkit --help": "≤ 0.5 s"}
    rows = [[name, asked.get(name, ""), f"{seconds:.3f} s", f"{seconds / nothing:.1f} ×"]
            for name, seconds in times.items()]
    return table("Fresh process, wall time", ["", "asked", "took", "over nothing"], rows)


def main() -> None:
    """Print the tables, or everything as JSON."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n\n")[0])
    parser.add_argument("--runs", type=int, default=9, help="runs of which the median is taken (9)")
    parser.add_argument("--json", action="store_true", help="print JSON instead of tables")
    asked = parser.parse_args()
    on_one_core()
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        photos = [timed(subject, asked.runs) for subject in subjects(Path(folder))]
    start = starts(asked.runs)
    if asked.json:
        print(json.dumps({"photos": photos, "start_s": start}, indent=2))
    else:
        print(photo_table(photos), start_table(start), sep="\n\n")


if __name__ == "__main__":
    main()
