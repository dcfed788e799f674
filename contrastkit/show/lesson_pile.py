"""The teaching charts of the whole pile, which the pile has anyway: its balance, and all its pairs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from contrastkit.compose.groups import fixed_breaks
from contrastkit.show.lesson_parts import samples_of, too_few
from contrastkit.show.pairs import pairs_chart
from contrastkit.show.sheet import balance_chart

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.compose.groups import Breaks
    from contrastkit.show.chart import Chart
    from contrastkit.show.crops import Crops


def balance_lesson(
    table: pd.DataFrame, crops: Crops, *, breaks: Breaks | None = None, title: str | None = None
) -> Chart:
    """
    Return what the pile is short of; see `balance_chart`.

    Parameters
    ----------
    table : the swatch table
    crops : not drawn; every piece is a square here
    breaks : edges and names of the groups; at L* 40 and 70, if not given
    title : the finding, if not the usual one

    Raises
    ------
    InvalidInputError
        No swatch of known lightness, or a table that cannot be right.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0]})
    >>> balance_lesson(table, {}, title="No mediums.").description
    'No mediums. 1 dark, 0 medium, 1 light.'
    """
    if not samples_of(table):
        raise too_few("at least one swatch of known lightness", "the pile has none", "Measure a photograph first")
    return balance_chart(table, breaks or fixed_breaks(), title=title)


def pairs_lesson(table: pd.DataFrame, crops: Crops, *, title: str | None = None) -> Chart:
    """
    Return which pieces separate from which across a room; see `pairs_chart`.

    Parameters
    ----------
    table : the swatch table
    crops : the pieces cut out of their photographs, by swatch_id
    title : the finding, if not the usual one

    Raises
    ------
    InvalidInputError
        Fewer than two swatches of known lightness, or a table or a crop that cannot be right.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0]})
    >>> pairs_lesson(table, {}).description[:41]
    'The two pieces separate across a room: 1 '
    """
    known = len(samples_of(table))
    if known < 2:
        raise too_few("two swatches of known lightness or more", f"the pile has {known}", "Measure another one")
    return pairs_chart(table, crops, title=title)
