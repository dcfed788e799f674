"""
Photographs ▸ swatch table: the only place that knows the order of the steps.

Read ▸ find what lies on the board ▸ calibrate on the grey among it ▸ measure the rest.
"""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from contrastkit.camera.find import Finding, Thing, find_things
from contrastkit.camera.measure import measure_things
from contrastkit.camera.read import Photo, list_photos, read_photo
from contrastkit.camera.reference import Calibration, ReferenceChoice, calibrate, parse_reference
from contrastkit.columns import SWATCHES, empty_table
from contrastkit.errors import ContrastkitError, NothingFoundWarning

if TYPE_CHECKING:
    import pandas as pd

Box = tuple[float, float, float, float]
_LONGEST = 6.0  # length over width beyond which a thing is a ruler or a tape, not a piece [design choice]
_SOLID = 0.85  # a thing at the frame that is less solid than this is a hand or a cable [design choice]


@dataclass(frozen=True)
class PhotoResult:
    """One photograph measured: its table, and what it was measured with."""

    photo: Photo
    calibration: Calibration
    table: pd.DataFrame
    left_out: int  # things on the board taken for no pieces: rulers, hands


@dataclass(frozen=True)
class Failed:
    """A photograph that could not be measured, and why in words."""

    path: Path
    reason: str


@dataclass(frozen=True)
class StudyResult:
    """All photographs of a study: those measured, those that failed, and one table of all pieces."""

    results: tuple[PhotoResult, ...]
    failed: tuple[Failed, ...]
    table: pd.DataFrame


def measure_photo(
    path: str | os.PathLike[str], *, reference: str | ReferenceChoice = "auto", reference_at: Box | None = None
) -> PhotoResult:
    """
    Return one photograph measured.

    Parameters
    ----------
    path : a photograph of pieces on a board
    reference : `auto`, `card[=L]`, `scale=L1,L2,...`, `chart` or `none`
    reference_at : row, col, row, col of a box that holds the reference, full-resolution pixels

    Raises
    ------
    UnreadablePhotoError
        The file is no whole photograph.
    CalibrationError
        The reference is missing, doubtful or spoilt.

    Warns
    -----
    NoReferenceWarning
        `auto` found nothing grey.
    NothingFoundWarning
        No piece lies on the board: the table is empty.
    """
    choice = parse_reference(reference) if isinstance(reference, str) else reference
    photo = read_photo(path)
    finding = find(photo)
    calibration, others = calibrate(photo, finding, choice, at=reference_at)
    pieces = tuple(thing for thing in others if _is_piece(thing))
    if not pieces:
        warnings.warn(
            f"{photo.name}: no piece was found on the board, so its table is empty. Pieces must lie apart on a plain "
            "board that shows all round them.", NothingFoundWarning, stacklevel=2)
    return PhotoResult(photo, calibration, measure_things(photo, calibration, pieces), len(others) - len(pieces))


def find(photo: Photo) -> Finding:
    """Return what lies on the board of a photograph."""
    codes = photo.codes if photo.codes.dtype == np.uint8 else (photo.codes >> 8).astype(np.uint8)
    return find_things(codes, np.cbrt(photo.space.luts(8)))


def _is_piece(thing: Thing) -> bool:
    return thing.elongation <= _LONGEST and not (thing.at_frame and thing.solidity < _SOLID)


def measure_photos(
    paths: Iterable[str | os.PathLike[str]],
    *,
    reference: str | ReferenceChoice = "auto",
    reference_at: Box | None = None,
    progress: Callable[[int, int, Path], None] | None = None,
) -> StudyResult:
    """
    Return all photographs measured; folders are walked, and one bad photograph never stops the others.

    Parameters
    ----------
    paths : photographs and folders
    reference, reference_at : as for `measure_photo`
    progress : called before each photograph with its number from 0, how many there are, and its path
    """
    import pandas as pd

    choice = parse_reference(reference) if isinstance(reference, str) else reference
    files = list_photos(paths)
    results: list[PhotoResult] = []
    failed: list[Failed] = []
    for number, path in enumerate(files):
        if progress is not None:
            progress(number, len(files), path)
        try:
            results.append(measure_photo(path, reference=choice, reference_at=reference_at))
        except ContrastkitError as error:
            failed.append(Failed(path, str(error)))
    results = _with_unique_ids(results)
    tables = [result.table for result in results if len(result.table)]
    table = pd.concat(tables, ignore_index=True) if tables else empty_table(SWATCHES)
    return StudyResult(tuple(results), tuple(failed), table)


def _with_unique_ids(results: list[PhotoResult]) -> list[PhotoResult]:
    """Photographs of one name in several folders get a number, so that each swatch_id is unique."""
    from dataclasses import replace

    seen: dict[str, int] = {}
    unique = []
    for result in results:
        stem = result.photo.name.rsplit(".", 1)[0]
        seen[stem] = seen.get(stem, 0) + 1
        if seen[stem] > 1:
            ids = [f"{stem}({seen[stem]}){swatch[len(stem):]}" for swatch in result.table["swatch_id"]]
            result = replace(result, table=result.table.assign(swatch_id=ids))
        unique.append(result)
    return unique
