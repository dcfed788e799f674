"""The command line: what it prints where, what it writes, and with which exit code it ends."""

import io
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
from made_photos import PILE, STEPS, board, chart

from contrastkit.cli import main
from contrastkit.cli import photos as photo_commands
from contrastkit.cli.printing import ALL_WELL, BAD_USAGE, NO_READER, NOTHING, SOME_FAILED, STOPPED
from contrastkit.keep.tables import read_table
from contrastkit.show import study as study_module

SCALE = "scale=" + ",".join(f"{step:g}" for step in STEPS)


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    """A photograph with a card, one without, and a text by the name of one."""
    folder = tmp_path_factory.mktemp("photos")
    board(folder / "good.png")
    (folder / "spoilt.jpg").write_text("no photograph")
    return folder


@pytest.fixture(scope="module")
def table(tmp_path_factory):
    path = tmp_path_factory.mktemp("table") / "pile.csv"
    path.write_text("swatch_id,lightness,lightness_sigma\n" + "".join(
        f"p{number},{lightness},1.5\n" for number, lightness in enumerate([22, 25, 27, 41, 48, 52, 71, 88, 91])
    ))
    return path


@pytest.fixture
def run(capsys):
    """Run a command line and return exit code, standard output and standard error."""

    def command(*words):
        code = main([str(word) for word in words])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return code, out, err

    return command


# --- study and measure -----------------------------------------------------------------------------------------------


def test_a_study_says_what_it_found_and_what_to_do_next(run, photos, tmp_path):
    """She would not know where to look."""
    code, out, err = run("study", photos / "good.png", "--out", tmp_path / "study")

    assert code == ALL_WELL
    lines = out.splitlines()
    assert lines[0] == "7 pieces in 1 photograph."
    assert "Well balanced: 2 dark, 3 medium, 2 light." in lines
    assert lines[-1] == f"Next: open {tmp_path / 'study' / 'report.html'} in a browser, or print contact-sheet.pdf."
    told = r"1 of 1  good.png: 7 pieces found; card read as L\* 49.5; lightness to about ± \d.\d L\*.\n"
    assert re.fullmatch(told, err)
    assert (tmp_path / "study" / "report.html").exists()


def test_some_failed_is_another_code_and_they_are_named_at_the_end(run, photos, tmp_path):
    """A script would take half a study for a whole one."""
    code, out, err = run("study", photos, "--out", tmp_path)

    assert code == SOME_FAILED
    assert "1 photograph could not be used." in out
    assert err.splitlines()[-1].startswith(f"Not used: {photos / 'spoilt.jpg'}. A photo must be JPEG")


def test_nothing_measured_is_a_code_of_its_own(run, photos, tmp_path):
    """As above."""
    code, out, _ = run("study", photos / "spoilt.jpg", "--out", tmp_path / "a")
    assert code == NOTHING and "see why nothing was measured" in out
    code, _, err = run("study", tmp_path / "a", "--out", tmp_path / "b")
    assert code == NOTHING and "There must be a photograph to measure" in err
    code, _, err = run("measure", tmp_path / "nowhere.jpg", "--out", tmp_path / "c.csv")
    assert code == NOTHING and "there is no file" in err


def test_options_reach_the_study(run, photos, tmp_path):
    """An option would be taken and forgotten."""
    code, out, _ = run(
        "study", photos / "good.png", "--out", tmp_path, "--groups", "natural", "--count", "2", "--title", "Sunday",
        "--paper", "Letter", "--reference", "card=60", "--json",
    )

    document = json.loads(out)
    assert code == ALL_WELL
    assert [group["name"] for group in document["groups"]] == ["dark", "light"]
    assert document["photos"][0]["sentence"].startswith("7 pieces found; card read as L* 60.0")
    assert "<h1>Sunday</h1>" in (tmp_path / "report.html").read_text(encoding="utf-8")
    page = re.search(rb"/MediaBox \[\s*0 0 ([\d.]+) ([\d.]+)", (tmp_path / "contact-sheet.pdf").read_bytes())
    assert [float(side) for side in page.groups()] == pytest.approx([612, 792], abs=0.1)  # points of a Letter page


def test_a_reference_in_its_place_is_taken(run, tmp_path):
    """Two plain greys could not be told apart."""
    board(tmp_path / "board.png", reference="scale")
    code, out, _ = run("measure", tmp_path, "--out", tmp_path / "pile.csv", "--reference", SCALE, "--json")
    assert code == ALL_WELL and json.loads(out)["photos"][0]["reference"] == "scale"

    code, _, err = run("measure", tmp_path, "--out", tmp_path / "pile.csv", "--reference-at", "0,0,100,9000")
    assert code == NOTHING and "--reference-at must lie inside the photograph of 900 rows and 1200 columns" in err


def test_measure_writes_the_table_in_groups(run, photos, tmp_path):
    """The table alone would come without its groups."""
    code, out, _ = run("measure", photos / "good.png", "--out", tmp_path / "new" / "pile.csv")

    table = read_table(tmp_path / "new" / "pile.csv")
    assert code == ALL_WELL
    assert table["lightness"].tolist() == pytest.approx(list(PILE), abs=0.5)
    assert table["group"].tolist() == ["dark", "dark", "medium", "medium", "medium", "light", "light"]
    assert table["group_probability"].min() > 0.8 and not table["borderline"].any()
    assert out.splitlines()[-1] == f"Written: {tmp_path / 'new' / 'pile.csv'}"


def test_a_study_as_json_is_one_document_with_all_of_it(run, photos, tmp_path):
    """Other programs would have to read sentences."""
    code, out, _ = run("study", photos, "--out", tmp_path, "--json")

    document = json.loads(out, parse_constant=pytest.fail)
    assert code == SOME_FAILED
    assert set(document) == {
        "photos", "failed", "groups", "edges", "edge_sigma", "balance", "verdict", "swatches", "files", "next",
    }  # fmt: skip
    assert document["edges"] == [40, 70] and document["edge_sigma"] == [0, 0]
    assert len(document["swatches"]) == 7 and len(document["swatches"][0]["outline"]) == 4
    assert document["photos"][0]["reference"] == "card" and document["photos"][0]["pieces"] == 7
    assert document["failed"][0]["photo"].endswith("spoilt.jpg")
    assert all(Path(file).exists() for file in document["files"])


def test_unknown_numbers_are_null_in_json(run, tmp_path):
    """NaN is no JSON, and most programs refuse it."""
    (tmp_path / "pile.csv").write_text("swatch_id,lightness,lightness_sigma\na,50,\nb,,1\nc,60,2\n")

    _, out, _ = run("groups", tmp_path / "pile.csv", "--json")

    swatches = json.loads(out, parse_constant=pytest.fail)["swatches"]
    assert [swatch["lightness"] for swatch in swatches] == [50, None, 60]
    assert swatches[0]["group_probability"] is None


def test_no_reference_is_said_in_a_sentence(run, tmp_path):
    """A warning with file and line of the source would frighten, none would mislead."""
    board(tmp_path / "a.png", reference=None)

    code, _, err = run("measure", tmp_path, "--out", tmp_path / "pile.csv")

    assert code == ALL_WELL
    assert err.splitlines()[0] == (
        "a.png: nothing grey was found to measure against, so every lightness is rough (± 8). "
        "Lay a grey card beside the pieces."
    )
    assert "Warning" not in err


def test_a_board_without_pieces_is_said_and_an_empty_table_written(run, tmp_path):
    """As above."""
    board(tmp_path / "a.png", lightness=())

    code, _, err = run("measure", tmp_path, "--out", tmp_path / "pile.csv")

    assert code == NOTHING and "no piece was found on the board" in err
    assert len(read_table(tmp_path / "pile.csv")) == 0


# --- places to write to ----------------------------------------------------------------------------------------------


def test_places_that_cannot_be_written_to_are_refused(run, photos, tmp_path):
    """A photograph would be lost, or a traceback printed after all the work."""
    before = (photos / "good.png").read_bytes()
    (tmp_path / "file").touch()
    (tmp_path / "balance.png").touch()

    for words, told in [
        (("measure", photos, "--out", photos / "good.png"), "ends in .csv"),
        (("measure", photos, "--out", tmp_path / "file" / "pile.csv"), "is a file. Name another one"),
        (("measure", photos, "--out", tmp_path / "file" / "a" / "pile.csv"), "must be open to writing"),
        (("study", photos, "--out", tmp_path / "file"), "is a file. Name another one"),
        (("study", photos, "--out", tmp_path), "already holds 'balance.png'"),
        (("groups", photos / "good.png", "--out", tmp_path / "x.csv"), "is no text"),
        (("camera-check", photos / "good.png", "--out", photos / "good.png"), "ends in .csv"),
    ]:
        code, out, err = run(*words)
        assert (code, out, len(err.splitlines())) == (BAD_USAGE, "", 1)
        assert told in err
    assert (photos / "good.png").read_bytes() == before


# --- groups ----------------------------------------------------------------------------------------------------------


def test_groups_are_told_with_their_pieces_balance_and_verdict(run, table):
    """She would have to open the table to see what is in which group."""
    code, out, err = run("groups", table)

    assert (code, err) == (ALL_WELL, "")
    assert out.splitlines()[:6] == [
        "dark: L* 0 to 40, 3 pieces", "    p0 22, p1 25, p2 27",
        "medium: L* 40 to 70, 3 pieces, 1 borderline", "    p3 41, p4 48, p5 52",
        "light: L* 70 to 100, 3 pieces, 1 borderline", "    p6 71, p7 88, p8 91",
    ]  # fmt: skip
    assert out.splitlines()[6] == "Well balanced: 3 dark, 3 medium, 3 light."
    assert "evenly spread" in out


def test_each_way_of_grouping_is_there(run, table):
    """As asked for and no other way. Natural and equal edges of these nine by hand."""
    edges = [json.loads(run("groups", table, *words, "--json")[1])["edges"] for words in (
        ("--edges", "30,60"), ("--count", "2"), ("--method", "natural"), ("--method", "equal", "--count", "2"))]

    assert edges[:3] == [[30, 60], [55], [34, 61.5]]
    assert edges[3] == [44.5]


def test_the_grouped_table_is_written_with_all_that_was_in_it(run, tmp_path):
    """The owner's own columns would be lost, or a name come to life."""
    (tmp_path / "pile.csv").write_text("swatch_id;lightness;shelf\n=1+1;50,5;007\n")

    code, out, _ = run("groups", tmp_path / "pile.csv", "--out", tmp_path / "pile.csv")

    assert code == ALL_WELL and out.splitlines()[-1] == f"Written: {tmp_path / 'pile.csv'}"
    assert (tmp_path / "pile.csv").read_text() == (
        "swatch_id,lightness,group,group_probability,borderline,shelf\n'=1+1,50.50,medium,,False,007\n"
    )


def test_a_table_without_any_lightness_is_nothing(run, tmp_path):
    """A script would go on with no groups."""
    (tmp_path / "pile.csv").write_text("swatch_id,lightness\na,\n")

    code, out, _ = run("groups", tmp_path / "pile.csv")

    assert code == NOTHING and "No piece is in a group yet." in out


# --- stacks, seam and plan -------------------------------------------------------------------------------------------

# Twelve values of a worked example: steps of 17 L* can be had by going from dark to light, of 38 by turns; proved by
# CP-SAT (see gold.py). The rim values are by Zhang and Wandell's luminance kernel, worked out apart from this code.
TWELVE = (20, 24, 31, 37, 45, 52, 58, 66, 71, 77, 84, 92)


@pytest.fixture(scope="module")
def twelve(tmp_path_factory):
    path = tmp_path_factory.mktemp("twelve") / "pile.csv"
    path.write_text("swatch_id,lightness\n" + "".join(f"p{lightness},{lightness}\n" for lightness in TWELVE))
    return path


@pytest.mark.parametrize(("order", "worst"), [("stepped", 17), ("alternating", 38), ("free", 38)])
def test_stacks_are_chosen_and_told_as_json(run, twelve, order, worst):
    """Another program would build blocks from this."""
    code, out, _ = run("stacks", twelve, "--layers", 4, "--blocks", 3, "--order", order, "--json")

    told = json.loads(out)
    assert code == ALL_WELL
    assert (told["worst_step"], told["proved"]) == (worst, True)
    assert sorted(name for stack in told["stacks"] for name in stack["layers"]) == sorted(f"p{x}" for x in TWELVE)
    for stack in told["stacks"]:
        heights = [int(name[1:]) for name in stack["layers"]]
        assert stack["steps"] == [abs(upper - lower) for lower, upper in zip(heights, heights[1:], strict=False)]
    assert min(step for stack in told["stacks"] for step in stack["steps"]) == worst


def test_stacks_are_told_in_words(run, twelve):
    """She reads no JSON."""
    code, out, _ = run("stacks", twelve, "--layers", 3, "--blocks", 3, "--order", "alternating")

    assert code == ALL_WELL
    lines = out.splitlines()
    assert re.fullmatch(r"3 stacks, weakest step \d\d\.\d L\*: proved best\.", lines[0])
    assert re.fullmatch(r"1: p\d\d \d\d / p\d\d \d\d / p\d\d \d\d   \(100 of 100\)", lines[1])
    assert lines[2].startswith("    The weakest seam is ")
    assert lines[-1] == "Left over: 3 pieces."


def test_the_background_and_the_distance_are_counted(run, tmp_path):
    """The base would vanish on what it is fused to, and nobody would have said so."""
    pile = tmp_path / "pile.csv"
    pile.write_text("swatch_id,lightness,lightness_rim\na,30,90\nb,70,90\n")

    _, out, _ = run("stacks", pile, "--layers", 2, "--blocks", 1, "--background", 34, "--distance", "3m", "--json")

    (stack,) = json.loads(out)["stacks"]
    assert stack["layers"] == ["b", "a"]
    assert (stack["background_step"], stack["weakest"]) == (36, 36)
    assert [seam["below"] for seam in stack["seams"]] == ["background", "b"]
    assert stack["seams"][1]["line_step"] == pytest.approx(6.9, abs=0.05)  # the rim of a between 70 and 30
    _, out, _ = run("stacks", pile, "--layers", 2, "--blocks", 1, "--distance", "3m")
    assert "the rim still stands 7 L* clear" in out


def test_rules_reach_the_choice(run, tmp_path):
    """An option that does nothing would be believed."""
    pile = tmp_path / "pile.csv"
    rows = [("a", 10, 90, "s"), ("b", 20, 60, "s"), ("c", 50, 90, "t"), ("d", 60, 40, "u"), ("e", 90, 60, "t")]
    pile.write_text("swatch_id,lightness,side,sheet\n" + "".join(f"{i},{x},{w},{h}\n" for i, x, w, h in rows))

    def layers(*words):
        code, out, err = run("stacks", pile, "--layers", 2, "--blocks", 1, "--json", *words)
        assert code == ALL_WELL, err
        return json.loads(out)["stacks"][0]["layers"]

    assert layers() == ["a", "e"]
    assert layers("--never", "a", "--never", "e") == ["b", "d"]
    assert layers("--must", "c", "--must", "d") == ["c", "d"]
    assert layers("--layer-sides", "80mm,any", "--never", "a") == ["c", "e"]
    assert layers("--layer-groups", "light,medium") == ["e", "c"]
    assert layers("--differ", "sheet", "--never", "e") == ["a", "d"]
    assert layers("--profile", "9") in (["a", "b"], ["c", "d"])
    code, _, err = run("stacks", pile, "--layers", 2, "--blocks", 2, "--twins", 1)
    assert (code, "the twins" in err) == (BAD_USAGE, True)  # no two pieces are alike enough
    _, out, _ = run("stacks", pile, "--layers", 2, "--blocks", 1, "--at-least", 10, "--json")
    assert json.loads(out)["aim"] == "sparing"
    assert json.loads(out)["stacks"][0]["layers"] == ["c", "d"]


def test_the_chosen_stacks_are_drawn(run, twelve, tmp_path):
    """A picture says it faster."""
    code, out, _ = run("stacks", twelve, "--layers", 3, "--blocks", 4, "--out", tmp_path / "stacks.pdf")

    assert code == ALL_WELL
    assert f"Drawn: {tmp_path / 'stacks.pdf'}" in out
    assert (tmp_path / "stacks.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("lightness", "distance", "line_step"),
    [((30, 90, 70), "1m", 17.7), ((30, 90, 70), "3m", 6.9), ((30, 90, 35), "5", 25.3), ((70, 30, 75), "200cm", 19.2)],
)
def test_a_rim_is_judged_at_a_distance(run, lightness, distance, line_step):
    """Whether the rim holds the pieces apart is asked before anything is fused."""
    code, out, _ = run("seam", *lightness, "--rim", "1/16in", "--distance", distance, "--json")

    told = json.loads(out)
    assert code == ALL_WELL
    assert told["line_step"] == pytest.approx(line_step, abs=0.05)
    assert told["step"] == abs(lightness[0] - lightness[2])
    assert told["lighter"] == "right"


def test_a_rim_is_told_in_a_sentence_with_the_usual_width_and_distance(run):
    """Most people have a sixteenth of an inch and a room."""
    code, out, _ = run("seam", 30, 90, 70)

    assert (code, out) == (ALL_WELL, "At 3 m the rim still stands 7 L* clear; at 3.6 m it is gone.\n")


PLAN = """
units = "in"
rim = "1/16"
gap = "1/4"

[[block]]
name = "Lantern"
count = 2
prints = ["3 1/2", "2 1/2", "1 3/4"]
surrounds = 2
"""


def test_a_plan_gives_what_is_cut_and_how_large_blocks_get(run, tmp_path):
    """By hand: s = 3 5/8 in, g = 1/4 in; sqrt(2) (s + g) = 139.194 mm, 2 s + g (1 + sqrt(2)) = 199.480 mm."""
    (tmp_path / "plan.toml").write_text(PLAN)

    code, out, _ = run("plan", tmp_path / "plan.toml", "--json", "--out", tmp_path / "plan")

    told = json.loads(out)
    assert code == ALL_WELL
    assert told["blocks"][0]["finished_mm"] == pytest.approx([92.075, 139.194, 199.480], abs=0.001)
    squares = [(entry["count"], entry["side_mm"]) for entry in told["cut"] if entry["what"] == "square"]
    assert squares == [(8, 92.075), (8, 66.675), (8, 47.625)]  # a core, one block in quarters, two in halves, twice
    assert [Path(file).name for file in told["files"]] == ["plan.html", "cut-list.csv"]
    assert all(Path(file).exists() for file in told["files"])


def test_a_plan_is_told_in_sentences(run, tmp_path):
    """She would have to read a table to know how much to paint."""
    (tmp_path / "plan.toml").write_text(PLAN)

    code, out, _ = run("plan", tmp_path / "plan.toml")

    assert code == ALL_WELL
    assert out.startswith("24 squares to cut: 8 of 3 5/8 in, 8 of 2 5/8 in, 8 of 1 7/8 in.")


def test_a_typing_error_in_a_plan_is_named_with_the_word_that_was_meant(run, tmp_path):
    """A misspelt rim would silently be no rim."""
    (tmp_path / "plan.toml").write_text(PLAN.replace("rim =", "rmi ="))

    code, out, err = run("plan", tmp_path / "plan.toml", "--json")

    assert code == BAD_USAGE
    assert "'rmi'" in err
    assert "rim" in json.loads(out)["error"]


# --- camera-check ----------------------------------------------------------------------------------------------------


def test_a_camera_is_judged_in_a_table_and_a_sentence(run, tmp_path):
    """The numbers would come without a judgement, or the judgement without its numbers."""
    code, out, _ = run("camera-check", chart(tmp_path / "chart.png"), "--out", tmp_path / "patches.csv")

    lines = out.splitlines()
    assert code == ALL_WELL
    assert re.fullmatch(r" 1 dark skin +37\.5 +3\d\.\d +[+-]\d\.\d +3\d\.\d +[+-]\d\.\d", lines[2])
    assert re.match(r"18 colours: mean error 0\.\d L\*, largest \d\.\d \(.+\); with greys alone ", lines[27])
    assert lines[28].startswith("6 greys: mean error")
    assert lines[29].startswith("With a chart in the photograph this camera measures lightness well: 18 colours err by")
    patches = pd.read_csv(tmp_path / "patches.csv")
    assert len(patches) == 24 and patches["usable"].all()
    assert patches["error"].abs().max() < 3


def test_a_camera_check_as_json(run, tmp_path):
    """As for a study."""
    code, out, _ = run("camera-check", chart(tmp_path / "chart.png"), "--json")

    document = json.loads(out, parse_constant=pytest.fail)
    assert code == ALL_WELL
    assert set(document["colours"]) == {"count", "mean", "largest", "worst"}
    assert document["sigma"] == 0.7 and len(document["patches"]) == 24
    assert document["patches"][23]["name"] == "black"


def test_a_spoilt_chart_is_refused_in_words_and_in_json(run, tmp_path):
    """A number would be trusted that must not be."""
    photo = chart(tmp_path / "chart.png", fault="burnt")

    code, out, err = run("camera-check", photo)
    assert (code, out) == (NOTHING, "") and "cannot be trusted" in err and len(err.splitlines()) == 1
    code, out, err = run("camera-check", photo, "--json")
    assert code == NOTHING and json.loads(out) == {"error": err.strip()}


# --- bad usage -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "required: COMMAND"),
        (["paint"], "invalid choice: 'paint'"),
        (["study"], "required: PATH, --out"),
        (["study", "a.jpg"], "required: --out"),
        (["study", "a.jpg", "--out", "b", "--reference", "cart"], "A reference must be auto, none, chart"),
        (["study", "a.jpg", "--out", "b", "--ref", "card"], "unrecognized arguments: --ref"),
        (["study", "a.jpg", "--out", "b", "--reference-at", "1,2,3"], "it must be 4 numbers with commas between"),
        (["study", "a.jpg", "--out", "b", "--reference-at", "1,2,3,inf"], "it must be 4 numbers"),
        (["study", "a.jpg", "--out", "b", "--groups", "best"], "invalid choice: 'best'"),
        (["study", "a.jpg", "--out", "b", "--count", "11"], "from 2 to 9 groups; got 11"),
        (["study", "a.jpg", "--out", "b", "--edges", "70,40"], "must increase"),
        (["study", "a.jpg", "--out", "b", "--edges", "dark"], "it must be numbers with commas between"),
        (["study", "a.jpg", "--out", "b", "--groups", "equal", "--edges", "40,70"], "equal groups find their own"),
        (["groups", "nowhere.csv"], "There is no file 'nowhere.csv'"),
        (["stacks", "nowhere.csv", "--layers", "3", "--blocks", "2"], "There is no file 'nowhere.csv'"),
        (["stacks", "a.csv", "--layers", "3"], "required: --blocks"),
        (["stacks", "a.csv", "--layers", "3", "--blocks", "2", "--order", "up"], "invalid choice: 'up'"),
        (["seam", "30", "90"], "required: L_RIGHT"),
        (["seam", "30", "90", "120"], "100"),
        (["seam", "30", "nan", "70"], "rim"),
        (["seam", "30", "90", "70", "--rim", "thin"], "'thin'"),
        (["seam", "30", "90", "70", "--distance", "0"], "more than zero"),
        (["seam", "30", "90", "70", "--rim", "-1mm"], "expected one argument"),
        (["plan", "nowhere.toml"], "nowhere.toml"),
    ],
)
def test_bad_usage_is_refused_in_words(run, words, told, tmp_path, monkeypatch):
    """A slip would end in a traceback, or in a study of something else."""
    monkeypatch.chdir(tmp_path)

    code, out, err = run(*words)

    assert (code, out) == (BAD_USAGE, "")
    assert told in err
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize(
    "command", [[], ["study"], ["measure"], ["groups"], ["stacks"], ["seam"], ["plan"], ["camera-check"]]
)
def test_help_tells_the_exit_codes(run, command):
    """A script's author would have to try."""
    code, out, _ = run(*command, "--help")

    assert code == ALL_WELL
    for number in (ALL_WELL, NOTHING, BAD_USAGE, SOME_FAILED, STOPPED, NO_READER):
        assert re.search(rf"^  {number} ", out, re.MULTILINE)


def test_the_version_is_printed(run):
    """A report of a fault could not name it."""
    assert re.fullmatch(r"contrastkit \d+\.\d+\.\d+\n", run("--version")[1])


# --- terminals, pipes, interruptions ---------------------------------------------------------------------------------


class Terminal(io.StringIO):
    """A screen of 80 columns."""

    def isatty(self):
        return True


def test_a_terminal_shows_what_is_being_measured_and_a_file_does_not(photos, tmp_path, monkeypatch, capsys):
    """A log would fill with half lines, or a screen stand still."""
    screen = Terminal()
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setattr(sys, "stderr", screen)

    main(["measure", str(photos / "good.png"), "--out", str(tmp_path / "pile.csv")])

    text = screen.getvalue()
    assert text.startswith("\r1 of 1  good.png ...")
    assert text.endswith("L*.\n")
    assert "good.png ..." not in shown(text) and "1 of 1  good.png: 7 pieces found" in shown(text)


def shown(text):
    """What a screen shows of a text in the end."""
    lines = []
    for line in text.split("\n"):
        screen = ""
        for part in line.split("\r"):
            screen = part + screen[len(part) :]
        lines.append(screen.rstrip())
    return "\n".join(lines)


def test_a_name_never_steers_the_terminal(run, photos, tmp_path):
    """A photograph's name could wipe the screen or hide what was said."""
    shutil.copy(photos / "good.png", tmp_path / "a\x1b[2J\rb.png")

    _, out, err = run("measure", tmp_path, "--out", tmp_path / "pile.csv")

    assert "\x1b" not in out + err and "\r" not in out + err
    assert "a\N{REPLACEMENT CHARACTER}[2J\N{REPLACEMENT CHARACTER}b.png: 7 pieces found" in err


def test_stopping_from_the_keyboard_is_no_crash(run, photos, tmp_path, monkeypatch):
    """Whoever stops a study would be shown forty lines of source."""

    def stopped(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr(study_module, "measure_each", stopped)
    code, out, err = run("study", photos, "--out", tmp_path)

    assert (code, out, err) == (STOPPED, "", "Stopped. Nothing more was written.\n")


def process(*words, **options):
    return subprocess.Popen([sys.executable, "-m", "contrastkit", *map(str, words)], stdout=subprocess.PIPE,
                            stderr=subprocess.PIPE, **options)


def test_a_reader_that_goes_away_is_no_crash(table):
    """`contrastkit groups pile.csv | head` would end with a traceback."""
    buffered = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    command = process("groups", table, "--json", env=buffered)
    command.stdout.close()
    assert command.wait() == NO_READER
    assert command.stderr.read() == b""
    command.stderr.close()


def test_results_can_be_printed_on_any_terminal(tmp_path):
    """A name in Greek would end in a traceback where the terminal knows ASCII alone."""
    (tmp_path / "pile.csv").write_text("swatch_id,lightness\nβ,50\n", encoding="utf-8")
    plain = {**os.environ, "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}

    out, err = process("groups", tmp_path / "pile.csv", env=plain).communicate()
    assert (out.splitlines()[2], err) == (b"    \\u03b2 50", b"")
    out, err = process("groups", tmp_path / "pile.csv", "--json", env=plain).communicate()
    assert json.loads(out)["swatches"][0]["swatch_id"] == "β" and err == b""


def test_a_name_that_is_no_text_is_printed_and_written(run, photos, tmp_path):
    """A file from an old computer would end the study."""
    shutil.copy(photos / "good.png", os.path.join(os.fsencode(tmp_path), b"caf\xe9.png"))

    code, out, _ = run("study", tmp_path, "--out", tmp_path / "study", "--json")

    assert code == ALL_WELL
    assert json.loads(out)["photos"][0]["photo"] == "caf\N{REPLACEMENT CHARACTER}.png"


def test_a_fault_of_our_own_is_not_hidden(photos, tmp_path, monkeypatch):
    """A mistake in the program would look like a spoilt photograph."""
    monkeypatch.setattr(photo_commands, "_grouping", lambda _: 1 / 0)
    with pytest.raises(ZeroDivisionError, match="division"):
        main(["study", str(photos), "--out", str(tmp_path)])
