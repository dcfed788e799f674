"""From files to the table: the whole way, whatever the file, and one bad photograph never stops the others."""

import tempfile
import warnings
from pathlib import Path

import cv2
import numpy as np
import pytest
from made_scenes import (
    box,
    drawn,
    looked_at,
    matched,
    outlines_of,
    photo_of,
    plain_scene,
    random_scene,
    scene,
    shared_area,
)
from numpy.testing import assert_allclose
from pandas.testing import assert_frame_equal
from PIL import Image

from contrastkit.camera.measure import measure_things
from contrastkit.camera.pipeline import find, measure_photo, measure_photos
from contrastkit.camera.reference import ReferenceChoice, calibrate, parse_reference
from contrastkit.camera.synthetic import BACKINGS, save_scene
from contrastkit.columns import SWATCHES, check_table, empty_table
from contrastkit.errors import (
    CalibrationError,
    InvalidInputError,
    NoReferenceWarning,
    NothingFoundWarning,
    UnreadablePhotoError,
)

SIZE = (800, 1000)
CARD = (box((130, 860), 110, 140, 15), 0.18)
PIECES = (
    (box((250, 250), 180, degrees=12), (0.3, 0.1, 0.08)), (box((300, 560), 150, 220, 40), (0.08, 0.12, 0.3)),
    (box((590, 330), 200), (0.12, 0.25, 0.1)), (box((600, 700), 160, degrees=70), (0.5, 0.35, 0.1)),
)  # fmt: skip


def board(*things, **options):
    return drawn([(outline, np.multiply(colour, np.ones(3))) for outline, colour in things], size=SIZE, **options)


def saved(path, codes, **options):
    """A picture as a file without loss, or as a JPEG good enough to be nearly that."""
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.suffix == ".jpg":
        options = {"quality": 95, "subsampling": 0, **options}
    Image.fromarray(codes).save(path, **options)
    return path


@pytest.fixture(scope="module")
def boards(tmp_path_factory):
    """Two good boards in a folder, one of them with two pieces only."""
    folder = tmp_path_factory.mktemp("boards")
    saved(folder / "first.png", board(CARD, *PIECES))
    saved(folder / "second.jpg", board(CARD, *PIECES[:2]))
    return folder


# --- one photograph -------------------------------------------------------------------------------------------------


def test_one_photograph_gives_its_table_and_what_it_was_measured_with(boards):
    """Would be broken: everything else."""
    result = measure_photo(boards / "first.png")
    assert result.photo.name == "first.png"
    assert result.calibration.kind == "card"
    assert result.left_out == 0
    assert result.table["swatch_id"].tolist() == ["first-01", "first-02", "first-03", "first-04"]
    assert set(result.table["reference"]) == {"card"}
    which, shares = matched([outline for outline, _ in PIECES], outlines_of(result.table))
    assert min(shares) > 0.97
    assert which == [0, 1, 2, 3]
    assert len(check_table(result.table, SWATCHES)) == 4


def test_a_reference_may_be_a_text_or_a_choice(boards):
    """Would be broken: callers who have parsed it already."""
    text = measure_photo(boards / "first.png", reference="card=45")
    choice = measure_photo(str(boards / "first.png"), reference=ReferenceChoice("card", (45.0,)))
    assert_frame_equal(text.table, choice.table)
    assert not np.allclose(text.table["lightness"], measure_photo(boards / "first.png").table["lightness"])


def test_a_photograph_that_cannot_be_read_or_measured_says_why(tmp_path, boards):
    """Would be broken: a traceback in place of a sentence."""
    (tmp_path / "letter.jpg").write_text("Dear all, the pieces are in the post.")
    with pytest.raises(UnreadablePhotoError, match="letter.jpg"):
        measure_photo(tmp_path / "letter.jpg")
    with pytest.raises(CalibrationError, match="A grey scale of 3 touching steps must lie whole"):
        measure_photo(boards / "first.png", reference="scale=90,50,20")
    with pytest.raises(InvalidInputError, match="A reference must be auto"):
        measure_photo(boards / "first.png", reference="grey")
    with pytest.raises(InvalidInputError, match="box of --reference-at must lie inside the photograph of 800 rows"):
        measure_photo(boards / "first.png", reference="card", reference_at=(0, 0, 2000, 100))


def test_a_board_with_nothing_but_a_card_is_an_empty_table_with_a_warning(tmp_path):
    """Would be broken: an error where nothing is wrong, or silence."""
    path = saved(tmp_path / "bare.png", board(CARD))
    with pytest.warns(NothingFoundWarning, match=r"bare\.png: no piece was found on the board, so its table is empty\. "
                                                 r"Pieces must lie apart on a plain board"):
        result = measure_photo(path)
    assert result.calibration.kind == "card"
    assert len(result.table) == 0
    assert (result.table.dtypes == empty_table(SWATCHES).dtypes).all()


def test_a_board_without_a_card_is_measured_with_a_warning_and_flagged(tmp_path):
    """Would be broken: rough numbers that look like good ones."""
    path = saved(tmp_path / "careless.png", board(*PIECES))
    with pytest.warns(NoReferenceWarning, match=r"careless\.png: nothing grey was found"):
        result = measure_photo(path)
    assert (result.table["flags"].str.contains("no reference")).all()
    assert (result.table["lightness_sigma"] >= 8).all()
    assert set(result.table["reference"]) == {"none"}


@pytest.mark.parametrize("backing", BACKINGS)
def test_a_ruler_is_no_piece(backing):
    """Would be broken: a thing 15 times as long as wide in the pile."""
    made = plain_scene(backing, clutter=("ruler",), pieces=8)
    outlines = pieces_on(made)
    assert max(shared_area(outline, made.clutter_outlines[0]) for outline in outlines) < 0.05
    assert len(outlines) == 8



@pytest.mark.parametrize("backing", BACKINGS)
def test_a_hand_is_no_piece(backing):
    """Would be broken: skin in the pile."""
    made = plain_scene(backing, clutter=("hand",), pieces=8)
    outlines = pieces_on(made)
    assert max(shared_area(outline, made.clutter_outlines[0]) for outline in outlines) < 0.05
    assert len(outlines) == 8


def pieces_on(made):
    """Outlines of the pieces that the pipeline finds on a scene."""
    with tempfile.TemporaryDirectory() as folder:
        save_scene(made, Path(folder) / "board.jpg", quality=97)
        return outlines_of(measure_photo(Path(folder) / "board.jpg").table)


# --- the same picture in another file -------------------------------------------------------------------------------

# What was done to the upright picture so that this EXIF orientation puts it right (EXIF 2.32, tag 0x0112).
STORED = {
    1: lambda up: up, 2: lambda up: up[:, ::-1], 3: lambda up: up[::-1, ::-1], 4: lambda up: up[::-1],
    5: lambda up: up.transpose(1, 0, 2), 6: lambda up: np.rot90(up, 1), 7: lambda up: up[::-1, ::-1].transpose(1, 0, 2),
    8: lambda up: np.rot90(up, -1),
}  # fmt: skip


def test_the_table_is_the_same_however_the_camera_was_held(tmp_path):
    """Would be broken: pieces measured in another place than they lie in. The pictures are alike to the last bit."""
    upright, tables = board(CARD, *PIECES), []
    for orientation, stored in STORED.items():
        exif = Image.Exif()
        exif[0x0112] = orientation
        turned = np.ascontiguousarray(stored(upright))
        tables.append(measure_photo(saved(tmp_path / str(orientation) / "board.png", turned, exif=exif)).table)
    assert len(tables[0]) == 4
    for table in tables[1:]:
        assert_frame_equal(table, tables[0])


def test_sixteen_bits_without_loss_and_a_jpeg_give_nearly_the_same_table(tmp_path):
    """Would be broken: exports for print measured unlike the camera's own file."""
    made = plain_scene("white", blur=0.5)
    save_scene(made, tmp_path / "board.jpg")
    deep = made.codes.astype(np.uint16) * 257
    assert cv2.imwrite(str(tmp_path / "board.png"), deep[..., ::-1])
    jpeg, png = (measure_photo(tmp_path / name).table for name in ("board.jpg", "board.png"))
    which, shares = matched(outlines_of(png), outlines_of(jpeg))
    assert len(jpeg) == len(png) == 12
    assert min(shares) > 0.85
    apart = np.abs(png["lightness"].to_numpy() - jpeg["lightness"].to_numpy()[which])
    # Quality 92, colour at half resolution: next to nothing on a mean; but one piece of twelve may get another outline.
    assert np.median(apart) < 0.1
    assert np.sort(apart)[-2] < 0.3


def test_a_large_photograph_is_measured_reduced_and_told_in_full_resolution(tmp_path):
    """Would be broken: outlines, areas and the place of the reference in every photograph a phone takes."""
    made = scene(size=(2640, 3800), backing="white", seed=2, reference="two cards", exposure=0.6, pieces=8,
                 low_contrast=0.0, undyed=0.0, grounds=tuple(range(0, 187, 9)))
    path = tmp_path / "large.jpg"
    save_scene(made, path)
    corners = np.array(made.reference_outline)
    at = (*corners.min(axis=0), *corners.max(axis=0))
    result = measure_photo(path, reference="card", reference_at=at)
    assert result.photo.reduction == 2
    assert shared_area((result.calibration.outline + 0.5) * 2 - 0.5, corners) > 0.9
    which, shares = matched(outlines_of(made.truth), outlines_of(result.table))
    assert min(shares) > 0.8
    assert np.median(shares) > 0.97
    rows = result.table.iloc[which]
    for outline, area in zip(outlines_of(made.truth), rows["area"], strict=True):
        assert area == pytest.approx(cv2.contourArea(outline.astype(np.float32)), rel=0.25)
    assert np.median(np.abs(rows["lightness"].to_numpy() - made.truth["lightness"])) < 0.8


# --- many photographs -----------------------------------------------------------------------------------------------


def test_one_bad_photograph_never_stops_the_others_and_is_named(tmp_path):
    """Would be broken: an afternoon's photographs lost to one that did not copy over."""
    saved(tmp_path / "a.png", board(CARD, *PIECES))
    (tmp_path / "b.jpg").write_bytes(b"")
    (tmp_path / "c.jpg").write_text("not a photograph")
    saved(tmp_path / "d.png", board(*PIECES))  # no card on it
    whole = saved(tmp_path / "e.jpg", board(CARD, *PIECES)).read_bytes()
    (tmp_path / "e.jpg").write_bytes(whole[: len(whole) // 3])
    saved(tmp_path / "f" / "g.png", board(CARD, *PIECES[:2]))
    study = measure_photos([tmp_path, tmp_path / "nowhere.jpg"], reference="card")
    assert [result.photo.name for result in study.results] == ["a.png", "g.png"]
    assert [failed.path.name for failed in study.failed] == ["b.jpg", "c.jpg", "d.png", "e.jpg", "nowhere.jpg"]
    reasons = dict(zip("bcde", (failed.reason for failed in study.failed), strict=False))
    assert "is empty (0 bytes)" in reasons["b"]
    assert "c.jpg" in reasons["c"]
    assert "none was found in d.png" in reasons["d"]
    assert "e.jpg" in reasons["e"]
    assert study.table["swatch_id"].tolist() == ["a-01", "a-02", "a-03", "a-04", "g-01", "g-02"]


def test_photographs_of_one_name_keep_their_pieces_apart(tmp_path):
    """Would be broken: two cameras that both count from one, and the copy a phone calls board(2)."""
    for place in ("monday/board.png", "tuesday/board.png", "tuesday/board(2).png", "wednesday/board.jpg"):
        saved(tmp_path / place, board(CARD, *PIECES[:2]))
    study = measure_photos([tmp_path / "monday", tmp_path / "tuesday", tmp_path / "wednesday"])
    assert len(study.table) == 8
    assert study.table["swatch_id"].is_unique
    assert study.table["photo"].nunique() == 4
    assert len(check_table(study.table, SWATCHES)) == 8
    for result in study.results:
        assert set(result.table["photo"]) == {result.photo.name}
        assert set(result.table["swatch_id"]) <= set(study.table["swatch_id"])


def test_progress_is_told_before_each_photograph(boards, tmp_path):
    """Would be broken: a bar that never moves, or one that counts only the good ones."""
    (tmp_path / "bad.jpg").write_bytes(b"")
    told = []
    measure_photos([boards, tmp_path], progress=lambda *step: told.append(step))
    assert told == [(0, 3, boards / "first.png"), (1, 3, boards / "second.jpg"), (2, 3, tmp_path / "bad.jpg")]


def test_a_photograph_without_pieces_does_not_change_the_types_of_the_table(boards, tmp_path):
    """Would be broken: numbers turned into objects by an empty table among the others."""
    saved(tmp_path / "bare.png", board(CARD))
    with pytest.warns(NothingFoundWarning, match="bare.png"):
        study = measure_photos([tmp_path, boards])
    assert len(study.results) == 3
    assert len(study.table) == 6
    assert (study.table.dtypes == empty_table(SWATCHES).dtypes).all()
    assert study.table.index.tolist() == list(range(6))


def test_no_photographs_at_all_are_an_empty_table(tmp_path):
    """Would be broken: an empty folder."""
    study = measure_photos([tmp_path])
    assert (study.results, study.failed, len(study.table)) == ((), (), 0)
    assert (study.table.dtypes == empty_table(SWATCHES).dtypes).all()


def test_a_slip_in_the_reference_is_told_once_and_not_for_each_photograph(boards):
    """Would be broken: a hundred photographs failed for one typing slip."""
    with pytest.raises(InvalidInputError, match="A reference must be auto"):
        measure_photos([boards], reference="crad")


# --- how near the truth ---------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sample():
    """
    Pieces of twelve boards from the whole range of lights, cameras, boards and faults: error, sigma, true and measured.

    Rendered pixels go straight to `find`: files are tested above.
    """
    errors, sigmas, true, missed, extra, refused = [], [], [], 0, 0, 0
    for seed in range(100, 112):
        made = random_scene(seed)
        photo, finding = looked_at(made)
        try:
            calibration, others = calibrate(photo, finding, parse_reference("card"))
        except CalibrationError:
            refused += 1
            continue
        table = measure_things(photo, calibration, others)
        which, shares = matched(outlines_of(made.truth), outlines_of(table))
        good = np.array(shares) >= 0.8
        missed += int((~good).sum())
        extra += len(set(range(len(table))) - set(np.array(which)[good]))
        rows = table.iloc[which].reset_index(drop=True)[good]
        true += made.truth["lightness"][good].tolist()
        errors += (rows["lightness"] - made.truth["lightness"][good]).tolist()
        sigmas += rows["lightness_sigma"].tolist()
    return np.array(errors), np.array(sigmas), np.array(true), missed, extra, refused


def test_nearly_every_piece_of_a_mixed_sample_is_found(sample):
    """
    Would be broken: finding, on boards nobody chose.

    48 such boards had 904 pieces, of which 13 were missed and 16 invented when this was written. This sample is a
    quarter of them; a sound change moves a few pieces either way, and a card of nearly its board's grey may be missed.
    """
    errors, _, _, missed, extra, refused = sample
    assert refused <= 1
    assert missed <= 0.05 * (len(errors) + missed)
    assert extra <= 0.04 * len(errors)


def test_lightness_of_a_mixed_sample_is_near_the_truth(sample):
    """Would be broken: the main number. On 48 such boards the median error was 0.36, 95 % within 1.7."""
    errors, _, true, *_ = sample
    assert np.median(np.abs(errors)) <= 0.5
    assert np.quantile(np.abs(errors), 0.95) <= 2.6  # the tail is a dozen pieces, so loose by half
    edges = [40, 70]
    wrong = np.digitize(true + errors, edges) != np.digitize(true, edges)
    assert wrong.mean() <= 0.03
    assert abs(errors.mean()) < 0.4


def test_sigma_of_a_mixed_sample_is_honest(sample):
    """
    Would be broken: uncertainty that means nothing.

    Errors of one board share its card, its light and its camera, so that 200 pieces say no more than some 40 that were
    independent: 68 % is known to 7 % there and 95 % to 3 %. Allowed is twice that, and a little more for caution.
    """
    errors, sigmas, *_ = sample
    assert 0.54 < (np.abs(errors) < sigmas).mean() < 0.88
    assert (np.abs(errors) < 2 * sigmas).mean() > 0.88
    assert sigmas.min() > 0.2


def test_nothing_warns_on_the_usual_way(boards):
    """Would be broken: users taught to look away from warnings."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        measure_photos([boards])


def test_finding_and_measuring_leave_the_photograph_as_it_was():
    """Would be broken: anything that looks at the same picture afterwards."""
    codes = board(CARD, *PIECES)
    photo = photo_of(codes.copy())
    photo.codes.setflags(write=False)
    finding = find(photo)
    measure_things(photo, *calibrate(photo, finding, parse_reference("card")))
    assert_allclose(photo.codes, codes)
