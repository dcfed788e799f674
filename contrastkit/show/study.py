"""
A study: photographs measured, sorted and shown in one folder.

    swatches.csv          the table
    contact-sheet.pdf     every piece beside its grey, to print; contact-sheet.png the same (-1, -2, ... for more pages)
    value-strip.png       the pieces along the axis of lightness
    balance.png           how many pieces each group has
    pairs.png             which pieces go with which: how far every two are apart
    stacks.pdf            the best stacks that the pile allows, to print; stacks.png the same
    report.html           all of it on one page, to send to a friend
"""

from __future__ import annotations

import math
import os
import shutil
import tempfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, cast

import cv2
import numpy as np
from numpy.typing import NDArray

from contrastkit.camera.correction import SRGB_TO_XYZ_D50
from contrastkit.camera.greys import linear_of
from contrastkit.camera.pipeline import Box, Failed, PhotoResult, StudyResult, joined, measure_each
from contrastkit.camera.polygons import Floats
from contrastkit.camera.read import Photo, list_photos
from contrastkit.camera.reference import Calibration, ReferenceChoice
from contrastkit.compose.grouping import Grouping, SortedPile, sort_pile
from contrastkit.errors import InvalidInputError, UnreadablePhotoError
from contrastkit.keep.files import StrPath, ready_folder, refuse_to_replace, shown, table_place
from contrastkit.keep.tables import rounded, write_table
from contrastkit.light.lightness import SRGB, lightness_to_luminance, linear_to_srgb1
from contrastkit.show.choice import BestStacks, best_stacks
from contrastkit.show.pieces import parse_outline
from contrastkit.show.report import Failure, PhotoPage, write_report
from contrastkit.show.state import PhotoState, photo_state
from contrastkit.show.words import counted

if TYPE_CHECKING:
    import pandas as pd


Pixels = NDArray[np.uint8]
Codes = NDArray[np.uint8] | NDArray[np.uint16]

TABLE, REPORT, SHEETS, STRIP, BALANCE, PAIRS, STACKS, STACKS_PDF = (
    "swatches.csv", "report.html", "contact-sheet.pdf", "value-strip.png", "balance.png", "pairs.png", "stacks.png",
    "stacks.pdf",
)  # fmt: skip
_SHEET, _SHEET_NUMBERED = "contact-sheet.png", "contact-sheet-{}.png"

_LARGEST_PICTURE, _SMALLEST_PICTURE = 1600, 800  # pixels, long side of a photograph in the report
_AROUND = np.ones((3, 3), np.uint8)
_CROPPED = ("swatch_id", "outline", "lightness")
_FEW_PHOTOS = 12  # from which on they grow smaller, so that the report stays a few megabytes


@dataclass(frozen=True, eq=False)
class Pile:
    """
    What is kept of the photographs once they are measured: their pieces, and the photographs reduced.

    Attributes
    ----------
    table : the swatch table of all pieces, numbers as its file will hold them
    crops : the pieces cut out, by swatch_id; see `piece_crops`
    states : what became of each photograph
    pictures : each photograph at reduced size, sRGB, and full-resolution pixels to a pixel of it
    failed : photographs that could not be measured
    """

    table: pd.DataFrame
    crops: dict[str, Pixels]
    states: tuple[PhotoState, ...]
    pictures: tuple[tuple[Pixels, float], ...]
    failed: tuple[Failed, ...]


@dataclass(frozen=True, eq=False)
class WrittenStudy:
    """A study on disk: its files, its pile, the pile in groups, and the best stacks it allows, if any."""

    folder: Path
    files: tuple[Path, ...]
    pile: Pile
    sorted: SortedPile
    best: BestStacks | None = None

    @property
    def sentences(self) -> list[str]:
        """What was found, how it balances, where it is and what to do now, a sentence each."""
        written = f"Written to {_readable(self.folder)}: {', '.join(file.name for file in self.files)}."
        found = study_sentences(self.pile, self.sorted.table)
        step = f"Next: {self.next_step[0].lower()}{self.next_step[1:]}"
        stacks = [f"{self.best.finding}."] if self.best is not None else []
        return [*found, *(self.sorted.sentences if len(self.pile.table) else []), *stacks, written, step]

    @property
    def next_step(self) -> str:
        """What to do now, in a sentence."""
        return _next_step(self.folder / REPORT, self.pile, self.sorted.table)


@dataclass(frozen=True, eq=False)
class MeasuredTable:
    """Photographs measured and their table on disk."""

    files: tuple[Path, ...]
    states: tuple[PhotoState, ...]
    failed: tuple[Failed, ...]
    sorted: SortedPile

    @property
    def sentences(self) -> list[str]:
        """What was found, how it balances and where it is, a sentence each."""
        pile = Pile(self.sorted.table, {}, self.states, (), self.failed)
        found = study_sentences(pile, self.sorted.table)
        written = [f"Written: {_readable(file)}" for file in self.files]
        return [*found, *(self.sorted.sentences if len(self.sorted.table) else []), *written]


def make_study(
    paths: Iterable[StrPath],
    folder: StrPath,
    *,
    reference: str | ReferenceChoice = "auto",
    reference_at: Box | None = None,
    grouping: Grouping | None = None,
    title: str | None = None,
    paper: str = "A4",
    progress: Callable[[int, int, Path], None] | None = None,
    told: Callable[[PhotoState | Failed], None] | None = None,
) -> WrittenStudy:
    """
    Return a study of photographs, measured and written to a folder; one bad photograph never stops the others.

    Parameters
    ----------
    paths : photographs and folders of them
    folder : where to write to; what an earlier study wrote there is replaced, nothing else is
    reference, reference_at : as for `measure_photo`
    grouping : how to sort the pile; three groups with edges at L* 40 and 70, if not given
    title : the heading of the report; how the groups balance, if not given
    paper : "A4" or "Letter"
    progress : called before each photograph with its number from 0, how many there are, and its path
    told : called after each photograph with what became of it

    Raises
    ------
    UnreadablePhotoError
        No photograph is there at all.
    InvalidInputError
        An option cannot be right, or the folder cannot be written to.
    TooFewSwatchesError
        The pile is too small for the groups asked for.
    """
    photos = find_photos(paths)
    place = ready_place(folder, photos)
    outcomes = measure_each(photos, reference=reference, reference_at=reference_at, progress=progress)
    pile = gather(outcomes, side=_picture_side(len(photos)), told=told)
    return write_pile(pile, place, grouping=grouping, title=title, paper=paper)


def make_table(
    paths: Iterable[StrPath],
    file: StrPath,
    *,
    reference: str | ReferenceChoice = "auto",
    reference_at: Box | None = None,
    progress: Callable[[int, int, Path], None] | None = None,
    told: Callable[[PhotoState | Failed], None] | None = None,
) -> MeasuredTable:
    """
    Return photographs measured and their table written, in groups with edges at L* 40 and 70; see `make_study`.

    Where no photograph at all can be measured, no table is written.

    Raises
    ------
    UnreadablePhotoError
        No photograph is there at all.
    InvalidInputError
        An option cannot be right, or the file cannot be written.
    """
    photos = find_photos(paths)
    place = table_place(file, never=photos)
    outcomes = measure_each(photos, reference=reference, reference_at=reference_at, progress=progress)
    pile = gather(outcomes, side=0, told=told)
    in_groups = sort_pile(pile.table, Grouping())
    files = (write_table(in_groups.table, place),) if pile.states else ()
    return MeasuredTable(files, pile.states, pile.failed, in_groups)


def write_study(
    study: StudyResult, folder: StrPath, *, grouping: Grouping | None = None, title: str | None = None,
    paper: str = "A4"
) -> WrittenStudy:
    """
    Return photographs that were measured written to a folder as a study; see `make_study`.

    Raises
    ------
    InvalidInputError
        An option cannot be right, or the folder cannot be written to.
    TooFewSwatchesError
        The pile is too small for the groups asked for.
    """
    place = ready_place(folder, [])
    return write_pile(gather((*study.results, *study.failed)), place, grouping=grouping, title=title, paper=paper)


def find_photos(paths: Iterable[StrPath]) -> list[Path]:
    """
    Return the photographs in files and folders, without the pictures that studies left in those folders.

    Raises
    ------
    UnreadablePhotoError
        There is none.
    """
    named = [Path(path) for path in paths]
    photos = [photo for photo in list_photos(named) if photo in named or not _of_a_study(photo)]
    if not photos:
        where = " and ".join(shown(path) for path in named[:3]) or "nothing"
        raise UnreadablePhotoError(f"There must be a photograph to measure; none is in {where}. Name another folder.")
    return photos


def _of_a_study(photo: Path) -> bool:
    return _is_ours(photo.name) and _is_study(photo.parent)


def _is_study(folder: Path) -> bool:
    return all(os.path.isfile(folder / name) for name in (TABLE, REPORT))


def _is_ours(name: str) -> bool:
    number = name.removeprefix("contact-sheet-").removesuffix(".png")
    ours = (TABLE, REPORT, SHEETS, _SHEET, STRIP, BALANCE, PAIRS, STACKS, STACKS_PDF)
    return name in ours or name == _SHEET_NUMBERED.format(number) and (
        number.isdecimal()
    )


def ready_place(folder: StrPath, photos: Sequence[Path]) -> Path:
    """
    Return the folder to write a study to, made if it was not there, once it is sure that nothing is lost there.

    Raises
    ------
    InvalidInputError
        It cannot be written to, or holds a photograph or another file by a name that a study writes to.
    """
    place = ready_folder(folder)
    there = [place / name for name in sorted(os.listdir(place)) if _is_ours(name)]
    refuse_to_replace(there, photos)
    if there and not _is_study(place):
        raise InvalidInputError(
            f"A study replaces only what a study wrote; {shown(place)} already holds {there[0].name!r}. "
            "Name another folder, or move that file."
        )
    return place


# --- what is kept of a photograph ------------------------------------------------------------------------------------


def gather(
    outcomes: Iterable[PhotoResult | Failed], *, side: int = _LARGEST_PICTURE,
    told: Callable[[PhotoState | Failed], None] | None = None,
) -> Pile:
    """
    Return what a study needs of photographs, each let go before the next is asked for.

    Parameters
    ----------
    outcomes : photographs measured, and those that could not be
    side : longest side of the pictures kept, pixels; 0 to keep no pictures and no pieces
    told : called after each photograph with what became of it
    """
    tables: list[pd.DataFrame] = []
    crops: dict[str, Pixels] = {}
    states: list[PhotoState] = []
    pictures: list[tuple[Pixels, float]] = []
    failed: list[Failed] = []
    for outcome in outcomes:
        if isinstance(outcome, Failed):
            failed.append(outcome)
        else:
            tables.append(outcome.table)
            states.append(photo_state(outcome))
            if side:
                crops |= piece_crops(outcome)
                pictures.append(_picture(outcome.photo, side))
        if told is not None:
            told(outcome if isinstance(outcome, Failed) else states[-1])
        del outcome  # or it would stay in memory while the next is measured
    return Pile(rounded(joined(tables)), crops, tuple(states), tuple(pictures), tuple(failed))


def _picture_side(photos: int) -> int:
    return round(max(_SMALLEST_PICTURE, _LARGEST_PICTURE * min(1.0, math.sqrt(_FEW_PHOTOS / photos))))


def piece_crops(result: PhotoResult) -> dict[str, Pixels]:
    """
    Return every piece of a photograph cut out, as in even light and with its tint and exposure set right.

    The mean of each has the lightness that was measured, so that it can lie beside the grey of equal lightness.

    Returns
    -------
    dict
        By swatch_id: 8-bit sRGB with alpha, shape (rows, cols, 4), at the photograph's working size.
    """
    return {
        str(name): _crop(result, np.array(parse_outline(outline)), float(lightness))
        for name, outline, lightness in zip(*(result.table[of] for of in _CROPPED), strict=True)
    }


def _crop(result: PhotoResult, outline: Floats, lightness: float) -> Pixels:
    """The bounding box of an outline (corners in full-resolution pixels), alpha 0 outside it."""
    photo = result.photo
    corners = (outline + 0.5) / photo.reduction - 0.5
    top, left = np.maximum(np.floor(corners.min(axis=0)).astype(int), 0)
    bottom, right = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + 1, photo.codes.shape[:2])
    linear = _true_colours(photo, result.calibration, (slice(top, bottom), slice(left, right)))
    alpha = _alpha(corners - (top, left), linear.shape[:2])
    return np.dstack([_encoded(_levelled(linear, alpha, lightness)), alpha])


def _alpha(corners: Floats, shape: tuple[int, ...]) -> Pixels:
    """Where an outline is, less the pixels on the cut edge, which are mixed with the board."""
    fine = np.zeros((4 * shape[0], 4 * shape[1]), np.uint8)  # fillPoly's own edges lie half a pixel outside
    cv2.fillPoly(fine, [np.round((4 * corners + 1.5)[:, ::-1] * 16).astype(np.int32)], 255, shift=4)
    covered = cv2.resize(fine, (shape[1], shape[0]), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.erode(covered, _AROUND, borderValue=255), np.uint8)


def _true_colours(photo: Photo, calibration: Calibration, box: tuple[slice, slice]) -> Floats:
    """Linear sRGB of part of a photograph, by its calibration; may lie outside 0-1."""
    linear = linear_of(cast(Codes, photo.codes[box]), calibration.tables).astype(float)
    if calibration.light is not None:
        shape = photo.codes.shape[:2]
        rows, cols = (
            (np.arange(part.start, part.stop) + 0.5 - size / 2) / (max(shape) / 2)
            for part, size in zip(box, shape, strict=True)
        )
        linear /= np.exp(calibration.light.at(rows[:, None], cols[None, :])[..., :1])
    return np.asarray(calibration.to_xyz(linear) @ _to_srgb(calibration.kind).T)


def _to_srgb(kind: str) -> Floats:
    """From X, Y, Z to linear sRGB: a chart gives them for D50, all else for D65."""
    return np.asarray(np.linalg.inv(SRGB_TO_XYZ_D50 if kind == "chart" else np.array(SRGB.to_xyz)))


def _levelled(linear: Floats, alpha: Pixels, lightness: float) -> Floats:
    """The piece with its mean at the lightness measured, which allows for what the photograph cannot hold."""
    inside = cv2.erode(alpha, _AROUND, borderValue=255) == 255
    mean = float(np.mean(linear[inside] @ SRGB.luminance_weights)) if inside.any() else 0.0
    return linear * (float(lightness_to_luminance(lightness)) / mean) if mean > 0 else linear


def _encoded(linear: Floats) -> Pixels:
    steps = (np.clip(linear, 0, 1) * (len(_encoding()) - 1) + 0.5).astype(np.uint16)
    return np.asarray(_encoding()[steps])


@lru_cache(maxsize=1)
def _encoding() -> Pixels:
    """The 8-bit sRGB code of linear light in 12 bits."""
    return np.round(linear_to_srgb1(np.arange(4096) / 4095) * 255).astype(np.uint8)


def _picture(photo: Photo, side: int) -> tuple[Pixels, float]:
    """The photograph as it is, sRGB, no longer than `side`, and full-resolution pixels to a pixel of it."""
    rows, cols = photo.codes.shape[:2]
    factor = min(1.0, side / max(rows, cols))
    size = (max(1, round(cols * factor)), max(1, round(rows * factor)))
    small = photo.codes if factor == 1 else cv2.resize(photo.codes, size, interpolation=cv2.INTER_AREA)
    return _as_srgb(cast(Codes, small), photo), max(photo.size) / max(size)


def _as_srgb(codes: Codes, photo: Photo) -> Pixels:
    if photo.space is SRGB:
        return (codes if photo.bits == 8 else codes >> 8).astype(np.uint8)
    linear = linear_of(codes, photo.space.luts(photo.bits))
    return _encoded(linear @ (np.linalg.inv(np.array(SRGB.to_xyz)) @ np.array(photo.space.to_xyz)).T)


# --- what is written -------------------------------------------------------------------------------------------------


def write_pile(
    pile: Pile, folder: Path, *, grouping: Grouping | None = None, title: str | None = None, paper: str = "A4"
) -> WrittenStudy:
    """
    Return a pile sorted and written to a folder that is ready for it; see `make_study`.

    Everything is made aside and then moved into place, the report first: a study is never half written.

    Raises
    ------
    InvalidInputError
        An option cannot be right, or the folder cannot be written to.
    TooFewSwatchesError
        The pile is too small for the groups asked for.
    """
    measured, title = len(pile.table) > 0, title or None
    in_groups = sort_pile(pile.table, grouping if grouping is not None and measured else Grouping())
    best = best_stacks(in_groups.table, pile.crops)
    aside = Path(tempfile.mkdtemp(prefix=".", dir=folder))
    try:
        _write_report(pile, in_groups, best, aside, title)
        write_table(in_groups.table, aside / TABLE)
        if measured:
            _write_charts(pile, in_groups, best, aside, title, paper)
        files = _moved(aside, folder)
    except OSError as error:
        raise InvalidInputError(
            f"{shown(folder)} must be open to writing; the system says: {error.strerror or error}. "
            "Name another place, or make room there."
        ) from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return WrittenStudy(folder, files, pile, in_groups, best)


def _moved(aside: Path, folder: Path) -> tuple[Path, ...]:
    """Move a study into place, and take away what an earlier one had more of."""
    names = sorted(os.listdir(aside), key=lambda name: (name != REPORT, name != TABLE, name))
    for name in names:
        os.replace(aside / name, folder / name)
    for name in os.listdir(folder):
        if _is_ours(name) and name not in names:
            (folder / name).unlink()
    return tuple(folder / name for name in names)


def _write_charts(
    pile: Pile, in_groups: SortedPile, best: BestStacks | None, folder: Path, title: str | None, paper: str
) -> None:
    from contrastkit.show.chart import save_pages  # they load matplotlib
    from contrastkit.show.choice import stacks_sheet
    from contrastkit.show.pairs import pairs_chart
    from contrastkit.show.sheet import balance_chart, contact_sheets, value_strip

    table, breaks = in_groups.table, in_groups.breaks
    finding = None if title is None else f"{title.rstrip('.')}. {in_groups.balance}"
    sheets = contact_sheets(table, pile.crops, title=finding, paper=paper, breaks=breaks)
    save_pages(sheets, folder / SHEETS)
    for number, sheet in enumerate(sheets, start=1):
        sheet.save(folder / (_SHEET if len(sheets) == 1 else _SHEET_NUMBERED.format(number)))
    value_strip(table, pile.crops, breaks=breaks).save(folder / STRIP)
    balance_chart(table, breaks).save(folder / BALANCE)
    if table["lightness"].notna().sum() > 1:
        pairs_chart(table, pile.crops).save(folder / PAIRS)
    if best is not None:
        pages = stacks_sheet(best.choice, table, pile.crops, how=best.how, drawn=best.drawn, paper=paper)
        save_pages(pages, folder / STACKS_PDF)
        pages[0].save(folder / STACKS)


def _write_report(
    pile: Pile, in_groups: SortedPile, best: BestStacks | None, folder: Path, title: str | None
) -> None:
    pages = [
        PhotoPage(state.photo, picture, scale, state.sentence, state.reference_outline, state.notes)
        for state, (picture, scale) in zip(pile.states, pile.pictures, strict=True)
    ]
    failures = [Failure(_name(failure.path), failure.reason) for failure in pile.failed]
    finding = in_groups.balance if len(pile.table) else "Nothing was measured"
    sentences = [*([finding] if title is not None else []), *study_sentences(pile, in_groups.table)]
    write_report(
        folder, in_groups.table, pile.crops, pages, failures, in_groups.breaks,
        title=(title or finding).removesuffix("."), sentences=sentences, best=best,
    )


def _name(path: Path) -> str:
    return os.fsencode(path.name or path).decode("utf-8", "replace")


def study_sentences(pile: Pile, table: pd.DataFrame) -> list[str]:
    """Return the state of a study, a sentence each: what was found, what to check, what was not used."""
    check, between = _to_check(table), int(table["borderline"].sum())
    found = f"{counted(len(table), 'piece')} in {counted(len(pile.states), 'photograph')}"
    doubts = [f"{check} to check"] * bool(check) + [f"{between} between two groups"] * bool(between)
    sentences = [", ".join([found, *doubts]) + "."] if pile.states else []
    if pile.failed:
        sentences.append(f"{counted(len(pile.failed), 'photograph')} could not be used.")
    return sentences


def _to_check(table: pd.DataFrame) -> int:
    return int(((table["flags"] != "") | table["lightness"].isna()).sum())


def _readable(path: Path) -> str:
    return os.fsencode(path).decode("utf-8", "replace")


def _next_step(report: Path, pile: Pile, table: pd.DataFrame) -> str:
    place = _readable(report)
    if not len(table):
        return f"Open {place} and see why nothing was measured."
    if pile.failed:
        return f"Photograph again what could not be used, or open {place} in a browser."
    if _to_check(table):
        return f"Open {place} in a browser and look at the {counted(_to_check(table), 'piece')} to check."
    return f"Open {place} in a browser, or print {SHEETS}."

