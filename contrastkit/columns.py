"""
Every column of every table, declared once: name, dtype, unit, range, meaning.

The swatch table is the contract between the rooms: `camera` fills it, everything else reads it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from contrastkit.errors import InvalidInputError

if TYPE_CHECKING:
    import pandas as pd

GROUP_NAMES = ("dark", "medium", "light")


@dataclass(frozen=True)
class Column:
    """One column: its name, dtype, unit, allowed range (None: no limit) and meaning."""

    name: str
    dtype: str
    unit: str
    meaning: str
    low: float | None = None
    high: float | None = None
    required: bool = False


@dataclass(frozen=True)
class Flag:
    """One thing that can be wrong with a piece, and what to do about it."""

    name: str
    meaning: str
    remedy: str


SWATCHES = (
    Column("swatch_id", "str", "", "name of the piece, unique in the table", required=True),
    Column("photo", "str", "", "file name of the photograph"),
    Column("outline", "str", "pixel", "JSON array of [row, column] corners, clockwise, upright full-resolution photo"),
    Column("lightness", "float64", "L*", "lightness of the linear-light mean of what shows", 0, 100, required=True),
    Column("lightness_sigma", "float64", "L*", "standard uncertainty of the lightness", 0, None),
    Column("group", "str", "", "group of the lightness, e.g. dark, medium or light"),
    Column("group_probability", "float64", "", "probability that the piece belongs to that group", 0, 1),
    Column("borderline", "bool", "", "true where no group is at least 80 % likely"),
    Column("munsell_value", "float64", "value", "Munsell value (ASTM D1535) of the lightness", 0, 10),
    Column("lightness_low", "float64", "L*", "5th percentile of local lightness", 0, None),
    Column("lightness_high", "float64", "L*", "95th percentile of local lightness", 0, None),
    Column("lightness_paint", "float64", "L*", "lightness of the painted part", 0, None),
    Column("lightness_ground", "float64", "L*", "lightness of the bare ground", 0, None),
    Column("coverage", "float64", "", "share of the area inside the rim that is painted", 0, 1),
    Column("lightness_rim", "float64", "L*", "lightness of the bare rim along the cut edge", 0, None),
    Column("chroma", "float64", "C*ab", "CIELAB chroma of the mean", 0, None),
    Column("hue_angle", "float64", "degree", "CIELAB hue angle of the mean", 0, 360),
    Column("lightness_apparent_low", "float64", "L*", "how light it looks for its vividness, lower end", 0, None),
    Column("lightness_apparent_high", "float64", "L*", "how light it looks for its vividness, upper end", 0, None),
    Column("area", "float64", "pixel", "area of the outline, full-resolution pixels", 0, None),
    Column("reference", "str", "", "what the lightness was measured against: card, scale, chart or none"),
    Column("flags", "str", "", "what to be careful of, in words from FLAGS, separated by '; '"),
)

# What people may add to a swatch table of their own; choosing and cutting read it where it is there.
DETAILS = (
    Column("side", "float64", "mm", "side of the largest square the piece can be cut to", 0, None),
    Column("ground", "str", "", "name of the cloth under the paint"),
    Column("sheet", "str", "", "name of the painted sheet the piece was cut from"),
)

FLAGS = (
    Flag("clipped", "part of the piece is burnt out to the camera's limit",
         "Photograph again with less exposure."),
    Flag("glare", "part of the piece mirrors the lamp",
         "Move the lamp to the side or use open shade, and photograph again."),
    Flag("too vivid", "part of the piece is more vivid than the photograph can hold, and may be darker than it reads",
         "Photograph in RAW, or allow for up to 3 L* less."),
    Flag("uneven", "the light changes a lot across the piece",
         "Turn the board or move the lamp further away."),
    Flag("too small", "the piece covers too few pixels to trust",
         "Go closer, or photograph fewer pieces at a time."),
    Flag("touches the frame", "part of the piece is outside the photograph",
         "Leave a margin of board all round and photograph again."),
    Flag("no reference", "nothing grey was found to measure against",
         "Lay a grey card beside the pieces, or name it with --reference."),
)


def empty_table(columns: tuple[Column, ...]) -> pd.DataFrame:
    """
    Return a table with these columns, the right dtypes and no rows.

    >>> len(empty_table(SWATCHES)), str(empty_table(SWATCHES)["lightness"].dtype)
    (0, 'float64')
    """
    import pandas as pd

    return pd.DataFrame({column.name: pd.Series([], dtype=column.dtype) for column in columns})


def check_table(table: pd.DataFrame, columns: tuple[Column, ...]) -> pd.DataFrame:
    """
    Return the table with its known columns in their dtypes; refuse what cannot be right.

    Unknown columns are kept as they are. Empty cells of number columns stay unknown (nan).

    Raises
    ------
    InvalidInputError
        A required column is missing, a number is not a number or out of range, or an id is repeated.
    """
    import pandas as pd

    table = table.copy()
    for column in columns:
        if column.name not in table:
            if column.required:
                raise InvalidInputError(
                    f"The table must have a column {column.name!r} ({column.meaning}); it has: "
                    f"{', '.join(map(str, table.columns)) or 'none'}. Add the column or rename yours."
                )
            continue
        table[column.name] = _as_dtype(table[column.name], column)
    if "swatch_id" in table and table["swatch_id"].duplicated().any():
        twice = table.loc[table["swatch_id"].duplicated(), "swatch_id"].iloc[0]
        raise InvalidInputError(
            f"Each swatch_id must be unique; {twice!r} stands in more than one row. Rename one of them."
        )
    return pd.DataFrame(table)


def _as_dtype(values: pd.Series, column: Column) -> pd.Series:
    import pandas as pd

    if column.dtype == "str":
        return _as_text(values).where(values.notna(), "")
    if column.dtype == "bool":
        return values.isin([True, "True", "true", "TRUE", 1, "1", "yes"])
    numbers: pd.Series = pd.to_numeric(values, errors="coerce").astype(float)
    spoilt = numbers.isna() & values.notna()
    low = -float("inf") if column.low is None else column.low
    high = float("inf") if column.high is None else column.high
    outside = numbers.notna() & ~numbers.between(low, high)
    if spoilt.any() or outside.any():
        row: Any = (spoilt | outside).idxmax()
        raise InvalidInputError(
            f"{column.name} must be a number from {low:g} to {high:g} ({column.unit or column.meaning}); "
            f"row {row} has {values[row]!r}. Correct that cell or leave it empty."
        )
    return numbers


def _as_text(values: pd.Series) -> pd.Series:
    """As strings; half letters, which no file of text can hold, are spelled out."""
    try:
        "".join(map(str, values)).encode()
    except UnicodeEncodeError:
        values = values.map(lambda text: str(text).encode("utf-8", "backslashreplace").decode())
    return values.astype("str")
