"""Three charts of a measured pile: the contact sheet, the strip of values, the balance of the groups."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from contrastkit.compose.groups import balance_sentence
from contrastkit.errors import InvalidInputError, TooFewSwatchesError
from contrastkit.show.balance import BalanceStyle, count_groups, draw_balance
from contrastkit.show.chart import PRINT_PIXELS_PER_MM, Chart, chart_of
from contrastkit.show.contact import SheetLook, draw_sheets
from contrastkit.show.crops import Crops, cut_outs
from contrastkit.show.look import SMALL, surround_lightness
from contrastkit.show.page import paper_size, titled
from contrastkit.show.pieces import Piece, group_edges, group_names, pieces_dark_to_light, with_groups
from contrastkit.show.strip import StripStyle, draw_strip, side_of_pieces
from contrastkit.show.words import breaks_words, date_words, measured_words, spread_words

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.compose.groups import Breaks

MOST_ON_A_SHEET = 60
COMFORTABLE = 36  # as many as are still shown at least thumbnail large


# The contact sheet.


def contact_sheet(
    table: pd.DataFrame,
    crops: Crops,
    *,
    title: str | None = None,
    surround: str = "middle",
    paper: str = "A4",
    breaks: Breaks | None = None,
    made: datetime.date | None = None,
) -> Chart:
    """
    Return one printed page of up to sixty swatches, dark at the bottom left to light at the top right.

    Each piece lies beside the grey of equal lightness; under it stand its name, L* with its standard uncertainty,
    Munsell value, group and what to be careful of.

    Parameters
    ----------
    table
        The swatch table.
    crops
        The pieces cut out of their photographs, by swatch_id: 8-bit sRGB, shape (rows, cols, 3), or 4 with alpha.
        A piece without a crop gets an empty frame.
    title
        The finding; how the groups balance, if not given.
    surround
        What the pieces lie on: "light", "middle" or "dark".
    paper
        "A4" or "Letter".
    breaks
        Edges and names of the groups; without them, the groups are as the table names them.
    made
        The date at the foot; today, if not given.

    Raises
    ------
    InvalidInputError
        More pieces than a page holds, a table or a crop that cannot be right, or an unknown surround or paper.
    TooFewSwatchesError
        The table is empty.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0], "group": ["light", "dark"]})
    >>> contact_sheet(table, {}, title="Two pieces.").description
    'Two pieces. 2 pieces from dark to light: b, L* 31; a, L* 70.'
    """
    if len(table) > MOST_ON_A_SHEET:
        raise InvalidInputError(
            f"A contact sheet holds at most {MOST_ON_A_SHEET} pieces; got {len(table)}. "
            "Use contact_sheets, which goes on to further pages."
        )
    return contact_sheets(
        table, crops, title=title, surround=surround, paper=paper, breaks=breaks, made=made, most=MOST_ON_A_SHEET
    )[0]


def contact_sheets(
    table: pd.DataFrame,
    crops: Crops,
    *,
    title: str | None = None,
    surround: str = "middle",
    paper: str = "A4",
    breaks: Breaks | None = None,
    made: datetime.date | None = None,
    most: int = COMFORTABLE,
    heading: str = "",
) -> list[Chart]:
    """
    Return as many contact sheets as the pile needs, the darkest pieces on the first; see `contact_sheet`.

    Parameters
    ----------
    most
        How many pieces a page may hold, 1 to 60; fewer are shown larger. Pages are filled evenly.
    heading
        A line of the teacher's own, under the title of every page.

    Raises
    ------
    InvalidInputError
        As for `contact_sheet`, or `most` is not 1 to 60.
    TooFewSwatchesError
        The table is empty.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": list("abcde"), "lightness": [10, 30, 50, 70, 90]})
    >>> len(contact_sheets(table, {}, most=2))
    3
    """
    size = paper_size(paper)
    if not 1 <= most <= MOST_ON_A_SHEET:
        raise InvalidInputError(f"most must be 1 to {MOST_ON_A_SHEET} pieces a page; got {most}. Pick a number in it.")
    pieces = _some(pieces_dark_to_light(table))
    names = group_names(pieces, breaks)
    finding = title if title is not None else _balance(pieces, names)
    look = SheetLook(size, surround_lightness(surround), names, group_edges(pieces, names, breaks), heading)
    foot = measured_words(pieces), date_words(made or datetime.date.today())
    return draw_sheets(pieces, crops, look, finding, foot, pages=math.ceil(len(pieces) / most))


def _some(pieces: list[Piece]) -> list[Piece]:
    if not pieces:
        raise TooFewSwatchesError("A chart needs at least 1 swatch; the table has none. Measure a photograph first.")
    return pieces


def _balance(pieces: Sequence[Piece], names: Sequence[str]) -> str:
    import pandas as pd

    if not any(piece.group for piece in pieces):
        return spread_words(pieces)
    return balance_sentence(pd.DataFrame({"group": [piece.group for piece in pieces]}), names)


# The strip of values.


def value_strip(
    table: pd.DataFrame,
    crops: Crops,
    *,
    title: str | None = None,
    surround: str = "middle",
    breaks: Breaks | None = None,
) -> Chart:
    """
    Return the pieces laid along the lightness axis, none hiding another, each with its uncertainty.

    Parameters
    ----------
    table
        The swatch table.
    crops
        The pieces cut out of their photographs, by swatch_id, as for `contact_sheet`.
    title
        The finding; how far the pile reaches, if not given.
    surround
        What each piece lies on: "light", "middle" or "dark".
    breaks
        Edges and names of the groups; without them, edges are drawn half-way between the table's groups.

    Raises
    ------
    InvalidInputError
        A table or a crop that cannot be right, or an unknown surround.
    TooFewSwatchesError
        The table has no swatch of known lightness.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0]})
    >>> value_strip(table, {}).description
    'The pile reaches from L* 31 to L* 70; half of it lies between L* 41 and L* 60. From dark to light: b 31, a 70.'
    """
    pieces = _some([piece for piece in pieces_dark_to_light(table) if piece.known])
    names = group_names(pieces, breaks)
    style = StripStyle(
        width=265, tallest=118, largest=17, text=SMALL, gap=1.2, line=0.25, surround=surround_lightness(surround)
    )
    cuts = cut_outs(pieces, crops, side=math.ceil(side_of_pieces(pieces, style) * PRINT_PIXELS_PER_MM))
    finding = title if title is not None else spread_words(pieces)
    each = ", ".join(f"{piece.swatch_id} {piece.lightness:.0f}" for piece in pieces)
    strip = draw_strip(
        pieces, cuts, names, group_edges(pieces, names, breaks), style, f"{finding} From dark to light: {each}."
    )
    how = "Each piece at its lightness, with one standard uncertainty either side. " + measured_words(pieces)
    return chart_of(titled(strip, finding, how), cuts)


# The balance of the groups.


def balance_chart(table: pd.DataFrame, breaks: Breaks, *, title: str | None = None) -> Chart:
    """
    Return how many pieces each group has, one square a piece, against an equal count.

    Parameters
    ----------
    table
        The swatch table; pieces are sorted into the groups, if it has no groups yet.
    breaks
        Edges and names of the groups.
    title
        The finding; which groups the pile is short of, or has too many of, if not given.

    Raises
    ------
    InvalidInputError
        A table that cannot be right, or one with a group that is none of the breaks'.
    TooFewSwatchesError
        The table is empty.

    Examples
    --------
    >>> import pandas as pd
    >>> from contrastkit.compose.groups import fixed_breaks
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0]})
    >>> balance_chart(table, fixed_breaks(), title="No mediums.").description
    'No mediums. 1 dark, 0 medium, 1 light.'
    """
    pieces = _some(pieces_dark_to_light(with_groups(table, breaks)))
    finding = _balance(pieces, breaks.names)
    each = ", ".join(f"{count} {name}" for name, (count, _) in count_groups(pieces, breaks.names).items())
    style = BalanceStyle(width=max(150, 27 * len(breaks.names)), height=62, text=SMALL + 0.4, line=0.25)
    balance = draw_balance(pieces, breaks.names, style, f"{title or finding} {each}.")
    unknown = sum(not piece.known for piece in pieces)
    left_out = f"{unknown} of unknown lightness left out. " if unknown else ""
    how = (
        f"Groups by lightness: {breaks_words(breaks)}. Hollow, struck squares are borderline. {left_out}"
        + measured_words(pieces)
    )
    return chart_of(titled(balance, title or finding, how), {})
