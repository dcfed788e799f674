"""
Pieces laid on one another: which stacks lie on the table, how they are looked at, and how they are judged. No widgets.

What the hand does is a function from a session to another session, or a sentence that says why it cannot be. What is
worked out of a pile only once (squares, textures, colours by lamplight) is on a `Bench`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from contrastkit.compose.seams import BACKGROUND, Surface, surfaces
from contrastkit.compose.stacks import GOAL, Stack, StackScore, default_sides, judge_stack
from contrastkit.errors import ContrastkitError, InvalidInputError
from contrastkit.lengths import parse_length
from contrastkit.light.lightness import SRGB, lab_to_chroma_hue, xyz_to_lab
from contrastkit.light.vision import EYES, eyes_matrix, lab_through, lamp_matrix, through
from contrastkit.show.crops import Crops
from contrastkit.show.glance import Squares
from contrastkit.show.look import SURROUNDS, surround_lightness

if TYPE_CHECKING:
    import pandas as pd

    from contrastkit.keep.projects import Project
    from contrastkit.panels.session import Session

Array = NDArray[np.float64]
Layers = tuple[str, ...]

VIEWS = ("colour", "grey", "values", "lamp", *EYES)  # in which stacks are looked at here
MOST_STACKS, MOST_LAYERS = 4, 8
NEAREST, FURTHEST = 500.0, 8000.0  # mm
RIM = 25.4 / 16  # mm: common practice
WIDEST_RIM = 25.4  # mm
NONE = -1  # no layer is chosen

_TRIED = 12  # so many pieces are tried in each layer at least, where something better is asked for
_PLAUSIBLE = GOAL - 8.0  # L*; pieces that stand clear of their neighbours by this may be enough by what shows of them


@dataclass(frozen=True)
class Laying:
    """
    What the Stack panel is about.

    Attributes
    ----------
    stacks : stacks side by side, each the names of its pieces, bottom first; one of them may be empty yet
    at : which stack is at hand
    layer : the layer of it that was chosen, 0 the bottom; NONE for none
    view : how they are looked at, one of VIEWS
    distance_mm : from where
    surround : what a stack without a background lies on, one of the surrounds
    background : L* of what they will be fused to, or None
    rim_mm : width of the bare rim of every layer
    rim_lightness : L* of the rims, where they are to be another than they are
    sides : cut sides of the layers as they were asked for, mm, bottom first; one alone is the bottom's
    better : whether it is asked what would be better
    """

    stacks: tuple[Layers, ...] = ((),)
    at: int = 0
    layer: int = NONE
    view: str = "colour"
    distance_mm: float = NEAREST
    surround: str = "middle"
    background: float | None = None
    rim_mm: float = RIM
    rim_lightness: float | None = None
    sides: tuple[float, ...] = ()
    better: bool = False

    @property
    def hand(self) -> Layers:
        """The stack at hand."""
        return self.stacks[self.at]

    @property
    def around(self) -> float:
        """L* of what the stacks lie on."""
        return surround_lightness(self.surround) if self.background is None else self.background

    def to_plain(self) -> dict[str, Any]:
        """Return what a project keeps of it, as plain values for JSON."""
        return {
            "stacks": [list(layers) for layers in self.stacks], "at": self.at, "view": self.view,
            "distance_mm": self.distance_mm, "surround": self.surround, "background": self.background,
            "rim_mm": self.rim_mm, "rim_lightness": self.rim_lightness, "sides": list(self.sides),
        }  # fmt: skip

    @classmethod
    def from_plain(cls, data: dict[str, Any], session: Session, project: Project) -> Laying:
        """
        Return it as a project kept it; `data` is empty where nothing was kept. Never raises on strange data.

        A project that kept nothing of this, but has stacks, has the first of them on the table. Pieces that are no
        longer in the pile are lifted.
        """
        kept = data if isinstance(data, dict) else {}
        known = {str(name) for name in session.table["swatch_id"]}
        listed = kept.get("stacks") if "stacks" in kept else [list(stack) for stack in project.stacks]
        stacks = _stacks_in(listed, known)
        at = kept.get("at")
        return cls(
            stacks=stacks,
            at=at if isinstance(at, int) and 0 <= at < len(stacks) else 0,
            view=_one_of(kept.get("view"), VIEWS, "colour"),
            distance_mm=_number_in(kept.get("distance_mm"), NEAREST, FURTHEST, NEAREST) or NEAREST,
            surround=_one_of(kept.get("surround"), tuple(SURROUNDS), "middle"),
            background=_number_in(kept.get("background"), 0, 100, None),
            rim_mm=RIM if (rim := _number_in(kept.get("rim_mm"), 0, WIDEST_RIM, RIM)) is None else rim,
            rim_lightness=_number_in(kept.get("rim_lightness"), 0, 100, None),
            sides=_sides_in(kept.get("sides")),
        )


# --- what was kept ----------------------------------------------------------------------------------------------------


def _stacks_in(listed: Any, known: set[str]) -> tuple[Layers, ...]:
    stacks = []
    for layers in listed if isinstance(listed, list) else []:
        names = dict.fromkeys(name for name in (layers if isinstance(layers, list) else []) if isinstance(name, str))
        stacks.append(tuple(name for name in names if name in known)[:MOST_LAYERS])
    filled = [layers for layers in stacks if layers][:MOST_STACKS]
    return tuple(filled) or ((),)


def _one_of(value: Any, known: Sequence[str], usual: str) -> str:
    return value if isinstance(value, str) and value in known else usual


def _number_in(value: Any, low: float, high: float, usual: float | None) -> float | None:
    good = isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high
    return float(value) if good else usual


def _sides_in(value: Any) -> tuple[float, ...]:
    sides = [_number_in(side, 1, 2000, None) for side in value] if isinstance(value, list) else []
    known = tuple(side for side in sides if side is not None)
    falling = all(low < high for high, low in zip(known, known[1:], strict=False))
    return known if len(known) == len(sides) and falling else ()


# --- what the hand does -----------------------------------------------------------------------------------------------


def cleared(session: Session) -> Session:
    """Return the session without layers whose pieces are no longer in the pile: used elsewhere, lost or renamed."""
    laying = session.laying
    stacks = tuple(tuple(name for name in layers if name in session.by_name) for layers in laying.stacks)
    if stacks == laying.stacks:
        return session
    return replace(session, laying=replace(laying, stacks=stacks, layer=NONE))


def laid(session: Session, name: str) -> Session:
    """
    Return the session with a piece laid: on top of the stack at hand or, where a layer is chosen, in its stead.

    A piece that lies in that stack already is lifted, or changes places with the chosen one.

    Raises
    ------
    InvalidInputError
        There is no such piece, its lightness is unknown, or the stack is as high as it can be.
    """
    session = cleared(session)
    laying = session.laying
    _check_layable(session, name)
    if laying.layer != NONE:
        return swapped(session, laying.layer, name)
    if name in laying.hand:
        return lifted(session, laying.hand.index(name))
    if len(laying.hand) >= MOST_LAYERS:
        raise InvalidInputError(
            f"A stack must have {MOST_LAYERS} layers at most; this one has. Lift one, or choose one to swap."
        )
    return _with_hand(session, (*laying.hand, name))


def swapped(session: Session, layer: int, name: str) -> Session:
    """
    Return the session with another piece in a layer of the stack at hand; if it lies there, the two change places.

    Raises
    ------
    InvalidInputError
        There is no such piece or layer, or the lightness of the piece is unknown.
    """
    session = cleared(session)
    _check_layable(session, name)
    hand = list(session.laying.hand)
    _check_layer(hand, layer)
    if name in hand:
        hand[hand.index(name)] = hand[layer]
    hand[layer] = name
    return _with_hand(session, tuple(hand))


def lifted(session: Session, layer: int) -> Session:
    """Return the session with a layer of the stack at hand lifted out, or raise InvalidInputError if there is none."""
    session = cleared(session)
    hand = session.laying.hand
    _check_layer(hand, layer)
    return _with_hand(session, (*hand[:layer], *hand[layer + 1 :]))


def moved(session: Session, layer: int, by: int) -> Session:
    """
    Return the session with a layer of the stack at hand further up (by 1) or down (by -1); it stays chosen.

    Raises
    ------
    InvalidInputError
        There is no such layer, or none above or below it.
    """
    session = cleared(session)
    hand = list(session.laying.hand)
    _check_layer(hand, layer)
    goal = layer + by
    if not 0 <= goal < len(hand):
        raise InvalidInputError(f"There must be a layer to change places with; {hand[layer]!r} is the last that way.")
    hand[layer], hand[goal] = hand[goal], hand[layer]
    chosen = session.laying.layer
    session = _with_hand(session, tuple(hand))
    return choosing(session, goal) if chosen == layer else session


def choosing(session: Session, layer: int) -> Session:
    """Return the session with a layer of the stack at hand chosen, to be swapped by the next tap; NONE for none."""
    session = cleared(session)
    if layer != NONE:
        _check_layer(session.laying.hand, layer)
    return replace(session, laying=replace(session.laying, layer=layer))


def at_stack(session: Session, number: int) -> Session:
    """Return the session with another stack at hand, or raise InvalidInputError if there is none of that number."""
    _check_stack(session.laying, number)
    chosen = session.laying.layer if number == session.laying.at else NONE
    return replace(session, laying=replace(session.laying, at=number, layer=chosen))


def another(session: Session, *, copy: bool = False) -> Session:
    """
    Return the session with a further stack beside the others, at hand: an empty one, or a copy of the one at hand.

    Raises
    ------
    InvalidInputError
        There are as many as fit side by side.
    """
    laying = session.laying
    if len(laying.stacks) >= MOST_STACKS:
        raise InvalidInputError(f"There is room for {MOST_STACKS} stacks side by side. Take one away first.")
    stacks = (*laying.stacks, laying.hand if copy else ())
    return replace(session, laying=replace(laying, stacks=stacks, at=len(stacks) - 1, layer=NONE))


def without(session: Session, number: int) -> Session:
    """Return the session with a stack taken away, or raise InvalidInputError if there is none of that number."""
    laying = session.laying
    _check_stack(laying, number)
    stacks = (*laying.stacks[:number], *laying.stacks[number + 1 :]) or ((),)
    at = min(laying.at - (number < laying.at), len(stacks) - 1)
    return replace(session, laying=replace(laying, stacks=stacks, at=at, layer=NONE))


def with_picked(session: Session) -> Session:
    """
    Return the session with the pieces that are picked laid as the stack at hand, in the order they were picked.

    Raises
    ------
    InvalidInputError
        None is picked, too many are, or the lightness of one is unknown.
    """
    names = session.picked
    if not 1 <= len(names) <= MOST_LAYERS:
        raise InvalidInputError(
            f"One to {MOST_LAYERS} pieces must be picked; got {len(names)}. Pick them in another panel."
        )
    for name in names:
        _check_layable(session, name)
    return _with_hand(session, names)


def looking(session: Session, **changes: Any) -> Session:
    """
    Return the session with stacks looked at another way: view, distance_mm, surround, background, rim_mm,
    rim_lightness or better, by their names in `Laying`.

    Raises
    ------
    InvalidInputError
        A view or surround that there is not, or a number out of its range.
    """
    laying = replace(session.laying, **changes)
    if laying.view not in VIEWS:
        raise InvalidInputError(f"A view must be one of {', '.join(VIEWS)}; got {laying.view!r}. Pick one of these.")
    surround_lightness(laying.surround)
    _check_within("A distance in mm", laying.distance_mm, NEAREST, FURTHEST)
    _check_within("The rim in mm", laying.rim_mm, 0, WIDEST_RIM)
    for what, lightness in (("The background's L*", laying.background), ("The rims' L*", laying.rim_lightness)):
        if lightness is not None:
            _check_within(what, lightness, 0, 100)
    return replace(session, laying=laying)


def with_rim(session: Session, text: str) -> Session:
    """Return the session with rims of another width, in inches unless it says otherwise, or raise InvalidInputError."""
    return looking(session, rim_mm=float(parse_length(text or "0", unit="in", name="The rim")))


def with_sizes(session: Session, text: str) -> Session:
    """
    Return the session with other cut sides: "3 5/8, 2 5/8, 1 7/8", bottom first, in inches unless it says otherwise.

    One alone is the bottom layer's, and the others keep their proportions; nothing gives the usual sizes back.

    Raises
    ------
    InvalidInputError
        No lengths, or a layer that is not smaller than the one below.
    """
    parts = [part for part in text.replace(";", ",").split(",") if part.strip()]
    sides = tuple(float(parse_length(part, unit="in", zero=False, name="A cut side")) for part in parts)
    for below, above in zip(sides, sides[1:], strict=False):
        if above >= below:
            raise InvalidInputError(
                "Each layer must be smaller than the one below; "
                f"got {', '.join(part.strip() for part in parts)}. Give the cut sides bottom first."
            )
    return replace(session, laying=replace(session.laying, sides=sides))


def _with_hand(session: Session, hand: Layers) -> Session:
    laying = session.laying
    stacks = (*laying.stacks[: laying.at], hand, *laying.stacks[laying.at + 1 :])
    return replace(session, laying=replace(laying, stacks=stacks, layer=NONE))


def _check_layable(session: Session, name: str) -> None:
    if not session.piece(name).known:
        raise InvalidInputError(
            f"A layer must be of known lightness; that of {name!r} is not known. Photograph it again, or take another."
        )


def _check_layer(hand: Sequence[str], layer: int) -> None:
    if not 0 <= layer < len(hand):
        raise InvalidInputError(f"There must be such a layer; the stack at hand has {len(hand)}. Lay a piece first.")


def _check_stack(laying: Laying, number: int) -> None:
    if not 0 <= number < len(laying.stacks):
        raise InvalidInputError(f"There must be such a stack; there are {len(laying.stacks)}. Choose one of them.")


def _check_within(what: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise InvalidInputError(f"{what} must lie in {low:g}-{high:g}; got {value:g}. Choose one in between.")


# --- sizes ------------------------------------------------------------------------------------------------------------


def sides_of(laying: Laying, layers: Sequence[Surface]) -> tuple[float, ...]:
    """
    Return the cut sides of layers in mm, bottom first: as they were asked for, else the usual ones.

    The usual ones are made smaller where a piece is too small for its layer.

    Raises
    ------
    InvalidInputError
        A piece is too small for what was asked for, or for any rim.

    >>> [round(side, 1) for side in sides_of(Laying(), [Surface("a", 30), Surface("b", 60, side=50)])]
    [68.7, 50.0]
    """
    count, rim = len(layers), laying.rim_mm
    if not count:
        return ()
    asked = laying.sides[:count] if len(laying.sides) >= count else ()
    base = laying.sides[0] if laying.sides and not asked else None
    sides = asked or default_sides(count, base_mm=base, rim_mm=rim)
    if not laying.sides:
        sides = _fitting(sides, layers, rim)
    for layer, side in zip(layers, sides, strict=True):
        if layer.side < side - 1e-6 or side <= 2 * rim:
            raise InvalidInputError(
                f"Each layer must come out of its piece and be more than its rims; {layer.swatch_id!r} gives "
                f"{layer.side / 25.4:.3g} in, and {side / 25.4:.3g} in is asked. Make the sizes or the rim smaller."
            )
    return sides


def _fitting(sides: tuple[float, ...], layers: Sequence[Surface], rim: float) -> tuple[float, ...]:
    """Prints made smaller together until each layer comes out of its piece."""
    shares = [
        (layer.side - 2 * rim) / (side - 2 * rim) for layer, side in zip(layers, sides, strict=True)
        if layer.side < side and layer.side > 2 * rim
    ]  # fmt: skip
    share = min(shares, default=1.0)
    return tuple((side - 2 * rim) * share + 2 * rim for side in sides)


# --- what is worked out once ------------------------------------------------------------------------------------------


class Bench:
    """
    A pile made ready: its squares, and its surfaces and textures by any light and to any eyes.

    Parameters
    ----------
    table : swatch table of the pile
    crops : the pieces' pictures, by swatch_id
    """

    def __init__(self, table: pd.DataFrame, crops: Crops) -> None:
        self.table = table
        self.squares = Squares(crops)
        self._names = [str(name) for name in table["swatch_id"]]
        self._tables: dict[str, pd.DataFrame] = {}
        self._surfaces: dict[str, dict[str, Surface]] = {}
        self._textures: dict[str, _Textures] = {}

    def surfaces(self, view: str = "colour") -> Mapping[str, Surface]:
        """Return all pieces as surfaces, by the light and to the eyes of a view."""
        key = _light_of(view)
        if key not in self._surfaces:
            self._surfaces[key] = surfaces(self.table_in(view))
        return self._surfaces[key]

    def textures(self, view: str = "colour") -> Mapping[str, Array]:
        """Return the luminance of the pieces' squares, by the light and to the eyes of a view."""
        key = _light_of(view)
        if key not in self._textures:
            self._textures[key] = _Textures(self.squares, self._names, _matrix_of(view))
        return self._textures[key]

    def table_in(self, view: str) -> pd.DataFrame:
        """Return the swatch table by the light and to the eyes of a view; pieces of unknown colour stay as they are."""
        key, matrix = _light_of(view), _matrix_of(view)
        if matrix is None:
            return self.table
        if key not in self._tables:
            self._tables[key] = self._changed(matrix, vivid=view == "lamp")
        return self._tables[key]

    def _changed(self, matrix: Array, *, vivid: bool) -> pd.DataFrame:
        lab = self._lab()
        seen = lab_through(lab, matrix)
        shift = np.where(np.isnan(seen[:, 0]), 0.0, seen[:, 0] - lab[:, 0])
        chroma, hue = lab_to_chroma_hue(seen)
        changed: dict[str, Any] = {
            name: np.clip(self.table[name].to_numpy(float) + shift, 0, 100)
            for name in ("lightness", "lightness_low", "lightness_high") if name in self.table
        }  # fmt: skip
        # How light vivid colours look is known for usual eyes only.
        if "chroma" in self.table:
            changed |= {"chroma": chroma if vivid else np.nan, "hue_angle": hue if vivid else np.nan}
        return self.table.assign(**changed)

    def _lab(self) -> Array:
        """CIELAB of all pieces: as measured, else as their pictures have it, else unknown; shape (n, 3)."""
        lightness = self.table["lightness"].to_numpy(float)
        unknown = np.full(len(lightness), np.nan)
        chroma, hue = (
            self.table[name].to_numpy(float) if name in self.table else unknown for name in ("chroma", "hue_angle")
        )
        lab = np.stack([lightness, chroma * np.cos(np.radians(hue)), chroma * np.sin(np.radians(hue))], axis=-1)
        for place in np.flatnonzero(np.isnan(lab).any(axis=1)):
            if (name := self._names[place]) in self.squares and math.isfinite(lightness[place]):
                mean = self.squares.small(name).mean(axis=(0, 1), dtype=float)
                lab[place, 1:] = xyz_to_lab(np.array(SRGB.to_xyz) @ mean)[1:]
        return lab


class _Textures(Mapping[str, Array]):
    """Luminance of squares, each worked out when it is first asked for."""

    def __init__(self, squares: Squares, names: list[str], matrix: Array | None) -> None:
        self._squares, self._matrix = squares, matrix
        self._names = dict.fromkeys(name for name in names if name in squares)
        self._made: dict[str, Array] = {}

    def __getitem__(self, name: str) -> Array:
        if name not in self._names:
            raise KeyError(name)
        if name not in self._made:
            light = self._squares.small(name).astype(float)
            lit = light if self._matrix is None else through(light, self._matrix)
            self._made[name] = lit @ SRGB.luminance_weights
        return self._made[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


def _light_of(view: str) -> str:
    """Views that change lightness by their names, all others as one."""
    return view if view == "lamp" or view in EYES else "colour"


def _matrix_of(view: str) -> Array | None:
    if view == "lamp":
        return lamp_matrix()
    return eyes_matrix(view) if view in EYES else None


# --- judged -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Judged:
    """
    A stack on the table, judged as far as it can be.

    Attributes
    ----------
    names : its pieces, bottom first
    layers : the same as surfaces, by the light and to the eyes of the view
    sides : cut sides, mm
    score : None below two layers, or where there is a problem
    problem : why it cannot be judged, a sentence
    """

    names: Layers
    layers: tuple[Surface, ...] = ()
    sides: tuple[float, ...] = ()
    score: StackScore | None = None
    problem: str = ""


def measured(laying: Laying, names: Layers, bench: Bench) -> Judged:
    """
    Return what is drawn of a stack: its layers and their sides; what is wrong with these, but no score yet.

    Pieces that are no longer in the pile are left out.
    """
    known = bench.surfaces(laying.view)
    layers = tuple(_with_rim(known[name], laying) for name in names if name in known)
    own = tuple(layer.swatch_id for layer in layers)
    try:
        return Judged(own, layers, sides_of(laying, layers))
    except InvalidInputError as error:
        return Judged(own, layers, default_sides(len(layers)), problem=str(error))


def judged(laying: Laying, names: Layers, bench: Bench) -> Judged:
    """Return a stack judged by what shows of its pieces, in the view and at the distance of the laying."""
    found = measured(laying, names, bench)
    if found.problem or len(found.layers) < 2:
        return found
    try:
        stack = Stack(found.layers, found.sides, _background(laying), laying.rim_mm)
        textures = bench.textures(laying.view)
        return replace(found, score=judge_stack(stack, distance_mm=laying.distance_mm, textures=textures))
    except ContrastkitError as error:
        return replace(found, problem=str(error))


def better(laying: Laying, judged: Judged, bench: Bench) -> StackScore | None:
    """
    Return a stack judged once more with what would mend it, from the pieces that lie in no other stack; None where it
    could not be judged at all.
    """
    if judged.score is None:
        return None
    elsewhere = {name for layers in laying.stacks for name in layers} - set(judged.names)
    table = bench.table_in(laying.view)
    free = table["lightness"].notna() & ~table["swatch_id"].isin(elsewhere | set(judged.names))
    tried = _worth_trying(judged, table[free])
    return judge_stack(
        judged.score.stack, distance_mm=laying.distance_mm, pile=tried, textures=bench.textures(laying.view)
    )


def _worth_trying(judged: Judged, table: pd.DataFrame) -> pd.DataFrame:
    """The pieces that, by their lightness, may do in some layer; the best dozen of each layer at least."""
    lightness = table["lightness"].to_numpy(float)
    wanted = np.zeros(len(lightness), bool)
    for neighbours in _neighbours(judged):
        gap = np.min([np.abs(lightness - each) for each in neighbours], axis=0)
        wanted |= gap >= _PLAUSIBLE
        wanted[np.argsort(-gap, kind="stable")[:_TRIED]] = True
    return table[wanted]


def _neighbours(judged: Judged) -> Iterator[list[float]]:
    """L* of what lies below and above each layer."""
    back = judged.score.stack.background if judged.score else None
    levels = [layer.lightness for layer in judged.layers]
    for place in range(len(levels)):
        below = [levels[place - 1]] if place else [back.lightness] if back else []
        yield [*below, *levels[place + 1 : place + 2]]


def _with_rim(surface: Surface, laying: Laying) -> Surface:
    return surface if laying.rim_lightness is None else replace(surface, rim=laying.rim_lightness)


def _background(laying: Laying) -> Surface | None:
    return None if laying.background is None else Surface(BACKGROUND, laying.background)
