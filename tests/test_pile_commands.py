"""The pile on the command line: kept, found, described, used up, undone; and read by the other commands."""

from __future__ import annotations

import json

import pandas as pd
import pytest
from made_photos import board

from contrastkit.cli import main
from contrastkit.cli.pile import _requoted
from contrastkit.cli.printing import ALL_WELL, BAD_USAGE, NOTHING, SOME_FAILED
from contrastkit.keep.catalogue import open_catalogue
from contrastkit.keep.sources import catalogue_at, is_catalogue, read_source


@pytest.fixture
def run(capsys, tmp_path, monkeypatch):
    """Run a command line on a catalogue of its own; return exit code, standard output and standard error."""
    monkeypatch.setenv("CONTRASTKIT_PILE", str(tmp_path / "own" / "pile.sqlite"))
    (tmp_path / "own").mkdir()

    def command(*words):
        code = main([str(word) for word in words])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return code, out, err

    return command


@pytest.fixture
def kept(run):
    """A catalogue of six pieces, dark to light."""
    lightness = [20, 24, 45, 52, 77, 84]
    table = pd.DataFrame({"swatch_id": list("abcdef"), "lightness": lightness, "lightness_sigma": 0.6})
    with open_catalogue(who="test") as pile:
        pile.add(table, ground="red cotton", side="3in")
    return run


def test_photographs_are_added_once_however_often_they_are_named(run, tmp_path):
    """The pile would double each time she is not sure."""
    board(tmp_path / "good.png")
    (tmp_path / "spoilt.jpg").write_text("no photograph")

    photos = (tmp_path / "good.png", tmp_path / "spoilt.jpg")
    code, out, err = run("pile", "add", *photos, "--ground", "blue", "--surface", "wet")
    assert code == SOME_FAILED
    assert out.startswith("good.png: New: 7 pieces")
    assert "Not used: " in err and "spoilt.jpg" in err

    code, out, _ = run("pile", "add", tmp_path / "good.png", "--json")
    (photo,) = json.loads(out)["photos"]
    assert (code, photo["new"], photo["known_photo"]) == (ALL_WELL, [], "good.png")
    assert json.loads(run("pile", "list", "--json")[1])["total"] == 7
    assert run("pile", "add", tmp_path / "spoilt.jpg")[0] == NOTHING


def test_pieces_are_found_by_words(kept):
    """Mediums on red ground at least 3 inches, not yet used."""
    code, out, _ = kept("pile", "list", "medium", "ground=red cotton", "side>=3in", "not", "used")
    assert code == ALL_WELL
    lines = out.splitlines()
    assert [line.split()[0] for line in lines] == ["piece", "c", "d", "2"]
    assert lines[1].split()[1:7] == ["45.0", "0.6", "medium", "76", "at", "hand"]
    assert lines[-1] == "2 pieces."
    _, out, _ = kept("pile", "list", "--most", 2, "--from", 2, "--json")
    told = json.loads(out)
    assert (told["total"], [piece["swatch_id"] for piece in told["pieces"]]) == (6, ["c", "d"])
    code, _, err = kept("pile", "list", "grond=red")
    assert (code, "ground" in err) == (BAD_USAGE, True)


@pytest.mark.parametrize(
    ("word", "quoted"),
    [("ground=red cotton", 'ground="red cotton"'), ("ground=red", "ground=red"), ('state="at hand"', 'state="at hand"'),
     ("medium", "medium"), ("side>=3 in", 'side>="3 in"')],
)
def test_words_that_the_shell_held_together_stay_together(word, quoted):
    """Half a filter would be looked for as a word."""
    assert _requoted(word) == quoted


def test_a_piece_is_described_and_shown(kept):
    """Nothing said of it would be lost."""
    assert kept("pile", "note", "a", "--text", "like slate\nrubbed twice")[1] == "Note on a.\n"
    assert kept("pile", "note", "a", "--text", "third line", "--line")[0] == ALL_WELL
    assert kept("pile", "tag", "a", "b", "--add", "shiny")[1] == "Tag 2 pieces: a, b: shiny.\n"
    assert kept("pile", "put", "a", "--place", "drawer 3")[0] == ALL_WELL
    assert kept("pile", "describe", "a", "--paints", "pearl white", "--side", "3 1/2 in")[0] == ALL_WELL
    assert kept("pile", "rename", "a", "slate 1")[0] == ALL_WELL

    code, out, _ = kept("pile", "show", "slate 1")
    assert code == ALL_WELL
    for line in ("slate 1: at hand.", "ground: red cotton", "paints: pearl white", "side: 88.9 mm", "place: drawer 3",
                 "tags: shiny", "note: like slate", "note: rubbed twice", "note: third line"):
        assert line in out.splitlines()
    told = json.loads(kept("pile", "show", "slate 1", "--json")[1])
    assert told["note"] == "like slate\nrubbed twice\nthird line"
    assert told["reading"]["lightness"] == 20
    code, _, err = kept("pile", "show", "slate1")
    assert (code, "slate 1" in err) == (BAD_USAGE, True)


def test_pieces_are_set_aside_used_lost_and_found(kept):
    """A used piece would be chosen again."""

    def states():
        return {piece["swatch_id"]: piece["state"] for piece in json.loads(kept("pile", "list", "--json")[1])["pieces"]}

    kept("pile", "set-aside", "a", "b", "--project", "Wall")
    kept("pile", "use", "a", "--project", "Wall")
    kept("pile", "lose", "f")
    assert states() == {"a": "used", "b": "set aside", "c": "at hand", "d": "at hand", "e": "at hand", "f": "lost"}
    kept("pile", "release", "b")
    kept("pile", "find", "f")
    assert set(states().values()) == {"used", "at hand"}
    assert kept("pile", "use", "a")[0] == BAD_USAGE


def test_the_last_actions_are_undone_and_done_again(kept):
    """A slip of the hand would be for ever."""
    kept("pile", "tag", "a", "--add", "shiny")
    assert kept("pile", "undo")[1] == "Undone: Tag a: shiny.\n"
    assert json.loads(kept("pile", "show", "a", "--json")[1])["tags"] == []
    assert kept("pile", "redo")[1] == "Done again: Tag a: shiny.\n"
    code, out, _ = kept("pile", "actions", "--json")
    assert code == ALL_WELL
    assert [action["what"] for action in json.loads(out)["actions"]][-1].startswith("Add 6 pieces")


def test_a_piece_measured_again_shows_its_history(kept):
    """Wet paint reads differently cured."""
    again = pd.DataFrame({"swatch_id": ["a"], "lightness": [23.5], "lightness_sigma": 0.6})
    with open_catalogue() as pile:
        pile.add(again, surface="cured")
    code, out, _ = kept("pile", "history", "a")
    assert code == ALL_WELL
    assert "L* 20.0 ± 0.6" in out.splitlines()[0]
    assert "cured: L* 23.5 ± 0.6; 3.5 lighter" in out.splitlines()[1]
    assert len(json.loads(kept("pile", "history", "a", "--json")[1])["measurements"]) == 2


def test_two_names_of_one_piece_are_made_one(kept):
    """She sees that they are the same."""
    assert kept("pile", "same", "b", "a")[0] == ALL_WELL
    assert json.loads(kept("pile", "list", "--json")[1])["total"] == 5


def test_the_catalogue_is_backed_up_and_checked(kept, tmp_path):
    """She would find out too late."""
    code, out, _ = kept("pile", "backup", tmp_path / "safe.sqlite")
    assert (code, out) == (ALL_WELL, f"Written: {tmp_path / 'safe.sqlite'}\n")
    assert kept("pile", "check")[1] == "The catalogue is whole and agrees with itself.\n"
    assert kept("pile", "check", "--pile", tmp_path / "safe.sqlite")[0] == ALL_WELL
    (tmp_path / "noise.sqlite").write_bytes(b"\x00noise" * 1000)
    code, _, err = kept("pile", "check", "--pile", tmp_path / "noise.sqlite")
    assert code != ALL_WELL
    assert len(err.splitlines()) == 1


# --- the catalogue as a table ----------------------------------------------------------------------------------------


def test_stacks_are_chosen_from_what_is_at_hand_and_set_aside(kept):
    """A piece that was used cannot be laid again."""
    kept("pile", "use", "f")
    code, out, _ = kept("stacks", "pile", "--layers", 2, "--blocks", 2, "--set-aside", "Wall", "--json")
    told = json.loads(out)
    assert code == ALL_WELL
    chosen = {name for stack in told["stacks"] for name in stack["layers"]}
    assert "f" not in chosen
    listed = json.loads(kept("pile", "list", 'state="set aside"', "--json")[1])["pieces"]
    assert {piece["swatch_id"] for piece in listed} == chosen
    code, _, err = kept("stacks", "pile", "--layers", 2, "--blocks", 2)
    assert (code, "there are 1" in err) == (NOTHING, True)


def test_stacks_from_a_file_cannot_be_set_aside(kept, tmp_path):
    """She would believe they are."""
    file = tmp_path / "swatches.csv"
    file.write_text("swatch_id,lightness\na,10\nb,90\n")
    code, _, err = kept("stacks", file, "--layers", 2, "--blocks", 1, "--set-aside", "Wall")
    assert code == BAD_USAGE
    assert "Give `pile` as the table" in err


def test_a_plan_sets_its_pieces_aside_and_once_fused_uses_them(kept, tmp_path):
    """The pile would lie about what is left."""
    (tmp_path / "plan.toml").write_text(
        'title = "Wall"\nunits = "in"\ntable = "pile"\n[[block]]\nname = "Lantern"\ncount = 1\n'
        'prints = ["2 1/2", "1 3/4"]\nstacks = [["a", "f"]]\n'
    )
    code, out, err = kept("plan", tmp_path / "plan.toml", "--set-aside")
    assert code == ALL_WELL, err
    assert "Set aside 1 stack for Wall." in out
    assert json.loads(kept("pile", "show", "a", "--json")[1])["stacks"] == [["Wall", 1, 1]]
    code, out, _ = kept("plan", tmp_path / "plan.toml", "--fused")
    assert code == ALL_WELL
    assert json.loads(kept("pile", "show", "f", "--json")[1])["state"] == "used"


def test_a_study_of_the_catalogue_is_drawn(kept, tmp_path):
    """She wants to see what is left."""
    kept("pile", "use", "a")
    code, out, _ = kept("study", "pile", "--out", tmp_path / "study")
    assert code == ALL_WELL
    assert (tmp_path / "study" / "report.html").exists()
    assert len(pd.read_csv(tmp_path / "study" / "swatches.csv")) == 5
    code, _, err = kept("study", "pile", "--only", "tag=none", "--out", tmp_path / "none")
    assert (code, "Ask for others with --only" in err) == (NOTHING, True)


def test_groups_are_told_of_the_catalogue(kept):
    """The same sorting for a file and for the pile."""
    code, out, _ = kept("groups", "pile")
    assert code == ALL_WELL
    assert "dark: L* 0 to 40, 2 pieces" in out


def test_what_is_a_catalogue_and_what_a_file(tmp_path, monkeypatch):
    """A CSV file by the name of pile would never be read."""
    monkeypatch.chdir(tmp_path)
    assert is_catalogue("pile") and catalogue_at("pile") is None and catalogue_at(None) is None
    (tmp_path / "pile").write_text("swatch_id,lightness\na,10\n")
    assert not is_catalogue("pile")
    assert list(read_source("pile").table["swatch_id"]) == ["a"]
    with open_catalogue(tmp_path / "any.name") as pile:
        pile.add(pd.DataFrame({"swatch_id": ["b"], "lightness": [20.0]}))
    assert is_catalogue(tmp_path / "any.name") and catalogue_at(tmp_path / "any.name") == tmp_path / "any.name"
    assert list(read_source(tmp_path / "any.name").table["swatch_id"]) == ["b"]


HOSTILE = ["'; DROP TABLE swatches; --", "<script>alert(1)</script>", "../../etc/passwd", "🎨", "\u202eevil", "=1+1"]


def test_hostile_names_and_notes_come_and_go_as_text(run):
    """Nothing that is written down may run."""
    with open_catalogue() as pile:
        pile.add(pd.DataFrame({"swatch_id": HOSTILE, "lightness": 50.0}))
    for name in HOSTILE:
        code, _, err = run("pile", "note", "--text", f"note of {name}\0", "--", name)
        assert code == ALL_WELL, err
        told = json.loads(run("pile", "show", "--json", "--", name)[1])
        assert (told["name"], told["note"]) == (name, f"note of {name}\0")
    assert run("pile", "check")[0] == ALL_WELL
    assert "\u202e" not in run("pile", "list")[1]  # would turn the line round


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["pile"], "required: WHAT"),
        (["pile", "paint"], "invalid choice: 'paint'"),
        (["pile", "note", "a"], "required: --text"),
        (["pile", "add", "x.jpg", "--same", "ab"], "--same must be NEW=KNOWN"),
        (["pile", "undo", "--count", "x"], "invalid int value"),
        (["pile", "use", "nobody"], "'nobody'"),
        (["stacks", "pile", "--layers", "2", "--blocks", "1", "--only", "grond=x"], "ground"),
    ],
)
def test_bad_usage_of_the_pile_is_refused_in_words(kept, words, told):
    """A slip would end in a traceback."""
    code, out, err = kept(*words)
    assert (code, out) == (BAD_USAGE, "")
    assert told in err


@pytest.mark.parametrize("verb", ["add", "list", "show", "note", "tag", "set-aside", "use", "lose", "undo", "history",
                                  "export", "import", "backup", "check", "restore", "copy"])  # fmt: skip
def test_every_verb_has_help_that_says_where_the_pile_is(run, verb):
    """She would not know which file it is."""
    code, out, _ = run("pile", verb, "--help")
    assert code == ALL_WELL
    assert "CONTRASTKIT_PILE" in out


def test_pieces_go_out_to_a_file_and_come_in_again(kept, tmp_path):
    """An import says first what it would do, and can be undone."""
    file = tmp_path / "out.csv"
    assert kept("pile", "export", file, "dark")[1] == f"Written: {file}\n"
    file.write_text(file.read_text().replace("\na,", "\nz,"))

    code, out, _ = kept("pile", "import", file)
    assert code == ALL_WELL
    assert out.splitlines() == [
        "New: z.", "The same already: b.", "Nothing was changed. Say it again with --yes to do this."
    ]
    assert json.loads(kept("pile", "list", "--json")[1])["total"] == 6

    told = json.loads(kept("pile", "import", file, "--yes", "--json")[1])
    assert (told["new"], told["done"]) == (["z"], True)
    assert json.loads(kept("pile", "list", "--json")[1])["total"] == 7
    kept("pile", "undo")
    assert json.loads(kept("pile", "list", "--json")[1])["total"] == 6


def test_the_first_change_of_a_day_makes_a_backup_and_tells_where(kept, tmp_path):
    """Noise over the file would cost years."""
    _, _, err = kept("pile", "tag", "a", "--add", "shiny")
    assert err.startswith("Today's backup: ")
    backup = err.removeprefix("Today's backup: ").strip()
    assert kept("pile", "tag", "b", "--add", "shiny")[2] == ""
    assert kept("pile", "list")[2] == ""

    (tmp_path / "own" / "pile.sqlite").write_bytes(b"noise" * 5000)
    code, _, err = kept("pile", "list")
    assert (code, backup in err) == (NOTHING, True)
    code, out, _ = kept("pile", "restore", backup)
    assert code == ALL_WELL
    assert out.splitlines()[0] == f"Restored from {backup}."
    assert json.loads(kept("pile", "show", "a", "--json")[1])["tags"] == ["shiny"]


def test_a_catalogue_is_copied_whole(kept, tmp_path):
    """A studio would begin anew when it moves."""
    code, out, _ = kept("pile", "copy", tmp_path / "other.sqlite")
    assert (code, out) == (ALL_WELL, "Copied 6 pieces and all that is known of them, and compared it.\n")
    assert json.loads(kept("pile", "list", "--pile", tmp_path / "other.sqlite", "--json")[1])["total"] == 6
    assert kept("pile", "check", "--mend")[0] == ALL_WELL
