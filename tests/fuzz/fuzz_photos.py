"""
Fuzz the way from a file to a table with Atheris, which is libFuzzer for Python.

    python3 -m venv .fuzz && .fuzz/bin/pip install -e '.[test]' atheris
    nice -n 19 .fuzz/bin/python tests/fuzz/fuzz_photos.py --minutes 30

Options with one dash go to libFuzzer. `--minutes` fuzzes for so long, in a new process every two minutes, since Atheris
lets go of no file that it has made. Files are spoilt as in `fuzz_mutations.py`, or by libFuzzer itself, and judged as
in `fuzz_target.py`. What shows a fault is kept in the folder FOUND, named by its fault, and fuzzing goes on; a file
that ends the process is kept as crash-, oom- or timeout-... where it was started. FOUND/summary*.txt say what was
tried, what came of it, and which files were slowest and largest. What reaches new code is added to the folder CORPUS.
"""

from __future__ import annotations

import argparse
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

SEEDS = Path(__file__).parent / "seeds"
_WATCHED = (  # what is listened to for new paths: our own code, and what Pillow does in Python
    "contrastkit.camera", "contrastkit.light", "PIL.TiffImagePlugin", "PIL.PngImagePlugin", "PIL.JpegImagePlugin",
    "PIL.WebPImagePlugin", "PIL.ImageFile", "PIL.ImageCms",
)
_TELL = 500  # files after which the summary is written anew
_OWN = 0.5  # share of files that are spoilt with knowledge of their format
_PIECE = 120  # seconds of one process
_LIBFUZZER = {
    "max_len": "150000", "timeout": "60", "rss_limit_mb": "8192", "print_final_stats": "1", "reload": "0",
    "len_control": "0",
}


class _Run:
    """What one run keeps: where it writes, and what it has seen."""

    def __init__(self, folder: Path, found: Path, piece: str, faults: Any) -> None:
        self.folder, self.found, self.piece, self.target = folder, found, piece, faults
        self.runs = 0
        self.at_first = 0  # bytes in memory when the first file came
        self.slowest: tuple[float, str] = (0.0, "")
        self.largest: tuple[int, str] = (0, "")
        self.outcomes: dict[str, int] = {}
        self.faults: dict[str, int] = {}
        self.started = time.monotonic()

    def once(self, data: bytes) -> None:
        """Try one file: what libFuzzer calls."""
        self.runs += 1
        if self.runs % _TELL == 0:
            (self.found / f"summary{self.piece}.txt").write_text(self.summary() + "\n", encoding="utf-8")
        suffix = ".nef" if self.target.way_of(data).reference == "chart" else ".jpg"
        path = self.folder / f"photo{suffix}"
        path.write_bytes(data)
        # libFuzzer and its corpus grow by a gigabyte in minutes, which no file is charged for
        self.at_first = self.at_first or self.target.memory_now()
        kept = max(0, self.target.memory_now() - self.at_first)
        try:
            outcome = self.target.tried(path, self.target.way_of(data), not_counted=kept)
        except self.target.Fault as fault:
            self._keep(data, self.target.signature(fault), str(fault))
            return
        word = outcome.words.split(":")[0] + (", pieces" if outcome.pieces else "")
        self.outcomes[word] = self.outcomes.get(word, 0) + 1
        if outcome.seconds > self.slowest[0]:
            self.slowest = (outcome.seconds, self._shown(data, "slowest"))
        if outcome.memory > self.largest[0]:
            self.largest = (outcome.memory, self._shown(data, "largest"))

    def _keep(self, data: bytes, signature: str, words: str) -> None:
        self.faults[signature] = self.faults.get(signature, 0) + 1
        if self.faults[signature] <= 3:
            name = "".join(letter if letter.isalnum() else "-" for letter in signature)[:80]
            (self.found / f"{name}-{self.faults[signature]}").write_bytes(data)
            print(f"FAULT {signature}: {words[:300]}", file=sys.stderr, flush=True)

    def _shown(self, data: bytes, name: str) -> str:
        (self.found / name).write_bytes(data)
        return f"{len(data)} bytes, kept as {name}"

    def summary(self) -> str:
        """Return what was tried and what came of it."""
        took = time.monotonic() - self.started
        lines = [
            f"{self.runs} files in {took:.0f} s",
            f"slowest: {self.slowest[0]:.2f} s ({self.slowest[1]})",
            f"in memory now: {self.target.memory_now() / 1e6:.0f} MB",
            f"most memory: {self.largest[0] / 1e6:.0f} MB ({self.largest[1]})",
            *(f"{count:8d}  {word}" for word, count in sorted(self.outcomes.items(), key=lambda item: -item[1])),
            *(f"{count:8d}  FAULT {signature}" for signature, count in self.faults.items()),
        ]
        return "\n".join(lines)


def main(arguments: Sequence[str]) -> None:
    """Fuzz until libFuzzer's limit of time or runs, then say what was found."""
    parser = argparse.ArgumentParser(description="Fuzz reading and measuring.")
    parser.add_argument("--corpus", type=Path, default=Path("fuzz-corpus"), metavar="CORPUS")
    parser.add_argument("--found", type=Path, default=Path("fuzz-found"), metavar="FOUND")
    parser.add_argument("--minutes", type=float, default=0, help="in a new process every two minutes")
    parser.add_argument("--piece", default="", help=argparse.SUPPRESS)
    options, libfuzzer = parser.parse_known_args(arguments)
    if options.minutes:
        places = [f"--corpus={options.corpus}", f"--found={options.found}"]
        sys.exit(_in_pieces(options.minutes * 60, [*libfuzzer, *places]))
    for folder in (options.corpus, options.found):
        folder.mkdir(parents=True, exist_ok=True)

    import atheris

    with atheris.instrument_imports(include=list(_WATCHED)):
        import fuzz_target
        from fuzz_mutations import mutated

        import contrastkit.camera.chart  # noqa: F401 (imported late, where it is used)
    fuzz_target.cv2.setNumThreads(1)
    donors = [path.read_bytes() for path in sorted(SEEDS.iterdir())]

    def spoilt(data: bytes, most: int, seed: int) -> bytes:
        chance = random.Random(seed)
        if chance.random() > _OWN or not data:
            return bytes(atheris.Mutate(data, most))
        with fuzz_target.listening():  # decoders tell the terminal what is wrong with a file that is to be painted over
            made = mutated(data, chance, chance.choice(donors))
        return made if len(made) <= most else data

    chosen = {argument.lstrip("-").partition("=")[0] for argument in libfuzzer}
    given = [f"-{name}={value}" for name, value in _LIBFUZZER.items() if name not in chosen]
    with tempfile.TemporaryDirectory(dir="/dev/shm" if os.path.isdir("/dev/shm") else None) as folder:
        run = _Run(Path(folder), options.found, options.piece, fuzz_target)
        atheris.Setup([sys.argv[0], *given, *libfuzzer, str(options.corpus), str(SEEDS)], run.once,
                      custom_mutator=spoilt)
        atheris.Fuzz()  # which ends the process itself


def _in_pieces(seconds: float, arguments: Sequence[str]) -> int:
    """Fuzz in one process after another, and return how many of them died of a file."""
    ends, died, number = time.monotonic() + seconds, 0, 0
    while (left := ends - time.monotonic()) > 1:
        number += 1
        limits = [f"-max_total_time={min(left, _PIECE):.0f}", f"--piece=-{number:02d}"]
        done = subprocess.run([sys.executable, __file__, *arguments, *limits], check=False)
        died += done.returncode != 0
        print(f"piece {number}: ended with {done.returncode}, {max(0, ends - time.monotonic()):.0f} s left", flush=True)
    return died


if __name__ == "__main__":
    main(sys.argv[1:])
