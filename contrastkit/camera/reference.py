"""
The grey in the photograph, turned into a calibration with its own uncertainty.

A calibration is a table for each channel (code ▸ linear light, balanced so that a grey of luminance Y reads Y), the
unevenness of the light as the backing shows it, and a step from balanced RGB to XYZ.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from contrastkit.camera.backing import Surface, light_over
from contrastkit.camera.chart import (
    GREYS,
    Chart,
    find_chart,
    fit_correction,
    judge_readings,
    read_patches,
    reference_xyz,
)
from contrastkit.camera.find import Finding, Thing, find_outlined
from contrastkit.camera.greys import Card, card_in_box, find_scale, plausible, read_cards
from contrastkit.camera.polygons import Floats
from contrastkit.camera.read import Photo, codes8
from contrastkit.camera.tone import tone_from_greys
from contrastkit.errors import CalibrationError, InvalidInputError, NoReferenceWarning
from contrastkit.light.lightness import lightness_to_luminance, luminance_to_lightness

KINDS = ("auto", "card", "scale", "chart", "none")
CARD_LIGHTNESS = float(luminance_to_lightness(0.18))  # the trade's 18 % card: L* 49.5

_CARD_SIGMA = 0.3  # L*: what one card leaves uncertain at its own lightness
_NONE_SIGMA = 8.0  # L*: a photograph with no reference, 4 to 10 being usual between photographs [design choice]
_USUAL_STYLE = 3.0  # L*, root mean square: what a phone's tone curve does to greys beyond exposure
_PLAINLY = 3.5  # cost up to which a card is so plainly one that no chart is looked for
_AGREE = 1.5  # L*: two cards that read within this agree

_HOW_TO = "Lay a grey card, a scale or a 24-patch chart beside the pieces, or pass --reference none for rough numbers."


@dataclass(frozen=True)
class ReferenceChoice:
    """What to measure against: a kind of KINDS, and the lightness of a card or of a scale's steps, light to dark."""

    kind: str = "auto"
    lightness: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        _check_choice(self)


@dataclass(frozen=True)
class Calibration:
    """
    How to turn a photograph's codes into true linear light.

    Attributes
    ----------
    kind : card, scale, chart or none
    tables : float32 (3, codes): balanced linear light of each code of each channel, where the reference lies
    light : natural logarithm of the light relative to where the reference lies, or None where it could not be judged
    to_xyz : from balanced linear RGB (..., 3) to XYZ (..., 3), white 1
    white : XYZ of the white that XYZ is relative to
    sigma : standard uncertainty (L*) that the reference itself leaves
    outline : (4, 2) row, col of the reference, working pixels, or None
    sentence : what was read, in words
    style : 0 where the greys read as the photograph's profile says, 1 and more where the camera restyled the picture
    anchor : lightness of the one grey that a camera's own picture was measured by: away from it the camera's tone
        curve is unknown; None where there are several greys or no camera had a hand in the tones
    """

    kind: str
    tables: NDArray[np.float32]
    light: Surface | None
    to_xyz: Callable[[Floats], Floats]
    white: tuple[float, float, float]
    sigma: float
    outline: Floats | None
    sentence: str
    style: float = 0.0
    anchor: float | None = None


def parse_reference(text: str) -> ReferenceChoice:
    """
    Return the choice that `auto`, `none`, `chart`, `card`, `card=L` or `scale=L1,L2,...` names.

    Raises
    ------
    InvalidInputError
        Another word, a lightness outside 0-100, or steps not in order from light to dark.

    Examples
    --------
    >>> parse_reference("scale=95,66,20")
    ReferenceChoice(kind='scale', lightness=(95.0, 66.0, 20.0))
    """
    kind, equals, numbers = text.strip().partition("=")
    if kind not in KINDS or (equals and kind not in ("card", "scale")):
        raise InvalidInputError(
            f"A reference must be auto, none, chart, card, card=L or scale=L1,L2,...; got {text!r}. Use one of these."
        )
    try:
        lightness = tuple(float(number) for number in numbers.split(",")) if equals else ()
    except ValueError:
        raise InvalidInputError(
            f"Lightness values must be numbers separated by commas; got {numbers!r}. Write for example card=49.5."
        ) from None
    return ReferenceChoice(kind, lightness)


def _check_choice(choice: ReferenceChoice) -> None:
    lightness = choice.lightness
    if choice.kind not in KINDS:
        raise InvalidInputError(
            f"A reference must be one of {', '.join(KINDS)}; got {choice.kind!r}. Use one of these."
        )
    if not all(0 < value <= 100 for value in lightness):
        raise InvalidInputError(
            f"The lightness of a grey must lie above 0 and up to 100; got {lightness}. Read it off the card's label."
        )
    if choice.kind == "card" and len(lightness) > 1:
        raise InvalidInputError(f"A card has one lightness; got {len(lightness)}. For steps that touch use scale=...")
    if choice.kind == "scale" and (len(lightness) < 3 or any(np.diff(lightness) >= 0)):
        raise InvalidInputError(
            f"A scale needs the lightness of three or more steps, light to dark; got {lightness or 'none'}. "
            "Write for example scale=95,81,66,51,36,20."
        )


def calibrate(
    photo: Photo, finding: Finding, choice: ReferenceChoice, *, at: tuple[float, float, float, float] | None = None
) -> tuple[Calibration, tuple[Thing, ...]]:
    """
    Return the calibration of a photograph and the things on the board that are not the reference.

    Parameters
    ----------
    photo, finding : the photograph and what was found on its board
    choice : what to measure against; `auto` takes what is plainly a card, else a chart, else what may be a card,
        else nothing with a loud warning
    at : row, col, row, col of two corners of a box that holds the reference, full-resolution pixels

    Raises
    ------
    CalibrationError
        The reference asked for is not there, is burnt out or veiled, or more than one thing could be it.
    """
    box = None if at is None else _working_box(at, photo)
    if choice.kind == "scale":
        return _from_scale(photo, finding, choice.lightness, box)
    if choice.kind == "none":
        return _from_nothing(photo, finding), finding.things
    cards = [] if choice.kind == "chart" else _cards_among(finding.things, photo, finding, box)
    if choice.kind == "chart" or (choice.kind == "auto" and (not cards or cards[0].cost > _PLAINLY)):
        chart = _find_chart(finding, box)
        if chart is not None:
            return _from_chart(photo, finding, chart)
    if choice.kind == "chart":
        raise CalibrationError(
            f"A 24-patch chart must lie whole in the photograph; none was found in {photo.name}. {_HOW_TO}"
        )
    cards = _looked_closer(cards, photo, finding, box)
    if choice.kind == "auto" and at is None and cards and cards[0].clipped:
        cards = []  # a white label or cloth, more likely than a card; asked for by name it is refused below
    if cards:
        return _from_card(photo, finding, cards, choice.lightness[0] if choice.lightness else CARD_LIGHTNESS)
    if choice.kind == "card" or at is not None:
        raise CalibrationError(
            f"A grey card must lie flat and whole in the photograph; none was found in {photo.name}. {_HOW_TO}"
        )
    warnings.warn(
        f"{photo.name}: nothing grey was found to measure against, so every lightness is rough (± {_NONE_SIGMA:.0f}). "
        "Lay a grey card beside the pieces.", NoReferenceWarning, stacklevel=2)
    return _from_nothing(photo, finding), finding.things


def _working_box(at: tuple[float, float, float, float], photo: Photo) -> tuple[float, float, float, float]:
    rows, cols = sorted((at[0], at[2])), sorted((at[1], at[3]))
    within = rows[0] >= 0 and cols[0] >= 0 and rows[1] <= photo.size[0] and cols[1] <= photo.size[1]
    if not within or rows[0] == rows[1] or cols[0] == cols[1]:
        raise InvalidInputError(
            f"The box of --reference-at must lie inside the photograph of {photo.size[0]} rows and {photo.size[1]} "
            f"columns; got {at}. Give ROW,COL,ROW,COL of two opposite corners, in full-resolution pixels."
        )
    return (rows[0] / photo.reduction, cols[0] / photo.reduction, rows[1] / photo.reduction, cols[1] / photo.reduction)


def _inside(thing: Thing, box: tuple[float, float, float, float] | None) -> bool:
    if box is None:
        return True
    row, col = thing.outline.mean(axis=0)
    return bool(box[0] <= row <= box[2] and box[1] <= col <= box[3])


def _light_at(light: Surface | None, places: Floats, shape: tuple[int, int]) -> Floats:
    """Light at (row, col) working pixels relative to the surface's own zero."""
    if light is None:
        return np.ones(len(places))
    half = max(shape) / 2
    rows, cols = (places[:, 0] + 0.5 - shape[0] / 2) / half, (places[:, 1] + 0.5 - shape[1] / 2) / half
    return np.exp(light.at(rows, cols)[:, 0])


def _shifted(light: Surface | None, by: float) -> Surface | None:
    """The same surface, its logarithm lowered by a constant."""
    if light is None:
        return None
    coefficients = light.coefficients.copy()
    coefficients[0] -= by
    return Surface(coefficients)


def _shape(photo: Photo) -> tuple[int, int]:
    return photo.codes.shape[0], photo.codes.shape[1]


def _matrix(photo: Photo) -> Callable[[Floats], Floats]:
    to_xyz = np.array(photo.space.to_xyz)
    return lambda linear: np.asarray(linear @ to_xyz.T)


def _white(photo: Photo) -> tuple[float, float, float]:
    x, y, z = np.array(photo.space.to_xyz).sum(axis=1)
    return float(x), float(y), float(z)


def _from_nothing(photo: Photo, finding: Finding) -> Calibration:
    light = light_over(finding.backing, finding.covered)
    if light is not None:
        middle = np.array([[photo.codes.shape[0] / 2, photo.codes.shape[1] / 2]])
        light = _shifted(light, float(np.log(_light_at(light, middle, _shape(photo))[0])))
    return Calibration("none", photo.space.luts(photo.bits), light, _matrix(photo), _white(photo), _NONE_SIGMA, None,
                       "no reference: the photograph's own codes were taken at their word")


# --- card ------------------------------------------------------------------------------------------------------------


def _looked_closer(
    cards: list[Card], photo: Photo, finding: Finding, box: tuple[float, float, float, float] | None
) -> list[Card]:
    """Cards as found, else among what shows by its edges alone, else what fills the box given; one only in a box."""
    if not cards:
        outlined = find_outlined(codes8(photo), np.cbrt(photo.space.luts(8)), finding)
        cards = _cards_among(outlined, photo, finding, box)
    if not cards and box is not None:
        cards = [card for card in (card_in_box(photo.codes, photo.space.luts(photo.bits), box),) if card]
    return cards if box is None else cards[:1]


def _cards_among(
    candidates: tuple[Thing, ...], photo: Photo, finding: Finding, box: tuple[float, float, float, float] | None
) -> list[Card]:
    things = tuple(thing for thing in candidates if _inside(thing, box))
    if not things:
        return []
    centres = np.array([thing.outline.mean(axis=0) for thing in things]).reshape(-1, 2)
    half = max(_shape(photo)) / 2
    rows, cols = ((centres + 0.5 - np.array(_shape(photo)) / 2) / half).T
    boards = finding.backing.surface.at(rows, cols) ** 3
    return plausible(read_cards(photo.codes, photo.space.luts(photo.bits), things, boards))


def _from_card(
    photo: Photo, finding: Finding, cards: list[Card], lightness: float
) -> tuple[Calibration, tuple[Thing, ...]]:
    light = light_over(finding.backing, finding.covered)
    places = np.array([card.thing.outline.mean(axis=0) for card in cards])
    at_card = _light_at(light, places, _shape(photo))
    even = np.array([card.linear for card in cards]) / at_card[:, None]
    _check_agreement(photo, cards, even)
    if cards[0].clipped:
        raise CalibrationError(
            f"The grey card must not be burnt out; in {photo.name} it reads the camera's limit. "
            "Photograph again with less exposure."
        )
    reading = even.mean(axis=0) * at_card[0]
    gain = float(lightness_to_luminance(lightness)) / reading
    tables = photo.space.luts(photo.bits) * gain[:, None].astype(np.float32)
    light = _shifted(light, float(np.log(at_card[0])))
    others = tuple(thing for thing in finding.things if not any(_within(thing, card.thing.outline) for card in cards))
    apart = f", {len(cards)} cards agree" if len(cards) > 1 else ""
    return Calibration("card", tables, light, _matrix(photo), _white(photo), _CARD_SIGMA, cards[0].thing.outline,
                       f"card read as L* {lightness:.1f}{apart}", *_unknown_tone(photo, lightness)), others


def _unknown_tone(photo: Photo, lightness: float) -> tuple[float, float | None]:
    """Style and anchor of a calibration by one grey: a camera's own JPEG has a tone curve that one grey cannot show."""
    developed = photo.camera is None or photo.space.name.startswith("linear")
    return (0.0, None) if developed else (1.0, lightness)


def _check_agreement(photo: Photo, cards: list[Card], even: Floats) -> None:
    """Several cards are welcome where they say the same; two that differ leave a doubt."""
    readings = luminance_to_lightness(even.mean(axis=1))
    if np.ptp(readings) <= _AGREE:
        return
    where = " and ".join(_box_words(card.thing, photo) for card in cards[:2])
    raise CalibrationError(
        f"One thing only must look like a grey card; in {photo.name} {len(cards)} do: {where}. "
        "Take one away, or name the card's place with --reference-at ROW,COL,ROW,COL."
    )


def _box_words(thing: Thing, photo: Photo) -> str:
    corners = np.concatenate([thing.outline.min(axis=0), thing.outline.max(axis=0)]) * photo.reduction
    return ",".join(str(max(0, round(float(value)))) for value in corners)


# --- scale -----------------------------------------------------------------------------------------------------------


def _from_scale(
    photo: Photo, finding: Finding, lightness: tuple[float, ...], box: tuple[float, float, float, float] | None
) -> tuple[Calibration, tuple[Thing, ...]]:
    tables = photo.space.luts(photo.bits)
    things = tuple(thing for thing in finding.things if _inside(thing, box))
    scale = find_scale(photo.codes, tables, things, lightness)
    if scale is None:
        raise CalibrationError(
            f"A grey scale of {len(lightness)} touching steps must lie whole in the photograph; none that runs from "
            f"L* {lightness[0]:g} to {lightness[-1]:g} was found in {photo.name}. {_HOW_TO}"
        )
    others = tuple(thing for thing in finding.things if not _within(thing, scale.outline))
    usable = ~scale.clipped
    return calibrate_on_greys(
        photo, finding, scale.linear[usable], np.asarray(lightness)[usable], scale.places[usable],
        outline=scale.outline), others


def _within(thing: Thing, outline: Floats) -> bool:
    middle = thing.outline.mean(axis=0)
    centre = outline.mean(axis=0)
    grown = ((outline - centre) * 1.08 + centre)[:, ::-1].astype(np.float32)
    return bool(cv2.pointPolygonTest(grown, (float(middle[1]), float(middle[0])), False) >= 0)


def calibrate_on_greys(
    photo: Photo, finding: Finding, linear: Floats, lightness: Floats, places: Floats, *, outline: Floats | None = None
) -> Calibration:
    """
    Return the calibration through greys of known lightness: a tone curve a channel, the unevenness taken out.

    Parameters
    ----------
    linear : (greys, 3) linear readings by the photograph's own profile
    lightness : (greys,) known L*
    places : (greys, 2) row, col of each, working pixels

    Raises
    ------
    CalibrationError
        Fewer than three greys read differently.
    """
    truth = np.asarray(lightness_to_luminance(lightness), float)
    curve, light, at_greys = None, None, np.ones(len(places))
    for _ in range(3):  # the curve needs even light, the light needs the curve
        curve = tone_from_greys(linear, truth * at_greys)
        light = light_over(finding.backing, finding.covered, curve.apply)
        at_greys = _light_at(light, places, _shape(photo))
        middle = float(np.exp(np.log(at_greys).mean()))
        light, at_greys = _shifted(light, float(np.log(middle))), at_greys / middle
    curve = tone_from_greys(linear, truth * at_greys)
    residual = curve.residual if np.isfinite(curve.residual) else 1.5
    sigma = float(np.hypot(0.25, 0.42 * residual))  # leaving a grey out widens the gap it must be guessed across
    tables = curve.lut(photo.space.luts(photo.bits))
    style = _restyled(linear / at_greys[:, None], truth)
    return Calibration("scale", tables, light, _matrix(photo), _white(photo), sigma, outline,
                       f"{len(lightness)} greys read from L* {lightness.max():.0f} to {lightness.min():.0f}", style)


def _restyled(linear: Floats, luminance: Floats) -> float:
    """How far the tone of the greys is from any mere exposure of the profile's, in units of a usual camera style."""
    level = luminance_to_lightness(np.maximum(linear.mean(axis=1), 0))
    exposed = [luminance_to_lightness(luminance * gain) - level for gain in np.geomspace(0.2, 3, 60)]
    return float(min(np.sqrt(np.square(miss).mean()) for miss in exposed)) / _USUAL_STYLE


# --- chart -----------------------------------------------------------------------------------------------------------


def _find_chart(finding: Finding, box: tuple[float, float, float, float] | None) -> Chart | None:
    at = None if box is None else tuple(side / finding.ratio for side in box)
    chart = find_chart(finding.small, at=at)  # type: ignore[arg-type]
    return None if chart is None else chart.scaled(finding.ratio)


def _from_chart(photo: Photo, finding: Finding, chart: Chart) -> tuple[Calibration, tuple[Thing, ...]]:
    readings = read_patches(photo.codes, chart, photo.space.luts(photo.bits))
    fault = judge_readings(readings)
    if fault is not None:
        raise CalibrationError(f"The chart in {photo.name} cannot be trusted: {fault}")
    usable = readings.usable
    greys = np.array([patch for patch in GREYS if usable[patch]])
    xyz = reference_xyz()
    lightness = luminance_to_lightness(xyz[:, 1])
    base = calibrate_on_greys(photo, finding, readings.linear[greys], lightness[greys], chart.centres[greys],
                              outline=chart.outline)
    even = chart_linear(photo, chart, readings.linear, base)
    white = reference_white()
    correction = fit_correction(even[usable], xyz[usable], kind="root-polynomial", white=white)
    missed = luminance_to_lightness(np.maximum(correction.apply(even[usable])[:, 1], 0)) - lightness[usable]
    spare = max(int(usable.sum()) - correction.coefficients.shape[1], 1)  # patches beyond what the fit can always meet
    unsure = float(np.sqrt(np.square(missed).sum() / spare))
    others = tuple(thing for thing in finding.things if not _within(thing, chart.outline))
    return replace(base, kind="chart", to_xyz=correction.apply, white=white, style=0.0,
                   sigma=float(np.hypot(base.sigma, unsure)),
                   sentence=f"chart read on {int(usable.sum())} of 24 patches"), others


def chart_linear(photo: Photo, chart: Chart, linear: Floats, base: Calibration) -> Floats:
    """Return patch readings (24, 3) through the tone curve, as in even light."""
    nominal = photo.space.luts(photo.bits)
    through = np.stack([np.interp(linear[:, channel], nominal[channel], base.tables[channel]) for channel in range(3)],
                       axis=1)
    return through / _light_at(base.light, chart.centres, _shape(photo))[:, None]


def reference_white() -> tuple[float, float, float]:
    """Return XYZ of the white that the chart's values are relative to (D50)."""
    from contrastkit.camera.chart import D50

    return float(D50[0]), float(D50[1]), float(D50[2])
