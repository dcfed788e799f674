"""Values of Python, NumPy and pandas as the database takes them: numbers, whole numbers, texts, bytes, or nothing."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime
from numbers import Integral
from types import NoneType
from typing import Any

from sqlalchemy import BigInteger, Column, Double, LargeBinary

from contrastkit.errors import InvalidInputError
from contrastkit.keep.text import LONGEST_NOTE, escaped

Cell = float | int | str | bytes | None


def plain(column: Column[Any]) -> Callable[[Any], Cell]:
    """Return what turns a value of Python, NumPy or pandas into a cell of this column; unknown becomes None."""
    if isinstance(column.type, Double):
        return real
    if isinstance(column.type, BigInteger):
        return integer
    if isinstance(column.type, LargeBinary):
        return blob
    return text


def cells_of(values: Sequence[Any], make: Callable[[Any], Cell], default: Cell) -> Sequence[Cell]:
    """Return the cells of one column; what is plain already, as nearly all is, needs no look at each value."""
    kinds = set(map(type, values))
    if kinds == {NoneType}:
        return [default] * len(values)
    if kinds == {str} and make is text and _storable("".join(values), values):
        return values
    if kinds == {int} and make is integer and min(values) >= -(2**63) and max(values) < 2**63:
        return values
    if kinds == {float} and make is real:
        return [value + 0.0 if value == value else default for value in values]
    made = map(make, values)
    return list(made) if default is None else [default if cell is None else cell for cell in made]


def _storable(together: str, texts: Sequence[str]) -> bool:
    return escaped(together) is together and max(map(len, texts)) <= LONGEST_NOTE


def real(value: Any) -> Cell:
    """Return a number; unknown, as nan is, becomes None, and -0.0 becomes 0.0."""
    if type(value) is not float:
        if _unknown(value):
            return None
        value = _number(value)
    return value + 0.0 if value == value else None


def integer(value: Any) -> Cell:
    """Return a whole number, true and false as 1 and 0; unknown becomes None."""
    if _unknown(value):
        return None
    number = int(value) if isinstance(value, Integral) else _number(value)
    if not -(2**63) <= number < 2**63 or number != int(number):
        raise InvalidInputError(f"A whole number of at most 64 bits is needed; got {value!r:.80}.")
    return int(number)


def _number(value: Any) -> float:
    try:
        return float(value)
    except (TypeError, ValueError, OverflowError) as error:
        raise InvalidInputError(f"A number is needed; got {value!r:.80}.") from error


def text(value: Any) -> Cell:
    """Return a text as it is stored; a time becomes ISO 8601 in UTC with microseconds, a path its name."""
    if type(value) is not str:
        if _unknown(value):
            return None
        value = _words(value)
    if len(value) > LONGEST_NOTE:
        raise InvalidInputError(f"A text has at most {LONGEST_NOTE:,} characters; got {len(value):,}. Shorten it.")
    return escaped(value)


def _words(value: Any) -> str:
    if isinstance(value, str):
        return str(value)
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, os.PathLike):
        return os.fsdecode(value)
    if getattr(getattr(value, "dtype", None), "kind", "") == "M":
        return _words(value.astype("datetime64[us]").item().replace(tzinfo=UTC))
    raise InvalidInputError(f"A text is needed; got {value!r:.80}.")


def blob(value: Any) -> Cell:
    """Return bytes; unknown becomes None."""
    if _unknown(value):
        return None
    try:
        return bytes(memoryview(value))
    except TypeError as error:
        raise InvalidInputError(f"Bytes are needed; got {value!r:.80}.") from error


def _unknown(value: Any) -> bool:
    """Whether a value is None, nan, NaT or NA."""
    if value is None:
        return True
    try:
        return bool(value != value)
    except TypeError:  # pandas' NA answers neither yes nor no
        return True
    except ValueError:  # an array
        return False
