"""
Value studies: any picture in a few values, drawn so that a pencil can follow it, beside its true grey.

A picture is linear RGB (0-1), shape (rows, cols, 3). `photo_subject`, `swatch_subject`, `stack_subject` and
`layout_subject` make one of what this package knows; `value_study` works it out, `study_chart` shows it side by side,
`study_pages` prints it, with a page of outlines to colour in.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import SupportsFloat, cast

import cv2
import numpy as np
from numpy.typing import NDArray

from contrastkit.camera.greys import linear_of
from contrastkit.camera.read import Photo as Photograph
from contrastkit.camera.reference import Calibration
from contrastkit.compose.groups import Breaks, fixed_breaks, natural_breaks
from contrastkit.compose.seams import metres
from contrastkit.compose.stacks import Stack, default_sides
from contrastkit.errors import InvalidInputError
from contrastkit.light.distance import VALUE_KERNEL
from contrastkit.light.lightness import D65_WHITE, SRGB, lightness_to_luminance, luminance_to_lightness
from contrastkit.show.block import LaidBlock, block_placed
from contrastkit.show.chart import PRINT_PIXELS_PER_MM, Chart, chart_of
from contrastkit.show.crops import Crops, Pixels, cut_out, encoded, flattened
from contrastkit.show.drawing import Box, Drawing, Mark, Photo, Shape, Words
from contrastkit.show.look import PAPER, SMALL, group_lightness, surround_lightness, text_width, wrapped_evenly
from contrastkit.show.mockup import Placed, render, square_corners, stack_placed
from contrastkit.show.page import MARGIN, headed, paper_size, sheet_foot, sheet_head, titled
from contrastkit.show.pieces import Point
from contrastkit.show.regions import LEAST_WIDTH, Labels, Region, Ring, cleaned, traced
from contrastkit.show.views import READING_MM, SQUINT, from_afar, in_grey, in_values, size_from_afar
from contrastkit.show.words import counted, date_words

Image = NDArray[np.float32]
Size = tuple[float, float]

VALUES = (2, 3, 5, 9)
METHODS = ("fixed", "natural", "named")


@dataclass(frozen=True)
class NamedStep:
    """A value with a name: the name, its letters, and the L* it is drawn at."""

    name: str
    letters: str
    lightness: float


# D. W. Ross, A Theory of Pure Design, Houghton Mifflin 1907, §128: black, white, between them by halves middle, dark
# and light, then low and high dark, low and high light; so each step is as large to the eye as the next. Where the ends
# lie is a design choice: L* 15 and 95 are what paint on cotton reaches, and a step is L* 10, about one of Munsell's.
NAMED_STEPS = tuple(
    NamedStep(name, letters, 15.0 + 10 * place)
    for place, (name, letters) in enumerate((
        ("black", "Bk"), ("low dark", "LD"), ("dark", "D"), ("high dark", "HD"), ("middle", "M"),
        ("low light", "LLt"), ("light", "Lt"), ("high light", "HLt"), ("white", "Wh"),
    ))
)

_REACH = (15.0, 95.0)  # L* of paint on cotton, a design choice; fixed bands cut it into equal parts
_THIRDS = (40.0, 70.0)  # as everywhere else

PENCIL_MM = 3.2  # on the page of outlines, a design choice: room for a number of 8 points, and for a pencil to turn
_UNKNOWN_MM = 300.0  # what nobody has measured is taken to be as wide as a block
_DISTANCES = (1000.0, 2000.0, 3000.0, 5000.0, 8000.0, 12000.0, 20000.0, 30000.0, 50000.0, 80000.0)
_SMALL_MM = 40.0  # room for the small picture
_PIXELS_PER_MM = 6.0  # of the page of outlines
_SLENDEREST = 12.0  # times as long as wide
_EVERY = 3  # of the pixels natural breaks are found from, each way

_MOST_SIDE = 1600  # pixels of a crop; the page of outlines has fewer
_AROUND = 1.12  # side of a picture in sides of the bottom layer: the background shows all round, where it is known

# Room for the outlines on either paper, upright and lying, less margins, head, key and foot: width and height, mm.
_ROOMS = ((186.0, 196.0), (255.0, 128.0))


# --- what is studied --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Subject:
    """
    A picture to study.

    Attributes
    ----------
    image : linear RGB, shape (rows, cols, 3)
    words : what it shows, for a title
    width_mm : how wide what it shows is; None where nobody knows
    """

    image: Image
    words: str
    width_mm: float | None = None


def photo_subject(
    photo: Photograph, calibration: Calibration | None = None, *, words: str = "", width_mm: float | None = None
) -> Subject:
    """
    Return a photograph as a subject, upright, in linear sRGB.

    Without a calibration its codes are taken at their word; with one, as `measure_photo` finds it, its lightness is
    that of the cloth. Colours that sRGB cannot hold are moved towards the grey of their own lightness.

    Parameters
    ----------
    photo : as `contrastkit.camera.read.read_photo` returns it
    calibration : what turns its codes into true light
    words : what it shows; the file's name, if not given
    width_mm : how wide what it shows is

    Examples
    --------
    >>> grey = Photograph("grey.png", np.full((2, 2, 3), 118, np.uint8), 1, (2, 2), SRGB, None, ())
    >>> photo_subject(grey).image[0, 0].round(2).tolist()
    [0.18000000715255737, 0.18000000715255737, 0.18000000715255737]
    """
    linear = linear_of(photo.codes, photo.space.luts(photo.bits) if calibration is None else calibration.tables)
    small = _resized(linear, _smaller(linear.shape[:2]))
    if calibration is None:
        xyz, white = small @ np.array(photo.space.to_xyz, np.float32).T, np.array(photo.space.to_xyz).sum(axis=1)
    else:
        even = np.asarray(small / _evenness(calibration, small.shape[:2]), float)
        xyz, white = calibration.to_xyz(even), np.array(calibration.white)
    to_srgb = np.linalg.inv(np.array(SRGB.to_xyz)) @ np.diag(np.array(D65_WHITE) / white)
    return Subject(_held(xyz @ to_srgb.T.astype(np.float32)), words or photo.name, width_mm)


def swatch_subject(
    crop: Pixels, outline: Sequence[Point] = (), *, words: str = "swatch", width_mm: float | None = None
) -> Subject:
    """
    Return one piece as a subject, laid straight; where it is not square, its own mean colour lies round it.

    Parameters
    ----------
    crop, outline : as for `contrastkit.show.crops.cut_out`
    words : its name
    width_mm : how wide it is

    Raises
    ------
    InvalidInputError
        The crop is not 8-bit pixels with three or four channels.

    Examples
    --------
    >>> swatch_subject(np.full((40, 80, 3), 118, np.uint8), words="dusk").image.shape
    (40, 80, 3)
    """
    cut = cut_out(crop, outline, side=min(max(crop.shape[:2]), _MOST_SIDE), name=words)
    codes = np.ascontiguousarray(flattened(cut))
    return Subject(linear_of(codes, SRGB.luts(8)), words, width_mm)


def stack_subject(stack: Stack, crops: Crops, *, surround: str = "middle", words: str = "") -> Subject:
    """
    Return a stack as a subject, as it will look on its background, with a little of that all round where it is known.

    Parameters
    ----------
    stack, crops, surround : as for `contrastkit.show.stack.stack_picture`
    words : its name; its layers, if not given

    Raises
    ------
    InvalidInputError
        An unknown surround, or a crop that cannot be right.

    Examples
    --------
    >>> from contrastkit.compose.seams import Surface
    >>> stack_subject(Stack((Surface("a", 80), Surface("b", 40)), sides=(90, 60)), {}).words
    'the stack a, b'
    """
    back = stack.background
    size = (1.0 if back is None else _AROUND) * (stack.sides or default_sides(len(stack.layers)))[0]
    ground = surround_lightness(surround) if back is None else back.lightness
    cloth = [Placed(square_corners(size), swatch_id=back.swatch_id)] if back and back.swatch_id in crops else []
    names = ", ".join(layer.swatch_id for layer in stack.layers)
    image = render(
        [*cloth, *stack_placed(stack)], crops, background=ground, size_mm=(size, size),
        pixels_per_mm=_finely((size, size)),
    )
    return Subject(image, words or f"the stack {names}", size)


def layout_subject(
    blocks: Sequence[LaidBlock], crops: Crops | None = None, *, width: SupportsFloat, height: SupportsFloat,
    background: float | None = None, words: str = "",
) -> Subject:
    """
    Return a whole project as a subject: its blocks on the background.

    Parameters
    ----------
    blocks, crops, width, height : as for `contrastkit.show.block.layout_picture`
    background : its L*; middle grey, if not given
    words : its name; how many blocks it has, if not given

    Raises
    ------
    InvalidInputError
        A size that cannot be, or what `block_placed` refuses.

    Examples
    --------
    >>> from contrastkit.compose.blocks import BlockShape
    >>> layout_subject([LaidBlock(BlockShape((80,)), (50, 50))], width=100, height=100).words
    'a layout of 1 block'
    """
    size = float(width), float(height)
    ground = surround_lightness("middle") if background is None else background
    placed = [
        piece
        for block in blocks
        for piece in block_placed(
            block.shape, block.stacks, centre=(float(block.centre[0]), float(block.centre[1]))
        )
    ]
    image = render(
        placed, crops or {}, background=ground, size_mm=size, pixels_per_mm=_finely(size),
        centre=(size[0] / 2, size[1] / 2),
    )
    return Subject(image, words or f"a layout of {counted(len(blocks), 'block')}", size[0])


def _evenness(calibration: Calibration, shape: tuple[int, int]) -> Image | float:
    """The light all over a photograph, relative to where the reference lies."""
    if calibration.light is None:
        return 1.0
    coarse = np.exp(calibration.light.grid((max(2, shape[0] // 16), max(2, shape[1] // 16)))[..., :1])
    return cast(Image, cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_LINEAR)[..., None])


def _held(linear: NDArray[np.floating]) -> Image:
    """Light within 0-1: what sRGB cannot hold moved towards the grey of its own luminance, as far as needed."""
    grey = np.clip(linear @ SRGB.luminance_weights, 0, 1)[..., None]
    out = np.flatnonzero(((linear < 0) | (linear > 1)).any(axis=-1))
    held = np.ascontiguousarray(linear, np.float32)
    colours, greys = held.reshape(-1, 3)[out], grey.reshape(-1, 1)[out].astype(np.float32)
    away = colours - greys
    room = np.where(away > 0, 1 - greys, greys)
    share = np.divide(room, np.abs(away), out=np.ones_like(away), where=np.abs(away) > room).min(axis=1, keepdims=True)
    held.reshape(-1, 3)[out] = np.clip(greys + share * away, 0, 1)
    return held


# --- the study --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class ValueStudy:
    """
    A picture in a few values.

    Pictures are linear RGB (0-1), float32, shape (rows, cols, 3), all of one size but `shrunk`.

    Attributes
    ----------
    words : what it shows, for a title
    image : the picture, so fine that the page of outlines takes six pixels a millimetre
    grey : every place the grey of its own L*
    flat : every region in the grey of its value
    squinted : as the eye sees it from `squint_mm`: half closed eyes lose as much
    shrunk : so small that it looks, 60 cm away, as large as the work from `distance_mm`; 300 pixels an inch
    labels : the value of every pixel, 0 the darkest, shape (rows, cols)
    breaks : edges and names of the values
    tones : L* each is drawn at, darkest first
    method : "fixed", "natural", "named" or "chosen"
    regions : connected parts of one value; what encloses others comes first
    width_mm : how wide the work is
    is_measured : whether somebody said so; else it is taken to be 300 mm
    distance_mm, squint_mm : viewing distances
    """

    words: str
    image: Image
    grey: Image
    flat: Image
    squinted: Image
    shrunk: Image
    labels: Labels
    breaks: Breaks
    tones: tuple[float, ...]
    method: str
    regions: tuple[Region, ...]
    width_mm: float
    is_measured: bool
    distance_mm: float
    squint_mm: float

    @property
    def size_mm(self) -> Size:
        """Width and height of the work."""
        rows, cols = self.labels.shape
        return self.width_mm, self.width_mm * rows / cols

    @property
    def shrunk_mm(self) -> Size:
        """Width and height at which the small picture must be printed."""
        width, height = (size_from_afar(side, self.distance_mm) for side in self.size_mm)
        return width, height

    @property
    def shares(self) -> tuple[Fraction, ...]:
        """What part of the picture each value takes, darkest first; they add up to 1."""
        counts = np.bincount(self.labels.ravel(), minlength=len(self.tones))
        return tuple(Fraction(int(count), self.labels.size) for count in counts)

    @property
    def percents(self) -> tuple[int, ...]:
        """The shares in whole percents that add up to 100."""
        exact = [100 * share for share in self.shares]
        whole = [math.floor(share) for share in exact]
        order = sorted(range(len(exact)), key=lambda at: (whole[at] - exact[at], at))
        for at in order[: 100 - sum(whole)]:
            whole[at] += 1
        return tuple(whole)


def value_study(
    image: Image,
    *,
    values: int = 3,
    method: str = "fixed",
    breaks: Breaks | None = None,
    words: str = "",
    width_mm: float | None = None,
    distance_mm: float | None = None,
    squint: float = SQUINT,
    pencil_mm: float = PENCIL_MM,
) -> ValueStudy:
    """
    Return a picture in 2, 3, 5 or 9 values, as regions that can be drawn round.

    Marks smaller than a pencil run together in linear light, edges of what is larger stay where they are (`in_values`);
    then every place goes to the value of its own L*, and no region stays that is nowhere as wide as a pencil turns.

    Parameters
    ----------
    image
        Linear RGB (0-1), shape (rows, cols, 3).
    values
        How many: 2, 3, 5 or 9.
    method
        "fixed": bands of L* that are the same for every picture: three end at 40 and 70, others cut 15-95, what paint
        on cotton reaches, into equal parts. "natural": edges where this picture has its gaps, each value drawn as the
        mean of its own. "named": the nine of `NAMED_STEPS`.
    breaks
        Edges of your own, instead of both.
    words
        What it shows, for a title.
    width_mm
        How wide the work is that the picture shows; 300 mm, if not given.
    distance_mm
        From where `shrunk` shows it; if not given, the nearest of 1, 2, 3, 5, 8 m ... from which it is at most 40 mm
        long on the page.
    squint
        What part of the picture's shorter side the eye's blur is wide in `squinted`.
    pencil_mm
        How wide every region must be somewhere, on the page of outlines.

    Raises
    ------
    InvalidInputError
        Not a picture of three channels of known light, one far longer than wide, other values or methods, a picture
        with too few lightnesses for natural values, or a size, distance, squint or pencil that cannot be.

    Examples
    --------
    >>> halves = np.repeat(np.float32([[0.05] * 600 + [0.8] * 600] * 900)[..., None], 3, axis=2)
    >>> value_study(halves).percents
    (50, 0, 50)
    """
    _check(image, values, method, breaks, width_mm, squint, pencil_mm)
    shape = (image.shape[0], image.shape[1])
    fine = _resized(np.asarray(image, np.float32), _working_shape(shape))
    grey = in_grey(fine)
    found = breaks or _breaks(grey[..., 0], values, method)
    pencil = pencil_mm * _PIXELS_PER_MM
    labels = cleaned(_in_values(fine, found, pencil / min(fine.shape[:2])), width=pencil)
    natural = method == "natural" and breaks is None
    tones = _means(grey[..., 0], labels, found) if natural else _tones(found, method if breaks is None else "")
    width = _UNKNOWN_MM if width_mm is None else width_mm
    height = width * shape[0] / shape[1]
    distance = _distance(max(width, height)) if distance_mm is None else distance_mm
    squint_mm = squint * min(width, height) / math.radians(VALUE_KERNEL[0][0])
    return ValueStudy(
        words=words, image=fine, grey=grey, flat=_flat(labels, tones),
        squinted=from_afar(fine, mm_per_pixel=width / fine.shape[1], distance_mm=squint_mm),
        shrunk=_shrunk(fine, (width, height), distance), labels=labels, breaks=found, tones=tones,
        method="chosen" if breaks else method, regions=traced(labels), width_mm=width,
        is_measured=width_mm is not None, distance_mm=distance, squint_mm=squint_mm,
    )


def _check(
    image: Image, values: int, method: str, breaks: Breaks | None, width_mm: float | None, squint: float,
    pencil_mm: float,
) -> None:
    if np.ndim(image) != 3 or image.shape[2] != 3 or image.size == 0:
        raise InvalidInputError(
            f"A picture must be linear RGB of shape (rows, cols, 3); got shape {np.shape(image)}. Render it first."
        )
    longer, shorter = max(image.shape[:2]), min(image.shape[:2])
    if longer > _SLENDEREST * shorter:
        raise InvalidInputError(
            f"A picture must be at most {_SLENDEREST:g} times as long as wide; got {image.shape[0]} by "
            f"{image.shape[1]} pixels. Cut it into parts."
        )
    if breaks is None and (method not in METHODS or values not in VALUES):
        raise InvalidInputError(
            f"A study must have {', '.join(map(str, VALUES[:-1]))} or {VALUES[-1]} values by one of "
            f"{', '.join(METHODS)}; got {values} by {method!r}. Pick one of these, or pass breaks of your own."
        )
    if breaks is None and method == "named" and values != len(NAMED_STEPS):
        raise InvalidInputError(f"There are {len(NAMED_STEPS)} named values; got {values}. Ask for nine, or for fixed.")
    for name, number, least, most in (
        ("width_mm", _UNKNOWN_MM if width_mm is None else width_mm, 0.0, math.inf), ("squint", squint, 0.0, 0.5),
        ("pencil_mm", pencil_mm, LEAST_WIDTH / _PIXELS_PER_MM, 50.0),
    ):
        if not (least <= number <= most and 0 < number < math.inf):
            raise InvalidInputError(
                f"{name} must be above 0 and from {least:g} to {most:g}; got {number:g}. Leave it out for the usual."
            )


def _working_shape(shape: tuple[int, int]) -> tuple[int, int]:
    """Rows and columns of the picture for the page of outlines."""
    rows, cols = shape
    scale = _PIXELS_PER_MM * max(min(width / cols, height / rows) for width, height in _ROOMS)
    return max(1, round(rows * scale)), max(1, round(cols * scale))


def _smaller(shape: tuple[int, int]) -> tuple[int, int]:
    """What a study needs of a picture of this size."""
    working = _working_shape(shape)
    return working if working < shape else shape


def _finely(size_mm: Size) -> float:
    """Pixels a millimetre of what is to be rendered for a study."""
    return _PIXELS_PER_MM * max(min(width / size_mm[0], height / size_mm[1]) for width, height in _ROOMS)


def _resized(image: Image, shape: tuple[int, int]) -> Image:
    if image.shape[:2] == shape:
        return image
    smaller = shape[0] * shape[1] < image.shape[0] * image.shape[1]
    by = cv2.INTER_AREA if smaller else cv2.INTER_LINEAR
    return cast(Image, cv2.resize(image, shape[::-1], interpolation=by))


def _breaks(light: Image, values: int, method: str) -> Breaks:
    if method == "natural":
        lightness = np.round(luminance_to_lightness(light[::_EVERY, ::_EVERY].astype(float)), 1)
        different = len(np.unique(lightness))
        if different < values:
            raise InvalidInputError(
                f"A picture must have {values} different lightnesses for as many natural values; it has {different}. "
                "Ask for fewer values, or for fixed ones."
            )
        return natural_breaks(lightness, values)
    if method == "named":
        steps = [step.lightness for step in NAMED_STEPS]
        edges = [(darker + lighter) / 2 for darker, lighter in zip(steps, steps[1:], strict=False)]
        return fixed_breaks(edges, [step.name for step in NAMED_STEPS])
    if values == 3:
        return fixed_breaks(_THIRDS)
    return fixed_breaks([float(edge) for edge in np.linspace(*_REACH, values + 1)[1:-1]])


def _tones(breaks: Breaks, method: str) -> tuple[float, ...]:
    return tuple(step.lightness for step in NAMED_STEPS) if method == "named" else group_lightness(len(breaks.names))


def _means(light: Image, labels: Labels, breaks: Breaks) -> tuple[float, ...]:
    """L* of the mean light of each value; the middle of its band where nothing is left of it."""
    count = len(breaks.names)
    sizes = np.bincount(labels.ravel(), minlength=count)
    sums = np.bincount(labels.ravel(), light.ravel(), minlength=count)
    ends = (0.0, *breaks.edges, 100.0)
    return tuple(
        float(luminance_to_lightness(min(total / size, 1.0))) if size else (ends[at] + ends[at + 1]) / 2
        for at, (size, total) in enumerate(zip(sizes, sums, strict=True))
    )


def _in_values(image: Image, breaks: Breaks, squint: float) -> Labels:
    """The value of every pixel, read from the greys in which `in_values` draws them."""
    count = len(breaks.names)
    tones = lightness_to_luminance(group_lightness(count))
    between = (tones[1:] + tones[:-1]) / 2
    drawn = in_values(image, breaks, squint=min(squint, 0.5))[..., 0]
    return np.searchsorted(between, drawn).astype(np.uint8)


def _flat(labels: Labels, tones: Sequence[float]) -> Image:
    light = np.repeat(np.asarray(lightness_to_luminance(tones), np.float32)[:, None], 3, axis=1)
    return light[labels]


def _distance(longer_mm: float) -> float:
    """The nearest of our distances from which the small picture has room; the furthest, and more, for walls."""
    far = longer_mm * READING_MM / _SMALL_MM
    return next((distance for distance in _DISTANCES if distance >= far), far)


def _shrunk(image: Image, size_mm: Size, distance_mm: float) -> Image:
    cols, rows = (
        max(1, round(size_from_afar(side, distance_mm) * PRINT_PIXELS_PER_MM)) for side in size_mm
    )
    return _resized(image, (rows, cols))


# --- words ------------------------------------------------------------------------------------------------------------


def finding(study: ValueStudy) -> str:
    """
    Return what a study comes to, for a title.

    >>> halves = np.repeat(np.float32([[0.05] * 600 + [0.8] * 600] * 900)[..., None], 3, axis=2)
    >>> finding(value_study(halves))
    '50 % dark, no medium, 50 % light'
    """
    names, percents = study.breaks.names, study.percents
    if len(names) <= len(VALUES) - 1:
        each = ", ".join(f"{percent} % {name}" if percent else f"no {name}" for name, percent in _named(study))
        most = max(percents)
        return f"Mostly {names[percents.index(most)]}: {each}" if most > 50 else each
    shown = [name for name, percent in _named(study) if percent]
    most = max(percents)
    reach = f"; from {shown[0]} to {shown[-1]}" if len(shown) > 1 else ""
    part = "Most of it" if most > 50 else "The largest part"
    return f"{part} is {names[percents.index(most)]}, {most} %{reach}"


def _named(study: ValueStudy) -> Iterator[tuple[str, int]]:
    return zip(study.breaks.names, study.percents, strict=True)


_NUMBERS = dict(enumerate(("two", "three", "four", "five", "six", "seven", "eight", "nine"), start=2))
_METHOD_WORDS = {
    "fixed": "bands of L* that are the same for every picture",
    "natural": "edges where this picture has its gaps",
    "named": "named steps, each as large to the eye as the next",
    "chosen": "edges of your own",
}


def _values_words(study: ValueStudy) -> str:
    return f"{_NUMBERS[len(study.tones)]} values"


def _how(study: ValueStudy) -> str:
    return (
        f"{_subject_words(study)} in {_values_words(study)}, by {_METHOD_WORDS[study.method]}. Grey is by L*, the "
        "lightness that the eye sees, not by the camera's numbers."
    )


def _subject_words(study: ValueStudy) -> str:
    return f"Study of {study.words}" if study.words else "Study"


def _small_words(study: ValueStudy) -> str:
    width = study.width_mm / 10
    size = f"{width:.0f} cm" if width >= 10 else f"{10 * width:.0f} mm"
    taken = f"{size} wide" if study.is_measured else f"taken as {size} wide"
    return f"From {metres(study.distance_mm)}: held {READING_MM / 10:.0f} cm away, as large as the work, {taken}."


def _description(study: ValueStudy) -> str:
    shares = ", ".join(f"{name} {percent} %" for name, percent in _named(study))
    regions = counted(len(study.regions), "region")
    return f"{finding(study)}. {_subject_words(study)}, {regions}. Dark to light: {shares}."


def _band_words(study: ValueStudy, place: int) -> str:
    """From where to where a value reaches, as L*; natural edges to whole numbers too."""
    edges = [f"{edge:.0f}" for edge in study.breaks.edges]
    if place == 0:
        return f"up to {edges[0]}"
    if place == len(edges):
        return f"above {edges[-1]}"
    return f"{edges[place - 1]} to {edges[place]}"


# --- pictures side by side --------------------------------------------------------------------------------------------

_WIDTH, _GAP, _HIGHEST = 253.0, 5.0, 100.0  # of a chart, between pictures, of a picture; mm
_HEAD, _LABEL, _BELOW = 5.4, 3.4, 5.0  # height of a picture's label, of its type, room under the pictures
_ROW = 5.0  # height of a line of the key
_LINE = 0.25
_TYPE = 3.2  # height of type in the key
_WIDE = 1.9  # width over height from which four pictures stand two by two


def study_chart(study: ValueStudy, *, title: str | None = None) -> Chart:
    """
    Return a study side by side: as it is, in true grey, in its values, with eyes half closed, and small.

    Under the pictures stands the key: the number, grey, name and band of every value, and its share as a bar.

    Parameters
    ----------
    study : what `value_study` returns
    title : the finding; what the study comes to, if not given

    Examples
    --------
    >>> halves = np.repeat(np.float32([[0.05] * 600 + [0.8] * 600] * 900)[..., None], 3, axis=2)
    >>> study_chart(value_study(halves)).description[:51]
    '50 % dark, no medium, 50 % light. Study, 2 regions.'
    """
    width, height = study.size_mm
    columns = 2 if width > _WIDE * height else 4
    grid = _Grid(study, _WIDTH, columns, _HIGHEST)
    below = _foot_height(study)
    marks = (*_pictures(grid, 0.0, below + _BELOW), *_foot(study, _WIDTH, 0.0, below))
    drawing = Drawing(_WIDTH, grid.height + below + _BELOW, marks, _description(study))
    return chart_of(titled(drawing, title or finding(study), _how(study)), _named_pictures(study))


def study_pages(
    study: ValueStudy, *, paper: str = "A4", heading: str = "", made: datetime.date | None = None
) -> list[Chart]:
    """
    Return a study as two printed pages: its pictures with the key, and its outlines to colour in.

    Every region on the second page bears the number of its value, 1 the darkest; the page lies on its side where that
    leaves more room.

    Parameters
    ----------
    study : what `value_study` returns
    paper : "A4" or "Letter"
    heading : a line of the teacher's own
    made : the date; today, if not given

    Raises
    ------
    InvalidInputError
        Another paper.

    Examples
    --------
    >>> halves = np.repeat(np.float32([[0.05] * 600 + [0.8] * 600] * 900)[..., None], 3, axis=2)
    >>> [page.description[:24] for page in study_pages(value_study(halves))]
    ['50 % dark, no medium, 50', 'Colour in 2 regions with']
    """
    size = paper_size(paper)
    date = date_words(made or datetime.date.today())
    drawings = (_overview(study, size, heading, date), _to_colour(study, size, heading, date))
    pictures = _named_pictures(study)
    return [chart_of(drawing, pictures, page=PAPER) for drawing in drawings]


def outline_marks(study: ValueStudy, width: float, *, left: float = 0.0, bottom: float = 0.0) -> list[Mark]:
    """
    Return the outlines of a study, each region with the number of its value, as marks of a drawing in mm.

    >>> halves = np.repeat(np.float32([[0.05] * 600 + [0.8] * 600] * 900)[..., None], 3, axis=2)
    >>> [mark.text for mark in outline_marks(value_study(halves), 100) if isinstance(mark, Words)]
    ['1', '3']
    """
    place = _Placing(study.labels.shape, width, left, bottom)
    marks: list[Mark] = []
    for region in study.regions:
        marks.append(Shape(place.ring(region.outline), edge="secondary", line=_LINE))
    for region in sorted(study.regions, key=lambda region: region.centre):
        size = max(SMALL, min(_LARGEST_NUMBER, place.scale * region.radius * _FITS))
        x, y = place.point(region.centre)
        number = str(region.value + 1)
        marks.append(Words(x, y - _MIDDLE * size, number, size, "secondary", align="middle"))
    return marks


_LARGEST_NUMBER = 5.0  # mm, height of type
_FITS = 1.4  # of the radius: a figure of that type keeps clear of the circle
_MIDDLE = 0.34  # of the height of type: half of what a figure stands up


@dataclass(frozen=True)
class _Placing:
    """From (row, column) of a picture to (x, y) on the drawing."""

    shape: tuple[int, ...]
    width: float
    left: float
    bottom: float

    @property
    def scale(self) -> float:
        return self.width / self.shape[1]

    @property
    def height(self) -> float:
        return self.scale * self.shape[0]

    def point(self, point: tuple[float, float]) -> tuple[float, float]:
        row, col = point
        return self.left + (col + 0.5) * self.scale, self.bottom + self.height - (row + 0.5) * self.scale

    def ring(self, ring: Ring) -> tuple[tuple[float, float], ...]:
        return tuple(self.point(point) for point in ring)


@dataclass(frozen=True)
class _Grid:
    """Four pictures in rows."""

    study: ValueStudy
    width: float
    columns: int
    highest: float

    @property
    def side(self) -> Size:
        """Width and height of each."""
        wide, high = self.study.size_mm
        width = min((self.width - _GAP * (self.columns - 1)) / self.columns, self.highest * wide / high)
        return width, width * high / wide

    @property
    def pitch(self) -> float:
        """From the left of one to the left of the next: room for the words above it, too."""
        return max(self.side[0], *(text_width(head, _LABEL, bold=True) for head in _heads(self.study))) + _GAP

    @property
    def height(self) -> float:
        rows = 4 // self.columns
        return rows * (self.side[1] + _HEAD) + (rows - 1) * _BELOW

    def places(self) -> Iterator[tuple[float, float]]:
        """Left and bottom of each, from the grid's own bottom left."""
        height = self.side[1]
        for number in range(4):
            row, column = divmod(number, self.columns)
            yield column * self.pitch, self.height - _HEAD - height - row * (height + _HEAD + _BELOW)


def _heads(study: ValueStudy) -> tuple[str, str, str, str]:
    return "As it is", "In true grey", f"In {_values_words(study)}", "With eyes half closed"


def _pictures(grid: _Grid, left: float, bottom: float) -> Iterator[Mark]:
    study = grid.study
    width, height = grid.side
    for name, head, (x, y) in zip(("image", "grey", "", "squinted"), _heads(study), grid.places(), strict=True):
        x, y = x + left, y + bottom
        yield Words(x, y + height + 1.6, head, _LABEL, bold=True)
        if name:
            yield Photo(x, y, width, height, name, head)
        else:
            yield from flat_marks(study, width, left=x, bottom=y)


def flat_marks(study: ValueStudy, width: float, *, left: float = 0.0, bottom: float = 0.0) -> list[Mark]:
    """
    Return a study in the flat greys of its values, as marks of a drawing in mm.

    >>> halves = np.repeat(np.float32([[0.05] * 600 + [0.8] * 600] * 900)[..., None], 3, axis=2)
    >>> [mark.fill for mark in flat_marks(value_study(halves), 100)]
    [25.0, 85.0]
    """
    place = _Placing(study.labels.shape, width, left, bottom)
    # Each is a little wider than it is, or the page would show as a hair between neighbours.
    return [
        Shape(place.ring(region.outline), fill=tone, edge=tone, line=_LINE)
        for region in study.regions
        for tone in [study.tones[region.value]]
    ]


def _named_pictures(study: ValueStudy) -> dict[str, Pixels]:
    return {name: encoded(getattr(study, name)) for name in ("image", "grey", "squinted", "shrunk")}


# --- key and small picture --------------------------------------------------------------------------------------------


def _has_small(study: ValueStudy) -> bool:
    return max(study.shrunk_mm) <= _SMALL_MM + 1e-6


def _foot_height(study: ValueStudy) -> float:
    small = study.shrunk_mm[1] if _has_small(study) else 0.0
    return max(_ROW * (len(study.tones) + 1), small, 18.0)


def _foot(study: ValueStudy, width: float, left: float, height: float) -> Iterator[Mark]:
    """The key to the left; to the right what the work looks like from afar. Both hang from `height`."""
    aside = 0.0
    if _has_small(study):
        small, high = study.shrunk_mm
        room = max(30.0, 0.18 * width)
        lines = wrapped_evenly(_small_words(study), SMALL, room)
        aside = small + room + 3.0
        x = left + width - small
        yield Photo(x, height - high, small, high, "shrunk", "from afar")
        for number, line in enumerate(lines):
            yield Words(x - 3.0, height - SMALL - 1.45 * SMALL * number, line, SMALL, "secondary", align="right")
    yield from _key(study, min(width - aside - 6.0, 150.0), left, height)


def _key(study: ValueStudy, width: float, left: float, top: float) -> Iterator[Mark]:
    """A line for every value, the lightest on top: its number, grey, name, band and share."""
    names = left + 15.0
    bands = names + max(text_width(name, _TYPE) for name in study.breaks.names) + 5
    bars = bands + max(text_width("above 100", SMALL), text_width("L*", SMALL)) + 4
    longest = left + width - bars - 12.0
    most = max(study.percents)
    y = top - _ROW
    yield Words(bands, y + 1.4, "L*", SMALL, "secondary")
    yield Words(bars, y + 1.4, "share of the picture, %", SMALL, "secondary")
    for place in reversed(range(len(study.tones))):
        y -= _ROW
        line = y + 1.2
        yield Words(left, line, str(place + 1), _TYPE, bold=True)
        yield Box(left + 4.5, y + 0.4, 8.0, _ROW - 0.8, fill=study.tones[place], edge="secondary", line=_LINE)
        yield Words(names, line, study.breaks.names[place], _TYPE)
        yield Words(bands, line, _band_words(study, place), SMALL, "secondary")
        share = study.percents[place]
        bar = longest * share / most
        if bar > 0:
            yield Box(bars, y + 0.9, bar, _ROW - 1.8, fill="secondary")
        yield Words(bars + bar + (1.5 if bar else 0.0), line, str(share) if share else "none", _TYPE)


# --- printed pages ----------------------------------------------------------------------------------------------------


def _overview(study: ValueStudy, size: Size, heading: str, date: str) -> Drawing:
    head, top = sheet_head(finding(study), headed(heading, _how(study)), size)
    foot, bottom = sheet_foot(_FOOT, date, (1, 2), size)
    below = _foot_height(study)
    room = size[0] - 2 * MARGIN
    high = (top - bottom - below - 2 * _BELOW - 2 * _HEAD - 6) / 2
    grids = (_Grid(study, room, 2, high), _Grid(study, room, 4, 2 * high))
    grid = max(grids, key=lambda grid: grid.side[0])
    y = top - grid.height
    marks = (*head, *_pictures(grid, MARGIN, y), *_foot(study, room, MARGIN, y - _BELOW), *foot)
    return Drawing(*size, marks, _description(study))


_FOOT = (
    "What a printer makes of a grey is not certain until it is measured. The values on the page to colour in are "
    "filled in by hand, so it works on any paper and in any copy."
)
_KEY_CELL, _KEY_HIGH = 24.0, 17.0


def _to_colour(study: ValueStudy, paper: Size, heading: str, date: str) -> Drawing:
    wide, high = study.size_mm
    rooms = [(size, _room_to_colour(study, size, heading, date)) for size in (paper, (paper[1], paper[0]))]
    size, (top, bottom) = max(rooms, key=lambda each: _width_in(each, wide / high))
    width = _width_in((size, (top, bottom)), wide / high)
    left = (size[0] - width) / 2
    head, _ = sheet_head(*_colour_words(study, heading), size)
    foot, _ = sheet_foot(_colour_foot(study, width), date, (2, 2), size)
    marks = (
        *head, *outline_marks(study, width, left=left, bottom=top - width * high / wide),
        *_colour_key(study, size, bottom), *foot,
    )
    title = _colour_words(study, heading)[0]
    numbers = ", ".join(f"{place} {name}" for place, name in enumerate(study.breaks.names, start=1))
    return Drawing(*size, marks, f"{title}. {numbers}.")


def _colour_words(study: ValueStudy, heading: str) -> tuple[str, str]:
    last = len(study.tones)
    how = f"1 is the darkest, {last} the lightest. The key shows the grey; mix yours beside it before you begin."
    title = f"Colour in {counted(len(study.regions), 'region')} with {_values_words(study)}"
    return title, headed(heading, how)


def _colour_foot(study: ValueStudy, width: float) -> str:
    least = 2 * min(region.radius for region in study.regions) * width / study.labels.shape[1]
    return f"{_subject_words(study)}. Every region is somewhere at least {math.floor(10 * least) / 10:g} mm wide."


def _room_to_colour(study: ValueStudy, size: Size, heading: str, date: str) -> tuple[float, float]:
    """From where down to where the outlines may reach on a sheet of that size."""
    _, top = sheet_head(*_colour_words(study, heading), size)
    _, bottom = sheet_foot(_colour_foot(study, size[0]), date, (2, 2), size)
    return top, bottom + _KEY_HIGH * _key_rows(study, size) + 3.0


def _width_in(room: tuple[Size, tuple[float, float]], ratio: float) -> float:
    size, (top, bottom) = room
    return min(size[0] - 2 * MARGIN, (top - bottom) * ratio)


def _key_rows(study: ValueStudy, size: Size) -> int:
    return math.ceil(len(study.tones) * _KEY_CELL / (size[0] - 2 * MARGIN))


def _colour_key(study: ValueStudy, size: Size, top: float) -> Iterator[Mark]:
    """Of every value, left to right: its number, its grey, a box to try it in, its name."""
    count, rows = len(study.tones), _key_rows(study, size)
    in_row = math.ceil(count / rows)
    for place, (tone, name) in enumerate(zip(study.tones, study.breaks.names, strict=True)):
        row, column = divmod(place, in_row)
        x, y = MARGIN + column * _KEY_CELL, top - 3.0 - row * _KEY_HIGH
        yield Words(x, y - 6.2, str(place + 1), 4.2, bold=True)
        yield Box(x + 4.5, y - 8.0, 8.0, 8.0, fill=tone, edge="secondary", line=_LINE)
        yield Box(x + 12.5, y - 8.0, 8.0, 8.0, edge="secondary", line=_LINE)
        yield Words(x + 4.5, y - 11.6, name, SMALL)
