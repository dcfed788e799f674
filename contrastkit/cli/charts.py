"""The command that draws teaching charts from a pile: chart."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from contrastkit.cli.measuring import REFERENCES, Progress, add_reference, code_of, pile_of, say_failed
from contrastkit.cli.printing import (
    ALL_WELL,
    EXIT_CODES,
    SOME_FAILED,
    add_json,
    help_with,
    numbers,
    report,
)
from contrastkit.errors import ContrastkitError, InvalidInputError
from contrastkit.show.lessons import LESSONS, Lesson

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.show.chart import Chart
    from contrastkit.show.studies import Subject, ValueStudy
    from contrastkit.show.study import Pile

ALL, VALUES = "all", "values"

CHARTS = LESSONS | {"strip": Lesson("the pile laid out along lightness", "lesson_pile", "strip_lesson")}
"""Every chart that is drawn of a whole pile."""

_WORDS = {kind: lesson.words for kind, lesson in CHARTS.items()} | {
    VALUES: "a value study: a photograph, a piece (--swatch) or a stack (--stack) in a few values"
}
# Options that only some kinds know. "all" takes those of the charts it draws.
_KINDS_OF = {
    "steps": ("grey-scale",), "stack": ("distances", VALUES), "edges": ("balance", "strip"), "swatch": (VALUES,),
    "values": (VALUES,), "method": (VALUES,),
}  # fmt: skip
_KINDS = "kinds of chart:\n" + "\n".join(f"  {kind:<14} {words}" for kind, words in _WORDS.items()) + f"""
  {ALL:<14} every chart that the pile allows, into a folder, as PDF and PNG

"""


def add_commands(commands: Any) -> None:
    """Add `chart` to the parser's commands."""
    command = commands.add_parser(
        "chart", help="draw a chart to teach value with, from your own pieces",
        description="Draw one of the teaching charts from photographs, a swatch table or the catalogue.",
        **help_with(_KINDS + REFERENCES + EXIT_CODES),
    )
    command.add_argument("kind", nargs="?", metavar="KIND", help="which; see below")
    command.add_argument(
        "places", nargs="*", metavar="PLACE",
        help="photographs and folders of them, or one TABLE.csv, or `pile`, a catalogue's file or its address",
    )
    command.add_argument("--list", action="store_true", help="list the kinds of chart and stop")
    command.add_argument("--out", metavar="FILE", help="the picture: .pdf, .png or .svg; a folder, where KIND is `all`")
    command.add_argument("--title", metavar="T", help="the title; what the chart finds, if not given")
    command.add_argument("--paper", choices=("A4", "Letter"), help="print it as a page of a PDF, with true-size bars")
    command.add_argument("--heading", metavar="T", help="a line of your own over the printed page")
    command.add_argument("--steps", type=int, choices=(5, 9, 11), help="of grey-scale (9)")
    command.add_argument("--stack", type=_names, metavar="ID,ID,ID", help="of distances, values: layers, bottom first")
    command.add_argument("--edges", type=numbers(), metavar="40,70", help="of balance and strip: L* where a group ends")
    command.add_argument("--swatch", metavar="ID", help="of values: study this piece")
    command.add_argument("--values", type=int, choices=(2, 3, 5, 9), help="of values: how many (3)")
    command.add_argument("--method", choices=("fixed", "natural", "named"), help="of values: which bands (fixed)")
    command.add_argument(
        "--only", metavar="FILTER", help="where PLACE is a catalogue: which pieces of it (not used not lost)"
    )
    add_reference(command)
    add_json(command)
    command.set_defaults(run=_chart)


def _names(text: str) -> tuple[str, ...]:
    return tuple(name.strip() for name in text.split(","))


def _chart(options: argparse.Namespace) -> int:
    if options.list or options.kind is None and options.out is None:
        return _list(options)
    _check(options)
    if options.kind == ALL:
        return _draw_all(options)
    return _draw_study(options) if options.kind == VALUES else _draw_one(options)


def _list(options: argparse.Namespace) -> int:
    kinds = [{"kind": kind, "words": words} for kind, words in _WORDS.items()]
    report(options, {"kinds": kinds}, [f"{kind:<14} {words}" for kind, words in _WORDS.items()])
    return ALL_WELL


# --- what cannot be meant ---------------------------------------------------------------------------------------------


def _check(options: argparse.Namespace) -> None:
    if options.kind is None:
        raise InvalidInputError("A chart must be of some kind; got none. See which with --list.")
    if options.kind not in (*_WORDS, ALL):
        raise InvalidInputError(
            f"A chart must be one of {', '.join((*_WORDS, ALL))}; got {options.kind!r}. Pick one of these."
        )
    if not options.places:
        raise InvalidInputError(
            f"The chart {options.kind} must have something to be drawn from; got none. "
            "Name photographs, a table, or `pile`."
        )
    if options.out is None:
        raise InvalidInputError("A chart must have a file to be written to; got none. Name it with --out.")
    drawn = set(CHARTS) if options.kind == ALL else {options.kind}
    for name, kinds in _KINDS_OF.items():
        if getattr(options, name) is not None and not drawn.intersection(kinds):
            raise InvalidInputError(
                f"--{name} is for the {'charts' if len(kinds) > 1 else 'chart'} {' and '.join(kinds)}; "
                f"got it with {options.kind}. Leave it out."
            )
    _check_page(options)
    _check_place(options)


def _check_page(options: argparse.Namespace) -> None:
    if options.heading is not None and options.paper is None:
        raise InvalidInputError("--heading is for a printed page; got no --paper. Add --paper A4 or --paper Letter.")
    if options.paper is not None and options.kind != ALL and Path(options.out).suffix.lower() != ".pdf":
        raise InvalidInputError(
            f"A page of paper is written to a file that ends in .pdf; got {options.out!r}. Rename it, or leave --paper "
            "out."
        )
    if options.title is not None and (options.kind == ALL or options.kind == VALUES and options.paper is not None):
        many = "all charts" if options.kind == ALL else "the two pages of a study"
        raise InvalidInputError(f"--title is for one chart; got it with {many}. Leave it out.")


def _check_place(options: argparse.Namespace) -> None:
    from contrastkit.keep.sources import is_catalogue

    if options.only is not None and not any(map(is_catalogue, options.places)):
        raise InvalidInputError(
            f"--only asks a catalogue; got it with {options.places[0]!r}. Leave it out, or give `pile`."
        )


# --- one chart --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Drawn:
    """A chart on disk."""

    kind: str
    chart: Chart
    files: tuple[Path, ...]

    @property
    def finding(self) -> str:
        """Its title."""
        from contrastkit.show.drawing import Words
        from contrastkit.show.look import TITLE

        marks = self.chart.drawing.marks
        return " ".join(mark.text for mark in marks if isinstance(mark, Words) and mark.size == TITLE)

    @property
    def document(self) -> dict[str, Any]:
        """What there is to say of it."""
        files = [str(file) for file in self.files]
        return {"kind": self.kind, "finding": self.finding, "description": self.chart.description, "files": files}

    @property
    def lines(self) -> list[str]:
        """The same in words."""
        return [f"{self.finding}.", *(f"Drawn: {file}" for file in self.files)]


def _place(options: argparse.Namespace) -> Path:
    from contrastkit.camera.read import list_photos
    from contrastkit.keep.files import file_place

    return file_place(options.out, (".pdf", ".png", ".svg"), what="A chart", never=list_photos(options.places))


def _draw_one(options: argparse.Namespace) -> int:
    place, pile = _place(options), pile_of(options)
    try:
        chart = _chart_of(options.kind, options, pile)
        drawn = _Drawn(options.kind, chart, (_written(options.kind, options, chart, place),))
        report(options, drawn.document | _failed_document(pile), drawn.lines)
    finally:
        say_failed(pile.failed)
    return code_of(len(pile.table), pile.failed)


def _chart_of(kind: str, options: argparse.Namespace, pile: Pile) -> Chart:
    return CHARTS[kind].draw(pile.table, pile.crops, title=options.title, **_options_of(kind, options, pile.table))


def _options_of(kind: str, options: argparse.Namespace, table: pd.DataFrame) -> dict[str, Any]:
    """What was asked for of what this kind of chart knows, as its function takes it."""
    asked = {name: getattr(options, name) for name, kinds in _KINDS_OF.items() if kind in kinds}
    given = {name: value for name, value in asked.items() if value is not None}
    if "edges" in given:
        from contrastkit.compose.groups import fixed_breaks

        given["breaks"] = fixed_breaks(given.pop("edges"))
    if "stack" in given:
        given["stack"] = _stack(table, given["stack"])
    return given


def _stack(table: pd.DataFrame, names: tuple[str, ...]) -> Any:
    from contrastkit.compose.stacks import stack_of
    from contrastkit.show.lesson_distance import RIM_MM

    return stack_of(table, names, rim=RIM_MM)


def _written(kind: str, options: argparse.Namespace, chart: Chart, place: Path) -> Path:
    """Write it at its own size, or as a page."""
    if options.paper is None:
        return chart.save(place)
    from contrastkit.show.chart import save_pages
    from contrastkit.show.on_paper import on_paper

    page = on_paper(chart, paper=options.paper, heading=options.heading or "", most=CHARTS[kind].most)
    return save_pages([page], place)


def _failed_document(pile: Pile) -> dict[str, Any]:
    return {"failed": [{"photo": str(each.path), "reason": each.reason} for each in pile.failed]}


# --- all of them ------------------------------------------------------------------------------------------------------


def _draw_all(options: argparse.Namespace) -> int:
    folder, pile = _folder(options), pile_of(options)
    drawn: list[_Drawn] = []
    refused: dict[str, str] = {}
    progress = Progress()
    for number, kind in enumerate(CHARTS):
        progress.begin(number, len(CHARTS), folder / kind)
        try:
            chart = _chart_of(kind, options, pile)
        except ContrastkitError as error:
            refused[kind] = str(error)
            continue
        files = (_written(kind, options, chart, folder / f"{kind}.pdf"), chart.save(folder / f"{kind}.png"))
        drawn.append(_Drawn(kind, chart, files))
    report(options, _all_document(drawn, refused) | _failed_document(pile), [*_all_lines(folder, drawn, refused)])
    say_failed(pile.failed)
    return code_of(len(drawn), pile.failed)


def _folder(options: argparse.Namespace) -> Path:
    from contrastkit.camera.read import list_photos
    from contrastkit.keep.files import ready_folder, refuse_to_replace

    names = [f"{kind}{ending}" for kind in CHARTS for ending in (".pdf", ".png")]
    refuse_to_replace([Path(options.out) / name for name in names], list_photos(options.places))
    return ready_folder(options.out)


def _all_document(drawn: list[_Drawn], refused: Mapping[str, str]) -> dict[str, Any]:
    return {
        "charts": [each.document for each in drawn],
        "not_drawn": [{"kind": kind, "reason": reason} for kind, reason in refused.items()],
    }


def _all_lines(folder: Path, drawn: list[_Drawn], refused: Mapping[str, str]) -> Iterator[str]:
    for each in drawn:
        yield f"{each.kind}: {each.finding}."
    for kind, reason in refused.items():
        yield f"Not drawn: {kind}. {reason}"
    yield f"{len(drawn)} of {len(CHARTS)} charts drawn, each as PDF and PNG: {folder}"


# --- a value study ----------------------------------------------------------------------------------------------------


def _draw_study(options: argparse.Namespace) -> int:
    from contrastkit.show.studies import value_study

    place = _place(options)
    subject, pile = _subject(options)
    try:
        study = value_study(
            subject.image, values=options.values or 3, method=options.method or "fixed", words=subject.words,
            width_mm=subject.width_mm,
        )
        drawn = _study_drawn(options, study, place)
        failed: dict[str, Any] = {"failed": []} if pile is None else _failed_document(pile)
        report(options, drawn.document | failed, drawn.lines)
    finally:
        say_failed(pile.failed if pile else ())
    return SOME_FAILED if pile and pile.failed else ALL_WELL


def _study_drawn(options: argparse.Namespace, study: ValueStudy, place: Path) -> _Drawn:
    """Beside its original as one chart, or as two pages, the second to colour in."""
    from contrastkit.show.chart import save_pages
    from contrastkit.show.studies import study_chart, study_pages

    if options.paper is None:
        chart = study_chart(study, title=options.title)
        return _Drawn(VALUES, chart, (chart.save(place),))
    pages = study_pages(study, paper=options.paper, heading=options.heading or "")
    return _Drawn(VALUES, pages[0], (save_pages(pages, place),))


def _subject(options: argparse.Namespace) -> tuple[Subject, Pile | None]:
    if options.swatch is None and options.stack is None:
        return _photo_subject(options), None
    if options.swatch is not None and options.stack is not None:
        raise InvalidInputError("A study must have one subject; got --swatch and --stack. Leave one of the two out.")
    from contrastkit.show.studies import stack_subject

    pile = pile_of(options)
    try:
        if options.stack is None:
            return _swatch_subject(options.swatch, pile), pile
        return stack_subject(_stack(pile.table, options.stack), pile.crops), pile
    except ContrastkitError:
        say_failed(pile.failed)
        raise


def _photo_subject(options: argparse.Namespace) -> Subject:
    from contrastkit.camera.read import list_photos, read_photo
    from contrastkit.show.gathered import is_kept
    from contrastkit.show.studies import photo_subject

    if any(map(is_kept, options.places)):
        raise InvalidInputError(
            f"A study of a pile must be of one of its pieces or stacks; got {options.places[0]!r} alone. Add --swatch "
            "or --stack."
        )
    photos = list_photos(options.places)
    if len(photos) != 1:
        raise InvalidInputError(
            f"A study must have one photograph; got {len(photos)}. Name one, or say which piece of the pile: --swatch, "
            "or --stack."
        )
    return photo_subject(read_photo(photos[0]))


def _swatch_subject(name: str, pile: Pile) -> Subject:
    import math

    from contrastkit.show.studies import swatch_subject

    if name not in pile.crops:
        known = name in set(pile.table["swatch_id"])
        raise InvalidInputError(
            f"A study must have a piece with a picture; {name!r} "
            f"{'has none. Give its photograph, or the catalogue' if known else 'is not in the pile. Name another'}."
        )
    rows = pile.table[pile.table["swatch_id"] == name]
    side = float(rows["side"].iloc[0]) if "side" in rows else math.nan
    return swatch_subject(pile.crops[name], words=name, width_mm=side if math.isfinite(side) else None)
