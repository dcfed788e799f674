"""`contrastkit chart`: every kind from photographs, a table or the catalogue; what is written, said and refused."""

from __future__ import annotations

import json
import re

import pandas as pd
import pypdfium2
import pytest
from demo import demo_pieces
from made_photos import board
from PIL import Image

from contrastkit.cli import main
from contrastkit.cli.charts import CHARTS
from contrastkit.cli.printing import ALL_WELL, BAD_USAGE, NOTHING, SOME_FAILED
from contrastkit.keep.catalogue import open_catalogue
from contrastkit.keep.tables import write_table
from contrastkit.show.lessons import LESSONS


@pytest.fixture
def run(capsys):
    """Run a command line and return exit code, standard output and standard error."""

    def command(*words):
        code = main([str(word) for word in words])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return code, out, err

    return command


@pytest.fixture(scope="module")
def table(tmp_path_factory):
    """The table of the demo pile: colour and rims, no pictures."""
    return write_table(demo_pieces()[0], tmp_path_factory.mktemp("table") / "swatches.csv")


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory):
    """The demo pile in a catalogue, one piece of it used."""
    place = tmp_path_factory.mktemp("kept") / "pile.sqlite"
    pieces, crops = demo_pieces()
    with open_catalogue(place, who="test") as pile:
        pile.add(pieces, crops=crops, ground="red", side="4in")
        pile.use(["noon-chart-01"])
    return place


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    """A photograph with a card, and a text by the name of one."""
    folder = tmp_path_factory.mktemp("photos")
    board(folder / "good.png")
    (folder / "spoilt.jpg").write_text("no photograph")
    return folder


def plain(tmp_path):
    """A table of lightness values alone."""
    path = tmp_path / "plain.csv"
    pd.DataFrame({"swatch_id": list("abcde"), "lightness": [20.0, 35, 50, 70, 88]}).to_csv(path, index=False)
    return path


def size_of(path):
    """Width and height in pixels."""
    with Image.open(path) as picture:
        return picture.size


def pdf_words(path):
    """Size in millimetres and words of every page."""
    document = pypdfium2.PdfDocument(path)
    pages = [(tuple(round(side * 25.4 / 72, 1) for side in page.get_size()), page.get_textpage().get_text_range())
             for page in document]
    document.close()
    return pages


# --- what there is ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("words", [(), ("--list",), ("grey-scale", "--list")])
def test_the_kinds_are_listed_with_their_words(run, words):
    """She would have to know the names by heart."""
    code, out, _ = run("chart", *words)
    assert code == ALL_WELL
    lines = dict(line.split(maxsplit=1) for line in out.splitlines())
    assert list(lines) == [*LESSONS, "strip", "values"]
    assert lines["rim"] == "the rim that lasts and the rim that vanishes"


def test_the_list_is_a_document_too(run):
    """A script would have to read columns."""
    kinds = json.loads(run("chart", "--json")[1])["kinds"]
    assert kinds[1] == {"kind": "same-value", "words": LESSONS["same-value"].words}


def test_help_names_every_kind(run):
    """As above."""
    out = run("chart", "--help")[1]
    assert all(f"  {kind} " in out for kind in (*CHARTS, "values", "all"))
    assert "references.toml" in out and "exit codes" in out


# --- one chart --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", CHARTS)
def test_every_kind_is_drawn_from_a_table(run, table, tmp_path, kind):
    """A kind would be listed and not drawn."""
    code, out, err = run("chart", kind, table, "--out", tmp_path / "new" / "chart.png")
    assert (code, err) == (ALL_WELL, "")
    finding, written = out.splitlines()
    assert finding.endswith(".") and len(finding) > 20
    assert written == f"Drawn: {tmp_path / 'new' / 'chart.png'}"
    assert min(size_of(tmp_path / "new" / "chart.png")) > 1000


def test_a_chart_of_photographs_names_those_that_failed(run, photos, tmp_path):
    """Half a pile would be taken for the whole."""
    code, out, err = run("chart", "balance", photos, "--out", tmp_path / "balance.svg", "--json")
    assert code == SOME_FAILED
    document = json.loads(out)
    assert document["kind"] == "balance"
    assert document["finding"] == "Well balanced: 2 dark, 3 medium, 2 light"
    assert document["description"].startswith("Well balanced: 2 dark, 3 medium, 2 light. ")
    assert document["files"] == [str(tmp_path / "balance.svg")]
    assert document["failed"][0]["photo"] == str(photos / "spoilt.jpg")
    assert (tmp_path / "balance.svg").read_text(encoding="utf-8").startswith("<?xml")
    lines = err.splitlines()
    assert lines[0].startswith("1 of 2  good.png: 7 pieces found; card read as L* 49.5")
    assert lines[-1].startswith(f"Not used: {photos / 'spoilt.jpg'}. A photo must be JPEG")


def test_photographs_of_which_none_can_be_used_are_a_code_of_their_own(run, photos, tmp_path):
    """A script would take it for a wrong option."""
    code, _, err = run("chart", "balance", photos / "spoilt.jpg", "--out", tmp_path / "b.png")
    assert code == NOTHING
    assert "Not used: " in err and err.splitlines()[-1].startswith("There must be a piece to draw; none was found.")
    code, _, err = run("chart", "balance", tmp_path, "--out", tmp_path / "b.png")
    assert code == NOTHING and "There must be a photograph to measure" in err
    assert not (tmp_path / "b.png").exists()


def test_a_reference_reaches_the_photographs(run, photos, tmp_path):
    """The card would be read as another one than hers."""
    err = run("chart", "balance", photos / "good.png", "--out", tmp_path / "b.png", "--reference", "card=60")[2]
    assert "card read as L* 60.0" in err


def test_the_catalogue_is_asked_for_what_is_at_hand_or_else(run, catalogue, tmp_path):
    """A chart would show pieces that are long sewn up."""
    code, out, _ = run("chart", "balance", catalogue, "--out", tmp_path / "b.png", "--json")
    assert code == ALL_WELL and "12 dark, 19 medium, 14 light" in json.loads(out)["description"]
    out = run("chart", "balance", catalogue, "--out", tmp_path / "b.png", "--only", "dark", "--json")[1]
    assert "13 dark, 0 medium, 0 light" in json.loads(out)["description"]
    code, _, err = run("chart", "balance", catalogue, "--out", tmp_path / "b.png", "--only", "ground=green")
    assert code == NOTHING and "There must be a piece to show" in err and "ground=green" in err


def test_the_usual_catalogue_goes_by_its_word(run, catalogue, tmp_path, monkeypatch):
    """`pile` would be looked for as a photograph."""
    monkeypatch.setenv("CONTRASTKIT_PILE", str(catalogue))
    assert run("chart", "same-hue", "pile", "--out", tmp_path / "h.png")[0] == ALL_WELL


def test_a_page_of_paper_has_the_teacher_s_line_and_true_bars(run, table, tmp_path):
    """Nothing would say whose it is, or whether it was printed at its size."""
    path = tmp_path / "page.pdf"
    assert run("chart", "lamps", table, "--out", path, "--paper", "Letter", "--heading", "Tuesday class")[0] == ALL_WELL
    ((size, words),) = pdf_words(path)
    assert size == (279.4, 215.9)
    assert "Tuesday class" in words and "50 mm" in words and "2 in at true size" in words and "page 1 of 1" in words


def test_without_paper_a_chart_has_its_own_size(run, table, tmp_path):
    """A chart for a screen or a book would come with a margin and bars."""
    assert run("chart", "coverage", table, "--out", tmp_path / "c.pdf")[0] == ALL_WELL
    ((size, words),) = pdf_words(tmp_path / "c.pdf")
    assert size[0] == 255 and "true size" not in words


def test_what_must_be_looked_at_from_so_far_is_not_made_larger(run, table, tmp_path):
    """Stripes twice as wide would melt from twice as far, and the page would be wrong."""
    widths = {}
    for kind in ("half-and-half", "same-hue"):
        run("chart", kind, table, "--out", tmp_path / "own.pdf")
        run("chart", kind, table, "--out", tmp_path / "page.pdf", "--paper", "A4")
        widths[kind] = [_title_height(tmp_path / name) for name in ("own.pdf", "page.pdf")]
    assert widths["half-and-half"][0] == pytest.approx(widths["half-and-half"][1], abs=0.05)
    assert widths["same-hue"][1] > 1.1 * widths["same-hue"][0]


def _title_height(path):
    document = pypdfium2.PdfDocument(path)
    text = document[0].get_textpage()
    left, bottom, right, top = text.get_charbox(0)
    document.close()
    return top - bottom


# --- options ----------------------------------------------------------------------------------------------------------


def test_options_reach_the_chart(run, table, catalogue, tmp_path):
    """An option would be taken and forgotten."""
    def finding(*words):
        code, out, _ = run("chart", *words, "--out", tmp_path / "c.png", "--json")
        assert code == ALL_WELL
        document = json.loads(out)
        return document["finding"], document["description"]

    assert re.match(r"The pile stands on \d of 5 steps", finding("grey-scale", table, "--steps", "5")[0])
    assert finding("pairs", table, "--title", "Which goes with which?")[0] == "Which goes with which?"
    assert re.search(r"\d+ dark, \d+ medium dark, \d+ medium light, 14 light\.$",
                     finding("balance", table, "--edges", "30,50,70")[1])
    stack = "noon-chart-11, morning-card-09"
    assert finding("distances", table, "--stack", stack)[0].startswith("noon-chart-11 and morning-card-09 still stand")
    assert "noon-chart-11 25, morning-card-09 82" in finding("distances", catalogue, "--stack", stack)[1]


def test_edges_sort_a_table_anew(run, table, tmp_path):
    """Groups that stand in the table would be drawn under edges that are not theirs."""
    grouped = demo_pieces()[0].assign(group="dark", group_probability=1.0, borderline=False)
    path = write_table(grouped, tmp_path / "grouped.csv")
    for kind in ("balance", "strip"):
        assert run("chart", kind, path, "--edges", "40,70", "--out", tmp_path / "one.png")[0] == ALL_WELL
        assert run("chart", kind, table, "--edges", "40,70", "--out", tmp_path / "two.png")[0] == ALL_WELL
        assert (tmp_path / "one.png").read_bytes() == (tmp_path / "two.png").read_bytes()


@pytest.mark.parametrize(
    ("words", "said"),
    [(("films", "--steps", "9"), r"--steps is for the chart grey-scale; got it with films\. Leave it out\."),
     (("rim", "--stack", "a,b"), r"--stack is for the charts distances and values; got it with rim\. Leave it out\."),
     (("pairs", "--edges", "40"), r"--edges is for the charts balance and strip; got it with pairs\. Leave it out\."),
     (("lamps", "--values", "3"), r"--values is for the chart values; got it with lamps\. Leave it out\."),
     (("all", "--swatch", "a"), r"--swatch is for the chart values; got it with all\. Leave it out\."),
     (("all", "--title", "T"), r"--title is for one chart; got it with all charts\. Leave it out\."),
     (("lamps", "--heading", "Tuesday"), r"--heading is for a printed page; got no --paper\. Add --paper A4"),
     (("hue",), r"A chart must be one of grey-scale, .*, strip, values, all; got 'hue'\. Pick one of these\."),
     (("lamps", "--only", "dark"), r"--only asks a catalogue; got it with '.*plain\.csv'\. Leave it out, or give "),
     (("balance", "--edges", "70,40"), r"Edges between groups must increase"),
     (("distances", "--stack", "a,nobody"), r"nobody"),
     (("distances", "--stack", "a"), r"A stack must have two layers or more; got 1\."),
     (("lamps",), r"This chart needs two swatches of known colour or more; the pile has 0\.")],
)  # fmt: skip
def test_what_cannot_be_is_refused_in_a_sentence(run, tmp_path, words, said):
    """It would be left out in silence, or end in a traceback; or half a chart would be written."""
    place = tmp_path / "out.png"
    code, out, err = run("chart", words[0], plain(tmp_path), *words[1:], "--out", place)
    assert (code, out) == (BAD_USAGE, "")
    assert re.search(said, err)
    assert len(err.splitlines()) == 1
    assert not place.exists()


def test_a_place_that_cannot_be_written_is_refused_before_any_work(run, photos, tmp_path):
    """She would wait for the photographs, and then be told."""
    good = photos / "good.png"
    for place, said in (
        (tmp_path / "chart.doc", r"A chart is written to a file that ends in .pdf or .png or .svg; got '.*chart.doc'"),
        (tmp_path, "ends in"), (good, "What is measured must not be written over"),
    ):
        code, _, err = run("chart", "balance", photos, "--out", place)
        assert code == BAD_USAGE and re.search(said, err) and "1 of" not in err
    code, _, err = run("chart", "balance", photos, "--out", tmp_path / "a.png", "--paper", "A4")
    assert code == BAD_USAGE and "A page of paper is written to a file that ends in .pdf; got" in err
    assert size_of(good) == (1200, 900)
    code, _, err = run("chart", "balance", photos)
    assert code == BAD_USAGE and "A chart must have a file to be written to; got none. Name it with --out." in err
    code, _, err = run("chart", "balance", "--out", tmp_path / "a.png")
    assert code == BAD_USAGE and "The chart balance must have something to be drawn from; got none." in err
    code, _, err = run("chart", "--out", tmp_path / "a.png")
    assert code == BAD_USAGE and "A chart must be of some kind; got none. See which with --list." in err


def test_a_refusal_is_a_document_too(run, tmp_path):
    """A script would get nothing to read."""
    code, out, _ = run("chart", "lamps", plain(tmp_path), "--out", tmp_path / "a.png", "--json")
    assert code == BAD_USAGE and json.loads(out)["error"].startswith("This chart needs two swatches of known colour")


# --- value studies ----------------------------------------------------------------------------------------------------


def test_a_photograph_is_studied_as_it_is(run, photos, tmp_path):
    """A picture of a garden has no card and no pieces to measure."""
    code, out, err = run("chart", "values", photos / "good.png", "--out", tmp_path / "v.png", "--json",
                         "--values", "5", "--method", "natural", "--title", "My board")
    document = json.loads(out)
    assert (code, err, document["finding"], document["failed"]) == (ALL_WELL, "", "My board", [])
    assert size_of(tmp_path / "v.png")[0] > 2500


def test_a_study_is_printed_as_two_pages(run, photos, tmp_path):
    """The page to colour in would be missing."""
    code, _, _ = run("chart", "values", photos / "good.png", "--out", tmp_path / "v.pdf", "--paper", "A4",
                     "--heading", "Tuesday class")
    pages = pdf_words(tmp_path / "v.pdf")
    assert code == ALL_WELL and len(pages) == 2
    assert sorted(pages[0][0]) == [210, 297] and "Tuesday class" in pages[0][1] and "Colour in" in pages[1][1]


def test_a_piece_or_a_stack_of_the_pile_is_studied(run, catalogue, tmp_path):
    """Only whole photographs could be."""
    place = tmp_path / "v.png"
    code, out, _ = run("chart", "values", catalogue, "--swatch", "morning-card-12", "--out", place, "--json")
    assert code == ALL_WELL and "morning-card-12" in json.loads(out)["description"]
    code, out, _ = run("chart", "values", catalogue, "--stack", "noon-chart-11,morning-card-09", "--values", "2",
                       "--out", tmp_path / "v.png", "--json")
    assert code == ALL_WELL and "the stack noon-chart-11, morning-card-09" in json.loads(out)["description"]


def test_a_study_of_what_has_no_picture_is_refused(run, catalogue, photos, tmp_path):
    """A grey square would be studied, or a traceback shown."""
    for words, said in (
        ((plain(tmp_path), "--swatch", "a"), r"A study must have a piece with a picture; 'a' has none\."),
        ((catalogue, "--swatch", "nobody"), r"'nobody' is not in the pile\. Name another\."),
        ((catalogue, "--swatch", "a", "--stack", "a,b"), r"one subject; got --swatch and --stack\. Leave one"),
        ((photos,), r"A study must have one photograph; got 2\. Name one, or say which piece"),
    ):
        code, _, err = run("chart", "values", *words, "--out", tmp_path / "v.png")
        assert code == BAD_USAGE and re.search(said, err)
    code, _, err = run("chart", "values", photos / "spoilt.jpg", "--out", tmp_path / "v.png")
    assert code == NOTHING and "A photo must be JPEG" in err
    words = ("--out", tmp_path / "v.pdf", "--paper", "A4", "--title", "T")
    code, _, err = run("chart", "values", photos / "good.png", *words)
    assert code == BAD_USAGE and "--title is for one chart; got it with the two pages of a study." in err
    assert not (tmp_path / "v.png").exists()


# --- all of them ------------------------------------------------------------------------------------------------------


def test_all_charts_are_drawn_that_the_pile_allows_and_the_others_are_named(run, tmp_path):
    """One that is not possible would stop the others, or be missing without a word."""
    folder = tmp_path / "charts"
    code, out, err = run("chart", "all", plain(tmp_path), "--out", folder, "--paper", "A4", "--steps", "5")
    assert (code, err) == (ALL_WELL, "")
    drawn = ["grey-scale", "half-and-half", "coverage", "distances", "balance", "pairs", "strip"]
    assert sorted(path.name for path in folder.iterdir()) == sorted(
        f"{kind}{ending}" for kind in drawn for ending in (".pdf", ".png"))
    lines = out.splitlines()
    assert lines[0].startswith("grey-scale: The pile stands on all 5 steps")
    assert [line.split(".")[0].removeprefix("Not drawn: ") for line in lines if line.startswith("Not drawn: ")] == [
        kind for kind in CHARTS if kind not in drawn]
    assert "Not drawn: lamps. This chart needs two swatches of known colour or more; the pile has 0." in out
    assert lines[-1] == f"7 of 15 charts drawn, each as PDF and PNG: {folder}"
    assert sorted(pdf_words(folder / "balance.pdf")[0][0]) == [210, 297]


def test_all_charts_of_photographs_say_which_failed(run, photos, tmp_path):
    """As for one."""
    code, out, err = run("chart", "all", photos, "--out", tmp_path, "--json")
    document = json.loads(out)
    assert code == SOME_FAILED and "Not used: " in err
    assert {each["kind"] for each in (*document["charts"], *document["not_drawn"])} == set(CHARTS)
    assert all(len(each["files"]) == 2 for each in document["charts"])
    assert document["failed"][0]["photo"] == str(photos / "spoilt.jpg")


def test_a_photograph_by_the_name_of_a_chart_is_not_written_over(run, tmp_path):
    """A photograph called balance.png would be gone."""
    board(tmp_path / "balance.png")
    before = (tmp_path / "balance.png").read_bytes()
    code, _, err = run("chart", "all", tmp_path, "--out", tmp_path)
    assert code == BAD_USAGE and "What is measured must not be written over" in err
    assert (tmp_path / "balance.png").read_bytes() == before and len(list(tmp_path.iterdir())) == 1


def test_a_study_of_a_table_asks_for_a_piece_or_a_stack(run, table):
    """She would be told to save her table as a JPEG."""
    code, _, err = run("chart", "values", table, "--out", "study.png")
    assert code == BAD_USAGE
    assert "A study of a pile must be of one of its pieces or stacks;" in err and "Add --swatch or --stack." in err
