"""
Files spoilt with some knowledge of how they are built, so that the damage reaches deep.

A byte changed at random in a PNG fails its checksum and goes no further. Here a file is taken apart into its parts
(segments, chunks, boxes, directory entries, tags of a profile), a part is dropped, doubled, moved, changed, swapped for
one of another file, and the file is put together again with lengths and checksums that fit. Or the picture in it is
painted over and written anew, in any format. The same chance gives the same file.
"""

from __future__ import annotations

import io
import random
import struct
import warnings
import zlib
from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

Part = tuple[bytes, bytes]  # name and body
Picture = NDArray[np.uint8]

_LARGEST_PICTURE = 200_000  # pixels of a painted picture: larger ones take long and show little more
_PNG_START = b"\x89PNG\r\n\x1a\n"
_NESTED_BOXES = {b"meta": 4, b"iprp": 0, b"ipco": 0, b"dinf": 0, b"moov": 0, b"trak": 0, b"grpl": 0}  # bytes before
_NUMBERS = (
    0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 15, 16, 17, 31, 32, 63, 64, 65, 100, 127, 128, 129, 255, 256, 257, 511, 512, 1000,
    1024, 4096, 10_000, 32_767, 32_768, 50_000, 65_535, 65_536, 100_000, 1_000_000, 2**24 - 1, 2**24, 2**30, 2**31 - 1,
    2**31, 2**32 - 16, 2**32 - 1,
)
_TAGS = (  # of TIFF and EXIF directories that are looked at
    254, 256, 257, 258, 259, 262, 266, 270, 271, 272, 273, 274, 277, 278, 279, 284, 292, 293, 317, 320, 322, 323, 324,
    325, 330, 338, 339, 347, 512, 513, 514, 529, 530, 531, 532, 33421, 33422, 34665, 34675, 36867, 36868, 40961, 40965,
    50706, 50721, 50728,
)
_ICC_TAGS = (b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC", b"kTRC", b"wtpt", b"desc", b"A2B0", b"A2B1", b"B2A0")


def mutated(data: bytes, chance: random.Random, donor: bytes) -> bytes:
    """Return what chance makes of a file, with parts of another perhaps."""
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        change = chance.choices((_parts_changed, _spoilt, _repainted), weights=(6, 2, 2))[0]
        data = change(data, chance, donor)
    return data


# --- without knowledge ------------------------------------------------------------------------------------------------


def _spoilt(data: bytes, chance: random.Random, donor: bytes) -> bytes:
    """Bytes flipped, blanked, moved, cut off, put in, or numbers written over them."""
    if not data:
        return chance.randbytes(16)
    return chance.choice((_flipped, _numbered, _numbered, _blanked, _shortened, _lengthened, _crossed))(
        bytearray(data), chance, donor)


def _flipped(data: bytearray, chance: random.Random, donor: bytes) -> bytes:
    for _ in range(chance.randint(1, 12)):
        data[_somewhere(data, chance)] ^= 1 << chance.randrange(8)
    return bytes(data)


def _somewhere(data: bytes | bytearray, chance: random.Random) -> int:
    """A place in the data, often near its start, where the headers are."""
    return chance.randrange(min(len(data), chance.choice((16, 64, 600, len(data)))))


def _numbered(data: bytearray, chance: random.Random, donor: bytes) -> bytes:
    for _ in range(chance.randint(1, 3)):
        width, order = chance.choice((1, 2, 2, 4, 4, 8)), chance.choice(("big", "little"))
        number = chance.choice(_NUMBERS) if chance.random() < 0.8 else chance.getrandbits(8 * width)
        at = _somewhere(data, chance)
        data[at : at + width] = (number % 256**width).to_bytes(width, order)
    return bytes(data)


def _blanked(data: bytearray, chance: random.Random, donor: bytes) -> bytes:
    at = _somewhere(data, chance)
    gone = data[at : at + chance.choice((1, 2, 4, 16, 100, 1000))]
    data[at : at + len(gone)] = bytes([chance.choice((0, 255, chance.randrange(256)))]) * len(gone)
    return bytes(data)


def _shortened(data: bytearray, chance: random.Random, donor: bytes) -> bytes:
    at = chance.randrange(len(data))
    del data[at : chance.choice((len(data), at + chance.randint(1, 64)))]
    return bytes(data)


def _lengthened(data: bytearray, chance: random.Random, donor: bytes) -> bytes:
    at, size = chance.randrange(len(data) + 1), chance.choice((1, 2, 4, 12, 64, 500))
    data[at:at] = chance.choice((bytes(size), b"\xff" * size, chance.randbytes(size), bytes(data[at : at + size]) * 2))
    return bytes(data)


def _crossed(data: bytearray, chance: random.Random, donor: bytes) -> bytes:
    """A stretch of the one laid over the other, at the same place or another."""
    at, size = _somewhere(data, chance), chance.choice((4, 16, 64, 500, 5000))
    start = chance.choice((at, chance.randrange(len(donor) + 1)))
    piece = donor[start : start + size]
    data[at : at + len(piece)] = piece
    return bytes(data)


# --- by parts ---------------------------------------------------------------------------------------------------------


def kind_of(data: bytes) -> str:
    """Return what a file or a part of one is built like: jpeg, png, webp, boxes, tiff, exif, icc, or nothing known."""
    starts = {b"\xff\xd8\xff": "jpeg", _PNG_START: "png", b"II*\0": "tiff", b"MM\0*": "tiff", b"II+\0": "tiff",
              b"MM\0+": "tiff", b"Exif\0\0": "exif"}
    kind = next((kind for start, kind in starts.items() if data.startswith(start)), "")
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return "webp"
    return "icc" if data[36:40] == b"acsp" else "boxes" if data[4:8] == b"ftyp" else kind


def taken_apart(data: bytes, kind: str) -> list[Part]:
    """Return the parts of a JPEG, PNG, WebP file or of boxes; what cannot be told apart is a last, nameless part."""
    return _APART[kind](data) if kind in _APART else [(b"", data)]


def put_together(parts: list[Part], kind: str) -> bytes:
    """Return the file that these are the parts of, with lengths and checksums that fit."""
    return _TOGETHER[kind](parts) if kind in _TOGETHER else b"".join(body for _, body in parts)


def _jpeg_apart(data: bytes) -> list[Part]:
    parts, at = [], 2
    while data[at : at + 1] == b"\xff" and data[at + 1 : at + 2] not in (b"\xda", b"\xff", b""):
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4])
        if end < at + 4 or end > len(data):
            break
        parts.append((data[at + 1 : at + 2], data[at + 4 : end]))
        at = end
    return [*parts, (b"", data[at:])]


def _jpeg_together(parts: list[Part]) -> bytes:
    segments = [b"\xff" + name + struct.pack(">H", min(len(body), 65_533) + 2) + body[:65_533] if name else body
                for name, body in parts]
    return b"".join([b"\xff\xd8", *segments])


def _png_apart(data: bytes) -> list[Part]:
    parts, at = [], 8
    while at + 12 <= len(data):
        length = int.from_bytes(data[at : at + 4])
        if at + 12 + length > len(data):
            break
        parts.append((data[at + 4 : at + 8], data[at + 8 : at + 8 + length]))
        at += 12 + length
    return [*parts, (b"", data[at:])]


def _png_together(parts: list[Part]) -> bytes:
    chunks = [struct.pack(">L", len(body)) + name + body + struct.pack(">L", zlib.crc32(name + body)) if name else body
              for name, body in parts]
    return b"".join([_PNG_START, *chunks])


def _webp_apart(data: bytes) -> list[Part]:
    parts, at = [], 12
    while at + 8 <= len(data):
        length = int.from_bytes(data[at + 4 : at + 8], "little")
        if at + 8 + length > len(data):
            break
        parts.append((data[at : at + 4], data[at + 8 : at + 8 + length]))
        at += 8 + length + length % 2
    return [*parts, (b"", data[at:])]


def _webp_together(parts: list[Part]) -> bytes:
    chunks = b"".join(name + struct.pack("<L", len(body)) + body + bytes(len(body) % 2) if name else body
                      for name, body in parts)
    return b"RIFF" + struct.pack("<L", len(chunks) + 4) + b"WEBP" + chunks


def _boxes_apart(data: bytes) -> list[Part]:
    parts, at = [], 0
    while at + 8 <= len(data):
        length = int.from_bytes(data[at : at + 4])
        if length < 8 or at + length > len(data):
            break
        parts.append((data[at + 4 : at + 8], data[at + 8 : at + length]))
        at += length
    return [*parts, (b"", data[at:])]


def _boxes_together(parts: list[Part]) -> bytes:
    return b"".join(struct.pack(">L", len(body) + 8) + name + body if name else body for name, body in parts)


_APART: dict[str, Callable[[bytes], list[Part]]] = {
    "jpeg": _jpeg_apart, "png": _png_apart, "webp": _webp_apart, "boxes": _boxes_apart,
}
_TOGETHER: dict[str, Callable[[list[Part]], bytes]] = {
    "jpeg": _jpeg_together, "png": _png_together, "webp": _webp_together, "boxes": _boxes_together,
}


def _parts_changed(data: bytes, chance: random.Random, donor: bytes) -> bytes:
    kind = kind_of(data)
    if kind in ("tiff", "exif"):
        return _tiff_changed(data, chance, donor)
    if kind == "icc":
        return _profile_changed(data, chance, donor)
    if kind not in _APART:
        return _spoilt(data, chance, donor)
    others = taken_apart(donor, kind_of(donor)) if kind_of(donor) == kind else [(b"", donor)]
    return put_together(_rearranged(taken_apart(data, kind), chance, others), kind)


def _rearranged(parts: list[Part], chance: random.Random, others: list[Part]) -> list[Part]:
    """The parts with one of them dropped, doubled, moved, taken from elsewhere, or changed, which is likeliest."""
    parts = list(parts)
    at = chance.randrange(len(parts))
    what = chance.choices(("change", "drop", "double", "move", "take", "take over"), weights=(12, 1, 1, 1, 2, 2))[0]
    if what == "change":
        parts[at] = (parts[at][0], _body_changed(*parts[at], chance, others))
    elif what == "drop":
        del parts[at]
    elif what == "double":
        parts[at:at] = [parts[at]] * chance.choice((1, 1, 2, 300))
    elif what == "move":
        parts.insert(chance.randrange(len(parts)), parts.pop(at))
    elif what == "take":
        parts.insert(at, chance.choice(others))
    else:
        parts[at] = next((part for part in others if part[0] == parts[at][0]), chance.choice(others))
    return parts


def _body_changed(name: bytes, body: bytes, chance: random.Random, others: list[Part]) -> bytes:
    """The body of a part changed by what it is built like."""
    twin = next((other for other_name, other in others if other_name == name), chance.choice(others)[1])
    if name in _NESTED_BOXES and body:
        before = _NESTED_BOXES[name]
        inner = _rearranged(_boxes_apart(body[before:]), chance, _boxes_apart(twin[before:]))
        return body[:before] + _boxes_together(inner)
    for before in (0, 4, 14):  # a profile in a JPEG stands behind its name and number, EXIF in HEIC behind a length
        if kind_of(body[before:]) in ("tiff", "exif", "icc"):
            return body[:before] + _parts_changed(body[before:], chance, twin)
    if name == b"iCCP" and chance.random() < 0.9:
        return _packed_changed(body, body.find(b"\0") + 2, chance, twin)
    if name == b"IDAT" and chance.random() < 0.5:
        return _packed_changed(body, 0, chance, twin)
    return _spoilt(body, chance, twin)


def _packed_changed(body: bytes, start: int, chance: random.Random, twin: bytes) -> bytes:
    """A part that is deflated from `start` on, changed inside, or all of it another length."""
    try:
        inside = zlib.decompressobj().decompress(body[start:], 5_000_000)
    except zlib.error:
        return _spoilt(body, chance, twin)
    changed = _parts_changed(inside, chance, twin) if chance.random() < 0.8 else inside * chance.choice((2, 5, 100))
    return body[:start] + zlib.compress(changed[:20_000_000], 1)


# --- TIFF and EXIF ----------------------------------------------------------------------------------------------------


def _tiff_changed(data: bytes, chance: random.Random, donor: bytes) -> bytes:
    """One entry of a directory changed where it stands, or the directory written anew at the end with one more."""
    start = 6 if data.startswith(b"Exif\0\0") else 0
    body = bytearray(data[start:])
    order, big = ("<" if body[:2] == b"II" else ">"), body[2:4] in (b"+\0", b"\0+")
    places = [] if len(body) < 16 or big else _directories(body, order)
    if not places or chance.random() < 0.15:
        return data[:start] + _spoilt(bytes(body), chance, donor)
    at, count = chance.choice(places)
    change = chance.choices((_entry_changed, _entry_added), weights=(4, 1))[0]
    return data[:start] + change(body, order, at, count, chance)


def _directories(body: bytes | bytearray, order: str) -> list[tuple[int, int]]:
    """Where the directories that hold entries stand, and how many each holds: the first, its EXIF, and those linked."""
    found: dict[int, int] = {}
    wanted = [struct.unpack_from(order + "L", body, 4)[0]]
    while wanted and len(found) < 20:
        at = wanted.pop()
        if at in found or at + 2 > len(body):
            continue
        count = struct.unpack_from(order + "H", body, at)[0]
        if not 0 < count <= 200 or at + 2 + 12 * count + 4 > len(body):
            continue
        found[at] = count
        entries = [struct.unpack_from(order + "HHLL", body, at + 2 + 12 * number) for number in range(count)]
        wanted += [value for tag, _, _, value in entries if tag in (34665, 40965, 330)]
        wanted.append(struct.unpack_from(order + "L", body, at + 2 + 12 * count)[0])
    return list(found.items())


def _entry_changed(body: bytearray, order: str, at: int, count: int, chance: random.Random) -> bytes:
    entry = at + 2 + 12 * chance.randrange(count)
    tag, kind, number, value = struct.unpack_from(order + "HHLL", body, entry)
    field = chance.choice(("tag", "kind", "number", "value", "value", "value"))
    if field == "tag":
        tag = chance.choice(_TAGS)
    elif field == "kind":
        kind = chance.choice((*range(19), 65535))
    elif field == "number":
        number = chance.choice((*_NUMBERS, number + 1, max(number - 1, 0)))
    else:
        value = chance.choice((*_NUMBERS, value + 1, value ^ 1 << chance.randrange(32))) % 2**32
        value = value << 16 if order == ">" and kind == 3 and number == 1 and value < 65536 else value
    struct.pack_into(order + "HHLL", body, entry, tag, kind, number % 2**32, value)
    return bytes(body)


def _entry_added(body: bytearray, order: str, at: int, count: int, chance: random.Random) -> bytes:
    entries = [bytes(body[at + 2 + 12 * number : at + 14 + 12 * number]) for number in range(count)]
    added = struct.pack(order + "HHLL", chance.choice(_TAGS), chance.choice((1, 2, 3, 4, 5, 7, 12, 16)),
                        chance.choice(_NUMBERS), chance.choice((*_NUMBERS, len(body), at)))
    entries = sorted([*entries, added], key=lambda entry: struct.unpack(order + "H", entry[:2]))
    body += bytes(len(body) % 2)
    anew = len(body)
    old, new = struct.pack(order + "L", at), struct.pack(order + "L", anew)
    place = body.find(old, 4)  # whatever led to the old directory leads to the new one
    if place >= 0:
        body[place : place + 4] = new
    return bytes(body) + struct.pack(order + "H", len(entries)) + b"".join(entries) + bytes(4)


# --- colour profiles --------------------------------------------------------------------------------------------------


def _profile_changed(data: bytes, chance: random.Random, donor: bytes) -> bytes:
    """A tag of a profile pointed elsewhere, renamed, or changed; or very many of them; its length mended mostly."""
    count = int.from_bytes(data[128:132])
    if not 0 < count <= 200 or len(data) < 132 + 12 * count or chance.random() < 0.15:
        return _spoilt(data, chance, donor)
    tags = [list(struct.unpack_from(">4sLL", data, 132 + 12 * number)) for number in range(count)]
    tag = chance.choice(tags)
    rest = bytearray(data[132 + 12 * count :])
    what = chance.choice(("name", "start", "size", "body", "body", "body", "swap", "head"))
    if what == "name":
        tag[0] = chance.choice(_ICC_TAGS)
    elif what in ("start", "size"):
        tag[1 + (what == "size")] = chance.choice((*_NUMBERS, len(data) - 12, chance.randrange(len(data))))
    elif what == "swap":
        other = chance.choice(tags)
        tag[1:], other[1:] = other[1:], tag[1:]
    head = bytearray(data[:132])
    if what == "head":
        head = bytearray(_spoilt(bytes(head), chance, donor)[:132].ljust(132, b"\0"))
    whole = bytes(head) + b"".join(struct.pack(">4sLL", *tag) for tag in tags) + bytes(rest)
    if what == "body":
        place = min(tag[1], len(whole))
        inside = _tag_changed(whole[place : place + tag[2]], chance, donor)
        whole = whole[:place] + inside[: tag[2]] + whole[place + len(inside[: tag[2]]) :]
    return struct.pack(">L", len(whole)) + whole[4:] if chance.random() < 0.9 else whole


def _tag_changed(body: bytes, chance: random.Random, donor: bytes) -> bytes:
    """A curve, matrix or table of a profile with one of its numbers changed, or of another kind."""
    if len(body) < 12 or chance.random() < 0.3:
        return _spoilt(body, chance, donor)
    changed = bytearray(body)
    if chance.random() < 0.2:
        changed[:4] = chance.choice((b"curv", b"para", b"XYZ ", b"mft1", b"mft2", b"mAB ", b"desc", b"mluc"))
    for _ in range(chance.randint(1, 3)):
        at = 8 + 2 * chance.randrange(max(1, min(40, (len(body) - 8) // 2)))
        changed[at : at + 2] = struct.pack(">H", chance.choice(_NUMBERS) % 65536)
    return bytes(changed[: len(body)])


# --- by painting ------------------------------------------------------------------------------------------------------


def _repainted(data: bytes, chance: random.Random, donor: bytes) -> bytes:
    """The picture in a file painted over and written anew in any format; the file spoilt where it holds none."""
    picture = _picture_in(data)
    if picture is None:
        return _spoilt(data, chance, donor)
    other = _picture_in(donor)
    try:
        for _ in range(chance.randint(0, 4)):
            picture = chance.choice(_PAINTERS)(picture, chance, picture if other is None else other)
        return _written(picture, chance)
    except (OSError, cv2.error):  # a picture of one pixel, or longer than the format allows
        return _spoilt(data, chance, donor)


def _picture_in(data: bytes) -> Picture | None:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            image = Image.open(io.BytesIO(data))
            if image.width * image.height > _LARGEST_PICTURE:
                return None
            return np.array(image.convert("RGB"))
    except Exception:  # a decoder may throw anything at a spoilt file
        return None


def _colour(chance: random.Random) -> tuple[int, int, int]:
    grey = chance.randrange(256)
    if chance.random() < 0.3:
        return (grey,) * 3
    return (chance.randrange(256), chance.randrange(256), chance.randrange(256))


def _thing_laid(picture: Picture, chance: random.Random, other: Picture) -> Picture:
    """Boxes, discs, ragged shapes or lines, one or very many."""
    rows, cols = picture.shape[:2]
    painted = picture.copy()
    size = chance.choice((4, 8, 15, 30, 60, 200))
    for _ in range(chance.choice((1, 3, 10, 100))):
        col, row = chance.randrange(cols), chance.randrange(rows)
        corners = [(col + chance.randint(-size, size), row + chance.randint(-size, size))
                   for _ in range(chance.choice((2, 3, 4, 5, 12)))]
        shape = chance.choice(("box", "disc", "ragged", "line"))
        if shape == "box":
            box = cv2.boxPoints(((float(col), float(row)), (size, chance.randint(1, size)), chance.random() * 90))
            cv2.fillPoly(painted, [box.astype(np.int32)], _colour(chance))
        elif shape == "disc":
            cv2.circle(painted, (col, row), size // 2, _colour(chance), -1)
        elif shape == "ragged":
            cv2.fillPoly(painted, [np.array(corners, np.int32)], _colour(chance))
        else:
            cv2.line(painted, corners[0], corners[1], _colour(chance), chance.choice((1, 1, 3, 9)))
    return painted


def _pattern(picture: Picture, chance: random.Random, other: Picture) -> Picture:
    """A lattice of boxes or discs of one colour or many: a chart, a weave, a sheet of buttons."""
    rows, cols = picture.shape[:2]
    painted = np.full_like(picture, _colour(chance)) if chance.random() < 0.5 else picture.copy()
    pitch, one = chance.choice((6, 10, 16, 24, 40)), _colour(chance)
    radius, many, round_ = max(1, int(pitch * chance.uniform(0.2, 0.5))), chance.random() < 0.7, chance.random() < 0.5
    for row in range(pitch // 2, rows, pitch):
        for col in range(pitch // 2, cols, pitch):
            colour = _colour(chance) if many else one
            if round_:
                cv2.circle(painted, (col, row), radius, colour, -1)
            else:
                cv2.rectangle(painted, (col - radius, row - radius), (col + radius, row + radius), colour, -1)
    return painted


def _sized(picture: Picture, chance: random.Random, other: Picture) -> Picture:
    """Another size, often very long or very small."""
    rows, cols = chance.choice(((64, 64), (64, 65), (65, 400), (64, 2000), (2000, 64), (300, 400), (97, 131),
                                (150, 100),
                                (70, 1300), (350, 350)))
    how = chance.choice((cv2.INTER_NEAREST, cv2.INTER_AREA, cv2.INTER_CUBIC))
    return np.asarray(cv2.resize(picture, (cols, rows), interpolation=how), np.uint8)


def _lit(picture: Picture, chance: random.Random, other: Picture) -> Picture:
    """More or less light, a cast, a slope of light, another contrast; clipped where it runs out."""
    gain = np.array([chance.choice((0.0, 0.2, 0.7, 1.0, 1.3, 4.0)) for _ in range(3)])
    gain = gain if chance.random() < 0.4 else np.full(3, chance.choice((0.02, 0.3, 0.8, 1.2, 2.0, 10.0)))
    slope = np.linspace(1, chance.choice((0.0, 0.3, 1.0, 1.0, 2.0)), picture.shape[1])[None, :, None]
    lift = chance.choice((0, 0, 0, 60, 200))
    return np.asarray(np.clip(picture * gain * slope + lift, 0, 255), np.uint8)


def _noisy(picture: Picture, chance: random.Random, other: Picture) -> Picture:
    noise = np.random.default_rng(chance.getrandbits(32)).normal(0, chance.choice((1, 5, 30, 100)), picture.shape)
    return np.asarray(np.clip(picture + noise, 0, 255), np.uint8)


def _coarsened(picture: Picture, chance: random.Random, other: Picture) -> Picture:
    step = chance.choice((16, 64, 128))
    return np.asarray(picture // step * step, np.uint8)


def _blurred(picture: Picture, chance: random.Random, other: Picture) -> Picture:
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), chance.choice((0.7, 2, 10))), np.uint8)


def _turned(picture: Picture, chance: random.Random, other: Picture) -> Picture:
    rows, cols = picture.shape[:2]
    turn = cv2.getRotationMatrix2D((cols / 2, rows / 2), chance.uniform(-180, 180), chance.choice((0.3, 0.7, 1.0, 3.0)))
    return np.asarray(cv2.warpAffine(picture, turn, (cols, rows), borderMode=chance.choice((0, 1, 2, 3))), np.uint8)


def _halved(picture: Picture, chance: random.Random, other: Picture) -> Picture:
    """Part of another picture, or of nothing, in a part of this one."""
    rows, cols = picture.shape[:2]
    painted = picture.copy()
    filling = cv2.resize(other, (cols, rows)) if chance.random() < 0.7 else np.full_like(picture, _colour(chance))
    top, bottom = sorted(chance.choices(range(rows + 1), k=2))
    left, right = sorted(chance.choices(range(cols + 1), k=2))
    painted[top:bottom, left:right] = filling[top:bottom, left:right]
    return painted


def _repeated(picture: Picture, chance: random.Random, other: Picture) -> Picture:
    """The picture several times over, each as small as that leaves it."""
    times = chance.choice((2, 3, 6))
    small = cv2.resize(picture, None, fx=1 / times, fy=1 / times, interpolation=cv2.INTER_AREA)
    return np.asarray(np.tile(small, (times, times, 1)), np.uint8)


_PAINTERS = (
    _thing_laid, _thing_laid, _pattern, _sized, _lit, _noisy, _coarsened, _blurred, _turned, _halved, _repeated,
)


def _written(picture: Picture, chance: random.Random) -> bytes:
    """The picture as a file of some format, kind of pixels and compression."""
    image = Image.fromarray(picture)
    kind = chance.choice(("PNG", "PNG", "JPEG", "JPEG", "TIFF", "WEBP", "wide"))
    if kind == "wide":
        wide = picture.astype(np.uint16) * 257 ^ np.uint16(chance.randrange(256))
        return bytes(cv2.imencode(chance.choice((".png", ".tif")), wide[..., ::-1])[1].tobytes())
    mode = chance.choice(("RGB", "RGB", "RGB", "L", *{"PNG": ("P", "RGBA", "LA", "1"), "JPEG": ("CMYK",),
                                                     "TIFF": ("RGBA", "CMYK", "P", "1"), "WEBP": ("RGBA",)}[kind]))
    if mode in ("RGBA", "LA"):
        image.putalpha(Image.fromarray(picture[..., 1]))
    options: dict[str, Any] = {
        "PNG": {"compress_level": 1},
        "JPEG": {"quality": chance.choice((5, 40, 75, 95)), "progressive": chance.random() < 0.2,
                 "subsampling": chance.choice((0, 1, 2))},
        "TIFF": {"compression": chance.choice(("raw", "tiff_lzw", "tiff_adobe_deflate", "packbits"))},
        "WEBP": {"quality": 60, "method": 0, "lossless": chance.random() < 0.3},
    }[kind]
    out = io.BytesIO()
    image.convert(mode).save(out, kind, **options)
    return out.getvalue()
