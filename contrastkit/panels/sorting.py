"""What the Sort panel is about: the edges between the groups, and which pieces are in view. No widgets here."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import pandas as pd

from contrastkit.compose.grouping import Grouping
from contrastkit.compose.hues import HUE_NAMES, hue_names
from contrastkit.errors import InvalidInputError
from contrastkit.keep.filters import STATES, parse_filter
from contrastkit.lengths import parse_length
from contrastkit.show.look import surround_lightness
from contrastkit.show.pieces import borderline_words, rival_of

if TYPE_CHECKING:
    from contrastkit.keep.projects import Project
    from contrastkit.panels.session import Session
    from contrastkit.show.pieces import Piece

VIEWS = (("in colour", "colour"), ("in true grey", "grey"))
METHODS = (("where you set them", "fixed"), ("where the pile has gaps", "natural"), ("as many in each", "equal"))
MOST_SHOWN = 600
"""More pieces than a strip shows so that each can be seen."""
LEAST_GAP = 1.0
"""L* between two edges, or from an edge to black or white."""


@dataclass(frozen=True)
class Shown:
    """
    Which pieces are in view; an empty word asks for nothing.

    Attributes
    ----------
    ground, tag : words as the table has them
    hue : one of HUE_NAMES
    least_side : mm, 0 for any
    state : one of the catalogue's states
    words : a filter in plain words, as the catalogue takes it
    """

    ground: str = ""
    hue: str = ""
    least_side: float = 0.0
    state: str = ""
    tag: str = ""
    words: str = ""


@dataclass(frozen=True)
class Sorting:
    """
    How the pile is sorted and looked at.

    Attributes
    ----------
    grouping : the groups, as they were asked for
    view : "colour" or "grey"
    surround : what the pieces lie on
    shown : which pieces are in view; the groups are always those of the whole pile
    """

    grouping: Grouping = Grouping()
    view: str = "colour"
    surround: str = "middle"
    shown: Shown = Shown()

    def to_plain(self) -> dict[str, Any]:
        """Return what a project keeps of it: how the groups were asked for; the edges themselves it keeps anyway."""
        edges = self.grouping.edges
        return {"method": self.grouping.method, "edges": None if edges is None else list(edges),
                "count": self.grouping.count}

    @classmethod
    def from_plain(cls, data: Mapping[str, Any], session: Session, project: Project) -> Sorting:
        """
        Return the sorting of a project: its edges, which stay where they are whatever has come in since.

        A project without edges of its own, or with what is not understood, is sorted by the usual ones.
        """
        old = session.sorting
        try:
            return replace(old, grouping=Grouping(edges=tuple(map(float, project.settings.edges))))
        except (InvalidInputError, TypeError, ValueError):
            return old


# --- the groups -------------------------------------------------------------------------------------------------------


def with_method(sorting: Sorting, method: str) -> Sorting:
    """
    Return sorting by another method, in as many groups.

    Raises
    ------
    InvalidInputError
        There is no such method.

    >>> with_method(Sorting(Grouping(edges=(30, 60))), "natural").grouping.count
    3
    """
    if method == sorting.grouping.method:
        return sorting
    return replace(sorting, grouping=Grouping(method, count=sorting.grouping.groups))


def with_count(sorting: Sorting, count: int) -> Sorting:
    """
    Return sorting in another number of groups, 2 to 9; edges set by hand go back to even ones.

    Raises
    ------
    InvalidInputError
        Fewer than 2 groups, or more than 9.
    """
    return replace(sorting, grouping=Grouping(sorting.grouping.method, count=count))


def with_edge(session: Session, place: int, lightness: float) -> Sorting:
    """
    Return sorting with one edge moved; it stops short of its neighbours. All edges are then set by hand.

    Parameters
    ----------
    place : which edge, 0 the darkest
    lightness : where to, L*

    Raises
    ------
    InvalidInputError
        There is no such edge, or the lightness is no number.

    >>> from contrastkit.panels.session import empty_session
    >>> with_edge(empty_session(), 0, 35).grouping.edges, with_edge(empty_session(), 0, 90).grouping.edges
    ((35.0, 70.0), (69.0, 70.0))
    """
    edges = list(map(float, session.breaks.edges))
    if not 0 <= place < len(edges):
        raise InvalidInputError(f"An edge must be one of {len(edges)}; got number {place + 1}. Reload the page.")
    if not math.isfinite(lightness):
        raise InvalidInputError(f"An edge must lie at L* 0 to 100; got {lightness}. Move it again.")
    low = edges[place - 1] if place else 0.0
    high = edges[place + 1] if place + 1 < len(edges) else 100.0
    edges[place] = round(min(max(float(lightness), low + LEAST_GAP), high - LEAST_GAP), 1)
    return replace(session.sorting, grouping=Grouping(edges=tuple(edges)))


# --- what is in view --------------------------------------------------------------------------------------------------


def with_view(sorting: Sorting, view: str) -> Sorting:
    """
    Return sorting looked at in colour or in grey.

    Raises
    ------
    InvalidInputError
        There is no such view.
    """
    known = [each for _, each in VIEWS]
    if view not in known:
        raise InvalidInputError(f"A view must be one of {', '.join(known)}; got {view!r}. Pick one of these.")
    return replace(sorting, view=view)


def with_surround(sorting: Sorting, surround: str) -> Sorting:
    """
    Return sorting with the pieces on another surround.

    Raises
    ------
    InvalidInputError
        There is no such surround.
    """
    surround_lightness(surround)  # refuses any other
    return replace(sorting, surround=surround)


def with_shown(session: Session, name: str, word: str) -> Sorting:
    """
    Return sorting with other pieces in view.

    Parameters
    ----------
    name : a field of `Shown`
    word : what it asks for; a length with its unit for the least side

    Raises
    ------
    InvalidInputError
        What is asked for cannot be.

    >>> from contrastkit.panels.session import empty_session
    >>> with_shown(empty_session(), "least_side", "3 in").shown.least_side
    76.2
    """
    sorting, word = session.sorting, word.strip()
    value: Any = word
    if name == "least_side":
        value = float(parse_length(word, unit="mm")) if word else 0.0
    elif name == "hue" and word and word not in HUE_NAMES:
        raise InvalidInputError(f"A hue must be one of {', '.join(HUE_NAMES)}; got {word!r}. Pick one of these.")
    elif name == "state" and word and word not in STATES:
        raise InvalidInputError(f"A state must be one of {', '.join(STATES)}; got {word!r}. Pick one of these.")
    elif name == "words":
        parse_filter(word, groups=session.breaks.names)
    return replace(sorting, shown=replace(sorting.shown, **{name: value}))


def side_of(word: str) -> float | None:
    """
    Return the length that a word means, mm; 0 for no word, None where it is no length.

    >>> side_of("3 in"), side_of(""), side_of("three")
    (76.2, 0.0, None)
    """
    try:
        return float(parse_length(word, unit="mm")) if word.strip() else 0.0
    except InvalidInputError:
        return None


def names_in_view(session: Session, named: Collection[str] | None = None) -> list[str]:
    """
    Return the names of the pieces in view, dark to light; only those of known lightness have a place on the strip.

    Parameters
    ----------
    named : the pieces that the filter in words finds; all, if not given
    """
    table, shown = session.table, session.sorting.shown
    holds = pd.Series(True, index=table.index)
    for column, word in (("ground", shown.ground), ("state", shown.state)):
        if word and column in table:
            holds &= table[column].astype(str) == word
    if shown.tag and "tags" in table:
        holds &= table["tags"].astype(str).map(lambda tags: shown.tag in tags.split("; "))
    if shown.hue:
        holds &= pd.Series(hue_names(table), index=table.index) == shown.hue
    if shown.least_side > 0 and "side" in table:
        holds &= table["side"].astype(float) >= shown.least_side
    wanted = set(table.loc[holds, "swatch_id"].astype(str))
    if named is not None:
        wanted &= set(named)
    return [piece.swatch_id for piece in session.pieces if piece.known and piece.swatch_id in wanted]


def words_in(table: pd.DataFrame, column: str) -> list[str]:
    """
    Return the words that a column of a table has, each once, in alphabetical order.

    >>> words_in(pd.DataFrame({"tags": ["b; a", "", "a"]}), "tags")
    ['a', 'b']
    """
    if column not in table:
        return []
    found = {word for text in table[column].dropna().astype(str) for word in text.split("; ") if word}
    return sorted(found)


# --- in words ---------------------------------------------------------------------------------------------------------


def piece_sentence(session: Session, piece: Piece) -> str:
    """Return what there is to say of one piece: lightness, value, group, whether it is borderline, what to check."""
    return piece_sentences(session, [piece])[0]


def piece_sentences(session: Session, pieces: Sequence[Piece]) -> list[str]:
    """
    Return what there is to say of each piece.

    >>> from contrastkit.panels.session import session_of
    >>> pile = pd.DataFrame({"swatch_id": ["a"], "lightness": [40.5], "lightness_sigma": [2.0]})
    >>> piece_sentences(session_of(pile), session_of(pile).pieces)
    ['a: L* 40 ± 2, value 4.0, medium; borderline dark/medium, about 6 in 10 that it is medium.']
    """
    names, edges = session.breaks.names, session.breaks.edges
    table = session.sorted.table
    likely = dict(zip(table["swatch_id"].astype(str), table["group_probability"].astype(float), strict=True))
    return [_sentence(piece, likely.get(piece.swatch_id, math.nan), names, edges) for piece in pieces]


def _sentence(piece: Piece, likely: float, names: Sequence[str], edges: Sequence[float]) -> str:
    if not piece.known:
        return f"{piece.swatch_id}: lightness unknown; measure it again."
    parts = [f"L* {piece.lightness_words}, value {piece.value_words}, {piece.group}"]
    if piece.borderline:
        doubt = borderline_words(piece, rival_of(piece, names, edges), names)
        parts.append(f"{doubt}, about {round(10 * likely)} in 10 that it is {piece.group}")
    if piece.flags:
        parts.append("check: " + ", ".join(piece.flags))
    return f"{piece.swatch_id}: {'; '.join(parts)}."


def picked_sentence(session: Session) -> str:
    """Return what there is to say of the pieces that were picked last, or how to pick."""
    if not session.picked:
        return "Tap a piece to pick it: it is then marked in every panel." if len(session.table) else ""
    words = piece_sentences(session, [session.by_name[name] for name in session.picked[-3:]])
    more = len(session.picked) - len(words)
    return " ".join(words) + (f" And {more} more picked." if more else "")


def view_sentence(session: Session, count: int) -> str:
    """
    Return which pieces are in view, where it is not all of them, and what to do.

    Parameters
    ----------
    count : how many are asked for

    >>> from contrastkit.panels.session import empty_session
    >>> view_sentence(empty_session(), 700)
    '100 more are not shown: ask for fewer under “Show only some”.'
    """
    known = sum(piece.known for piece in session.pieces)
    parts = []
    if session.sorting.shown != Shown():
        parts.append(f"{count} of {known} pieces are in view; the counts are those of all {known}.")
    if count > MOST_SHOWN:
        parts.append(f"{count - MOST_SHOWN} more are not shown: ask for fewer under “Show only some”.")
    if known < len(session.pieces):
        unknown = len(session.pieces) - known
        parts.append(f"Of unknown lightness, and so without a place here: {unknown}. Measure again.")
    return " ".join(parts)


def verdict_sentence(session: Session) -> str:
    """Return whether the pile really falls into its groups; nothing of a pile too small to tell."""
    grouping, known = session.sorting.grouping, {piece.lightness for piece in session.pieces if piece.known}
    if grouping.method != "fixed" and len(known) < grouping.groups:
        return f"Too few different values to find {grouping.groups} groups among them: even edges are used."
    return session.sorted.verdict if len(session.pieces) > 2 else ""


def edge_sentence(session: Session, place: int) -> str:
    """
    Return an edge in words.

    >>> from contrastkit.panels.session import empty_session
    >>> edge_sentence(empty_session(), 1)
    'Edge between medium and light: L* 70.'
    """
    names, at = session.breaks.names, f"{session.breaks.edges[place]:.1f}".removesuffix(".0")
    return f"Edge between {names[place]} and {names[place + 1]}: L* {at}."
