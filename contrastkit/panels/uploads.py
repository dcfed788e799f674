"""
Photographs on their way from a browser: taken in small parts, onto the disk, and refused in words as soon as they must.

A page says the name and size of a file first, then sends it part by part: what is too large is refused before any of it
is here, and what is no photograph at its first part. No file is ever held whole in memory.
"""

from __future__ import annotations

import unicodedata
from pathlib import Path

from contrastkit.camera.decode import refuse_stranger
from contrastkit.camera.read import PHOTO_SUFFIXES
from contrastkit.errors import InvalidInputError, UnreadablePhotoError
from contrastkit.keep.files import shown

MOST_BYTES = 200_000_000
PART_BYTES = 1_000_000
_HEAD = 4096  # bytes by which a photograph is told from other files
_LONGEST_NAME = 100


def plain_name(name: str) -> str:
    r"""
    Return the name that a browser gave a file without folders and without what cannot be seen, and not too long.

    >>> plain_name("..\\..\\etc/board\x1b.jpg"), plain_name("/")
    ('board.jpg', 'photo')
    """
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    seen = "".join(letter for letter in last if unicodedata.category(letter)[0] != "C").strip(" .")
    stem, dot, suffix = seen.rpartition(".")
    if dot and len(suffix) <= 8:
        return f"{stem[:_LONGEST_NAME].strip()}.{suffix}"
    return seen[:_LONGEST_NAME] or "photo"


class Upload:
    """
    One file on its way.

    Parameters
    ----------
    folder : where it is put, by a name of its own
    name : what the browser calls it
    size : how many bytes it says there are

    Raises
    ------
    UnreadablePhotoError
        It is empty or too large.
    """

    def __init__(self, folder: Path, name: str, size: int) -> None:
        self.name = plain_name(name)
        self.size = size
        self.taken = 0
        self._head = b""
        if size <= 0:
            raise UnreadablePhotoError(f"A photo must hold data; {shown(self.name)} is empty. Copy it again.")
        if size > MOST_BYTES:
            raise UnreadablePhotoError(
                f"A photo must be at most {MOST_BYTES // 10**6} MB to be dropped here; {shown(self.name)} has "
                f"{size // 10**6} MB. Export it as JPEG."
            )
        suffix = Path(self.name).suffix.lower()
        self.file = folder / f"photo{suffix if suffix in PHOTO_SUFFIXES else ''}"
        folder.mkdir(parents=True, exist_ok=True)
        self._suffix = suffix

    @property
    def is_whole(self) -> bool:
        """Whether all of it is here."""
        return self.taken == self.size

    def take(self, part: bytes | memoryview) -> None:
        """
        Put another part on the disk.

        Raises
        ------
        UnreadablePhotoError
            The file is no photograph, or more than it said.
        InvalidInputError
            The part is too large or empty, or there is no room for it.
        """
        if not 0 < len(part) <= PART_BYTES:
            raise InvalidInputError(
                f"A part of a file must have 1 to {PART_BYTES} bytes; got {len(part)}. Drop the file again."
            )
        if self.taken + len(part) > self.size:
            raise UnreadablePhotoError(
                f"A photo must have as many bytes as was said; {shown(self.name)} has more. Drop it again."
            )
        if len(self._head) < _HEAD:
            self._head += bytes(part[: _HEAD - len(self._head)])
            if len(self._head) == min(_HEAD, self.size):
                refuse_stranger(shown(self.name), self._suffix, self._head)
        try:
            with open(self.file, "ab") as file:
                file.write(part)
        except OSError as error:
            raise InvalidInputError(
                f"There must be room for {shown(self.name)}; the system says: {error.strerror or error}. Make room."
            ) from error
        self.taken += len(part)

    def drop(self) -> None:
        """Take away what is here of it."""
        self.file.unlink(missing_ok=True)
