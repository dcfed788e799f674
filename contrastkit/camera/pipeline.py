"""
Photographs ▸ swatch table: the only place that knows the order of the steps.

Read ▸ find what lies on the board ▸ calibrate on the grey among it ▸ measure the rest.
"""

from __future__ import annotations

import json
import os
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import chain, count
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import ArrayLike

from contrastkit.camera.find import Finding, Thing, doubled, find_things
from contrastkit.camera.greys import card_in_box, linear_of, middle_of
from contrastkit.camera.measure import measure_outlines, measure_things
from contrastkit.camera.polygons import Floats
from contrastkit.camera.read import Photo, codes8, list_photos, read_photo
from contrastkit.camera.reference import Calibration, ReferenceChoice, calibrate, parse_reference
from contrastkit.camera.sidecar import noted_reference, unmatched
from contrastkit.columns import SWATCHES, empty_table
from contrastkit.errors import CalibrationError, ContrastkitError, ContrastkitWarning, NothingFoundWarning

if TYPE_CHECKING:
    import pandas as pd

Box = tuple[float, float, float, float]
Point = tuple[float, float]
_LONGEST = 6.0  # length over width beyond which a thing is a ruler or a tape, not a piece [design choice]
_EVEN_SQUARES = (0.1, 0.07, 0.05, 0.035, 0.025)  # of the long side: how large an even place that is pointed at may be
_ROUND_POINT = 0.3  # of the long side: how far a scale or chart may reach from where it is pointed at [design choice]
_TINTED = 0.3  # natural logarithm by which the channels of what is pointed at may part [design choice]
_TOO_LIGHT = 0.5  # linear light that a card of 18 % never reads at any usual exposure [design choice]
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
    path: str | os.PathLike[str], *, reference: str | ReferenceChoice = "auto",
    reference_at: Box | Point | None = None,
) -> PhotoResult:
    """
    Return one photograph measured.

    Parameters
    ----------
    path : a photograph of pieces on a board
    reference : `auto`, `card[=L]`, `scale=L1,L2,...`, `chart` or `none`; `auto` is what a `references.toml` beside the
        photograph says of it (see `camera.sidecar`), else a chart, else a card, else nothing
    reference_at : row, col, row, col of a box that holds the reference, or row, col of a point on it, full-resolution
        pixels

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
    return measure_read(photo, reference=choice, reference_at=reference_at)


def measure_read(
    photo: Photo, *, reference: str | ReferenceChoice = "auto", reference_at: Box | Point | None = None
) -> PhotoResult:
    """
    Return a photograph measured that was read before; see `measure_photo`, but nothing beside the file is asked.

    So a photograph is measured again against another reference, or with the card where a hand points at it.
    """
    choice = parse_reference(reference) if isinstance(reference, str) else reference
    finding = find(photo)
    box = None if reference_at is None else _as_box(photo, finding, choice, reference_at)
    calibration, others = calibrate(photo, finding, choice, at=box)
    pieces = tuple(thing for thing in others if _is_piece(thing))
    if not pieces:
        warnings.warn(
            f"{photo.name}: no piece was found on the board, so its table is empty. Pieces must lie apart on a plain "
            "board that shows all round them.", NothingFoundWarning, stacklevel=2)
    return PhotoResult(photo, calibration, measure_things(photo, calibration, pieces), len(others) - len(pieces))


def remeasure(result: PhotoResult, outlines: Mapping[str, ArrayLike]) -> PhotoResult:
    """
    Return a photograph measured again inside outlines that a hand has corrected, drawn, left out or named otherwise.

    Parameters
    ----------
    result : the photograph as it was measured
    outlines : corners (row, col) of each piece by its name, full-resolution pixels; those that the table has already
        keep their numbers

    Returns
    -------
    PhotoResult
        With one row for each outline, in the order given.

    Raises
    ------
    InvalidInputError
        As for `measure_outlines`.
    """
    import pandas as pd

    known = {text: place for place, text in enumerate(result.table["outline"])}
    texts = {name: _as_text(outline) for name, outline in outlines.items()}
    new = measure_outlines(result.photo, result.calibration,
                           {name: outline for name, outline in outlines.items() if texts[name] not in known})
    kept = {name: known[text] for name, text in texts.items() if text in known}
    old = result.table.iloc[list(kept.values())].assign(swatch_id=list(kept))
    table = pd.concat([part for part in (old, new) if len(part)] or [new])
    return replace(result, table=table.set_index("swatch_id", drop=False).loc[list(outlines)].reset_index(drop=True))


def _as_text(outline: ArrayLike) -> str:
    """An outline as the table has it; nothing for what is none, which `measure_outlines` refuses."""
    try:
        return json.dumps(np.round(np.asarray(outline, float), 1).tolist())
    except (TypeError, ValueError):
        return ""


def _as_box(photo: Photo, finding: Finding, choice: ReferenceChoice, place: Box | Point) -> Box:
    if len(place) == 4:
        return place
    if choice.kind in ("scale", "chart"):
        reach = _ROUND_POINT * max(photo.size)
        low, high = np.maximum(np.subtract(place, reach), 0), np.minimum(np.add(place, reach), photo.size)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])
    box = box_at(photo, finding, place)
    if not choice.lightness and _reading(photo, box) > _TOO_LIGHT:
        raise CalibrationError(
            f"A grey card must read far darker than white; at row {place[0]:.0f}, column {place[1]:.0f} of "
            f"{photo.name} lies something nearly white. Point at the card, or say how light this is, such as card=92."
        )
    return box


def box_at(photo: Photo, finding: Finding, point: Point) -> Box:
    """
    Return the box round what lies where a hand points: the thing that was found there, else an even place round it.

    Parameters
    ----------
    photo, finding : the photograph and what was found on its board
    point : row, col, full-resolution pixels

    Raises
    ------
    CalibrationError
        It is outside the photograph, or there is nothing grey and even.
    """
    row, col = ((place + 0.5) / photo.reduction - 0.5 for place in point)
    here = [thing for thing in finding.things if _holds(thing, row, col)]
    outlines = [min(here, key=lambda thing: thing.area).outline] if here else _even_squares(photo, row, col)
    if not outlines or _is_tinted(photo, finding, outlines[0]):
        raise CalibrationError(
            f"What is pointed at must be one even grey, as a card is; at row {point[0]:.0f}, column {point[1]:.0f} of "
            f"{photo.name} it is not. Point at the middle of the card."
        )
    low, high = outlines[0].min(axis=0), outlines[0].max(axis=0)
    corners = (np.concatenate([low, high]) + 0.5) * photo.reduction
    top, left, bottom, right = np.clip(corners, 0, [*photo.size, *photo.size]).tolist()
    return top, left, bottom, right


def _reading(photo: Photo, box: Box) -> float:
    """Linear light in the middle of a box, as the photograph's own profile has it."""
    top, left, bottom, right = (side / photo.reduction for side in box)
    outline = np.array([[top, left], [top, right], [bottom, right], [bottom, left]])
    part, mask = middle_of(photo.codes, outline, 0.6)
    return float(np.mean(cv2.mean(linear_of(part, photo.space.luts(photo.bits)), mask)[:3]))


def _holds(thing: Thing, row: float, col: float) -> bool:
    return cv2.pointPolygonTest(thing.outline[:, ::-1].astype(np.float32), (col, row), False) >= 0


def _even_squares(photo: Photo, row: float, col: float) -> list[Floats]:
    """The largest square round a place that is one even colour, if there is one (working pixels)."""
    rows, cols = photo.codes.shape[:2]
    for share in _EVEN_SQUARES if 0 <= row < rows and 0 <= col < cols else ():
        half = share * max(rows, cols) / 2
        box = max(row - half, 0.0), max(col - half, 0.0), min(row + half, rows - 1.0), min(col + half, cols - 1.0)
        card = card_in_box(photo.codes, photo.space.luts(photo.bits), box)
        if card is not None:
            return [card.thing.outline]
    return []


def _is_tinted(photo: Photo, finding: Finding, outline: Floats) -> bool:
    """Whether what lies there has a colour of its own, be it against the board's."""
    part, mask = middle_of(photo.codes, outline, 0.6)
    colour = np.maximum(cv2.mean(linear_of(part, photo.space.luts(photo.bits)), mask)[:3], 1e-4)
    places = (outline.mean(axis=0) + 0.5 - np.array(photo.codes.shape[:2]) / 2) / (max(photo.codes.shape[:2]) / 2)
    board = np.maximum(finding.backing.surface.at(places[:1], places[1:])[0] ** 3, 1e-4)
    return min(float(np.abs(np.log(each / each.mean())).max()) for each in (colour, colour / board)) > _TINTED


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
