"""What the Teach panel draws and prints: teaching charts of the pile, and handouts. No widgets here."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from contrastkit.compose.seams import BACKGROUND, Surface
from contrastkit.compose.stacks import Stack
from contrastkit.errors import InvalidInputError
from contrastkit.panels import teaching
from contrastkit.panels.laying import Bench, measured
from contrastkit.panels.session import Session, fetch_crops
from contrastkit.panels.stack_words import LETTERS
from contrastkit.show.chart import Chart, pages_pdf
from contrastkit.show.exercise import class_results, exercise_key, exercise_sheets
from contrastkit.show.handouts import (
    PageLook,
    cautions_handout,
    class_kit_handout,
    grey_scale_handout,
    photographing_handout,
)
from contrastkit.show.lessons import LESSONS
from contrastkit.show.sheet import contact_sheets
from contrastkit.show.studies import Subject, stack_subject, study_pages, swatch_subject, value_study

Crops = Mapping[str, NDArray[np.uint8]]
PILE = -1
"""Where a stack is asked for: the pile's own, and none of those on the Stack panel."""
MOST_LEARNERS, MOST_PIECES = 200, 500
_METHODS = {"natural": "where this one has its gaps", "fixed": "the same for all"}
_BY_NAME = {"named": "nine with names"}
_NINE = 9


# --- teaching charts --------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ChartWish:
    """Which teaching chart: its kind, the steps of a grey scale, the number of the stack that one steps back from."""

    kind: str = next(iter(LESSONS))
    steps: int = 9
    stack: int = PILE


def chart_words(kind: str) -> str:
    """
    Return what a teaching chart is about, as a list shows it.

    >>> chart_words("same-hue")
    'One hue, many values'
    """
    return _sentence(LESSONS[kind].words)


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def chart_options(session: Session, wish: ChartWish) -> dict[str, Any]:
    """Return what a chart's function is told beside the pile; nothing that another kind would be told."""
    if wish.kind == "grey-scale":
        return {"steps": wish.steps}
    if wish.kind == "balance":
        return {"breaks": session.breaks}
    if wish.kind == "distances" and wish.stack != PILE:
        return {"stack": stack_at(session, wish.stack)}
    return {}


def draw_chart(session: Session, wish: ChartWish) -> Chart:
    """
    Return a teaching chart of the whole pile on the desk.

    Raises
    ------
    ContrastkitError
        What the chart's own function says that the pile is too small for.
    """
    table = session.sorted.table
    return LESSONS[wish.kind].draw(table, _crops_of(session), **chart_options(session, wish))


def _crops_of(session: Session, names: list[str] | None = None) -> Crops:
    wanted = [str(name) for name in session.table["swatch_id"]] if names is None else names
    return dict(fetch_crops(session.crops, wanted))


# --- stacks of the Stack panel ----------------------------------------------------------------------------------------


def stacks(session: Session) -> list[tuple[str, int]]:
    """
    Return the stacks on the Stack panel that have two layers or more: words and number of each.

    >>> import pandas as pd
    >>> from contrastkit.panels.session import session_of
    >>> stacks(session_of(pd.DataFrame({"swatch_id": ["a"], "lightness": [20.0]})))
    []
    """
    known = set(session.by_name)
    laid = [tuple(name for name in layers if name in known) for layers in session.laying.stacks]
    return [(f"Stack {LETTERS[at]}: {', '.join(names)}", at) for at, names in enumerate(laid) if len(names) > 1]


def stack_at(session: Session, number: int) -> Stack:
    """
    Return a stack of the Stack panel, in its sizes and on its background.

    Raises
    ------
    InvalidInputError
        It has fewer than two layers, a layer of unknown lightness, or sizes that cannot be.
    """
    now = replace(session.laying, view="colour")
    layers = now.stacks[number] if number < len(now.stacks) else ()
    found = measured(now, layers, Bench(session.table, {}))
    if found.problem:
        raise InvalidInputError(found.problem)
    back = None if now.background is None else Surface(BACKGROUND, now.background)
    return Stack(found.layers, found.sides, back, now.rim_mm)


# --- handouts ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class HandoutWish:
    """
    Which handout.

    Attributes
    ----------
    kind : one of HANDOUTS
    steps : of a printed grey scale
    learners, pieces : of a class kit: how many, and how many pieces each makes
    swatch, stack : what a value study is of: a piece by its name, else a stack by its number
    values, method : of a value study
    """

    kind: str = "exercise"
    steps: int = 9
    learners: int = 12
    pieces: int = 12
    swatch: str = ""
    stack: int = PILE
    values: int = 3
    method: str = "natural"


@dataclass(frozen=True)
class Document:
    """Printed pages: what they are, in words, what their file is called, and the pages."""

    words: str
    name: str
    pages: list[Chart]

    def pdf(self) -> bytes:
        """Return the pages as one PDF."""
        return pages_pdf(self.pages)


def documents(session: Session, wish: HandoutWish, look: PageLook) -> list[Document]:
    """
    Return the printed pages of a handout; of an exercise, its sheets, its key and the class's results.

    Raises
    ------
    InvalidInputError, TooFewSwatchesError
        No exercise is under way, a number that cannot be, a piece without a picture, a pile without pieces.
    """
    return _MAKERS[wish.kind](session, wish, look)


def _exercise(session: Session, _: HandoutWish, look: PageLook) -> list[Document]:
    now, table = session.teaching, session.table
    if now.exercise is None:
        raise InvalidInputError("Sheets are printed of an exercise; none is under way. Begin one first.")
    exercise, crops = now.exercise, _crops_of(session, list(now.exercise.pieces))
    name = f"exercise-{exercise.seed}"
    on: dict[str, Any] = {"heading": look.heading, "paper": look.paper, "made": look.made}
    made = [
        Document("Sheets to cut out", f"{name}-sheets", exercise_sheets(exercise, table, crops, **on)),
        Document("The key", f"{name}-key", exercise_key(exercise, table, crops, **on)),
    ]
    pooled = teaching.pooled(now, table)
    if pooled is not None:
        results = class_results(pooled, exercise, progress=teaching.weeks(now, table), **on)
        made.append(Document("The class's results", f"{name}-results", results))
    return made


def _contact_sheet(session: Session, _: HandoutWish, look: PageLook) -> list[Document]:
    pile = session.sorted
    pages = contact_sheets(
        pile.table, _crops_of(session), breaks=pile.breaks, paper=look.paper, made=look.made, heading=look.heading
    )
    return [Document("The contact sheet", "contact-sheet", pages)]


def _study(session: Session, wish: HandoutWish, look: PageLook) -> list[Document]:
    subject = _subject(session, wish)
    study = value_study(
        subject.image, values=wish.values, method=wish.method, words=subject.words, width_mm=subject.width_mm
    )
    return [Document("The value study", "value-study",
                     study_pages(study, paper=look.paper, heading=look.heading, made=look.made))]  # fmt: skip


def _subject(session: Session, wish: HandoutWish) -> Subject:
    if wish.swatch:
        return _swatch(session, wish.swatch)
    if wish.stack == PILE:
        raise InvalidInputError("A value study is of a swatch or a stack; the pile has neither. Photograph some first.")
    stack = stack_at(session, wish.stack)
    names = [layer.swatch_id for layer in stack.layers]
    words = f"stack {LETTERS[wish.stack]}, {', '.join(names)}"
    return stack_subject(stack, _crops_of(session, names), surround=session.laying.surround, words=words)


def _swatch(session: Session, name: str) -> Subject:
    piece, crops = session.piece(name), _crops_of(session, [name])
    if name not in crops:
        raise InvalidInputError(
            f"A value study is drawn from the piece's picture; there is none of {name!r}. Choose another piece."
        )
    is_it = session.table["swatch_id"] == name
    side = float(session.table.loc[is_it, "side"].iloc[0]) if "side" in session.table else 0.0
    return swatch_subject(crops[name], piece.outline, words=name, width_mm=side if side > 0 else None)


def _one(words: str, name: str, make: Callable[[HandoutWish, PageLook], list[Chart]]) -> _Maker:
    return lambda _, wish, look: [Document(words, name, make(wish, look))]


_Maker = Callable[[Session, HandoutWish, PageLook], list[Document]]
_MAKERS: dict[str, _Maker] = {
    "exercise": _exercise,
    "study": _study,
    "sheet": _contact_sheet,
    "kit": _one("What the class needs", "class-kit",
                lambda wish, look: class_kit_handout(wish.learners, pieces=wish.pieces, look=look)),
    "cautions": _one("The cautions", "cautions", lambda _, look: cautions_handout(look=look)),
    "photographing": _one("How to photograph", "how-to-photograph", lambda _, look: photographing_handout(look=look)),
    "grey-scale": _one("The grey scale", "grey-scale", lambda wish, look: grey_scale_handout(wish.steps, look=look)),
}  # fmt: skip
HANDOUTS = {
    "exercise": "This exercise: sheets to cut out, key, results",
    "study": "A value study to colour in",
    "sheet": "A contact sheet of the pile",
    "kit": "What a class needs, and the cautions to read out",
    "cautions": "The cautions, to hang where the work is done",
    "photographing": "How to photograph swatches",
    "grey-scale": "A grey scale to cut out, and how it is measured",
}
"""What each handout is, in words, in the order in which they are listed."""


def subjects(session: Session) -> list[tuple[str, str]]:
    """
    Return what a value study can be of: words and a plain value for each, stacks first, then pieces dark to light.

    >>> import pandas as pd
    >>> from contrastkit.panels.session import session_of
    >>> subjects(session_of(pd.DataFrame({"swatch_id": ["a"], "lightness": [20.0], "lightness_sigma": [1.0]})))
    [('a: L* 20 ± 1', 'swatch a')]
    """
    laid = [(words, f"stack {number}") for words, number in stacks(session)]
    known = [piece for piece in session.pieces if piece.known]
    return laid + [(f"{each.swatch_id}: L* {each.lightness_words}", f"swatch {each.swatch_id}") for each in known]


def of_subject(wish: HandoutWish, subject: str) -> HandoutWish:
    """
    Return the wish with the subject of its value study as `subjects` has it.

    >>> of_subject(HandoutWish(), "stack 1").stack
    1
    """
    kind, _, name = subject.partition(" ")
    return replace(wish, swatch=name if kind == "swatch" else "", stack=int(name) if kind == "stack" else PILE)


def methods(values: int) -> list[tuple[str, str]]:
    """
    Return where the edges of so many values may lie: words and method of each.

    >>> [method for _, method in methods(9)]
    ['natural', 'fixed', 'named']
    """
    known = _METHODS | (_BY_NAME if values == _NINE else {})
    return [(words, method) for method, words in known.items()]


def whole_number(text: str, most: int, what: str) -> int:
    """
    Return a whole number from 1 to `most` that was written by hand.

    Raises
    ------
    InvalidInputError
        It is none.

    >>> whole_number(" 12 ", 200, "The number of learners")
    12
    """
    plain = text.strip()
    if not (plain.isascii() and plain.isdecimal() and len(plain) <= len(str(most)) and 1 <= int(plain) <= most):
        raise InvalidInputError(f"{what} must be a whole number from 1 to {most}; got {text[:20]!r}. Write one.")
    return int(plain)


def hangs_on(session: Session, wish: HandoutWish) -> tuple[Any, ...]:
    """Return what a handout is made from beside the pile: while it is the same, so is the handout."""
    now = session.teaching
    made_from: dict[str, tuple[Any, ...]] = {
        "exercise": (now.exercise, now.results), "sheet": (session.breaks,),
        "study": () if wish.swatch else (replace(session.laying, at=0, layer=-1, view="colour", better=False),),
    }  # fmt: skip
    return (wish, now.heading, now.paper, *made_from.get(wish.kind, ()))
