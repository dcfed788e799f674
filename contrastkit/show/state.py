"""What became of each photograph, in a sentence and in numbers: for the report, the screen and other programs."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from contrastkit.show.words import counted

if TYPE_CHECKING:
    from contrastkit.camera.pipeline import PhotoResult
    from contrastkit.camera.polygons import Floats
    from contrastkit.show.pieces import Point


@dataclass(frozen=True)
class PhotoState:
    """
    One measured photograph.

    Attributes
    ----------
    photo : its file name
    taken : when, as the file says; None where it does not
    pieces, to_check : how many pieces were found, and how many of them are flagged
    left_out : things on the board taken for no pieces
    reference : card, scale, chart or none
    reference_sigma : standard uncertainty (L*) that the reference leaves
    reference_outline : its (row, column) corners, full-resolution pixels; None without one
    sigma : the middling standard uncertainty of its pieces, L*; nan without pieces
    sentence : all that in a sentence
    notes : what else should be known, a sentence each
    """

    photo: str
    taken: str | None
    pieces: int
    to_check: int
    left_out: int
    reference: str
    reference_sigma: float
    reference_outline: tuple[Point, ...] | None
    sigma: float
    sentence: str
    notes: tuple[str, ...]


def photo_state(result: PhotoResult) -> PhotoState:
    """Return what became of a photograph that was measured."""
    table, calibration = result.table, result.calibration
    flagged = int((table["flags"] != "").sum())
    sigma = float(np.median(table["lightness_sigma"])) if len(table) else math.nan
    outline = None if calibration.outline is None else full_outline(calibration.outline, result.photo.reduction)
    return PhotoState(
        result.photo.name, result.photo.taken, len(table), flagged, result.left_out, calibration.kind,
        calibration.sigma, outline, sigma, _sentence(len(table), flagged, calibration.sentence, sigma), _notes(result),
    )


def full_outline(outline: Floats, reduction: int) -> tuple[Point, ...]:
    """
    Return an outline of the working picture in full-resolution pixels; whole numbers are the middles of pixels.

    >>> full_outline(np.array([[0.0, 1.0]]), 2)
    ((0.5, 2.5),)
    """
    corners = (np.asarray(outline, dtype=float) + 0.5) * reduction - 0.5
    return tuple((round(float(row), 1), round(float(col), 1)) for row, col in corners)


def _sentence(pieces: int, flagged: int, reference: str, sigma: float) -> str:
    if not pieces:
        return f"No piece found; {reference}."
    check = f", {flagged} to check" if flagged else ""
    return f"{counted(pieces, 'piece')} found{check}; {reference}; lightness to about ± {sigma:.1f} L*."


def _notes(result: PhotoResult) -> tuple[str, ...]:
    notes = list(result.photo.notes)
    if result.left_out:
        things = counted(result.left_out, "thing")
        notes.append(f"{things} on the board looked like a ruler or a hand, not like a piece: not measured.")
    if result.calibration.kind == "none":
        notes.append("There was no grey to measure against, so every lightness is rough. Lay a grey card down.")
    if not len(result.table):
        notes.append("Pieces must lie apart on a plain board that shows all round them.")
    return tuple(notes)
