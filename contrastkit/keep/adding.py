"""
What was measured becomes rows of the catalogue: photographs by their content, pieces, measurements, pictures.

A photograph that was added before is known by its content, whatever its name: its pieces are told, and nothing is
doubled. A piece is never taken for a known one unless a person says so.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count
from typing import TYPE_CHECKING, Any

import numpy as np
from sqlalchemy import Connection, select

from contrastkit.columns import DETAILS, SWATCHES, check_table
from contrastkit.errors import InvalidInputError, UnreadablePhotoError
from contrastkit.keep.actions import Action
from contrastkit.keep.files import StrPath, shown
from contrastkit.keep.finding import among
from contrastkit.keep.naming import checked_surface, checked_text, listed, newest_measurements, pieces
from contrastkit.keep.pictures import Pixels, to_png
from contrastkit.keep.schema import COPIED, measurements, photos, swatches, utc_now
from contrastkit.keep.text import checked_name, checked_note
from contrastkit.lengths import LONGEST, parse_length

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.camera.pipeline import PhotoResult
    from contrastkit.keep.alike import Offer

Row = dict[str, Any]

DETAIL_TEXTS = ("ground", "paints", "plate", "sheet", "place")
_MEASURED = tuple(column.name for column in SWATCHES if column.name not in ("swatch_id", "photo"))
_OURS = {column.name for column in (*SWATCHES, *DETAILS)} | {*DETAIL_TEXTS, "note"}
_PASSED_OVER = {"state", "tags", "added", "measured", "surface", "project"}  # the catalogue's own words for these stand
_SAME_PLACE = 0.5  # of two outlines' boxes, what they share over what either covers, for one piece measured again
_SAME_READING = 0.005  # L*, C*ab and degrees: half the last figure that a table keeps


@dataclass(frozen=True, eq=False)
class Added:
    """
    What became of pieces that were added.

    Attributes
    ----------
    new : names of pieces that are new in the catalogue
    remeasured : names of known pieces that got a new measurement
    known : of pieces that were not added again, their names by the swatch_id they came with
    names : the name in the catalogue of every piece, by the swatch_id it came with
    known_photo : the name by which the photograph was known already; None where it was not
    not_added : of a known photograph, the swatch_id of pieces that the catalogue does not have: `again` adds them
    likely_same : of new pieces that look like known ones, what is offered, the likeliest first
    found_again : names of remeasured pieces that had been lost: they are at hand again
    """

    new: tuple[str, ...] = ()
    remeasured: tuple[str, ...] = ()
    known: Mapping[str, str] = field(default_factory=dict)
    names: Mapping[str, str] = field(default_factory=dict)
    known_photo: str | None = None
    not_added: tuple[str, ...] = ()
    likely_same: Mapping[str, tuple[Offer, ...]] = field(default_factory=dict)
    found_again: tuple[str, ...] = ()

    @property
    def sentences(self) -> list[str]:
        """What was done, and what there is to decide."""
        told = [f"New: {listed(self.new)}."] if self.new else []
        told += [f"Measured again: {listed(self.remeasured)}."] if self.remeasured else []
        told += [f"Found again: {listed(self.found_again)}."] if self.found_again else []
        if self.known_photo is not None:
            told.append(f"This photograph is known already, as {self.known_photo}: nothing of it is doubled.")
        if self.not_added:
            told.append(f"Found there now and not in the catalogue: {listed(self.not_added)}. Add it again for them.")
        if self.known:
            told.append(f"Known already: {listed(list(self.known.values()))}.")
        return [*told, *(_offered(name, offers) for name, offers in self.likely_same.items())] or ["There is no piece."]


def _offered(name: str, offers: Sequence[Offer]) -> str:
    words = [
        f"{each.name} (L* {each.lightness:+.1f}, colour {each.colour:.1f} apart, pattern {100 * each.pattern:.0f} %)"
        for each in offers
    ]
    return f"{name} may be {' or '.join(words)}: is it the same piece?"


@dataclass(frozen=True)
class Details:
    """What is said of all pieces that are added together; see `Catalogue.add`."""

    surface: str
    measured_by: str | None
    texts: Mapping[str, str]
    side: float | None


@dataclass(frozen=True, eq=False)
class Batch:
    """Pieces to add, from one photograph or one table."""

    table: pd.DataFrame
    photo: Row | None  # a row of `photos`, without its number
    measured: str
    calibration: str


def with_offers(added: Added, likely_same: Mapping[str, tuple[Offer, ...]]) -> Added:
    """Return what became of pieces, with what is offered of the new ones."""
    return replace(added, likely_same=likely_same)


# --- what comes in ----------------------------------------------------------------------------------------------------


def batch_of(result: PhotoResult | pd.DataFrame, *, path: StrPath | None = None) -> Batch:
    """Return what is to be added, checked; see `Catalogue.add`."""
    import pandas as pd

    if isinstance(result, pd.DataFrame):
        table, photo, measured, calibration = result, None, utc_now(), ""
    else:
        table, calibration = result.table, result.calibration.sentence
        taken = result.photo.taken or ""
        measured = taken if "0" < taken <= utc_now() else utc_now()  # a clock that runs ahead is not believed
        photo = {
            "content_hash": _content_hash(result, path), "name": result.photo.name, "taken": result.photo.taken,
            "path": None if path is None else os.path.abspath(os.fspath(path)),
        }  # fmt: skip
    table = check_table(table, (*SWATCHES, *DETAILS))
    if "swatch_id" not in table or "lightness" not in table:
        raise InvalidInputError("A table of pieces must have the columns swatch_id and lightness. Add them.")
    for name in table["swatch_id"]:
        checked_name(name)
    return Batch(table, photo, measured, calibration)


def pictures_of(batch: Batch, crops: Mapping[str, Pixels]) -> dict[str, bytes]:
    """Return the pictures that are kept of the pieces of a batch, by swatch_id."""
    own = set(batch.table["swatch_id"])
    return {name: to_png(crop) for name, crop in crops.items() if name in own}


def content_hash(path: StrPath) -> str:
    """
    Return the SHA-256 of a photograph's file, by which it is known again whatever its name.

    Raises
    ------
    UnreadablePhotoError
        The file cannot be read.

    >>> import tempfile
    >>> with tempfile.NamedTemporaryFile() as file:
    ...     content_hash(file.name)[:8]
    'e3b0c442'
    """
    try:
        with open(path, "rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except (OSError, ValueError) as error:
        raise UnreadablePhotoError(
            f"A photograph must be there to be known by its content; {shown(path)} cannot be read. Name its file."
        ) from error


def _content_hash(result: PhotoResult, path: StrPath | None) -> str:
    """Of the file; of the pixels where no file is named, so that the same picture is known at least then."""
    if path is not None:
        return content_hash(path)
    codes = np.ascontiguousarray(result.photo.codes)
    return hashlib.sha256(f"pixels {codes.shape} {codes.dtype.str} ".encode() + codes.tobytes()).hexdigest()


def checked_details(
    surface: str, measured_by: str | None, side: str | float | None, texts: Mapping[str, str]
) -> Details:
    """Return what is said of all pieces, once it can be so."""
    return Details(
        surface=checked_surface(surface),
        measured_by=None if measured_by is None else checked_text(measured_by, "Who measured"),
        side=as_side(side),
        texts={name: checked_text(text, f"The {name}") for name, text in texts.items()},
    )


def as_side(side: str | float | None) -> float | None:
    """
    Return a side in mm; None where it is not known.

    >>> as_side("3 in"), as_side("")
    (76.2, None)
    """
    if side is None or (isinstance(side, float) and math.isnan(side)) or (isinstance(side, str) and not side.strip()):
        return None
    if type(side) is float and 0 < side <= LONGEST:
        return side
    return float(parse_length(side, zero=False, name="The side"))


# --- what becomes of it -----------------------------------------------------------------------------------------------


def known_photo(connection: Connection, batch: Batch) -> Row | None:
    """Return the row of a batch's photograph, if it was added before."""
    if batch.photo is None:
        return None
    query = select(photos).where(photos.c.content_hash == batch.photo["content_hash"])
    row = connection.execute(query).mappings().first()
    return None if row is None else dict(row)


def known_pieces(connection: Connection, batch: Batch, photo: Row) -> Added:
    """Return what is known of the pieces of a photograph that was added before."""
    there = _on_photo(connection, photo, batch.table)
    others = tuple(name for name in batch.table["swatch_id"] if name not in there)
    return Added(known=there, names=there, known_photo=photo["name"], not_added=others)


def add_batch(
    action: Action, batch: Batch, pngs: Mapping[str, bytes], details: Details, *, same_as: Mapping[str, str],
    again: bool,
) -> Added:
    """Write the rows of a batch and return what became of it; see `Catalogue.add`."""
    connection = action.connection
    photo = known_photo(connection, batch)
    if photo is not None and not again:
        return known_pieces(connection, batch, photo)
    there = _on_photo(connection, photo, batch.table) if photo else _by_name(connection, batch)
    targets = _targets(connection, there | _checked_same(batch, same_as))
    known = _unchanged(connection, batch, {name: targets[name] for name in there})
    entries = _entries(action, batch, targets, leave_out=known)
    if entries:
        _write(action, batch, entries, details, pngs, photo["photo"] if photo else _new_photo(action, batch))
    return Added(
        new=tuple(entry.name for entry in entries if entry.target is None), known=known,
        remeasured=tuple(entry.name for entry in entries if entry.target is not None),
        names=known | {entry.row["swatch_id"]: entry.name for entry in entries},
        known_photo=photo["name"] if photo else None,
        found_again=tuple(entry.name for entry in entries if entry.target and entry.target["state"] == "lost"),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Entry:
    """A piece to be written: its row of the table, its name and numbers, and the known piece that it is, if any."""

    row: Row
    name: str
    swatch: int
    measurement: int
    target: Row | None


def _unchanged(connection: Connection, batch: Batch, targets: Mapping[str, Row]) -> dict[str, str]:
    """The names of known pieces, by swatch_id, that read as they did last: there is nothing to add."""
    if not targets:
        return {}
    readings = _last_readings(connection, targets.values())
    rows = {row["swatch_id"]: row for row in _rows(batch)}
    return {
        swatch_id: target["name"]
        for swatch_id, target in targets.items()
        if _same_reading(rows[swatch_id], readings[target["swatch"]])
    }


def _entries(
    action: Action, batch: Batch, targets: Mapping[str, Row], *, leave_out: Collection[str]
) -> list[_Entry]:
    """The pieces to be written, new ones with names and numbers of their own."""
    rows = [row for row in _rows(batch) if row["swatch_id"] not in leave_out]
    fresh = [row["swatch_id"] for row in rows if row["swatch_id"] not in targets]
    names = _free_names(action.connection, fresh)
    swatch_of = dict(zip(fresh, action.reserve("swatches", len(fresh)), strict=True))
    names |= {swatch_id: target["name"] for swatch_id, target in targets.items()}
    swatch_of |= {swatch_id: target["swatch"] for swatch_id, target in targets.items()}
    return [
        _Entry(row, names[row["swatch_id"]], swatch_of[row["swatch_id"]], number, targets.get(row["swatch_id"]))
        for row, number in zip(rows, action.reserve("measurements", len(rows)), strict=True)
    ]


def _write(
    action: Action, batch: Batch, entries: Sequence[_Entry], details: Details, pngs: Mapping[str, bytes],
    photo: int | None,
) -> None:
    now = utc_now()
    action.insert("swatches", [_new_swatch(entry, details, now) for entry in entries if entry.target is None])
    action.insert("measurements", [_measurement(entry, batch, details, photo) for entry in entries])
    action.insert("crops", [
        {"measurement": entry.measurement, "png": pngs[entry.row["swatch_id"]]}
        for entry in entries if entry.row["swatch_id"] in pngs
    ])  # fmt: skip
    _bring_up_to_date(action, [entry.target for entry in entries if entry.target is not None], details)


def _new_photo(action: Action, batch: Batch) -> int | None:
    """The number of a photograph that is new; None for a table."""
    return None if batch.photo is None else int(action.insert("photos", [batch.photo | {"added": utc_now()}])[0])


def _rows(batch: Batch) -> list[Row]:
    columns = {str(name): batch.table[name].tolist() for name in batch.table}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def _by_name(connection: Connection, batch: Batch) -> dict[str, str]:
    """Pieces of a table that the catalogue has by the same name; a photograph's names say nothing."""
    if batch.photo is not None:
        return {}
    query = select(swatches.c.name).where(among(connection, swatches.c.name, list(batch.table["swatch_id"])))
    return {name: name for name in connection.execute(query).scalars()}


def _on_photo(connection: Connection, photo: Row, table: pd.DataFrame) -> dict[str, str]:
    """Of pieces found on a photograph that is known, the name of the one that was found at the same place."""
    query = (
        select(swatches.c.name, measurements.c.outline)
        .join(swatches, swatches.c.swatch == measurements.c.swatch)
        .where(measurements.c.photo == photo["photo"])
        .order_by(measurements.c.measurement)
    )
    boxes = {name: _box(outline) for name, outline in connection.execute(query)}
    found: dict[str, str] = {}
    for swatch_id, outline in zip(table["swatch_id"], table.get("outline", [""] * len(table)), strict=True):
        box = _box(outline)
        shares = {name: _shared(box, other) for name, other in boxes.items() if name not in found.values()}
        best = max(shares, key=lambda name: shares[name], default=None)
        if best is not None and shares[best] >= _SAME_PLACE:
            found[swatch_id] = best
    return found


Box = tuple[float, float, float, float]  # top, left, bottom, right


def _box(outline: str | None) -> Box | None:
    try:
        rows, cols = np.array(json.loads(outline or ""), dtype=float).reshape(-1, 2).T
        return float(rows.min()), float(cols.min()), float(rows.max()), float(cols.max())
    except (ValueError, TypeError):
        return None


def _shared(a: Box | None, b: Box | None) -> float:
    """Area that two boxes share over the area that either covers."""
    if a is None or b is None:
        return 0.0
    height, width = (max(0.0, min(a[i + 2], b[i + 2]) - max(a[i], b[i])) for i in (0, 1))
    areas = [(box[2] - box[0]) * (box[3] - box[1]) for box in (a, b)]
    either = sum(areas) - height * width
    return height * width / either if either > 0 else 0.0


def _checked_same(batch: Batch, same_as: Mapping[str, str]) -> dict[str, str]:
    unknown = next((name for name in same_as if name not in set(batch.table["swatch_id"])), None)
    if unknown is not None:
        raise InvalidInputError(
            f"Only a piece that is added can be the same as a known one; got {unknown!r:.80}. Use one of "
            f"{', '.join(list(batch.table['swatch_id'])[:12]) or 'none'}."
        )
    twice = next((name for name in same_as.values() if list(same_as.values()).count(name) > 1), None)
    if twice is not None:
        raise InvalidInputError(f"A known piece can lie on the board only once; {twice!r} is named twice. Choose one.")
    return dict(same_as)


def _targets(connection: Connection, known: Mapping[str, str]) -> dict[str, Row]:
    """The rows of known pieces by the swatch_id under which they came again."""
    if not known:
        return {}
    rows = {row["name"]: row for row in pieces(connection, known.values())}
    for name in known.values():
        if rows[name]["state"] == "used":
            raise InvalidInputError(
                f"A piece that was used cannot be measured again; {name!r} was. If it was not, find it again first."
            )
    return {swatch_id: rows[name] for swatch_id, name in known.items()}


def _last_readings(connection: Connection, targets: Iterable[Row]) -> dict[int, Row]:
    keys = [target["swatch"] for target in targets]
    columns = [measurements.c[name] for name in ("swatch", "lightness", "chroma", "hue_angle", "lightness_sigma")]
    joined = select(*columns).join(swatches, swatches.c.measurement == measurements.c.measurement)
    rows = connection.execute(joined.where(among(connection, measurements.c.swatch, keys))).mappings()
    return dict.fromkeys(keys, {}) | {row["swatch"]: dict(row) for row in rows}


def _same_reading(row: Row, reading: Row) -> bool:
    """Whether a piece reads as it did last, so that it is the same measurement and not a new one."""
    pairs = [(row.get(name), reading.get(name)) for name in ("lightness", "chroma", "hue_angle", "lightness_sigma")]
    return all(_near(_nan(new), _nan(old)) for new, old in pairs)


def _nan(value: float | None) -> float:
    return math.nan if value is None else float(value)


def _near(a: float, b: float) -> bool:
    return abs(a - b) <= _SAME_READING or (math.isnan(a) and math.isnan(b))


def _free_names(connection: Connection, names: Sequence[str]) -> dict[str, str]:
    """
    The names that new pieces get: their own where they are free, else all with the same number added.

    A second board.jpg gives board(2)-01, board(2)-02 and so on.
    """
    for number in count(1):
        wanted = {name: _numbered(name, number) for name in names}
        if not _taken(connection, wanted.values()):
            return wanted
    raise AssertionError  # there are always more numbers


def _numbered(name: str, number: int) -> str:
    stem, dash, last = name.rpartition("-")
    mark = f"({number})" if number > 1 else ""
    return f"{stem}{mark}{dash}{last}" if dash else f"{name}{mark}"


def _taken(connection: Connection, names: Collection[str]) -> bool:
    query = select(swatches.c.swatch).where(among(connection, swatches.c.name, list(names))).limit(1)
    return connection.execute(query).first() is not None


def _new_swatch(entry: _Entry, details: Details, now: str) -> Row:
    row = entry.row
    texts = {text: _text_of(row, text) or details.texts.get(text, "") for text in DETAIL_TEXTS}
    side = as_side(row.get("side"))
    return {
        "swatch": entry.swatch, "name": checked_name(entry.name), "added": now,
        "measurement": entry.measurement, "note": checked_note(str(row.get("note") or "")),
        "side": details.side if side is None else side, "extra": _extra(row), **texts,
        **{copied: row.get(copied) for copied in COPIED},
    }  # fmt: skip


def _text_of(row: Row, name: str) -> str:
    value = row.get(name)
    return checked_text(value, f"The {name}") if isinstance(value, str) else ""


def _extra(row: Row) -> str | None:
    """Columns of a table that are not the catalogue's, as JSON: they are kept as the texts they are."""
    own = {name: str(value) for name, value in row.items()
           if name not in _OURS and name not in _PASSED_OVER and value == value and value not in (None, "")}
    return json.dumps(own, ensure_ascii=False) if own else None


def _measurement(entry: _Entry, batch: Batch, details: Details, photo: int | None) -> Row:
    return {
        "measurement": entry.measurement, "swatch": entry.swatch, "photo": photo, "measured": batch.measured,
        "surface": details.surface, "measured_by": details.measured_by, "calibration": batch.calibration,
        "photo_name": entry.row.get("photo"), **{name: entry.row[name] for name in _MEASURED if name in entry.row},
    }  # fmt: skip


def _bring_up_to_date(action: Action, targets: Sequence[Row], details: Details) -> None:
    """Known pieces that were measured again: what they repeat of their newest measurement; lost ones are at hand."""
    if not targets:
        return
    renew_copies(action, [target["swatch"] for target in targets])
    filled = {target["swatch"]: _filled(target, details) for target in targets}
    action.update_all("swatches", {swatch: values for swatch, values in filled.items() if values})


def _filled(target: Row, details: Details) -> Row:
    """What was not known of a piece and is said now."""
    new: Row = {name: text for name, text in details.texts.items() if text and not target[name]}
    if details.side is not None and target["side"] is None:
        new["side"] = details.side
    return new | ({"state": "at hand"} if target["state"] == "lost" else {})


def renew_copies(action: Action, keys: Sequence[int]) -> None:
    """Write into pieces which measurement is their newest, and what they repeat of it."""
    newest = newest_measurements(action.connection, keys)
    columns = [measurements.c.measurement, *(measurements.c[name] for name in COPIED)]
    query = select(*columns).where(among(action.connection, measurements.c.measurement, list(newest.values())))
    readings = {row["measurement"]: dict(row) for row in action.connection.execute(query).mappings()}
    action.update_all("swatches", {key: readings[measurement] for key, measurement in newest.items()})
