"""
A class pack: all handouts of a class from one TOML file, each a PDF, with a page that lists them.

    00-class-pack.pdf     what there is: how many pages, how many copies to print, how to print them true to size
    01-kit.pdf ...        the handouts in the order of teaching

What can stand in the file is shown in `contrastkit.show.pack_file`. With a heading and a pile alone, all is made that
the pile allows: the most patterned piece and the strongest stack to colour in, one exercise of pieces far apart, and
one of vivid pieces where it has some.
"""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from contrastkit.compose.exercise import LEVELS
from contrastkit.errors import ContrastkitError, InvalidInputError
from contrastkit.keep.files import StrPath, ready_folder, refuse_to_replace, shown
from contrastkit.show.gathered import pile_at
from contrastkit.show.handout_kinds import (
    CHART,
    HANDOUTS,
    chart_page,
    handout_pages,
    in_groups,
    most_patterned,
    strongest_stack,
)
from contrastkit.show.lessons import LESSONS
from contrastkit.show.order_file import read_orders
from contrastkit.show.pack_file import ClassPack
from contrastkit.show.words import counted, listed

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.camera.pipeline import Failed
    from contrastkit.show.chart import Chart
    from contrastkit.show.crops import Crops
    from contrastkit.show.state import PhotoState

FIRST = "00-class-pack.pdf"
"""The page that lists all others."""
_MADE_BY = "contrastkit class"
_IN_COLOUR = frozenset({"contact-sheet", CHART, "values", "exercise"})
_VIVID_LEAST = 3  # pieces that look lighter than they are, from which on a vivid exercise is worth it


@dataclass(frozen=True)
class PrintedHandout:
    """
    A handout of a pack.

    Attributes
    ----------
    kind : one of HANDOUTS
    words : what it is, for the list
    file : its name
    pages : how many
    copies : of each page
    whom : who gets one
    """

    kind: str
    words: str
    file: str
    pages: int
    copies: int
    whom: str

    @property
    def sheets(self) -> int:
        """Return how many sheets of paper it takes, printed on one side."""
        return self.pages * self.copies


@dataclass(frozen=True)
class LeftOut:
    """A handout, or a photograph, that is not in the pack, and why."""

    words: str
    reason: str


@dataclass(frozen=True)
class WrittenPack:
    """A class pack on disk: its folder, its files with the list first, its handouts, and what was left out."""

    folder: Path
    files: tuple[Path, ...]
    handouts: tuple[PrintedHandout, ...]
    left_out: tuple[LeftOut, ...]
    learners: int
    failed: int = 0  # photographs, which are named in left_out, too

    @property
    def sheets(self) -> int:
        """Return how many sheets of paper the whole class takes, the list itself not counted."""
        return sum(each.sheets for each in self.handouts)

    @property
    def sentences(self) -> list[str]:
        """Return what was made, what was left out and why, and what to do now, a sentence each."""
        made = f"{finding(self.handouts, self.learners)}."
        without = [f"Left out: {each.words}. {each.reason}" for each in self.left_out]
        place = os.fsencode(self.folder).decode("utf-8", "replace")
        step = f"Next: print {FIRST} at 100 %, measure its bar, then print the others as it says."
        return [made, *without, f"Written to {place}: {', '.join(file.name for file in self.files)}.", step]


def finding(handouts: Sequence[PrintedHandout], learners: int) -> str:
    """
    Return what a pack comes to, without a stop.

    >>> finding([PrintedHandout("kit", "the kit", "01-kit.pdf", 2, 1, "you")], 12)
    '1 handout for 12 learners: 2 sheets of paper'
    """
    sheets = counted(sum(each.sheets for each in handouts), "sheet")
    return f"{counted(len(handouts), 'handout')} for {counted(learners, 'learner')}: {sheets} of paper"


# --- what is in a pack ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Item:
    """A handout to be made: its kind, what it is, its file's name, what is said about it; and for whom it is."""

    kind: str
    words: str
    name: str
    said: dict[str, Any]
    copies: int = 1
    whom: str = "you"
    last_for_each: bool = False  # whether the last page is a file of its own, one a learner


def _items(pack: ClassPack, table: pd.DataFrame | None, crops: Crops) -> list[_Item]:
    """What a pack asks for, in the order of teaching."""
    each, four = pack.learners, -(-pack.learners // 4)
    made = {
        "kit": [_Item("kit", "What to lay ready, and to read out", "kit",
                      {"learners": each, "pieces": pack.pieces})],
        "cautions": [_Item("cautions", "Cautions", "cautions", {}, 1, "the wall")],
        "photographing": [_Item("photographing", "How to photograph swatches", "photographing", {}, four,
                                "one for four")],
        "grey-scale": [_Item("grey-scale", f"Grey scale of {pack.steps} steps", "grey-scale", {"steps": pack.steps},
                             each + 2, "each, you twice")],
        "contact-sheet": [_Item("contact-sheet", "The pile, dark to light", "contact-sheet", {}, four,
                                "one for four")] * bool(pack.pile),
        CHART: [_Item(CHART, "", "charts", {"charts": pack.charts}, 1, "the wall")] * bool(pack.pile),
        "values": _studies(pack, table, crops),
        "exercise": _exercises(pack, table),
        "key": _keys(pack, table),
        "results": [_Item("results", "How the class sorted", "results", {"orders": pack.orders})] * bool(pack.orders),
        "plan": [_Item("plan", "Plan, cut list, days", "plan", {"plan": pack.plan})] * bool(pack.plan),
    }  # fmt: skip
    return [item for kind in pack.handouts for item in made[kind]]


def _studies(pack: ClassPack, table: pd.DataFrame | None, crops: Crops) -> list[_Item]:
    studies = pack.studies or (() if table is None else _usual_studies(table, crops))
    return [
        _Item("values", f"Value study{_of(said)}", f"values{_number(at, studies)}", said, 1, "the wall",
              last_for_each=True)
        for at, said in enumerate(studies, start=1)
    ]


def _usual_studies(table: pd.DataFrame, crops: Crops) -> tuple[dict[str, Any], ...]:
    """The most patterned piece in three values, then the strongest stack in five, which is more to look for."""
    piece = most_patterned(table, crops)
    if not piece:
        return ({"method": "fixed"},)
    swatch = {"swatch": piece, "values": 3, "method": "natural"}
    if table["lightness"].notna().sum() < 3:
        return (swatch,)
    return swatch, {"stack": strongest_stack(table), "values": 5, "method": "natural"}


def _of(said: dict[str, Any]) -> str:
    if "photo" in said:
        return f" of {said['photo'].name}"
    return f" of {said['swatch']}" if "swatch" in said else f" of {', '.join(said['stack'])}" if "stack" in said else ""


def _number(at: int, of: Sequence[Any]) -> str:
    return f"-{at}" if len(of) > 1 else ""


def _called(at: int, settings: Sequence[dict[str, Any]]) -> str:
    """An exercise is called by its seed, as on its sheets; by its place where two have the same."""
    seeds = [said["seed"] for said in settings]
    return _number(seeds[at - 1] if len(set(seeds)) == len(seeds) else at, settings)


def _settings(pack: ClassPack, table: pd.DataFrame | None) -> list[dict[str, Any]]:
    """What is said about each exercise; of an exercise without a count, what the pile has, twelve at most."""
    known = 12 if table is None else max(3, min(12, int(table["lightness"].notna().sum())))
    wanted = pack.exercises or tuple(
        {"level": level, "seed": seed} for seed, level in enumerate(LEVELS, start=1)
        if level == LEVELS[0] or _is_vivid(table)
    )
    return [{"count": known} | said for said in wanted]


def _is_vivid(table: pd.DataFrame | None) -> bool:
    from contrastkit.compose.eye_order import VIVID

    if table is None or "lightness_apparent_low" not in table:
        return False
    return int((table["lightness_apparent_low"] - table["lightness"] >= VIVID).sum()) >= _VIVID_LEAST


def _exercises(pack: ClassPack, table: pd.DataFrame | None) -> list[_Item]:
    settings = _settings(pack, table) if pack.pile else []
    return [
        _Item("exercise", f"Exercise {said['seed']}, {said['level']}: {said['count']} pieces",
              f"exercise{_called(at, settings)}", said, pack.learners, "one a learner")
        for at, said in enumerate(settings, start=1)
    ]


def _keys(pack: ClassPack, table: pd.DataFrame | None) -> list[_Item]:
    settings = _settings(pack, table) if pack.pile else []
    return [
        _Item("key", f"Key to exercise {said['seed']}, {said['level']}", f"key{_called(at, settings)}", said)
        for at, said in enumerate(settings, start=1)
    ]


# --- making it --------------------------------------------------------------------------------------------------------


def make_pack(
    pack: ClassPack, folder: StrPath, *, never: Sequence[StrPath] = (),
    progress: Callable[[int, int, Path], None] | None = None,
    measured: Callable[[PhotoState | Failed], None] | None = None,
    told: Callable[[int, int, str], None] | None = None,
) -> WrittenPack:
    """
    Return a class pack made and written to a folder: a PDF for each handout, and one that lists them.

    What the pile does not allow is left out, and named with its reason; everything is made aside and then moved into
    place.

    Parameters
    ----------
    pack : what `read_pack` returns
    folder : made if it is not there; what an earlier pack wrote there is replaced, nothing else is
    never : files not to be written over
    progress, measured : called before and after each photograph; see `make_study`
    told : called after each handout with its number from 1, how many there are, and what became of it

    Raises
    ------
    InvalidInputError
        The pack has no handout at all, its orders cannot be right, or the folder cannot be written to.
    ContrastkitError
        The pile cannot be had: see `pile_at`.
    """
    place = ready_place(folder, never)
    if pack.orders is not None:
        read_orders(pack.orders, learners=pack.names)
    table, crops, left_out = _pile_of(pack, progress, measured)
    failed = len(left_out)
    left_out += _without_pile(pack)
    aside = Path(tempfile.mkdtemp(prefix=".", dir=place))
    try:
        made = _made(pack, table, crops, aside, told, left_out)
        _write(_first_page(pack, made, left_out), aside / FIRST)
        files = _moved(aside, place)
    except OSError as error:
        raise InvalidInputError(
            f"{shown(place)} must be open to writing; the system says: {error.strerror or error}. "
            "Name another place, or make room there."
        ) from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return WrittenPack(place, files, tuple(made), tuple(left_out), pack.learners, failed)


def _pile_of(
    pack: ClassPack, progress: Callable[[int, int, Path], None] | None,
    measured: Callable[[PhotoState | Failed], None] | None,
) -> tuple[pd.DataFrame | None, Crops, list[LeftOut]]:
    if not pack.pile:
        return None, {}, []
    pile = pile_at(pack.pile, pack.only, progress=progress, told=measured)
    failed = [LeftOut(f"the photograph {shown(each.path.name)[1:-1]}", each.reason) for each in pile.failed]
    return (in_groups(pile.table) if len(pile.table) else pile.table), pile.crops, failed


def _without_pile(pack: ClassPack) -> Iterator[LeftOut]:
    """What a pack asks for that is drawn from a pile, where it names none."""
    drawn = {kind for kind, each in HANDOUTS.items() if each.pile == "must" and (kind != "results" or pack.orders)}
    kinds = [kind for kind in pack.handouts if kind in drawn or kind == "values" and not pack.studies]
    if kinds and not pack.pile:
        yield LeftOut(listed(kinds), "The pack names no pile to draw them from. Add one.")


def _made(
    pack: ClassPack, table: pd.DataFrame | None, crops: Crops, aside: Path,
    told: Callable[[int, int, str], None] | None, left_out: list[LeftOut],
) -> list[PrintedHandout]:
    items = _items(pack, table, crops)
    made: list[PrintedHandout] = []
    for number, item in enumerate(items, start=1):
        try:
            if item.kind == CHART:
                item, pages = _charts(pack, item, table, crops, left_out)
            else:
                pages = handout_pages(item.kind, look=pack.look, table=table, crops=crops, **item.said)
        except ContrastkitError as error:
            left_out.append(LeftOut(item.words, str(error)))
            became = f"{item.name}: left out. {error}"
        else:
            became = f"{item.name}: {counted(len(pages), 'page')}"
            made += _written(item, pages, aside, len(made) + 1, pack.learners)
        if told is not None:
            told(number, len(items), became)
    if not made:
        raise InvalidInputError(
            f"A class pack must have a handout; nothing that was asked for could be made. {left_out[0].reason}"
            if left_out else "A class pack must have a handout; it asks for none. Add a pile, or other handouts."
        )
    return made


def _charts(
    pack: ClassPack, item: _Item, table: pd.DataFrame | None, crops: Crops, left_out: list[LeftOut]
) -> tuple[_Item, list[Chart]]:
    """All charts that the pile allows, a page each, and their names for the list."""
    if table is None:
        raise InvalidInputError("Charts are drawn from a pile; the pack names none. Add one.")
    drawn: dict[str, Chart] = {}
    for kind in pack.charts:
        try:
            drawn[kind] = LESSONS[kind].draw(table, crops)
        except ContrastkitError as error:
            left_out.append(LeftOut(f"Chart {kind}", str(error)))
    if not drawn:
        raise InvalidInputError("The pile allows none of the charts that were asked for. Measure more pieces.")
    pages = [chart_page(pack.look, kind, chart, number=(number, len(drawn)))
             for number, (kind, chart) in enumerate(drawn.items(), start=1)]
    return replace(item, words=f"{counted(len(drawn), 'teaching chart')}: {', '.join(drawn)}"), pages


def _written(item: _Item, pages: list[Chart], aside: Path, number: int, learners: int) -> Iterator[PrintedHandout]:
    parts = [(item.name, item.words, pages, item.copies, item.whom)]
    if item.last_for_each:
        own = f"outlines{item.name.removeprefix('values')}"
        parts = [(item.name, item.words, pages[:-1], item.copies, item.whom),
                 (own, "The same, to colour in", pages[-1:], learners, "one a learner")]
    for at, (name, words, some, copies, whom) in enumerate(parts):
        file = f"{number + at:02d}-{name}.pdf"
        _write(some, aside / file)
        yield PrintedHandout(item.kind, words, file, len(some), copies, whom)


def _write(pages: Sequence[Chart], path: Path) -> None:
    from contrastkit.show.chart import save_pages

    save_pages(pages, path, made_by=_MADE_BY)


# --- the page that lists them -----------------------------------------------------------------------------------------


def _first_page(pack: ClassPack, made: Sequence[PrintedHandout], left_out: Sequence[LeftOut]) -> list[Chart]:
    from contrastkit.show.flow import Block, Heading, Paragraph, Points, Table

    rows = [
        (each.file.removesuffix(".pdf"), each.words, str(each.pages), str(each.copies), str(each.sheets), each.whom)
        for each in made
    ]
    total = sum(each.sheets for each in made)
    pages = sum(each.pages for each in made)
    blocks: list[Block] = [
        Heading("Print it true to size"),
        Points((
            f"Paper: {pack.paper}. In the print window choose 100 %, or actual size; never fit to page. One side only.",
            "Print this page first: the bars at its foot must measure 50 mm and 2 in, or something made it smaller.",
            "The greys are as they were sent. No printer or copier is a reference until it is measured.",
            *_colour_words(made),
        ), numbered=True),
        Heading("What to print"),
        Table(("File", "What", "Pages", "Copies", "Sheets", "For"),
              (*rows, ("In all", "", str(pages), "", str(total), "")), (3.2, 6.6, 1.4, 1.55, 1.55, 2.7)),
    ]  # fmt: skip
    if pack.names:
        blocks.append(Paragraph(f"The class: {', '.join(pack.names)}.", quiet=True))
    if left_out:
        blocks += [Heading("Left out, and why"), *(Paragraph(f"{each.words}: {each.reason}") for each in left_out)]
    how = "All that this class gets, in the order of teaching."
    return pack.look.pages(finding(made, pack.learners), how, blocks, foot="Files end in .pdf and lie in one folder.")


def _colour_words(made: Sequence[PrintedHandout]) -> Iterator[str]:
    """Which files want colour; outlines to colour in do not."""
    files = [each.file.partition("-")[0] for each in made if each.kind in _IN_COLOUR and "outlines" not in each.file]
    if files:
        yield f"In colour: {listed(files)}; a grey copy of an exercise gives its answer away. The others do in grey."


# --- the folder -------------------------------------------------------------------------------------------------------

_OURS = re.compile(r"\d\d+-(" + "|".join((*HANDOUTS, "charts", "outlines", "class-pack")) + r")(-\d+)?\.pdf")


def ready_place(folder: StrPath, never: Sequence[StrPath] = ()) -> Path:
    """
    Return the folder to write a pack to, made if it was not there, once it is sure that nothing is lost there.

    Raises
    ------
    InvalidInputError
        It cannot be written to, or holds another file by a name that a pack writes to.
    """
    place = ready_folder(folder)
    there = [place / name for name in sorted(os.listdir(place)) if _OURS.fullmatch(name)]
    refuse_to_replace(there, never)
    for file in there:
        if not _is_ours(file):
            raise InvalidInputError(
                f"A class pack replaces only what a class pack wrote; {shown(place)} already holds {file.name!r}. "
                "Name another folder, or move that file."
            )
    return place


def _is_ours(file: Path) -> bool:
    """Whether a pack wrote it: that stands in it as its maker."""
    return file.is_file() and f"/Creator ({_MADE_BY})".encode() in file.read_bytes()


def _moved(aside: Path, folder: Path) -> tuple[Path, ...]:
    """Move a pack into place, and take away what an earlier one had more of."""
    names = sorted(os.listdir(aside))
    for name in names:
        os.replace(aside / name, folder / name)
    for name in os.listdir(folder):
        if _OURS.fullmatch(name) and name not in names and _is_ours(folder / name):
            (folder / name).unlink()
    return tuple(folder / name for name in names)
