"""What the Explore panel is about: the palette by lightness, hue and vividness. No widgets here."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from contrastkit.compose.colour_pairs import ColourPair, alike_in_hue, alike_in_value
from contrastkit.compose.hues import hue_names
from contrastkit.compose.seams import verdict_word
from contrastkit.errors import InvalidInputError
from contrastkit.show.look import surround_lightness

if TYPE_CHECKING:
    from contrastkit.keep.projects import Project
    from contrastkit.panels.session import Session

LISTS = (
    ("alike in value, not in colour", "value"), ("alike in hue, not in value", "hue"),
    ("vivid: look lighter than they are", "vivid"),
)  # fmt: skip
LEAST_SHIFT = 5.0
"""L* by which a vivid piece must look lighter than it measures to be listed: half a Munsell step."""
_MOST = 8


@dataclass(frozen=True)
class Exploring:
    """
    How the palette is looked at.

    Attributes
    ----------
    listed : which list is in view: "value", "hue" or "vivid"
    within : L* up to which two values are called alike
    surround : what the pieces lie on
    """

    listed: str = "value"
    within: float = 5.0
    surround: str = "middle"

    def to_plain(self) -> dict[str, Any]:
        """Return what a project keeps of it: nothing."""
        return {}

    @classmethod
    def from_plain(cls, data: Mapping[str, Any], session: Session, project: Project) -> Exploring:
        """Return it as it is: a project keeps nothing of it."""
        return session.exploring


@dataclass(frozen=True)
class Found:
    """
    One line of a list.

    Attributes
    ----------
    names : the pieces it is about, darker first
    sentence : what there is to say of them
    """

    names: tuple[str, ...]
    sentence: str


def with_list(exploring: Exploring, listed: str) -> Exploring:
    """
    Return exploring with another list in view.

    Raises
    ------
    InvalidInputError
        There is no such list.
    """
    known = [each for _, each in LISTS]
    if listed not in known:
        raise InvalidInputError(f"A list must be one of {', '.join(known)}; got {listed!r}. Pick one of these.")
    return replace(exploring, listed=listed)


def with_within(exploring: Exploring, within: float) -> Exploring:
    """
    Return exploring with another step up to which values are called alike.

    Raises
    ------
    InvalidInputError
        It is not from 1 to 20 L*.
    """
    if not 1 <= within <= 20:
        raise InvalidInputError(f"Values are called alike within 1 to 20 L*; got {within}. Half a value step is 5.")
    return replace(exploring, within=float(within))


def with_surround(exploring: Exploring, surround: str) -> Exploring:
    """
    Return exploring with the pieces on another surround.

    Raises
    ------
    InvalidInputError
        There is no such surround.
    """
    surround_lightness(surround)  # refuses any other
    return replace(exploring, surround=surround)


def found(session: Session) -> tuple[Found, ...]:
    """Return the list in view, the most striking first."""
    table, listed = session.table, session.exploring.listed
    if listed == "vivid":
        return _vivid(session)
    words = dict(zip(table["swatch_id"].astype(str), hue_names(table), strict=True))
    if listed == "hue":
        pairs, told = alike_in_hue(table, most=_MOST), _hue_sentence
    else:
        pairs, told = alike_in_value(table, within=session.exploring.within, most=_MOST), _value_sentence
    return tuple(Found((pair.darker, pair.lighter), told(session, pair, words)) for pair in pairs)


def _value_sentence(session: Session, pair: ColourPair, words: Mapping[str, str]) -> str:
    colours = " and ".join(filter(None, (words[pair.darker], words[pair.lighter])))
    return f"{pair.darker} and {pair.lighter}: {colours}, yet {_how(session, pair, 'alike in value')}"


def _hue_sentence(session: Session, pair: ColourPair, words: Mapping[str, str]) -> str:
    dark, light = words[pair.darker], words[pair.lighter]
    hues = f"both {dark}" if dark == light else f"{dark} and {light}, close in hue"
    return f"{pair.darker} and {pair.lighter}: {hues}, yet {_how(session, pair, 'far apart in value')}"


def _how(session: Session, pair: ColourPair, what: str) -> str:
    # what is sure holds nineteen times in twenty for the uncertainty of both pieces; where that is unknown, nothing is
    measured = all(math.isfinite(session.piece(name).sigma) for name in (pair.darker, pair.lighter))
    sure = "surely" if pair.sure and measured else "perhaps"
    sigma = str(max(1, round(pair.sigma))) if measured else "?"
    seam = verdict_word(pair.step)
    return f"{sure} {what}: {pair.step:.0f} L* apart (± {sigma}). A seam between them is {seam}."


def _vivid(session: Session) -> tuple[Found, ...]:
    shifts = [(piece.apparent[0] - piece.lightness, piece) for piece in session.pieces
              if piece.known and math.isfinite(piece.apparent[0])]
    strong = sorted((each for each in shifts if each[0] >= LEAST_SHIFT), key=lambda each: (-each[0], each[1].swatch_id))
    return tuple(
        Found((piece.swatch_id,),
              f"{piece.swatch_id}: measures L* {piece.lightness:.0f}, looks like {piece.apparent[0]:.0f} to "
              f"{piece.apparent[1]:.0f}. Beside a dull piece of its own value it seems the lighter.")
        for _, piece in strong[:_MOST]
    )


def state_sentence(session: Session) -> str:
    """
    Return in a sentence how the palette lies.

    >>> from contrastkit.panels.session import empty_session
    >>> state_sentence(empty_session())
    'The pile is empty: photograph some pieces.'
    """
    known = [piece for piece in session.pieces if piece.known]
    if not known:
        return "The pile is empty: photograph some pieces."
    hues = sorted({name for name in hue_names(session.table) if name and name != "grey"})
    spread = f"from L* {known[0].lightness:.0f} to {known[-1].lightness:.0f}"
    count = f"{len(known)} {'piece' if len(known) == 1 else 'pieces'}"
    return f"{count} {spread}" + (f", in {len(hues)} hues: {', '.join(hues)}." if hues else ".")


def points(session: Session) -> list[tuple[str, float, float, float]]:
    """Return name, lightness, hue angle and chroma of every piece whose colour is known, dark to light."""
    table = session.table
    if "chroma" not in table or "hue_angle" not in table:
        return []
    rows = zip(table["swatch_id"].astype(str), table["lightness"], table["hue_angle"], table["chroma"], strict=True)
    known = [(name, float(lightness), float(hue) % 360, float(chroma)) for name, lightness, hue, chroma in rows
             if math.isfinite(lightness) and math.isfinite(hue) and math.isfinite(chroma)]
    return sorted(known, key=lambda each: (each[1], each[0]))
