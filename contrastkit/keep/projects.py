"""
Projects: the stacks and pieces that one uses, and the edges and settings by which its pile was sorted.

The edges between groups are kept as numbers, however they were found: when new pieces come in, a pile that was sorted
stays sorted the same way.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, select

from contrastkit.columns import GROUP_NAMES
from contrastkit.compose.grouping import METHODS, SortedPile
from contrastkit.compose.groups import Breaks
from contrastkit.errors import CatalogueError, InvalidInputError
from contrastkit.keep.actions import Action
from contrastkit.keep.naming import as_names, checked_text, close_project, pieces, project_named
from contrastkit.keep.schema import projects, stack_layers, stacks, swatches, utc_now
from contrastkit.keep.text import checked_name, checked_note

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.compose.grouping import Grouping

UNDER_WAY, FUSED = "under way", "fused"

Row = dict[str, Any]


@dataclass(frozen=True)
class Settings:
    """
    What a project is made by.

    Attributes
    ----------
    edges : lightness L* where one group ends and the next begins, darkest first
    groups : names of the groups, darkest first
    method : how the edges were found: "fixed", "natural" or "equal"; they are kept as they are all the same
    edge_sigma : standard uncertainty of each edge, L*; none for fixed ones
    background_lightness : L* of what the blocks are fused to; None where it is not known
    background : its cloth
    rim, gap : mm; None where the project does not say
    more : settings of other parts of the program, plain values by name

    Raises
    ------
    InvalidInputError
        Edges that do not increase, names that do not fit them, or a number that cannot be right.

    >>> Settings(edges=(35, 62)).breaks
    dark <= 35 < medium <= 62 < light
    """

    edges: tuple[float, ...] = (40.0, 70.0)
    groups: tuple[str, ...] = GROUP_NAMES
    method: str = "fixed"
    edge_sigma: tuple[float, ...] = ()
    background_lightness: float | None = None
    background: str = ""
    rim: float | None = None
    gap: float | None = None
    more: Mapping[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        Breaks(self.edges, self.groups)  # refuses what cannot be, in its own words
        if self.method not in METHODS:
            raise InvalidInputError(f"Groups must be {', '.join(METHODS)}; got {self.method!r}. Use one of these.")
        if self.edge_sigma and len(self.edge_sigma) != len(self.edges):
            raise InvalidInputError(
                f"There must be one standard uncertainty for each edge; got {len(self.edge_sigma)} for "
                f"{len(self.edges)} edges. Give one each, or none."
            )
        for name in ("background_lightness", "rim", "gap"):
            number = getattr(self, name)
            if number is not None and not 0 <= number < math.inf:
                raise InvalidInputError(f"{name} must be 0 or more; got {number}. Leave it out where it is not known.")
        checked_text(self.background, "The background")

    @property
    def breaks(self) -> Breaks:
        """The edges between the groups, and their names."""
        return Breaks(self.edges, self.groups)


@dataclass(frozen=True)
class Project:
    """
    A project as the catalogue keeps it.

    Attributes
    ----------
    name : unique
    settings : what it is made by
    note : anything
    stacks : its stacks, each the names of its pieces, bottom first
    set_aside, used : names of its pieces that are set aside for it, and that it used, alone or in stacks
    state : "under way" or "fused"
    """

    name: str
    settings: Settings = field(default_factory=Settings)
    note: str = ""
    stacks: tuple[tuple[str, ...], ...] = ()
    set_aside: tuple[str, ...] = ()
    used: tuple[str, ...] = ()
    state: str = UNDER_WAY


def settings_of(pile: SortedPile, grouping: Grouping | None = None, **others: Any) -> Settings:
    """
    Return the settings that keep a pile sorted as it is.

    Parameters
    ----------
    pile : a sorted pile
    grouping : how it was asked to be sorted
    others : further settings, by the names that `Settings` has

    >>> settings_of(SortedPile(None, Breaks((30, 60)), (0.0, 0.0)), rim=1.5).edges
    (30.0, 60.0)
    """
    method = "fixed" if grouping is None else grouping.method
    sigma = pile.edge_sigma if any(pile.edge_sigma) else ()
    edges = tuple(float(edge) for edge in pile.breaks.edges)
    return Settings(edges=edges, groups=pile.breaks.names, method=method, edge_sigma=sigma, **others)


def load(connection: Connection, name: str) -> Project:
    """Return a project by its name; see `Catalogue.project`."""
    row = project_named(connection, name)
    query = select(swatches.c.name, swatches.c.state).where(swatches.c.project == row["project"])
    own = connection.execute(query.order_by(swatches.c.name)).all()
    return Project(
        name=row["name"], settings=_settings(row), note=row["note"], stacks=_stacks(connection, row["project"]),
        set_aside=tuple(piece for piece, state in own if state == "set aside"),
        used=tuple(piece for piece, state in own if state == "used"), state=row["state"] or UNDER_WAY,
    )  # fmt: skip


def names(connection: Connection) -> list[str]:
    """Return the names of all projects, in the order in which they were begun."""
    return list(connection.execute(select(projects.c.name).order_by(projects.c.project)).scalars())


def save(action: Action, project: Project) -> None:
    """Write name, settings and note of a project; a new one is begun."""
    values = {
        "name": checked_name(project.name, what="A project"), "note": checked_note(project.note),
        "settings": _as_json(project.settings),
    }  # fmt: skip
    found = action.connection.execute(select(projects.c.project).where(projects.c.name == project.name)).scalar()
    if found is None:
        action.insert("projects", [values | {"state": UNDER_WAY, "added": utc_now()}])
    else:
        action.update("projects", found, values)


def key_of(action: Action, name: str) -> int:
    """
    Return the number of a project, which is begun if there is none of that name nor of one very like it.

    Raises
    ------
    InvalidInputError
        There is one of a name so like it that it may be a slip.
    """
    found = action.connection.execute(select(projects.c.project).where(projects.c.name == name)).scalar()
    if found is not None:
        return int(found)
    close = close_project(action.connection, checked_name(name, what="A project"))
    if close is not None:
        raise InvalidInputError(
            f"There is no project {name!r}; the nearest is {close!r}. Name that one, or save the new one first."
        )
    row = {"name": name, "settings": _as_json(Settings()), "state": UNDER_WAY, "added": utc_now()}
    return int(action.insert("projects", [row])[0])


def set_aside_stacks(action: Action, project: str, layers: Sequence[Sequence[str]]) -> None:
    """Make these, names bottom first, the stacks of a project; see `Catalogue.set_aside_stacks`."""
    number = key_of(action, project)
    if [tuple(own) for own in layers] == list(_stacks(action.connection, number)):
        return
    used = _taken_apart(action, number)
    wanted_names = [name for stack in layers for name in stack]
    if not wanted_names:
        return
    rows = pieces(action.connection, wanted_names)
    if len(rows) < len(wanted_names):
        twice = next(name for name in wanted_names if wanted_names.count(name) > 1)
        raise InvalidInputError(f"A piece can be in one stack only, once; {twice!r} is named twice. Take another.")
    for row in rows:
        check_free(row, number, action.connection)
    action.update_all("swatches", {row["swatch"]: {"state": "set aside", "project": number} for row in rows})
    keys = {row["name"]: row["swatch"] for row in rows}
    made = action.insert("stacks", [{"project": number, "place": used + place} for place in range(len(layers))])
    action.insert("stack_layers", [
        {"stack": stack, "layer": layer, "swatch": keys[name]}
        for stack, own in zip(made, layers, strict=True) for layer, name in enumerate(own)
    ])  # fmt: skip


def fuse(action: Action, project: str) -> list[str]:
    """Use the pieces of all stacks of a project and return their names; see `Catalogue.fuse`."""
    row = project_named(action.connection, project)
    columns = [swatches.c[name] for name in ("swatch", "name", "state", "project")]
    query = (
        select(*columns)
        .join(stack_layers, stack_layers.c.swatch == swatches.c.swatch)
        .join(stacks, stacks.c.stack == stack_layers.c.stack)
        .where(stacks.c.project == row["project"])
        .order_by(stacks.c.place, stack_layers.c.layer)
    )
    layers = [dict(layer) for layer in action.connection.execute(query).mappings()]
    if not layers:
        raise InvalidInputError(f"Only stacks can be fused; project {project!r} has none. Set its stacks aside first.")
    left = [layer for layer in layers if layer["state"] != "used" or layer["project"] not in (None, row["project"])]
    if not left:
        raise InvalidInputError(f"The stacks of project {project!r} are fused already: all their pieces are used.")
    for layer in left:
        check_free(layer, row["project"], action.connection)
    action.update_all("swatches", {layer["swatch"]: {"state": "used", "project": row["project"]} for layer in left})
    action.update("projects", row["project"], {"state": FUSED})
    return [layer["name"] for layer in left]


def check_free(row: Row, number: int | None, connection: Connection) -> None:
    """
    Let no piece be taken that is used or lost, or set aside for another project.

    Raises
    ------
    InvalidInputError
        It is.
    """
    if row["state"] == "used":
        whose = _for(connection, row)
        raise InvalidInputError(f"A piece can be used once; {row['name']!r} was used{whose}. Take another.")
    if row["state"] == "lost":
        raise InvalidInputError(f"A piece must be at hand; {row['name']!r} is lost. Find it again, or take another.")
    if row["state"] == "set aside" and number is not None and row["project"] not in (None, number):
        raise InvalidInputError(
            f"A piece can be set aside for one project; {row['name']!r} is{_for(connection, row)}. Release it first, "
            "or take another."
        )


def sort_kept(table: pd.DataFrame, settings: Settings) -> SortedPile:
    """Return a table sorted by the edges that a project keeps, whatever has come in since."""
    from contrastkit.compose.groups import sort_into_groups

    sigma = settings.edge_sigma or (0.0,) * len(settings.edges)
    grouped = sort_into_groups(table, settings.breaks, edge_sigma=list(sigma))
    return SortedPile(grouped, settings.breaks, tuple(sigma))


def _as_json(settings: Settings) -> str:
    try:
        return json.dumps(asdict(settings), ensure_ascii=False, allow_nan=False)
    except (ValueError, TypeError) as error:
        raise InvalidInputError(
            f"Settings of a project must be plain values: texts, numbers, lists; got something else: {error}."
        ) from error


# --- rows and back ----------------------------------------------------------------------------------------------------


def _settings(row: Mapping[str, Any]) -> Settings:
    """What is kept; what a later version may keep beside it goes into `more`."""
    try:
        kept = json.loads(row["settings"])
        known = {f.name for f in fields(Settings)}
        more = {**kept.get("more", {}), **{name: value for name, value in kept.items() if name not in known}}
        plain: dict[str, Any] = {name: tuple(value) if isinstance(value, list) else value
                 for name, value in kept.items() if name in known}  # fmt: skip
        return Settings(**{**plain, "more": more})
    except (ValueError, TypeError, AttributeError) as error:
        raise CatalogueError(
            f"The settings of project {row['name']!r} must be whole; they are not: {error}. Save them again."
        ) from error


def _stacks(connection: Connection, project: int) -> tuple[tuple[str, ...], ...]:
    query = (
        select(stacks.c.stack, swatches.c.name)
        .join(stack_layers, stack_layers.c.stack == stacks.c.stack)
        .join(swatches, swatches.c.swatch == stack_layers.c.swatch)
        .where(stacks.c.project == project)
        .order_by(stacks.c.place, stacks.c.stack, stack_layers.c.layer)
    )
    found: dict[int, list[str]] = {}
    for stack, name in connection.execute(query):
        found.setdefault(stack, []).append(name)
    return tuple(map(tuple, found.values()))


def layers_of(stack: Any) -> list[str]:
    """Return the names of a stack's pieces, whether it is a list of them, or was chosen or judged."""
    layers: Iterable[Any] = getattr(stack, "layers", stack)
    if isinstance(layers, str):
        raise InvalidInputError(f"A stack must be a list of pieces; got {layers[:60]!r} alone. Put them in a list.")
    own = [str(getattr(layer, "swatch_id", layer)) for layer in layers]
    as_names(own)
    return own


def _taken_apart(action: Action, project: int) -> int:
    """Take away the stacks of a project but those that are used up, and return how many of these there are."""
    query = (
        select(stacks.c.stack, stack_layers.c.layer, swatches.c.swatch, swatches.c.state, swatches.c.project)
        .join(stack_layers, stack_layers.c.stack == stacks.c.stack)
        .join(swatches, swatches.c.swatch == stack_layers.c.swatch)
        .where(stacks.c.project == project)
    )
    rows = action.connection.execute(query).mappings().all()
    loose = {row["stack"] for row in rows if row["state"] != "used"}
    mine = [row for row in rows if row["stack"] in loose]
    back = [row["swatch"] for row in mine if row["state"] == "set aside" and row["project"] == project]
    action.update_all("swatches", {key: {"state": "at hand", "project": None} for key in back})
    action.delete_all("stack_layers", [(row["stack"], row["layer"]) for row in mine])
    action.delete_all("stacks", sorted(loose))
    return len({row["stack"] for row in rows} - loose)


def _for(connection: Connection, row: Row) -> str:
    """For which project a piece is, in words."""
    if row["project"] is None:
        return ""
    name = connection.execute(select(projects.c.name).where(projects.c.project == row["project"])).scalar_one()
    return f" for {name!r}"


def told(project: Project) -> Sequence[str]:
    """Return what there is to say of a project, a sentence each."""
    stacks_words = f"{len(project.stacks)} {'stack' if len(project.stacks) == 1 else 'stacks'}"
    return [
        f"{project.name}: {project.state}, {stacks_words}, {len(project.set_aside)} pieces set aside, "
        f"{len(project.used)} used.",
        f"Groups: {project.settings.breaks!r}.",
    ]
