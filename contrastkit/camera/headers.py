"""
What a photo file says of itself: size, kind of pixels, colour profile, which way is up, when it was taken.

Bytes in, facts out; nothing is decoded here. Each format function also returns the file with everything a decoder
does not need taken away, so that no library ever reads (and warns about, or trips over) someone else's metadata.
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime

_FIRST_YEAR = 1990  # no digital camera took colour photographs before
_LARGEST_PROFILE = 16_000_000  # bytes; the largest real profiles hold about 4 MB of tables
_MOST_PARTS = 100_000  # segments, chunks or entries: a whole PNG in pieces of 8 kB, as its encoders cut it, has fewer
_LARGEST_EXIF = 16_000_000  # bytes; a preview picture makes some as large as a megabyte
_MOST_NUMBERS = 1_000_000  # in one TIFF entry; the longest real ones list the strips or tiles of a picture
_MOST_SCANS = 100  # a progressive JPEG has about 10; each more is one more pass over the whole picture


OTHER_SIZE = "its header and its picture are not of the same size"


class BrokenFileError(Exception):
    """The bytes do not keep to the format; the text says how, as a clause: "it breaks off early"."""


@dataclass(frozen=True)
class Exif:
    """What the EXIF data say, as far as they can be believed; `notes` says what could not."""

    orientation: int = 1
    taken: str | None = None
    adobe_rgb: bool = False
    notes: tuple[str, ...] = ()
    camera: str | None = None


@dataclass(frozen=True)
class Cicp:
    """Colour primaries and transfer function by their code points (ITU-T H.273)."""

    primaries: int
    transfer: int


@dataclass(frozen=True)
class Facts:
    """
    What a photo file says of itself.

    Attributes
    ----------
    size : rows and columns as stored, before turning upright
    pixels : "GRAY", "RGB" or "CMYK"; "PALETTE" where the pixels are numbers in a list of colours
    bits : bits a channel
    stream : the file, cleaned, for the decoder
    exif : what the EXIF data say
    icc : embedded colour profile, as damaged as it is, or None
    cicp : colour by code points, or None
    gamma : encoding exponent, or None
    progressive : a JPEG whose whole picture must be held as coefficients while it is decoded
    scan : where in the stream of a JPEG the coded picture starts
    frames : pictures in the file, one after another
    oddity : what about the file no decoder here reads exactly; empty for almost every file
    """

    size: tuple[int, int]
    pixels: str
    bits: int
    stream: bytes = field(repr=False)
    exif: Exif = Exif()
    icc: bytes | None = field(default=None, repr=False)
    cicp: Cicp | None = None
    gamma: float | None = None
    progressive: bool = False
    scan: int = 0
    frames: int = 1
    oddity: str = ""


# --- TIFF: the container of EXIF data, of TIFF pictures and of most camera RAW files --------------------------------

# TIFF 6.0 (1992), section 2, and BigTIFF types 16-18: bytes a value
_TYPE_SIZE = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8}
_WHOLE_NUMBERS = {1: "B", 3: "H", 4: "L", 13: "L", 16: "Q", 18: "Q"}


@dataclass(frozen=True)
class Entry:
    """One entry of a TIFF directory: type and number of values, where they stand, and the entry's own bytes."""

    kind: int
    count: int
    start: int
    size: int
    raw: bytes = field(repr=False)


@dataclass(frozen=True)
class Tiff:
    """A TIFF container: its bytes, byte order ("<" or ">") and whether it is a BigTIFF."""

    data: bytes = field(repr=False)
    order: str
    big: bool = False

    def unpack(self, code: str, at: int) -> int:
        """Return the number of struct type `code` that stands at byte `at`."""
        try:
            return int(struct.unpack_from(self.order + code, self.data, at)[0])
        except (struct.error, OverflowError):  # the latter: further on than any file reaches
            raise BrokenFileError("it breaks off early") from None

    def first(self) -> int:
        """Return where the first directory starts."""
        return self.unpack("Q", 8) if self.big else self.unpack("L", 4)

    def directory(self, at: int) -> dict[int, Entry]:
        """Return the entries of the directory at byte `at`, by tag; those of no known type are left out."""
        count = self.unpack("Q", at) if self.big else self.unpack("H", at)
        head, width = (8, 20) if self.big else (2, 12)
        if count > _MOST_PARTS:
            raise BrokenFileError("its header is damaged")
        if at < 8 or at + head + count * width > len(self.data):
            raise BrokenFileError("it breaks off early")
        entries: dict[int, Entry] = {}
        for start in range(at + head, at + head + count * width, width):
            entry = self._entry(start, width)
            if entry is not None:
                entries.setdefault(self.unpack("H", start), entry)
        return entries

    def _entry(self, start: int, width: int) -> Entry | None:
        kind = self.unpack("H", start + 2)
        count = self.unpack("Q", start + 4) if self.big else self.unpack("L", start + 4)
        size = _TYPE_SIZE.get(kind, 0) * count
        room = 8 if self.big else 4
        at = start + width - room
        if size > room:
            at = self.unpack("Q", at) if self.big else self.unpack("L", at)
        if kind not in _TYPE_SIZE:
            return None
        return Entry(kind, count, at, size, self.data[start : start + width])

    def holds(self, entry: Entry) -> bool:
        """Return whether the entry's values lie inside the file."""
        return entry.start + entry.size <= len(self.data)

    def value(self, entry: Entry, most: int) -> bytes:
        """Return the bytes of the entry's values, as far as they lie inside the file, and no more than `most`."""
        return self.data[entry.start : entry.start + min(entry.size, most)]

    def numbers(self, entry: Entry | None) -> tuple[int, ...]:
        """Return the entry's whole numbers; none where it holds something else."""
        if entry is None or entry.kind not in _WHOLE_NUMBERS or entry.count > _MOST_NUMBERS or not self.holds(entry):
            return ()
        return struct.unpack_from(f"{self.order}{entry.count}{_WHOLE_NUMBERS[entry.kind]}", self.data, entry.start)

    def number(self, entry: Entry | None, default: int) -> int:
        """Return the entry's single whole number, or the default where there is none."""
        numbers = self.numbers(entry)
        return numbers[0] if len(numbers) == 1 else default


def open_tiff(data: bytes) -> Tiff:
    """Return the TIFF container in these bytes."""
    order = {b"II": "<", b"MM": ">"}.get(data[:2])
    if order is None or len(data) < 8:
        raise BrokenFileError("its header is damaged")
    magic = struct.unpack_from(order + "H", data, 2)[0]
    if magic not in (42, 43):
        raise BrokenFileError("its header is damaged")
    return Tiff(data, order, big=magic == 43)


# --- EXIF -----------------------------------------------------------------------------------------------------------

_MAKE, _MODEL, _ORIENTATION, _EXIF_IFD, _TAKEN, _DIGITISED = 0x010F, 0x0110, 0x0112, 0x8769, 0x9003, 0x9004
_COLOUR_SPACE, _INTEROP_IFD, _INTEROP_INDEX = 0xA001, 0xA005, 1


def read_exif(data: bytes) -> Exif:
    """
    Return what EXIF data say that can be believed; never raises.

    An orientation outside 1-8, a date that cannot be right and damaged data are left out, with a note.

    References
    ----------
    CIPA DC-008-2019, Exchangeable image file format for digital still cameras: Exif version 2.32.

    Examples
    --------
    >>> read_exif(b"not EXIF at all").notes
    ('The EXIF data are damaged and were ignored.',)
    """
    if not data:
        return Exif()
    try:
        tiff = open_tiff(data[6:] if data.startswith(b"Exif\0\0") else data)
        return exif_of_tiff(tiff)
    except BrokenFileError:
        return Exif(notes=("The EXIF data are damaged and were ignored.",))


def exif_of_tiff(tiff: Tiff) -> Exif:
    """Return what the EXIF tags of a TIFF container say that can be believed."""
    main = tiff.directory(tiff.first())
    orientation, notes = _orientation(tiff, main.get(_ORIENTATION))
    detail: dict[int, Entry] = {}
    if _EXIF_IFD in main:
        try:
            detail = tiff.directory(tiff.number(main[_EXIF_IFD], 0))
        except BrokenFileError:
            notes = (*notes, "Part of the EXIF data is damaged and was ignored.")
    taken, date_notes = _date_taken(tiff, detail.get(_TAKEN) or detail.get(_DIGITISED))
    camera = " ".join(filter(None, (_text(tiff, main.get(tag)) for tag in (_MAKE, _MODEL)))) or None
    return Exif(orientation, taken, _says_adobe_rgb(tiff, detail), (*notes, *date_notes), camera)


def _text(tiff: Tiff, entry: Entry | None) -> str:
    """A tag's text as far as it can be printed; damaged or missing text is empty."""
    try:
        letters = b"" if entry is None else tiff.value(entry, 60).split(b"\0")[0]
    except BrokenFileError:
        return ""
    return "".join(letter for letter in letters.decode("ascii", "ignore") if letter.isprintable()).strip()


def _orientation(tiff: Tiff, entry: Entry | None) -> tuple[int, tuple[str, ...]]:
    if entry is None:
        return 1, ()
    orientation = tiff.number(entry, -1)
    if 1 <= orientation <= 8:
        return orientation, ()
    got = str(orientation) if orientation >= 0 else "not one number"
    return 1, (f"The EXIF orientation must be 1 to 8; it is {got} and was ignored.",)


def _date_taken(tiff: Tiff, entry: Entry | None) -> tuple[str | None, tuple[str, ...]]:
    if entry is None:
        return None, ()
    text = tiff.value(entry, 40).split(b"\0")[0].decode("ascii", "replace")
    try:
        taken = datetime.strptime(text.strip(), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        taken = datetime.min
    if _FIRST_YEAR <= taken.year <= datetime.now().year + 1:
        return taken.isoformat(), ()
    return None, (f"The EXIF date {text[:25]!r} cannot be right and was ignored.",)


def _says_adobe_rgb(tiff: Tiff, detail: dict[int, Entry]) -> bool:
    # DCF 2.0 (CIPA DC-009-2010): Adobe RGB is "uncalibrated" with interoperability index R03; some cameras write 2.
    space = tiff.number(detail.get(_COLOUR_SPACE), 0)
    if space == 2 or _INTEROP_IFD not in detail:
        return space == 2
    try:
        interop = tiff.directory(tiff.number(detail[_INTEROP_IFD], 0))
    except BrokenFileError:
        return False
    return _INTEROP_INDEX in interop and tiff.value(interop[_INTEROP_INDEX], 3) == b"R03"


# --- JPEG -----------------------------------------------------------------------------------------------------------

_SOI, _EOI, _SOS, _APP0, _APP1, _APP2, _APP14, _COM = 0xD8, 0xD9, 0xDA, 0xE0, 0xE1, 0xE2, 0xEE, 0xFE
_STANDALONE = {0x00, 0x01, *range(0xD0, 0xD9)}  # markers with no length after them
_FRAME_HEADERS = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}  # SOF0-SOF15 without DHT, JPG, DAC
_PROGRESSIVE = {0xC2, 0xC6, 0xCA, 0xCE}
_NOT_FILL = re.compile(rb"[^\xff]")  # any number of 0xFF may stand before a marker
_MOST_PIECES = 255  # of a profile: their number is one byte


def jpeg_facts(data: bytes) -> Facts:
    """
    Return what a JPEG file says of its first picture.

    Gain maps, previews and second pictures behind or beside it are left out of the stream.

    References
    ----------
    ITU-T T.81 (1992), annex B; ICC.1:2010, annex B.4 for profiles in pieces.
    """
    segments = list(_jpeg_segments(data))
    scan = segments[-1][2]
    if data.rfind(b"\xff\xd9", scan) < 0:
        raise BrokenFileError("it breaks off early")
    frame, body = next(((m, data[s + 4 : e]) for m, s, e in segments if m in _FRAME_HEADERS), (0, b""))
    if len(body) < 6:
        raise BrokenFileError("its header is damaged")
    progressive = frame in _PROGRESSIVE
    if progressive and data.count(b"\xff\xda", scan) > _MOST_SCANS:
        raise BrokenFileError(f"it has more than {_MOST_SCANS} passes")
    exif = next((data[s + 4 : e] for m, s, e in segments if m == _APP1 and data.startswith(b"Exif\0\0", s + 4)), b"")
    pieces = [(s + 4, e) for m, s, e in segments if m == _APP2 and data.startswith(b"ICC_PROFILE\0", s + 4)]
    kept = [data[s:e] for m, s, e in segments if _decoder_needs(m, data[s + 4 : s + 9])]
    return Facts(
        size=(int.from_bytes(body[1:3]), int.from_bytes(body[3:5])),
        pixels={1: "GRAY", 3: "RGB", 4: "CMYK"}.get(body[5], f"{body[5]}-channel"),
        bits=body[0],
        stream=b"".join([b"\xff\xd8", *kept, memoryview(data)[scan:]]),
        exif=read_exif(exif),
        icc=_jpeg_profile([data[start:end] for start, end in pieces[:_MOST_PIECES]]),
        progressive=progressive,
        scan=2 + sum(map(len, kept)),
    )


def _jpeg_segments(data: bytes) -> Iterator[tuple[int, int, int]]:
    # marker, start and end of each segment up to and including the first scan header
    at = 2
    for _ in range(_MOST_PARTS):
        at = data.find(b"\xff", at)
        name = _NOT_FILL.search(data, at + 1) if at >= 0 else None
        if name is None or name.start() + 3 > len(data):
            raise BrokenFileError("it breaks off early")
        at, marker = name.start() - 1, data[name.start()]
        if marker in _STANDALONE:
            at += 2
            continue
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4])
        if marker == _EOI or end < at + 4:
            raise BrokenFileError("its header is damaged")
        if end > len(data):
            raise BrokenFileError("it breaks off early")
        yield marker, at, end
        if marker == _SOS:
            return
        at = end
    raise BrokenFileError("its header is damaged")


def _decoder_needs(marker: int, start: bytes) -> bool:
    # JFIF and Adobe segments say how the channels are coded; all other application segments are metadata
    if marker == _APP0:
        return start == b"JFIF\0"
    if marker == _APP14:
        return start == b"Adobe"
    return not (_APP0 <= marker <= 0xEF or marker == _COM)


def _jpeg_profile(segments: list[bytes]) -> bytes | None:
    pieces = sorted((s[12], s[14:]) for s in segments if len(s) > 14)
    return b"".join(piece for _, piece in pieces) if pieces else None


# --- PNG ------------------------------------------------------------------------------------------------------------

_PNG_KINDS = {0: "GRAY", 2: "RGB", 3: "PALETTE", 4: "GRAY", 6: "RGB"}
_PNG_NEEDED = {b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS"}
_PNG_SAID = {b"IHDR", b"tRNS", b"cICP", b"gAMA", b"sRGB", b"eXIf", b"iCCP", b"acTL"}


def png_facts(data: bytes) -> Facts:
    """
    Return what a PNG file says of itself.

    References
    ----------
    Portable Network Graphics (PNG) Specification, third edition, W3C 2025.
    """
    kept: list[memoryview] = [memoryview(data)[:8]]
    extra: dict[bytes, bytes] = {}
    for name, start, end in _png_chunks(data):
        if name in _PNG_NEEDED:
            kept.append(memoryview(data)[start:end])
        if name in _PNG_SAID:
            extra.setdefault(name, data[start + 8 : min(end - 4, start + 8 + _LARGEST_PROFILE)])
    head = extra.get(b"IHDR", b"")
    if len(head) != 13 or head[9] not in _PNG_KINDS:
        raise BrokenFileError("its header is damaged")
    said = extra.get(b"cICP", b"")
    gamma = int.from_bytes(extra.get(b"gAMA", b"")[:4])
    return Facts(
        size=(int.from_bytes(head[4:8]), int.from_bytes(head[:4])),
        pixels=_PNG_KINDS[head[9]],
        bits=head[8],
        stream=b"".join(kept),
        exif=read_exif(extra.get(b"eXIf", b"")),
        icc=_png_profile(extra[b"iCCP"]) if b"iCCP" in extra else None,
        cicp=Cicp(said[0], said[1]) if len(said) == 4 else None,
        gamma=gamma / 100_000 if gamma and b"sRGB" not in extra else None,
        frames=int.from_bytes(extra.get(b"acTL", b"")[:4]) or 1,
        oddity="one transparent 16-bit colour" if head[8] == 16 and b"tRNS" in extra else "",
    )


def _png_chunks(data: bytes) -> Iterator[tuple[bytes, int, int]]:
    # name, start and end of each chunk; a spoilt chunk is an error where the decoder needs it, else left out
    at = 8
    for _ in range(_MOST_PARTS):
        length, name = int.from_bytes(data[at : at + 4]), data[at + 4 : at + 8]
        end = at + 12 + length
        if end > len(data):
            raise BrokenFileError("it breaks off early")
        sound = zlib.crc32(memoryview(data)[at + 4 : end - 4]) == int.from_bytes(data[end - 4 : end])
        if sound or name == b"iCCP":  # a spoilt profile will be said to be one
            yield name, at, end
        elif name in _PNG_NEEDED:
            raise BrokenFileError("part of it is spoilt")
        if name == b"IEND":
            return
        at = end
    raise BrokenFileError("its header is damaged")


def _png_profile(chunk: bytes) -> bytes:
    _, _, packed = chunk.partition(b"\0")
    try:
        return zlib.decompressobj().decompress(packed[1:], _LARGEST_PROFILE)
    except zlib.error:
        return b""  # which is no profile, and will be said to be damaged


# --- TIFF pictures --------------------------------------------------------------------------------------------------

_TILE_WIDTH, _TILE_HEIGHT, _LARGEST_TILE = 322, 323, 4_000_000  # pixels, where the picture itself is not larger
_WIDTH, _HEIGHT, _BITS, _PHOTOMETRIC, _SAMPLES, _PLANES, _SAMPLE_FORMAT = 256, 257, 258, 262, 277, 284, 339
_ICC, _DNG = 34675, 50706
_TIFF_KINDS = {0: "GRAY", 1: "GRAY", 2: "RGB", 3: "PALETTE", 5: "CMYK", 6: "RGB"}
# what a decoder needs: sizes, compression and its tables, strips, tiles, planes, palette, chroma, extra channels
_TIFF_NEEDED = (
    256, 257, 258, 259, 262, 266, 273, 277, 278, 279, 284, 292, 293, 317, 320, 322, 323, 324, 325, 338, 339, 347,
    512, 513, 514, 515, 517, 518, 519, 520, 521, 529, 530, 531, 532,
)
_TIFF_DATA = ((273, 279), (324, 325))  # where strips, or tiles, start and how many bytes each has
_TIFF_ONE_NUMBER = (256, 257, 259, 262, 266, 277, 278, 284, 317, 322, 323)


def tiff_facts(data: bytes) -> Facts:
    """
    Return what a TIFF file says of its first picture.

    References
    ----------
    TIFF, revision 6.0, Aldus Corporation 1992.
    """
    tiff = open_tiff(data)
    at = tiff.first()
    tags = tiff.directory(at)
    samples = tiff.number(tags.get(_SAMPLES), 1)
    bits = tiff.numbers(tags.get(_BITS)) or (1,)
    _check_tiff(tiff, tags, bits, samples)
    photometric = tiff.number(tags.get(_PHOTOMETRIC), -1)
    return Facts(
        size=(tiff.number(tags.get(_HEIGHT), 0), tiff.number(tags.get(_WIDTH), 0)),
        pixels=_tiff_pixels(photometric, tiff.numbers(tags.get(_SAMPLE_FORMAT))),
        bits=bits[0],
        stream=_clean_tiff(tiff, tags),
        exif=exif_of_tiff(tiff),
        icc=tiff.value(tags[_ICC], _LARGEST_PROFILE) if _ICC in tags else None,
        frames=_tiff_frames(tiff, at),
        oddity=_tiff_oddity(tiff, tags, bits[0], samples),
    )


def is_raw(data: bytes) -> bool:
    """Return whether a TIFF container is camera RAW by its own word (a DNG, or a mosaic of single colours)."""
    try:
        tiff = open_tiff(data)
        tags = tiff.directory(tiff.first())
    except BrokenFileError:
        return False
    return _DNG in tags or tiff.number(tags.get(_PHOTOMETRIC), 0) in (32803, 34892)


def _tiff_pixels(photometric: int, sample_format: tuple[int, ...]) -> str:
    if any(kind != 1 for kind in sample_format):
        return "floating-point" if 3 in sample_format else "signed"
    return _TIFF_KINDS.get(photometric, "CIELAB" if photometric in (8, 9, 10) else f"photometric-{photometric}")


def _tiff_oddity(tiff: Tiff, tags: dict[int, Entry], bits: int, samples: int) -> str:
    # all of these Pillow refuses, or reads wrongly without a word
    photometric = tiff.number(tags[_PHOTOMETRIC], -1)
    if tiff.big and tiff.order == ">":
        return "64-bit offsets with the high byte first"
    if bits == 16 and samples > 1 and tiff.number(tags.get(_PLANES), 1) != 1:
        return "separate colour planes of 16 bits"
    if bits == 16 and (photometric == 0 or (photometric == 1 and samples > 1)):
        return "16-bit greys that run from white to black, or have transparency"
    return ""


def _check_tiff(tiff: Tiff, tags: dict[int, Entry], bits: tuple[int, ...], samples: int) -> None:
    strips = ((tags.get(starts), tags.get(sizes)) for starts, sizes in _TIFF_DATA)
    ends = (a + b for start, size in strips for a, b in zip(tiff.numbers(start), tiff.numbers(size), strict=False))
    if any(tag in tags and not tiff.holds(tags[tag]) for tag in (*_TIFF_NEEDED, _ICC)) or any(
        end > len(tiff.data) for end in ends
    ):
        raise BrokenFileError("it breaks off early")
    one_depth = len(set(bits)) == 1 and len(bits) in (1, samples)
    single = all(len(tiff.numbers(tags[tag])) == 1 for tag in _TIFF_ONE_NUMBER if tag in tags)
    if _PHOTOMETRIC not in tags or not single or not one_depth or not 1 <= samples <= 8:
        raise BrokenFileError("its header is damaged")
    tile, picture = _pixels_of(tiff, tags, _TILE_WIDTH, _TILE_HEIGHT, 0), _pixels_of(tiff, tags, _WIDTH, _HEIGHT, 16)
    if tile > max(picture, _LARGEST_TILE):  # a decoder takes room for whole tiles
        raise BrokenFileError("its header is damaged")


def _pixels_of(tiff: Tiff, tags: dict[int, Entry], width: int, height: int, margin: int) -> int:
    return (tiff.number(tags.get(width), 0) + margin) * (tiff.number(tags.get(height), 0) + margin)


def _tiff_frames(tiff: Tiff, at: int) -> int:
    head, width, code = (8, 20, "Q") if tiff.big else (2, 12, "H")
    seen: list[int] = []
    while at and at not in seen and len(seen) < 1000 and at + head <= len(tiff.data):
        seen.append(at)
        after = at + head + tiff.unpack(code, at) * width
        if after + 8 > len(tiff.data) and after + 4 > len(tiff.data):
            break
        at = tiff.unpack("Q" if tiff.big else "L", after)
    return max(1, len(seen))


def _clean_tiff(tiff: Tiff, tags: dict[int, Entry]) -> bytes:
    # the same bytes with a new directory at the end, which holds only what the decoder needs
    kept = [tags[tag].raw for tag in _TIFF_NEEDED if tag in tags]
    at = len(tiff.data) + len(tiff.data) % 2
    pad = b"\0" * (at - len(tiff.data))
    code, header = ("Q", 8) if tiff.big else ("H", 4)
    pointer = "Q" if tiff.big else "L"
    after = header + struct.calcsize("<" + pointer)
    return b"".join([
        tiff.data[:header], struct.pack(tiff.order + pointer, at), memoryview(tiff.data)[after:], pad,
        struct.pack(tiff.order + code, len(kept)), *kept, bytes(struct.calcsize("<" + pointer)),
    ])


# --- WebP -----------------------------------------------------------------------------------------------------------


def webp_facts(data: bytes) -> Facts:
    """
    Return what a WebP file says of itself.

    References
    ----------
    RFC 9649 (2024), WebP Image Format.
    """
    chunks: dict[bytes, memoryview] = {}
    frames = 0
    for name, body in _riff_chunks(data):
        chunks.setdefault(name, body)
        frames += name == b"ANMF"
    size = _webp_size(chunks)
    exif = read_exif(bytes(chunks.get(b"EXIF", b"")[:_LARGEST_EXIF]))
    icc = bytes(chunks[b"ICCP"][:_LARGEST_PROFILE]) if b"ICCP" in chunks else None
    return Facts(size, "RGB", 8, data, exif=exif, icc=icc, frames=frames or 1)


def _riff_chunks(data: bytes) -> Iterator[tuple[bytes, memoryview]]:
    stop = 8 + int.from_bytes(data[4:8], "little")
    if stop > len(data):
        raise BrokenFileError("it breaks off early")
    at = 12
    for _ in range(_MOST_PARTS):
        if at + 8 > stop:
            return
        length = int.from_bytes(data[at + 4 : at + 8], "little")
        if at + 8 + length > stop:
            raise BrokenFileError("it breaks off early")
        yield data[at : at + 4], memoryview(data)[at + 8 : at + 8 + length]
        at += 8 + length + length % 2
    raise BrokenFileError("its header is damaged")


def _webp_size(chunks: dict[bytes, memoryview]) -> tuple[int, int]:
    canvas, lossy, lossless = (bytes(chunks.get(name, b"")[:10]) for name in (b"VP8X", b"VP8 ", b"VP8L"))
    if len(canvas) >= 10:
        return 1 + int.from_bytes(canvas[7:10], "little"), 1 + int.from_bytes(canvas[4:7], "little")
    if len(lossy) >= 10 and lossy[3:6] == b"\x9d\x01\x2a":
        return int.from_bytes(lossy[8:10], "little") & 0x3FFF, int.from_bytes(lossy[6:8], "little") & 0x3FFF
    if len(lossless) >= 5 and lossless[0] == 0x2F:
        packed = int.from_bytes(lossless[1:5], "little")
        return 1 + (packed >> 14 & 0x3FFF), 1 + (packed & 0x3FFF)
    raise BrokenFileError("its header is damaged")
