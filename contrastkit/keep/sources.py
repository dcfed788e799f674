"""
Where a swatch table comes from: a CSV file, or the catalogue by the word `pile`, its file, or its address.

Everything to the right of the table takes either and does not know which.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from contrastkit.keep.files import StrPath
from contrastkit.keep.tables import read_table

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

USUAL = "pile"
"""The word for the catalogue at its usual place, where a table is asked for."""
_ADDRESS = "postgresql://"
_MARK = b"SQLite format 3\0"


@dataclass(frozen=True, eq=False)
class Source:
    """A swatch table, the pictures of its pieces by swatch_id, and where it is from, in words."""

    table: pd.DataFrame
    crops: Mapping[str, NDArray[np.uint8]] = field(default_factory=dict)
    where: str = ""


def is_catalogue(place: StrPath) -> bool:
    """
    Return whether a place is the word for the catalogue, its address, or a file of one.

    >>> is_catalogue("pile"), is_catalogue("postgresql://studio/pile"), is_catalogue("swatches.csv")
    (True, True, False)
    """
    text = os.fspath(place)
    if os.path.isfile(text):
        with suppress(OSError), open(text, "rb") as file:
            return file.read(len(_MARK)) == _MARK
        return False
    return os.path.basename(text) == USUAL or text.startswith(_ADDRESS) or text.endswith(".sqlite")


def catalogue_at(place: StrPath | None) -> StrPath | None:
    """
    Return the place as the catalogue takes it: None for the usual one.

    >>> catalogue_at("pile"), catalogue_at("postgresql://school/pile")
    (None, 'postgresql://school/pile')
    """
    if place is None or os.fspath(place).startswith(_ADDRESS):
        return place
    return None if os.path.basename(os.fspath(place)) == USUAL and not os.path.isfile(place) else place


def read_source(place: StrPath, wanted: str = "", *, pictures: bool = False) -> Source:
    """
    Return the table at a place, with the pictures of its pieces where the catalogue has them and they are asked for.

    Parameters
    ----------
    place : a CSV file, the word "pile", a catalogue's file, or its address
    wanted : which pieces of a catalogue, in words; a CSV file is taken whole
    pictures : whether the pieces' pictures are wanted

    Raises
    ------
    InvalidInputError
        The file is no table, or the filter cannot be right.
    CatalogueError
        The catalogue cannot be opened.
    """
    if not is_catalogue(place):
        return Source(read_table(place), where=os.fspath(place))
    from contrastkit.keep.catalogue import open_catalogue

    with open_catalogue(catalogue_at(place), create=False) as pile:
        table = pile.table(wanted)
        crops: dict[str, Any] = pile.crops(list(table["swatch_id"])) if pictures and len(table) else {}
        return Source(table, crops, pile.where)
