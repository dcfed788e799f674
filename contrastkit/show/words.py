"""Sentences about a pile that the pictures and the report share."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from contrastkit.show.pieces import Piece

if TYPE_CHECKING:
    from contrastkit.compose.groups import Breaks

_REFERENCES = {"card": "a grey card", "scale": "a grey scale", "chart": "a 24-patch chart", "none": "nothing grey"}


def listed(words: Sequence[str]) -> str:
    """
    Return words as a list in prose.

    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def counted(count: int, noun: str, plural: str | None = None) -> str:
    """
    Return a number of things.

    >>> counted(1, "piece"), counted(2, "piece")
    ('1 piece', '2 pieces')
    """
    return f"{count} {noun if count == 1 else plural or noun + 's'}"


def reference_words(reference: str) -> str:
    """
    Return what the lightness was measured against, in words.

    >>> reference_words("card")
    'a grey card'
    """
    return _REFERENCES.get(reference, reference)


def measured_words(pieces: Sequence[Piece]) -> str:
    """Return what was measured, where, against what, and how sure it is."""
    photos = sorted({piece.photo for piece in pieces if piece.photo})
    references = [reference_words(name) for name in dict.fromkeys(piece.reference for piece in pieces) if name]
    sigmas = [piece.sigma for piece in pieces if np.isfinite(piece.sigma)]
    where = "" if not photos else f" in {listed(photos)}" if len(photos) < 4 else f" in {len(photos)} photographs"
    text = counted(len(pieces), "piece") + where
    if references:
        text += f", measured against {listed(references)}"
    if sigmas:
        text += f"; standard uncertainty {np.median(sigmas):.1f} L*"
    return text + "."


def two_decimals(number: float, *, signed: bool = False) -> str:
    """
    Return a number with two decimals; a dash where it is not known.

    >>> two_decimals(0.666), two_decimals(0.1, signed=True), two_decimals(float("nan"))
    ('0.67', '+0.10', '–')
    """
    return "–" if not np.isfinite(number) else f"{number:+.2f}" if signed else f"{number:.2f}"


def breaks_words(breaks: Breaks) -> str:
    """
    Return where groups end, dark to light.

    >>> from contrastkit.compose.groups import fixed_breaks
    >>> breaks_words(fixed_breaks())
    'dark up to L* 40, medium up to 70, light above'
    """
    ends = [f"{name} up to {edge:.4g}" for name, edge in zip(breaks.names, breaks.edges, strict=False)]
    return f"{', '.join([*ends, breaks.names[-1]])} above".replace(" up to ", " up to L* ", 1)


def spread_words(pieces: Sequence[Piece]) -> str:
    """Return from where to where the pile reaches, and where half of it lies."""
    known = [piece.lightness for piece in pieces if piece.known]
    if not known:
        return "No piece has a lightness yet."
    if len(known) == 1:
        return f"One piece, at L* {known[0]:.0f}."
    low, high = np.percentile(known, [25, 75])
    reach = f"The pile reaches from L* {min(known):.0f} to L* {max(known):.0f}"
    return f"{reach}; half of it lies between L* {low:.0f} and L* {high:.0f}."


def date_words(date: datetime.date) -> str:
    """
    Return a date in words that mean the same everywhere.

    >>> date_words(datetime.date(2031, 4, 2))
    '2 April 2031'
    """
    return f"{date.day} {date:%B} {date.year}"
