"""
Asking for pieces in plain words.

    medium ground=red side>=3in not used        mediums on red ground at least 3 inches, not yet used
    dark or light state="at hand" -tag=sold     lightness=40..70 tag=shiny,pearly added>=2025-03

A filter is a row of conditions that must all hold. `or` between two means either; a minus or `not` before one means
that it must not hold; quotes hold together what has spaces in it, and make plain text of any word. Commas part the
values of which one must hold, `..` the ends of a range. What is no condition is looked for in all texts of the piece.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from difflib import get_close_matches
from fractions import Fraction

from contrastkit.columns import DETAILS, GROUP_NAMES, SWATCHES
from contrastkit.errors import InvalidInputError
from contrastkit.lengths import parse_length

STATES = ("at hand", "set aside", "used", "lost")
SURFACES = ("wet", "cured", "unknown")
REFERENCES = ("card", "scale", "chart", "none")
LONGEST = 2000
"""No filter is longer than so many characters."""
MOST_TERMS = 50
"""No filter has more conditions."""

_SHORT = {"lightness_sigma": "sigma", "munsell_value": "value", "hue_angle": "hue"}
_UNKNOWN = "unknown"
_RANGE = re.compile(r"\.\.+|…")
_OPERATOR = re.compile(r"(?P<field>[^\s=<>!]*)(?P<sign>!=|>=|<=|=|>|<)")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)\s*%?", re.ASCII)
_DATE = re.compile(r"(\d{4})(?:-(\d\d?)(?:-(\d\d?))?)?", re.ASCII)
_FRACTION = re.compile(r"\d+\s*/\s*\d+\S*|[¼-¾⅐-⅞]\S*")
_UNITS = re.compile(r"(in|inch|inches|mm|cm|millimetres?|centimetres?|millimeters?|centimeters?)\.?,?", re.IGNORECASE)
_NEXT_SIGN = re.compile(r"!=|>=|<=|=|>|<")


@dataclass(frozen=True)
class Field:
    """
    Something a condition can ask for.

    Attributes
    ----------
    name : as it is written
    kind : how it is asked for: name, words, text, choice, number, length, angle or date
    column : the column that holds it
    meaning : in words
    choices : of a choice, what there is to choose from
    """

    name: str
    kind: str
    column: str
    meaning: str
    choices: tuple[str, ...] = ()


def _number_fields() -> tuple[Field, ...]:
    kinds = {"hue_angle": "angle", "side": "length"}
    return tuple(
        Field(_SHORT.get(column.name, column.name), kinds.get(column.name, "number"), column.name, column.meaning)
        for column in (*SWATCHES, *DETAILS)
        if column.dtype == "float64" and column.name != "group_probability"
    )


FIELDS = (
    Field("name", "name", "name", "name of the piece; * stands for anything"),
    Field("ground", "words", "ground", "cloth under the paint"),
    Field("paints", "words", "paints", "paints on it"),
    Field("plate", "words", "plate", "relief plate it was rubbed over"),
    Field("sheet", "words", "sheet", "painted sheet it was cut from"),
    Field("place", "words", "place", "where it is kept"),
    Field("tag", "words", "tag", "tags it has"),
    Field("flag", "words", "flags", "what to be careful of, e.g. glare"),
    Field("project", "words", "project", "project it is set aside for or used in"),
    Field("photo", "words", "photo", "photograph it was measured on"),
    Field("by", "words", "measured_by", "who measured it last"),
    Field("note", "text", "note", "its note"),
    Field("text", "text", "text", "any of its texts"),
    Field("state", "choice", "state", "what became of it", STATES),
    Field("group", "choice", "group", "group of its lightness", GROUP_NAMES),
    Field("surface", "choice", "surface", "whether it was wet or cured when it was measured last", SURFACES),
    Field("reference", "choice", "reference", "what it was measured against", REFERENCES),
    *_number_fields(),
    Field("added", "date", "added", "day it came into the catalogue"),
    Field("measured", "date", "measured", "day it was measured last"),
)
"""Everything that can be asked for."""

_BY_NAME = {field.name: field for field in FIELDS}
_ALSO = {
    "id": "name", "swatch": "name", "swatch_id": "name", "paint": "paints", "grounds": "ground", "cloth": "ground",
    "tags": "tag", "flags": "flag", "notes": "note", "size": "side", "l": "lightness", "measured_by": "by", "who": "by",
    "lightness_sigma": "sigma", "munsell_value": "value", "hue_angle": "hue", "plates": "plate", "sheets": "sheet",
}  # fmt: skip


@dataclass(frozen=True)
class Words:
    """One of these texts must be there."""

    any_of: tuple[str, ...]


@dataclass(frozen=True)
class Span:
    """A number, or a day as text, must lie between; None is no end. Ends belong to it where `with_` says so."""

    low: float | str | None
    high: float | str | None
    with_low: bool = True
    with_high: bool = True


@dataclass(frozen=True)
class Missing:
    """It must not be known."""


Test = Words | Span | Missing


@dataclass(frozen=True)
class Term:
    """One condition: the field, the tests of which one must hold, and whether they must not."""

    field: Field
    tests: tuple[Test, ...]
    negated: bool = False


@dataclass(frozen=True)
class Filter:
    """
    Conditions that must all hold, each of them one of several.

    Attributes
    ----------
    clauses : all must hold; of the terms of each, one
    groups : names of the lightness groups, darkest first, that it was read with
    """

    clauses: tuple[tuple[Term, ...], ...] = ()
    groups: tuple[str, ...] = GROUP_NAMES


def parse_filter(text: str | Filter, *, groups: Sequence[str] = GROUP_NAMES, unit: str = "mm") -> Filter:
    """
    Return what a filter asks for; nothing asks for every piece.

    Parameters
    ----------
    text : the filter, at most 2000 characters; see the top of this module
    groups : names of the lightness groups in use, darkest first
    unit : of lengths without a unit

    Raises
    ------
    InvalidInputError
        A field or choice that is not known (the nearest is named), or a value that cannot be right.

    Examples
    --------
    >>> parse_filter("gruond=red")
    Traceback (most recent call last):
    contrastkit.errors.InvalidInputError: A filter cannot ask for 'gruond'; the nearest it can ask for is 'ground'.
    >>> len(parse_filter("mediums on red ground at least 3 inches, not yet used").clauses)
    4
    """
    if isinstance(text, Filter):
        return text
    if not isinstance(text, str) or len(text) > LONGEST:
        got = f"{len(text):,}" if isinstance(text, str) else repr(text)[:40]
        raise InvalidInputError(f"A filter must be a text of at most {LONGEST} characters; got {got}.")
    clauses = tuple(_Reader(_tokens(text), tuple(groups), unit).clauses())
    if sum(map(len, clauses)) > MOST_TERMS:
        raise InvalidInputError(
            f"A filter must have at most {MOST_TERMS} conditions; got {sum(map(len, clauses))}. Leave some out."
        )
    return Filter(clauses, tuple(groups))


# --- from text to words -----------------------------------------------------------------------------------------------


Letter = tuple[str, bool]  # and whether it stands in quotes; empty quotes are a letter of no length


@dataclass(frozen=True)
class _Token:
    """Letters that stand together; those in quotes are never signs."""

    letters: tuple[Letter, ...]

    @property
    def text(self) -> str:
        return "".join(letter for letter, _ in self.letters)

    @property
    def plain(self) -> str:
        """The letters, a control character for each in quotes, so that no sign is found there."""
        return "".join(_QUOTED if quoted else letter for letter, quoted in self.letters)

    @property
    def in_quotes(self) -> bool:
        """Whether any of it is."""
        return any(quoted for _, quoted in self.letters)

    @property
    def word(self) -> str:
        """The text in small letters without commas after it; nothing where it is in quotes."""
        return "" if self.in_quotes else self.text.casefold().strip(",;")

    def part(self, start: int, stop: int | None = None) -> _Token:
        return _Token(self.letters[start:stop])

    def __add__(self, other: _Token) -> _Token:
        return _Token(self.letters + other.letters)


_QUOTED = "\x1a"
_QUOTES = {'"': '"', "“": "”", "„": "“", "«": "»"}
_SIGNS = {"≥": ">=", "≤": "<=", "≠": "!=", "−": "-", "–": "-"}


def _tokens(text: str) -> list[_Token]:
    found: list[_Token] = []
    letters: list[Letter] = []
    place = 0
    while place < len(text):
        if text[place] in _QUOTES and _opens(letters):
            inside, place = _quoted(text, place)
            letters += [(letter, True) for letter in inside] or [("", True)]
        elif text[place].isspace():
            found += [_Token(tuple(letters))] if letters else []
            letters, place = [], place + 1
        else:
            letters += [(letter, False) for letter in _SIGNS.get(text[place], text[place])]
            place += 1
    return [*found, _Token(tuple(letters))] if letters else found


def _opens(letters: list[Letter]) -> bool:
    """Whether a quote here opens: at the start, or after a sign; after a figure it is the sign for inches."""
    return not letters or (not letters[-1][1] and letters[-1][0] in "=<>,.-…!")


def _quoted(text: str, start: int) -> tuple[str, int]:
    """What stands in the quotes that open here, and where it goes on after them; a doubled quote stands for one."""
    quote, inside, place = _QUOTES[text[start]], "", start + 1
    while place < len(text):
        if text[place] != quote:
            inside += text[place]
        elif text[place + 1 : place + 2] == quote:
            inside, place = inside + quote, place + 1
        else:
            return inside, place + 1
        place += 1
    raise InvalidInputError(f"A filter must close every quote; {text[start : start + 40]!r} stays open. Add a {quote}.")


# --- from words to conditions -----------------------------------------------------------------------------------------


class _Reader:
    """Reads tokens from left to right."""

    def __init__(self, tokens: list[_Token], groups: tuple[str, ...], unit: str) -> None:
        self.tokens = tokens
        self.groups = groups
        self.unit = unit
        self.place = 0

    def clauses(self) -> list[tuple[Term, ...]]:
        found: list[tuple[Term, ...]] = []
        either = False
        while self.place < len(self.tokens):
            word = self.tokens[self.place].word
            if self._says("or") or (word == "and" and self._skip()) or (not word and self._blank()):
                either = either or word == "or"
                continue
            term = self._term()
            if either and found:
                found[-1] = (*found[-1], term)
            else:
                found.append((term,))
            either = False
        return found

    def _blank(self) -> bool:
        """Whether a token holds commas alone: it is passed over."""
        token = self.tokens[self.place]
        return not token.in_quotes and not token.word and self._skip()

    def _skip(self) -> bool:
        self.place += 1
        return True

    def _says(self, *words: str) -> bool:
        """Whether these words stand here; if so they are passed over."""
        here = [token.word for token in self.tokens[self.place : self.place + len(words)]]
        if here != list(words):
            return False
        self.place += len(words)
        return True

    def _term(self) -> Term:
        negated = False
        while self.place + 1 < len(self.tokens) and (self._says("not", "yet") or self._says("not")):
            negated = not negated
        if self.place == len(self.tokens):
            self.place -= 1
        token = self.tokens[self.place]
        if token.plain.startswith(("-", "!")) and len(token.text) > 1 and token.plain[1] not in "=":
            self.tokens[self.place] = token.part(1)
            negated = not negated
        term = self._phrase() or self._condition()
        return Term(term.field, term.tests, term.negated != negated)

    # --- phrases ---

    def _phrase(self) -> Term | None:
        """A condition said in words of English."""
        for sign, words in ((">=", ("at", "least")), ("<=", ("at", "most"))):
            if self.place + 2 < len(self.tokens) and self._says(*words):
                return self._compared(_BY_NAME["side"], sign, self._pop())
        for state in STATES:
            if self._says(*state.split()):
                return Term(_BY_NAME["state"], (Words((state,)),))
        return self._on_ground() or self._word()

    def _on_ground(self) -> Term | None:
        """`on red ground`."""
        words = [token.word for token in self.tokens[self.place : self.place + 6]]
        if words[:1] != ["on"] or "ground" not in words[2:]:
            return None
        end = self.place + words.index("ground", 2)
        name = " ".join(token.text for token in self.tokens[self.place + 1 : end])
        self.place = end + 1
        return Term(_BY_NAME["ground"], (Words((name,)),))

    def _word(self) -> Term | None:
        word = self.tokens[self.place].word
        group = self._group(word) or self._two_word_group()
        if group is not None:
            self.place += len(group.split())
            return Term(_BY_NAME["group"], (Words((group,)),))
        if word == "unused":
            self.place += 1
            return Term(_BY_NAME["state"], (Words(("used",)),), True)
        if word in ("wet", "cured"):
            self.place += 1
            return Term(_BY_NAME["surface"], (Words((word,)),))
        if word == "flagged":
            self.place += 1
            return Term(_BY_NAME["flag"], (Words(("",)),), True)
        return None

    def _group(self, word: str) -> str | None:
        """The group a word means; several may be meant, as in `mediums`."""
        by_name = {name.casefold(): name for name in self.groups}
        return by_name.get(word) or by_name.get(word.removesuffix("s"))

    def _two_word_group(self) -> str | None:
        both = " ".join(token.word for token in self.tokens[self.place : self.place + 2])
        return self._group(both) if " " in both.strip() else None

    # --- field, sign and value ---

    def _condition(self) -> Term:
        token = self._pop()
        if self._next_is_sign() and not token.in_quotes and _NEXT_SIGN.search(token.plain) is None:
            token = token + self._pop()  # `side >= 3in`, `side >=3in`
        found = _OPERATOR.match(token.plain)
        if found is None:
            return Term(_BY_NAME["text"], (Words((token.text,)),))
        if not found["field"] or _QUOTED in found["field"]:
            raise InvalidInputError(
                f"A filter must name what is to be compared; got {token.text[:60]!r}. Write for example "
                "lightness>=40, or put it in quotes to look for the text."
            )
        field = self._field(found["field"])
        value = token.part(found.end())
        if not value.letters and self.place < len(self.tokens):
            value = self._pop()
        return self._compared(field, found["sign"], value)

    def _next_is_sign(self) -> bool:
        return self.place < len(self.tokens) and _NEXT_SIGN.match(self.tokens[self.place].plain) is not None

    def _pop(self) -> _Token:
        self.place += 1
        return self.tokens[self.place - 1]

    def _field(self, name: str) -> Field:
        word = name.casefold()
        field = _BY_NAME.get(_ALSO.get(word, word))
        if field is None:
            raise InvalidInputError(f"A filter cannot ask for {name[:60]!r}; {_nearest(word, [*_BY_NAME, *_ALSO])}.")
        return field

    def _compared(self, field: Field, sign: str, value: _Token) -> Term:
        if field.kind in ("number", "length", "angle", "date"):
            return self._measured(field, sign, value)
        if sign not in ("=", "!="):
            raise InvalidInputError(
                f"Only numbers and dates can be more or less; {field.name} is a text. Write {field.name}=... for it."
            )
        parts = [part.text for part in _parted(value)]
        if field.kind == "choice":
            parts = [self._choice(field, part) for part in parts]
        return Term(field, (Words(tuple(parts)),), sign == "!=")

    def _choice(self, field: Field, word: str) -> str:
        choices = self.groups if field.name == "group" else field.choices
        plain = " ".join(word.split()).casefold()
        by_name = {choice.casefold(): choice for choice in choices}
        found = by_name.get(plain) or by_name.get(plain.removesuffix("s"))
        if found is None:
            raise InvalidInputError(
                f"{field.name} must be one of {', '.join(choices)}; got {word[:60]!r}: {_nearest(plain, choices)}."
            )
        return found

    def _measured(self, field: Field, sign: str, value: _Token) -> Term:
        if field.kind == "length":
            value = self._whole_length(value)
        parts = _parted(value)
        if len(parts) > 1 and sign not in ("=", "!="):
            raise InvalidInputError(f"More or less than one value can be asked for; got {value.text[:60]!r}.")
        tests = tuple(self._test(field, sign, part.text.strip()) for part in parts)
        return Term(field, tests, sign == "!=")

    def _whole_length(self, value: _Token) -> _Token:
        """The value with the fraction and the unit that stand after it: `side>=3 1/2 in`."""
        if value.in_quotes:
            return value
        for follows in (_FRACTION, _UNITS):
            if self.place < len(self.tokens) and not value.text.endswith(",") and follows.fullmatch(self._here()):
                value = value + _Token(((" ", False),)) + self._pop()
        return value

    def _here(self) -> str:
        token = self.tokens[self.place]
        return "" if token.in_quotes else token.text

    def _test(self, field: Field, sign: str, text: str) -> Test:
        if text.casefold() == _UNKNOWN or not text:
            if sign not in ("=", "!="):
                raise InvalidInputError(f"{field.name} must be compared with a value; got {text!r}. Add one.")
            return Missing()
        ends = _RANGE.split(text)
        if len(ends) > 2 or (len(ends) == 2 and sign not in ("=", "!=")):
            raise InvalidInputError(
                f"A range has two ends, as in {field.name}={'2025-01..2025-03' if field.kind == 'date' else '40..70'}; "
                f"got {text[:60]!r}."
            )
        if len(ends) == 2:
            return self._range(field, ends[0].strip(), ends[1].strip(), text)
        return self._compare(field, sign, text)

    def _range(self, field: Field, low: str, high: str, text: str) -> Test:
        if not low and not high:
            raise InvalidInputError(f"A range must have an end; got {text!r}. Write for example {field.name}=40..70.")
        if field.kind == "date":
            span = Span(_days(field, low)[0] if low else None, _days(field, high)[1] if high else None, True, False)
        else:
            unit = _unit_of(high) if field.kind == "length" and low and not _unit_of(low) else ""
            ends = [self._number(field, end) if end else None for end in (f"{low} {unit}".strip(), high)]
            slack = _ROUNDING if field.kind == "length" else 0.0
            span = Span(None if ends[0] is None else ends[0] - slack, None if ends[1] is None else ends[1] + slack)
        if field.kind != "angle" and span.low is not None and span.high is not None and span.low > span.high:  # type: ignore[operator]
            raise InvalidInputError(f"A range must run from less to more; got {text!r}. Write {high}..{low}.")
        return span

    def _compare(self, field: Field, sign: str, text: str) -> Test:
        if field.kind == "date":
            start, end = _days(field, text)
            return {
                "=": Span(start, end, True, False), "!=": Span(start, end, True, False),
                ">=": Span(start, None), ">": Span(end, None),
                "<=": Span(None, end, True, False), "<": Span(None, start, True, False),
            }[sign]  # fmt: skip
        number = self._number(field, text)
        half = _half_step(field, text)
        slack = _ROUNDING if field.kind == "length" else 0.0
        return {
            "=": Span(number - half, number + half), "!=": Span(number - half, number + half),
            ">=": Span(number - slack, None), ">": Span(number + slack, None, False),
            "<=": Span(None, number + slack), "<": Span(None, number - slack, True, False),
        }[sign]  # fmt: skip

    def _number(self, field: Field, text: str) -> float:
        if field.kind == "length":
            return float(parse_length(text, unit=self.unit, name=f"The {field.name}"))
        if _NUMBER.fullmatch(text) is None:
            raise InvalidInputError(
                f"{field.name} must be compared with a number, as in {field.name}>=40; got {text[:60]!r}."
            )
        number = Fraction(text.rstrip("% "))
        return float(number / 100 if text.endswith("%") else number)


_HALF_MM = 0.5  # a side is asked for to the millimetre [design choice]
_ROUNDING = 1e-6  # mm: 3 in in a table of decimals


def _half_step(field: Field, text: str) -> float:
    """Half of the last figure written, as 50 is meant for all that rounds to 50."""
    if field.kind == "length":
        return _HALF_MM
    decimals = len(text.rstrip("% ").partition(".")[2])
    return float(Fraction(1, 2 * 10 ** (decimals + (2 if text.endswith("%") else 0))))


def _parted(value: _Token) -> list[_Token]:
    """The values between commas that are not in quotes; a comma at the end parts nothing."""
    plain = value.plain.rstrip(",;")
    value = value.part(0, len(plain))
    parts, start = [], 0
    for place, letter in enumerate(value.plain):
        if letter == ",":
            parts.append(value.part(start, place))
            start = place + 1
    return [*parts, value.part(start)]


def _unit_of(text: str) -> str:
    return text.lstrip("0123456789./ -¼½¾⅐⅑⅒⅓⅔⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞").strip()


def _days(field: Field, text: str) -> tuple[str, str]:
    """The first day of a year, month or day as text, and the day after the last."""
    if text.casefold() == "today":
        text = datetime.now(UTC).date().isoformat()
    found = _DATE.fullmatch(text)
    try:
        if found is None:
            raise ValueError
        year, month, day = (int(part) if part else None for part in found.groups())
        assert year is not None
        start = date(year, month or 1, day or 1)
        if day:
            return start.isoformat(), (start + timedelta(days=1)).isoformat()
        months = year * 12 + (month or 12)  # the one after
        return start.isoformat(), date(months // 12, months % 12 + 1, 1).isoformat()
    except (ValueError, OverflowError):
        raise InvalidInputError(
            f"{field.name} must be a year, month or day such as 2025, 2025-03 or 2025-03-09; got {text[:60]!r}."
        ) from None


def _nearest(word: str, known: Sequence[str]) -> str:
    """The known word that a wrong one may have been meant for, in words."""
    close = get_close_matches(word.casefold(), known, n=1, cutoff=0.5)
    if close:
        return f"the nearest it can ask for is {_ALSO.get(close[0], close[0])!r}"
    return f"it can ask for {', '.join(known if len(known) < 9 else _BY_NAME)}"
