"""
Tables as files: CSV that any spreadsheet opens, and back again unchanged.

A text that a spreadsheet would take for a formula (one that begins with =, +, -, @, a tab or a line break) is written
with an apostrophe in front, and read back without it; one that begins with apostrophes and then such a sign gets one
more, so that every text comes back as it was.
"""

from __future__ import annotations

import csv
import io
import json
import math
import os
import re
from collections.abc import Iterator, Sequence
from itertools import islice, zip_longest
from pathlib import Path
from typing import TYPE_CHECKING, Any

from contrastkit.columns import SWATCHES, Column, check_table
from contrastkit.errors import InvalidInputError
from contrastkit.keep.files import StrPath, shown, write_whole

if TYPE_CHECKING:
    import pandas as pd

_DECIMALS = {"L*": 2, "value": 2, "C*ab": 2, "degree": 1, "pixel": 0}  # finer than any uncertainty; else 3
_FORMULA = re.compile(r"'*[=+\-@\t\r\n]")
_GUARDED = re.compile(r"''*[=+\-@\t\r\n]")
_NUMBER = re.compile(r"[+-]?\d[\d.,]*(e[+-]?\d+)?", re.IGNORECASE)
_PLAIN_NUMBERS = re.compile(r"[0-9.e\n]*")
_UNKNOWN = {"", "na", "n/a", "nan", "none", "null", "-", "–", "?"}
_SEPARATORS = ",;\t"
_AT_ONCE = 1000  # rows that are held as rows: many would keep Python looking for what is no longer used
_MOST_BYTES = 50_000_000  # a hundred thousand swatches; more is no swatch table


def rounded(table: pd.DataFrame, columns: Sequence[Column] = SWATCHES) -> pd.DataFrame:
    """
    Return the table with its numbers as its file will hold them, so that what is sorted is what is kept.

    >>> import pandas as pd
    >>> rounded(pd.DataFrame({"lightness": [40.00123]}))["lightness"].tolist()
    [40.0]
    """
    numbers = {column.name: _decimals(column) for column in columns if _is_number(column) and column.name in table}
    return table.round(numbers)


def write_table(table: pd.DataFrame, path: StrPath, *, columns: Sequence[Column] = SWATCHES) -> Path:
    """
    Write the table as CSV (UTF-8, commas, one line a row) and return where; known columns first, in their order.

    Raises
    ------
    InvalidInputError
        The file cannot be written.

    >>> import tempfile
    >>> import pandas as pd
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "pile.csv"
    ...     _ = write_table(pd.DataFrame({"lightness": [50.126], "swatch_id": ["=a1"]}), path)
    ...     print(path.read_text().splitlines())
    ['swatch_id,lightness', "'=a1,50.13"]
    """
    return write_whole(path, csv_text(table, columns=columns).encode("utf-8", "replace"))


def csv_text(table: pd.DataFrame, *, columns: Sequence[Column] = SWATCHES) -> str:
    """Return the table as the text of a CSV file; see `write_table`."""
    known = {column.name: column for column in columns}
    names = [name for name in known if name in table] + [str(name) for name in table if name not in known]
    values = table.astype(object).where(table.notna(), None)
    cells = [[_cell(value, known.get(name)) for value in values[name]] for name in names]
    rows = [[_guarded(name) for name in names], *zip(*cells, strict=True)]
    return "".join(",".join(map(_quoted, row)) + "\n" for row in rows)


def read_table(path: StrPath, *, columns: Sequence[Column] = SWATCHES) -> pd.DataFrame:
    """
    Return the table in a CSV file: known columns checked and in their dtypes, all others as the text they are.

    Columns may be parted by commas, semicolons or tabs; where it is not commas, numbers may have decimal commas.
    Empty cells of number columns, and words such as NA, are unknown.

    Raises
    ------
    InvalidInputError
        The file cannot be read, is no table, lacks a column, or a cell cannot be right; rows are numbered as in a
        spreadsheet, the heading being 1.
    """
    import pandas as pd

    file = shown(path)
    text = _text(path, file)
    separator = _separator(text)
    cells, lines = _columns(text, separator, columns, file)
    numbers = {column.name for column in columns if _is_number(column)}
    table = pd.DataFrame({
        name: pd.Series(_numbers(each, separator) if name in numbers else _texts(each), dtype=object)
        for name, each in cells.items()
    })  # fmt: skip
    table.index = pd.Index(lines)
    try:
        return check_table(table, tuple(columns)).reset_index(drop=True)
    except InvalidInputError as error:
        raise InvalidInputError(f"{file}: {error}") from error


def records(table: pd.DataFrame, *, columns: Sequence[Column] = SWATCHES) -> list[dict[str, Any]]:
    """
    Return the rows as plain values fit for JSON: unknown numbers are None, outlines are lists of [row, col].

    >>> import pandas as pd
    >>> records(pd.DataFrame({"swatch_id": ["a"], "lightness": [float("nan")], "outline": ["[[0,0],[0,9],[9,9]]"]}))
    [{'swatch_id': 'a', 'lightness': None, 'outline': [[0, 0], [0, 9], [9, 9]]}]
    """
    table = rounded(table, columns)
    return [{str(name): _plain(value, str(name)) for name, value in row.items()} for row in table.to_dict("records")]


# --- writing ---------------------------------------------------------------------------------------------------------


def _is_number(column: Column) -> bool:
    return column.dtype.startswith(("float", "int"))


def _decimals(column: Column) -> int:
    return 0 if column.dtype.startswith("int") else _DECIMALS.get(column.unit, 3)


def _cell(value: Any, column: Column | None) -> str:
    if value is None:
        return ""
    if column is not None and _is_number(column):
        return f"{value:.{_decimals(column)}f}"
    if isinstance(value, str):
        return value if column is None and _NUMBER.fullmatch(value) else _guarded(value)
    return str(value)


def _quoted(text: str) -> str:
    """The text as a cell; the csv module would leave a lone carriage return bare, and read it as a new row."""
    return '"' + text.replace('"', '""') + '"' if any(sign in text for sign in ',"\r\n') else text


def _guarded(text: str) -> str:
    return f"'{text}" if _FORMULA.match(text) else text


def _plain(value: Any, name: str) -> Any:
    if hasattr(value, "item"):  # numpy's scalars
        value = value.item()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if name == "outline" and isinstance(value, str):
        try:
            return json.loads(value)
        except ValueError:
            return value
    return value


# --- reading ---------------------------------------------------------------------------------------------------------


def _text(path: StrPath, file: str) -> str:
    data = _bytes(path, file)
    wide = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    for encoding in ("utf-16",) if wide else ("utf-8-sig", "cp1252"):  # the last is what older spreadsheets write
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    raise InvalidInputError(f"A table must be a CSV text file; {file} is no text. Save it from the spreadsheet as CSV.")


def _bytes(path: StrPath, file: str) -> bytes:
    try:
        if os.path.isdir(path):
            raise InvalidInputError(f"A table must be one CSV file; {file} is a folder. Name the file in it.")
        if os.path.exists(path) and not os.path.isfile(path):
            raise InvalidInputError(f"A table must be a plain file; {file} is not. Copy it to a file first.")
        if os.path.getsize(path) > _MOST_BYTES:
            raise InvalidInputError(
                f"A table must have at most {_MOST_BYTES // 10**6} MB; {file} has more. Is it a photograph?"
            )
        return Path(path).read_bytes()
    except InvalidInputError:
        raise
    except FileNotFoundError as error:
        raise InvalidInputError(f"There is no file {file}. Check the name and the folder.") from error
    except (OSError, ValueError) as error:
        raise InvalidInputError(f"A table must be open to reading; the system cannot read {file}.") from error


def _columns(
    text: str, separator: str, columns: Sequence[Column], file: str
) -> tuple[dict[str, list[str]], list[int]]:
    """The cells of each column, and the number that each row has in a spreadsheet; rows without any cell are let go."""
    try:
        rows = _rows(text, separator)
        heading = next(rows, None)
        if heading is None:
            raise InvalidInputError(f"A table must have a heading and a row a swatch; {file} is empty. Measure first.")
        names = _names(heading[1], columns, file)
        found: dict[str, list[str]] = {name: [] for name in names}
        lines: list[int] = []
        while some := list(islice(rows, _AT_ONCE)):
            _check_lengths(some, names, file)
            by_column = zip_longest(names, *(cells for _, cells in some), fillvalue="")
            for name, *part in islice(by_column, len(names)):
                found[name] += part
            lines += [line for line, _ in some]
    except csv.Error as error:
        raise InvalidInputError(f"A table must be a CSV text file; {file} is not: {error}. Save it as CSV.") from error
    return found, lines


def _rows(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    """The rows that hold anything, each with its number in a spreadsheet."""
    rows = enumerate(csv.reader(io.StringIO(text, newline=""), delimiter=separator), start=1)
    return ((line, cells) for line, cells in rows if "".join(cells).strip())


def _separator(text: str) -> str:
    """What parts the columns: of the three, the one that makes most columns of the heading."""
    heading = re.split(r"[\r\n]", text.lstrip("\r\n"), maxsplit=1)[:1]
    return max(_SEPARATORS, key=lambda sign: len(next(csv.reader(heading, delimiter=sign), [])))


def _names(heading: list[str], columns: Sequence[Column], file: str) -> list[str]:
    """The names of the columns; ours are known in capitals too, and columns without a name and cells are let go."""
    ours = {column.name for column in columns}
    names = [_unguarded(name.strip()) for name in heading]
    while names and not names[-1]:
        names.pop()
    names = [name.lower() if name.lower() in ours else name for name in names]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InvalidInputError(
            f"Each column must have a name of its own; {file} has {twice[0]!r} more than once. Rename one of them."
        )
    return names


def _check_lengths(rows: list[tuple[int, list[str]]], names: list[str], file: str) -> None:
    for line, cells in rows:
        if len(cells) > len(names) and "".join(cells[len(names) :]).strip():
            raise InvalidInputError(
                f"Each row must have no more cells than the heading's {len(names)}; row {line} of {file} has "
                f"{len(cells)}. Put cells that hold a comma in quotes."
            )


def _numbers(cells: list[str], separator: str) -> list[str | None]:
    """The texts of numbers, None for unknown; a column of plain figures, as nearly all are, at once."""
    if _PLAIN_NUMBERS.fullmatch("\n".join(cells)):
        return [cell or None for cell in cells]
    return [_number(cell, separator) for cell in cells]


def _number(cell: str, separator: str) -> str | None:
    """A number as it is read: with decimal commas where the columns are parted by something else."""
    text = cell.strip()
    if text.lower() in _UNKNOWN:
        return None
    return text.replace(",", ".") if separator != "," and text.count(",") == 1 else text


def _texts(cells: list[str]) -> list[str]:
    return [_unguarded(cell) for cell in cells] if "'" in "".join(cells) else cells


def _unguarded(text: str) -> str:
    return text[1:] if _GUARDED.match(text) else text

