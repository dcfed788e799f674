"""Small photo files for the tests, written byte by byte where no library writes them."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Mapping, Sequence

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image

# D50 colorants as the makers' own profiles hold them (s15Fixed16, five decimals)
SRGB_COLORANTS = ((0.43607, 0.22249, 0.01392), (0.38515, 0.71687, 0.09708), (0.14307, 0.06061, 0.71410))
P3_COLORANTS = ((0.51512, 0.24120, -0.00105), (0.29198, 0.69225, 0.04189), (0.15710, 0.06657, 0.78407))
ADOBE_COLORANTS = ((0.60974, 0.31111, 0.01947), (0.20528, 0.62567, 0.06087), (0.14919, 0.06322, 0.74457))
# IEC 61966-2-1 as parametric curve of kind 3: gamma, a, b, c, d
SRGB_PARAMETERS = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


# --- ICC profiles (ICC.1:2010) --------------------------------------------------------------------------------------


def fixed(values: Sequence[float]) -> bytes:
    """s15Fixed16 numbers."""
    return struct.pack(f">{len(values)}l", *(round(value * 65536) for value in values))


def para(kind: int, parameters: Sequence[float]) -> bytes:
    """A parametric curve."""
    return b"para" + bytes(4) + struct.pack(">HH", kind, 0) + fixed(parameters)


def curv(samples: Sequence[int]) -> bytes:
    """A curve: no sample is a straight line, one is a gamma times 256, more are a table of 16-bit numbers."""
    return b"curv" + bytes(4) + struct.pack(f">L{len(samples)}H", len(samples), *samples)


def described(text: str) -> bytes:
    """A version 2 description."""
    words = text.encode("ascii") + b"\0"
    return b"desc" + bytes(4) + struct.pack(">L", len(words)) + words + bytes(78)


def icc(tags: Mapping[bytes, bytes], *, pixels: bytes = b"RGB ", connection: bytes = b"XYZ ") -> bytes:
    """A whole profile with these tags."""
    table, body, start = b"", b"", 132 + 12 * len(tags)
    for name, tag in tags.items():
        padded = tag + bytes(-len(tag) % 4)
        table += struct.pack(">4sLL", name, start + len(body), len(tag))
        body += padded
    size = start + len(body)
    header = struct.pack(">L4sL4s4s4s", size, b"\0\0\0\0", 0x04300000, b"mntr", pixels, connection)
    header += struct.pack(">6H", 2020, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + fixed((0.9642, 1.0, 0.8249)) + bytes(48)
    return header + struct.pack(">L", len(tags)) + table + body


def matrix_profile(colorants: Sequence[Sequence[float]], curve: bytes, name: str = "made for a test") -> bytes:
    """A profile of three primaries and one curve for all."""
    tags = {b"desc": described(name), b"wtpt": b"XYZ " + bytes(4) + fixed((0.9642, 1.0, 0.8249))}
    for letter, colorant in zip((b"r", b"g", b"b"), colorants, strict=True):
        tags[letter + b"XYZ"] = b"XYZ " + bytes(4) + fixed(colorant)
        tags[letter + b"TRC"] = curve
    return icc(tags)


def table_profile(pixels: bytes, lab_of_corner: Mapping[tuple[int, ...], Sequence[float]]) -> bytes:
    """A profile of one table with two grid points a channel: the Lab of every corner of the device's cube."""
    channels = len(next(iter(lab_of_corner)))
    straight = bytes(range(256))
    nodes = b""
    for corner in np.ndindex(*(2,) * channels):
        lightness, a, b = lab_of_corner[tuple(int(c) for c in corner)]
        nodes += bytes((round(lightness * 2.55), round(a) + 128, round(b) + 128))
    head = b"mft1" + bytes(4) + bytes((channels, 3, 2, 0)) + fixed((1, 0, 0, 0, 1, 0, 0, 0, 1))
    table = head + straight * channels + nodes + straight * 3
    return icc({b"desc": described("tables"), b"A2B0": table, b"A2B1": table}, pixels=pixels, connection=b"Lab ")


def cmyk_profile() -> bytes:
    """Inks that each take a share of the light: lightness falls with their sum, colours are left out."""
    corners = {tuple(map(int, c)): (max(0, 100 - 30 * sum(c)), 0, 0) for c in np.ndindex(2, 2, 2, 2)}
    return table_profile(b"CMYK", corners)


# --- EXIF -----------------------------------------------------------------------------------------------------------


def directory(entries: Sequence[tuple[int, int, int, bytes]], start: int, order: str = "<") -> bytes:
    """A TIFF directory of (tag, type, count, value) that will stand at byte `start`."""
    after, body, table = start + 2 + 12 * len(entries) + 4, b"", struct.pack(order + "H", len(entries))
    for tag, kind, count, value in sorted(entries, key=lambda entry: entry[0]):
        table += struct.pack(order + "HHL", tag, kind, count)
        if len(value) <= 4:
            table += value.ljust(4, b"\0")
        else:
            table += struct.pack(order + "L", after + len(body))
            body += value + bytes(len(value) % 2)
    return table + bytes(4) + body


def exif(
    orientation: int | bytes | None = None, taken: str | None = None, space: int | None = None, interop: str = ""
) -> bytes:
    """EXIF data as they stand in a JPEG, big-endian as cameras like it."""
    main: list[tuple[int, int, int, bytes]] = []
    if isinstance(orientation, int):
        main.append((0x0112, 3, 1, struct.pack(">H", orientation)))
    elif orientation is not None:
        main.append((0x0112, 2, len(orientation), orientation))
    start = 8 + len(directory([*main, (0x8769, 4, 1, bytes(4))], 8, ">"))
    detail: list[tuple[int, int, int, bytes]] = []
    if taken is not None:
        detail.append((0x9003, 2, len(taken) + 1, taken.encode() + b"\0"))
    if space is not None:
        detail.append((0xA001, 3, 1, struct.pack(">H", space)))
    last = start + len(directory([*detail, (0xA005, 4, 1, bytes(4))], start, ">"))
    if interop:
        detail.append((0xA005, 4, 1, struct.pack(">L", last)))
    main.append((0x8769, 4, 1, struct.pack(">L", start)))
    parts = directory(main, 8, ">") + directory(detail, start, ">")
    if interop:
        parts += directory([(1, 2, 4, interop.encode() + b"\0")], last, ">")
    return b"Exif\0\0MM\0*" + struct.pack(">L", 8) + parts


# --- pictures -------------------------------------------------------------------------------------------------------


def scene(rows: int = 96, cols: int = 128, *, seed: int = 5) -> NDArray[np.uint8]:
    """A smooth coloured picture with a few pieces on it: no two corners alike, and like nothing turned or mirrored."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:rows, :cols] / np.array([[[rows]], [[cols]]])
    picture = np.stack([60 + 150 * x, 40 + 120 * y, 90 + 60 * x * y], axis=2)
    for top, left, height, width in ((0.1, 0.15, 0.3, 0.2), (0.5, 0.6, 0.35, 0.3), (0.15, 0.7, 0.2, 0.2)):
        inside = (y >= top) & (y < top + height) & (x >= left) & (x < left + width)
        picture[inside] = rng.uniform(30, 230, 3)
    return np.clip(picture + rng.normal(0, 2, picture.shape), 0, 255).astype(np.uint8)


def pillow_file(picture: ArrayLike, kind: str, **options: object) -> bytes:
    """A file as Pillow writes it."""
    out = io.BytesIO()
    image = picture if isinstance(picture, Image.Image) else Image.fromarray(np.asarray(picture))
    image.save(out, kind, **options)
    return out.getvalue()


def opencv_file(picture: NDArray[np.uint16], ending: str, *options: int) -> bytes:
    """A 16-bit file as OpenCV writes it, which knows nothing of our way of reading one."""
    swapped = picture[..., [2, 1, 0, 3][: picture.shape[2]]] if picture.ndim == 3 else picture
    written, data = cv2.imencode(ending, swapped, list(options))
    assert written
    return data.tobytes()


def heif_file(picture: ArrayLike, **options: object) -> bytes:
    """A HEIC file as pillow_heif writes it."""
    import pillow_heif

    image = picture if isinstance(picture, Image.Image) else Image.fromarray(np.asarray(picture))
    out = io.BytesIO()
    made = pillow_heif.from_pillow(image)
    made.save(out, **{"quality": 90, **options})
    return out.getvalue()


def png_chunk(name: bytes, body: bytes) -> bytes:
    """One PNG chunk with its checksum."""
    return struct.pack(">L", len(body)) + name + body + struct.pack(">L", zlib.crc32(name + body))


def with_png_chunk(png: bytes, name: bytes, body: bytes) -> bytes:
    """A PNG file with one more chunk straight after its header."""
    return png[:33] + png_chunk(name, body) + png[33:]


def png_of_zeros(rows: int, cols: int) -> bytes:
    """A black RGB PNG written without holding it in memory."""
    packer = zlib.compressobj(9)
    line = bytes(1 + 3 * cols)
    packed = b"".join(packer.compress(line) for _ in range(rows)) + packer.flush()
    header = struct.pack(">LLBBBBB", cols, rows, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", header) + png_chunk(b"IDAT", packed) + png_chunk(b"IEND", b"")
    )


def dng(
    mosaic: NDArray[np.uint16], xyz_to_camera: ArrayLike, neutral: Sequence[float], *, orientation: int = 1
) -> bytes:
    """A camera RAW file (DNG 1.4) of a mosaic of RG over GB, white at 4095."""

    def ratios(values: ArrayLike) -> bytes:
        return b"".join(struct.pack("<ll", round(value * 10000), 10000) for value in np.ravel(values))

    rows, cols = mosaic.shape
    longs = {254: 0, 256: cols, 257: rows, 278: rows, 279: mosaic.nbytes, 50717: 4095}
    shorts = {258: 16, 259: 1, 262: 32803, 274: orientation, 277: 1, 284: 1, 50714: 0, 50778: 21}
    entries = [(tag, 4, 1, struct.pack("<L", value)) for tag, value in longs.items()]
    entries += [(tag, 3, 1, struct.pack("<H", value)) for tag, value in shorts.items()]
    entries += [
        (271, 2, 8, b"Nothing\0"), (272, 2, 5, b"None\0"), (33421, 3, 2, struct.pack("<HH", 2, 2)),
        (33422, 1, 4, bytes((0, 1, 1, 2))), (50706, 1, 4, bytes((1, 4, 0, 0))), (50707, 1, 4, bytes((1, 1, 0, 0))),
        (50708, 2, 13, b"Nothing None\0"), (50721, 10, 9, ratios(xyz_to_camera)), (50728, 5, 3, ratios(neutral)),
        (34665, 4, 1, bytes(4)),
    ]
    start = 8 + len(directory([*entries, (273, 4, 1, bytes(4))], 8))
    detail = directory([(0x9003, 2, 20, b"2024:03:01 10:11:12\0")], start)
    entries[-1] = (34665, 4, 1, struct.pack("<L", start))
    entries.append((273, 4, 1, struct.pack("<L", start + len(detail))))
    return b"II*\0" + struct.pack("<L", 8) + directory(entries, 8) + detail + mosaic.astype("<u2").tobytes()
