"""
A pile from wherever it is: photographs and folders of them, a swatch table, or the catalogue.

Charts and handouts take any of them and do not know which.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from contrastkit.camera.read import PHOTO_SUFFIXES
from contrastkit.errors import InvalidInputError, TooFewSwatchesError
from contrastkit.keep.files import StrPath, shown
from contrastkit.keep.sources import is_catalogue, read_source

if TYPE_CHECKING:
    from contrastkit.camera.pipeline import Box, Failed
    from contrastkit.camera.reference import ReferenceChoice
    from contrastkit.show.state import PhotoState
    from contrastkit.show.study import Pile

AT_HAND = "not used not lost"
"""Which pieces of a catalogue, where nobody says otherwise."""


def pile_at(
    places: Sequence[StrPath],
    wanted: str = AT_HAND,
    *,
    reference: str | ReferenceChoice = "auto",
    reference_at: Box | None = None,
    progress: Callable[[int, int, Path], None] | None = None,
    told: Callable[[PhotoState | Failed], None] | None = None,
) -> Pile:
    """
    Return a pile: its table, and the pictures of its pieces where there are any.

    Parameters
    ----------
    places : photographs and folders of them, which are measured; or one swatch table, whose pieces have no pictures;
        or one catalogue, by the word "pile", its file or its address
    wanted : which pieces of a catalogue, in words; all else is taken whole
    reference, reference_at, progress, told : as for `contrastkit.show.study.make_study`

    Raises
    ------
    InvalidInputError
        A table or a catalogue beside other places, a table or filter that cannot be right.
    TooFewSwatchesError
        No piece of the catalogue is wanted.
    CatalogueError
        The catalogue cannot be opened.
    UnreadablePhotoError
        No photograph is there at all.
    """
    from contrastkit.camera.pipeline import measure_each
    from contrastkit.show.study import Pile, find_photos, gather

    kept = [place for place in places if is_kept(place)]
    if kept and len(places) > 1:
        raise InvalidInputError(
            f"A table or a catalogue must stand alone; got {shown(kept[0])} beside {len(places) - 1} more. Name one."
        )
    against = reference if isinstance(reference, str) else reference.kind
    if kept and (against != "auto" or reference_at is not None):
        raise InvalidInputError(
            f"A reference is for photographs; {shown(kept[0])} is measured already. Leave it out, or name photographs."
        )
    if not kept:
        photos = find_photos(places)
        return gather(
            measure_each(photos, reference=reference, reference_at=reference_at, progress=progress), told=told
        )
    source = read_source(kept[0], wanted, pictures=True)
    if not len(source.table):
        if not is_catalogue(kept[0]):
            raise TooFewSwatchesError(f"There must be a piece to show; {shown(kept[0])} has no row. Add some.")
        asked = f" that is: {wanted}" if wanted else ""
        raise TooFewSwatchesError(f"There must be a piece to show; {source.where} has none{asked}. Ask for others.")
    return Pile(source.table, dict(source.crops), (), (), ())


def is_kept(place: StrPath) -> bool:
    """
    Return whether a place is a swatch table or a catalogue, and neither photograph nor folder.

    >>> is_kept("swatches.csv"), is_kept("pile"), is_kept("board.jpg")
    (True, True, False)
    """
    path = Path(place)
    return is_catalogue(place) or not path.is_dir() and path.suffix.lower() not in PHOTO_SUFFIXES
