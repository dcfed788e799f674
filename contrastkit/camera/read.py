"""
A photo file ▸ Photo: upright, colour profile honoured, 8 or 16 bits, no larger than measuring needs.

A JPEG is decoded at 1/2, 1/4 or 1/8 straight away, inside the decoder's cosine transform, which costs a third of a full
decode. Everything else is decoded whole, then averaged in linear light.

A JPEG so reduced is averaged in its code values, not in light: where neighbouring full-resolution pixels differ a lot
it comes out too dark. Measured at a reduction of 2, quality 92, as the error of the lightness of the linear-light mean:

    checks of 1 pixel, codes 60 and 200                      -8.3 L*
    checks of 2 pixels, on the grid of 2, and half off it     0.0 and -8.3 L*
    plain weave of threads 3 pixels wide, codes 90 to 150    -0.8 L*
    photograph of woven towels, squares of 256 pixels        -0.03 L* on average, -0.15 L* at worst

Lens, sensor and noise filter leave little contrast from one pixel to the next: a real photograph loses next to nothing.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from contrastkit.camera.decode import RAW_SUFFIXES, Decoded, Source, choose_reduction, decode
from contrastkit.camera.pixels import Codes, array_pixels, assembled, averaged
from contrastkit.errors import InvalidInputError, UnreadablePhotoError
from contrastkit.light.lightness import RgbSpace

StrPath = str | os.PathLike[str]

PHOTO_SUFFIXES = RAW_SUFFIXES | {
    ".jpg", ".jpeg", ".jpe", ".jfif", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif", ".hif",
}

_MOST_BYTES = 400_000_000  # more than any photo that is decoded whole within a gigabyte; two copies of it fit in one


@dataclass(frozen=True, eq=False)
class Photo:
    """
    A photograph, upright, at working size.

    Attributes
    ----------
    name : the file's name
    codes : encoded red, green, blue, shape (rows, cols, 3), 8 or 16 bits, C-contiguous, not to be written to.
        Working row r covers rows [r * reduction, (r + 1) * reduction) of the full-resolution photo, columns alike;
        the last row and column may cover fewer.
    reduction : full-resolution pixels a working pixel, each way: 1, 2, 4 or 8
    size : rows and columns of the upright full-resolution photo
    space : what the codes mean
    taken : when it was taken, ISO 8601 without time zone; None where the file does not say so believably
    notes : what was assumed, left out or converted, in plain sentences
    camera : maker and model of the camera that wrote the file, as its EXIF data say; None where they do not
    """

    name: str
    codes: Codes
    reduction: int
    size: tuple[int, int]
    space: RgbSpace
    taken: str | None
    notes: tuple[str, ...]
    camera: str | None = None

    @property
    def bits(self) -> int:
        """Bits a channel: 8 or 16."""
        return 8 * self.codes.dtype.itemsize


def codes8(photo: Photo) -> NDArray[np.uint8]:
    """Return the codes of a photograph in 8 bits, the upper half of 16."""
    return np.asarray(photo.codes if photo.bits == 8 else photo.codes >> 8, np.uint8)


def read_photo(path: StrPath, *, target_pixels: int = 3_000_000) -> Photo:
    """
    Return the photo in a file, upright, its colour profile honoured, reduced to about the pixels asked for.

    The photo is reduced by 1, 2, 4 or 8 each way: the most that leaves at least four fifths of `target_pixels`.
    A 12-megapixel photo is halved to 3. See the module's text for what the reduction does to fine patterns.

    Parameters
    ----------
    path : a JPEG, PNG or TIFF (8 or 16 bits), WebP, HEIC or camera RAW file
    target_pixels : about how many pixels to keep

    Raises
    ------
    UnreadablePhotoError
        The file is not there, not whole, not a photograph, too small or too large; the message says which.
    MissingPackageError
        It is a camera RAW file and rawpy is not installed.
    InvalidInputError
        `target_pixels` is not a positive number, or `path` is not a path.

    Examples
    --------
    >>> read_photo("nowhere.jpg")
    Traceback (most recent call last):
    contrastkit.errors.UnreadablePhotoError: A photo must be there to be read; there is no file 'nowhere.jpg'. ...
    """
    if isinstance(target_pixels, bool) or not isinstance(target_pixels, int | np.integer) or target_pixels < 1:
        raise InvalidInputError(
            f"target_pixels must be a whole number, 1 or more; got {target_pixels!r}. Leave it out for 3 million."
        )
    file = _as_path(path)
    data = _file_bytes(file)
    source = Source(_shown(file.name), file.suffix.lower(), data, len(data))
    del data
    decoded = decode(source, int(target_pixels))
    return _finished(decoded, os.fsencode(file.name).decode("utf-8", "replace"), int(target_pixels))


def list_photos(paths: Iterable[StrPath]) -> list[Path]:
    """
    Return the photo files in these files and folders, in the order given, each once.

    A folder is walked to the bottom, sorted by name; hidden files and folders and files without a photo's ending are
    passed over. A folder that cannot be opened stands in the list itself, and so does whatever else is named, so that
    `read_photo` can say what is wrong with it.

    Raises
    ------
    InvalidInputError
        Something in `paths` is not a path.
    """
    if isinstance(paths, str | os.PathLike):
        raise InvalidInputError(f"paths must be a list of paths; got {paths!r} alone. Put it in a list.")
    seen: set[tuple[int, int]] = set()
    found: dict[Path, None] = {}
    for path in map(_as_path, paths):
        found |= dict.fromkeys(_walked(path, seen) if os.path.isdir(path) else [path])
    return list(found)


# --- files and folders ----------------------------------------------------------------------------------------------


def _as_path(path: StrPath) -> Path:
    try:
        return Path(path)
    except TypeError as error:
        raise InvalidInputError(f"A path must be text or a Path; got {path!r}. Pass the file's name.") from error


def _walked(folder: Path, seen: set[tuple[int, int]]) -> Iterator[Path]:
    # `seen` holds the folders walked so far, so that links in circles end
    try:
        status = folder.stat()
        entries = sorted(folder.iterdir(), key=lambda entry: entry.name)
    except OSError:
        yield folder
        return
    if (status.st_dev, status.st_ino) in seen:
        return
    seen.add((status.st_dev, status.st_ino))
    for entry in entries:
        if entry.name.startswith("."):
            continue
        if os.path.isdir(entry):  # unlike the Path's own, says no where it cannot tell
            yield from _walked(entry, seen)
        elif entry.suffix.lower() in PHOTO_SUFFIXES:
            yield entry


def _shown(text: str) -> str:
    """Return a file's name fit for a message: one line, nothing hidden in it, not too long."""
    return repr(text if len(text) <= 60 else f"{text[:20]}...{text[-40:]}")


def _file_bytes(path: Path) -> bytes:
    shown = _shown(str(path))
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            next(path.iterdir(), None)  # says so where the folder cannot even be opened
            raise UnreadablePhotoError(f"A photo must be one file; {shown} is a folder. Name the photos in it.")
        if not stat.S_ISREG(status.st_mode):
            raise UnreadablePhotoError(f"A photo must be a plain file; {shown} is not. Copy it to a file first.")
        _check_bytes(shown, status.st_size)
        return path.read_bytes()
    except (FileNotFoundError, NotADirectoryError) as error:
        raise UnreadablePhotoError(
            f"A photo must be there to be read; there is no file {shown}. Check the name and the folder."
        ) from error
    except PermissionError as error:
        raise UnreadablePhotoError(
            f"A photo must be open to reading; the system does not let {shown} be read. Change its permissions."
        ) from error
    except UnreadablePhotoError:
        raise
    except (OSError, ValueError) as error:  # a name that cannot be one, a link to itself, a disk that fails
        raise UnreadablePhotoError(
            f"A photo must be open to reading; the system cannot read {shown}. Check the name and the disk."
        ) from error


def _check_bytes(shown: str, size: int) -> None:
    if size == 0:
        raise UnreadablePhotoError(
            f"A photo must hold data; {shown} is empty (0 bytes). Copy it from the camera again."
        )
    if size > _MOST_BYTES:
        raise UnreadablePhotoError(
            f"A photo must be at most {_MOST_BYTES // 10**6} MB; {shown} has {size // 10**6} MB. Export it as JPEG."
        )


# --- from what was decoded to a Photo -------------------------------------------------------------------------------


def _finished(decoded: Decoded, name: str, target_pixels: int) -> Photo:
    pixels, turned = decoded.pixels, decoded.exif.orientation
    reduction = choose_reduction(decoded.size, target_pixels)
    factor = reduction // pixels.reduced
    if factor > 1 or pixels.transparent:
        pixels = array_pixels(averaged(pixels, decoded.space, factor, turned))
    codes = assembled(pixels, turned)
    codes.setflags(write=False)
    size = decoded.size if turned < 5 else decoded.size[::-1]
    laid = ("Transparent parts were laid on white.",) if decoded.pixels.transparent else ()
    notes = (*decoded.notes, *laid, *decoded.exif.notes)
    return Photo(name, codes, reduction, size, decoded.space, decoded.exif.taken, notes, decoded.exif.camera)


