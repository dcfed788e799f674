"""
The bytes of a photo file ▸ decoded pixels with all that belongs to them, or one sentence why not.

Each format is checked by its header first, then decoded, and everything a decoder can throw at a spoilt file is caught.
"""

from __future__ import annotations

import codecs
import io
import os
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, JpegImagePlugin, PngImagePlugin, TiffImagePlugin, WebPImagePlugin

from contrastkit.camera.headers import (
    OTHER_SIZE,
    BrokenFileError,
    Cicp,
    Exif,
    Facts,
    exif_of_tiff,
    is_raw,
    jpeg_facts,
    open_tiff,
    png_facts,
    read_exif,
    tiff_facts,
    webp_facts,
)
from contrastkit.camera.pixels import (
    Convert,
    Pixels,
    array_pixels,
    off_grid,
    pillow_file_pixels,
    pillow_pixels,
)
from contrastkit.camera.profile import LINEAR_BT2020, GammaCurve, converter_to_srgb, read_profile, space_of_code_points
from contrastkit.errors import ContrastkitError, InvalidInputError, MissingPackageError, UnreadablePhotoError
from contrastkit.light.lightness import ADOBE_RGB, SRGB, RgbSpace

_RAW_ENDINGS = (
    "3fr arw cr2 cr3 crw dcr dng erf iiq kdc mef mos mrw nef nrw orf pef raf rw2 rwl sr2 srf srw"  # one a maker, or so
)
RAW_SUFFIXES = frozenset("." + ending for ending in _RAW_ENDINGS.split())

_READABLE = "JPEG, PNG, TIFF, WebP, HEIC or camera RAW"
_LONGEST = 16  # times its width: no camera's picture is longer, and nothing could be found on it
_SMALLEST = 64  # pixels a side: nothing smaller holds a board of swatches
# The most megapixels of each kind, so that no file takes more than a gigabyte of memory. Measured peaks near these,
# in megabytes: JPEG 115, progressive 780, PNG 620, TIFF 900, WebP 810, RAW 870; 16 bits: PNG 700, TIFF 930.
_MOST_MEGAPIXELS = {"JPEG": 250, "progressive JPEG": 120, "PNG": 120, "TIFF": 120, "WebP": 50, "HEIC": 120, "RAW": 120}
_MOST_MEGAPIXELS_16 = 60
# Bytes in memory at the peak of decoding, above what reading anything takes: so many times the file's own, and so many
# a pixel, twice that for 16 bits. Measured at the sizes above, where the file itself is small; raw or huge ones add up.
_MEMORY = {"progressive JPEG": (1, 6.3), "PNG": (1, 4.8), "TIFF": (1, 4.8), "WebP": (3, 16.2)}
_MOST_MEMORY = 930_000_000
# Camera noise alone costs a photograph 0.05 bytes a pixel and more; a file that unpacks to a gigabyte from far less
# is no photograph but a trap.
_TRAP_MEGAPIXELS, _FEWEST_BYTES_A_PIXEL = 24, 0.01

_RAW_TURNS = {3: 3, 5: 8, 6: 6}  # LibRaw's flip to EXIF orientation
_NO_DATA = 128  # what every channel becomes where a JPEG's data have run out


@dataclass
class Source:
    """One file's bytes and how to name it in a message."""

    shown: str
    suffix: str
    data: bytes = field(repr=False)
    size: int

    def take(self) -> bytes:
        """Hand over the bytes: where a decoder works on a copy, the first must not lie in memory beside it."""
        data, self.data = self.data, b""
        return data


@dataclass(frozen=True)
class _Colour:
    """What the codes mean; `convert` first turns Pillow images into codes of that space."""

    space: RgbSpace
    convert: Convert | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Decoded:
    """Pixels with everything that goes with them; `size` is the stored full-resolution rows and columns."""

    pixels: Pixels
    size: tuple[int, int]
    space: RgbSpace
    exif: Exif
    notes: tuple[str, ...]


def decode(source: Source, target_pixels: int) -> Decoded:
    """
    Return the decoded photo in these bytes, a JPEG or camera RAW already reduced towards `target_pixels`.

    Raises
    ------
    UnreadablePhotoError
        The bytes are not a whole photograph of a kind and size that can be read; the message says why.
    MissingPackageError
        It is camera RAW and rawpy is not installed.
    """
    try:
        return _reader(source)(source, target_pixels)
    except BrokenFileError as error:
        raise UnreadablePhotoError(
            f"A photo must be whole; {source.shown} is damaged: {error}. Copy it from the camera again."
        ) from error


# --- which format ---------------------------------------------------------------------------------------------------

_STRANGERS = (
    (b"GIF8", "a GIF picture, which has too few colours to measure"),
    (b"BM", "a BMP picture"),
    (b"%PDF", "a PDF document"),
    (b"8BPS", "a layered editor's file"),
    (b"\xff\x0a", "a JPEG XL picture"),
    (b"\0\0\0\x0cJXL ", "a JPEG XL picture"),
    (b"\0\0\0\x0cjP  ", "a JPEG 2000 picture"),
    (b"\xff\x4f\xff\x51", "a JPEG 2000 picture"),
    (b"PK", "a ZIP archive"),
)
_RAW_STARTS = (b"FUJIFILMCCD-RAW", b"IIRO", b"IIRS", b"MMOR", b"IIU\0", b"FOVb", b"\0MRM", b"II\x1a\0\0\0HEAPCCDR")
_HEIF_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}


def refuse_stranger(name: str, suffix: str, head: bytes) -> None:
    """
    Let a file pass whose first bytes are those of a photograph; its end need not be there yet.

    Parameters
    ----------
    name : how to name it in a message, in quotes
    suffix : its ending, such as ".jpg"
    head : its first bytes, 4096 or all

    Raises
    ------
    UnreadablePhotoError
        It is something else; the message says what.
    """
    _reader(Source(name, suffix.lower(), head, len(head)))


def _reader(source: Source) -> Callable[[Source, int], Decoded]:
    head = source.data[:32]
    if head.startswith(b"\xff\xd8\xff"):
        return _read_jpeg
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return _read_png
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return _read_raw if source.suffix in RAW_SUFFIXES or is_raw(source.data) else _read_tiff
    if head.startswith(b"RIFF") and head[8:12] == b"WEBP":
        return _read_webp
    if head.startswith(_RAW_STARTS) or head[4:12] == b"ftypcrx ":
        return _read_raw
    if head[4:8] == b"ftyp" and head[8:12] in _HEIF_BRANDS:
        return _read_heif
    raise UnreadablePhotoError(
        f"A photo must be {_READABLE}; {source.shown} is {_stranger(source.data)}. Save or export the photo as JPEG."
    )


def _stranger(data: bytes) -> str:
    text = _is_text(data[:4096])
    for start, words in _STRANGERS:
        if data.startswith(start) and not (text and len(start) == 2):  # two letters may be a word's
            return words
    if data[4:8] == b"ftyp":
        return "an AVIF picture" if data[8:12] in (b"avif", b"avis") else "a film"
    if text:
        return "text, whatever its name says"
    return f"none of these (it starts with the bytes {data[:4].hex(' ')})"


def _is_text(sample: bytes) -> bool:
    try:
        text = codecs.getincrementaldecoder("utf-8")().decode(sample)  # may be cut inside a letter
    except UnicodeDecodeError:
        return False
    return all(letter >= " " or letter in "\t\n\r\f" for letter in text)


# --- checks before anything is decoded ------------------------------------------------------------------------------


def _check_size(source: Source, kind: str, size: tuple[int, int], *, wide: bool = False) -> None:
    rows, cols = size
    if min(rows, cols) < _SMALLEST:
        raise UnreadablePhotoError(
            f"A photo must have at least {_SMALLEST} x {_SMALLEST} pixels; {source.shown} has {cols} x {rows}. "
            "Use the original from the camera."
        )
    if max(rows, cols) > _LONGEST * min(rows, cols):
        raise UnreadablePhotoError(
            f"A photo must be no more than {_LONGEST} times as long as it is wide; {source.shown} has {cols} x {rows} "
            "pixels. Use the original from the camera."
        )
    most = min(_MOST_MEGAPIXELS[kind], _MOST_MEGAPIXELS_16) if wide else _MOST_MEGAPIXELS[kind]
    if rows * cols > most * 1_000_000:
        raise UnreadablePhotoError(
            f"A {'16-bit ' * wide}{kind} must have at most {most} megapixels to fit in memory; {source.shown} has "
            f"{cols} x {rows} ({rows * cols / 1e6:.0f}). Export it smaller{'' if kind == 'JPEG' else ' or as JPEG'}."
        )
    times, bytes_a_pixel = _MEMORY.get(kind, (1, 0))
    memory = times * source.size + bytes_a_pixel * (1 + wide) * rows * cols
    if memory > _MOST_MEMORY:
        raise UnreadablePhotoError(
            f"A photo must be read within a gigabyte of memory; {source.shown}, {cols} x {rows} in "
            f"{source.size / 1e6:.0f} MB, would take {memory / 1e6 + 70:.0f} MB. Export it smaller or as JPEG."
        )
    if rows * cols > _TRAP_MEGAPIXELS * 1_000_000 and source.size < _FEWEST_BYTES_A_PIXEL * rows * cols:
        raise UnreadablePhotoError(
            f"A photo must hold a picture; {source.shown} unpacks to {rows * cols / 1e6:.0f} megapixels from only "
            f"{source.size / 1e3:.0f} kB, as no photograph does. Use the original from the camera."
        )


def _check_pixels(source: Source, facts: Facts) -> None:
    if facts.bits == 1 and facts.pixels != "PALETTE":
        raise UnreadablePhotoError(
            f"A photo must have shades; {source.shown} has 1 bit a pixel, black or white only. Use the original photo."
        )
    if facts.pixels not in ("GRAY", "RGB", "CMYK", "PALETTE") or facts.bits not in (2, 4, 8, 16):
        raise UnreadablePhotoError(
            f"A photo must have grey, RGB or CMYK pixels of 8 or 16 bits; {source.shown} has {facts.pixels} pixels of "
            f"{facts.bits} bits. Export it as 8-bit or 16-bit RGB."
        )
    if facts.oddity:
        raise UnreadablePhotoError(
            f"A photo must be packed in a way that can be read exactly; {source.shown} has {facts.oddity}. "
            "Export it as 8-bit or 16-bit RGB without transparency."
        )


def _check_still(source: Source, facts: Facts) -> None:
    if facts.frames > 1:
        raise UnreadablePhotoError(
            f"A photo must be one still picture; {source.shown} is an animation of {facts.frames}. Export one picture."
        )


def _check_tail(source: Source) -> None:
    # a download that stopped leaves zeros, out of which these decoders make up a picture
    tail = max(512, len(source.data) // 16)
    if source.data.endswith(bytes(tail)):
        raise BrokenFileError("its end is empty")


@contextmanager
def _decoding(source: Source) -> Iterator[None]:
    """Turn whatever a decoder throws at a spoilt file into one sentence; what it warns of is for its makers."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    except (ContrastkitError, BrokenFileError):
        raise
    except MemoryError as error:
        raise UnreadablePhotoError(
            f"A photo must fit in memory; {source.shown} does not. Close other programs or export it smaller."
        ) from error
    except Exception as error:  # decoders raise nearly every kind, SyntaxError and struct.error among them
        cut = isinstance(error, EOFError) or "truncated" in str(error)
        what = "it breaks off early" if cut else "it cannot be decoded"
        raise UnreadablePhotoError(
            f"A photo must be whole; {source.shown} is damaged: {what}. Copy it from the camera again."
        ) from error


_HUSH = threading.Lock()


@contextmanager
def _hushed() -> Iterator[None]:
    """
    Keep C libraries (libtiff, LibRaw) from writing about a spoilt file to the error output themselves.

    They offer no other way. The lock keeps two threads from restoring each other's silence.
    """
    with _HUSH:
        try:
            kept, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
        except OSError:  # there is no error output to keep clean
            yield
            return
        try:
            os.dup2(nowhere, 2)
            yield
        finally:
            os.dup2(kept, 2)
            os.close(kept)
            os.close(nowhere)


# --- what the codes mean --------------------------------------------------------------------------------------------


def _colour(source: Source, facts: Facts) -> _Colour:
    """Choose the space by the file's word for it; the newest standard of those that speak goes first."""
    pixels = "RGB" if facts.pixels == "PALETTE" else facts.pixels
    if facts.cicp is not None and pixels == "RGB":
        return _Colour(_coded_space(source, facts.cicp))
    profiled = _Colour(SRGB) if facts.icc is None else _profiled(facts.icc, pixels)
    if pixels == "CMYK" and profiled.convert is None:
        raise UnreadablePhotoError(
            f"A CMYK photo must have its CMYK profile embedded; {source.shown} has none that can be used. "
            "Export it as RGB."
        )
    if facts.icc is not None:
        return profiled
    if facts.gamma is not None and not 0.44 < facts.gamma < 0.46 and 0.2 <= facts.gamma <= 2:
        curve = GammaCurve(1 / facts.gamma)
        space = RgbSpace(f"gamma {1 / facts.gamma:.3g}", (curve, curve, curve), SRGB.to_xyz)
        return _Colour(space, None, (f"No colour profile: read with the file's gamma of {1 / facts.gamma:.3g}.",))
    if facts.exif.adobe_rgb and pixels == "RGB":
        return _Colour(ADOBE_RGB, None, ("No colour profile: read as Adobe RGB, as the EXIF data say.",))
    return _Colour(SRGB, None, ("No colour profile: read as sRGB.",))


def _coded_space(source: Source, cicp: Cicp) -> RgbSpace:
    space = space_of_code_points(cicp.primaries, cicp.transfer)
    if space is None:
        raise UnreadablePhotoError(
            f"A photo must be coded for paper white, not for HDR screens; {source.shown} uses primaries "
            f"{cicp.primaries} with transfer function {cicp.transfer}. Export it as JPEG."
        )
    return space


def _profiled(icc: bytes, pixels: str) -> _Colour:
    try:
        profile = read_profile(icc)
        if profile.pixels != pixels:
            words = f"{profile.name!r}, for {profile.pixels} pixels, does not fit {pixels} ones"
            return _Colour(SRGB, None, (f"The colour profile {words}; read as sRGB.",))
        if profile.space is not None:
            return _Colour(profile.space)
        note = f"Converted to 8-bit sRGB from the tables of the colour profile {profile.name!r}."
        return _Colour(SRGB, converter_to_srgb(profile), (note,))
    except InvalidInputError:
        return _Colour(SRGB, None, ("The colour profile is damaged and does not fit; read as sRGB.",))


# --- formats --------------------------------------------------------------------------------------------------------


def choose_reduction(size: tuple[int, int], target_pixels: int) -> int:
    """
    Return the largest of 1, 2, 4 and 8 that leaves at least four fifths of the pixels asked for.

    >>> choose_reduction((3000, 4000), 3_000_000), choose_reduction((1500, 2000), 3_000_000)
    (2, 1)
    """
    return max((r for r in (2, 4, 8) if size[0] * size[1] >= 0.8 * target_pixels * r * r), default=1)


def _read_jpeg(source: Source, target_pixels: int) -> Decoded:
    facts = jpeg_facts(source.take())
    _check_pixels(source, facts)
    _check_size(source, "progressive JPEG" if facts.progressive else "JPEG", facts.size)
    colour = _colour(source, facts)
    reduction = choose_reduction(facts.size, target_pixels)
    if off_grid(facts.size, facts.exif.orientation, reduction) and _fits_whole(facts.size):
        reduction = 1  # and average afterwards, where the grid can start anywhere
    with _decoding(source):
        image = _decode_jpeg(facts.stream, facts.size, reduction)
        if _ends_without_data(image, reduction) and _lacks_data(image, facts, reduction):
            raise BrokenFileError("it breaks off early")
    return _decoded(pillow_pixels(image, colour.convert, reduction), facts, colour)


def _fits_whole(size: tuple[int, int]) -> bool:
    # above that, rather an outline up to one working pixel off than no photo
    return size[0] * size[1] <= _MOST_MEGAPIXELS["progressive JPEG"] * 1_000_000


def _decode_jpeg(stream: bytes, size: tuple[int, int], reduction: int) -> Image.Image:
    image = JpegImagePlugin.JpegImageFile(io.BytesIO(stream))
    image.draft(None, (size[1] // reduction, size[0] // reduction))
    if image.size != (-(-size[1] // reduction), -(-size[0] // reduction)):
        raise ValueError(f"reduction by {reduction} gave {image.size} from {size}")
    image.load()
    return image


def _ends_without_data(image: Image.Image, reduction: int) -> bool:
    """Whether the last corner is the plain mid-grey that a decoder leaves where data have run out."""
    cols, rows = image.size
    corner = image.crop((cols - 8 // reduction, rows - 8 // reduction, cols, rows))
    return corner.mode != "CMYK" and all(band.getextrema() == (_NO_DATA, _NO_DATA) for band in corner.split())


def _lacks_data(image: Image.Image, facts: Facts, reduction: int) -> bool:
    """Whether the coded picture ends too early: only then does what follows it change what is decoded."""
    end = facts.stream.find(b"\xff\xd9", facts.scan)
    longer = facts.stream[:end] + bytes(64) + facts.stream[end:]
    return _decode_jpeg(longer, facts.size, reduction).tobytes() != image.tobytes()


def _read_png(source: Source, target_pixels: int) -> Decoded:
    facts = png_facts(source.take())
    _check_pixels(source, facts)
    _check_still(source, facts)
    _check_size(source, "PNG", facts.size, wide=facts.bits == 16)
    colour = _colour(source, facts)
    with _decoding(source):
        pixels = pillow_file_pixels(PngImagePlugin.PngImageFile, facts.stream, facts.size, colour.convert)
    return _decoded(pixels, facts, colour)


def _read_tiff(source: Source, target_pixels: int) -> Decoded:
    facts = tiff_facts(source.take())
    _check_pixels(source, facts)
    _check_size(source, "TIFF", facts.size, wide=facts.bits == 16)
    colour = _colour(source, facts)
    with _decoding(source), _hushed():
        pixels = pillow_file_pixels(TiffImagePlugin.TiffImageFile, facts.stream, facts.size, colour.convert)
    return _decoded(pixels, facts, colour)


def _read_webp(source: Source, target_pixels: int) -> Decoded:
    _check_tail(source)
    facts = webp_facts(source.take())
    _check_still(source, facts)
    _check_size(source, "WebP", facts.size)
    colour = _colour(source, facts)
    with _decoding(source):
        pixels = pillow_file_pixels(WebPImagePlugin.WebPImageFile, facts.stream, facts.size, colour.convert)
    return _decoded(pixels, facts, colour)


def _read_heif(source: Source, target_pixels: int) -> Decoded:
    import pillow_heif

    _check_tail(source)
    with _decoding(source):
        opened = pillow_heif.open_heif(io.BytesIO(source.data), convert_hdr_to_8bit=False)
        facts = _heif_facts(opened)
    _check_size(source, "HEIC", facts.size, wide=facts.bits == 16)
    colour = _colour(source, facts)
    with _decoding(source):
        pixels = _heif_pixels(opened, colour)
    return _decoded(pixels, replace(facts, size=pixels.shape), colour)


def _heif_facts(opened: Any) -> Facts:
    nclx, icc = opened.info.get("nclx_profile"), opened.info.get("icc_profile")
    exif = read_exif(opened.info.get("exif") or b"")
    coded = Cicp(int(nclx["color_primaries"]), int(nclx["transfer_characteristics"])) if nclx and not icc else None
    return Facts(
        size=(opened.size[1], opened.size[0]),
        pixels="GRAY" if opened.mode[0] in "LI" else "RGB",
        bits=16 if "16" in opened.mode else 8,
        stream=b"",
        exif=replace(exif, orientation=1),  # the decoder has turned it already, by the file's own boxes
        icc=icc,
        cicp=coded,
    )


def _heif_pixels(opened: Any, colour: _Colour) -> Pixels:
    codes = np.asarray(opened)
    codes = codes.reshape(*codes.shape[:2], -1)
    if colour.convert is not None:
        eight = codes if codes.dtype == np.uint8 else (codes >> 8).astype(np.uint8)
        return pillow_pixels(Image.fromarray(eight[..., : 3 if eight.shape[2] > 2 else 1].squeeze()), colour.convert)
    if codes.dtype == np.uint16:
        codes = _stretched(codes, int(opened.info["bit_depth"]))
    return array_pixels(codes)


def _stretched(codes: NDArray[np.uint16], bits: int) -> NDArray[np.uint16]:
    """Return 16-bit codes of codes that fill only the upper `bits` of 16, so that white is 65535."""
    most = 2**bits - 1
    table = ((np.arange(most + 1) * 65535 + most // 2) // most).astype(np.uint16)
    return np.asarray(table[codes >> (16 - bits)])


def _read_raw(source: Source, target_pixels: int) -> Decoded:
    try:
        import rawpy
    except ImportError as error:
        raise MissingPackageError(
            f"Camera RAW must be read with rawpy, which is not installed; got {source.shown}. "
            "Run: pip install 'contrastkit[raw]'"
        ) from error
    with _decoding(source), _hushed(), rawpy.imread(io.BytesIO(source.data)) as raw:
        size, turned = (int(raw.sizes.height), int(raw.sizes.width)), _RAW_TURNS.get(raw.sizes.flip, 1)
        _check_size(source, "RAW", size)
        reduction = 1 if off_grid(size, turned, 2) else min(2, choose_reduction(size, target_pixels))
        codes = _developed(raw, rawpy.ColorSpace.Rec2020, half=reduction == 2)
    reduced = array_pixels(codes, round(size[0] / codes.shape[0]))
    exif = replace(_raw_exif(source.data), orientation=turned)
    return Decoded(reduced, size, LINEAR_BT2020, exif, ("Developed from camera RAW with the camera's white balance.",))


def _developed(raw: Any, colours: Any, *, half: bool) -> NDArray[np.uint16]:
    # half size takes each 2 x 2 cell of the mosaic as one pixel: no demosaicing, and an average in linear light
    return np.asarray(
        raw.postprocess(
            half_size=half,
            use_camera_wb=True,
            no_auto_bright=True,
            adjust_maximum_thr=0,  # white is where the sensor ends, not where this picture does
            gamma=(1, 1),
            output_bps=16,
            output_color=colours,
            user_flip=0,
        )
    )


def _raw_exif(data: bytes) -> Exif:
    try:
        return exif_of_tiff(open_tiff(data))
    except BrokenFileError:  # some makers wrap their files otherwise
        return Exif()


def _decoded(pixels: Pixels, facts: Facts, colour: _Colour) -> Decoded:
    if pixels.reduced == 1 and pixels.shape != facts.size:
        raise BrokenFileError(OTHER_SIZE)
    said = {
        "Greyscale photo: its three channels are the same.": facts.pixels == "GRAY",
        "Palette picture: it may have fewer colours than the scene had.": facts.pixels == "PALETTE",
        f"Only the first of {facts.frames} pictures in the file was read.": facts.frames > 1,
        "Read at 8 of its 16 bits.": facts.bits > pixels.bits and colour.convert is None,
    }
    notes = (*colour.notes, *(note for note, holds in said.items() if holds))
    return Decoded(pixels, facts.size, colour.space, facts.exif, notes)
