"""The pictures in the catalogue: read, and compared with those of new pieces; see `alike.py` for how."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, func, select

from contrastkit.keep.finding import among
from contrastkit.keep.pictures import HEAD, from_png, small_look
from contrastkit.keep.schema import crops as crops_table
from contrastkit.keep.schema import measurements, swatches

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.keep.alike import Offer
    from contrastkit.keep.pictures import Pixels

_MOST_COMPARED = 400  # pieces nearest in colour whose small pictures are compared [design choice]


def crops(connection: Connection, names: Mapping[int, str]) -> dict[str, Pixels]:
    """Return the newest picture of each piece that has one, by its name; `names` has them by their numbers."""
    newest = _pictured(connection, names)
    query = select(crops_table.c.measurement, crops_table.c.png)
    found = {}
    for swatch, measurement in newest.items():  # one at a time: a thousand at once would fill the memory
        row = connection.execute(query.where(crops_table.c.measurement == measurement)).one()
        found[names[swatch]] = from_png(row.png)
    return found


def offers(
    connection: Connection, table: pd.DataFrame, new: Mapping[str, Pixels], *, leave_out: Collection[str]
) -> dict[str, tuple[Offer, ...]]:
    """Return the known pieces that new ones may be, by swatch_id; those of the names in `leave_out` are not offered."""
    from contrastkit.keep.alike import Known, alike, near_in_colour

    numbers, known_names, labs = _known_colours(connection, leave_out)
    found: dict[str, tuple[Offer, ...]] = {}
    for swatch_id, lab in _colours(table).items():
        if swatch_id not in new or not len(numbers):
            continue
        near = [int(place) for place in near_in_colour(lab, labs)[:_MOST_COMPARED]]
        pictured = _pictured(connection, [int(numbers[place]) for place in near])
        looks = {swatch: small_look(head) for swatch, head in _heads(connection, pictured).items()}
        by_name = {known_names[place]: int(numbers[place]) for place in near}
        known = [
            Known(known_names[place], (float(labs[place][0]), float(labs[place][1]), float(labs[place][2])), look)
            for place in near
            if (look := looks.get(int(numbers[place]))) is not None
        ]
        likely = alike(new[swatch_id], lab, known, partial(_crop, connection, by_name))
        if likely:
            found[swatch_id] = tuple(likely)
    return found


def _crop(connection: Connection, numbers: Mapping[str, int], name: str) -> Pixels:
    return crops(connection, {numbers[name]: name})[name]


def _known_colours(
    connection: Connection, leave_out: Collection[str]
) -> tuple[NDArray[np.int64], list[str], NDArray[np.float64]]:
    """Numbers, names and CIELAB colours of all pieces that may still be somewhere and whose colour is known."""
    columns = (swatches.c.swatch, swatches.c.name, swatches.c.lightness, swatches.c.chroma, swatches.c.hue_angle)
    known = [column.is_not(None) for column in columns[2:]]
    query = select(*columns).where(swatches.c.state != "used", *known).order_by(swatches.c.swatch)
    rows = [row for row in connection.execute(query) if row.name not in leave_out]
    polar = np.array([row[2:] for row in rows], dtype=float).reshape(-1, 3)
    return np.array([row.swatch for row in rows], dtype=np.int64), [row.name for row in rows], _lab(polar)


def _colours(table: pd.DataFrame) -> dict[str, tuple[float, float, float]]:
    """CIELAB colours of new pieces, where they are known."""
    if not {"chroma", "hue_angle"} <= set(table):
        return {}
    labs = _lab(table[["lightness", "chroma", "hue_angle"]].to_numpy(dtype=float))
    return {
        str(name): (float(lab[0]), float(lab[1]), float(lab[2]))
        for name, lab in zip(table["swatch_id"], labs, strict=True)
        if np.isfinite(lab).all()
    }


def _lab(polar: NDArray[np.float64]) -> NDArray[np.float64]:
    lightness, chroma, hue = polar.T
    return np.column_stack([lightness, chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))])


def _pictured(connection: Connection, keys: Collection[int]) -> dict[int, int]:
    """Of each piece the newest measurement that has a picture."""
    query = (
        select(measurements.c.swatch, measurements.c.measurement)
        .join(crops_table, crops_table.c.measurement == measurements.c.measurement)
        .where(among(connection, measurements.c.swatch, list(keys)))
        .order_by(measurements.c.measured, measurements.c.measurement)
    )
    return {swatch: measurement for swatch, measurement in connection.execute(query)}


def _heads(connection: Connection, pictured: Mapping[int, int]) -> dict[int, bytes]:
    """The start of each picture, in which the small one lies."""
    head = func.substr(crops_table.c.png, 1, HEAD, type_=crops_table.c.png.type)
    query = select(crops_table.c.measurement, head).where(
        among(connection, crops_table.c.measurement, list(pictured.values()))
    )
    heads = {measurement: png for measurement, png in connection.execute(query)}
    return {swatch: heads[measurement] for swatch, measurement in pictured.items()}
