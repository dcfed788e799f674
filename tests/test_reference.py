"""The grey in the photograph: found wherever it lies, refused where it is doubtful or spoilt, and made into light."""

import re
import warnings

import numpy as np
import pytest
from made_scenes import CARD, box, drawn, looked_at, matched, outlines_of, photo_of, plain_scene, scene, shared_area
from numpy.testing import assert_allclose

from contrastkit.camera.greys import find_scale, plausible, read_cards
from contrastkit.camera.measure import measure_things
from contrastkit.camera.pipeline import find
from contrastkit.camera.reference import (
    CARD_LIGHTNESS,
    KINDS,
    ReferenceChoice,
    calibrate,
    calibrate_on_greys,
    parse_reference,
)
from contrastkit.camera.synthetic import BACKINGS
from contrastkit.errors import CalibrationError, InvalidInputError, NoReferenceWarning
from contrastkit.light.lightness import SRGB, lightness_to_luminance, luminance_to_lightness

SIZE = (900, 1200)
# Four pieces, none of them like a card, and their luminance by IEC 61966-2-1's weights.
PIECES = (
    (box((300, 450), 130, degrees=10), (0.3, 0.1, 0.08)),
    (box((320, 760), 130, degrees=30), (0.08, 0.12, 0.3)),
    (box((600, 400), 140), (0.12, 0.25, 0.1)),
    (box((620, 700), 150, 90, 20), (0.5, 0.35, 0.1)),
)
WEIGHTS = np.array([0.2126, 0.7152, 0.0722])
TRUE = luminance_to_lightness(np.array([colour for _, colour in PIECES]) @ WEIGHTS)
STEPS = (95.5, 81.0, 66.0, 50.5, 35.5, 20.5)
SCALE = "scale=" + ",".join(map(str, STEPS))
# The picture is drawn in float and rounded to 8 bits: half a code is 0.2 L* of one pixel and next to nothing of a mean;
# the evening out of the light and the half-pixel at the cut edge leave a little more.
ATOL = 0.35


def laid(*things, board=0.8, exposure=1.0, **options):
    """The four pieces and more things on a board, and what is found there."""
    all_of_them = [(outline, np.multiply(colour, np.ones(3))) for outline, colour in (*PIECES, *things)]
    light = np.multiply(options.pop("light", np.ones(SIZE)), exposure)
    photo = photo_of(drawn(all_of_them, size=SIZE, board=board, light=light, **options))
    return photo, find(photo)


def card_at(middle=(110, 110), degrees=10, level=CARD):
    return box(middle, 110, 140, degrees), level


def calibrated(board, reference, **options):
    """The calibration of a photograph and the outlines of the other things."""
    calibration, others = calibrate(*board, parse_reference(reference), **options)
    return calibration, [thing.outline for thing in others]


def lightness_of_pieces(board, reference, **options):
    """Measured lightness of the four pieces, in the order they are listed."""
    calibration, others = calibrate(*board, parse_reference(reference), **options)
    table = measure_things(board[0], calibration, others)
    which, shares = matched([outline for outline, _ in PIECES], outlines_of(table))
    assert min(shares) > 0.95
    return table["lightness"].to_numpy()[which]


# --- what may be asked for ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("text", "choice"), [
    ("auto", ReferenceChoice("auto")), ("none", ReferenceChoice("none")), ("chart", ReferenceChoice("chart")),
    ("card", ReferenceChoice("card")), (" card=49.5 ", ReferenceChoice("card", (49.5,))),
    ("scale=100,50,0.5", ReferenceChoice("scale", (100.0, 50.0, 0.5))),
])  # fmt: skip
def test_every_kind_of_reference_can_be_named(text, choice):
    """Would be broken: the --reference option."""
    assert parse_reference(text) == choice
    assert choice.kind in KINDS


@pytest.mark.parametrize(("text", "words"), [
    ("grey", r"A reference must be auto, none, chart, card.*got 'grey'\. Use one of these"),
    ("", r"A reference must be auto, none, chart, card.*got ''\. Use one of these"),
    ("CARD", r"A reference must be auto.*got 'CARD'"),
    ("chart=24", r"A reference must be auto.*got 'chart=24'"),
    ("none=", r"A reference must be auto.*got 'none='"),
    ("card=light", r"Lightness values must be numbers separated by commas; got 'light'\. Write for example card=49\.5"),
    ("card=", r"Lightness values must be numbers separated by commas; got ''"),
    ("scale=95;66;20", r"Lightness values must be numbers separated by commas; got '95;66;20'"),
    ("card=0", r"lightness of a grey must lie above 0 and up to 100; got \(0\.0,\)\. Read it off the card"),
    ("card=nan", r"lightness of a grey must lie above 0 and up to 100; got \(nan,\)"),
    ("card=-18", r"lightness of a grey must lie above 0 and up to 100"),
    ("scale=120,66,20", r"lightness of a grey must lie above 0 and up to 100; got \(120\.0, 66\.0, 20\.0\)"),
    ("card=49.5,20", r"A card has one lightness; got 2\. For steps that touch use scale="),
    ("scale", r"A scale needs the lightness of three or more steps, light to dark; got none\. Write for"),
    ("scale=95,20", r"A scale needs the lightness of three or more steps, light to dark; got \(95\.0, 20\.0\)"),
    ("scale=20,66,95", r"A scale needs the lightness of three or more steps, light to dark; got \(20\.0, 66"),
    ("scale=95,66,66,20", r"A scale needs the lightness of three or more steps, light to dark"),
])  # fmt: skip
def test_what_cannot_be_a_reference_is_refused_in_words(text, words):
    """Would be broken: a typing slip that ends in a traceback, or in numbers measured against nonsense."""
    with pytest.raises(InvalidInputError, match=words):
        parse_reference(text)


@pytest.mark.parametrize(("kind", "lightness", "words"), [
    ("nonsense", (), r"A reference must be one of auto, card, scale, chart, none; got 'nonsense'\. Use one of these"),
    ("scale", (), r"A scale needs the lightness of three or more steps"),
    ("card", (130.0,), r"lightness of a grey must lie above 0 and up to 100"),
])
def test_a_choice_made_by_hand_is_held_to_the_same(kind, lightness, words):
    """Would be broken: a choice put together in a program, measured as if nothing had been asked for."""
    with pytest.raises(InvalidInputError, match=words):
        ReferenceChoice(kind, lightness)


@pytest.mark.parametrize("at", [(-5, 0, 100, 100), (0, -5, 100, 100), (0, 0, 901, 100), (0, 0, 100, 1201),
                                (50, 0, 50, 100), (50, 0, 100, 0)])
def test_a_box_that_is_not_in_the_photograph_is_refused(at):
    """Would be broken: a slip in --reference-at that looks at nothing and says no card was found."""
    with pytest.raises(InvalidInputError, match=r"box of --reference-at must lie inside the photograph of 900 rows and "
                                                r"1200 columns; got .*Give ROW,COL,ROW,COL of two opposite corners"):
        calibrated(laid(card_at()), "card", at=at)


# --- card -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("middle", [(110, 110), (110, 1090), (790, 110), (790, 1090)])
@pytest.mark.parametrize(("degrees", "board"), [(0, 0.8), (20, 0.3), (45, 0.05), (80, 0.8)])
def test_a_card_is_found_in_any_corner_however_it_is_turned(middle, degrees, board):
    """Would be broken: the card the practitioner lays down without thinking about it."""
    card = card_at(middle, degrees)
    calibration, others = calibrated(laid(card, board=board), "auto")
    assert calibration.kind == "card"
    assert shared_area(calibration.outline, card[0]) > 0.97
    assert len(others) == 4  # the card itself is no piece


@pytest.mark.parametrize("exposure", [0.55, 1.0])
@pytest.mark.parametrize("board", [0.8, 0.3, 0.05])
def test_pieces_measured_against_a_card_have_their_true_lightness_whatever_the_exposure(board, exposure):
    """Would be broken: the main promise. Colours here are the photograph's own: nothing but grey and light counts."""
    assert_allclose(lightness_of_pieces(laid(card_at(), board=board, exposure=exposure), "card"), TRUE, atol=ATOL)


@pytest.mark.parametrize("gains", [(1.12, 1, 0.88), (0.88, 1, 1.12)])
def test_a_wrong_white_balance_is_taken_out_channel_by_channel(gains):
    """Would be broken: lamplight that makes reds light and blues dark."""
    things = [(outline, np.multiply(colour, gains)) for outline, colour in (*PIECES, card_at())]
    photo = photo_of(drawn(things, size=SIZE, board=0.8 * np.array(gains), light=np.full(SIZE, 0.8)))
    assert_allclose(lightness_of_pieces((photo, find(photo)), "card"), TRUE, atol=ATOL)


def test_uneven_light_is_taken_out_by_what_the_board_shows():
    """Would be broken: pieces in the dim corner that read up to 5 L* too dark."""
    light = 1.15 - 0.3 * np.mgrid[: SIZE[0], : SIZE[1]][1] / SIZE[1]  # 1.15 where the card lies, 0.85 at the other end
    board = laid(card_at(), light=light, exposure=0.9)
    assert_allclose(lightness_of_pieces(board, "card"), TRUE, atol=0.5)  # the fit to the board: 1 % of light


def test_a_cards_own_lightness_counts():
    """Would be broken: card=L, for cards that are not the trade's 18 %."""
    board = laid(card_at(level=float(lightness_to_luminance(42.0))))
    assert_allclose(lightness_of_pieces(board, "card=42"), TRUE, atol=ATOL)
    # Luminance of 18 % is L* 49.4961: colour-science, CIE 15:2004.
    assert pytest.approx(49.4961, abs=1e-4) == CARD_LIGHTNESS
    assert_allclose(lightness_of_pieces(board, "card"), lightness_of_pieces(board, "card=49.4961"), atol=1e-3)


def test_a_photograph_without_a_card_is_refused_where_one_was_asked_for():
    """Would be broken: numbers measured against a piece, or against nothing, as if there had been a card."""
    with pytest.raises(CalibrationError, match=r"A grey card must lie flat and whole in the photograph; none was found "
                                               r"in board\.png\. Lay a grey card, a scale or a 24-patch chart"):
        calibrated(laid(), "card")


@pytest.mark.parametrize("shape", ["black", "white", "triangle", "strip", "tinted"])
def test_what_is_only_a_little_like_a_card_is_none(shape):
    """Would be broken: everything measured against black cloth, a paper label, a grey triangle or a strip of tape."""
    triangle = np.array([[60.0, 60], [200, 200], [200, 60]])
    thing = {
        "black": card_at(level=0.008), "white": card_at(level=0.95), "triangle": (triangle, CARD),
        "strip": (box((110, 180), 60, 240, 10), CARD), "tinted": (card_at()[0], np.multiply(CARD, (1.25, 1, 0.8))),
    }[shape]  # fmt: skip
    with pytest.raises(CalibrationError, match="A grey card must lie flat and whole"):
        calibrated(laid(thing, board=0.5), "card")


def test_without_anything_grey_there_is_a_loud_warning_and_a_large_uncertainty():
    """Would be broken: honesty. Between photographs a bare picture is off by 4 to 10 L*."""
    words = r"board\.png: nothing grey was found .* rough \(± 8\)\. Lay a grey card"
    with pytest.warns(NoReferenceWarning, match=words):
        calibration, others = calibrated(laid(), "auto")
    assert calibration.kind == "none"
    assert calibration.sigma >= 8
    assert calibration.outline is None
    assert len(others) == 4


def test_none_is_taken_at_its_word_without_a_warning_but_no_more_certain():
    """Would be broken: --reference none, which leaves even a card lying there alone."""
    calibration, others = calibrated(laid(card_at()), "none")
    assert calibration.kind == "none"
    assert calibration.sigma >= 8
    assert len(others) == 5
    assert_allclose(calibration.tables, SRGB.luts(8))


@pytest.mark.parametrize("backing", ["white", "black"])
def test_a_rendered_card_is_found_among_woven_and_painted_pieces(backing):
    """Would be broken: a plain grey piece of cotton taken for the card."""
    made = plain_scene(backing)
    calibration, _ = calibrate(*looked_at(made), parse_reference("card"))
    assert shared_area(calibration.outline, made.reference_outline) > 0.9


def test_a_card_on_a_board_of_nearly_its_own_grey_is_found():
    """Would be broken: grey boards, where the card differs by 4.5 L* from what it lies on."""
    card = card_at()
    calibration, others = calibrated(laid(card, board=0.22), "card")
    assert shared_area(calibration.outline, card[0]) > 0.95
    assert len(others) == 4


# --- two cards ------------------------------------------------------------------------------------------------------

FIRST, SECOND = card_at((110, 110), 10, 0.14), card_at((790, 1090), 30, 0.10)


def boxes_in(message):
    """The places that a message names."""
    return [tuple(map(float, box.split(","))) for box in re.findall(r"\d+,\d+,\d+,\d+", message)]


def test_two_greys_that_disagree_are_refused_and_both_places_named():
    """Would be broken: a silent choice between two cards, one of them a piece of grey cloth, 7 L* apart."""
    words = (r"One thing only must look like a grey card; in board\.png 2 do: .* and .*"
             r"Take one away, or name the card's place with --reference-at")
    with pytest.raises(CalibrationError, match=words) as told:
        calibrated(laid(FIRST, SECOND), "auto")
    places = boxes_in(str(told.value))
    assert len(places) == 2
    for outline, _ in (FIRST, SECOND):
        true = np.concatenate([outline.min(axis=0), outline.max(axis=0)])
        assert min(np.abs(np.subtract(place, true)).max() for place in places) < 3  # pixels


@pytest.mark.parametrize("named", [0, 1])
def test_the_place_that_the_message_names_settles_the_doubt_either_way(named):
    """Would be broken: the way out that the message offers."""
    board, chosen = laid(FIRST, SECOND), (FIRST, SECOND)[named]
    with pytest.raises(CalibrationError) as told:
        calibrated(board, "card")  # its words are read above
    at = min(boxes_in(str(told.value)), key=lambda place: abs(place[0] - chosen[0][:, 0].min()))
    label = f"card={float(luminance_to_lightness(chosen[1])):.3f}"
    calibration, others = calibrated(board, label, at=at)
    assert shared_area(calibration.outline, chosen[0]) > 0.97
    assert len(others) == 5  # the other grey is a piece
    assert_allclose(lightness_of_pieces(board, label, at=at), TRUE, atol=ATOL)


def test_a_place_may_be_given_from_any_corner():
    """Would be broken: a box drawn from the lower right to the upper left."""
    board = laid(FIRST, SECOND)
    one, other = (calibrated(board, "card", at=at)[0] for at in ((0, 0, 250, 300), (250, 300, 0, 0)))
    assert_allclose(one.outline, other.outline)


def test_a_place_without_a_card_is_refused_whatever_lies_elsewhere():
    """Would be broken: a pointed finger ignored."""
    for kind in ("card", "auto"):
        with pytest.raises(CalibrationError, match="none was found in board.png"):
            calibrated(laid(card_at()), kind, at=(400, 200, 880, 700))


def test_two_cards_that_agree_are_both_used():
    """Would be broken: the careful photographer who lays down two, refused or with one of them counted as a piece."""
    light = 1.15 - 0.3 * np.mgrid[: SIZE[0], : SIZE[1]][1] / SIZE[1]
    board = laid(card_at((110, 110)), card_at((790, 1090), 30), light=light, exposure=0.9)
    calibration, others = calibrated(board, "card")
    assert "2 cards agree" in calibration.sentence
    assert len(others) == 4
    assert_allclose(lightness_of_pieces(board, "card"), TRUE, atol=0.5)  # as for one card in uneven light


@pytest.mark.parametrize("backing", ["white", "black"])
def test_a_second_grey_on_a_rendered_board_is_never_taken_for_the_card_in_silence(backing):
    """Would be broken: an error of 13 to 17 L* on the whole photograph that nobody hears of."""
    for seed in range(3):
        made = scene(seed=seed, backing=backing, reference="two cards", pieces=7, size=(1050, 1400), exposure=0.8)
        try:
            calibration, _ = calibrate(*looked_at(made), parse_reference("card"))
        except CalibrationError as error:
            assert "must look like a grey card" in str(error)  # noqa: PT017
        else:
            assert shared_area(calibration.outline, made.reference_outline) > 0.8


@pytest.mark.parametrize("at", [None, (0, 0, 250, 300)])
def test_a_burnt_out_card_is_refused(at):
    """Would be broken: a card at the camera's limit, against which everything reads too dark."""
    with pytest.raises(CalibrationError, match="A grey card must lie flat|The grey card must not be burnt out"):
        calibrated(laid(card_at(), exposure=6), "card", at=at)


def test_cards_are_ranked_smooth_before_woven_and_only_near_rivals_stay():
    """Would be broken: the choice between a card and a piece of grey cotton."""
    rng = np.random.default_rng(1)
    cloth = box((790, 1090), 110, 140)
    photo, _ = laid(card_at(), (cloth, CARD))
    codes = photo.codes.copy()
    rows, cols = slice(735, 846), slice(1020, 1161)
    codes[rows, cols] = np.clip(codes[rows, cols] + rng.normal(0, 12, (111, 141, 1)).round(), 0, 255)  # its weave
    photo = photo_of(codes)
    finding = find(photo)
    boards = np.full((len(finding.things), 3), 0.8)
    cards = read_cards(photo.codes, SRGB.luts(8), finding.things, boards)
    assert shared_area(cards[0].thing.outline, card_at()[0]) > 0.97
    assert_allclose(cards[0].linear, CARD, rtol=0.01)
    assert not cards[0].clipped
    assert [card.cost for card in cards] == sorted(card.cost for card in cards)
    assert len(plausible(cards)) == 1
    assert plausible([]) == []


# --- scale ----------------------------------------------------------------------------------------------------------


def scale_at(middle, degrees, steps=STEPS, length=480, width=95):
    """A scale of touching steps, lightest first: its outline, and its steps, each reaching to the end."""
    along = np.array([np.sin(np.deg2rad(degrees)), np.cos(np.deg2rad(degrees))]) * length / len(steps)
    things = []
    for number, lightness in enumerate(steps):
        left = len(steps) - number
        centre = np.asarray(middle) + along * (number + left / 2 - len(steps) / 2)
        step = box(centre, width, length / len(steps) * left, degrees)
        things.append((step, float(lightness_to_luminance(lightness))))
    return box(middle, width, length, degrees), things


ACROSS, DOWN = (820, 600), (450, 1080)


@pytest.mark.parametrize(("middle", "degrees"), [(ACROSS, 0), (ACROSS, 8), (ACROSS, 188), (DOWN, 90), (DOWN, 275)])
def test_a_scale_is_found_whichever_way_it_runs(middle, degrees):
    """Would be broken: a scale laid upside down, read dark for light."""
    outline, steps = scale_at(middle, degrees)
    board = laid(*steps)
    calibration, others = calibrated(board, SCALE)
    assert calibration.kind == "scale"
    assert shared_area(calibration.outline, outline) > 0.95
    assert len(others) == 4
    assert_allclose(lightness_of_pieces(board, SCALE), TRUE, atol=ATOL)


@pytest.mark.parametrize("step", [0, 1, 3, 5])
def test_a_scale_is_found_where_one_of_its_steps_is_as_light_as_the_board(step):
    """Would be broken: the white step on a white board, the black one on a black board, or the strip torn in two."""
    outline, steps = scale_at(ACROSS, 8)
    board = laid(*steps, board=float(lightness_to_luminance(STEPS[step])))
    calibration, others = calibrated(board, SCALE)
    assert shared_area(calibration.outline, outline) > 0.95
    assert len(others) == 4
    assert_allclose(lightness_of_pieces(board, SCALE), TRUE, atol=ATOL)


@pytest.mark.parametrize("backing", BACKINGS)
def test_a_rendered_scale_is_found(backing):
    """Would be broken: scales under shadows, perspective and noise."""
    made = plain_scene(backing, 2, reference="scale", pieces=8)
    calibration, _ = calibrate(*looked_at(made), parse_reference(SCALE))
    assert shared_area(calibration.outline, made.reference_outline) > 0.8  # a strip of shadow along its side costs 0.1


@pytest.mark.parametrize("numbers", [
    "95.5,81,66,50.5,35.5", "95.5,66,35.5", "90,60,30", "95,80,65,50,35,25,15,10", "95,94,93,92,91,20",
    "99,50,49,48,47,46", "95,90,85,80,75,70",
])  # fmt: skip
def test_a_scale_with_other_values_or_another_number_of_steps_is_refused(numbers):
    """Would be broken: the values of another scale typed in, and everything bent to them."""
    board = laid(*scale_at(ACROSS, 0)[1])
    steps = numbers.count(",") + 1
    words = (rf"A grey scale of {steps} touching steps must lie whole in the photograph; "
             r"none that runs from L\* [\d.]+ to [\d.]+ was found in board\.png\. Lay")
    with pytest.raises(CalibrationError, match=words):
        calibrated(board, f"scale={numbers}")


def test_a_photograph_without_a_scale_is_refused_where_one_was_asked_for():
    """Would be broken: a scale made up out of pieces."""
    with pytest.raises(CalibrationError, match="A grey scale of 6 touching steps must lie whole"):
        calibrated(laid(card_at()), SCALE)


def test_a_scale_outside_the_place_given_is_not_looked_at():
    """Would be broken: --reference-at for a scale."""
    outline, steps = scale_at(ACROSS, 0)
    board = laid(*steps)
    assert calibrated(board, SCALE, at=(740, 300, 900, 900))[0].kind == "scale"
    with pytest.raises(CalibrationError, match="A grey scale of 6 touching steps"):
        calibrated(board, SCALE, at=(100, 300, 700, 900))


def test_the_steps_of_a_scale_are_read_in_order_and_in_their_places():
    """Would be broken: a reading taken across two steps, or the places the light is evened out at."""
    outline, steps = scale_at(ACROSS, 8)
    photo, finding = laid(*steps)
    scale = find_scale(photo.codes, SRGB.luts(8), finding.things, STEPS)
    assert_allclose(scale.linear, np.repeat(lightness_to_luminance(np.array(STEPS))[:, None], 3, axis=1), rtol=0.01)
    ends = (outline[0] + outline[3]) / 2, (outline[1] + outline[2]) / 2
    true = ends[0] + (np.arange(6)[:, None] + 0.5) / 6 * (ends[1] - ends[0])
    assert_allclose(scale.places, true, atol=2.0)
    assert not scale.clipped.any()
    assert find_scale(photo.codes, SRGB.luts(8), (), STEPS) is None


def test_burnt_out_steps_are_left_out_and_the_rest_still_measures():
    """Would be broken: an exposure too long by a third that bends the whole curve."""
    board = laid(*scale_at(ACROSS, 0)[1], exposure=1.4)  # the two lightest steps, at 1.24 and 0.82, then 0.5
    calibration, _ = calibrated(board, SCALE)
    assert calibration.sentence.startswith("5 greys")
    assert_allclose(lightness_of_pieces(board, SCALE), TRUE, atol=ATOL)


# --- the tone curve -------------------------------------------------------------------------------------------------


def restyled(codes):
    """The curve that a phone lays on a picture: half of it a smoothstep of the encoded values."""
    values = codes / 255
    return np.round((values + values**2 * (3 - 2 * values)) / 2 * 255).astype(np.uint8)


def test_a_phones_curve_is_undone_by_a_scale_but_not_by_a_card():
    """Would be broken: what a scale is for. One card cannot see a curve: it leaves pieces off by 2 L* and more."""
    photo, _ = laid(card_at(), *scale_at(ACROSS, 0)[1])
    photo = photo_of(restyled(photo.codes))
    board = photo, find(photo)
    # Between greys 15 L* apart the curve is a monotone cubic; colours bent channel by channel come back to half an L*.
    assert_allclose(lightness_of_pieces(board, SCALE), TRUE, atol=0.8)
    assert np.abs(lightness_of_pieces(board, "card") - TRUE).max() > 2


def greys(readings, lightness=STEPS):
    """Readings (greys, 3), their lightness, and places in a row below the pieces."""
    places = np.stack([np.full(len(lightness), 820.0), np.linspace(300, 900, len(lightness))], axis=1)
    return np.repeat(np.asarray(readings)[:, None], 3, axis=1), np.array(lightness), places


def test_greys_of_known_lightness_calibrate_wherever_they_lie():
    """Would be broken: references of another layout, read by whoever knows it."""
    photo, finding = laid(exposure=0.7)
    readings = lightness_to_luminance(np.array(STEPS)) * 0.7
    calibration = calibrate_on_greys(photo, finding, *greys(readings))
    assert calibration.kind == "scale"
    # What read 0.7 of the light is 1: the tables undo the exposure over the whole range of the greys.
    codes = np.arange(60, 215)
    assert_allclose(luminance_to_lightness(calibration.tables[:, codes]),
                    luminance_to_lightness(SRGB.luts(8)[:, codes] / 0.7), atol=0.1)
    assert calibration.style < 0.15  # exposures are tried in steps of 5 %: up to 0.4 L*, of a usual 3
    assert 0.2 < calibration.sigma < 1


def test_a_restyled_picture_is_known_by_its_greys():
    """Would be broken: the wider uncertainty of vivid colours that a phone has made more vivid still."""
    photo, finding = laid()
    encoded = restyled(np.round(255 * np.array([0.95, 0.8, 0.63, 0.47, 0.32, 0.19])))
    plain = calibrate_on_greys(photo, finding, *greys(lightness_to_luminance(np.array(STEPS))))
    phone = calibrate_on_greys(photo, finding, *greys(SRGB.luts(8)[0][encoded]))
    assert phone.style > 0.5 > plain.style


def test_too_few_greys_are_refused():
    """Would be broken: a curve through two points."""
    photo, finding = laid()
    with pytest.raises(CalibrationError, match="at least 3 greys"):
        calibrate_on_greys(photo, finding, *greys([0.8, 0.2], (91.0, 52.0)))


# --- chart ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("reference", ["chart", "auto"])
def test_a_chart_is_used_and_its_patches_are_no_pieces(reference):
    """Would be broken: twenty-four pieces too many, or a chart passed over for something grey."""
    made = plain_scene("white", 3, reference="chart", pieces=8, illuminant="D50")
    photo, finding = looked_at(made)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        calibration, others = calibrate(photo, finding, parse_reference(reference))
    assert calibration.kind == "chart"
    assert "24 of 24 patches" in calibration.sentence
    assert shared_area(calibration.outline, made.reference_outline) > 0.6  # its patches, without the frame round them
    assert max(shared_area(thing.outline, made.reference_outline) for thing in others) < 0.01
    table = measure_things(photo, calibration, others)
    which, shares = matched(outlines_of(made.truth), outlines_of(table))
    assert min(shares) > 0.8
    error = table["lightness"].to_numpy()[which] - made.truth["lightness"]
    # The rendered chart is the average of many real ones, 0.5 L* lighter than the nominal values that it is measured by
    # (and its white 1.3), which makes everything as much too dark.
    assert np.median(np.abs(error)) < 1.2


def test_a_photograph_without_a_chart_is_refused_where_one_was_asked_for():
    """Would be broken: a chart made up out of squares."""
    with pytest.raises(CalibrationError, match=r"A 24-patch chart must lie whole in the photograph; none was found in "
                                               r"board\.png\. Lay a grey card"):
        calibrated(laid(card_at()), "chart")
