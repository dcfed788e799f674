"""
Photographs ▸ swatch table: the only place that knows the order of the steps.

Read ▸ find what lies on the board ▸ calibrate on the grey among it ▸ measure the rest.
"""

from __future__ import annotations

import os
import warnings
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import chain, count
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np

from contrastkit.camera.find import Finding, Thing, doubled, find_things
from contrastkit.camera.measure import measure_things
from contrastkit.camera.read import Photo, codes8, list_photos, read_photo
from contrastkit.camera.reference import Calibration, ReferenceChoice, calibrate, parse_reference
from contrastkit.camera.sidecar import noted_reference, unmatched
from contrastkit.columns import SWATCHES, empty_table
from contrastkit.errors import ContrastkitError, ContrastkitWarning, NothingFoundWarning

if TYPE_CHECKING:
    import pandas as pd

Box = tuple[float, float, float, float]
_LONGEST = 6.0  # length over width beyond which a thing is a ruler or a tape, not a piece [design choice]
_HALVED = 1_500_000  # pixels from which a photograph kept at full resolution is searched at half [design choice]
_SOLID = 0.92  # a thing at the frame less solid than this is a hand or a cable, not a cut piece [design choice]
_STRAIGHT = 0.45  # share of the outline seen sharp from which a thing at the frame is a cut piece [design choice]


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
    reference : `auto`, `card[=L]`, `scale=L1,L2,...`, `chart` or `none`; `auto` is what a `references.toml` beside the
        photograph says of it (see `camera.sidecar`), else a chart, else a card, else nothing
    reference_at : row, col, row, col of a box that holds the reference, full-resolution pixels

    Raises
    ------
    UnreadablePhotoError
        The file is no whole photograph.
    CalibrationError
        The reference is missing, doubtful or spoilt.
    InvalidInputError
        The reference, its place, or what the `references.toml` says of them cannot be right.

    Warns
    -----
    NoReferenceWarning
        `auto` found nothing grey.
    NothingFoundWarning
        No piece lies on the board: the table is empty.
    """
    choice = parse_reference(reference) if isinstance(reference, str) else reference
    photo = read_photo(path)
    noted = noted_reference(path) if choice.kind == "auto" else None
    if noted is not None:
        choice, reference_at = noted.choice, reference_at or noted.at
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
    codes, table = codes8(photo), np.cbrt(photo.space.luts(8))
    if photo.reduction > 1 or photo.codes[..., 0].size < _HALVED:
        return find_things(codes, table)
    # At full resolution the blocks of a JPEG are as large as a rim: half the size is as sharp and quieter.
    half = cv2.resize(codes, (codes.shape[1] // 2, codes.shape[0] // 2), interpolation=cv2.INTER_AREA)
    return doubled(find_things(half, table))


def _is_piece(thing: Thing) -> bool:
    """Whether a thing may be a cut piece: not as long as a ruler, nor reaching in from the frame like a hand."""
    cut = thing.solidity >= _SOLID and thing.confirmed >= _STRAIGHT
    return thing.elongation <= _LONGEST and (cut or not thing.at_frame)


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
    outcomes = list(measure_each(paths, reference=reference, reference_at=reference_at, progress=progress))
    results = tuple(outcome for outcome in outcomes if isinstance(outcome, PhotoResult))
    failed = tuple(outcome for outcome in outcomes if isinstance(outcome, Failed))
    return StudyResult(results, failed, joined(result.table for result in results))


def measure_each(
    paths: Iterable[str | os.PathLike[str]],
    *,
    reference: str | ReferenceChoice = "auto",
    reference_at: Box | None = None,
    progress: Callable[[int, int, Path], None] | None = None,
) -> Iterator[PhotoResult | Failed]:
    """
    Yield each photograph as it is measured, or why it could not be; see `measure_photos`.

    For more photographs than memory holds: keep what is needed of each and let it go.

    Warns
    -----
    ContrastkitWarning
        A `references.toml` names a photograph that is not there.
    """
    choice = parse_reference(reference) if isinstance(reference, str) else reference
    files = list_photos(paths)
    for sentence in unmatched(files) if choice.kind == "auto" else ():
        warnings.warn(sentence, ContrastkitWarning, stacklevel=2)
    names: set[str] = set()
    for number, path in enumerate(files):
        if progress is not None:
            progress(number, len(files), path)
        yield _outcome(path, choice, reference_at, names)


def _outcome(path: Path, reference: ReferenceChoice, at: Box | None, names: set[str]) -> PhotoResult | Failed:
    try:
        return _with_own_name(measure_photo(path, reference=reference, reference_at=at), path, names)
    except ContrastkitError as error:
        return Failed(path, str(error))


def joined(tables: Iterable[pd.DataFrame]) -> pd.DataFrame:
    """Return the tables of several photographs as one; none give an empty table."""
    import pandas as pd

    filled = [table for table in tables if len(table)]
    return pd.concat(filled, ignore_index=True) if filled else empty_table(SWATCHES)


def _with_own_name(result: PhotoResult, path: Path, names: set[str]) -> PhotoResult:
    """
    The result with a name and ids that no photograph before it has; `names` keeps them.

    A second `board.jpg` goes by its folder, as `tuesday/board.jpg`, and its pieces as board(2)-01 and so on.
    """
    name, stem = result.photo.name, result.photo.name.rsplit(".", 1)[0]
    own = _first_free(chain((name, f"{_shown_name(path.parent)}/{name}"), (f"{name} ({n})" for n in count(2))), names)
    own_stem = _first_free(chain((f"{stem}-",), (f"{stem}({n})-" for n in count(2))), names)
    names |= {own, own_stem}
    if (own, own_stem) == (name, f"{stem}-"):
        return result
    ids = [own_stem + swatch.removeprefix(f"{stem}-") for swatch in result.table["swatch_id"]]
    return replace(result, photo=replace(result.photo, name=own), table=result.table.assign(swatch_id=ids, photo=own))


def _first_free(candidates: Iterable[str], taken: set[str]) -> str:
    return next(name for name in candidates if name not in taken)


def _shown_name(folder: Path) -> str:
    return os.fsencode(folder.absolute().name).decode("utf-8", "replace")
