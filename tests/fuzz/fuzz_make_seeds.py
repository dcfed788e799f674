"""
Write the files that fuzzing starts from: small invented boards in every format and kind of pixels that is read.

    python tests/fuzz/fuzz_make_seeds.py

Seeds named found-... are not made here: each is a file that once showed a fault.
"""

from __future__ import annotations

import io
import struct
import sys
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[1]))

import photo_files as made  # noqa: E402
from made_photos import PILE, PLACES, STEPS, TINTS, tinted  # noqa: E402
from made_scenes import box, drawn  # noqa: E402

from contrastkit.camera.chart import reference_xyz  # noqa: E402
from contrastkit.camera.correction import SRGB_TO_XYZ_D50  # noqa: E402
from contrastkit.light.lightness import lightness_to_luminance, linear_to_srgb1  # noqa: E402

FOLDER = Path(__file__).parent / "seeds"
Picture = NDArray[np.uint8]
SRGB = made.matrix_profile(made.SRGB_COLORANTS, made.para(3, made.SRGB_PARAMETERS))
EXIF = made.exif(6, "2024:05:01 12:00:00", 1)


def board(reference: str = "card", *, ground: float = 0.8, rows: int = 225, light: float = 1.0) -> Picture:
    """A board of seven tinted squares with a card, a scale or nothing at its right, drawn flat and without noise."""
    share = rows / 900
    things = [(box(np.array(place) * share, 150 * share, degrees=7 * number), tinted(value, TINTS[number % 3]))
              for number, (place, value) in enumerate(zip(PLACES, PILE, strict=False))]
    if reference == "card":
        things.append((box((450 * share, 1000 * share), 180 * share, 140 * share), [0.18] * 3))
    if reference == "scale":
        things += [(box(((200 + 100 * number) * share, 1000 * share), 100 * share, 120 * share),
                    [float(lightness_to_luminance(step))] * 3) for number, step in enumerate(STEPS)]
    slope = np.broadcast_to(np.linspace(1, light, rows * 4 // 3), (rows, rows * 4 // 3))
    return np.asarray(drawn(things, size=(rows, rows * 4 // 3), board=ground, light=slope, noise=0))


def chart(rows: int = 140) -> Picture:
    """A 24-patch chart by its nominal values, on grey."""
    linear = np.clip(reference_xyz() @ np.linalg.inv(SRGB_TO_XYZ_D50).T, 0, 1)
    picture = np.full((700, 1000, 3), 0.35)
    picture[80:620, 80:920] = 0.02
    for number, colour in enumerate(linear):
        row, col = divmod(number, 6)
        picture[100 + 130 * row : 210 + 130 * row, 110 + 135 * col : 220 + 135 * col] = colour
    small = cv2.resize(picture, (rows * 10 // 7, rows), interpolation=cv2.INTER_AREA)
    return np.asarray(np.rint(linear_to_srgb1(0.85 * small) * 255), np.uint8)


def round_things(count: int = 12) -> Picture:
    """Buttons of every grey, in rows."""
    picture = np.full((180, 240, 3), 225, np.uint8)
    for number in range(count):
        row, col = divmod(number, 4)
        middle, colour = (35 + 57 * col, 35 + 55 * row), (20 * number, 20 * number, 15 * number)
        cv2.circle(picture, middle, 18, colour, -1, cv2.LINE_AA)
    return picture


def _wide(picture: Picture, channels: int = 3) -> NDArray[np.uint16]:
    wide = picture.astype(np.uint16) * 257
    return np.concatenate([wide, wide[..., :1]], axis=2)[..., :channels].squeeze()


def _cube_profile() -> bytes:
    corners = {tuple(map(int, c)): (100 * (0.2 * c[0] + 0.7 * c[1] + 0.1 * c[2]), 0, 0) for c in np.ndindex(2, 2, 2)}
    return made.table_profile(b"RGB ", corners)


def _big_tiff(picture: Picture) -> bytes:
    """A BigTIFF of one strip, which Pillow reads and does not write."""
    rows, cols = picture.shape[:2]
    values = {256: cols, 257: rows, 259: 1, 262: 1, 273: 0, 277: 1, 278: rows, 279: rows * cols, 258: 8}
    start = 16 + 8 + 20 * len(values) + 8
    entries = b"".join(struct.pack("<HHQQ", tag, 4, 1, start if tag == 273 else value)
                       for tag, value in sorted(values.items()))
    head = b"II+\0" + struct.pack("<HHQ", 8, 0, 16)
    return head + struct.pack("<Q", len(values)) + entries + bytes(8) + picture[..., 1].tobytes()


def _laid_out(picture: Picture, **options: Any) -> bytes:
    """A TIFF in tiles or planes, which Pillow reads and does not write."""
    import tifffile

    out = io.BytesIO()
    tifffile.imwrite(out, picture, photometric="rgb", metadata=None, software=False, **options)
    return out.getvalue()


def _frames(picture: Picture, kind: str, **options: Any) -> bytes:
    first, second = Image.fromarray(picture), Image.fromarray(picture[::-1].copy())
    out = io.BytesIO()
    first.save(out, kind, save_all=True, append_images=[second], **options)
    return out.getvalue()


def _png_with(picture: Picture, name: bytes, body: bytes) -> bytes:
    return made.with_png_chunk(made.pillow_file(picture, "PNG"), name, body)


def _jpegs() -> Iterator[tuple[str, bytes]]:
    small, jpeg = board(rows=150), "JPEG"
    yield "board-card.jpg", made.pillow_file(board(), jpeg, quality=85, exif=EXIF, icc_profile=SRGB)
    yield "board-scale.jpg", made.pillow_file(board("scale"), jpeg, quality=85)
    yield "board-nothing.jpg", made.pillow_file(board("nothing", light=0.5), jpeg, quality=80)
    yield "progressive.jpg", made.pillow_file(small, jpeg, progressive=True, icc_profile=_cube_profile())
    yield "grey.jpg", made.pillow_file(small[..., 1], jpeg)
    yield "cmyk.jpg", made.pillow_file(Image.fromarray(small).convert("CMYK"), jpeg, icc_profile=made.cmyk_profile())
    yield "restarts.jpg", made.pillow_file(small, jpeg, subsampling=0, restart_marker_blocks=4)
    yield "adobe-rgb.jpg", made.pillow_file(small, jpeg, exif=made.exif(3, "2023:01:01 00:00:00", 65535, "R03"))
    gamma = made.matrix_profile(made.ADOBE_COLORANTS, made.curv([563]))
    yield "gamma-profile.jpg", made.pillow_file(small, jpeg, icc_profile=gamma)
    table = made.matrix_profile(made.P3_COLORANTS, made.curv([number**2 // 65535 for number in range(0, 65536, 257)]))
    yield "curve-profile.jpg", made.pillow_file(round_things(), jpeg, icc_profile=table)


def _pngs() -> Iterator[tuple[str, bytes]]:
    small, tiny = board(rows=150), board(rows=75)
    yield "board-card.png", made.pillow_file(board(), "PNG", icc_profile=SRGB, exif=EXIF)
    yield "board-dark.png", made.pillow_file(board("card", ground=0.04), "PNG")
    yield "chart.png", made.pillow_file(chart(), "PNG")
    yield "buttons.png", made.pillow_file(round_things(), "PNG")
    yield "palette.png", made.pillow_file(Image.fromarray(small).quantize(32), "PNG", transparency=3)
    yield "grey.png", made.pillow_file(small[..., 1], "PNG")
    yield "grey-alpha.png", made.pillow_file(Image.fromarray(small).convert("LA"), "PNG")
    yield "black-white.png", made.pillow_file(Image.fromarray(small).convert("1"), "PNG")
    yield "wide.png", made.opencv_file(_wide(small), ".png")
    yield "wide-alpha.png", made.opencv_file(_wide(tiny, 4), ".png")
    yield "wide-grey.png", made.opencv_file(_wide(tiny, 1), ".png")
    yield "code-points.png", _png_with(tiny, b"cICP", bytes((12, 13, 0, 1)))
    yield "gamma.png", _png_with(tiny, b"gAMA", struct.pack(">L", 55_556))
    yield "animated.png", _frames(tiny, "PNG")
    grey = made.icc({b"kTRC": made.curv([461])}, pixels=b"GRAY")
    yield "grey-profile.png", made.pillow_file(small[..., 1], "PNG", icc_profile=grey)


def _tiffs() -> Iterator[tuple[str, bytes]]:
    small, tiny, tiff = board(rows=150), board(rows=66), "TIFF"
    yield "board-card.tif", made.pillow_file(
        board(), tiff, compression="tiff_adobe_deflate", icc_profile=SRGB, tiffinfo={274: 6})
    yield "raw.tif", made.pillow_file(tiny, tiff, exif=EXIF)
    yield "lzw.tif", made.pillow_file(small, tiff, compression="tiff_lzw")
    yield "packbits.tif", made.pillow_file(tiny[..., 1], tiff, compression="packbits")
    yield "jpeg.tif", made.pillow_file(small, tiff, compression="jpeg")
    yield "cmyk.tif", made.pillow_file(
        Image.fromarray(tiny).convert("CMYK"), tiff, compression="tiff_lzw", icc_profile=made.cmyk_profile())
    yield "palette.tif", made.pillow_file(Image.fromarray(small).quantize(16), tiff, compression="tiff_lzw")
    yield "alpha.tif", made.pillow_file(np.dstack([small, small[..., 0]]), tiff, compression="tiff_lzw")
    yield "wide.tif", made.opencv_file(_wide(small), ".tif")
    yield "wide-grey.tif", made.opencv_file(_wide(small, 1), ".tif")
    yield "big.tif", _big_tiff(tiny)
    yield "big-endian.tif", made.pillow_file(tiny[..., 1], tiff, big_endian=True)
    yield "frames.tif", _frames(tiny, tiff, compression="tiff_lzw")
    yield "floating.tif", made.pillow_file(tiny[..., 1].astype(np.float32), tiff, compression="tiff_lzw")
    yield "tiles.tif", _laid_out(tiny, tile=(32, 32), compression="zlib")
    yield "planes.tif", _laid_out(tiny.transpose(2, 0, 1), planarconfig="separate")
    yield "camera.dng", made.dng((_wide(board(rows=96), 1) // 16).astype(np.uint16), np.eye(3), (1, 1, 1))


def _others() -> Iterator[tuple[str, bytes]]:
    small, tiny = board(rows=150), board(rows=75)
    yield "board-card.webp", made.pillow_file(board(), "WEBP", quality=80, exif=EXIF, icc_profile=SRGB)
    yield "lossless.webp", made.pillow_file(np.dstack([small, small[..., 0]]), "WEBP", lossless=True)
    yield "plain.webp", made.pillow_file(tiny, "WEBP", quality=60)
    yield "animated.webp", _frames(tiny, "WEBP")
    yield "board-card.heic", made.heif_file(board(), exif=EXIF, quality=60)
    yield "profile.heic", made.heif_file(Image.fromarray(tiny), icc_profile=SRGB, quality=50)
    yield "grey.heic", made.heif_file(Image.fromarray(tiny[..., 1]), quality=50)
    yield "alpha.heic", made.heif_file(Image.fromarray(np.dstack([tiny, tiny[..., 0]])), quality=50)
    yield "wide.heic", _heif_of(_wide(small), "RGB;16")


def _heif_of(codes: NDArray[np.uint16], mode: str) -> bytes:
    import pillow_heif

    out = io.BytesIO()
    pillow_heif.from_bytes(mode, (codes.shape[1], codes.shape[0]), codes.tobytes()).save(out, quality=50)
    return out.getvalue()


def _traps() -> Iterator[tuple[str, bytes]]:
    """Small files that say they are large, or unpack to much."""
    picture = made.pillow_file(board(rows=75), "PNG")
    yield "trap-size.png", picture[:16] + struct.pack(">LL", 40_000, 40_000) + picture[24:29] + _crc(
        picture[12:16] + struct.pack(">LL", 40_000, 40_000) + picture[24:29]) + picture[33:]
    yield "trap-zeros.png", made.png_of_zeros(3900, 6000)
    jpeg = bytearray(made.pillow_file(board(rows=75), "JPEG"))
    at = jpeg.find(b"\xff\xc0") + 5
    jpeg[at : at + 4] = struct.pack(">HH", 65_500, 65_500)
    yield "trap-size.jpg", bytes(jpeg)
    body = b"many\0\0" + zlib.compress(SRGB + bytes(15_000_000), 9)
    yield "trap-profile.png", _png_with(board(rows=75), b"iCCP", body)


def _crc(chunk: bytes) -> bytes:
    return struct.pack(">L", zlib.crc32(chunk))


_MAKERS: tuple[Callable[[], Iterator[tuple[str, bytes]]], ...] = (_jpegs, _pngs, _tiffs, _others, _traps)


def main() -> None:
    """Write all seeds and say how large they are."""
    FOLDER.mkdir(exist_ok=True)
    sizes = {}
    for maker in _MAKERS:
        for name, data in maker():
            (FOLDER / name).write_bytes(data)
            sizes[name] = len(data)
    print("\n".join(f"{size:7d}  {name}" for name, size in sizes.items()))
    print(f"{sum(sizes.values()):7d}  bytes in {len(sizes)} files")


if __name__ == "__main__":
    main()
