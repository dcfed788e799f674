"""
How the readings of one piece have changed: wet paint reads differently from cured, and dust, light and wear tell too.

A difference is taken for one where it exceeds what both measurements may err by: 1.96 standard uncertainties of their
difference, which chance alone exceeds once in twenty times.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, select

from contrastkit.keep.finding import text_column
from contrastkit.keep.schema import measurements

if TYPE_CHECKING:
    import pandas as pd

TWO_SIDED = 1.96
"""Standard deviations that 95 % of a normal distribution lie within (ISO/IEC Guide 98-3:2008, table G.1)."""

_COLUMNS = (
    "measured", "photo", "reference", "calibration", "surface", "measured_by", "lightness", "lightness_sigma", "chroma",
    "hue_angle", "flags",
)  # fmt: skip
_READINGS = ("lightness", "lightness_sigma", "chroma", "hue_angle")
_ADDED = ("since_first", "since_first_allowed", "since_first_real", "since_previous", "since_previous_allowed",
          "since_previous_real", "newest", "sentence")  # fmt: skip


def history(connection: Connection, swatch: int, newest: int | None) -> pd.DataFrame:
    """
    Return all measurements of a piece, the oldest first, and what has changed.

    Returns
    -------
    DataFrame
        One row a measurement: when, on which photograph, against what, wet or cured, by whom, the readings;
        `since_first` and `since_previous`, difference in L* (nan for the first and where unknown); what both
        measurements may err by (`..._allowed`, L*); whether the difference exceeds that (`..._real`); whether it is
        the newest, which the catalogue goes by; and all that in a sentence.
    """
    import pandas as pd

    columns = [measurements.c[{"photo": "photo_name"}.get(name, name)].label(name) for name in _COLUMNS]
    query = select(measurements.c.measurement, *columns).where(measurements.c.swatch == swatch)
    rows = list(connection.execute(query.order_by("measured", "measurement")).mappings())
    data = [_entry(rows, place, newest) for place in range(len(rows))]
    return pd.DataFrame({name: _column(name, [entry[name] for entry in data]) for name in (*_COLUMNS, *_ADDED)})


def _column(name: str, values: list[Any]) -> pd.Series:
    import pandas as pd

    if name in ("since_first_real", "since_previous_real", "newest"):
        return pd.Series(values, dtype=bool)
    if name in _READINGS or name.startswith("since"):
        return pd.Series(values, dtype=float)
    return text_column(values)


def _entry(rows: Sequence[Mapping[Any, Any]], place: int, newest: int | None) -> dict[str, Any]:
    row = rows[place]
    first = _change(rows[0], row) if place else (math.nan, math.nan, False)
    previous = _change(rows[place - 1], row) if place else (math.nan, math.nan, False)
    words = [_reading(row), *([_words(rows[place - 1], row, previous)] if place else [])]
    if place > 1:
        words.append(_since_first(first))
    return {
        **{name: "" if row[name] is None and name not in _READINGS else row[name] for name in _COLUMNS},
        **_named("since_first", first), **_named("since_previous", previous),
        "newest": row["measurement"] == newest, "sentence": f"{'; '.join(words)}.",
    }  # fmt: skip


def _named(name: str, change: tuple[float, float, bool]) -> dict[str, Any]:
    return dict(zip((name, f"{name}_allowed", f"{name}_real"), change, strict=True))


def _change(before: Mapping[Any, Any], after: Mapping[Any, Any]) -> tuple[float, float, bool]:
    """Difference in L*, how much both may err by, and whether it is more than that."""
    difference = _number(after["lightness"]) - _number(before["lightness"])
    allowed = TWO_SIDED * math.hypot(_number(before["lightness_sigma"]), _number(after["lightness_sigma"]))
    return difference, allowed, abs(difference) > allowed


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def _reading(row: Mapping[Any, Any]) -> str:
    surface = {"wet": "wet", "cured": "cured"}.get(row["surface"], "not said whether wet or cured")
    lightness, sigma = _number(row["lightness"]), _number(row["lightness_sigma"])
    if math.isnan(lightness):
        return f"{row['measured'][:10]}, {surface}: lightness not known"
    doubt = "" if math.isnan(sigma) else f" ± {sigma:.1f}"
    return f"{row['measured'][:10]}, {surface}: L* {lightness:.1f}{doubt}"


def _words(before: Mapping[Any, Any], after: Mapping[Any, Any], change: tuple[float, float, bool]) -> str:
    difference, allowed, real = change
    if math.isnan(difference):
        return "how it changed is not known"
    cured = {("wet", "cured"): "now that it has cured", ("cured", "wet"): "now that it is wet again"}
    since = cured.get((before["surface"], after["surface"]))
    return f"{_lighter(difference)}{f' {since}' if since else ' than before'}, {_judged(allowed, real)}"


def _since_first(change: tuple[float, float, bool]) -> str:
    difference, allowed, real = change
    if math.isnan(difference):
        return "how it changed since the first is not known"
    return f"{_lighter(difference)} than at first, {_judged(allowed, real)}"


def _lighter(difference: float) -> str:
    return f"{abs(difference):.1f} {'lighter' if difference > 0 else 'darker'}"


def _judged(allowed: float, real: bool) -> str:
    if math.isnan(allowed):
        return "and nobody knows how much they may err by"
    return f"{'more' if real else 'no more'} than both may err by ({allowed:.1f})"
