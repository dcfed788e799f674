"""The commands handout and class, as they are typed."""

from __future__ import annotations

import json
import shutil

import pdfplumber
import pytest
from demo import PHOTOS

from contrastkit.camera.pipeline import measure_photo
from contrastkit.cli import main
from contrastkit.cli.printing import ALL_WELL, BAD_USAGE, NOTHING, SOME_FAILED
from contrastkit.keep.catalogue import open_catalogue
from contrastkit.show.class_pack import FIRST
from contrastkit.show.handout_kinds import HANDOUTS
from contrastkit.show.study import piece_crops

TABLE = "swatch_id,lightness\n" + "".join(f"p{number},{8 * number + 10}\n" for number in range(10))


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder to be in, with a table in it."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "swatches.csv").write_text(TABLE)
    return tmp_path


def words_of(file):
    with pdfplumber.open(file) as document:
        return [page.extract_text() for page in document.pages]


# --- handout ----------------------------------------------------------------------------------------------------------


def test_the_list_names_every_handout(here, capsys):
    """A teacher would not learn what there is."""
    assert main(["handout", "--list"]) == ALL_WELL
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == list(HANDOUTS)
    assert main(["handout", "--list", "--json"]) == ALL_WELL
    assert json.loads(capsys.readouterr().out)["handouts"][0] == {
        "kind": "kit", "words": HANDOUTS["kit"].words, "takes": ["learners", "pieces"], "pile": "never"}


def test_the_help_explains_every_kind_and_the_columns_of_orders(capsys):
    """A teacher would have to guess how orders are written."""
    assert main(["handout", "--help"]) == ALL_WELL
    said = capsys.readouterr().out
    for kind in HANDOUTS:
        assert f"\n  {kind}" in said or f"{kind}  " in said
    for column in ("learner", "date", "order", "seed", "count", "level"):
        assert f"\n  {column} " in said
    assert main(["class", "--help"]) == ALL_WELL
    said = capsys.readouterr().out
    for key in ("heading", "paper", "date", "learners", "pieces", "pile", "only", "handouts", "charts", "plan",
                "orders", "steps", "count", "level", "seed", "stack", "photo", "swatch", "values", "method"):
        assert key in said


def test_a_handout_is_written_under_the_heading_on_the_paper_asked_for(here, capsys):
    """A page of another size, or nobody's, would come out."""
    code = main(["handout", "kit", "--learners", "9", "--pieces", "4", "--heading", "Tuesday <b>class</b>", "--paper",
                 "Letter", "--out", "new/kit.pdf"])
    assert code == ALL_WELL
    assert capsys.readouterr().out == "1 page: A class of 9: what to lay ready.\nWritten: new/kit.pdf\n"
    (page,) = words_of(here / "new" / "kit.pdf")
    assert "Tuesday <b>class</b>" in page
    assert "36 squares" in page
    with pdfplumber.open(here / "new" / "kit.pdf") as document:
        assert float(document.pages[0].width) == pytest.approx(612, abs=0.3)  # points: 8 1/2 in


@pytest.mark.parametrize(("words", "said"), [
    (["cautions"], "Before you begin"),
    (["photographing"], "Card in the plane"),
    (["grey-scale", "--steps", "5"], "A printed grey scale is no reference"),
    (["contact-sheet", "swatches.csv"], "Well balanced"),
    (["chart", "swatches.csv", "--chart", "balance"], "Well balanced"),
    (["values", "swatches.csv", "--stack", "p0, p5,p9", "--values", "5", "--method", "fixed"], "Study of the stack"),
    (["values", "--photo", str(PHOTOS / "morning-card.jpg"), "--values", "2"], "measured against a grey card"),
    (["results", "swatches.csv", "--orders", "orders.csv", "--count", "3"], "1 of 1 learner has every piece in order"),
    (["plan", "--plan", "plan.toml"], "Wall: 2 blocks"),
])
def test_each_kind_is_printed_from_the_command_line(words, said, here, capsys):
    """A kind would be listed that cannot be had."""
    (here / "plan.toml").write_text('title = "Wall"\nunits = "mm"\n[[block]]\ncount = 2\nprints = [80, 50]\n')
    (here / "orders.csv").write_text("learner,date,order\nWren,2026-11-25,1 2 3\n")
    assert main(["handout", *words, "--out", "page.pdf", "--json"]) == ALL_WELL
    document = json.loads(capsys.readouterr().out)
    pages = words_of(here / "page.pdf")
    assert document["file"] == "page.pdf"
    assert document["pages"] == len(pages)
    assert document["failed"] == []
    assert said in " ".join(pages[0].split())


def test_exercise_and_key_of_photographs_fit_each_other(here, capsys):
    """The key would be of another exercise; and no one be told how photographs were measured."""
    photo = str(PHOTOS / "morning-card.jpg")
    for kind in ("exercise", "key"):
        words = ["handout", kind, photo, "--count", "5", "--level", "vivid", "--seed", "8", "--out", f"{kind}.pdf"]
        assert main(words) == ALL_WELL
    assert "1 of 1  morning-card.jpg: 16 pieces found" in capsys.readouterr().err
    (sheet,), (key,) = words_of(here / "exercise.pdf"), words_of(here / "key.pdf")
    assert "Exercise 8, vivid." in sheet
    assert "Key to exercise 8, vivid." in key
    assert "morning-card" not in sheet


def test_a_catalogue_is_asked_for_some_of_its_pieces(here, capsys):
    """Pieces that are used up would be printed to be sorted."""
    place, photo = str(here / "pile.sqlite"), PHOTOS / "morning-card.jpg"
    with open_catalogue(place, who="tester") as pile:
        result = measure_photo(photo)
        pile.add(result, path=photo, crops=piece_crops(result), side="4in")
    assert main(["handout", "contact-sheet", place, "--only", "dark", "--out", "dark.pdf"]) == ALL_WELL
    assert "Short of mediums: none of 4" in capsys.readouterr().out
    assert main(["handout", "contact-sheet", place, "--only", "tag=nothing", "--out", "none.pdf"]) == NOTHING
    assert "There must be a piece to show" in capsys.readouterr().err


def test_a_photograph_that_fails_is_named_and_the_handout_is_printed_all_the_same(here, capsys):
    """One bad photograph would cost the page, or be missing without a word."""
    (here / "photos").mkdir()
    shutil.copy(PHOTOS / "morning-card.jpg", here / "photos")
    (here / "photos" / "torn.jpg").write_bytes((PHOTOS / "noon-chart.jpg").read_bytes()[:3000])
    assert main(["handout", "contact-sheet", "photos", "--out", "sheet.pdf"]) == SOME_FAILED
    assert "Not used: photos/torn.jpg." in capsys.readouterr().err
    (here / "class.toml").write_text('heading = "T"\npile = "photos"\nhandouts = ["contact-sheet"]')
    assert main(["class", "class.toml", "--out", "pack"]) == SOME_FAILED
    assert "Left out: the photograph torn.jpg." in capsys.readouterr().out


def test_a_handout_is_never_written_over_a_photograph(here, capsys):
    """A link by the name of the page would cost the photograph."""
    shutil.copy(PHOTOS / "morning-card.jpg", here / "photo.jpg")
    (here / "page.pdf").symlink_to("photo.jpg")
    before = (here / "photo.jpg").read_bytes()
    assert main(["handout", "contact-sheet", ".", "--out", "page.pdf"]) == BAD_USAGE
    assert "What is measured must not be written over" in capsys.readouterr().err
    assert (here / "photo.jpg").read_bytes() == before


@pytest.mark.parametrize(("words", "message"), [
    ([], "A handout must be named: one of kit, cautions,"),
    (["kits", "--out", "a.pdf"], "There must be a handout of that name; got 'kits', and the nearest is 'kit'."),
    (["kit"], "A handout must be written to a file; none is given. Add --out FILE.pdf."),
    (["kit", "--out", "kit.txt"], "A handout is written to a file that ends in .pdf; got 'kit.txt'. Rename it."),
    (["kit", "--steps", "5", "--out", "a.pdf"],
     "The handout kit takes --learners and --pieces; got --steps. Leave it out."),
    (["grey-scale", "--seed", "5", "--plan", "p", "--out", "a.pdf"],
     "The handout grey-scale takes --steps; got --seed and --plan. Leave it out."),
    (["cautions", "--learners", "5", "--out", "a.pdf"],
     "The handout cautions takes nothing of the kind; got --learners. Leave it out."),
    (["kit", "swatches.csv", "--out", "a.pdf"],
     "The handout kit is not drawn from a pile; got 'swatches.csv'. Leave it out."),
    (["kit", "--only", "dark", "--out", "a.pdf"], "--only is about a pile; none is given. Leave it out"),
    (["contact-sheet", "swatches.csv", "--only", "dark", "--out", "a.pdf"],
     "--only asks a catalogue; got it with 'swatches.csv'. Leave it out, or give `pile`."),
    (["kit", "--reference", "card", "--out", "a.pdf"], "--reference is about a pile; none is given."),
    (["kit", "--reference-at", "1,2,3,4", "--out", "a.pdf"], "--reference-at is about a pile; none is given."),
    (["exercise", "--out", "a.pdf"], "The handout exercise is drawn from a pile; none is given. Name photograph"),
    (["exercise", "swatches.csv", "--out", "a.pdf"], "An exercise is made of the pictures of its pieces; the"),
    (["kit", "--learners", "0", "--out", "a.pdf"], "A class must have 1 to 200 learners"),
    (["grey-scale", "--steps", "7", "--out", "a.pdf"], "A grey scale must have 5, 9 or 11 steps; got 7."),
    (["kit", "--heading", "a" * 10_000, "--out", "a.pdf"], "A heading must have 120 letters or fewer; got 10,000."),
    (["chart", "swatches.csv", "--out", "a.pdf"], "It must be said which chart is to be printed: one of grey-scale,"),
    (["values", "swatches.csv", "--swatch", "p0", "--photo", "a.jpg", "--out", "a.pdf"],
     "A study must be of one thing; got photo and swatch. Leave out all but one."),
    (["plan", "--plan", "none.toml", "--out", "a.pdf"], "There is no file 'none.toml'. Check the name and the folder."),
])
def test_what_cannot_be_meant_is_refused_in_a_sentence(words, message, here, capsys):
    """A page of nonsense would be printed, or a traceback shown."""
    assert main(["handout", *words]) == BAD_USAGE
    out, err = capsys.readouterr()
    assert message in err
    assert out == ""
    assert not (here / "a.pdf").exists()


# --- class ------------------------------------------------------------------------------------------------------------


def test_a_class_pack_is_made_with_a_line_for_each_handout(here, capsys):
    """A teacher would wait a minute without a word, or not know what came of it."""
    (here / "class.toml").write_text(
        'heading = "Tuesday"\nlearners = 3\npile = "swatches.csv"\ncharts = ["balance"]\n'
        'handouts = ["kit", "exercise", "chart"]')
    assert main(["class", "class.toml", "--out", "pack"]) == ALL_WELL
    out, err = capsys.readouterr()
    assert "1 of 3  kit: 1 page.\n" in err
    assert "2 of 3  charts: 1 page.\n" in err
    assert "3 of 3  exercise: left out. An exercise is made of the pictures of its pieces;" in err
    assert out.startswith("2 handouts for 3 learners: 2 sheets of paper.\nLeft out: Exercise 1, far apart: ")
    assert f"Written to pack: {FIRST}, 01-kit.pdf, 02-charts.pdf.\n" in out
    assert sorted(file.name for file in (here / "pack").iterdir()) == [FIRST, "01-kit.pdf", "02-charts.pdf"]
    assert main(["class", "class.toml", "--out", "pack", "--json"]) == ALL_WELL
    document = json.loads(capsys.readouterr().out)
    assert document["sheets"] == 2
    assert document["handouts"][0] == {
        "kind": "kit", "words": "What to lay ready, and to read out", "file": "01-kit.pdf", "pages": 1, "copies": 1,
        "whom": "you", "sheets": 1}
    assert document["left_out"][0]["reason"].startswith("An exercise is made of")


@pytest.mark.parametrize(("text", "message"), [
    ("headin = 3", "'class.toml': every key must be a known one; got 'headin', and the nearest is 'heading'."),
    ('heading = "T"\npile = "nowhere.csv"', "There is no file 'nowhere.csv'."),
    ('heading = "T"\npile = "swatches.csv"\nhandouts = ["results"]', "A class pack must have a handout; it asks"),
])
def test_a_pack_that_cannot_be_right_is_refused_in_a_sentence(text, message, here, capsys):
    """A traceback would be shown, or a folder of half a pack be left."""
    (here / "class.toml").write_text(text)
    assert main(["class", "class.toml", "--out", "pack", "--json"]) == BAD_USAGE
    out, err = capsys.readouterr()
    assert message in err
    assert message in json.loads(out)["error"]


def test_a_pack_stands_where_its_file_is_not_where_the_program_runs(here, capsys):
    """A pack would find its pile only from one folder."""
    (here / "autumn").mkdir()
    shutil.move(here / "swatches.csv", here / "autumn")
    (here / "autumn" / "class.toml").write_text('heading = "T"\npile = "swatches.csv"\nhandouts = ["contact-sheet"]')
    assert main(["class", "autumn/class.toml", "--out", "pack"]) == ALL_WELL
    assert (here / "pack" / "01-contact-sheet.pdf").is_file()
