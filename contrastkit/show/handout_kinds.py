"""
The handouts by name: what each is, what can be said about it, and its pages.

A handout is one or more printed pages for a class, all with the teacher's own heading: see `handout_pages`.
"""

from __future__ import annotations

import difflib
import math
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from contrastkit.compose.exercise import LEVELS, Exercise, make_exercise
from contrastkit.errors import CalibrationError, InvalidInputError, TooFewSwatchesError
from contrastkit.keep.files import StrPath
from contrastkit.show.words import listed

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.show.chart import Chart
    from contrastkit.show.crops import Crops
    from contrastkit.show.handouts import PageLook
    from contrastkit.show.studies import Subject

MOST_HEADING = 120  # letters
CHART = "chart"
_RIM = 25.4 / 16  # mm; common practice, no source
_ABOUT = 1.4  # longest over shortest side of what is called square here


@dataclass(frozen=True)
class Handout:
    """
    One handout.

    Attributes
    ----------
    words : what it is, as a list of handouts says it
    draw : its pages, of the look, the pile's table and pictures, and what is said about it
    takes : what can be said about it, by the names of the keywords
    pile : whether it is drawn from a pile: "must", "may" or "never"
    """

    words: str
    draw: Callable[..., list[Chart]]
    takes: tuple[str, ...] = ()
    pile: str = "never"


def handout_pages(
    kind: str, *, look: PageLook | None = None, table: pd.DataFrame | None = None, crops: Crops | None = None,
    **said: Any,
) -> list[Chart]:
    """
    Return the pages of a handout.

    Parameters
    ----------
    kind : one of HANDOUTS
    look : heading, paper and date
    table, crops : the pile, for handouts that are drawn from one, and the pictures of its pieces
    said : what its entry in HANDOUTS takes: `learners` and `pieces` (a learner) of a kit; `steps` of a grey scale;
        `chart`, one of LESSONS; `values`, `method`, and one of `photo` (a file), `swatch` (its name) and `stack`
        (names, bottom first) of a value study, see `subject_of`; `count`, `level` and `seed` of an
        exercise; `orders` (a table, see `order_file`) of results; `plan` (a file)

    Raises
    ------
    InvalidInputError
        No such handout, something said that it does not take, or that cannot be right.
    TooFewSwatchesError
        The pile is too small for it.

    Examples
    --------
    >>> handout_pages("kit", learners=3)[0].description[:29]
    'A class of 3: what to lay rea'
    """
    from contrastkit.show.handouts import PageLook

    handout = handout_named(kind)
    check_said(kind, [name for name, value in said.items() if value is not None])
    look = look or PageLook()
    check_heading(look.heading)
    if handout.pile == "must" and table is None:
        raise InvalidInputError(
            f"The handout {kind} is drawn from a pile; none is given. Name photographs, a table, or `pile`."
        )
    given = {name: value for name, value in said.items() if value is not None}
    if handout.pile != "never":
        given |= {"table": table, "crops": crops or {}}
    return handout.draw(look, **given)


def handout_named(kind: str) -> Handout:
    """
    Return the handout of that name.

    Raises
    ------
    InvalidInputError
        There is none.

    >>> handout_named("kit").words
    'what a class needs, and the cautions to read out'
    """
    if kind not in HANDOUTS:
        near = difflib.get_close_matches(kind.lower(), HANDOUTS, 1)
        hint = f"the nearest is {near[0]!r}" if near else f"there are {', '.join(HANDOUTS)}"
        raise InvalidInputError(f"There must be a handout of that name; got {kind[:40]!r}, and {hint}. Pick one.")
    return HANDOUTS[kind]


def check_said(kind: str, said: Sequence[str], *, sign: str = "") -> None:
    """
    Let nothing be said about a handout that it does not take.

    Parameters
    ----------
    kind : its name
    said : names of what is said
    sign : what stands before a name where it is said, such as "--"

    Raises
    ------
    InvalidInputError
        Something does not belong to it.

    >>> check_said("kit", ["learners"])
    """
    takes = handout_named(kind).takes
    wrong = [f"{sign}{name}" for name in said if name not in takes]
    if wrong:
        what = listed([f"{sign}{name}" for name in takes]) or "nothing of the kind"
        raise InvalidInputError(f"The handout {kind} takes {what}; got {listed(wrong)}. Leave it out.")


def check_heading(heading: str) -> str:
    """
    Return a heading on one line.

    Raises
    ------
    InvalidInputError
        It is longer than a line or two of small type.

    >>> check_heading("  Tuesday   class ")
    'Tuesday class'
    """
    line = " ".join(heading.split())
    if len(line) > MOST_HEADING:
        raise InvalidInputError(
            f"A heading must have {MOST_HEADING} letters or fewer; got {len(line):,}. Shorten it."
        )
    return line


def title_of(page: Chart) -> str:
    """
    Return what stands at the head of a page.

    >>> title_of(handout_pages("cautions")[0])
    'Before you begin'
    """
    from contrastkit.show.drawing import Words

    bold = [mark for mark in page.drawing.marks if isinstance(mark, Words) and mark.bold]
    top = max(bold, key=lambda mark: mark.y)
    return " ".join(mark.text for mark in bold if mark.size == top.size and mark.x == top.x)


# --- each -------------------------------------------------------------------------------------------------------------


def _kit(look: PageLook, *, learners: int = 12, pieces: int = 12) -> list[Chart]:
    from contrastkit.show.handouts import class_kit_handout

    return class_kit_handout(learners, pieces=pieces, look=look)


def _cautions(look: PageLook) -> list[Chart]:
    from contrastkit.show.handouts import cautions_handout

    return cautions_handout(look=look)


def _photographing(look: PageLook) -> list[Chart]:
    from contrastkit.show.handouts import photographing_handout

    return photographing_handout(look=look)


def _grey_scale(look: PageLook, *, steps: int = 9) -> list[Chart]:
    from contrastkit.show.handouts import grey_scale_handout

    return grey_scale_handout(steps, look=look)


def _contact_sheet(look: PageLook, *, table: pd.DataFrame, crops: Crops) -> list[Chart]:
    from contrastkit.show.sheet import contact_sheets

    return contact_sheets(in_groups(table), crops, paper=look.paper, made=look.made, heading=look.heading)


def in_groups(table: pd.DataFrame) -> pd.DataFrame:
    """
    Return a pile in groups: those its table names, else light, medium and dark with edges at L* 40 and 70.

    >>> import pandas as pd
    >>> in_groups(pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [20.0, 90.0]}))["group"].tolist()
    ['dark', 'light']
    """
    from contrastkit.compose.grouping import Grouping, sort_pile

    if "group" in table and (table["group"].astype(str) != "").any():
        return table
    return sort_pile(table, Grouping()).table


def _chart(look: PageLook, *, table: pd.DataFrame, crops: Crops, chart: str = "") -> list[Chart]:
    from contrastkit.show.lessons import LESSONS, lesson_named

    if not chart:
        raise InvalidInputError(f"It must be said which chart is to be printed: one of {', '.join(LESSONS)}. Add it.")
    return [chart_page(look, chart, lesson_named(chart).draw(in_groups(table), crops))]


def chart_page(look: PageLook, kind: str, drawn: Chart, *, number: tuple[int, int] = (1, 1)) -> Chart:
    """
    Return a teaching chart as a printed page.

    Parameters
    ----------
    look : heading, paper and date
    kind : which of LESSONS it is
    drawn : the chart
    number : of the page, and of how many
    """
    from contrastkit.show.lessons import lesson_named
    from contrastkit.show.on_paper import on_paper

    most = lesson_named(kind).most
    return on_paper(drawn, paper=look.paper, heading=look.heading, made=look.made, number=number, most=most)


def _values(
    look: PageLook, *, table: pd.DataFrame | None = None, crops: Crops, photo: StrPath | None = None, swatch: str = "",
    stack: Sequence[str] = (), values: int | None = None, method: str = "fixed",
) -> list[Chart]:
    from contrastkit.show.studies import NAMED_STEPS, study_pages, value_study

    subject = subject_of(table, crops, photo=photo, swatch=swatch, stack=stack)
    count = values or (len(NAMED_STEPS) if method == "named" else 3)
    study = value_study(
        subject.image, values=count, method=method, words=subject.words, width_mm=subject.width_mm
    )
    return study_pages(study, paper=look.paper, heading=look.heading, made=look.made)


def subject_of(
    table: pd.DataFrame | None, crops: Crops, *, photo: StrPath | None = None, swatch: str = "",
    stack: Sequence[str] = (),
) -> Subject:
    """
    Return what a value study is of: a photograph, a swatch or a stack of the pile.

    If nothing is said, it is the piece whose lights and darks lie furthest apart; of a pile without pictures, its
    strongest stack. A photograph with something grey to measure against is measured, so that its lightness is true.

    Parameters
    ----------
    table, crops : the pile, and the pictures of its pieces
    photo : a file
    swatch : its name
    stack : names of its layers, bottom first

    Raises
    ------
    InvalidInputError
        More than one of these, or a piece that is not in the pile or has no picture.
    TooFewSwatchesError
        Nothing is said, and the pile has too few pieces for a stack.
    UnreadablePhotoError
        The file is no photograph.
    """
    said = [name for name, value in (("photo", photo), ("swatch", swatch), ("stack", stack)) if value]
    if len(said) > 1:
        raise InvalidInputError(f"A study must be of one thing; got {listed(said)}. Leave out all but one.")
    if photo:
        return _photo_subject(photo)
    if table is None:
        raise InvalidInputError("A study must be of something; got neither a photograph nor a pile. Name one.")
    if not stack:
        swatch = swatch or most_patterned(table, crops)
    return _swatch_subject(table, crops, swatch) if swatch else _stack_subject(table, crops, stack)


def _photo_subject(photo: StrPath) -> Subject:
    from contrastkit.camera.pipeline import measure_photo
    from contrastkit.camera.read import read_photo
    from contrastkit.show.studies import photo_subject
    from contrastkit.show.words import reference_words

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it may be of anything: nothing found is no fault of it
        try:
            measured = measure_photo(photo)
        except CalibrationError:
            measured = None
    if measured is None or measured.calibration.kind == "none":
        plain = measured.photo if measured is not None else read_photo(photo)
        return photo_subject(plain, words=f"{plain.name}, as the camera says it")
    against = reference_words(measured.calibration.kind)
    return photo_subject(
        measured.photo, measured.calibration, words=f"{measured.photo.name}, measured against {against}"
    )


def _swatch_subject(table: pd.DataFrame, crops: Crops, swatch: str) -> Subject:
    from contrastkit.show.pieces import pieces_dark_to_light
    from contrastkit.show.studies import swatch_subject

    pieces = {piece.swatch_id: piece for piece in pieces_dark_to_light(table)}
    if swatch not in pieces:
        near = difflib.get_close_matches(swatch, pieces, 1, 0.5)
        raise InvalidInputError(
            f"A study must be of a piece of the pile; {swatch[:40]!r} is not in it"
            f"{f', and the nearest is {near[0]!r}' if near else ''}. Correct the name."
        )
    if swatch not in crops:
        raise InvalidInputError(
            f"A study of a swatch is drawn from its picture; there is none of {swatch!r}. Give the photographs, or the "
            "catalogue, in place of a table."
        )
    sides = dict(zip(table["swatch_id"].astype(str), table["side"], strict=True)) if "side" in table else {}
    side = float(sides.get(swatch, 0.0))
    return swatch_subject(
        crops[swatch], pieces[swatch].outline, words=f"the swatch {swatch}", width_mm=side if side > 0 else None
    )


def _stack_subject(table: pd.DataFrame, crops: Crops, names: Sequence[str]) -> Subject:
    from contrastkit.compose.stacks import stack_of
    from contrastkit.show.studies import stack_subject

    return stack_subject(stack_of(table, tuple(names) or strongest_stack(table), rim=_RIM), crops)


def most_patterned(table: pd.DataFrame, crops: Crops) -> str:
    """
    Return the piece to study: its lights and darks lie furthest apart; whole and square ones come first.

    Without pictures, or where nobody knows how far they lie apart, there is none: nothing.
    """
    from contrastkit.show.pieces import pieces_dark_to_light

    if "lightness_low" not in table or "lightness_high" not in table:
        return ""
    spread = dict(zip(table["swatch_id"].astype(str), table["lightness_high"] - table["lightness_low"], strict=True))
    pieces = [each for each in pieces_dark_to_light(table) if each.swatch_id in crops and spread[each.swatch_id] > 0]
    best = max(
        pieces, key=lambda each: (not each.flags, _is_square(each.outline), spread[each.swatch_id]), default=None
    )
    return "" if best is None else best.swatch_id


def _is_square(outline: Sequence[tuple[float, float]]) -> bool:
    """Whether it has four sides of about one length; so has what has no outline."""
    sides = [math.dist(start, end) for start, end in zip(outline, [*outline[1:], *outline[:1]], strict=True)]
    return not sides or (len(sides) == 4 and max(sides) < _ABOUT * min(sides))


def strongest_stack(table: pd.DataFrame) -> tuple[str, ...]:
    """
    Return the three pieces, bottom first, whose layers are furthest apart, dark and light in turn.

    Raises
    ------
    TooFewSwatchesError
        There are fewer than three pieces of known lightness.

    >>> import pandas as pd
    >>> strongest_stack(pd.DataFrame({"swatch_id": ["a", "b", "c"], "lightness": [20.0, 50.0, 80.0]}))
    ('a', 'c', 'b')
    """
    from contrastkit.compose.choosing import choose_stacks

    known = table[table["lightness"].notna()]
    if len(known) < 3:
        raise TooFewSwatchesError(
            f"A stack to study needs 3 swatches of known lightness; the pile has {len(known)}. Measure more."
        )
    choice = choose_stacks(known, layers=3, blocks=1, order="alternating", seconds=1e-6)
    return tuple(choice.stacks[0].layers)


def _exercise(
    look: PageLook, *, table: pd.DataFrame, crops: Crops, count: int = 12, level: str = LEVELS[0], seed: int = 1
) -> list[Chart]:
    from contrastkit.show.exercise import exercise_sheets

    exercise, table = exercise_of(table, crops, count=count, level=level, seed=seed)
    return exercise_sheets(exercise, table, crops, heading=look.heading, paper=look.paper, made=look.made)


def _key(
    look: PageLook, *, table: pd.DataFrame, crops: Crops, count: int = 12, level: str = LEVELS[0], seed: int = 1
) -> list[Chart]:
    from contrastkit.show.exercise import exercise_key

    exercise, table = exercise_of(table, crops, count=count, level=level, seed=seed)
    return exercise_key(exercise, table, crops, heading=look.heading, paper=look.paper, made=look.made)


def exercise_of(
    table: pd.DataFrame, crops: Crops, *, count: int, level: str, seed: int
) -> tuple[Exercise, pd.DataFrame]:
    """
    Return an exercise of pieces whose pictures there are, and the table of those.

    Raises
    ------
    InvalidInputError
        There are no pictures, or a count or level that cannot be.
    TooFewSwatchesError
        The pile has fewer pieces.
    """
    shown = table[table["swatch_id"].astype(str).isin(list(crops))]
    if not len(shown):
        raise InvalidInputError(
            "An exercise is made of the pictures of its pieces; the pile has none. Give the photographs, or the "
            "catalogue, in place of a table."
        )
    return make_exercise(shown, count=count, level=level, seed=seed), shown


def _results(
    look: PageLook, *, table: pd.DataFrame, crops: Crops, orders: StrPath | None = None, count: int = 12,
    level: str = LEVELS[0], seed: int = 1,
) -> list[Chart]:
    from contrastkit.show.exercise import class_results
    from contrastkit.show.order_file import judge_orders, read_orders

    if orders is None:
        raise InvalidInputError("Results are worked out from what learners wrote; no orders are given. Name the table.")
    written = read_orders(orders, count=count, level=level, seed=seed)
    shown = table[table["swatch_id"].astype(str).isin(list(crops))]
    judged = judge_orders(shown if len(shown) else table, written)
    return class_results(
        judged.pooled, judged.exercise, progress=judged.weeks, heading=look.heading, paper=look.paper, made=look.made
    )


def _plan(
    look: PageLook, *, table: pd.DataFrame | None = None, crops: Crops, plan: StrPath | None = None
) -> list[Chart]:
    from contrastkit.compose.cutting import cut_plan
    from contrastkit.compose.plan import check_swatches, read_plan
    from contrastkit.show.cutlist import source_of
    from contrastkit.show.handouts import plan_handout
    from contrastkit.show.plan_pictures import Pile

    if plan is None:
        raise InvalidInputError("A plan must be named to be printed; none is. Name its file, such as plan.toml.")
    read = read_plan(plan)
    source = source_of(read, pictures=True)
    if source is not None:
        table, crops = source.table, source.crops
    elif table is not None:
        check_swatches(read, table)
    return plan_handout(cut_plan(read), Pile.of(table, crops), look=look)


_EXERCISE = ("count", "level", "seed")

HANDOUTS: dict[str, Handout] = {
    "kit": Handout("what a class needs, and the cautions to read out", _kit, ("learners", "pieces")),
    "cautions": Handout("the cautions, to hang where the work is done", _cautions),
    "photographing": Handout("how to photograph swatches so that they measure true", _photographing),
    "grey-scale": Handout("a grey scale to cut out, and how it is measured", _grey_scale, ("steps",)),
    "contact-sheet": Handout("every piece beside the grey of equal lightness", _contact_sheet, pile="must"),
    CHART: Handout("a teaching chart on a page", _chart, (CHART,), "must"),
    "values": Handout(
        "a value study, and its outlines to colour in", _values, ("photo", "swatch", "stack", "values", "method"), "may"
    ),
    "exercise": Handout("numbered swatches to sort by eye, and the slip", _exercise, _EXERCISE, "must"),
    "key": Handout("the true order of an exercise", _key, _EXERCISE, "must"),
    "results": Handout("how a class sorted, week by week", _results, ("orders", *_EXERCISE), "must"),
    "plan": Handout("a plan: layout, blocks, cut list, days", _plan, ("plan",), "may"),
}
"""In the order of teaching."""
