"""
A plan on paper: what `plan --out` writes.

    plan.html       the blocks, the cut list, cutting diagrams, shopping list and day plan on one page, to print
    cut-list.csv    the cut list for a spreadsheet
"""

from __future__ import annotations

import base64
import datetime
import os
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from contrastkit.columns import Column
from contrastkit.compose.cutting import CutPlan, CutSquares, CutStacks
from contrastkit.compose.plan import Plan, check_swatches
from contrastkit.errors import InvalidInputError
from contrastkit.keep.files import StrPath, ready_folder, shown, write_whole
from contrastkit.keep.sources import Source, read_source
from contrastkit.keep.tables import csv_text
from contrastkit.lengths import MM_PER_INCH, length_words
from contrastkit.show import plan_sections
from contrastkit.show.crops import Crops
from contrastkit.show.frame import page as whole_page
from contrastkit.show.markup import escaped, items
from contrastkit.show.plan_pictures import Pile, block_chart, block_pixels, layout_pixels
from contrastkit.show.plan_sections import PlanPage
from contrastkit.show.words import date_words

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.show.chart import Chart

PAGE, LIST = "plan.html", "cut-list.csv"
_MADE_BY = "contrastkit plan"
LIST_COLUMNS = (
    Column("what", "str", "", "square, or a fused stack that is cut up", required=True),
    Column("count", "int64", "", "how many"),
    Column("side_mm", "float64", "mm", "side as cut"),
    Column("side", "str", "", "side as cut, as a ruler shows it"),
    Column("print_mm", "float64", "mm", "side of the print"),
    Column("layer", "str", "", "1 the bottom of its stack"),
    Column("group", "str", "", "lightness group"),
    Column("blocks", "str", "", "kinds of blocks, and how many for each"),
    Column("swatches", "str", "", "swatches at hand that are cut to it"),
)


@dataclass(frozen=True)
class WrittenPlan:
    """A plan on disk: its folder, its files, and what there is to say about it, a sentence each."""

    folder: Path
    files: tuple[Path, ...]
    sentences: tuple[str, ...]


def table_of(plan: Plan) -> pd.DataFrame | None:
    """
    Return the swatch table that a plan names, once all its swatches are found in it; None where it names none.

    Raises
    ------
    InvalidInputError
        The table cannot be read, or lacks a swatch of the plan.
    """
    source = source_of(plan)
    return None if source is None else source.table


def source_of(plan: Plan, *, pictures: bool = False) -> Source | None:
    """
    Return the table that a plan names, from a file or, by the word `pile`, from the catalogue; see `table_of`.

    Parameters
    ----------
    plan : what names it
    pictures : whether the pictures of its pieces are wanted, where the catalogue has them
    """
    if plan.table is None:
        return None
    source = read_source(plan.table, pictures=pictures)
    check_swatches(plan, source.table)
    return source


def write_plan(
    plan: Plan, cut: CutPlan, folder: StrPath, *, table: pd.DataFrame | None = None, crops: Crops | None = None,
    made: datetime.date | None = None,
) -> WrittenPlan:
    """
    Write a plan to a folder, as a page to print and as a table; what an earlier plan wrote there is replaced.

    Parameters
    ----------
    plan, cut : the plan, and all that it takes
    folder : made if it is not there
    table : swatches, so that those in the plan are drawn as light as they are
    crops : pieces cut out of their photographs, by swatch_id, so that they are drawn as they are
    made : the date on the page; today, if not given

    Raises
    ------
    InvalidInputError
        A swatch of the plan is not in the table; or the folder cannot be written to, or holds files by these names that
        are not a plan's.

    Examples
    --------
    >>> from fractions import Fraction
    >>> from contrastkit.compose.blocks import BlockShape
    >>> from contrastkit.compose.cutting import cut_plan
    >>> from contrastkit.compose.plan import Background, Layers, PlannedBlock
    >>> block = PlannedBlock("Hearth", 4, BlockShape((Fraction(80),), rim=Fraction(2)), Layers(("dark",)))
    >>> plan = Plan("Wall", "mm", Fraction(2), Fraction(0), Background(in_row=2), (block,))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     written = write_plan(plan, cut_plan(plan), folder)
    >>> [file.name for file in written.files], written.sentences[0]
    (['plan.html', 'cut-list.csv'], '4 squares to cut: 4 of 84 mm.')
    """
    if table is not None:
        check_swatches(plan, table)
    place = _ready(folder)
    made = made or datetime.date.today()
    text = _page(plan, cut, Pile.of(table, crops), made)
    files = (
        write_whole(place / PAGE, text.encode("utf-8", "replace")),
        write_whole(place / LIST, csv_text(_list(cut), columns=LIST_COLUMNS).encode("utf-8", "replace")),
    )
    return WrittenPlan(place, files, cut.sentences)


def _ready(folder: StrPath) -> Path:
    """The folder, once it is sure that nothing but an earlier plan is lost there."""
    place = ready_folder(folder)
    for name, mark in ((PAGE, f'content="{_MADE_BY}"'), (LIST, ",".join(column.name for column in LIST_COLUMNS))):
        if os.path.lexists(place / name) and not _bears(place / name, mark):
            raise InvalidInputError(
                f"A plan replaces only what a plan wrote; {shown(place)} already holds {name!r} by someone else. "
                "Name another folder, or move that file."
            )
    return place


def _bears(file: Path, mark: str) -> bool:
    """Whether the file begins as one of ours."""
    try:
        with open(file, "rb") as opened:
            return mark.encode() in opened.read(2000)
    except OSError:
        return False


# The page.


def _page(plan: Plan, cut: CutPlan, pile: Pile, made: datetime.date) -> str:
    page = PlanPage(
        plan, cut, tuple(block_pixels(plan, block, pile) for block in plan.blocks),
        layout_pixels(plan, cut.background.layout, pile),
        tuple(_printed(block_chart(plan, block, pile)) for block in plan.blocks),
    )
    sections = [
        plan_sections.layout(page), plan_sections.blocks(page), plan_sections.cut_list(page),
        plan_sections.cloth(page), plan_sections.web(page), plan_sections.shopping(page), plan_sections.days(page),
    ]
    return whole_page(
        cut.finding, header=_header(page), sections=sections, made=made, styles=("report.css", "cutlist.css"),
        made_by=_MADE_BY,
        foot=f"Made {date_words(made)} with contrastkit. Cut one, and measure it, before you cut many.",
    )


def _header(page: PlanPage) -> list[str]:
    links = [
        ("layout", "As it will hang", True), ("blocks", "Blocks", True), ("cut", "Cut list", True),
        ("cloth", "Painting and cutting", bool(page.cut.cloth)), ("web", "Cutting the web", page.cut.web is not None),
        ("shopping", "Shopping list", True), ("days", "Day by day", True),
    ]
    return [
        f"<h1>{plan_sections.plain(page.cut.finding)}</h1>",
        *(f'<p class="lead">{plan_sections.plain(sentence)}</p>' for sentence in page.cut.sentences),
        '<a class="next" href="#cut">See the cut list</a>',
        '<nav aria-label="On this page">',
        items([f'<a href="#{anchor}">{words}</a>' for anchor, words, there in links if there]), "</nav>",
    ]


def _printed(chart: Chart) -> str:
    """A chart at its true size, to print; screens show a picture of their own instead."""
    width = float(MM_PER_INCH) * chart.figure.get_figwidth()
    with tempfile.TemporaryDirectory() as folder:
        data = base64.b64encode(chart.save(Path(folder, "chart.svg")).read_bytes()).decode()
    source, alt = f"data:image/svg+xml;base64,{data}", escaped(chart.description)
    return f'<div class="printed"><img src="{source}" style="width:{width:.1f}mm" alt="{alt}"></div>'


# The table.


def _list(cut: CutPlan) -> pd.DataFrame:
    import pandas as pd

    unit = cut.plan.unit
    rows = [*(_square(each, unit) for each in cut.squares), *(_stack(each, unit) for each in cut.stacks)]
    return pd.DataFrame(rows, columns=[column.name for column in LIST_COLUMNS])


def _square(each: CutSquares, unit: str) -> Sequence[object]:
    blocks = ", ".join(f"{block} × {count}" for block, count in each.blocks)
    return (
        "square", each.count, float(each.side), length_words(each.side, unit), float(each.print_side),
        str(each.layer + 1), each.group, blocks, ", ".join(each.swatches),
    )


def _stack(each: CutStacks, unit: str) -> Sequence[object]:
    return (
        f"fused stack, into {each.into}", each.stacks, float(each.sides[0]), length_words(each.sides[0], unit), None,
        "", "", f"{each.block} × {each.stacks}", "",
    )
