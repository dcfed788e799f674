"""A class pack: read from its file, complete, listed right, and written without losing anything."""

from __future__ import annotations

import datetime
import re
from pathlib import Path

import pdfplumber
import pytest
from demo import PHOTOS, demo_pile

from contrastkit.errors import InvalidInputError
from contrastkit.show import class_pack
from contrastkit.show.chart import save_pages
from contrastkit.show.class_pack import FIRST, make_pack, ready_place
from contrastkit.show.handout_kinds import HANDOUTS, handout_pages
from contrastkit.show.lessons import LESSONS
from contrastkit.show.pack_file import read_pack

MM = 72 / 25.4  # points
DEMO = PHOTOS.parent
TABLE = "swatch_id,lightness\n" + "".join(f"p{number},{8 * number + 10}\n" for number in range(10))


def pack_of(folder, text):
    file = folder / "class.toml"
    file.write_text(text, encoding="utf-8")
    return read_pack(file)


@pytest.fixture(scope="module")
def demo_written(tmp_path_factory):
    """The demo pack, as it is in the project, written once; its photographs measured once for all tests."""
    folder = tmp_path_factory.mktemp("pack")
    told = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(class_pack, "pile_at", lambda *_, **__: demo_pile())
        written = make_pack(read_pack(DEMO / "class.toml"), folder, told=lambda *each: told.append(each))
    return written, told


def rows_of(file):
    """The list on the first page: name, pages, copies, sheets of each row."""
    with pdfplumber.open(file) as document:
        text = "\n".join(page.extract_text() for page in document.pages)
    return [(name, *map(int, numbers)) for name, *numbers in re.findall(
        r"^(\d\d-[a-z0-9-]+) .*? (\d+) (\d+) (\d+) (?:you|each|the|one)\b", text, re.MULTILINE)]


# --- the whole pack ---------------------------------------------------------------------------------------------------


def test_the_demo_pack_is_complete(demo_written):
    """A handout or a chart would be missing, or one be there that nobody listed."""
    written, told = demo_written
    assert written.left_out == ()
    assert {each.kind for each in written.handouts} == set(HANDOUTS)
    assert [file.name for file in written.files] == [FIRST, *(each.file for each in written.handouts)]
    assert sorted(file.name for file in written.folder.iterdir()) == [file.name for file in written.files]
    assert [each.file[:2] for each in written.handouts] == [f"{at:02d}" for at in range(1, 1 + len(written.handouts))]
    charts = next(each for each in written.handouts if each.kind == "chart")
    assert charts.pages == len(LESSONS)
    assert [number for number, *_ in told] == list(range(1, len(told) + 1))
    assert told[0] == (1, len(told), "kit: 1 page")


def test_every_page_of_the_demo_pack_has_its_heading_paper_bars_and_fonts(demo_written):
    """A page would be nobody's, come out of the wrong tray, or not be true to size. Within 0.1 mm."""
    written, _ = demo_written
    for file in written.files:
        data = file.read_bytes()
        with pdfplumber.open(file) as document:
            for number, page in enumerate(document.pages, start=1):
                text = page.extract_text()
                assert "Thistlewick, six evenings of values in cloth" in text, file.name
                if not file.name[3:].startswith("outlines"):
                    assert f"26 March 2024, page {number} of {len(document.pages)}" in text or "values" in file.name
                assert sorted((page.width / MM, page.height / MM)) == pytest.approx((210, 297), abs=0.1)
                wide = [float(rect["width"]) / MM for rect in page.rects if 1.7 < rect["height"] / MM < 1.9]
                assert min(abs(side - 50) for side in wide) <= 0.1
                things = [*page.chars, *page.images]
                assert min(thing["x0"] for thing in things) >= 12 * MM - 0.6, file.name
                assert max(thing["x1"] for thing in things) <= page.width - 12 * MM + 0.6, file.name
                assert min(round(letter["size"], 1) for letter in page.chars) >= 8.0
                fonts = {letter["fontname"] for letter in page.chars}
                assert all(re.search("Atkinson|DejaVu", name) for name in fonts)
        assert b"/FontFile2" in data


def test_the_first_page_lists_every_handout_with_the_right_counts(demo_written):
    """Too few copies would lie on the table, or paper run out. Counted anew from the files themselves."""
    written, _ = demo_written
    rows = rows_of(written.folder / FIRST)
    assert [name for name, *_ in rows] == [each.file.removesuffix(".pdf") for each in written.handouts]
    total = 0
    for name, pages, copies, sheets in rows:
        with pdfplumber.open(written.folder / f"{name}.pdf") as document:
            assert len(document.pages) == pages, name
        assert sheets == pages * copies, name
        total += sheets
    copies = {name[3:]: copies for name, _, copies, _ in rows}
    assert copies["exercise-3"] == copies["exercise-4"] == copies["outlines-1"] == 12
    assert copies["grey-scale"] == 14
    assert copies["kit"] == copies["key-3"] == copies["results"] == copies["plan"] == copies["charts"] == 1
    assert copies["photographing"] == copies["contact-sheet"] == 3
    with pdfplumber.open(written.folder / FIRST) as document:
        (page,) = document.pages
        text = page.extract_text()
    assert text.startswith(f"18 handouts for 12 learners: {total} sheets of paper")
    assert written.sheets == total
    assert "100 %" in text
    assert "50 mm and 2 in" in text
    assert "Bryony, Campion, Fennel" in text
    assert "In colour: 05, 06, 07, 09, 11, 13 and 14; a grey copy of an exercise gives its answer away." in text


def test_the_pack_says_what_to_do_next(demo_written):
    """A teacher would not know which file to open first."""
    written, _ = demo_written
    assert written.sentences[0] == f"18 handouts for 12 learners: {written.sheets} sheets of paper."
    assert written.sentences[-1].startswith(f"Next: print {FIRST} at 100 %")


def test_letter_pages_list_fits_on_one_page_too(tmp_path, monkeypatch):
    """The list of a whole pack would end with its total on a page of its own."""
    monkeypatch.setattr(class_pack, "pile_at", lambda *_, **__: demo_pile())
    text = (DEMO / "class.toml").read_text(encoding="utf-8").replace('"A4"', '"Letter"')
    text = text.replace('pile = "photos"', f'pile = "{PHOTOS}"\nhandouts = ["kit", "exercise", "key", "results"]')
    text = text.replace('"plan.toml"', f'"{DEMO / "plan.toml"}"').replace('"orders.csv"', f'"{DEMO / "orders.csv"}"')
    written = make_pack(pack_of(tmp_path, text.replace('"photos/', f'"{PHOTOS}/')), tmp_path / "out")
    assert [each.kind for each in written.handouts] == ["kit", "exercise", "exercise", "key", "key", "results"]
    for file in written.files:
        with pdfplumber.open(file) as document:
            for page in document.pages:
                assert (page.width / MM, page.height / MM) == pytest.approx((215.9, 279.4), abs=0.1)
    made = [class_pack.PrintedHandout("kit", "x" * 20, f"{at:02d}-kit.pdf", 1, 1, "you") for at in range(16)]
    words = f"14 teaching charts: {', '.join(LESSONS)}"
    charts = class_pack.PrintedHandout("chart", words, "17-charts.pdf", 14, 1, "the wall")
    assert len(class_pack._first_page(read_pack(tmp_path / "class.toml"), [*made, charts], [])) == 1


# --- good defaults ----------------------------------------------------------------------------------------------------


def test_a_heading_and_a_pile_are_enough(tmp_path, monkeypatch):
    """A teacher would have to learn the file first. All that the pile allows, with two studies and two exercises."""
    monkeypatch.setattr(class_pack, "pile_at", lambda *_, **__: demo_pile())
    pack = pack_of(tmp_path, f'heading = "Tuesday"\npile = "{PHOTOS}"')
    items = class_pack._items(pack, demo_pile().table, demo_pile().crops)
    assert [item.name for item in items] == [
        "kit", "cautions", "photographing", "grey-scale", "contact-sheet", "charts", "values-1", "values-2",
        "exercise-1", "exercise-2", "key-1", "key-2",
    ]  # fmt: skip
    assert "swatch" in items[6].said
    assert len(items[7].said["stack"]) == 3
    assert [item.said["level"] for item in items[8:10]] == ["far apart", "vivid"]
    assert pack.learners == 12


def test_a_table_gives_all_that_needs_no_pictures_and_says_why_the_rest_is_missing(tmp_path):
    """One thing that cannot be had would cost the whole pack, or go missing without a word."""
    (tmp_path / "swatches.csv").write_text(TABLE)
    text = 'heading = "Tuesday"\npile = "swatches.csv"\nlearners = 5\ncharts = ["balance", "vivid"]\n'
    written = make_pack(pack_of(tmp_path, text), tmp_path / "out")
    kinds = {each.kind for each in written.handouts}
    assert kinds == set(HANDOUTS) - {"exercise", "key", "results", "plan"}
    reasons = {each.words: each.reason for each in written.left_out}
    assert reasons["Exercise 1, far apart: 10 pieces"].startswith("An exercise is made of the pictures of its pieces;")
    assert "Chart vivid" in reasons
    with pdfplumber.open(written.folder / FIRST) as document:
        listed = " ".join(" ".join(page.extract_text() for page in document.pages).split())
    for words, reason in reasons.items():
        assert f"{words}: {reason[:60]}" in listed
        assert any(f"Left out: {words}. {reason}" == sentence for sentence in written.sentences)


def test_a_pack_without_a_pile_still_prints_what_needs_none(tmp_path):
    """A teacher without photographs yet would get nothing."""
    written = make_pack(pack_of(tmp_path, 'heading = "Tuesday"\nlearners = ["Ash", "Yew"]'), tmp_path / "out")
    assert [each.kind for each in written.handouts] == ["kit", "cautions", "photographing", "grey-scale"]
    assert written.learners == 2
    (left_out,) = written.left_out
    assert left_out.words == "contact-sheet, chart, values, exercise and key"
    assert left_out.reason == "The pack names no pile to draw them from. Add one."


def test_a_pack_of_nothing_is_refused(tmp_path):
    """An empty folder would be called a pack."""
    pack = pack_of(tmp_path, 'heading = "Tuesday"\nhandouts = ["exercise"]')
    with pytest.raises(InvalidInputError, match=r"must have a handout; nothing .* The pack names no pile to"):
        make_pack(pack, tmp_path / "out")
    pack = pack_of(tmp_path, 'heading = "Tuesday"\nhandouts = ["plan"]')
    with pytest.raises(InvalidInputError, match=r"^A class pack must have a handout; it asks for none\. Add a pile"):
        make_pack(pack, tmp_path / "out")
    (tmp_path / "few.csv").write_text("swatch_id,lightness\na,50\n")
    pack = pack_of(tmp_path, 'heading = "Tuesday"\npile = "few.csv"\nhandouts = ["exercise"]')
    with pytest.raises(InvalidInputError, match=r"nothing that was asked for could be made\. An exercise is made of"):
        make_pack(pack, tmp_path / "out")
    assert list((tmp_path / "out").iterdir()) == []


def test_a_photograph_that_cannot_be_used_is_named_and_the_others_are_used(tmp_path):
    """One bad photograph would cost the class its evening, or be missing without a word."""
    import shutil

    (tmp_path / "photos").mkdir()
    shutil.copy(PHOTOS / "morning-card.jpg", tmp_path / "photos")
    (tmp_path / "photos" / "torn.jpg").write_bytes((PHOTOS / "noon-chart.jpg").read_bytes()[:3000])
    text = 'heading = "Tuesday"\npile = "photos"\nhandouts = ["contact-sheet"]'
    written = make_pack(pack_of(tmp_path, text), tmp_path / "out")
    assert [each.kind for each in written.handouts] == ["contact-sheet"]
    assert written.failed == 1
    assert written.left_out[0].words == "the photograph torn.jpg"


# --- the file ---------------------------------------------------------------------------------------------------------


def test_all_that_can_be_said_is_read(tmp_path):
    """A key of the file would do nothing."""
    for name in ("plan.toml", "orders.csv", "p.jpg"):
        (tmp_path / name).write_text("x")
    pack = pack_of(tmp_path, """
heading = "  Tuesday   evenings "
paper = "Letter"
date = 2026-11-25
learners = ["Ash", "  Old   Yew "]
pieces = 7
pile = ["a", "b"]
only = "red"
handouts = ["values", "kit"]
charts = ["rim", "balance"]
plan = "plan.toml"
orders = "orders.csv"
[grey-scale]
steps = 5
[[exercise]]
count = 8
level = "vivid"
seed = 9
[[values]]
stack = ["x", "y"]
values = 2
[[values]]
photo = "p.jpg"
method = "named"
[[values]]
swatch = "z"
""")
    assert (pack.heading, pack.paper, pack.made) == ("Tuesday evenings", "Letter", datetime.date(2026, 11, 25))
    assert (pack.learners, pack.names, pack.pieces, pack.steps) == (2, ("Ash", "Old Yew"), 7, 5)
    assert (pack.pile, pack.only) == ((tmp_path / "a", tmp_path / "b"), "red")
    assert (pack.handouts, pack.charts) == (("kit", "values"), ("rim", "balance"))
    assert (pack.plan, pack.orders) == (tmp_path / "plan.toml", tmp_path / "orders.csv")
    assert pack.exercises == ({"count": 8, "level": "vivid", "seed": 9},)
    assert pack.studies == (
        {"method": "fixed", "values": 2, "stack": ("x", "y")}, {"method": "named", "photo": tmp_path / "p.jpg"},
        {"method": "fixed", "swatch": "z"},
    )  # fmt: skip


def test_a_catalogue_is_named_by_its_word_or_address(tmp_path):
    """The catalogue would be looked for among the photographs."""
    from contrastkit.keep.sources import catalogue_at, is_catalogue

    (word,) = pack_of(tmp_path, 'heading = "T"\npile = "pile"').pile
    assert is_catalogue(word)
    assert catalogue_at(word) is None
    assert pack_of(tmp_path, 'heading = "T"\npile = "postgresql://school/pile"').pile == ("postgresql://school/pile",)


def test_a_date_may_be_text_or_have_a_time(tmp_path):
    """A date in quotes, as people write it, would be refused."""
    assert pack_of(tmp_path, 'heading = "T"\ndate = "2026-11-25"').made == datetime.date(2026, 11, 25)
    assert pack_of(tmp_path, 'heading = "T"\ndate = 2026-11-25T18:30:00').made == datetime.date(2026, 11, 25)


@pytest.mark.parametrize(("text", "message"), [
    ("", r"^'class\.toml': heading must be there, as text such as \"Tuesday class\"; it is missing\. Add it\.$"),
    ("heading = 3", r"^'class\.toml': heading must be text; got 3\. Put it in quotes\.$"),
    (f'heading = "{"a" * 10_000}"', r"^'class\.toml': A heading must have 120 letters or fewer; got 10,000\. Sh"),
    ('heading = "T"\nhandout = "all"', r"every key must be a known one; got 'handout', and the nearest is 'handouts'"),
    ('heading = "T"\nsteps = 5', r"got 'steps', which belongs in grey-scale\. Move it there\.$"),
    ('heading = "T"\npaper = "A3"', r"^'class\.toml': paper must be 'A4' or 'Letter'; got 'A3'\. Write one of"),
    ('heading = "T"\ndate = "soon"', r"date must be a date such as 2026-11-25; got 'soon'\. Correct it\.$"),
    ('heading = "T"\ndate = 7', r"date must be a date such as 2026-11-25; got 7\. Correct it\.$"),
    ('heading = "T"\nlearners = 0', r"learners must be a whole number from 1 to 200; got 0\. Correct it\.$"),
    ('heading = "T"\nlearners = []', r"learners must be a number, or a list of 1 to 200 names; got \[\]\. Correct"),
    ('heading = "T"\nlearners = ["a", 3]', r"or a list of 1 to 200 names; got \['a', 3\]\. Correct it\.$"),
    (f'heading = "T"\nlearners = ["{"a" * 10_000}"]', r"a learner's name must have 80 letters or fewer; got 10,000\."),
    ('heading = "T"\nlearners = ["Ash", "Ash"]', r"each learner must have a name of their own; got 'Ash' twice\. Add"),
    ('heading = "T"\npieces = 501', r"pieces must be a whole number from 1 to 500; got 501\. Correct it\.$"),
    ('heading = "T"\npile = 3', r"pile must be text, or a list of texts; got 3\. Put each in quotes\.$"),
    ('heading = "T"\npile = [" "]', r"pile must be text, or a list of texts; got \[' '\]\. Put each in quotes\.$"),
    ('heading = "T"\npile = "a\\u0000b"', r"pile must name files or folders; got \('a\\x00b',\)\. Correct the name\.$"),
    ('heading = "T"\nhandouts = "kits"', r"handouts must be 'all' or a list of kinds; got 'kits', and the nearest is"),
    ('heading = "T"\ncharts = ["zzz"]', r"charts must be 'all' or a list of kinds; got 'zzz', and there are grey-sc"),
    ('heading = "T"\nplan = "none.toml"', r"plan must name a file beside the pack; there is none at 'none\.toml'\."),
    ('heading = "T"\norders = "a\\u0000b"', r"orders must name a file beside the pack; there is none at 'a\\x00b'\."),
    ('heading = "T"\n[grey-scale]\nsteps = 7', r"grey-scale: steps must be 5, 9 or 11; got 7\. Write one of these\.$"),
    ('heading = "T"\ngrey-scale = 3', r"grey-scale must be a table; got 3\. Write its keys under a heading \[grey"),
    ('heading = "T"\n[[exercise]]\nlevel = "hard"', r"exercise 1: level must be 'far apart' or 'vivid'; got 'hard'\."),
    ('heading = "T"\n[[exercise]]\ncount = 41', r"exercise 1: count must be a whole number from 1 to 40; got 41\."),
    ('heading = "T"\n[[exercise]]\nseed = 0', r"exercise 1: seed must be a whole number from 1 to 999999999; got 0\."),
    ('heading = "T"\n[exercise]\nseed = 1', r"exercise must be tables; got .*\. Write the keys of each under a headin"),
    ('heading = "T"\n[[values]]\nvalues = 4', r"study 1: values must be 2, 3, 5 or 9; got 4\. Write one of these\.$"),
    ('heading = "T"\n[[values]]\nmethod = "any"', r"study 1: method must be 'fixed' or 'natural' or 'named'; got 'an"),
    ('heading = "T"\n[[values]]\nswatch = "a"\nstack = ["b"]', r"study 1: a study must be of one thing; got swatch an"),
    ('heading = "T"\n[[values]]\nphoto = "no.jpg"', r"study 1: photo must name a file beside the pack; there is none"),
    ("heading = ", r"^A class pack must be a TOML file; '.*class\.toml' cannot be read: .*\. Correct it there\.$"),
])
def test_what_cannot_be_right_is_refused_with_its_place(text, message, tmp_path):
    """A teacher would look for a slip in the whole file, or print a pack of another class."""
    with pytest.raises(InvalidInputError, match=message):
        pack_of(tmp_path, text)


def test_a_file_that_is_not_there_or_no_pack_is_refused(tmp_path):
    """A traceback would be shown."""
    with pytest.raises(InvalidInputError, match=r"^There is no file '.*none\.toml'\. Check the name and the folder\.$"):
        read_pack(tmp_path / "none.toml")
    with pytest.raises(InvalidInputError, match=r"^A class pack must be a file; '.*' is a folder\. Name the file"):
        read_pack(tmp_path)
    (tmp_path / "large.toml").write_text("#" * 1_000_001)
    with pytest.raises(InvalidInputError, match=r"^A class pack must be a TOML file of at most a megabyte; '.*' has "):
        read_pack(tmp_path / "large.toml")
    with pytest.raises(InvalidInputError, match=r"^A class pack must be a TOML file; .*: it is not UTF-8 text\. Corr"):
        read_pack(PHOTOS / "noon-chart.jpg")


def test_orders_that_cannot_be_read_stop_the_pack_before_anything_is_drawn(tmp_path):
    """A class would wait a minute to be told of a slip in a table."""
    (tmp_path / "orders.csv").write_text("learner,date,order\nAhs,2026-11-25,1 2 3\n")
    pack = pack_of(tmp_path, 'heading = "T"\nlearners = ["Ash"]\norders = "orders.csv"')
    with pytest.raises(InvalidInputError, match=r"row 2: learner must be one of the class; got 'Ahs', and the nearest"):
        make_pack(pack, tmp_path / "out")


# --- the folder -------------------------------------------------------------------------------------------------------


def small(folder, handouts='["kit", "cautions"]', heading="Tuesday"):
    return make_pack(pack_of(folder, f'heading = "{heading}"\nhandouts = {handouts}'), folder / "out")


def test_a_smaller_pack_takes_away_what_an_earlier_one_had_more_of(tmp_path):
    """A class would be given last week's sheets."""
    small(tmp_path, '["kit", "cautions", "photographing"]')
    (tmp_path / "out" / "notes.txt").write_text("mine")
    (tmp_path / "out" / "04-my-own.pdf").write_bytes(b"mine")
    small(tmp_path, '["cautions"]')
    assert sorted(file.name for file in (tmp_path / "out").iterdir()) == [
        "00-class-pack.pdf", "01-cautions.pdf", "04-my-own.pdf", "notes.txt"]


@pytest.mark.parametrize("name", [FIRST, "01-kit.pdf", "07-values-2.pdf", "99-charts.pdf"])
def test_a_file_that_no_pack_wrote_is_never_replaced(name, tmp_path):
    """Somebody's own page would be lost. Even a PDF that was printed from here by another command."""
    (tmp_path / "out").mkdir()
    save_pages(handout_pages("cautions"), tmp_path / "out" / name)
    before = (tmp_path / "out" / name).read_bytes()
    message = rf"^A class pack replaces only what a class pack wrote; '.*out' already holds '{name}'\. Name another"
    with pytest.raises(InvalidInputError, match=message):
        small(tmp_path)
    assert (tmp_path / "out" / name).read_bytes() == before
    assert [file.name for file in (tmp_path / "out").iterdir()] == [name]


def test_a_folder_that_cannot_be_written_to_is_refused(tmp_path):
    """A traceback would be shown after a minute of work."""
    (tmp_path / "out").write_text("a file")
    with pytest.raises(InvalidInputError, match=r"^The folder to write to must be a folder; '.*out' is a file\. Name"):
        small(tmp_path)


def test_a_file_that_must_stay_is_not_written_over(tmp_path):
    """A photograph that lies under a pack's name would be lost."""
    written = small(tmp_path)
    with pytest.raises(InvalidInputError, match=r"^What is measured must not be written over; '.*01-kit\.pdf'"):
        ready_place(written.folder, [written.folder / "01-kit.pdf"])


def test_nothing_half_made_stays_when_it_fails(tmp_path, monkeypatch):
    """A folder of half a pack would be printed."""
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    small(tmp_path)
    before = {file.name: file.read_bytes() for file in (tmp_path / "out").iterdir()}
    monkeypatch.setattr("contrastkit.show.chart.save_pages", full)
    with pytest.raises(InvalidInputError, match=r"must be open to writing; the system says: No space left on device\."):
        small(tmp_path)
    assert {file.name: file.read_bytes() for file in (tmp_path / "out").iterdir()} == before


@pytest.mark.parametrize("heading", [
    "<img src=x onerror=alert(1)>", "../../../etc/passwd\\u0000", "\\u202eWerte \U0001f33f", "W" * 120,
])
def test_hostile_headings_stay_text_and_stay_in_the_folder(heading, tmp_path):
    """A heading would be obeyed, or choose where a file goes."""
    written = small(tmp_path, '["cautions"]', heading)
    assert [file.name for file in written.files] == [FIRST, "01-cautions.pdf"]
    assert sorted(file.name for file in tmp_path.iterdir()) == ["class.toml", "out"]
    with pdfplumber.open(written.folder / FIRST) as document:
        page = document.pages[0]
        assert max(letter["x1"] for letter in page.chars) <= page.width - 12 * MM + 0.6
        assert "2 handouts" in page.extract_text() or "1 handout" in page.extract_text()


def test_hostile_names_of_learners_stay_text(tmp_path):
    """A name would be obeyed, or run off the page."""
    names = ["<b>Ash</b>", "../Yew", "A\\u0000B", "Elm \U0001f333", "\\u202eOak", "W" * 80]
    listed = ", ".join(f'"{name}"' for name in names)
    text = f'heading = "T"\nlearners = [{listed}]\nhandouts = ["cautions"]'
    written = make_pack(pack_of(tmp_path, text), tmp_path / "out")
    with pdfplumber.open(written.folder / FIRST) as document:
        page = document.pages[0]
        assert "<b>Ash</b>, ../Yew" in page.extract_text()
        assert max(letter["x1"] for letter in page.chars) <= page.width - 12 * MM + 0.6
    assert isinstance(written.folder, Path)
