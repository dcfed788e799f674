"""The report: one page that a friend can open anywhere, with nothing to fetch and nothing to run."""

from __future__ import annotations

import datetime
import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from contrastkit.errors import InvalidInputError
from contrastkit.show import look
from contrastkit.show.crops import Crops, cut_outs
from contrastkit.show.markup import (
    escaped,
    font_uri,
    items,
)
from contrastkit.show.pairs import all_pairs
from contrastkit.show.pieces import (
    group_edges,
    pieces_dark_to_light,
    with_groups,
)
from contrastkit.show.sections import (
    Study,
    failed,
    groups,
    method,
    pairs,
    paragraph,
    photographs,
    pile,
    stacks,
    to_check,
)
from contrastkit.show.words import counted, date_words

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.compose.groups import Breaks
    from contrastkit.show.choice import BestStacks

_LARGEST_CROP, _SMALLEST_CROP = 320, 120  # pixels; what is printed an inch wide needs no more
_MANY = 60  # pieces from which the crops grow smaller, so that the page stays a few megabytes


@dataclass(frozen=True)
class PhotoPage:
    """
    One photograph of the study, as the report needs it.

    Attributes
    ----------
    name : its file name, as in the column `photo` of the table
    picture : 8-bit sRGB, shape (rows, cols, 3), reduced to 1600 pixels on its long side or less
    picture_scale : full-resolution pixels to a pixel of the picture
    sentence : its state, e.g. "17 pieces found, 2 to check, card read at L* 49.5 ± 0.6"
    reference_outline : (row, column) corners of the grey reference, full-resolution pixels; None without one
    notes : whatever else should be known, a sentence each
    """

    name: str
    picture: NDArray[np.uint8]
    picture_scale: float
    sentence: str
    reference_outline: tuple[tuple[float, float], ...] | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Failure:
    """A photograph that could not be used, and why, in words."""

    photo: str
    reason: str


def write_report(
    folder: str | os.PathLike[str],
    table: pd.DataFrame,
    crops: Crops,
    pages: Sequence[PhotoPage],
    failures: Sequence[Failure],
    breaks: Breaks,
    *,
    title: str,
    sentences: Sequence[str],
    best: BestStacks | None = None,
    made: datetime.date | None = None,
) -> Path:
    """
    Write report.html into the folder and return its path; the page fetches nothing and runs nothing.

    Parameters
    ----------
    folder
        Made if it is not there.
    table
        The swatch table; pieces are sorted into the groups, if it has no groups yet.
    crops
        The pieces cut out of their photographs, by swatch_id: 8-bit sRGB, shape (rows, cols, 3), or 4 with alpha.
    pages, failures
        The photographs that were measured, and those that could not be.
    breaks
        Edges and names of the groups.
    title
        The finding, as the heading.
    sentences
        The state of the study, a sentence each, under the heading.
    best
        The best stacks that the pile allows; see `best_stacks`. Without them the page has no stacks.
    made
        The date on the report; today, if not given.

    Raises
    ------
    InvalidInputError
        A table, crop or picture that cannot be right, or a folder that is a file.

    Examples
    --------
    >>> import tempfile
    >>> import pandas as pd
    >>> from contrastkit.compose.groups import fixed_breaks
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0]})
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = write_report(folder, table, {}, [], [], fixed_breaks(), title="Two pieces", sentences=[])
    ...     print(path.name, "<h1>Two pieces</h1>" in path.read_text(encoding="utf-8"))
    report.html True
    """
    pieces = tuple(pieces_dark_to_light(with_groups(table, breaks)))
    of_two = all_pairs(table) if sum(piece.known for piece in pieces) > 1 else None
    study = Study(
        pieces, cut_outs(pieces, crops, side=_crop_side(len(pieces))), tuple(pages), tuple(failures),
        breaks, group_edges(pieces, breaks.names, breaks), made or datetime.date.today(), of_two, best,
    )
    path = _folder(folder) / "report.html"
    path.write_text(_page(study, title, sentences), encoding="utf-8")
    return path


def _crop_side(count: int) -> int:
    """So many pixels a piece that a large pile still makes a page of a few megabytes."""
    return round(min(_LARGEST_CROP, max(_SMALLEST_CROP, _LARGEST_CROP * math.sqrt(_MANY / max(count, 1)))))


def _folder(folder: str | os.PathLike[str]) -> Path:
    path = Path(folder)
    if path.exists() and not path.is_dir():
        raise InvalidInputError(f"folder must be a folder; {str(path)!r} is a file. Name another place.")
    path.mkdir(parents=True, exist_ok=True)
    return path


# The page.


def _page(study: Study, title: str, sentences: Sequence[str]) -> str:
    sections = (
        photographs(study), pile(study), groups(study), pairs(study), stacks(study), to_check(study), failed(study),
        method(study),
    )
    return "\n".join((
        '<!DOCTYPE html>\n<html lang="en">', _head(study, title), "<body>", _header(study, title, sentences),
        "<main>", *filter(None, sections), "</main>", _footer(study), "</body>\n</html>\n",
    ))


def _head(study: Study, title: str) -> str:
    # Nothing may be fetched or run, whatever a name or a note may hold.
    policy = "default-src 'none'; img-src data:; font-src data:; style-src 'unsafe-inline'"
    return "\n".join((
        '<head>\n<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        '<meta name="color-scheme" content="light dark">',
        f"<title>{escaped(title)}</title>",
        f"<style>\n{_style(study)}</style>\n</head>",
    ))


def _style(study: Study) -> str:
    date = f"contrastkit, {date_words(study.made)}"
    return "\n".join((
        *(_font_face(path, weight) for path, weight in ((look.REGULAR, 400), (look.BOLD, 700))),
        f':root {{ {_greys(look.LIGHT_PAGE, look.ACCENT)} --print-foot: "{date}"; '
        f"--print-secondary: {look.grey_hex(look.PAPER.secondary)}; {_surround('middle')} }}",
        f"@media print {{ :root {{ {_greys(look.PAPER, look.grey_hex(look.PAPER.text))} }} }}",
        "@media screen and (prefers-color-scheme: dark) "
        f"{{ :root {{ {_greys(look.DARK_PAGE, look.ACCENT_ON_DARK)} }} }}",
        *(f":root:has(#surround-{kind}:checked) {{ {_surround(kind)} }}" for kind in look.SURROUNDS),
        _stylesheet(),
    ))


@lru_cache(maxsize=1)
def _stylesheet() -> str:
    return Path(__file__).with_name("report.css").read_text(encoding="utf-8")


def _font_face(path: Path, weight: int) -> str:
    return (
        f'@font-face {{ font-family: "Atkinson Hyperlegible Next"; font-weight: {weight}; '
        f'src: url({font_uri(path)}) format("truetype"); }}'
    )


def _greys(page: look.Page, accent: str) -> str:
    tones = {
        "ground": page.ground, "text": page.text, "secondary": page.secondary, "hairline": page.hairline,
        "raised": page.raised,
    }
    return " ".join(f"--{role}: {look.grey_hex(tone)};" for role, tone in tones.items()) + f" --accent: {accent};"


def _surround(kind: str) -> str:
    tone = look.SURROUNDS[kind]
    return f"--surround: {look.grey_hex(tone)}; --surround-ink: {look.grey_hex(look.legible_on(tone))};"


# What was found.


def _header(study: Study, title: str, sentences: Sequence[str]) -> str:
    links = [
        ("photographs", "Photographs", bool(study.pages)), ("pile", "The sorted pile", bool(study.pieces)),
        ("groups", "Groups and balance", bool(study.known)), ("pairs", "Which go together", study.pairs is not None),
        ("stacks", "The best stacks", study.best is not None), ("check", "To check", bool(study.pieces)),
        ("failed", "Photographs not used", bool(study.failures)), ("method", "How it was measured", True),
    ]
    anchor, step = _next_step(study)
    return "\n".join((
        "<header>", f"<h1>{escaped(title)}</h1>",
        *(paragraph(escaped(sentence), "lead") for sentence in sentences),
        f'<a class="next" href="#{anchor}">{step}</a>',
        '<nav aria-label="On this page">',
        items([f'<a href="#{target}">{words}</a>' for target, words, there in links if there]), "</nav>", "</header>",
    ))


def _next_step(study: Study) -> tuple[str, str]:
    if not study.pieces:
        return ("failed", "See why no piece was measured") if study.failures else ("method", "See how to measure")
    if study.doubtful:
        return "check", f"Look at the {counted(len(study.doubtful), 'piece')} to check"
    if study.borderline:
        return "check", f"Look at the {counted(len(study.borderline), 'piece')} between two groups"
    return "pile", "See the sorted pile"


def _footer(study: Study) -> str:
    text = (
        f"Made {date_words(study.made)} with contrastkit. Screens and paper show colours, and greys, a little "
        "differently each; the figures are what was measured."
    )
    bar = (
        '<svg class="true-size" viewBox="0 0 50 6" role="img" aria-label="A bar of 50 mm at true size">'
        '<path d="M0 .2h50v1.6h-50z" fill="none" stroke="currentColor" stroke-width=".3"/>'
        '<path d="M0 .2h10v1.6h-10zM20 .2h10v1.6h-10zM40 .2h10v1.6h-10z" fill="currentColor"/>'
        '<text x="0" y="5" font-size="2.9" fill="currentColor">50 mm at true size</text></svg>'
    )
    return f"<footer>{paragraph(text)}{bar}</footer>"
