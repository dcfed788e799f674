"""
Photographs on the desk: what was found on each, what a hand has corrected, and what is said of the pieces. No widgets.

A photograph is measured once (`look_at`, half a second); everything after that is a small change that gives a new
`Photographs` and leaves the old one as it was.
"""

from __future__ import annotations

import io
import math
import warnings
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from PIL import Image as PillowImage

from contrastkit.camera.measure import checked_outline
from contrastkit.camera.pipeline import PhotoResult, Point, measure_photo, measure_read, remeasure
from contrastkit.camera.read import read_photo
from contrastkit.camera.reference import ReferenceChoice, parse_reference
from contrastkit.errors import ContrastkitWarning, InvalidInputError
from contrastkit.keep.adding import Added, as_side, batch_of, content_hash, known_photo, known_pieces
from contrastkit.keep.naming import checked_text
from contrastkit.keep.photos import outlines_on
from contrastkit.keep.schema import SURFACES
from contrastkit.keep.text import checked_name, checked_note
from contrastkit.show.pieces import Piece, parse_outline, pieces_dark_to_light, remedy_for
from contrastkit.show.state import full_outline
from contrastkit.show.study import gather, piece_crops
from contrastkit.show.words import counted

if TYPE_CHECKING:
    from contrastkit.keep.alike import Offer
    from contrastkit.keep.catalogue import Catalogue
    from contrastkit.keep.projects import Project
    from contrastkit.panels.session import Pixels, Session

Outline = tuple[tuple[float, float], ...]

PICTURE_SIDE = 2000  # pixels, long side of the photograph as it is shown
TEXTS = ("ground", "paints", "plate", "sheet")
FIELDS = (*TEXTS, "side")
REFERENCES = (
    ("found by itself", "auto"), ("a grey card", "card"), ("a grey scale", "scale"), ("a 24-patch chart", "chart"),
    ("nothing grey", "none"),
)
SURFACE_WORDS = {"unknown": "not said", "wet": "still wet", "cured": "cured"}
_FOR_TYPING, _FOR_POINTING = "name it with --reference", "point at it under “What it is measured against”"
ANOTHER = ""
"""What is said of a piece that is none of the known ones it looks like."""


@dataclass(frozen=True)
class Marked:
    """
    One piece on a photograph.

    Attributes
    ----------
    name : its name, by which it will be kept
    outline : its (row, col) corners, full-resolution pixels
    found : those that were found by themselves; None where a hand drew it
    discarded : whether it is no piece after all
    note, ground, paints, plate, sheet, side : what is said of it alone; empty where what is said of all holds
    same : the known piece that it is; ANOTHER where it is none of those offered; None where nobody has said
    """

    name: str
    outline: Outline
    found: Outline | None = None
    discarded: bool = False
    note: str = ""
    ground: str = ""
    paints: str = ""
    plate: str = ""
    sheet: str = ""
    side: str = ""
    same: str | None = None


@dataclass(frozen=True)
class OfAll:
    """What is said of all pieces that are kept from here: as in `Catalogue.add`."""

    surface: str = "unknown"
    ground: str = ""
    paints: str = ""
    plate: str = ""
    sheet: str = ""
    side: str = ""


@dataclass(frozen=True, eq=False)
class Shot:
    """
    One photograph on the desk.

    Attributes
    ----------
    file : where it is
    dropped : whether it is only here for now, and must be kept with its pieces
    content : the SHA-256 of its file
    automatic : as it was measured by itself, against the reference that holds now
    result : as it is measured inside the outlines as they are now, in the order of `pieces`
    pieces : what lies on it, the discarded among them
    picture, scale : as JPEG, and full-resolution pixels to a pixel of it
    reference, lightness, at : what it is measured against: a kind, the lightness in words, a place pointed at
    offers : known pieces that its pieces may be, by name, the likeliest first
    known : the name by which the catalogue has the photograph already, if it has
    kept : of pieces that are in the catalogue, the name there and the outline, by name
    """

    file: Path
    dropped: bool
    content: str
    automatic: PhotoResult
    result: PhotoResult
    pieces: tuple[Marked, ...]
    picture: bytes
    scale: float
    reference: str = "auto"
    lightness: str = ""
    at: Point | None = None
    offers: Mapping[str, tuple[Offer, ...]] = field(default_factory=dict)
    known: str = ""
    kept: Mapping[str, tuple[str, Outline]] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Its file name."""
        return self.result.photo.name

    @property
    def size(self) -> tuple[int, int]:
        """Its rows and columns at full resolution."""
        return self.result.photo.size

    @property
    def shown(self) -> tuple[Marked, ...]:
        """The pieces that were not discarded."""
        return tuple(piece for piece in self.pieces if not piece.discarded)

    @property
    def to_keep(self) -> tuple[Marked, ...]:
        """The pieces that are not in the catalogue, or not with the outline that they have now."""
        return tuple(piece for piece in self.shown if self.kept.get(piece.name, ("", ()))[1] != piece.outline)

    @property
    def reference_outline(self) -> Outline:
        """Where the reference lies, full-resolution pixels; nothing without one."""
        outline = self.result.calibration.outline
        return () if outline is None else full_outline(outline, self.result.photo.reduction)

    def piece(self, name: str) -> Marked:
        """
        Return the piece of that name.

        Raises
        ------
        InvalidInputError
            There is none.
        """
        found = next((piece for piece in self.pieces if piece.name == name), None)
        if found is None:
            raise InvalidInputError(f"A piece must be on the photograph; {name!r:.80} is not. Point at one that is.")
        return found


@dataclass(frozen=True, eq=False)
class Photographs:
    """
    The photographs on the desk.

    Attributes
    ----------
    shots : those that were measured, in the order in which they came
    failed : those that could not be: their names, and why in a sentence
    looked_at : the place in `shots` of the one that is looked at
    chosen : the name of the piece on it that was pointed at, or nothing
    of_all : what is said of all pieces
    scale : the lightness of the steps of the grey scale that was used last, in words
    """

    shots: tuple[Shot, ...] = ()
    failed: tuple[tuple[str, str], ...] = ()
    looked_at: int = 0
    chosen: str = ""
    of_all: OfAll = field(default_factory=OfAll)
    scale: str = ""

    @property
    def shot(self) -> Shot | None:
        """The photograph that is looked at, if there is one."""
        return self.shots[self.looked_at] if 0 <= self.looked_at < len(self.shots) else None

    @property
    def piece(self) -> Marked | None:
        """The piece that was pointed at, if there is one."""
        shot = self.shot
        return next((each for each in shot.pieces if each.name == self.chosen), None) if shot else None

    def to_plain(self) -> dict[str, Any]:
        """Return what a project keeps of it: the grey scale's steps; the rest is in the catalogue."""
        return {"scale": self.scale}

    @classmethod
    def from_plain(cls, data: dict[str, Any], session: Session, project: Project) -> Photographs:
        """Return it as a project kept it; the photographs on the desk stay. Never raises on strange data."""
        scale = data.get("scale") if isinstance(data, dict) else None
        return replace(session.photographs, scale=scale if isinstance(scale, str) else "")


# --- a photograph is measured -----------------------------------------------------------------------------------------


def look_at(
    file: Path, *, name: str = "", dropped: bool = False, catalogue: Catalogue | None = None
) -> Shot:
    """
    Return a photograph measured, with what the catalogue knows of it; this takes half a second and changes nothing.

    Parameters
    ----------
    file : the photograph
    name : what it is called, where that is not its file's name
    dropped : whether its file is only here for now
    catalogue : where known pieces are looked for

    Raises
    ------
    ContrastkitError
        It cannot be read or measured; the message is a sentence for the person who dropped it.
    """
    content = content_hash(file)
    with warnings.catch_warnings():  # the result says both: nothing grey, no piece
        warnings.simplefilter("ignore", ContrastkitWarning)
        called = name or file.name
        result = measure_read(replace(read_photo(file), name=called)) if dropped else measure_photo(file)
    pile = gather((result,), side=PICTURE_SIDE)
    picture, scale = pile.pictures[0]
    shot = Shot(file, dropped, content, result, result, _as_found(result), _jpeg(picture), scale)
    return shot if catalogue is None else _with_known(shot, catalogue, pile.crops)


def _as_found(result: PhotoResult) -> tuple[Marked, ...]:
    return tuple(
        Marked(str(name), parse_outline(outline), parse_outline(outline))
        for name, outline in zip(result.table["swatch_id"], result.table["outline"], strict=True)
    )


def _jpeg(picture: Pixels) -> bytes:
    file = io.BytesIO()
    PillowImage.fromarray(picture).save(file, "JPEG", quality=88)
    return file.getvalue()


def _with_known(shot: Shot, catalogue: Catalogue, crops: Mapping[str, Pixels]) -> Shot:
    batch = batch_of(shot.result, path=shot.file)
    with catalogue.store.reading() as connection:
        photo = known_photo(connection, batch)
        there = known_pieces(connection, batch, photo).names if photo else {}
        outlines = outlines_on(connection, photo["photo"]) if photo else {}
    if photo is None:
        return replace(shot, offers=catalogue.likely_same(shot.result, crops, path=shot.file))
    return _as_kept(shot, str(photo["name"]), there, outlines)


def _as_kept(shot: Shot, known: str, there: Mapping[str, str], outlines: Mapping[str, str]) -> Shot:
    """A photograph that is known, as it was kept: what was found and is not in the catalogue had been discarded."""
    pieces = []
    for piece in shot.pieces:
        name = there.get(piece.name)
        if name is None:
            own = next(name for number in count() if (name := piece.name + "+" * number) not in outlines)
            pieces.append(replace(piece, name=own, discarded=True))
        else:
            pieces.append(Marked(name, parse_outline(outlines[name]) or piece.outline, piece.found))
    drawn = [name for name in outlines if name not in there.values() and parse_outline(outlines[name])]
    pieces += [Marked(name, parse_outline(outlines[name])) for name in drawn]
    kept = {piece.name: (piece.name, piece.outline) for piece in pieces if not piece.discarded}
    return replace(_measured(shot, pieces), known=known, kept=kept)


def with_shot(now: Photographs, shot: Shot, *, taken: Iterable[str] = ()) -> Photographs:
    """
    Return the photographs with another one, which is looked at if it is the first.

    Its pieces get names that no other on the desk has, nor any in `taken`: board(2)-01 and so on.

    Raises
    ------
    InvalidInputError
        It is on the desk already, by whatever name.
    """
    twin = next((other.name for other in now.shots if other.content == shot.content), None)
    if twin is not None:
        raise InvalidInputError(f"A photograph lies on the desk once; {shot.name!r:.80} is {twin!r:.80}. Leave it out.")
    shots = (*now.shots, _with_own_names(now, shot, set(taken)))
    return replace(now, shots=shots, looked_at=now.looked_at if now.shots else 0)


def _with_own_names(now: Photographs, shot: Shot, taken: set[str]) -> Shot:
    photos = {other.name for other in now.shots}
    taken = taken | {piece.name for other in now.shots for piece in other.pieces}
    stem, dot, suffix = shot.name.rpartition(".")
    stem, suffix = (stem, dot + suffix) if dot else (suffix, "")
    for number in count(1):
        mark = f"({number})" if number > 1 else ""
        names = {piece.name: f"{stem}{mark}{piece.name.removeprefix(stem)}" for piece in shot.pieces}
        own = f"{stem}{f' {mark}' if mark else ''}{suffix}"
        names = {piece.name: piece.name for piece in shot.pieces} if shot.known else names
        if own not in photos and (shot.known or not taken & set(names.values())):
            break
    if not mark:
        return shot
    photo, table = replace(shot.result.photo, name=own), shot.result.table
    table = table.assign(swatch_id=[names[name] for name in table["swatch_id"]], photo=own)
    result = replace(shot.result, photo=photo, table=table)
    return replace(
        shot, automatic=replace(shot.automatic, photo=photo), result=result,
        pieces=tuple(replace(piece, name=names[piece.name]) for piece in shot.pieces),
        offers={names[name]: offered for name, offered in shot.offers.items()},
        kept={names[name]: each for name, each in shot.kept.items()},
    )  # fmt: skip


def with_failure(now: Photographs, name: str, reason: str) -> Photographs:
    """Return the photographs with one more that could not be measured, and why."""
    return replace(now, failed=(*now.failed, (name, reason)))


def without_failures(now: Photographs) -> Photographs:
    """Return the photographs without those that could not be measured."""
    return replace(now, failed=())


def without_shot(now: Photographs) -> Photographs:
    """Return the photographs without the one that is looked at; nothing that is kept changes."""
    shots = tuple(shot for place, shot in enumerate(now.shots) if place != now.looked_at)
    return replace(now, shots=shots, looked_at=max(0, min(now.looked_at, len(shots) - 1)), chosen="")


def looking_at(now: Photographs, place: int) -> Photographs:
    """
    Return the photographs with another one looked at.

    Raises
    ------
    InvalidInputError
        There is none at that place.
    """
    if not 0 <= place < len(now.shots):
        count = counted(len(now.shots), "photograph")
        raise InvalidInputError(f"There must be a photograph of that number; got {place + 1} of {count}. Choose one.")
    return replace(now, looked_at=place, chosen="")


def choosing(now: Photographs, name: str) -> Photographs:
    """Return the photographs with a piece of the one that is looked at pointed at, or none for an empty name."""
    if name:
        _shot(now).piece(name)
    return replace(now, chosen=name)


def _shot(now: Photographs) -> Shot:
    if now.shot is None:
        raise InvalidInputError("There must be a photograph on the desk; there is none. Drop one, or choose one.")
    return now.shot


def _with(now: Photographs, shot: Shot) -> Photographs:
    shots = tuple(shot if place == now.looked_at else other for place, other in enumerate(now.shots))
    return replace(now, shots=shots)


# --- outlines ---------------------------------------------------------------------------------------------------------


def with_outline(now: Photographs, name: str, outline: ArrayLike) -> Photographs:
    """
    Return the photographs with a piece outlined otherwise, and measured again.

    Raises
    ------
    InvalidInputError
        There is no such piece, or the outline crosses itself, is too small or leaves the photograph.
    """
    shot = _shot(now)
    piece = shot.piece(name)
    moved = replace(piece, outline=_outline(shot, outline, name), discarded=False)
    return _with(now, _measured(shot, [moved if each is piece else each for each in shot.pieces]))


def with_piece(now: Photographs, outline: ArrayLike) -> Photographs:
    """
    Return the photographs with a piece that was missed, drawn by its corners, measured and pointed at.

    Raises
    ------
    InvalidInputError
        As for `with_outline`.
    """
    shot = _shot(now)
    name = _next_name(now, shot)
    drawn = Marked(name, _outline(shot, outline, "the new piece"))
    return replace(_with(now, _measured(shot, [*shot.pieces, drawn])), chosen=name)


def with_discarded(now: Photographs, name: str, discarded: bool = True) -> Photographs:
    """
    Return the photographs with something that is no piece discarded, or brought back.

    Raises
    ------
    InvalidInputError
        There is no such piece.
    """
    shot = _shot(now)
    piece = shot.piece(name)
    changed = replace(piece, discarded=discarded)
    return _with(now, _measured(shot, [changed if each is piece else each for each in shot.pieces]))


def as_found(now: Photographs, name: str) -> Photographs:
    """
    Return the photographs with a piece outlined as it was found.

    Raises
    ------
    InvalidInputError
        There is no such piece, or a hand drew it.
    """
    piece = _shot(now).piece(name)
    if piece.found is None:
        raise InvalidInputError(f"Only what was found can go back to how it was; {name!r:.80} was drawn. Discard it.")
    return with_outline(now, name, piece.found)


def _outline(shot: Shot, outline: ArrayLike, name: str) -> Outline:
    corners = np.round(checked_outline(shot.result.photo, outline, name), 1)
    return tuple((float(row), float(col)) for row, col in corners)


def _next_name(now: Photographs, shot: Shot) -> str:
    taken = {piece.name for each in now.shots for piece in each.pieces}
    stem = shot.name.rsplit(".", 1)[0]
    return next(name for number in count(len(shot.pieces) + 1) if (name := f"{stem}-{number:02d}") not in taken)


def _measured(shot: Shot, pieces: Sequence[Marked]) -> Shot:
    """The photograph measured inside these outlines; those that have not changed keep their numbers."""
    known = pd.concat([table for table in (shot.automatic.table, shot.result.table) if len(table)] or [
        shot.automatic.table
    ])
    outlines = {piece.name: piece.outline for piece in pieces if not piece.discarded}
    result = remeasure(replace(shot.automatic, table=known.reset_index(drop=True)), outlines)
    return replace(shot, result=result, pieces=tuple(pieces))


# --- the reference ----------------------------------------------------------------------------------------------------


def reference_choice(kind: str, lightness: str) -> ReferenceChoice:
    """
    Return what is to be measured against.

    Parameters
    ----------
    kind : one of REFERENCES
    lightness : of a card, or of the steps of a scale from light to dark, separated by commas or spaces

    Raises
    ------
    InvalidInputError
        It cannot be right.

    >>> reference_choice("scale", "95.5 81, 66").lightness
    (95.5, 81.0, 66.0)
    """
    numbers = ",".join(lightness.replace(",", " ").replace(";", " ").split())
    return parse_reference(f"{kind}={numbers}" if numbers and kind in ("card", "scale") else kind)


def with_reference(now: Photographs, kind: str, lightness: str = "", at: Point | None = None) -> Photographs:
    """
    Return the photographs with the one that is looked at measured against something else.

    What a hand has said and outlined stays; what now is the reference is no piece, and what was it is one.

    Raises
    ------
    InvalidInputError
        The reference cannot be right.
    CalibrationError
        It is not there, or spoilt.
    """
    shot = _shot(now)
    choice = reference_choice(kind, lightness)
    with warnings.catch_warnings():  # the result says both: nothing grey, no piece
        warnings.simplefilter("ignore", ContrastkitWarning)
        automatic = measure_read(shot.result.photo, reference=choice, reference_at=at)
    pieces = _matched(now, shot, automatic)
    fresh = replace(shot, automatic=automatic, result=automatic, reference=kind, lightness=lightness, at=at)
    measured = _measured(fresh, pieces)
    there = {piece.name for piece in pieces}
    scale = lightness if kind == "scale" else now.scale
    chosen = now.chosen if now.chosen in there else ""
    return replace(_with(now, measured), scale=scale, chosen=chosen)


def _matched(now: Photographs, shot: Shot, automatic: PhotoResult) -> list[Marked]:
    """The pieces as a hand has them, without what is the reference now, with what is found anew."""
    found = {piece.outline for piece in _as_found(automatic)}
    known = {piece.found for piece in shot.pieces}
    stays = [
        piece for piece in shot.pieces
        if (piece.found in found if piece.found is not None else not _on_reference(piece, automatic))
    ]  # fmt: skip
    held = replace(shot, pieces=tuple(stays))
    for each in _as_found(automatic):
        if each.outline not in known:
            free = _next_name(_with(now, held), held)
            held = replace(held, pieces=(*held.pieces, replace(each, name=free)))
    return list(held.pieces)


def _on_reference(piece: Marked, automatic: PhotoResult) -> bool:
    if automatic.calibration.outline is None:
        return False
    reference = np.array(full_outline(automatic.calibration.outline, automatic.photo.reduction))
    row, col = np.mean(piece.outline, axis=0)
    (top, left), (bottom, right) = reference.min(axis=0), reference.max(axis=0)
    return bool(top <= row <= bottom and left <= col <= right)


# --- what is said of pieces -------------------------------------------------------------------------------------------


def renamed(now: Photographs, old: str, new: str, *, taken: Iterable[str] = ()) -> Photographs:
    """
    Return the photographs with a piece named otherwise.

    Raises
    ------
    InvalidInputError
        The name cannot be one, or another piece has it: on the desk, or in `taken`.
    """
    shot, new = _shot(now), new.strip()
    piece = shot.piece(old)
    checked_name(new)
    others = {each.name for other in now.shots for each in other.pieces if each is not piece}
    if new in others or (new in set(taken) and new != shot.kept.get(old, ("", ()))[0]):
        raise InvalidInputError(f"A name must be free; {new!r:.80} is another piece's. Choose another name.")
    pieces = [replace(piece, name=new) if each is piece else each for each in shot.pieces]
    moved = {new if name == old else name: value for name, value in shot.offers.items()}
    kept = {new if name == old else name: value for name, value in shot.kept.items()}
    chosen = new if now.chosen == old else now.chosen
    return replace(_with(now, replace(_measured(shot, pieces), offers=moved, kept=kept)), chosen=chosen)


def described(now: Photographs, name: str, **said: str) -> Photographs:
    """
    Return the photographs with what is said of one piece: note, ground, paints, plate, sheet, side.

    Raises
    ------
    InvalidInputError
        There is no such piece, or a text or length that cannot be right.
    """
    shot = _shot(now)
    piece = shot.piece(name)
    changed = replace(piece, **_checked(said))
    return _with(now, replace(shot, pieces=tuple(changed if each is piece else each for each in shot.pieces)))


def said_of_all(now: Photographs, **said: str) -> Photographs:
    """
    Return the photographs with what is said of all pieces: surface, ground, paints, plate, sheet, side.

    Raises
    ------
    InvalidInputError
        A text, length or surface that cannot be right.
    """
    return replace(now, of_all=replace(now.of_all, **_checked(said)))


def _checked(said: Mapping[str, str]) -> dict[str, Any]:
    for name, value in said.items():
        if name == "side":
            as_side(value)
        elif name == "surface" and value not in SURFACES:
            raise InvalidInputError(f"Paint is {', '.join(SURFACES)}; got {value!r:.80}. Use one of these.")
        elif name == "note":
            checked_note(value)
        elif name in TEXTS:
            checked_text(value, f"The {name}")
    return {name: value.strip() for name, value in said.items()}


def same_as(now: Photographs, name: str, known: str | None) -> Photographs:
    """
    Return the photographs with a piece said to be a known one, ANOTHER than those offered, or, by None, not said.

    Raises
    ------
    InvalidInputError
        There is no such piece, or another one on the desk is said to be the known one already.
    """
    shot = _shot(now)
    piece = shot.piece(name)
    twin = next((each.name for other in now.shots for each in other.shown if known and each.same == known), None)
    if twin is not None and twin != name:
        raise InvalidInputError(
            f"A known piece lies on the board once; {twin!r:.80} is said to be {known!r:.80} already. Choose one."
        )
    changed = replace(piece, same=known)
    return _with(now, replace(shot, pieces=tuple(changed if each is piece else each for each in shot.pieces)))


# --- in words ---------------------------------------------------------------------------------------------------------


def measured_pieces(session: Session, shot: Shot) -> dict[str, Piece]:
    """Return the pieces of a photograph as the pictures need them, in the groups of the pile, by name."""
    table = shot.result.table
    if not len(table):
        return {}
    likely = session.breaks.membership(table["lightness"], table["lightness_sigma"]).max(axis=1)
    table = table.assign(group=list(session.breaks.assign(table["lightness"])), borderline=likely < 0.8)
    return {piece.swatch_id: piece for piece in pieces_dark_to_light(table)}


def state_sentence(now: Photographs) -> str:
    """
    Return how it stands with the photographs, in a sentence.

    >>> state_sentence(Photographs())
    'Drop photographs of your pieces here, or choose them.'
    """
    if not now.shots:
        return "Drop photographs of your pieces here, or choose them."
    if len(now.shots) == 1:
        return shot_sentence(now.shots[0])
    pieces, check = (sum(numbers) for numbers in zip(*map(_counts, now.shots), strict=True))
    found = f"{counted(len(now.shots), 'photograph')}, {counted(pieces, 'piece')} found{_check_words(check)}"
    return f"{found}{_kept_words(now.shots)}."


def shot_sentence(shot: Shot) -> str:
    """Return what was found on a photograph and how it was measured, in a sentence."""
    pieces, check = _counts(shot)
    found = f"{counted(pieces, 'piece')} found{_check_words(check)}" if pieces else "No piece found"
    return f"{found}, {reference_words(shot)}{_kept_words((shot,))}."


def _kept_words(shots: Sequence[Shot]) -> str:
    there, left = (sum(map(len, lists)) for lists in ([shot.shown for shot in shots], [shot.to_keep for shot in shots]))
    return "" if left == there else f", {there - left} of them kept" if left else ", all kept"


def _counts(shot: Shot) -> tuple[int, int]:
    return len(shot.result.table), int((shot.result.table["flags"] != "").sum())


def _check_words(check: int) -> str:
    return f", {check} to check" if check else ""


def reference_words(shot: Shot) -> str:
    """Return what a photograph was measured against, as it read, with its uncertainty."""
    calibration = shot.result.calibration
    if calibration.kind == "none":
        return f"nothing grey to measure against, so all is rough (± {calibration.sigma:.0f})"
    words = calibration.sentence.replace("read as L*", "read at L*")
    return f"{words}{',' if calibration.kind != 'card' else ''} ± {calibration.sigma:.1f}"


def piece_sentence(piece: Piece) -> str:
    """Return a piece in words: its name, lightness, group, and what is to be checked."""
    words = [piece.swatch_id, f"L* {piece.lightness_words}", piece.group or "in no group"]
    flags = f"; check: {', '.join(piece.flags)}" if piece.flags else ""
    return ", ".join(words) + (", between two groups" if piece.borderline else "") + flags


def flag_sentences(piece: Piece) -> list[str]:
    """Return what is to be careful of with a piece, and what to do about it, a sentence or two each."""
    told = [(flag, *remedy_for(flag)) for flag in piece.flags]
    return [
        f"{flag.capitalize()}: {meaning}. {remedy.replace(_FOR_TYPING, _FOR_POINTING)}" if meaning else f"{flag}."
        for flag, meaning, remedy in told
    ]


def offer_sentence(offer: Offer) -> str:
    """Return a known piece that a new one may be, and how near the two are."""
    return (
        f"May be {offer.name}, which you have already: {abs(offer.lightness):.1f} L* "
        f"{'lighter' if offer.lightness >= 0 else 'darker'} now, patterns {100 * offer.pattern:.0f} % alike."
    )


# --- kept -------------------------------------------------------------------------------------------------------------


def table_to_keep(now: Photographs, shot: Shot) -> pd.DataFrame:
    """Return the swatch table of the pieces of a photograph with what is said of each."""
    table = shot.result.table.set_index("swatch_id", drop=False)
    shown = {piece.name: piece for piece in shot.shown}
    said = {name: [getattr(shown[each], name) for each in table["swatch_id"]] for name in ("note", *TEXTS)}
    sides = [as_side(shown[each].side) for each in table["swatch_id"]]
    side = pd.Series([math.nan if each is None else each for each in sides], index=table.index, dtype=float)
    return table.assign(**said, side=side).reset_index(drop=True)


def to_add(now: Photographs, shot: Shot, path: Path) -> dict[str, Any]:
    """Return the arguments of `Catalogue.add` by which those of a photograph's pieces are kept that must be."""
    table = table_to_keep(now, shot)
    names = {piece.name for piece in shot.to_keep}
    result = replace(shot.result, table=table[table["swatch_id"].isin(names)].reset_index(drop=True))
    same = {piece.name: piece.same for piece in shot.shown if piece.same and piece.name not in shot.kept}
    of_all = {name: getattr(now.of_all, name) for name in ("surface", *FIELDS)}
    return {"result": result, "path": path, "crops": piece_crops(result), "same_as": same,
            "again": bool(shot.known or shot.kept), "offers": False, **of_all}  # fmt: skip


def with_kept(now: Photographs, added: Mapping[int, Added], paths: Mapping[int, Path]) -> Photographs:
    """
    Return the photographs with what is in the catalogue now.

    Parameters
    ----------
    added : what became of the pieces, by the place of their photograph
    paths : where each photograph is for good
    """
    shots = list(now.shots)
    for place, each in added.items():
        shot = shots[place]
        there = {name: (known, shot.piece(name).outline) for name, known in each.names.items()}
        shots[place] = replace(
            shot, kept={**shot.kept, **there}, known=shot.known or shot.name, file=paths[place], dropped=False
        )
    return replace(now, shots=tuple(shots))


def joined_to(session: Session) -> Session:
    """
    Return the session with the pieces on the desk in its pile, for a desk without a catalogue.

    Pieces that are there already by their names are measured again.
    """
    now = session.photographs
    tables = [_in_table(now, table_to_keep(now, shot)) for shot in now.shots]
    new = pd.concat([table for table in tables if len(table)] or [session.table.iloc[:0]])
    old = session.table[~session.table["swatch_id"].isin(new["swatch_id"])]
    table = pd.concat([part for part in (old, new) if len(part)] or [session.table]).reset_index(drop=True)
    crops = {name: crop for shot in now.shots for name, crop in piece_crops(shot.result).items()}
    joined = session.with_pile(table, {**dict(session.crops), **crops})
    shots = tuple(
        replace(shot, kept={piece.name: (piece.name, piece.outline) for piece in shot.shown}) for shot in now.shots
    )
    return replace(joined, photographs=replace(now, shots=shots))


def _in_table(now: Photographs, table: pd.DataFrame) -> pd.DataFrame:
    """A table as the catalogue would give it: what is said of all stands where nothing is said of one."""
    for name in TEXTS:
        table[name] = [own or getattr(now.of_all, name) for own in table[name]]
    side = as_side(now.of_all.side)
    table["side"] = table["side"].fillna(math.nan if side is None else side)
    return table.assign(surface=now.of_all.surface, state="at hand")


def names_in(session: Session) -> set[str]:
    """Return the names that pieces of the pile have."""
    return {str(name) for name in session.table["swatch_id"]}

