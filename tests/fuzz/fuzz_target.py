"""
One run of the fuzzer: a file is read and measured, and whatever comes out of that is judged.

A photograph and its table, or one of our own errors, may come out. Anything else is a fault: another exception, a
warning that is not ours, a result that breaks its promise, more than SLOWEST seconds, more than MOST_MEMORY bytes.

    python tests/fuzz/fuzz_target.py FILE...                 try files, a line of JSON for each way
    python tests/fuzz/fuzz_target.py --spoil 1000 FILE...    try files made of them by chance, the same ones each time

Nothing here needs a fuzzer; `fuzz_photos.py` runs one over it.
"""

from __future__ import annotations

import os

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):  # read when numpy is first imported
    os.environ.setdefault(_threads, "1")

import argparse
import json
import random
import resource
import sys
import tempfile
import time
import traceback
import warnings
import zlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from unittest import mock

import cv2
import numpy as np
import pandas as pd  # in memory before the first run, so that no run is charged for it

from contrastkit.camera import pipeline
from contrastkit.camera.read import Photo, read_photo
from contrastkit.columns import SWATCHES, check_table
from contrastkit.errors import ContrastkitError, ContrastkitWarning

SLOWEST = 5.0  # seconds of processor time
MOST_MEMORY = 1_000_000_000  # bytes in memory at once, the interpreter and all its libraries among them
_LONGEST_SENTENCE = 500


@dataclass(frozen=True)
class Way:
    """How a file is measured: against what, where that lies, and how many pixels are kept of it."""

    reference: str = "auto"
    at: tuple[float, float, float, float] | None = None
    target_pixels: int = 3_000_000


SCALE = "scale=95,81,66,51,36,20"
WAYS = (
    Way(), Way(), Way(target_pixels=10_000), Way(target_pixels=1_000), Way("card"), Way("card", (20, 200, 160, 280)),
    Way(SCALE), Way(SCALE, target_pixels=10_000), Way("chart"), Way("chart", (5, 5, 120, 140)),
    Way("none", target_pixels=300), Way("auto", (10, 10, 60, 60)),
)


def way_of(data: bytes) -> Way:
    """Return the way that a file is tried while fuzzing: by its checksum, so that it is the same one next time."""
    return WAYS[zlib.crc32(data) % len(WAYS)]


def ways_of(data: bytes) -> tuple[Way, ...]:
    """Return the ways that a kept file is tried: as a user's photograph would be, and as while fuzzing."""
    return tuple(dict.fromkeys((Way(), way_of(data))))


class Fault(Exception):
    """What came out of reading and measuring must not; the text says what."""


@dataclass(frozen=True)
class Outcome:
    """What came out: in words, pieces measured, seconds of processor time, bytes in memory at the most."""

    words: str
    pieces: int
    seconds: float
    memory: int


def tried(path: Path, way: Way, *, not_counted: int = 0) -> Outcome:
    """
    Return what came out of reading and measuring a file one way.

    Parameters
    ----------
    not_counted : int
        Bytes in memory that are not its own: what a fuzzer has kept of earlier files.

    Raises
    ------
    Fault
        Something came out that must not, or it took too long or too much memory. Its cause is what came out.
    """
    reset_peak()
    started = time.process_time()
    with listening() as heard:
        try:
            words, pieces = _judged(path, way)
        except Fault:
            raise
        except Exception as error:
            raise Fault(f"{type(error).__name__}: {error}") from error
    outcome = Outcome(words, pieces, round(time.process_time() - started, 3), peak_memory() - not_counted)
    _must(not heard, f"wrote to the error output: {b''.join(heard)!r:.200}")
    if outcome.seconds > SLOWEST:
        raise Fault(f"took {outcome.seconds:.1f} s, more than {SLOWEST:g}")
    if outcome.memory > MOST_MEMORY:
        raise Fault(f"took {outcome.memory / 1e6:.0f} MB, more than {MOST_MEMORY / 1e6:.0f}")
    return outcome


def _judged(path: Path, way: Way) -> tuple[str, int]:
    with warnings.catch_warnings(record=True) as given:
        warnings.simplefilter("always")
        try:
            # measured at the size that was asked for, so that small files go the ways of large ones
            with mock.patch.object(pipeline, "read_photo", partial(read_photo, target_pixels=way.target_pixels)):
                result = pipeline.measure_photo(path, reference=way.reference, reference_at=way.at)
        except ContrastkitError as error:
            _check_sentence(str(error))
            words, pieces = f"{type(error).__name__}: {error}", 0
        else:
            _check_photo(result.photo)
            _check_result(result)
            words, pieces = f"{result.calibration.kind}: {result.calibration.sentence}", len(result.table)
    for warning in given:
        if not issubclass(warning.category, ContrastkitWarning):
            raise Fault(f"{warning.category.__name__}: {warning.message} ({warning.filename}:{warning.lineno})")
        _check_sentence(str(warning.message))
    return words, pieces


@contextmanager
def listening() -> Iterator[list[bytes]]:
    """Collect what anything, C libraries too, writes to the error output meanwhile."""
    heard: list[bytes] = []
    sys.stderr.flush()
    kept = os.dup(2)
    with tempfile.TemporaryFile() as ear:
        os.dup2(ear.fileno(), 2)
        try:
            yield heard
        finally:
            sys.stderr.flush()
            os.dup2(kept, 2)
            os.close(kept)
            if ear.seek(0, os.SEEK_END):
                ear.seek(0)
                heard.append(ear.read())


def _must(holds: bool, what: str) -> None:
    if not holds:
        raise Fault(what)


def _check_sentence(text: str) -> None:
    _must(text.isprintable() and text.endswith("."), f"a sentence must be one printable line; got {text!r}")
    _must(len(text) < _LONGEST_SENTENCE, f"a sentence must be short; got {text!r}")


def _check_photo(photo: Photo) -> None:
    rows, cols, channels = photo.codes.shape
    _must(channels == 3 and photo.codes.dtype in (np.uint8, np.uint16), "codes must be three channels of 8 or 16 bits")
    _must(photo.codes.flags.c_contiguous and not photo.codes.flags.writeable, "codes must be contiguous and kept")
    expected = tuple(-(-side // photo.reduction) for side in photo.size)
    _must((rows, cols) == expected, f"codes must be of the size said; got {(rows, cols)}, not {expected}")
    light = photo.space.luts(photo.bits)
    _must(bool(np.isfinite(light).all()) and light.min() >= 0, "light must be finite and not negative")
    for note in photo.notes:
        _check_sentence(note)


def _check_result(result: pipeline.PhotoResult) -> None:
    table = check_table(result.table, SWATCHES)
    pd.testing.assert_frame_equal(table, result.table)
    needed = table[["lightness", "lightness_sigma", "chroma", "area", "lightness_low", "lightness_high"]]
    _must(bool(np.isfinite(needed.to_numpy()).all()), "lightness, sigma, chroma and area must be numbers")
    _must(bool(np.isfinite(result.calibration.tables).all()), "a calibration must be of finite numbers")
    _must(all(np.isfinite(json.loads(outline)).all() for outline in table["outline"]), "outlines must be finite")
    _check_sentence(result.calibration.sentence + ".")


# --- memory -----------------------------------------------------------------------------------------------------------


def reset_peak() -> None:
    """Forget how much memory was in use before; where the system keeps no such count, that of the process stays."""
    with suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5", encoding="ascii")


def peak_memory() -> int:
    """Return the most bytes in memory since `reset_peak`."""
    return _memory("VmHWM")


def memory_now() -> int:
    """Return the bytes in memory; where the system does not say, the most there ever were."""
    return _memory("VmRSS")


def _memory(count: str) -> int:
    try:
        lines = Path("/proc/self/status").read_text(encoding="ascii", errors="replace").splitlines()
    except OSError:
        unit = 1 if sys.platform == "darwin" else 1024
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit
    return next(int(line.split()[1]) * 1024 for line in lines if line.startswith(count + ":"))


# --- from the command line --------------------------------------------------------------------------------------------


def signature(fault: Fault) -> str:
    """Return where and how it happened, the same for the same fault: the last line of our own on the way there."""
    cause = fault.__cause__
    if cause is None:
        return "".join(letter for letter in str(fault) if not letter.isdigit())[:100]
    frames = traceback.extract_tb(cause.__traceback__)
    ours = [frame for frame in frames if f"{os.sep}contrastkit{os.sep}" in frame.filename]
    last = ours[-1] if ours else frames[-1]
    return f"{type(cause).__name__} at {Path(last.filename).name}:{last.lineno}"


def _line(name: str, path: Path, ways: Iterable[Way]) -> bool:
    """Print what came of a file, tried these ways, and return whether all was well."""
    print(json.dumps({"start": name}), flush=True)  # should the process die, this says on which file
    for way in ways:
        said = {"file": name, "way": [way.reference, way.at, way.target_pixels]}
        try:
            print(json.dumps(said | asdict(tried(path, way))))
        except Fault as fault:
            print(json.dumps(said | {"fault": str(fault), "signature": signature(fault)}), flush=True)
            return False
    return True


def main(arguments: Sequence[str] | None = None) -> int:
    """Try files, or what chance makes of them; return 1 where one of them shows a fault."""
    parser = argparse.ArgumentParser(description="Read and measure files, and judge what comes out.")
    parser.add_argument("files", nargs="+", type=Path)
    parser.add_argument("--spoil", type=int, default=0, metavar="N", help="N files made of these by chance instead")
    parser.add_argument("--seed", type=int, default=0, help="of that chance")
    parser.add_argument("--keep", type=Path, help="folder for the files that show a fault")
    options = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    if options.spoil:
        well = [_spoilt(options.files, options.seed, number, options.keep) for number in range(options.spoil)]
    else:
        well = [_line(file.name, file, ways_of(file.read_bytes())) for file in options.files]
    return 0 if all(well) else 1


def _spoilt(files: Sequence[Path], seed: int, number: int, keep: Path | None) -> bool:
    """Try one file made of these by chance, and return whether all was well."""
    from fuzz_mutations import mutated

    chance = random.Random(f"{seed} {number}")
    file, donor = chance.choice(files), chance.choice(files)
    with listening():  # decoders tell the terminal what is wrong with a file that is to be painted over
        data = mutated(file.read_bytes(), chance, donor.read_bytes())
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"spoilt{file.suffix}"
        path.write_bytes(data)
        well = _line(f"{file.name} {seed} {number}", path, [way_of(data)])
    if not well and keep is not None:
        keep.mkdir(parents=True, exist_ok=True)
        (keep / f"{seed}-{number}{file.suffix}").write_bytes(data)
    return well


if __name__ == "__main__":
    sys.exit(main())
