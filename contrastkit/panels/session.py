"""
What is on the desk: the pile, and what the hand has done with it so far. No widgets here.

A session never changes: whatever the hand does gives a new one, so that every step can be taken back.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from contrastkit.columns import SWATCHES, check_table, empty_table
from contrastkit.compose.grouping import Grouping, SortedPile, sort_pile
from contrastkit.compose.groups import Breaks
from contrastkit.errors import InvalidInputError, TooFewSwatchesError
from contrastkit.keep.projects import Project, Settings
from contrastkit.panels.exploring import Exploring
from contrastkit.panels.laying import Laying
from contrastkit.panels.photographs import Photographs
from contrastkit.panels.planning import Planning
from contrastkit.panels.sorting import Sorting
from contrastkit.panels.teaching import Teaching
from contrastkit.show.pieces import Piece, pieces_dark_to_light

if TYPE_CHECKING:
    from contrastkit.keep.catalogue import Catalogue

Pixels = NDArray[np.uint8]
Crops = Mapping[str, Pixels]
FIRST_PROJECT = "first project"
# what a project keeps, by the names in its settings
_TOLD_APART = ("photographs", "sorting", "laying", "planning", "teaching")


@dataclass(frozen=True, eq=False)
class _Pile:
    """A pile sorted, worked out when it is asked for."""

    table: pd.DataFrame
    grouping: Grouping

    @cached_property
    def sorted(self) -> SortedPile:
        try:
            return sort_pile(self.table, self.grouping)
        except TooFewSwatchesError:
            return sort_pile(self.table, replace(self.grouping, method="fixed"))

    @cached_property
    def pieces(self) -> tuple[Piece, ...]:
        return tuple(pieces_dark_to_light(self.sorted.table))

    @cached_property
    def by_name(self) -> Mapping[str, Piece]:
        return {piece.swatch_id: piece for piece in self.pieces}


class _LastSorted:
    """The pile as it was sorted last: sessions made from one another share it, as most steps leave it as it is."""

    def __init__(self) -> None:
        self._pile: _Pile | None = None

    def of(self, table: pd.DataFrame, grouping: Grouping) -> _Pile:
        """Return the pile of this very table, in these groups."""
        if self._pile is None or self._pile.table is not table or self._pile.grouping != grouping:
            self._pile = _Pile(table, grouping)
        return self._pile


@dataclass(frozen=True, eq=False)
class Session:
    """
    The pile and what is being done with it.

    Attributes
    ----------
    table : the swatch table of the pile, as `Catalogue.table` gives it; with fewer columns where it is from a file
    crops : the pieces' pictures by swatch_id, 8-bit sRGB with alpha; read when they are asked for
    photographs, sorting, exploring, laying, planning, teaching : what each panel is about
    picked : names of pieces that were picked, in that order; all panels mark them
    project : the name of the project that edges, stacks and plan belong to
    where : where the pile is, in words
    """

    table: pd.DataFrame
    crops: Crops = field(default_factory=dict)
    photographs: Photographs = field(default_factory=Photographs)
    sorting: Sorting = field(default_factory=Sorting)
    exploring: Exploring = field(default_factory=Exploring)
    laying: Laying = field(default_factory=Laying)
    planning: Planning = field(default_factory=Planning)
    teaching: Teaching = field(default_factory=Teaching)
    picked: tuple[str, ...] = ()
    project: str = FIRST_PROJECT
    where: str = ""

    _last: _LastSorted = field(default_factory=_LastSorted, repr=False)

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """All pieces, dark to light; those of unknown lightness last."""
        return self._pile.pieces

    @property
    def by_name(self) -> Mapping[str, Piece]:
        """All pieces by their names."""
        return self._pile.by_name

    @property
    def sorted(self) -> SortedPile:
        """The whole pile in its groups, as the Sort panel has it; in fixed groups where it is too small for others."""
        return self._pile.sorted

    @cached_property
    def _pile(self) -> _Pile:
        return self._last.of(self.table, self.sorting.grouping)

    @property
    def breaks(self) -> Breaks:
        """The edges between the groups, and their names."""
        return self.sorted.breaks

    def piece(self, name: str) -> Piece:
        """
        Return the piece of that name.

        Raises
        ------
        InvalidInputError
            There is none in the pile.
        """
        if name not in self.by_name:
            raise InvalidInputError(f"A piece must be in the pile; {name!r} is not. Keep its photograph first.")
        return self.by_name[name]

    def picking(self, name: str) -> Session:
        """Return the session with a piece picked, or no longer picked if it was."""
        self.piece(name)
        others = tuple(each for each in self.picked if each != name)
        return replace(self, picked=others if name in self.picked else (*others, name))

    def with_pile(self, table: pd.DataFrame, crops: Crops) -> Session:
        """Return the session with another pile; picks that are no longer in it are dropped."""
        names = set(table["swatch_id"])
        return replace(self, table=table, crops=crops, picked=tuple(name for name in self.picked if name in names))

    def with_project(self, project: Project) -> Session:
        """Return the session with what a project keeps."""
        more = project.settings.more
        parts: dict[str, Any] = {
            name: type(getattr(self, name)).from_plain(more.get(name, {}), self, project)
            for name in _TOLD_APART if name in more or project.stacks or name == "sorting"
        }  # fmt: skip
        return replace(self, project=project.name, **parts)

    def settings(self, old: Settings) -> Settings:
        """Return the settings by which a project keeps what this session has of it, and the rest of `old`."""
        pile = self.sorted
        more = dict(old.more) | {name: getattr(self, name).to_plain() for name in _TOLD_APART}
        return replace(
            old, edges=tuple(map(float, pile.breaks.edges)), groups=pile.breaks.names, more=more,
            method=self.sorting.grouping.method, edge_sigma=pile.edge_sigma if any(pile.edge_sigma) else (),
        )  # fmt: skip


class CatalogueCrops(Mapping[str, Pixels]):
    """The pieces' pictures in a catalogue by name, each read when it is first asked for."""

    def __init__(self, catalogue: Catalogue, names: list[str]) -> None:
        self._catalogue = catalogue
        self._wanted = dict.fromkeys(names)
        self._read: dict[str, Pixels] = {}

    def __getitem__(self, name: str) -> Pixels:
        if name not in self._read:
            self.fetch([name])
        return self._read[name]

    def __contains__(self, name: object) -> bool:
        return name in self._wanted and (name in self._read or bool(self.fetch([str(name)])))

    def __iter__(self) -> Iterator[str]:
        self.fetch(list(self._wanted))
        return iter(self._read)

    def __len__(self) -> int:
        return len(list(iter(self)))

    def fetch(self, names: list[str]) -> dict[str, Pixels]:
        """Return the pictures of these pieces, reading all that are still missing at once."""
        missing = [name for name in names if name in self._wanted and name not in self._read]
        if missing:
            found = self._catalogue.crops(missing)
            self._read |= found
            for name in set(missing) - set(found):
                self._wanted.pop(name, None)  # another thread may have been faster
        return {name: self._read[name] for name in names if name in self._read}


def fetch_crops(crops: Crops, names: list[str]) -> Mapping[str, Pixels]:
    """Return the pictures of these pieces that there are, read all at once where they are in a catalogue."""
    if isinstance(crops, CatalogueCrops):
        return crops.fetch(names)
    return {name: crops[name] for name in names if name in crops}


def empty_session(where: str = "") -> Session:
    """
    Return a session with nothing in it.

    >>> len(empty_session().table)
    0
    """
    return Session(empty_table(SWATCHES), where=where)


def session_of(table: pd.DataFrame, crops: Crops | None = None, *, where: str = "") -> Session:
    """
    Return a session about a swatch table.

    Parameters
    ----------
    table : swatches, with `swatch_id` and `lightness`
    crops : their pictures, 8-bit sRGB with alpha, by swatch_id
    where : where it is from, in words

    Raises
    ------
    InvalidInputError
        It is no swatch table.

    >>> pile = session_of(pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [80.0, 20.0]}))
    >>> [(piece.swatch_id, piece.group) for piece in pile.pieces]
    [('b', 'dark'), ('a', 'light')]
    """
    return Session(check_table(table, SWATCHES), crops or {}, where=where)
