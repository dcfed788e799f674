"""A row of the swatch table as the pictures need it: sorted, with its words ready."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from contrastkit.columns import FLAGS, GROUP_NAMES, SWATCHES, check_table
from contrastkit.compose.groups import sort_into_groups
from contrastkit.light.lightness import lightness_to_munsell_value

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.compose.groups import Breaks

Point = tuple[float, float]
HALF_STEP = 5.0  # half a step of Munsell value, in L*


@dataclass(frozen=True)
class Piece:
    """One swatch; lightness, sigma and apparent lightness are L*, nan where unknown."""

    swatch_id: str
    photo: str
    lightness: float
    sigma: float
    value: float
    group: str
    borderline: bool
    flags: tuple[str, ...]
    apparent: tuple[float, float]
    reference: str
    outline: tuple[Point, ...]

    @property
    def known(self) -> bool:
        """Whether the lightness was measured at all."""
        return math.isfinite(self.lightness)

    @property
    def lightness_words(self) -> str:
        """The lightness as people read it, e.g. 49 ± 1; the uncertainty is never rounded to nought."""
        if not self.known:
            return "unknown"
        return f"{self.lightness:.0f}" + (f" ± {max(1, round(self.sigma))}" if math.isfinite(self.sigma) else " ± ?")

    @property
    def value_words(self) -> str:
        """The Munsell value to one decimal."""
        return f"{self.value:.1f}" if math.isfinite(self.value) else "–"


def pieces_dark_to_light(table: pd.DataFrame) -> list[Piece]:
    """
    Return the swatches of the table from dark to light; those of unknown lightness come last.

    Raises
    ------
    InvalidInputError
        The table is not a swatch table.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [70.2, 31.0], "lightness_sigma": [0.3, 2.4]})
    >>> [(piece.swatch_id, piece.lightness_words) for piece in pieces_dark_to_light(table)]
    [('b', '31 ± 2'), ('a', '70 ± 1')]
    """
    rows = check_table(table, SWATCHES).to_dict("records")
    pieces = [_as_piece(row) for row in rows]
    return sorted(pieces, key=lambda piece: (not piece.known, piece.lightness if piece.known else 0, piece.swatch_id))


def _as_piece(row: dict[Any, Any]) -> Piece:
    lightness = _number(row, "lightness")
    value = _number(row, "munsell_value")
    if math.isnan(value) and math.isfinite(lightness):
        value = float(lightness_to_munsell_value(lightness))
    return Piece(
        swatch_id=str(row["swatch_id"]),
        photo=str(row.get("photo", "")),
        lightness=lightness,
        sigma=_number(row, "lightness_sigma"),
        value=value,
        group=str(row.get("group", "")),
        borderline=bool(row.get("borderline", False)),
        flags=tuple(flag.strip() for flag in str(row.get("flags", "")).split(";") if flag.strip()),
        apparent=(_number(row, "lightness_apparent_low"), _number(row, "lightness_apparent_high")),
        reference=str(row.get("reference", "")),
        outline=parse_outline(str(row.get("outline", ""))),
    )


def _number(row: dict[Any, Any], name: str) -> float:
    return float(row.get(name, math.nan))


def parse_outline(text: str) -> tuple[Point, ...]:
    """
    Return the (row, column) corners written as JSON; none where the text holds no outline.

    A picture can be drawn without an outline, so a spoilt one is not worth stopping for.

    Examples
    --------
    >>> parse_outline("[[0, 0], [0, 9], [9, 9]]")
    ((0.0, 0.0), (0.0, 9.0), (9.0, 9.0))
    """
    try:
        corners = tuple((float(row), float(col)) for row, col in json.loads(text))
    except (ValueError, TypeError):
        return ()
    return corners if len(corners) >= 3 and all(math.isfinite(n) for corner in corners for n in corner) else ()


def with_groups(table: pd.DataFrame, breaks: Breaks) -> pd.DataFrame:
    """
    Return the table with its groups; sorted into those of the breaks, if it has none yet.

    >>> import pandas as pd
    >>> from contrastkit.compose.groups import fixed_breaks
    >>> with_groups(pd.DataFrame({"swatch_id": ["a"], "lightness": [31.0]}), fixed_breaks())["group"].tolist()
    ['dark']
    """
    has_groups = "group" in table and table["group"].notna().any() and (table["group"].astype("str") != "").any()
    return table if has_groups else sort_into_groups(table, breaks)


def group_names(pieces: Sequence[Piece], breaks: Breaks | None = None) -> tuple[str, ...]:
    """
    Return the groups from dark to light: those of the breaks, else our three, else as the pieces name them.

    >>> group_names([])
    ('dark', 'medium', 'light')
    """
    if breaks is not None:
        return tuple(breaks.names)
    named = tuple(dict.fromkeys(piece.group for piece in pieces if piece.group))
    return GROUP_NAMES if set(named) <= set(GROUP_NAMES) else named


def group_edges(pieces: Sequence[Piece], names: Sequence[str], breaks: Breaks | None = None) -> tuple[float, ...]:
    """Return the L* between each two neighbouring groups: the breaks' own, else half-way between their pieces."""
    if breaks is not None:
        return tuple(float(edge) for edge in breaks.edges)
    return tuple(_half_way(pieces, darker, lighter) for darker, lighter in zip(names, names[1:], strict=False))


def _half_way(pieces: Sequence[Piece], darker: str, lighter: str) -> float:
    below = [piece.lightness for piece in pieces if piece.known and piece.group == darker]
    above = [piece.lightness for piece in pieces if piece.known and piece.group == lighter]
    return (max(below) + min(above)) / 2 if below and above else math.nan


def rival_of(piece: Piece, names: Sequence[str], edges: Sequence[float]) -> str | None:
    """
    Return the other group a borderline piece may belong to, the one behind the nearest edge; None for a sure piece.

    With nothing to say where the edges lie, the neighbour towards the middle of the order.
    """
    if not piece.borderline or piece.group not in names or len(names) < 2:
        return None
    place = names.index(piece.group)
    beside = [(place - 1, place - 1), (place + 1, place)]  # (the neighbour, the edge between)
    reachable = [(other, edge) for other, edge in beside if 0 <= other < len(names)]
    known = [(other, edge) for other, edge in reachable if edge < len(edges) and math.isfinite(edges[edge])]
    if known and piece.known:
        return names[min(known, key=lambda pair: abs(edges[pair[1]] - piece.lightness))[0]]
    return names[min(reachable, key=lambda pair: abs(pair[0] - (len(names) - 1) / 2))[0]]


def borderline_words(piece: Piece, rival: str | None, names: Sequence[str]) -> str:
    """Return e.g. "borderline medium/light", darker group first; nothing for a sure piece."""
    if not piece.borderline:
        return ""
    if rival is None:
        return "borderline"
    return "borderline " + "/".join(sorted((piece.group, rival), key=list(names).index))


def vivid_words(piece: Piece) -> str:
    """Return how light the piece looks for its vividness, where that is half a value step or more above its L*."""
    low, high = piece.apparent
    shift = max(abs(low - piece.lightness), abs(high - piece.lightness))
    return f"looks {low:.0f}–{high:.0f}" if shift >= HALF_STEP and math.isfinite(low + high) else ""


def remedy_for(flag: str) -> tuple[str, str]:
    """
    Return what a flag means and what to do about it; nothing for a word that is not ours.

    >>> remedy_for("clipped")[1]
    'Photograph again with less exposure.'
    """
    return next(((known.meaning, known.remedy) for known in FLAGS if known.name == flag), ("", ""))
