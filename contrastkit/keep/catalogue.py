"""
The catalogue as people use it: pieces found, shown, described, set aside, used and lost; every action can be undone.

What it is kept in, one SQLite file or a PostgreSQL server, is `store.py`'s business; nothing here knows which.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, select

from contrastkit.compose.groups import Breaks, fixed_breaks
from contrastkit.errors import InvalidInputError
from contrastkit.keep import adding, drift, finding, joining, likeness, projects
from contrastkit.keep.actions import Action, last_actions
from contrastkit.keep.adding import Added, Batch
from contrastkit.keep.files import StrPath
from contrastkit.keep.filters import Filter, parse_filter
from contrastkit.keep.finding import Page
from contrastkit.keep.naming import as_names, checked_tag, checked_text, listed, pieces, unknown_tag
from contrastkit.keep.projects import Project
from contrastkit.keep.schema import measurements, photos, stack_layers, stacks, swatches
from contrastkit.keep.schema import projects as projects_table
from contrastkit.keep.store import Finding, Store, check, open_store, redo, undo
from contrastkit.keep.text import checked_name, checked_note

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.camera.pipeline import PhotoResult
    from contrastkit.compose.grouping import SortedPile
    from contrastkit.keep.alike import Offer
    from contrastkit.keep.pictures import Pixels

Names = str | Iterable[str]
Row = dict[str, Any]


@dataclass(frozen=True)
class Done:
    """One action as a list shows it: its number, when (UTC), by whom, what, and the action it undoes, if any."""

    number: int
    at: str
    who: str
    what: str
    undoes: int | None


@dataclass(frozen=True, eq=False)
class Piece:
    """
    Everything about one piece.

    Attributes
    ----------
    name, state, place, note, added : as kept
    details : ground, paints, plate, sheet, and side (mm, None where it is not known)
    extra : what else its table said of it, text by column
    tags : in alphabetical order
    project : the project it is set aside for or used in; nothing without one
    stacks : the stacks it is in: project, number of the stack from 1, and layer from 1, the bottom
    reading : its newest measurement: a row of the swatch table
    history : all measurements, the oldest first; see `Catalogue.history`
    photos : the photographs it is on, the oldest first: name, and path where it is known
    """

    name: str
    state: str
    place: str
    note: str
    added: str
    details: Mapping[str, str | float | None]
    extra: Mapping[str, str]
    tags: tuple[str, ...]
    project: str
    stacks: tuple[tuple[str, int, int], ...]
    reading: Mapping[str, Any]
    history: pd.DataFrame
    photos: tuple[tuple[str, str | None], ...]


def open_catalogue(
    where: StrPath | str | None = None, *, create: bool = True, who: str | None = None
) -> Catalogue:
    """
    Return the catalogue at a place.

    Parameters
    ----------
    where : a path, an address `postgresql://name@host/database`, or None for the usual place; see `open_store`
    create : whether a new one is made where there is none
    who : the name that actions are recorded under; by default the login name

    Raises
    ------
    CatalogueError
        It cannot be opened.

    >>> import tempfile
    >>> import pandas as pd
    >>> with tempfile.TemporaryDirectory() as folder, open_catalogue(Path(folder) / "pile.sqlite", who="me") as pile:
    ...     added = pile.add(pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [20.0, 50.0]}), ground="red")
    ...     print(pile.tag("b", add=["shiny"]), pile.page("medium on red ground").total)
    ...     pile.undo(count=2)
    Tag b: shiny. 1
    ['Tag b: shiny', 'Add 2 pieces: a, b']
    """
    return Catalogue(open_store(where, create=create), who=who)


class Catalogue:
    """An open catalogue: see `open_catalogue`. Every verb is one action: all of it is kept, or nothing."""

    def __init__(self, store: Store, *, who: str | None = None) -> None:
        self.store = store
        self.who = who

    def __enter__(self) -> Catalogue:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.store.close()

    @property
    def where(self) -> str:
        """Where it is, for messages."""
        return self.store.where

    @property
    def told(self) -> list[str]:
        """Sentences for the person who opened it, e.g. that it was brought up to date and where the backup is."""
        return self.store.told

    # --- pieces come in ---

    def add(
        self,
        result: PhotoResult | pd.DataFrame,
        *,
        path: StrPath | None = None,
        crops: Mapping[str, Pixels] | None = None,
        surface: str = "unknown",
        measured_by: str | None = None,
        ground: str = "",
        paints: str = "",
        plate: str = "",
        sheet: str = "",
        side: str | float | None = None,
        place: str = "",
        same_as: Mapping[str, str] | None = None,
        again: bool = False,
        offers: bool = True,
    ) -> Added:
        """
        Return what became of pieces that were measured, once they are in the catalogue.

        Parameters
        ----------
        result : a photograph that was measured, or a swatch table. In a table, a piece whose name is in the catalogue
            is that piece; the columns side, ground, paints, plate, sheet, place and note are taken over, and further
            ones kept as text.
        path : the photograph's file, by whose content it is known again
        crops : the pieces cut out, by swatch_id: 8-bit sRGB, shape (rows, cols, 3 or 4); see `piece_crops`
        surface : whether the paint was "wet" or "cured" when it was measured
        measured_by : who measured
        ground, paints, plate, sheet, side, place : what is true of all new pieces; a side is mm or text with a unit
        same_as : pieces that a person says are known ones: the known name by swatch_id
        again : measure a photograph that is known once more: pieces whose reading has changed get a new measurement
        offers : whether new pieces are compared with known ones

        Raises
        ------
        InvalidInputError
            A name, text or number that cannot be right, or a piece in `same_as` that is not there or was used.
        UnreadablePhotoError
            The photograph's file cannot be read.
        """
        texts = {"ground": ground, "paints": paints, "plate": plate, "sheet": sheet, "place": place}
        details = adding.checked_details(surface, measured_by, side, texts)
        batch = adding.batch_of(result, path=path)
        with self.store.reading() as connection:
            known = adding.known_photo(connection, batch)
            if known is not None and not again:
                return adding.known_pieces(connection, batch, known)
        looked = self._offers(batch, crops or {}, same_as or {}) if offers else {}
        pngs = adding.pictures_of(batch, crops or {})
        with self._acting("Add pieces") as action:
            added = adding.add_batch(action, batch, pngs, details, same_as=same_as or {}, again=again)
            action.what = _added_words(added, batch)
        kept = {added.names[own]: found for own, found in looked.items() if added.names.get(own) in added.new}
        return adding.with_offers(added, kept)

    def likely_same(
        self, result: PhotoResult | pd.DataFrame, crops: Mapping[str, Pixels], *, path: StrPath | None = None
    ) -> dict[str, tuple[Offer, ...]]:
        """
        Return known pieces that new ones may be, by swatch_id, the likeliest first; only pieces with any are named.

        Lightness, colour and pattern are compared. Pieces that were used are not looked at. Nothing is changed: add
        with `same_as` what a person says is the same.
        """
        return self._offers(adding.batch_of(result, path=path), crops, {})

    def same(self, name: str, known: str) -> str:
        """
        Make two pieces one, because they are: the measurements, pictures and tags of the first go to the second.

        What the second lacks (ground, paints and so on) is taken from the first, and its note is added. The first is
        in the catalogue no more.

        Raises
        ------
        InvalidInputError
            One is not there, both are the same already, or the first is used or in a stack.
        """
        with self._acting(f"{name} is the same piece as {known}") as action:
            joining.join(action, name, known)
        return _sentence(action)

    # --- pieces are found ---

    def table(
        self, wanted: str | Filter = "", *, sort: str = "lightness", project: str | None = None, unit: str = "mm"
    ) -> pd.DataFrame:
        """
        Return the swatch table of the pieces that a filter asks for, as everything else in the program takes it.

        The columns are those of `columns.SWATCHES` and `DETAILS`, then paints, plate, place, state, note, added,
        measured, surface, project, tags (separated by "; ") and what else tables said.

        Parameters
        ----------
        wanted : a filter in words, see `filters.py`; nothing for all
        sort : lightness, name, added, side, ground, ...; with a minus before it from the other end
        project : sort into the groups of this project; else dark up to L* 40, medium up to 70, light
        unit : of lengths without a unit in the filter

        Raises
        ------
        InvalidInputError
            A filter, order or project that cannot be right.
        """
        with self.store.reading() as connection:
            asked, breaks = _asked(connection, wanted, project, unit)
            return finding.table(connection, asked, sort=sort, breaks=breaks)

    def page(
        self, wanted: str | Filter = "", *, offset: int = 0, limit: int = 50, sort: str = "lightness",
        project: str | None = None, unit: str = "mm",
    ) -> Page:
        """
        Return part of the list of pieces that a filter asks for: how many there are in all, and a table of these.

        Notes are cut to 200 characters; see `table` for the rest.

        Raises
        ------
        InvalidInputError
            As for `table`, or numbers below 0.
        """
        if offset < 0 or limit < 1:
            raise InvalidInputError(f"A page must begin at 0 or later and hold a piece; got {offset} and {limit}.")
        with self.store.reading() as connection:
            asked, breaks = _asked(connection, wanted, project, unit)
            return finding.page(connection, asked, sort=sort, offset=offset, limit=limit, breaks=breaks)

    def names(
        self, wanted: str | Filter = "", *, sort: str = "lightness", project: str | None = None, unit: str = "mm",
        breaks: Breaks | None = None,
    ) -> list[str]:
        """Return the names of the pieces that a filter asks for; see `table`. `breaks` stand in for a project's."""
        with self.store.reading() as connection:
            asked, breaks = _asked(connection, wanted, project, unit, breaks)
            return finding.names(connection, asked, sort=sort, breaks=breaks)

    def hints(
        self, wanted: str | Filter, *, project: str | None = None, unit: str = "mm", breaks: Breaks | None = None
    ) -> list[str]:
        """Return why a filter may find nothing: for each text that no piece has, the nearest there is; see `names`."""
        with self.store.reading() as connection:
            asked, _ = _asked(connection, wanted, project, unit, breaks)
            return finding.unfound(connection, asked)

    def show(self, name: str) -> Piece:
        """
        Return everything about one piece.

        Raises
        ------
        InvalidInputError
            There is no such piece; the nearest is named.
        """
        with self.store.reading() as connection:
            return _piece(connection, pieces(connection, name)[0])

    def history(self, name: str) -> pd.DataFrame:
        """
        Return all measurements of a piece, the oldest first, and what changed; see `drift.history`.

        Raises
        ------
        InvalidInputError
            There is no such piece; the nearest is named.
        """
        with self.store.reading() as connection:
            row = pieces(connection, name)[0]
            return drift.history(connection, row["swatch"], row["measurement"])

    def crops(self, names: Names) -> dict[str, Pixels]:
        """
        Return the newest pictures of pieces by their names: 8-bit sRGB with alpha; pieces without one are left out.

        Raises
        ------
        InvalidInputError
            A piece is not there; the nearest is named.
        CatalogueError
            A picture is spoilt.
        """
        with self.store.reading() as connection:
            rows = pieces(connection, names)
            return likeness.crops(connection, {row["swatch"]: row["name"] for row in rows})

    # --- pieces are described ---

    def note(self, names: Names, text: str, *, add: bool = False) -> str:
        """
        Set the note of pieces, or add a line to it, and return what was done.

        Raises
        ------
        InvalidInputError
            A piece is not there, or the note is too long.
        """
        checked_note(text)
        with self._acting(f"Note on {listed(as_names(names))}") as action:
            rows = pieces(action.connection, names)
            notes = finding.notes(action.connection, [row["swatch"] for row in rows]) if add else {}
            lines = {key: f"{old}\n{text}" if old else text for key, old in notes.items()}
            action.update_all("swatches", {
                row["swatch"]: {"note": checked_note(lines.get(row["swatch"], text))} for row in rows
            })  # fmt: skip
        return _sentence(action)

    def tag(self, names: Names, add: Names = (), remove: Names = ()) -> str:
        """
        Give tags to pieces, take tags from them, and return what was done.

        Raises
        ------
        InvalidInputError
            A piece is not there, a text that cannot be a tag, or a tag to take away that none of them has.
        """
        new = [checked_tag(tag) for tag in (as_names(add) if add else [])]
        old = as_names(remove) if remove else []
        if not new and not old:
            raise InvalidInputError("A tag must be given or taken away; got none. Name one.")
        words = "; ".join([*new, *(f"not {tag}" for tag in old)])
        with self._acting(f"Tag {listed(as_names(names))}: {words}") as action:
            keys = [row["swatch"] for row in pieces(action.connection, names)]
            there = finding.tags_of(action.connection, keys)
            gone = next((tag for tag in old if all(tag not in own for own in there.values())), None)
            if gone is not None:
                raise unknown_tag(gone, [tag for own in there.values() for tag in own])
            action.delete_all("tags", [(key, tag) for key in keys for tag in old if tag in there[key]])
            action.insert("tags", [{"swatch": key, "tag": tag} for key in keys for tag in new if tag not in there[key]])
        return _sentence(action)

    def put(self, names: Names, place: str) -> str:
        """
        Say where in the studio pieces are, and return what was done; nothing means that it is not known.

        Raises
        ------
        InvalidInputError
            A piece is not there, or a place of more than one line.
        """
        place = checked_text(place, "A place")
        return self._set(names, {"place": place}, f"put in {place}" if place else "put nowhere that is known")

    def describe(
        self, names: Names, *, ground: str | None = None, paints: str | None = None, plate: str | None = None,
        side: str | float | None = None, sheet: str | None = None,
    ) -> str:
        """
        Say what pieces are made of and how large they are, and return what was done.

        Parameters
        ----------
        names : of pieces
        ground, paints, plate, sheet : texts; None leaves them as they are, "" means not known
        side : of the largest square each can be cut to, mm or text with a unit; "" means not known

        Raises
        ------
        InvalidInputError
            A piece is not there, nothing is said, or a text or length that cannot be right.
        """
        said = {"ground": ground, "paints": paints, "plate": plate, "sheet": sheet}
        values: Row = {name: checked_text(text, f"The {name}") for name, text in said.items() if text is not None}
        if side is not None:
            values["side"] = adding.as_side(side)
        if not values:
            raise InvalidInputError("A piece is described by ground, paints, plate, side or sheet; got none. Say one.")
        words = ", ".join(f"{name} {_shown(value)}" for name, value in values.items())
        return self._set(names, values, words)

    def rename(self, old: str, new: str) -> str:
        """
        Give a piece another name, and return what was done.

        Raises
        ------
        InvalidInputError
            The piece is not there, or the new name is taken or cannot be one.
        """
        checked_name(new)
        with self._acting(f"Rename {old} to {new}") as action:
            row = pieces(action.connection, old)[0]
            taken = action.connection.execute(select(swatches.c.swatch).where(swatches.c.name == new)).scalar()
            if taken not in (None, row["swatch"]):
                raise InvalidInputError(f"A name must be free; {new!r} is another piece's. Choose another name.")
            action.update("swatches", row["swatch"], {"name": new})
        return _sentence(action)

    # --- pieces are used up ---

    def set_aside(self, names: Names, project: str) -> str:
        """
        Set pieces aside for a project, which is begun if there is none of that name, and return what was done.

        Raises
        ------
        InvalidInputError
            A piece is not there, used, lost, or set aside for another project; or a name very like a project's.
        """
        with self._acting(f"Set aside for {project}: {listed(as_names(names))}") as action:
            rows = pieces(action.connection, names)
            number = projects.key_of(action, project)
            for row in rows:
                projects.check_free(row, number, action.connection)
            action.update_all("swatches", {r["swatch"]: {"state": "set aside", "project": number} for r in rows})
        return _sentence(action)

    def release(self, names: Names) -> str:
        """
        Put pieces that were set aside back to those at hand, and return what was done.

        Raises
        ------
        InvalidInputError
            A piece is not there, or not set aside.
        """
        return self._to_hand(names, "Release", ("set aside",), "Only what is set aside can be released")

    def use(self, names: Names, project: str | None = None) -> str:
        """
        Say that pieces are used, in a project or not, and return what was done.

        Raises
        ------
        InvalidInputError
            A piece is not there, used, lost, or set aside for another project; or a name very like a project's.
        """
        with self._acting(f"Use {listed(as_names(names))}{f' in {project}' if project else ''}") as action:
            rows = pieces(action.connection, names)
            number = projects.key_of(action, project) if project else None
            for row in rows:
                projects.check_free(row, number, action.connection)
            whose = {} if number is None else {"project": number}
            action.update_all("swatches", {row["swatch"]: {"state": "used", **whose} for row in rows})
        return _sentence(action)

    def lose(self, names: Names) -> str:
        """
        Say that pieces are lost, and return what was done.

        Raises
        ------
        InvalidInputError
            A piece is not there, or was used.
        """
        with self._acting(f"Lose {listed(as_names(names))}") as action:
            rows = pieces(action.connection, names)
            used = next((row["name"] for row in rows if row["state"] == "used"), None)
            if used is not None:
                raise InvalidInputError(f"What was used cannot be lost; {used!r} was. Leave it out.")
            action.update_all("swatches", {row["swatch"]: {"state": "lost", "project": None} for row in rows})
        return _sentence(action)

    def find_again(self, names: Names) -> str:
        """
        Say that pieces are at hand after all that were lost, or used by mistake, and return what was done.

        Raises
        ------
        InvalidInputError
            A piece is not there, or neither lost nor used.
        """
        return self._to_hand(names, "Find again", ("lost", "used"), "Only what is lost or used can be found again")

    # --- projects ---

    def project(self, name: str) -> Project:
        """
        Return a project: its settings, its stacks, its pieces.

        Raises
        ------
        InvalidInputError
            There is no such project; the nearest is named.
        """
        with self.store.reading() as connection:
            return projects.load(connection, name)

    def projects(self) -> list[str]:
        """Return the names of all projects, in the order in which they were begun."""
        with self.store.reading() as connection:
            return projects.names(connection)

    def save_project(self, project: Project) -> str:
        """
        Keep the name, settings and note of a project, new or not, and return what was done.

        Its stacks and pieces are not touched: see `set_aside_stacks`.

        Raises
        ------
        InvalidInputError
            A name, note or setting that cannot be kept.
        """
        with self._acting(f"Save project {project.name}") as action:
            projects.save(action, project)
        return _sentence(action)

    def set_aside_stacks(self, project: str, stacks: Iterable[Any]) -> str:
        """
        Make these the stacks of a project, set their pieces aside for it, and return what was done.

        Stacks it had before are taken apart, but for those that are fused: pieces that are in none of the new ones are
        at hand again. The same stacks once more change nothing.

        Parameters
        ----------
        project : its name; it is begun if there is none of that name
        stacks : each a list of names, bottom first, or a stack that was chosen or judged

        Raises
        ------
        InvalidInputError
            A piece is not there, used, lost, set aside for another project, or in two stacks.
        """
        wanted = [projects.layers_of(stack) for stack in stacks]
        count = f"{len(wanted)} {'stack' if len(wanted) == 1 else 'stacks'}"
        with self._acting(f"Set aside {count} for {project}") as action:
            projects.set_aside_stacks(action, project, wanted)
        return _sentence(action)

    def fuse(self, project: str) -> str:
        """
        Say that the stacks of a project are fused, so that their pieces are used, and return what was done.

        Raises
        ------
        InvalidInputError
            There is no such project, it has no stacks, a piece is lost, or all is fused already.
        """
        with self._acting(f"Fuse the stacks of {project}") as action:
            used = projects.fuse(action, project)
            action.what = f"Fuse the stacks of {project}: {listed(used)}"
        return _sentence(action)

    def sorted(self, project: str, wanted: str | Filter = "") -> SortedPile:
        """
        Return pieces sorted by the edges that a project keeps, whatever has come in since.

        Parameters
        ----------
        project : its name
        wanted : which pieces; all, if not given

        Raises
        ------
        InvalidInputError
            There is no such project, or a filter that cannot be right.
        """
        with self.store.reading() as connection:
            settings = projects.load(connection, project).settings
            asked = parse_filter(wanted, groups=settings.groups)
            table = finding.table(connection, asked, breaks=settings.breaks)
        return projects.sort_kept(table, settings)

    # --- what was done ---

    def undo(self, count: int = 1) -> list[str]:
        """Return the sentences of the last actions, newest first, after undoing them; `redo` does them again."""
        return undo(self.store, count=count, who=self.who)

    def redo(self, count: int = 1) -> list[str]:
        """Return the sentences of the actions undone last, after doing them again."""
        return redo(self.store, count=count, who=self.who)

    def actions(self, limit: int = 20) -> list[Done]:
        """Return the last actions, newest first."""
        with self.store.reading() as connection:
            rows = last_actions(connection, limit=limit)
        return [Done(row["action"], row["at"], row["who"], row["what"], row["undoes"]) for row in rows]

    def backup(self, path: StrPath) -> Path:
        """Return the path of a new backup, one file; see `Store.backup`."""
        return self.store.backup(path)

    def check(self) -> list[Finding]:
        """Return what is wrong with the catalogue and how to mend it; nothing if all is well."""
        return check(self.store)

    # --- inside ---

    @contextmanager
    def _acting(self, what: str) -> Iterator[Action]:
        with self.store.writing(what, self.who) as action:
            yield action

    def _set(self, names: Names, values: Row, words: str) -> str:
        with self._acting(f"{listed(as_names(names))}: {words}") as action:
            rows = pieces(action.connection, names)
            action.update_all("swatches", {row["swatch"]: values for row in rows})
        return _sentence(action)

    def _to_hand(self, names: Names, verb: str, states: Sequence[str], rule: str) -> str:
        with self._acting(f"{verb} {listed(as_names(names))}") as action:
            rows = pieces(action.connection, names)
            other = next((row for row in rows if row["state"] not in states), None)
            if other is not None:
                raise InvalidInputError(f"{rule}; {other['name']!r} is {other['state']}. Leave it out.")
            action.update_all("swatches", {row["swatch"]: {"state": "at hand", "project": None} for row in rows})
        return _sentence(action)

    def _offers(
        self, batch: Batch, crops: Mapping[str, Pixels], same_as: Mapping[str, str]
    ) -> dict[str, tuple[Offer, ...]]:
        looked_at = {name: crop for name, crop in crops.items() if name not in same_as}
        if not looked_at:
            return {}
        with self.store.reading() as connection:
            if adding.known_photo(connection, batch) is not None:
                return {}
            return likeness.offers(connection, batch.table, looked_at, leave_out=set(same_as.values()))


def _asked(
    connection: Connection, wanted: str | Filter, project: str | None, unit: str, breaks: Breaks | None = None
) -> tuple[Filter, Breaks]:
    if breaks is None:
        breaks = fixed_breaks() if project is None else projects.load(connection, project).settings.breaks
    return parse_filter(wanted, groups=breaks.names, unit=unit), breaks


def _sentence(action: Action) -> str:
    return f"{action.what}." if action.number is not None else f"Nothing to change: {action.what}."


def _added_words(added: Added, batch: Batch) -> str:
    source = f" from {batch.photo['name']}" if batch.photo is not None else ""
    parts = [f"Add {listed(added.new)}{source}"] if added.new else []
    if added.remeasured:
        parts.append(f"{'measure' if parts else 'Measure'} {listed(added.remeasured)} again{'' if parts else source}")
    return ", ".join(parts) or f"Add nothing{source}"


def _shown(value: str | float | None) -> str:
    return f"{value:g} mm" if isinstance(value, float) else str(value or "not known")


def _piece(connection: Connection, row: Row) -> Piece:
    key = row["swatch"]
    reading = connection.execute(
        select(measurements).where(measurements.c.measurement == row["measurement"])
    ).mappings().first()
    named = select(projects_table.c.name).where(projects_table.c.project == row["project"])
    return Piece(
        name=row["name"], state=row["state"], place=row["place"], added=row["added"],
        note=finding.notes(connection, [key])[key],
        details={name: row[name] for name in ("ground", "paints", "plate", "sheet", "side")},
        extra=finding.extra_of(row["extra"]), tags=tuple(sorted(finding.tags_of(connection, [key])[key])),
        project=connection.execute(named).scalar() or "", stacks=_places(connection, key),
        reading={} if reading is None else {"swatch_id": row["name"], **_as_row(reading)},
        history=drift.history(connection, key, row["measurement"]), photos=_photos(connection, key),
    )  # fmt: skip


def _as_row(reading: Mapping[Any, Any]) -> Row:
    """A measurement with the names that the swatch table has for its columns."""
    inside = ("measurement", "swatch", "photo", "photo_name")
    return {"photo": reading["photo_name"] or "", **{n: value for n, value in reading.items() if n not in inside}}


def _places(connection: Connection, key: int) -> tuple[tuple[str, int, int], ...]:
    query = (
        select(projects_table.c.name, stacks.c.place + 1, stack_layers.c.layer + 1)
        .join(stacks, stacks.c.stack == stack_layers.c.stack)
        .join(projects_table, projects_table.c.project == stacks.c.project)
        .where(stack_layers.c.swatch == key)
        .order_by(stacks.c.stack)
    )
    return tuple((name, int(place), int(layer)) for name, place, layer in connection.execute(query))


def _photos(connection: Connection, key: int) -> tuple[tuple[str, str | None], ...]:
    query = (
        select(photos.c.name, photos.c.path)
        .join(measurements, measurements.c.photo == photos.c.photo)
        .where(measurements.c.swatch == key)
        .order_by(measurements.c.measured, measurements.c.measurement)
    )
    return tuple(dict.fromkeys((name, path) for name, path in connection.execute(query)))
