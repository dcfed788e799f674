"""
Pieces of the catalogue to a file and back: CSV for spreadsheets, JSON Lines for programs, Parquet for notebooks.

A file holds the list of pieces as `Catalogue.table` gives it, numbers to the last digit; what was measured before the
newest measurement, pictures, photographs and stacks stay in the catalogue, and go with a backup. Text is written as it
is, but NUL and half letters, which such files cannot hold, by the escape of `text.py`; in CSV, a text that a
spreadsheet would take for a formula by an apostrophe in front. Both are taken away again.

An import says first what it would do, and does it as one action:

    new         a piece that the catalogue has not
    changed     what the file says of a known piece differs: descriptions are taken over, a reading becomes a new
                measurement; columns that the file has not say nothing
    clashing    the catalogue knows better: it has used the piece, or measured it since; it is left alone
"""

from __future__ import annotations

import csv
import json
import math
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from contrastkit.columns import DETAILS, SWATCHES, check_table
from contrastkit.errors import InvalidInputError, MissingPackageError
from contrastkit.keep import finding, projects
from contrastkit.keep.actions import Action
from contrastkit.keep.adding import DETAIL_TEXTS, as_side, renew_copies
from contrastkit.keep.files import StrPath, file_place, shown, write_whole
from contrastkit.keep.filters import SURFACES, parse_filter
from contrastkit.keep.naming import checked_tag, checked_text, listed
from contrastkit.keep.schema import COPIED, swatches, utc_now
from contrastkit.keep.tables import csv_text, read_table
from contrastkit.keep.text import LONGEST_NOTE, checked_name, checked_note, escaped, unescaped

if TYPE_CHECKING:
    import pandas as pd
    from sqlalchemy import Connection

    from contrastkit.keep.catalogue import Catalogue

Row = dict[str, Any]

ENDINGS = (".csv", ".jsonl", ".parquet")
STATES = ("at hand", "set aside", "used", "lost")

_MEASURED = tuple(column.name for column in SWATCHES if column.name not in ("swatch_id", "photo", "group_probability"))
_READING = ("lightness", "lightness_sigma", "chroma", "hue_angle")  # what makes another measurement of it
_OWN = {c.name for c in (*SWATCHES, *DETAILS)} | {*DETAIL_TEXTS, "note", "state", "tags", "added", "measured",
                                                  "surface", "project"}  # fmt: skip
_NEAR = 1e-9


@dataclass(frozen=True, eq=False)
class Preview:
    """
    What an import would do.

    Attributes
    ----------
    path : the file
    new, changed, same : names of pieces
    clashing : names of pieces that are left alone, and why
    table : what the file says
    """

    path: Path
    new: tuple[str, ...]
    changed: tuple[str, ...]
    same: tuple[str, ...]
    clashing: dict[str, str]
    table: pd.DataFrame

    @property
    def sentences(self) -> list[str]:
        """What would be done, a sentence each."""
        told = [f"New: {listed(self.new)}."] if self.new else []
        told += [f"Changed: {listed(self.changed)}."] if self.changed else []
        told += [f"The same already: {listed(self.same)}."] if self.same else []
        told += [f"Left alone: {name}, {why}." for name, why in list(self.clashing.items())[:20]]
        more = len(self.clashing) - 20
        return [*told, *([f"Left alone: {more} more."] if more > 0 else [])] or ["The file holds no piece."]


# --- out --------------------------------------------------------------------------------------------------------------


def export(catalogue: Catalogue, path: StrPath, wanted: str = "") -> Path:
    """
    Write the pieces that a filter asks for to a file, and return where.

    Parameters
    ----------
    path : a name that ends in .csv, .jsonl or .parquet
    wanted : a filter in words; nothing for all

    Raises
    ------
    InvalidInputError
        Another ending, a place that cannot be written to, or a filter that cannot be right.
    MissingPackageError
        Parquet is asked for and pyarrow is not installed.

    >>> import tempfile
    >>> import pandas as pd
    >>> from contrastkit.keep.catalogue import open_catalogue
    >>> with tempfile.TemporaryDirectory() as folder, open_catalogue(Path(folder) / "pile.sqlite", who="me") as pile:
    ...     _ = pile.add(pd.DataFrame({"swatch_id": ["a"], "lightness": [20.5]}))
    ...     file = export(pile, Path(folder) / "out.jsonl")
    ...     preview(pile, file).same
    ('a',)
    """
    place = file_place(path, ENDINGS, what="Pieces")
    table = _for_file(catalogue.table(wanted))
    writers: dict[str, Callable[[pd.DataFrame], bytes]] = {".csv": _csv, ".jsonl": _json_lines, ".parquet": _parquet}
    return write_whole(place, writers[place.suffix.lower()](table))


def _for_file(table: pd.DataFrame) -> pd.DataFrame:
    """The table with its texts as any file can hold them, and without what is worked out anew from the lightness."""
    table = table.drop(columns=[name for name in ("group", "group_probability") if name in table])
    texts = [name for name in table if table[name].dtype == object or str(table[name].dtype) == "str"]
    return table.assign(**{str(name): [escaped(str(text)) for text in table[name]] for name in texts})


def _csv(table: pd.DataFrame) -> bytes:
    return csv_text(table, columns=()).encode()


def _json_lines(table: pd.DataFrame) -> bytes:
    rows = table.astype(object).where(table.notna(), None).to_dict("records")
    return "".join(json.dumps(row, ensure_ascii=False, allow_nan=False) + "\n" for row in rows).encode()


def _parquet(table: pd.DataFrame) -> bytes:
    arrow, parquet = _pyarrow()
    sink = arrow.BufferOutputStream()
    columns = {str(name): arrow.array(table[name].tolist(), from_pandas=True) for name in table}
    parquet.write_table(arrow.table(columns), sink, compression="zstd")
    return bytes(sink.getvalue())


def _pyarrow() -> tuple[Any, Any]:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError as error:
        raise MissingPackageError(
            "Parquet files need the package pyarrow, which is not installed. Run: pip install 'contrastkit[parquet]'"
        ) from error
    return pyarrow, pyarrow.parquet


# --- in ---------------------------------------------------------------------------------------------------------------


def preview(catalogue: Catalogue, path: StrPath) -> Preview:
    """
    Return what importing a file would do; nothing is changed.

    Raises
    ------
    InvalidInputError
        The file cannot be read, is none of these, or says what cannot be right.
    MissingPackageError
        It is Parquet and pyarrow is not installed.
    """
    table = read_pieces(path)
    with catalogue.store.reading() as connection:
        return _compared(connection, Path(path), table)


def apply(catalogue: Catalogue, seen: Preview) -> str:
    """
    Do what a preview said, as one action, and return what was done.

    Raises
    ------
    InvalidInputError
        The catalogue has changed since, so that something else would be done.
    """
    count = f"{len(seen.new)} new, {len(seen.changed)} changed"
    with catalogue.store.writing(f"Import {seen.path.name}: {count}", catalogue.who) as action:
        now = _compared(action.connection, seen.path, seen.table)
        if (now.new, now.changed, now.clashing) != (seen.new, seen.changed, seen.clashing):
            raise InvalidInputError(
                "The catalogue has changed since it was compared with the file, and nothing was imported. Look again."
            )
        new, changed = set(seen.new), set(seen.changed)
        _add_new(action, seen.table if len(new) == len(seen.table) else seen.table[seen.table["swatch_id"].isin(new)])
        if changed:
            _change_known(action, _rows(seen.table[seen.table["swatch_id"].isin(changed)]))
    return f"Imported {seen.path.name}: {count}."


def read_pieces(path: StrPath) -> pd.DataFrame:
    """
    Return the pieces of a file as a table: known columns checked and in their dtypes, all others as text.

    Raises
    ------
    InvalidInputError
        The file cannot be read, is none of these, or says what cannot be right.
    """
    ending = os.path.splitext(os.fspath(path))[1].lower()
    if ending not in ENDINGS:
        raise InvalidInputError(
            f"Pieces are read from a file that ends in {', '.join(ENDINGS)}; got {shown(path)}. Export one of these."
        )
    if not os.path.isfile(path):
        raise InvalidInputError(f"There is no file {shown(path)}. Check the name and the folder.")
    readers: dict[str, Callable[[StrPath], pd.DataFrame]] = {
        ".csv": _from_csv, ".jsonl": _from_json_lines, ".parquet": _from_parquet,
    }  # fmt: skip
    table = readers[ending](path)
    texts = [name for name in table if table[name].dtype == object or str(table[name].dtype) == "str"]
    table = table.assign(**{str(name): finding.text_column(_unescaped(table[name].tolist())) for name in texts})
    _check_texts(table, shown(path))
    return table


def _unescaped(texts: list[Any]) -> list[str]:
    texts = [*map(str, texts)]
    return [*map(unescaped, texts)] if "\x1a" in "".join(texts) else texts


def _from_csv(path: StrPath) -> pd.DataFrame:
    with _long_cells():
        return read_table(path, columns=(*SWATCHES, *DETAILS))


@contextmanager
def _long_cells() -> Iterator[None]:
    """Cells as long as a note may be: the csv module stops at 131,072 characters otherwise."""
    before = csv.field_size_limit(LONGEST_NOTE + 1000)
    try:
        yield
    finally:
        csv.field_size_limit(before)


def _from_json_lines(path: StrPath) -> pd.DataFrame:
    rows = []
    try:
        lines = Path(path).read_text(encoding="utf-8-sig").split("\n")
    except (OSError, UnicodeDecodeError) as error:
        raise InvalidInputError(f"A .jsonl file must be UTF-8 text; {shown(path)} is not. Export it again.") from error
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            row = json.loads(line)
        except ValueError as error:
            raise InvalidInputError(
                f"Each line must be one JSON object; line {number} of {shown(path)} is not: {error}. Export it again."
            ) from error
        if not isinstance(row, dict):
            raise InvalidInputError(
                f"Each line must be one JSON object; line {number} of {shown(path)} is a {type(row).__name__}. "
                "Write {...} with swatch_id and lightness."
            )
        rows.append(row)
    names = dict.fromkeys(name for row in rows for name in row)
    return _checked({name: [row.get(name) for row in rows] for name in names}, path)


def _from_parquet(path: StrPath) -> pd.DataFrame:
    arrow, parquet = _pyarrow()
    try:
        columns = parquet.read_table(os.fspath(path)).to_pydict()
    except (arrow.ArrowException, OSError, ValueError) as error:
        raise InvalidInputError(f"{shown(path)} must be a Parquet file; it cannot be read. Export it again.") from error
    return _checked(columns, path)


def _checked(columns: dict[str, list[Any]], path: StrPath) -> pd.DataFrame:
    import pandas as pd

    known = {column.name for column in (*SWATCHES, *DETAILS)}
    table = pd.DataFrame({
        name: pd.Series([_cell(value) if name not in known else value for value in values], dtype=object)
        for name, values in columns.items()
    })  # fmt: skip
    try:
        return check_table(table, (*SWATCHES, *DETAILS))
    except InvalidInputError as error:
        raise InvalidInputError(f"{shown(path)}: {error}") from error


def _cell(value: Any) -> str:
    """What is no column of ours, as text."""
    return "" if value is None else value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def _check_texts(table: pd.DataFrame, file: str) -> None:
    """Refuse a text that the catalogue could not keep, naming its piece; each different text is looked at once."""
    checks: dict[str, Callable[[Any], object]] = {
        "swatch_id": checked_name, "note": checked_note, "side": as_side, "tags": _checked_tags,
        "state": lambda text: _one_of("state", text, STATES),
        "surface": lambda text: _one_of("surface", text, SURFACES),
        **{name: partial(checked_text, what=f"The {name}") for name in DETAIL_TEXTS},
    }  # fmt: skip
    for name, check in checks.items():
        if name not in table:
            continue
        some = _ends(table, name) if table[name].dtype == float else table
        first = dict(zip(reversed(some[name].tolist()), reversed(some["swatch_id"].tolist()), strict=True))
        for value, piece in first.items():
            try:
                check(value)
            except InvalidInputError as error:
                raise InvalidInputError(f"{file}, {piece!r:.60}: {error}") from error


def _ends(table: pd.DataFrame, name: str) -> pd.DataFrame:
    """The rows with the least and the greatest number: what is wrong with a number is that it is too small or large."""
    known = table[name].dropna()
    return table.loc[[known.idxmin(), known.idxmax()]] if len(known) else table.iloc[:0]


def _checked_tags(text: str) -> None:
    for tag in _tags({"tags": text}):
        checked_tag(tag)


def _one_of(name: str, text: str, allowed: Sequence[str]) -> None:
    if text not in ("", *allowed):
        raise InvalidInputError(
            f"{name} must be {', '.join(allowed)}; got {text!r:.60}. Correct it or leave it empty."
        )


def _rows(table: pd.DataFrame) -> list[Row]:
    columns = {str(name): table[name].tolist() for name in table}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def _tags(row: Row) -> list[str]:
    return [tag.strip() for tag in str(row.get("tags") or "").split(";") if tag.strip()]


# --- compared with what is there --------------------------------------------------------------------------------------


def _compared(connection: Connection, path: Path, table: pd.DataFrame) -> Preview:
    known = _known(connection)
    new, changed, same, clashing = [], [], [], {}
    names = table["swatch_id"].tolist()
    for name, row in zip(names, _rows(table) if known else ({} for _ in names), strict=True):
        there = known.get(name)
        if there is None:
            new.append(name)
        elif not (differs := _differences(row, there)):
            same.append(name)
        elif why := _better(row, there, differs):
            clashing[name] = why
        else:
            changed.append(name)
    return Preview(path, tuple(new), tuple(changed), tuple(same), clashing, table)


def _known(connection: Connection) -> dict[str, Row]:
    """The pieces of the catalogue by their names, as rows of its table."""
    if connection.execute(swatches.select().limit(1)).first() is None:
        return {}
    return {row["swatch_id"]: row for row in _rows(finding.table(connection, parse_filter("")))}


def _differences(row: Row, there: Row) -> set[str]:
    """The columns of a row that say something else than the catalogue."""
    differs = set()
    for name, value in row.items():
        if name in ("swatch_id", "group", "group_probability", "photo", "added") or name not in there and not value:
            continue
        if name in ("measured", "surface", "state") and not value:
            continue
        alike = set(_tags(row)) == set(_tags(there)) if name == "tags" else _equal(value, there.get(name, ""))
        if not alike:
            differs.add(name)
    return differs


def _equal(new: Any, old: Any) -> bool:
    if isinstance(new, float) and isinstance(old, float):
        return (math.isnan(new) and math.isnan(old)) or abs(new - old) <= _NEAR * max(1.0, abs(old))
    return bool(new == old) or (str(new or "") == str(old or ""))


def _better(row: Row, there: Row, differs: set[str]) -> str:
    """Why what the catalogue has must stand; nothing where the file may change it."""
    if there["state"] == "used":
        return "which was used"
    if differs & set(_READING) and str(row.get("measured") or "9") < str(there.get("measured") or ""):
        return f"which was measured since, on {str(there['measured'])[:10]}"
    return ""


# --- done -------------------------------------------------------------------------------------------------------------


def _add_new(action: Action, table: pd.DataFrame) -> None:
    count = len(table)
    if not count:
        return
    swatch, measured = list(action.reserve("swatches", count)), list(action.reserve("measurements", count))
    said = {str(name): table[name].tolist() for name in table}
    now = utc_now()

    def texts(name: str, usual: str = "") -> list[str]:
        return [text or usual for text in said[name]] if name in said else [usual] * count

    project = texts("project")
    number_of = {name: projects.key_of(action, name) for name in sorted(set(project) - {""})}
    action.insert_columns("swatches", {
        "swatch": swatch, "name": said["swatch_id"], "measurement": measured, "added": texts("added", now),
        "state": texts("state", "at hand"), "note": texts("note"), "extra": _extras(said, count),
        "project": [number_of.get(name) for name in project],
        **({"side": said["side"]} if "side" in said else {}),
        **{name: texts(name) for name in DETAIL_TEXTS}, **{name: said[name] for name in COPIED if name in said},
    })  # fmt: skip
    action.insert_columns("measurements", {
        "measurement": measured, "swatch": swatch, "photo_name": texts("photo"), "measured": texts("measured", now),
        "surface": texts("surface", "unknown"), **{name: said[name] for name in _MEASURED if name in said},
    })  # fmt: skip
    parted = {text: list(dict.fromkeys(_tags({"tags": text}))) for text in set(texts("tags"))}
    pairs = [(number, tag) for number, text in zip(swatch, texts("tags"), strict=True) for tag in parted[text]]
    if pairs:
        action.insert_columns("tags", {"swatch": [each for each, _ in pairs], "tag": [tag for _, tag in pairs]})


def _extras(said: Mapping[str, list[Any]], count: int) -> list[str | None]:
    """What else a file says of each piece, as JSON; nothing where it says nothing."""
    own = [name for name in said if name not in _OWN]
    if not own:
        return [None] * count
    return [_extra(dict(zip(own, values, strict=True))) for values in zip(*(said[name] for name in own), strict=True)]


def _side(row: Row) -> float | None:
    """The side in mm, which was checked when the file was read; None where it is not known."""
    side = row.get("side")
    return None if side is None or math.isnan(side) else float(side)


def _measurement(row: Row, swatch: int, measurement: int, now: str) -> Row:
    return {
        "measurement": measurement, "swatch": swatch, "photo_name": row.get("photo") or "",
        "measured": row.get("measured") or now, "surface": row.get("surface") or "unknown", "measured_by": None,
        "calibration": "", **{name: row[name] for name in _MEASURED if name in row},
    }  # fmt: skip


def _extra(row: Row) -> str | None:
    own = {name: str(value) for name, value in row.items() if name not in _OWN and value not in (None, "")}
    return json.dumps(own, ensure_ascii=False) if own else None


def _change_known(action: Action, rows: Sequence[Row]) -> None:
    names = [row["swatch_id"] for row in rows]
    query = swatches.select().where(finding.among(action.connection, swatches.c.name, names))
    there = {kept["name"]: dict(kept) for kept in action.connection.execute(query).mappings()}
    known = _known(action.connection)
    differs = {row["swatch_id"]: _differences(row, known[row["swatch_id"]]) for row in rows}
    again = [row for row in rows if differs[row["swatch_id"]] & set(_READING)]
    now = utc_now()
    action.insert("measurements", [
        _measurement(row, there[row["swatch_id"]]["swatch"], number, now)
        for row, number in zip(again, action.reserve("measurements", len(again)), strict=True)
    ])  # fmt: skip
    renew_copies(action, [there[row["swatch_id"]]["swatch"] for row in again])
    said = {there[row["swatch_id"]]["swatch"]: _said(action, row, there[row["swatch_id"]]) for row in rows}
    action.update_all("swatches", {number: values for number, values in said.items() if values})
    _change_tags(action, [(there[row["swatch_id"]]["swatch"], _tags(row)) for row in rows if "tags" in row])


def _said(action: Action, row: Row, there: Row) -> Row:
    """What a row says of a known piece, beside its reading and its tags."""
    values: Row = {name: row[name] or "" for name in (*DETAIL_TEXTS, "note") if name in row}
    if "side" in row:
        values["side"] = _side(row)
    if row.get("state"):
        values["state"] = row["state"]
    if "project" in row:
        values["project"] = projects.key_of(action, row["project"]) if row["project"] else None
    further = _extra(row)
    if further is not None:
        values["extra"] = json.dumps(finding.extra_of(there["extra"]) | json.loads(further), ensure_ascii=False)
    return values


def _change_tags(action: Action, wanted: Sequence[tuple[int, list[str]]]) -> None:
    there = finding.tags_of(action.connection, [number for number, _ in wanted])
    action.delete_all("tags", [(n, tag) for n, tags in wanted for tag in sorted(there[n] - set(tags))])
    action.insert("tags", [{"swatch": n, "tag": tag} for n, tags in wanted for tag in dict.fromkeys(tags)
                           if tag not in there[n]])  # fmt: skip
