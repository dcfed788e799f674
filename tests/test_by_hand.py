"""What a hand says of a photograph that was measured: outlines it has corrected, and where the grey card lies."""

import json
from pathlib import Path

import numpy as np
import pytest
from made_scenes import box, drawn, outlines_of, photo_of
from numpy.testing import assert_allclose
from pandas.testing import assert_frame_equal

from contrastkit.camera.edges import seen_along
from contrastkit.camera.measure import measure_outlines
from contrastkit.camera.pipeline import box_at, find, measure_photo, measure_read, remeasure
from contrastkit.camera.read import codes8
from contrastkit.errors import CalibrationError, InvalidInputError, NoReferenceWarning
from contrastkit.light.lightness import luminance_to_lightness

PHOTOS = Path(__file__).parents[1] / "data" / "thistlewick" / "photos"
SIZE = (800, 1000)
CARD = (box((130, 860), 110, 140, 15), 0.18)
PIECES = (
    (box((250, 250), 180, degrees=12), (0.3, 0.1, 0.08)), (box((300, 560), 150, 220, 40), (0.08, 0.12, 0.3)),
    (box((590, 330), 200), (0.12, 0.25, 0.1)), (box((600, 700), 160, degrees=70), (0.5, 0.35, 0.1)),
)  # fmt: skip


def board(*things, reduction=1, **options):
    codes = drawn([(outline, np.multiply(colour, np.ones(3))) for outline, colour in things], size=SIZE, **options)
    return photo_of(codes, reduction=reduction)


@pytest.fixture(scope="module")
def measured():
    return measure_read(board(CARD, *PIECES))


@pytest.fixture(scope="module")
def demo():
    return measure_photo(PHOTOS / "morning-card.jpg")


def named(result):
    return {name: np.array(json.loads(text)) for name, text in
            zip(result.table["swatch_id"], result.table["outline"], strict=True)}  # fmt: skip


# --- outlines ---------------------------------------------------------------------------------------------------------


def test_outlines_that_nobody_changed_give_the_same_table(measured, demo):
    """Correcting one outline would move the lightness of all the others."""
    for result in (measured, demo):
        assert_frame_equal(remeasure(result, named(result)).table, result.table)


def test_an_outline_by_hand_gives_the_row_that_finding_gives(measured, demo):
    """A piece would read otherwise only because a hand had outlined it."""
    for result in (measured, demo):
        again = measure_outlines(result.photo, result.calibration, named(result))
        # the table keeps corners to a tenth of a pixel
        assert_allclose(again["lightness"], result.table["lightness"], atol=0.02)
        assert_allclose(again["chroma"], result.table["chroma"], atol=0.02)
        assert_allclose(again["area"], result.table["area"], rtol=0.001)
        for same in ("outline", "flags", "reference", "photo", "swatch_id"):
            assert again[same].tolist() == result.table[same].tolist()
    # how well an edge is seen is judged otherwise on a real edge, never by more than an unseen outline costs
    assert np.abs(again["lightness_sigma"] - demo.table["lightness_sigma"]).median() < 0.01
    assert np.abs(again["lightness_sigma"] - demo.table["lightness_sigma"]).max() < 1.6


def test_outlines_keep_their_order_and_their_names(measured):
    """A piece would get the row of another one."""
    corners = named(measured)
    moved = corners["board-02"] + (40, 40)
    wanted = {"last": corners["board-04"], "blue <b>": moved, "first": corners["board-01"]}
    table = remeasure(measured, wanted).table
    assert table["swatch_id"].tolist() == ["last", "blue <b>", "first"]
    old = measured.table.set_index("swatch_id")["lightness"]
    assert table["lightness"].tolist()[::2] == [old["board-04"], old["board-01"]]
    assert_allclose(outlines_of(table)[1], moved, atol=0.06)
    assert table["lightness"][1] != old["board-02"]


def test_no_outlines_give_an_empty_table_with_all_columns(measured):
    """A board of which all was discarded would stop everything."""
    table = remeasure(measured, {}).table
    assert len(table) == 0 and list(table) == list(measured.table)


def test_a_piece_that_was_missed_reads_its_true_lightness(measured):
    """A piece that is drawn by hand would be measured by other rules."""
    outline, colour = PIECES[2]
    row = measure_outlines(measured.photo, measured.calibration, {"green": outline[::-1]}).iloc[0]
    truth = float(luminance_to_lightness(np.dot((0.2126, 0.7152, 0.0722), colour)))
    assert row["lightness"] == pytest.approx(truth, abs=0.5)  # the card is 18 %, the picture has noise
    assert row["area"] == pytest.approx(200**2, rel=0.001)  # turned round: clockwise again


def test_the_less_of_an_outline_lies_on_an_edge_the_larger_is_its_sigma(measured):
    """A careless outline would be as sure as one on the cut edge."""
    outline = PIECES[2][0]
    grown = (outline - outline.mean(axis=0)) * 1.1 + outline.mean(axis=0)
    table = measure_outlines(measured.photo, measured.calibration, {"true": outline, "careless": grown})
    assert table["lightness_sigma"][1] > table["lightness_sigma"][0] + 0.5


@pytest.mark.parametrize(("by", "seen"), [(0, 1.0), (2, 1.0), (8, 0.0), (-8, 0.0)])
def test_a_side_is_seen_where_a_sharp_edge_lies_under_it(by, seen):
    """Sigma would depend on edges that lie elsewhere."""
    photo = board(CARD, *PIECES)
    outline = box((590, 330), 200 + 2 * by)
    assert seen_along(codes8(photo), np.cbrt(photo.space.luts(8)), [outline]) == [seen]
    assert seen_along(codes8(photo), np.cbrt(photo.space.luts(8)), []) == []


@pytest.mark.parametrize(
    ("outline", "words"),
    [
        ([[0, 0], [9, 9]], "from 3 to 200 corners, a row and a column each; that of 'x' has not. Draw it anew."),
        ("nonsense", "from 3 to 200 corners"),
        ([[1, 2], [3]], "from 3 to 200 corners"),
        ([[0, 0], [0, 90], [float("nan"), 90]], "from 3 to 200 corners"),
        (box((400, 400), 100).tolist() * 51, "from 3 to 200 corners"),
        ([[-2, 10], [-2, 200], [200, 200]], "inside the photograph of 800 rows and 1000 columns; that of 'x' does"),
        ([[10, 10], [10, 1200], [200, 200]], "does not. Move its corners inside."),
        ([[10, 10], [200, 200], [10, 200], [200, 10]], "must not cross itself; that of 'x' does. Set its corners in"),
        ([[10, 10], [10, 15], [15, 15], [15, 10]], "at least 8 pixels across to be measured; that of 'x' is smaller"),
        ([[10, 10], [10, 200], [10, 300]], "at least 8 pixels across"),
    ],
)  # fmt: skip
def test_what_cannot_be_an_outline_is_refused_in_a_sentence(measured, outline, words):
    """A slip of the hand would give a number, or a page of code."""
    with pytest.raises(InvalidInputError, match=words):
        remeasure(measured, {"x": outline})


def test_outlines_with_hollows_do_not_cross_themselves(measured):
    """An L or a star could not be outlined."""
    angle = np.arange(10) * np.pi / 5
    reach = np.where(np.arange(10) % 2, 60, 140)[:, None]
    star = np.stack([-np.cos(angle), np.sin(angle)], axis=1) * reach + (400, 500)
    corner = [[100, 100], [100, 300], [200, 300], [200, 200], [300, 200], [300, 100]]
    assert len(remeasure(measured, {"star": star, "corner": corner}).table) == 2


# --- the reference ----------------------------------------------------------------------------------------------------


def test_a_photograph_that_was_read_is_measured_as_its_file_is(measured, tmp_path):
    """What a page shows would differ from what the command line writes."""
    from PIL import Image

    Image.fromarray(measured.photo.codes).save(tmp_path / "board.png")
    assert_frame_equal(measure_photo(tmp_path / "board.png").table, measured.table)


def test_the_card_is_where_a_hand_points():
    """Of two greys the wrong one would be taken, and no hand could say so."""
    other = (box((680, 880), 110, 140), 0.36)
    photo = board(CARD, other, *PIECES)
    results = [measure_read(photo, reference="card", reference_at=place) for place in ((130, 860), (690, 900))]
    assert_allclose(results[0].calibration.outline.mean(axis=0), (130, 860), atol=1)
    assert_allclose(results[1].calibration.outline.mean(axis=0), (680, 880), atol=1)
    truth = luminance_to_lightness([0.36, 0.18 / 2])  # the one is a piece where the other is the card
    for result, lightness in zip(results, truth, strict=True):
        assert len(result.table) == 5
        assert np.abs(result.table["lightness"] - lightness).min() < 0.5


def test_a_card_that_was_not_found_is_read_where_a_hand_points():
    """A card of the board's own grey, whose edges do not show, could not be used."""
    photo = board(*PIECES, board=0.18)
    result = measure_read(photo, reference="card", reference_at=(420, 850))
    assert result.calibration.kind == "card" and len(result.table) == 4
    truth = [float(luminance_to_lightness(np.dot((0.2126, 0.7152, 0.0722), colour))) for _, colour in PIECES]
    assert_allclose(sorted(result.table["lightness"]), sorted(truth), atol=0.6)


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ((250, 250), r"What is pointed at must be one even grey, as a card is; at row 250, column 250 of board.png it"),
        ((-50, 20), "it is not. Point at the middle of the card."),
        ((9000, 20), "it is not. Point at the middle of the card."),
        ((420, 420), "must read far darker than white; at row 420, column 420 of board.png lies something nearly whi"),
    ],
)  # fmt: skip
def test_what_is_no_grey_card_is_refused_where_a_hand_points(place, words):
    """Every lightness would be wrong after a slip of the hand."""
    with pytest.raises(CalibrationError, match=words):
        measure_read(board(CARD, *PIECES), reference="card", reference_at=place)


def test_a_white_card_is_taken_once_its_lightness_is_said():
    """The board itself could never be the reference."""
    result = measure_read(board(*PIECES), reference="card=91.6", reference_at=(420, 850))  # 0.8 of the light
    assert_allclose(result.calibration.tables.max(), 1.0, atol=0.01)


def test_what_lies_there_is_told_in_full_resolution_pixels():
    """On a large photograph a hand would point at another thing."""
    photo = board(CARD, *PIECES, reduction=2)
    top, left, bottom, right = box_at(photo, find(photo), (260, 1720))
    assert_allclose([(top + bottom) / 2, (left + right) / 2], [261, 1721], atol=2)
    assert 220 < bottom - top < 400 and 280 < right - left < 400


@pytest.mark.parametrize(
    ("name", "reference", "place", "sentence"),
    [
        ("evening-scale.jpg", "scale=95.5,81,66,50.5,35.5,20.5", (1500, 3400), "6 greys read from L* 96 to 20"),
        ("noon-chart.jpg", "chart", (1800, 1300), "chart read on 24 of 24 patches"),
    ],
)  # fmt: skip
def test_a_scale_or_a_chart_is_looked_for_round_where_a_hand_points(name, reference, place, sentence):
    """Pointing at a scale would be taken for one of its steps."""
    found = measure_photo(PHOTOS / name)
    result = measure_read(found.photo, reference=reference, reference_at=place)
    assert result.calibration.sentence == sentence
    assert_allclose(result.table["lightness"], found.table["lightness"], atol=0.3)


def test_nothing_grey_still_gives_rough_numbers():
    """A board without any reference could not be measured again."""
    with pytest.warns(NoReferenceWarning, match="nothing grey was found"):
        assert len(measure_read(board(*PIECES)).table) == 4
