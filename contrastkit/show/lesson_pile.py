"""The teaching charts of the whole pile, which the pile has anyway: its balance, its strip, and all its pairs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from contrastkit.compose.groups import fixed_breaks, sort_into_groups
from contrastkit.show.lesson_parts import samples_of, too_few
from contrastkit.show.pairs import pairs_chart
from contrastkit.show.sheet import balance_chart, value_strip

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
    table : the swatch table; its pieces are sorted anew
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
    breaks = breaks or fixed_breaks()
    return balance_chart(sort_into_groups(table, breaks), breaks, title=title)


def strip_lesson(
    table: pd.DataFrame, crops: Crops, *, breaks: Breaks | None = None, title: str | None = None
) -> Chart:
    """
    Return the pile laid out along lightness, in its groups; see `value_strip`.

    Parameters
    ----------
    table : the swatch table; its pieces are sorted anew
    crops : the pieces cut out of their photographs, by swatch_id
    breaks : edges and names of the groups; at L* 40 and 70, if not given
    title : the finding, if not the usual one

    Raises
    ------
    InvalidInputError
        No swatch of known lightness, or a table or a crop that cannot be right.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0]})
    >>> strip_lesson(table, {}).description[:38]
    'The pile reaches from L* 31 to L* 70; '
    """
    if not samples_of(table):
        raise too_few("at least one swatch of known lightness", "the pile has none", "Measure a photograph first")
    breaks = breaks or fixed_breaks()
    return value_strip(sort_into_groups(table, breaks), crops, breaks=breaks, title=title)


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
