"""A study: photographs measured, sorted and written to one folder, nothing lost and nothing half done."""

import json
import os
import re
import shutil
from pathlib import Path

import cv2
import numpy as np
import pandas as pd
import pytest
from made_photos import PILE, STEPS, board, chart
from PIL import Image

from contrastkit.camera.pipeline import Failed, PhotoResult, measure_each, measure_photo, measure_photos
from contrastkit.camera.read import Photo
from contrastkit.compose.grouping import Grouping
from contrastkit.errors import InvalidInputError, NoReferenceWarning, TooFewSwatchesError, UnreadablePhotoError
from contrastkit.keep.tables import read_table
from contrastkit.light.lightness import ADOBE_RGB, SRGB, luminance_to_lightness, srgb1_to_linear
from contrastkit.show import study as study_module
from contrastkit.show.state import photo_state
from contrastkit.show.study import (
    find_photos,
    make_study,
    make_table,
    piece_crops,
    ready_place,
    write_study,
)

DEMO = Path(__file__).parents[1] / "data" / "thistlewick"
FILES = [
    "balance.png", "contact-sheet.pdf", "contact-sheet.png", "pairs.png", "report.html", "stacks.pdf", "stacks.png",
    "swatches.csv", "value-strip.png",
]


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    """A folder with a card's board, a scale's board whose values are noted, and a file that is no photograph."""
    folder = tmp_path_factory.mktemp("photos")
    board(folder / "morning.png")
    board(folder / "evening.png", reference="scale", lightness=PILE[::-1])
    (folder / "spoilt.jpg").write_text("no photograph")
    (folder / "references.toml").write_text(f'"evening.png" = "scale={",".join(map(str, STEPS))}"')
    return folder


@pytest.fixture(scope="module")
def study(photos, tmp_path_factory):
    return make_study([photos], tmp_path_factory.mktemp("out") / "study")


# --- what is written -------------------------------------------------------------------------------------------------


def test_a_study_is_a_table_pictures_and_a_report(study):
    """Something would be missing from the folder, or something left over in it."""
    assert sorted(os.listdir(study.folder)) == FILES
    assert sorted(file.name for file in study.files) == FILES
    for name in ("contact-sheet.png", "value-strip.png", "balance.png", "pairs.png", "stacks.png"):
        assert min(cv2.imread(str(study.folder / name)).shape[:2]) > 500
    for name in ("contact-sheet.pdf", "stacks.pdf"):
        assert (study.folder / name).read_bytes().startswith(b"%PDF")


def test_the_table_holds_the_truth_of_every_piece(study):
    """The main claim: photographs in, lightness and groups out. Flat drawn pieces leave no more than rounding."""
    table = read_table(study.folder / "swatches.csv")

    assert len(table) == 2 * len(PILE)
    assert np.abs(np.sort(table["lightness"]) - np.sort(PILE * 2)).max() < 0.5
    assert table.groupby("group").size().to_dict() == {"dark": 4, "medium": 6, "light": 4}
    assert set(table["reference"]) == {"card", "scale"}
    assert table["lightness"].tolist() == study.sorted.table["lightness"].tolist()  # sorted as it is kept
    assert (table["lightness_sigma"] > 0).all() and table["group_probability"].notna().all()


def test_one_bad_photograph_never_stops_the_others_and_is_named(study):
    """A dozen photographs would be lost for one."""
    (failed,) = study.pile.failed

    assert failed.path.name == "spoilt.jpg" and "is text" in failed.reason
    report = (study.folder / "report.html").read_text(encoding="utf-8")
    assert "spoilt.jpg" in report and "1 photograph could not be used" in report
    assert "Photograph again what could not be used" in study.next_step


def test_the_report_shows_every_piece_and_photograph(study):
    """A friend who opens the page would not see what the table holds."""
    report = (study.folder / "report.html").read_text(encoding="utf-8")

    for name in study.sorted.table["swatch_id"]:
        assert f'alt="{name}: L* ' in report
    assert 'alt="morning.png, with 7 pieces and the grey reference outlined' in report
    assert "Well balanced: 4 dark, 6 medium, 4 light" in report
    assert "no picture" not in report


def test_the_best_stacks_are_shown_in_the_report_and_told_on_the_screen(study):
    """The pile's best use would be lost in the folder. Flat pieces 22 to 81: four stacks of three keep 20 L*."""
    choice = study.best.choice
    assert len(choice.stacks) == 4 and choice.worst_step >= 20
    assert f"{study.best.finding}." in study.sentences
    report = (study.folder / "report.html").read_text(encoding="utf-8")
    assert f'<h2 id="stacks-title">{study.best.finding}</h2>' in report
    for stack in study.best.drawn:
        assert f'alt="{stack.description}"' in report
    assert "of 91 pairs separate across a room</h2>" in report
    with Image.open(study.folder / "stacks.png") as picture:
        assert picture.text["Description"].startswith(study.best.finding)


def test_two_pieces_have_pairs_and_no_stacks_and_the_report_says_so(photos, tmp_path):
    """A small board would fail, or leave the stacks of the study before it lying in the folder."""
    make_study([photos / "morning.png"], tmp_path / "study")
    board(tmp_path / "two.png", PILE[:2])

    study = make_study([tmp_path / "two.png"], tmp_path / "study")

    assert study.best is None
    assert not {"stacks.png", "stacks.pdf"} & set(os.listdir(study.folder))
    assert "pairs.png" in os.listdir(study.folder)
    report = (study.folder / "report.html").read_text(encoding="utf-8")
    assert "<p>There is no stack of three to show: 2 pieces measured.</p>" in report
    assert not any("stack" in sentence for sentence in study.sentences)


def test_one_piece_has_no_pairs(tmp_path):
    """A board with one piece would fail at the last picture."""
    board(tmp_path / "one.png", PILE[2:3])

    study = make_study([tmp_path / "one.png"], tmp_path / "study")

    assert len(study.pile.table) == 1
    assert not {"stacks.png", "stacks.pdf", "pairs.png"} & set(os.listdir(study.folder))


def test_stacks_are_printed_on_the_paper_asked_for(photos, tmp_path):
    """On Letter they would be cut off. 612 by 792 points."""
    study = make_study([photos / "morning.png"], tmp_path, paper="Letter")

    size = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+)", (study.folder / "stacks.pdf").read_bytes())
    assert [float(side) for side in size.groups()] == pytest.approx([612, 792], abs=0.2)


def test_a_title_heads_the_report_and_the_finding_follows(photos, tmp_path):
    """The finding would be lost, or the title."""
    study = make_study([photos / "morning.png"], tmp_path, title="Saturday <1>", paper="Letter")

    report = (study.folder / "report.html").read_text(encoding="utf-8")
    assert "<h1>Saturday &lt;1&gt;</h1>" in report
    assert "Well balanced: 2 dark, 3 medium, 2 light." in report


def test_nothing_measured_still_makes_a_report_that_says_why(tmp_path):
    """She would have an empty folder and no reason."""
    (tmp_path / "a.jpg").write_text("no photograph")

    study = make_study([tmp_path / "a.jpg"], tmp_path / "study", grouping=Grouping("natural"))

    assert sorted(os.listdir(study.folder)) == ["report.html", "swatches.csv"]
    assert len(read_table(study.folder / "swatches.csv")) == 0
    assert "Nothing was measured" in (study.folder / "report.html").read_text(encoding="utf-8")
    assert "see why nothing was measured" in study.next_step


def test_without_a_reference_the_report_says_that_all_is_rough(tmp_path):
    """Rough numbers would look like good ones."""
    board(tmp_path / "a.png", reference=None)

    with pytest.warns(NoReferenceWarning, match="nothing grey was found"):
        study = make_study([tmp_path / "a.png"], tmp_path / "study")

    assert study.pile.states[0].reference == "none"
    assert (study.sorted.table["lightness_sigma"] > 7).all()
    assert "every lightness is rough" in (study.folder / "report.html").read_text(encoding="utf-8")


def test_groups_are_as_asked_for(photos, tmp_path):
    """The pictures would show other groups than the table."""
    study = make_study([photos / "morning.png"], tmp_path, grouping=Grouping("natural", count=2))

    assert study.sorted.breaks.names == ("dark", "light")
    assert read_table(study.folder / "swatches.csv")["group"].tolist() == study.sorted.table["group"].tolist()


def test_too_small_a_pile_for_the_groups_is_refused_and_nothing_written(photos, tmp_path):
    """A study in other groups than asked for would be taken for the one asked for."""
    with pytest.raises(TooFewSwatchesError, match="8 groups need at least 8 distinct"):
        make_study([photos / "morning.png"], tmp_path, grouping=Grouping("natural", count=8))
    assert os.listdir(tmp_path) == []


def test_what_was_measured_in_python_is_written_alike(photos, study, tmp_path):
    """The two ways to a study would part."""
    measured = measure_photos([photos])

    written = write_study(measured, tmp_path)

    assert (written.folder / "swatches.csv").read_bytes() == (study.folder / "swatches.csv").read_bytes()
    assert (written.folder / "value-strip.png").read_bytes() == (study.folder / "value-strip.png").read_bytes()


def test_the_table_alone_is_that_of_the_study(photos, study, tmp_path):
    """`measure` and `study` would give different numbers."""
    measured = make_table([photos], tmp_path / "pile.csv")

    assert (tmp_path / "pile.csv").read_bytes() == (study.folder / "swatches.csv").read_bytes()
    assert measured.files == (tmp_path / "pile.csv",)
    assert [failed.path.name for failed in measured.failed] == ["spoilt.jpg"]


def test_no_table_is_written_where_no_photograph_could_be_measured(photos, tmp_path):
    """An empty table would look like a board without pieces."""
    measured = make_table([photos / "spoilt.jpg"], tmp_path / "pile.csv")

    assert measured.files == () and os.listdir(tmp_path) == []


# --- nothing lost, nothing half done ---------------------------------------------------------------------------------


def test_a_second_study_replaces_the_first_and_takes_its_own_pictures_for_none(photos, tmp_path):
    """The contact sheet of the first study would be measured in the second, piece by piece."""
    shutil.copy(photos / "morning.png", tmp_path)
    first = make_study([tmp_path], tmp_path)
    (tmp_path / "contact-sheet-2.png").touch()  # of a study with more pages
    (tmp_path / "notes.txt").write_text("mine")

    second = make_study([tmp_path], tmp_path)

    assert len(second.pile.states) == 1 and second.pile.failed == ()
    assert [file.name for file in second.files] == [file.name for file in first.files]
    assert sorted(os.listdir(tmp_path)) == sorted([*FILES, "morning.png", "notes.txt"])


def test_pictures_of_a_study_are_left_out_of_folders_but_measured_when_named(photos, tmp_path):
    """A study inside the folder of photographs would be measured with them."""
    shutil.copy(photos / "morning.png", tmp_path)
    make_study([tmp_path], tmp_path / "inside")
    sheet = tmp_path / "inside" / "contact-sheet.png"

    assert find_photos([tmp_path]) == [tmp_path / "morning.png"]
    assert find_photos([sheet]) == [sheet]


@pytest.mark.parametrize("name", ["balance.png", "contact-sheet-12.png", "report.html", "pairs.png", "stacks.pdf"])
def test_what_no_study_wrote_is_never_replaced(photos, tmp_path, name):
    """A photograph that happens to be called balance.png would be lost."""
    (tmp_path / name).write_text("mine")

    with pytest.raises(InvalidInputError, match=f"already holds '{re.escape(name)}'"):
        make_study([photos], tmp_path)

    assert (tmp_path / name).read_text() == "mine" and os.listdir(tmp_path) == [name]


def test_a_photograph_is_never_replaced_even_in_the_folder_of_a_study(study, tmp_path):
    """As above, where a study has been before."""
    for file in study.files:
        shutil.copy(file, tmp_path)
    with pytest.raises(InvalidInputError, match="must not be written over; .*balance.png"):
        ready_place(tmp_path, [tmp_path / "balance.png"])


def test_a_study_that_fails_midway_leaves_the_last_one_whole(photos, study, tmp_path, monkeypatch):
    """A full disk would leave a table of one study beside the pictures of another."""
    folder = tmp_path / "study"
    shutil.copytree(study.folder, folder)
    before = {name: (folder / name).read_bytes() for name in os.listdir(folder)}

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(study_module, "_write_charts", full)
    with pytest.raises(InvalidInputError, match="No space left on device"):
        make_study([photos / "morning.png"], folder)

    assert {name: (folder / name).read_bytes() for name in os.listdir(folder)} == before


def test_a_study_that_is_stopped_leaves_nothing_behind(photos, tmp_path, monkeypatch):
    """A folder of hidden leftovers would grow with every stop."""

    def stopped(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(study_module, "_write_charts", stopped)
    with pytest.raises(KeyboardInterrupt):
        make_study([photos / "morning.png"], tmp_path)
    assert os.listdir(tmp_path) == []


def test_a_place_that_cannot_be_written_to_is_refused_before_measuring(photos, tmp_path, monkeypatch):
    """Minutes of measuring would be lost."""
    (tmp_path / "file").touch()
    monkeypatch.setattr(study_module, "measure_each", lambda *_, **__: pytest.fail("it measured"))

    with pytest.raises(InvalidInputError, match="is a file"):
        make_study([photos], tmp_path / "file")
    with pytest.raises(InvalidInputError, match="must be open to writing"):
        make_study([photos], tmp_path / "file" / "inside")


def test_a_folder_without_photographs_is_refused(tmp_path):
    """An empty report would be written about nothing."""
    with pytest.raises(UnreadablePhotoError, match=f"none is in '{re.escape(str(tmp_path))}'"):
        find_photos([tmp_path])


# --- what is kept of a photograph ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def measured(photos):
    return measure_photo(photos / "morning.png")


def test_a_cut_out_piece_has_the_lightness_that_was_measured(measured):
    """The grey beside it would not be of equal lightness. 8-bit codes and clipped tints leave half an L*."""
    crops = piece_crops(measured)

    assert list(crops) == measured.table["swatch_id"].tolist()
    for name, lightness in zip(crops, measured.table["lightness"], strict=True):
        inside = crops[name][cv2.erode(crops[name][..., 3], np.ones((3, 3))) == 255][:, :3]
        light = (srgb1_to_linear(inside / 255) @ SRGB.luminance_weights).mean()
        assert luminance_to_lightness(light) == pytest.approx(lightness, abs=0.5)


def test_a_cut_out_piece_is_shown_in_even_light(tmp_path):
    """One side of the piece would look darker than the other, and neither like the grey beside it."""
    light = np.repeat(np.linspace(1, 0.5, 1200)[None], 900, axis=0)
    result = measure_photo(board(tmp_path / "a.png", light=light))

    for crop in piece_crops(result).values():
        inside = cv2.erode(crop[..., 3], np.ones((9, 9))) == 255
        left, right = (crop[:, :80, :3][inside[:, :80]].mean(), crop[:, -80:, :3][inside[:, -80:]].mean())
        assert left == pytest.approx(right, abs=1.5)  # codes; uneven by 5 to 12 in the photograph itself


def test_a_cut_out_piece_is_its_outline_and_no_more(measured):
    """Board would show round the piece, or the piece would be cut short."""
    for (name, crop), outline in zip(piece_crops(measured).items(), measured.table["outline"], strict=True):
        corners = np.array(json.loads(outline))
        area = cv2.contourArea(corners[:, ::-1].astype(np.float32)) / measured.photo.reduction**2
        share = (crop[..., 3] / 255.0).sum() / area
        assert 0.96 < share < 1.0, name  # without one pixel along the cut edge, which is mixed with the board
        assert np.ptp(corners, axis=0) / measured.photo.reduction == pytest.approx(crop.shape[:2], abs=3)


def test_a_chart_s_colours_are_shown_as_they_are_under_a_screens_white(tmp_path):
    """A piece measured against a chart, which is for D50, would look yellow on the screen."""
    result = measure_photo(DEMO / "photos" / "noon-chart.jpg")
    assert result.calibration.kind == "chart"
    grey = np.array([0.9642, 1.0, 0.8249])  # ICC.1:2010: white of D50

    shown = study_module._to_srgb("chart") @ grey

    assert shown == pytest.approx([1, 1, 1], abs=0.001)


def test_the_photograph_is_shown_as_it_is_and_small(measured):
    """The report would be hundreds of megabytes, or show other colours than the photograph."""
    picture, scale = study_module._picture(measured.photo, 300)

    assert picture.shape == (225, 300, 3) and scale == 4
    assert np.abs(picture.mean(axis=(0, 1)) - measured.photo.codes.mean(axis=(0, 1))).max() < 0.5


def test_a_photograph_of_another_space_or_depth_is_shown_in_the_screens():
    """A picture in a wide space would look dull in the report."""
    codes = np.full((80, 100, 3), 30_000, np.uint16)
    codes[..., 1] = 40_000
    wide = Photo("wide.tif", codes, 1, (80, 100), ADOBE_RGB, None, ())
    plain = Photo("plain.tif", codes, 1, (80, 100), SRGB, None, ())

    # What a green of Adobe RGB 0.458, 0.610, 0.458 is in sRGB: matrices of both specifications by hand.
    linear = np.array([30_000, 40_000, 30_000]) / 65_535
    light = np.array(ADOBE_RGB.to_xyz) @ linear ** (563 / 256)
    red, green, _ = np.linalg.solve(np.array(SRGB.to_xyz), light)
    shown = srgb1_to_linear(study_module._picture(wide, 100)[0][0, 0] / 255)
    assert shown[:2] == pytest.approx([red, green], abs=0.005)
    assert study_module._picture(plain, 100)[0][0, 0].tolist() == [117, 156, 117]


def test_many_photographs_are_kept_smaller():
    """A hundred photographs would make a report that no friend can open."""
    assert [study_module._picture_side(count) for count in (1, 12, 48, 1000)] == [1600, 1600, 800, 800]


def test_each_photograph_is_let_go_before_the_next(photos):
    """A hundred photographs of 12 megapixels would need a gigabyte."""
    import gc
    import weakref

    alive = []

    def outcomes():
        for outcome in measure_each([photos / "morning.png", photos / "evening.png"]):
            gc.collect()
            assert all(photo() is None for photo in alive)
            alive.append(weakref.ref(outcome.photo))
            yield outcome
            del outcome

    pile = study_module.gather(outcomes())

    assert len(pile.states) == 2 and len(pile.crops) == 14


def test_progress_is_told_before_and_after_each_photograph(photos, tmp_path):
    """Nobody would know whether it still works."""
    log = []
    make_table(
        [photos], tmp_path / "pile.csv",
        progress=lambda number, count, path: log.append((number, count, path.name)),
        told=lambda outcome: log.append("failed" if isinstance(outcome, Failed) else outcome.sentence),
    )

    assert log[0] == (0, 3, "evening.png")
    assert log[1] == "7 pieces found; 6 greys read from L* 95 to 20; lightness to about ± " + log[1].split("± ")[1]
    assert log[-2:] == [(2, 3, "spoilt.jpg"), "failed"]


def test_the_state_of_a_photograph_in_a_sentence_and_in_numbers(measured):
    """The screen, the report and other programs would say different things."""
    state = photo_state(measured)

    assert (state.photo, state.pieces, state.to_check, state.reference) == ("morning.png", 7, 0, "card")
    assert state.sentence.startswith("7 pieces found; card read as L* 49.5; lightness to about ± ")
    corners = np.array(state.reference_outline)
    assert corners.min(axis=0) == pytest.approx([360, 930], abs=2)
    assert corners.max(axis=0) == pytest.approx([540, 1070], abs=2)


def test_things_that_were_left_out_are_told(measured):
    """A piece taken for a ruler would be missing without a word."""
    result = PhotoResult(measured.photo, measured.calibration, measured.table.head(0), 2)

    state = photo_state(result)

    assert state.sentence == "No piece found; card read as L* 49.5."
    assert "2 things on the board looked like a ruler or a hand, not like a piece: not measured." in state.notes
    assert any("must lie apart" in note for note in state.notes)


# --- names -----------------------------------------------------------------------------------------------------------


def test_photographs_of_one_name_keep_apart(photos, tmp_path):
    """Pieces of Monday's board.png would be drawn on Tuesday's."""
    for day in ("monday", "tuesday"):
        (tmp_path / day).mkdir()
        shutil.copy(photos / "morning.png", tmp_path / day / "board.png")
    shutil.copy(photos / "morning.png", tmp_path / "board(2).png")

    study = measure_photos([tmp_path])

    assert [result.photo.name for result in study.results] == ["board(2).png", "board.png", "tuesday/board.png"]
    assert study.table["swatch_id"].is_unique and len(study.table) == 21
    assert study.table.groupby("photo").size().to_dict() == {
        "board(2).png": 7, "board.png": 7, "tuesday/board.png": 7,
    }  # fmt: skip
    assert study.table["swatch_id"].iloc[-1] == "board(3)-07"


def test_one_stem_with_two_endings_keeps_apart(photos, tmp_path):
    """A camera that writes a.jpg beside a.png would repeat every id."""
    shutil.copy(photos / "morning.png", tmp_path / "a.png")
    cv2.imwrite(str(tmp_path / "a.jpg"), cv2.imread(str(photos / "morning.png")))

    table = measure_photos([tmp_path]).table

    assert table["swatch_id"].is_unique
    assert table["photo"].unique().tolist() == ["a.jpg", "a.png"]


def test_hostile_file_names_do_no_harm(photos, tmp_path):
    """A name with a formula, a tag or bytes that are no letters would run, break the page or end in a traceback."""
    names = [b"=cmd.png", b"<script>.png", b"caf\xe9.png", b"two\nlines.png", b"'+1.png"]
    for name in names:
        shutil.copy(photos / "morning.png", os.path.join(os.fsencode(tmp_path), name))

    study = make_study([tmp_path], tmp_path / "study")

    table = read_table(study.folder / "swatches.csv")
    assert table["swatch_id"].tolist() == study.sorted.table["swatch_id"].tolist()
    assert {"=cmd-01", "<script>-01", "'+1-01"} <= set(table["swatch_id"])
    assert "<script>" not in (study.folder / "report.html").read_text(encoding="utf-8")


# --- the demo --------------------------------------------------------------------------------------------------------


def test_the_demo_needs_no_option(tmp_path):
    """The first command a reader tries: three photographs, three references, every piece within a few sigma."""
    study = make_study([DEMO / "photos"], tmp_path)

    truth = pd.read_csv(DEMO / "truth.csv")
    assert {state.photo: state.reference for state in study.pile.states} == {
        "evening-scale.jpg": "scale", "morning-card.jpg": "card", "noon-chart.jpg": "chart",
    }  # fmt: skip
    assert study.pile.failed == ()
    assert len(study.sorted.table) == len(truth) == 46
    assert np.median(errors(study.sorted.table, truth)) < 0.5
    assert sorted(os.listdir(tmp_path)) == sorted({*FILES, "contact-sheet-1.png", "contact-sheet-2.png"}
                                                  - {"contact-sheet.png"})


def errors(table, truth):
    """The error in L* of each true piece, by the piece found nearest to it in its photograph."""
    sizes = []
    for row in truth.itertuples():
        here = table[table["photo"] == row.photo]
        middles = np.array([np.mean(json.loads(outline), axis=0) for outline in here["outline"]])
        apart = np.hypot(*(middles - np.mean(json.loads(row.outline), axis=0)).T)
        assert apart.min() < 100  # full-resolution pixels: a piece is 300 and more across
        sizes.append(abs(here["lightness"].iloc[int(apart.argmin())] - row.lightness))
    return np.array(sizes)


def test_a_chart_photographed_alone_has_no_pieces(tmp_path):
    """Its patches would be taken for swatches."""
    with pytest.warns(Warning, match="no piece was found"):
        measured = make_table([chart(tmp_path / "chart.png")], tmp_path / "pile.csv")
    assert len(measured.sorted.table) == 0
    assert len(read_table(tmp_path / "pile.csv")) == 0
