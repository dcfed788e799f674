"""
Pieces found: a filter as a condition of the database, a page of a list, a whole table.

Texts of which there are few (grounds, plates, tags ...) are compared here, word by word, and the database is asked for
those that fit: so a filter means the same on SQLite and PostgreSQL, and reads no row it need not.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

from sqlalchemy import (
    ARRAY,
    Column,
    ColumnElement,
    Connection,
    Double,
    FromClause,
    Select,
    and_,
    any_,
    bindparam,
    exists,
    false,
    func,
    literal,
    not_,
    or_,
    select,
    text,
    true,
    type_coerce,
)

from contrastkit.columns import DETAILS, SWATCHES
from contrastkit.compose.groups import Breaks, fixed_breaks, sort_into_groups
from contrastkit.errors import InvalidInputError
from contrastkit.keep.filters import Field, Filter, Missing, Span, Term, Words
from contrastkit.keep.schema import SafeText, measurements, photos, projects, swatches, tags
from contrastkit.keep.text import escaped

if TYPE_CHECKING:
    import pandas as pd

Condition = ColumnElement[bool]

SORTS = ("lightness", "name", "added", "side", "ground", "paints", "plate", "sheet", "place", "state", "chroma", "hue",
         "value", "sigma")  # fmt: skip
"""By what a list can be sorted; a minus before it turns it round."""
PREVIEW = 200
"""Characters of a note that a page shows."""

_SORT_COLUMN = {"hue": "hue_angle", "value": "munsell_value", "sigma": "lightness_sigma"}
_MANY = 300  # values from which they are handed over as one
_LISTED = ("name", "lightness", "lightness_sigma", "munsell_value", "chroma", "hue_angle", "flags", "side", "ground",
           "paints", "plate", "sheet", "place", "state", "added")  # fmt: skip
_TEXTS = ("name", "note")
_WORDS = ("ground", "paints", "plate", "sheet", "place")  # texts of which there are few, each with an index
_INDEXED = (*_WORDS, "tag", "project", "by")
_FEW = 1000  # values from which on a column is asked row by row
_KEPT = ("paints", "plate", "place", "state", "note", "added")
_OF_MEASUREMENT = tuple(c.name for c in SWATCHES if c.name not in ("swatch_id", "photo", "group_probability"))


@dataclass(frozen=True, eq=False)
class Page:
    """Part of a list: how many pieces there are in all, from which on they are shown, and the table of these."""

    total: int
    offset: int
    table: pd.DataFrame


# --- a filter as a condition ------------------------------------------------------------------------------------------


def condition(connection: Connection, wanted: Filter, breaks: Breaks | None = None) -> Condition:
    """Return the condition on `swatches` that a filter sets; groups have the edges of `breaks`."""
    asked = _Asked(connection, breaks if breaks is not None else fixed_breaks())
    return and_(true(), *(or_(*(asked.term(term) for term in clause)) for clause in wanted.clauses))


def unfound(connection: Connection, wanted: Filter) -> list[str]:
    """Return a sentence for every text asked for that no piece has, with the nearest there is."""
    asked = _Asked(connection, fixed_breaks())
    terms = [term for clause in wanted.clauses for term in clause if term.field.kind in ("words", "name", "text")]
    return [sentence for term in terms for sentence in asked.unfound(term, wanted.groups)]


class _Asked:
    """The conditions of one filter, on one connection."""

    def __init__(self, connection: Connection, breaks: Breaks) -> None:
        self.connection = connection
        self.breaks = breaks
        self._known: dict[str, list[str]] = {}
        self._known_few: dict[Column[str], list[str] | None] = {}

    def term(self, term: Term) -> Condition:
        kinds: dict[str, Callable[[Field, Any], Condition]] = {
            "name": self._name, "words": self._words, "text": self._text, "choice": self._choice,
            "number": self._span, "length": self._span, "angle": self._span, "date": self._span,
        }  # fmt: skip
        found = or_(false(), *(kinds[term.field.kind](term.field, test) for test in term.tests))
        return not_(func.coalesce(found, false())) if term.negated else found

    def unfound(self, term: Term, groups: Sequence[str]) -> list[str]:
        if term.field.kind == "words":
            known = self._values(term.field)
            asked = [word for test in term.tests if isinstance(test, Words) for word in test.any_of if word]
            return [_unfound(term.field, word, known) for word in asked if not _fitting((word,), known)]
        if term.field.name != "text":
            return []
        words = [word for test in term.tests if isinstance(test, Words) for word in test.any_of]
        reserved = [*groups, "used", "lost", "at hand", "set aside", "wet", "cured", "flagged", "unused"]
        near = {word: get_close_matches(word.casefold(), reserved, n=1, cutoff=0.75) for word in words}
        return [f"{word!r} was looked for as text; the nearest word with a meaning is {close[0]!r}."
                for word, close in near.items() if close]  # fmt: skip

    # --- texts ---

    def _name(self, field: Field, words: Words) -> Condition:
        return or_(false(), *(_like(self.connection, swatches.c.name, word, whole=True) for word in words.any_of))

    def _words(self, field: Field, words: Words) -> Condition:
        return self._having(field, _fitting(words.any_of, self._values(field)), "" in words.any_of)

    def _having(self, field: Field, values: Sequence[str], none: bool) -> Condition:
        """Pieces for which the field has one of these values, or none at all."""
        with_one, without = self._with_and_without(field, [value for value in values if value])
        return or_(with_one, without) if none else with_one

    def _with_and_without(self, field: Field, given: Sequence[str]) -> tuple[Condition, Condition]:
        """Pieces for which the field has one of these values, and those for which it has none."""
        if field.name == "tag":
            tagged = select(tags.c.swatch).where(self._among(tags.c.tag, given))
            return swatches.c.swatch.in_(tagged), ~swatches.c.swatch.in_(select(tags.c.swatch))
        if field.name == "project":
            named = select(projects.c.project).where(self._among(projects.c.name, given))
            return swatches.c.project.in_(named), swatches.c.project.is_(None)
        if field.name == "photo":
            photographed = select(measurements.c.swatch).where(measurements.c.photo.is_not(None))
            return self._photographed(given), ~swatches.c.swatch.in_(photographed)
        if field.column in swatches.c:
            column = swatches.c[field.column]
            every = not set(self._values(field)) - {"", *given}
            return column != "" if every else self._among(column, given), column == ""
        column = measurements.c[field.column]
        some, nothing = self._among(column, given), or_(column.is_(None), column == "")
        return self._measured(some), self._measured(nothing)

    def _photographed(self, names: Sequence[str]) -> Condition:
        on_photo = measurements.c.photo.in_(select(photos.c.photo).where(self._among(photos.c.name, names)))
        return swatches.c.swatch.in_(select(measurements.c.swatch).where(on_photo))

    def _text(self, field: Field, words: Words) -> Condition:
        return or_(false(), *(self._one_text(field, word) for word in words.any_of))

    def _one_text(self, field: Field, word: str) -> Condition:
        if field.name == "note":
            return _like(self.connection, swatches.c.note, word) if word else swatches.c.note == ""
        if not word:
            return true()
        tagged = select(tags.c.swatch).where(self._holds(tags.c.tag, word))
        named = select(projects.c.project).where(self._holds(projects.c.name, word))
        return or_(
            *(self._holds(swatches.c[name], word) for name in (*_WORDS, *_TEXTS)),
            swatches.c.swatch.in_(tagged),
            swatches.c.project.in_(named),
        )

    def _holds(self, column: Column[str], word: str) -> Condition:
        """That a column holds a word; where it has few values, these are looked through and not the rows."""
        known = None if column.name in _TEXTS and column.table is swatches else self._few(column)
        if known is None:
            return _like(self.connection, column, word)
        holding = _holding(word, known)
        return self._among(column, holding) if holding else false()

    def _values(self, field: Field) -> list[str]:
        """All values that a field of few texts has."""
        if field.name not in self._known:
            column = {"tag": tags.c.tag, "project": projects.c.name, "photo": photos.c.name}.get(field.name)
            if column is None:
                column = swatches.c[field.column] if field.column in swatches.c else measurements.c[field.column]
            few = self._few(column) if field.name in _INDEXED else None
            known = self.connection.execute(select(column).distinct()).scalars().all() if few is None else few
            self._known[field.name] = [value for value in known if value is not None]
        return self._known[field.name]

    def _few(self, column: Column[str]) -> list[str] | None:
        """The values of a column with an index, read from value to value; None where there are many."""
        if column not in self._known_few:
            found = select(func.min(column).label("value")).cte("found", recursive=True)
            following = select(func.min(column)).where(column > found.c.value).scalar_subquery()
            found = found.union_all(select(following).where(found.c.value.is_not(None)))
            query = select(found.c.value).where(found.c.value.is_not(None)).limit(_FEW)
            known = list(self.connection.execute(query).scalars())
            self._known_few[column] = known if len(known) < _FEW else None
        return self._known_few[column]

    # --- choices, numbers and dates ---

    def _choice(self, field: Field, words: Words) -> Condition:
        if field.name == "group":
            return or_(false(), *(self._in_group(name) for name in words.any_of))
        if field.name == "state":
            return swatches.c.state.in_(words.any_of)
        return self._measured(measurements.c[field.column].in_(words.any_of))

    def _in_group(self, name: str) -> Condition:
        """A lightness on an edge is in the darker group."""
        place = self.breaks.names.index(name)
        lightness = _unindexed(swatches.c.lightness)
        ends = []
        if place:
            ends.append(lightness > self.breaks.edges[place - 1])
        if place < len(self.breaks.edges):
            ends.append(lightness <= self.breaks.edges[place])
        return and_(lightness.is_not(None), *ends)

    def _span(self, field: Field, test: Span | Missing) -> Condition:
        own = field.column in swatches.c
        column = swatches.c[field.column] if own else measurements.c[field.column]
        if isinstance(test, Missing):
            known = column.is_not(None)
            return not_(func.coalesce(known if own else self._measured(known), false()))
        within = _within(_unindexed(column) if field.column == "lightness" else column, test)
        return within if own else self._measured(within)

    def _measured(self, of_measurement: Condition) -> Condition:
        """Pieces whose newest measurement fulfils a condition; SQLite looks only where all else is fulfilled."""
        if self.connection.dialect.name == "sqlite":
            return exists().where(measurements.c.measurement == swatches.c.measurement, of_measurement)
        return swatches.c.measurement.in_(select(measurements.c.measurement).where(of_measurement))

    def _among(self, column: ColumnElement[Any], values: Sequence[str]) -> Condition:
        return among(self.connection, column, values)


def _unindexed(column: ColumnElement[Any]) -> ColumnElement[Any]:
    """The column so that its index is not used: to fetch a third of all rows one by one takes longer than all."""
    return column + 0.0


def among(connection: Connection, column: ColumnElement[Any], values: Sequence[Any]) -> Condition:
    """Return the condition that a column has one of these values, however many."""
    if len(values) < _MANY:
        return column.in_(list(values))
    if connection.dialect.name == "sqlite":
        plain = json.dumps([escaped(value) if isinstance(value, str) else value for value in values])
        return column.in_(text("SELECT value FROM json_each(:many)").bindparams(many=plain))
    return type_coerce(column, column.type) == any_(bindparam(None, list(values), type_=ARRAY(column.type)))


def _within(column: ColumnElement[Any], span: Span) -> Condition:
    ends = []
    if span.low is not None:
        ends.append(column >= span.low if span.with_low else column > span.low)
    if span.high is not None:
        ends.append(column <= span.high if span.with_high else column < span.high)
    both = len(ends) == 2
    round_the_circle = both and isinstance(span.low, float) and isinstance(span.high, float) and span.low > span.high
    return or_(*ends) if round_the_circle else and_(*ends)


def _like(connection: Connection, column: ColumnElement[Any], word: str, *, whole: bool = False) -> Condition:
    """
    That a column holds a word, in small or capital letters; in a whole name * stands for anything.

    Both databases take A to Z for a to z, and no further letters: of these, both forms are tried.
    """
    like = column.like if connection.dialect.name == "sqlite" else column.ilike
    return or_(*(like(_pattern(form, whole), escape="\\") for form in _forms(word)))


def _holding(word: str, known: Iterable[str]) -> list[str]:
    """The values that hold a word, as `_like` has it."""
    forms = [_small(form) for form in _forms(word)]
    return [value for value in known if any(form in _small(value) for form in forms)]


def _small(text: str) -> str:
    """A to Z as small letters; further letters as they are."""
    return re.sub("[A-Z]+", lambda found: found[0].lower(), text)


def _pattern(word: str, whole: bool) -> str:
    plain = re.sub(r"([\\%_])", r"\\\1", word)
    return plain.replace("*", "%") if whole else f"%{plain}%"


def _forms(word: str) -> list[str]:
    """The word, and where it has letters beyond A to Z, with them small and capital; of several, all alike."""
    beyond = sorted({letter for letter in word if not letter.isascii() and letter.lower() != letter.upper()})
    if len(beyond) > 1:
        return list(dict.fromkeys((word, word.lower(), word.upper())))
    return [word.replace(letter, form) for letter in beyond for form in (letter.lower(), letter.upper())] or [word]


# --- words among known values -----------------------------------------------------------------------------------------


def _fitting(words: Iterable[str], known: Iterable[str]) -> list[str]:
    """The known values in which one of the texts stands as whole words; * stands for the rest of a word."""
    patterns = [_as_words(word) for word in words if word]
    return [value for value in known if any(pattern.search(_folded(value)) for pattern in patterns)]


def _as_words(word: str) -> re.Pattern[str]:
    parts = [re.escape(part) for part in " ".join(_folded(word).split()).split("*")]
    inside = r"\w*".join(parts).replace(r"\ ", r"\s+")
    return re.compile(rf"(?<!\w){inside}(?!\w)")


def _folded(value: str) -> str:
    return unicodedata.normalize("NFC", value.casefold())


def _unfound(field: Field, word: str, known: Sequence[str]) -> str:
    parts = {part for value in known[:5000] for part in (value, *value.split())}
    close = get_close_matches(_folded(word), {_folded(part): part for part in parts}, n=1, cutoff=0.5)
    nearest = f"; the nearest is {close[0]!r}" if close else ""
    return f"No piece has {field.name} {word[:60]!r}{nearest}."


# --- pages and tables -------------------------------------------------------------------------------------------------


def page(
    connection: Connection, wanted: Filter, *, sort: str = "lightness", offset: int = 0, limit: int = 50,
    breaks: Breaks | None = None,
) -> Page:
    """Return part of the list of pieces that a filter asks for; see `Catalogue.page`."""
    where = condition(connection, wanted, breaks)
    keys, total = _part(connection, where, sort, offset, limit, filtered=bool(wanted.clauses))
    columns = [swatches.c.swatch, *(swatches.c[name] for name in _LISTED)]
    note = func.substr(swatches.c.note, 1, PREVIEW, type_=swatches.c.note.type).label("note")
    project = projects.c.name.label("project")
    query = select(*columns, note, project).select_from(_with_project()).where(swatches.c.swatch.in_(keys))
    return Page(total, offset, _listed(connection, query.order_by(*_order(sort)), breaks))


def _part(
    connection: Connection, where: Condition, sort: str, offset: int, limit: int, *, filtered: bool
) -> tuple[list[int], int]:
    """
    The numbers of the pieces on a page, and how many there are in all.

    Rows are narrow here, so that sorting them is fast. With a filter, one pass gives both: what is found is kept,
    counted and sorted. Without one, two passes over indexes are faster.
    """
    found = select(swatches.c.swatch, swatches.c[_sort_column(sort)]).where(where).cte("found")
    whole = select(func.count()).select_from(found).scalar_subquery() if filtered else literal(None)
    rows_of = found if filtered else swatches
    query = select(rows_of.c.swatch, whole).order_by(*_order(sort, rows_of)).limit(limit).offset(offset)
    rows = connection.execute(query).all()
    total = rows[0][1] if rows else None
    if total is None and (offset or not filtered):
        total = connection.execute(select(func.count()).select_from(swatches).where(where)).scalar_one()
    return [row[0] for row in rows], total or 0


def table(
    connection: Connection, wanted: Filter, *, sort: str = "lightness", breaks: Breaks | None = None
) -> pd.DataFrame:
    """Return the swatch table of the pieces that a filter asks for; see `Catalogue.table`."""
    where = condition(connection, wanted, breaks)
    columns = [
        swatches.c.swatch, swatches.c.name, *(swatches.c[name] for name in ("side", "ground", "sheet", *_KEPT)),
        *(measurements.c[name] for name in _OF_MEASUREMENT), measurements.c.photo_name.label("photo"),
        measurements.c.measured, measurements.c.surface, projects.c.name.label("project"), swatches.c.extra,
    ]  # fmt: skip
    joined = _with_project().outerjoin(measurements, swatches.c.measurement == measurements.c.measurement)
    query = select(*columns).select_from(joined).where(where).order_by(*_order(sort))
    return _listed(connection, query, breaks)


def names(
    connection: Connection, wanted: Filter, *, sort: str = "lightness", breaks: Breaks | None = None
) -> list[str]:
    """Return the names of the pieces that a filter asks for, in order."""
    query = select(swatches.c.name).where(condition(connection, wanted, breaks)).order_by(*_order(sort))
    return list(connection.execute(query).scalars())


def notes(connection: Connection, keys: Sequence[int]) -> dict[int, str]:
    """Return the notes of pieces by their numbers."""
    query = select(swatches.c.swatch, swatches.c.note).where(among(connection, swatches.c.swatch, list(keys)))
    return {swatch: note for swatch, note in connection.execute(query)}


def tags_of(connection: Connection, keys: Sequence[int]) -> dict[int, set[str]]:
    """Return the tags of pieces by their numbers; those of all of them."""
    found: dict[int, set[str]] = {key: set() for key in keys}
    query = select(tags.c.swatch, tags.c.tag).where(among(connection, tags.c.swatch, list(keys)))
    for swatch, tag in connection.execute(query):
        found[swatch].add(tag)
    return found


def extra_of(text: str | None) -> dict[str, str]:
    """Return what else a table said of a piece; nothing where that is not whole."""
    try:
        own = json.loads(text or "{}")
        return {str(name): str(value) for name, value in own.items()}
    except (ValueError, AttributeError):
        return {}


def _with_project() -> Any:
    return swatches.outerjoin(projects, swatches.c.project == projects.c.project)


def _order(sort: str, of: FromClause = swatches) -> list[ColumnElement[Any]]:
    column = of.c[_sort_column(sort)]
    order: list[ColumnElement[Any]] = [column.is_(None)] if isinstance(column.type, Double) else []
    return [*order, column.desc() if sort.startswith("-") else column.asc(), of.c.swatch]


def _sort_column(sort: str) -> str:
    name = sort.removeprefix("-")
    if name not in SORTS:
        close = get_close_matches(name, SORTS, n=1, cutoff=0.5)
        nearest = f"the nearest is {close[0]!r}" if close else f"it can be {', '.join(SORTS)}"
        raise InvalidInputError(f"A list cannot be sorted by {sort[:60]!r}; {nearest}.")
    return _SORT_COLUMN.get(name, name)


def _listed(connection: Connection, query: Select[Any], breaks: Breaks | None) -> pd.DataFrame:
    """The rows as a swatch table: columns in their dtypes, groups and tags filled in."""
    import pandas as pd

    columns = _typed(connection, query)
    keys = columns.pop("swatch").tolist()
    of = tags_of(connection, keys)
    columns["tags"] = text_column(["; ".join(sorted(of[key])) for key in keys])
    extra = [extra_of(own) for own in columns.pop("extra", pd.Series([], dtype=object))]
    for name in dict.fromkeys(name for own in extra for name in own):
        columns.setdefault(name, text_column([own.get(name, "") for own in extra]))
    data = pd.DataFrame({"swatch_id": columns.pop("name"), **columns})
    return sort_into_groups(data.reindex(columns=_columns_in_order(data)), breaks or fixed_breaks())


def _typed(connection: Connection, query: Select[Any]) -> dict[str, pd.Series]:
    """The columns of a query: texts with nothing for unknown, and numbers."""
    import pandas as pd

    cells = list(zip(*connection.execute(query).all(), strict=True)) or [()] * len(query.selected_columns)
    found: dict[str, pd.Series] = {}
    for column, values in zip(query.selected_columns, cells, strict=True):
        if isinstance(column.type, SafeText):
            found[str(column.key)] = text_column(["" if value is None else value for value in values])
        elif column.key == "borderline":
            found["borderline"] = pd.Series([bool(value) for value in values], dtype=bool)
        else:
            found[str(column.key)] = pd.Series(values, dtype="int64" if column.key == "swatch" else "float64")
    return found


def text_column(values: Sequence[str]) -> pd.Series:
    """
    Return texts as a column, whatever they hold.

    >>> text_column(["a", "half a pair: \\ud800"]).tolist()[0]
    'a'
    """
    import pandas as pd

    try:
        return pd.Series(values, dtype="str")
    except UnicodeEncodeError:  # half a surrogate pair, as in file names that are no UTF-8
        return pd.Series(values, dtype=object)


def _columns_in_order(data: pd.DataFrame) -> list[str]:
    ours = [column.name for column in (*SWATCHES, *DETAILS)]
    return [name for name in ours if name in data] + [str(name) for name in data if name not in ours]
