"""The report: complete, self-contained, and unmoved by what names and notes may hold."""

import base64
import datetime
import json
import re
from html.parser import HTMLParser

import cv2
import numpy as np
import pandas as pd
import pytest
from made_pile import BREAKS, made_crops, made_table

from contrastkit.columns import FLAGS, SWATCHES, empty_table
from contrastkit.compose.groups import fixed_breaks, grouping_sentence
from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import srgb1_to_lightness
from contrastkit.show.choice import best_stacks
from contrastkit.show.drawing import Drawing, Shape
from contrastkit.show.markup import drawing_svg
from contrastkit.show.outlines import draw_outlines
from contrastkit.show.pairs import all_pairs
from contrastkit.show.pieces import pieces_dark_to_light
from contrastkit.show.report import Failure, PhotoPage, write_report

DATE = datetime.date(2031, 4, 2)
VOID = {"meta", "img", "input", "br", "path", "rect", "line", "use", "image"}


class Page(HTMLParser):
    """What a reader of the page gets: its elements, its text, its headings; tags must be balanced."""

    def __init__(self, text):
        super().__init__()
        self.elements, self.words, self.headings, self.open = [], [], [], []
        self.feed(text)
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag):
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" in self.open:
            return
        self.words.append(data)
        self.headings += [(int(tag[1]), data) for tag in self.open if re.fullmatch("h[1-6]", tag)]

    @property
    def text(self):
        return re.sub(r"\s+", " ", " ".join(self.words))

    def all(self, tag):
        return [attrs for name, attrs in self.elements if name == tag]


def made_pages(table, size=(1200, 1600)):
    """Photographs of grainy boards on which the pieces lie where the table says."""
    rng = np.random.default_rng(7)
    grain = rng.normal(0, 6, (*size, 1))
    return [
        PhotoPage(
            name, np.clip(205 - 60 * i + grain + np.zeros(3), 0, 255).astype(np.uint8), 2.5, f"State of {name}.",
            ((100.0, 100.0), (100.0, 400.0), (400.0, 400.0), (400.0, 100.0)), (f"A note on {name}.",),
        )
        for i, name in enumerate(sorted(set(table["photo"])))
    ]


def report(
    folder, table, *, crops=None, pages=(), failures=(), breaks=BREAKS, title="A finding", sentences=("State.",),
    stacks=False,
):
    crops = made_crops(table, size=80) if crops is None else crops
    path = write_report(
        folder, table, crops, pages, failures, breaks, title=title, sentences=sentences, made=DATE,
        best=best_stacks(table, crops) if stacks else None,
    )
    return path.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    table = made_table(12)
    failures = [Failure("veil.jpg", "The card is burnt out. Photograph again with less exposure.")]
    text = report(tmp_path_factory.mktemp("study"), table, pages=made_pages(table), failures=failures, stacks=True)
    return table, text, Page(text)


# What it says.


def test_the_state_and_the_next_step_come_first(study):
    """A reader would have to look for what was found and what to do."""
    _, text, page = study
    header = Page(re.search("<header>.*</header>", text, flags=re.DOTALL)[0])
    assert header.headings == [(1, "A finding")]
    assert "State." in header.text
    assert "Look at the 2 pieces to check" in header.text
    assert [attrs["href"] for attrs in header.all("a") if attrs.get("class") == "next"] == ["#check"]


def test_every_photograph_is_there_with_its_state_and_notes(study):
    """A photograph, its state or a note on it would be missing."""
    table, _, page = study
    for photo in set(table["photo"]):
        assert (3, photo) in page.headings
        assert f"State of {photo}." in page.text
        assert f"A note on {photo}." in page.text


def test_every_piece_is_there_from_dark_to_light_with_all_its_words(study):
    """A piece, a number, a group or a warning would be missing, or out of order."""
    table, text, _ = study
    cells = re.findall(r'<li class="piece".*?</li>', text, flags=re.DOTALL)
    pieces = pieces_dark_to_light(table)
    assert len(cells) == len(pieces) == 12
    for cell, piece in zip(cells, pieces, strict=True):
        words = Page(cell).text
        assert piece.swatch_id in words
        assert f"lightness L* {piece.lightness:.0f} ± {max(1, round(piece.sigma))} " in words
        assert f"Munsell value {piece.value:.1f} " in words
        assert piece.group in words
        for flag in piece.flags:
            assert re.search(rf"Check: [^<]*{flag}", words)
        if piece.borderline:
            assert "borderline" in words


def test_each_piece_lies_beside_a_grey_of_its_lightness(study):
    """The eye would compare a piece with the wrong grey. Half an 8-bit code is at most 0.25 L* above L* 8."""
    table, text, _ = study
    greys = re.findall(r'<span style="background:#(\w\w)(\w\w)(\w\w)" aria-hidden="true">', text)
    lightness = sorted(table["lightness"])
    assert len(greys) == 12
    for grey, wanted in zip(greys, lightness, strict=True):
        assert len(set(grey)) == 1
        assert float(srgb1_to_lightness([int(grey[0], 16) / 255] * 3)) == pytest.approx(wanted, abs=0.25)


def test_the_picture_of_a_piece_keeps_its_lightness(tmp_path):
    """The picture in the page would be lighter or darker than the piece. One 8-bit code of slack, for the JPEG."""
    table = made_table(1).assign(lightness=62.0, outline="[[0, 0], [0, 9], [9, 9], [9, 0]]")
    text = report(tmp_path, table, crops=made_crops(table, size=900))
    data = re.search(r'src="data:image/jpeg;base64,([^"]+)" alt="a-01:', text)[1]
    pixels = cv2.imdecode(np.frombuffer(base64.b64decode(data), np.uint8), cv2.IMREAD_COLOR)[..., ::-1] / 255
    linear = np.where(pixels <= 0.04045, pixels / 12.92, ((pixels + 0.055) / 1.055) ** 2.4) @ [0.2126, 0.7152, 0.0722]
    assert max(pixels.shape) == 320
    assert 116 * np.cbrt(linear.mean()) - 16 == pytest.approx(62.0, abs=0.4)


def test_the_groups_section_says_the_balance_and_whether_there_are_groups(study):
    """The reader would take edges of convenience for groups of the pile's own."""
    table, _, page = study
    assert grouping_sentence(table["lightness"], BREAKS) in page.text
    for group, count in table["group"].value_counts().items():
        assert re.search(rf"{group} +[\d.]+–[\d.]+ +{count} ", page.text)


@pytest.mark.parametrize("flag", FLAGS, ids=lambda flag: flag.name)
def test_every_flag_comes_with_its_meaning_and_remedy(flag, tmp_path):
    """Something would be called wrong without a word on what to do."""
    table = made_table(3).assign(flags=[flag.name, "", ""])
    page = Page(report(tmp_path, table, crops={}))
    assert (3, f"{flag.name.capitalize()}: 1 piece") in page.headings
    assert flag.meaning in page.text
    assert flag.remedy in page.text
    assert (2, "1 piece to check") in page.headings


def test_photographs_that_failed_are_named_with_the_reason(study):
    """A photograph would vanish without a word."""
    _, _, page = study
    assert (2, "1 photograph could not be used") in page.headings
    assert "veil.jpg The card is burnt out. Photograph again with less exposure." in page.text


def test_the_method_is_told(study):
    """A friend could not know what the numbers mean."""
    _, _, page = study
    for words in ("2 April 2031", "A grey card in the photograph", "ASTM D1535", "two times in three",
                  "dark up to L* 40, medium up to 70, light above", "Screens and paper show colours"):
        assert words in page.text


def test_a_vivid_piece_says_how_light_it_looks(tmp_path):
    """A red would be taken for as dark as its L*; a dull piece needs no such word."""
    table = made_table(2).assign(lightness=[40.0, 60.0], lightness_apparent_low=[43.0, 60.5],
                                 lightness_apparent_high=[52.0, 61.0])
    page = Page(report(tmp_path, table, crops={}))
    assert page.text.count("looks 43–52") == 1
    assert "looks 60" not in page.text and "looks 61" not in page.text


# Pairs and stacks.


def test_the_pairs_say_their_finding_in_words_and_in_a_drawing(study):
    """The reader would not know which pieces go together."""
    table, text, page = study
    pairs = all_pairs(table)
    assert (2, pairs.finding) in page.headings
    assert pairs.how in page.text
    part = Page(re.search('<section id="pairs".*?</section>', text, flags=re.DOTALL)[0])
    drawings = [attrs for attrs in part.all("svg") if attrs.get("role") == "img"]
    assert [attrs["class"] for attrs in drawings] == ["drawn pairs wide", "drawn pairs medium", "drawn pairs narrow"]
    assert {attrs["aria-label"] for attrs in drawings} == {pairs.description}


def test_every_square_of_the_pairs_is_on_the_page(study):
    """A pair would be missing from the page. The wide drawing has one filled square for each that is not lost."""
    table, text, _ = study
    wide = re.search('<svg class="drawn pairs wide".*?</svg>', text, flags=re.DOTALL)[0]
    boxes = re.findall(r'x="([\d.]+)" y="[^"]*" width="([\d.]+)" height="([\d.]+)" style="fill:var\(--(\w+)\)', wide)
    cells = [box for box in boxes if float(box[0]) > 25 and box[1] == box[2] and box[3] in ("text", "secondary")]
    assert len(cells) == sum(all_pairs(table).counts[1:5])  # left of 25 px stands the key


def test_the_stacks_are_drawn_and_told_bottom_first(study):
    """She would cut the wrong piece large, or not know how the stacks were chosen."""
    table, text, page = study
    best = best_stacks(table, {})
    assert len(best.drawn) == 2
    assert (2, best.finding) in page.headings
    assert best.how in page.text
    cells = re.findall(r'<li class="stack">.*?</ol></li>', text, flags=re.DOTALL)
    lightness = table.set_index("swatch_id")["lightness"]
    for cell, stack in zip(cells, best.drawn, strict=True):
        picture, grey = Page(cell).all("img")
        assert picture["alt"] == stack.description and grey["alt"] == f"Stack {stack.number} in grey."
        names = re.findall("<bdi>(.*?)</bdi>", cell)
        assert names == [piece.swatch_id for piece in stack.layers]
        words = Page(cell).text
        places = [words.index(f"{name} L* {lightness[name]:.0f}") for name in names]
        assert places == sorted(places)
        assert stack.verdict in words
        steps = re.findall(r"step of ([\d.]+)", words)
        assert [round(float(step)) for step in steps] == [round(abs(seam.step)) for seam in stack.seams]
        bold = re.findall(r"<strong>([\d.]+)</strong>", cell)
        assert bold == [str(stack.number), steps[stack.weakest]]
        for width, grey_of, name in re.findall(
            r'style="width:([\d.]+)%;background:#(\w\w)\w+"></span></span><span><bdi>(.*?)</bdi>', cell):
            assert float(width) == pytest.approx(lightness[name], abs=0.051)
            assert float(srgb1_to_lightness([int(grey_of, 16) / 255] * 3)) == pytest.approx(lightness[name], abs=0.25)


def test_what_the_stacks_leave_over_is_named(tmp_path):
    """She would not know what she still has."""
    table = made_table(13, seed=4)
    page = Page(report(tmp_path, table, stacks=True))
    best = best_stacks(table, {})
    left = table[table["swatch_id"].isin(best.choice.left_over)].sort_values("lightness")["swatch_id"]
    assert f"Left over, {len(left)} piece{'s' if len(left) > 1 else ''}: {', '.join(left)}." in page.text


def test_a_stack_on_a_background_lies_on_it(tmp_path):
    """It would be judged against another ground than the cloth it is for. L* 30 is #474747."""
    from contrastkit.compose.choosing import choose_stacks
    from contrastkit.show.choice import BestStacks, draw_stacks

    table = made_table(6)
    choice = choose_stacks(table, layers=3, blocks=1, order="alternating", background=30.0)
    best = BestStacks(choice, "As asked.", draw_stacks(choice, table, {}, background=30.0, side=90))
    path = write_report(tmp_path, table, {}, [], [], BREAKS, title="T", sentences=[], best=best)
    cell = re.search(r'<li class="stack">.*?</ol></li>', path.read_text(encoding="utf-8"), flags=re.DOTALL)[0]
    assert cell.count('class="mat" style="background:#474747"') == 2
    assert re.findall("<bdi>(.*?)</bdi>", cell) == ["background", *choice.stacks[0].layers]
    assert Page(cell).text.count("step of") == 3


@pytest.mark.parametrize(("count", "words"), [(1, "1 piece"), (2, "2 pieces")])
def test_a_pile_too_small_for_stacks_says_so_in_one_sentence(tmp_path, count, words):
    """The reader would look for what the others have."""
    table = made_table(count)
    page = Page(report(tmp_path, table, stacks=True))
    assert f"There is no stack of three to show: {words} measured." in page.text
    assert not [heading for _, heading in page.headings if "stack" in heading or "pair" in heading] or count == 2
    assert ("#pairs" in {attrs["href"] for attrs in page.all("a")}) == (count == 2)
    assert "#stacks" not in {attrs["href"] for attrs in page.all("a")}


# Hard cases.


def test_a_study_in_which_every_photograph_failed_still_makes_a_report(tmp_path):
    """The one page that says why nothing was measured would itself fail."""
    failures = [Failure("a.jpg", "It is empty."), Failure("b.jpg", "It is no photograph.")]
    page = Page(report(tmp_path, empty_table(SWATCHES), failures=failures, title="No piece was measured"))
    assert "See why no piece was measured" in page.text
    assert [heading for level, heading in page.headings if level == 2] == [
        "2 photographs could not be used", "How it was measured"]


def test_a_table_with_an_empty_column_of_groups_is_sorted(tmp_path):
    """A column that was never filled in would leave every piece without a group."""
    table = made_table(6)
    page = Page(report(tmp_path, table.assign(group=""), crops={}))
    assert re.search(rf"medium +40–70 +{(table['group'] == 'medium').sum()} ", page.text)


def test_a_table_of_lightness_alone_makes_a_report(tmp_path):
    """Whoever brings numbers without photographs would get nothing."""
    table = pd.DataFrame({"swatch_id": ["a", "b", "c"], "lightness": [20.0, np.nan, 80.0]})
    page = Page(report(tmp_path, table, crops={}, breaks=fixed_breaks([50])))
    assert page.text.count("no picture") == 3
    assert (3, "Lightness unknown: 1 piece") in page.headings
    assert not page.all("img")


HOSTILE = [
    "<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "&lt;b&gt;", "שלום עולם", "\u202eevil", "a\0b",
    "bad\udcff", "javascript:alert(1)", "x' style='y", "]]>", "--><b>", "{{x}}",
]


@pytest.fixture(scope="module")
def hostile(tmp_path_factory):
    table = made_table(12).assign(swatch_id=pd.Series(HOSTILE, dtype=object), photo=HOSTILE[0])
    table["flags"] = ["<i>odd</i>", "glare", *[""] * 10]
    page = PhotoPage(HOSTILE[0], np.full((300, 400, 3), 128, np.uint8), 10.0, "<b>bold</b>", None, ("<u>note</u>",))
    crops = dict(zip(HOSTILE, made_crops(made_table(12), size=40).values(), strict=True))
    return report(
        tmp_path_factory.mktemp("hostile"), table, crops=crops, pages=[page],
        failures=[Failure(HOSTILE[1], HOSTILE[0])], title=HOSTILE[0], sentences=[HOSTILE[1]], stacks=True,
    )


def test_hostile_words_are_shown_as_text(hostile):
    """A name from someone else's file would run in the reader's browser."""
    page = Page(hostile)
    names = {name for name, _ in page.elements}
    assert not names & {"script", "i", "u", "b", "iframe", "object", "link"}
    assert not [attr for _, attrs in page.elements for attr in attrs if attr.startswith("on")]
    for name in HOSTILE:
        shown = name.replace("\0", "\N{REPLACEMENT CHARACTER}").replace("\udcff", "\\udcff")
        assert any(shown == words for words in page.words)


def test_names_keep_their_direction_to_themselves(hostile):
    """A name from right to left would turn the sentence round it about."""
    for name in ("שלום עולם", "\u202eevil"):
        assert f"<strong><bdi>{name}</bdi></strong>" in hostile


@pytest.mark.parametrize("fixture", ["study", "hostile"])
def test_the_page_fetches_and_runs_nothing(fixture, request):
    """Opened without a network it would be broken; with one it would tell others that it was opened."""
    value = request.getfixturevalue(fixture)
    text = value if isinstance(value, str) else value[1]
    page = Page(text)
    addresses = [value for _, attrs in page.elements for key, value in attrs.items()
                 if key in ("src", "href", "srcset", "poster", "data", "action")]
    assert addresses and all(address.startswith(("#", "data:image/jpeg;base64,")) for address in addresses)
    style = text[text.index("<style>") : text.index("</style>")]
    assert all(address.startswith("data:font/ttf;base64,") for address in re.findall(r"url\(([^)]*)\)", style))
    assert "@import" not in style and not page.all("script")
    policy = next(attrs["content"] for attrs in page.all("meta") if "http-equiv" in attrs)
    assert policy.startswith("default-src 'none';") and "script" not in policy


@pytest.mark.parametrize("fixture", ["study", "hostile"])
def test_every_link_leads_somewhere_and_every_id_is_its_own(fixture, request):
    """A link to a piece would lead nowhere, or to another piece."""
    value = request.getfixturevalue(fixture)
    page = Page(value if isinstance(value, str) else value[1])
    ids = [attrs["id"] for _, attrs in page.elements if "id" in attrs]
    assert len(ids) == len(set(ids))
    for _, attrs in page.elements:
        for key in ("href", "aria-labelledby"):
            target = attrs.get(key, "")
            if target and not target.startswith("data:"):
                assert target.removeprefix("#") in ids


# For every reader.


def test_every_picture_says_what_it_shows(study):
    """Who does not see a picture would be told nothing."""
    table, _, page = study
    pictures = page.all("img")
    assert len(pictures) == 3 + 12 + 2 * 2  # photographs, pieces, stacks in colour and in grey
    assert all(len(attrs["alt"]) > 5 for attrs in pictures)
    drawings = [attrs for attrs in page.all("svg") if attrs.get("role") == "img"]
    assert all(attrs["aria-label"] for attrs in drawings)
    assert all(attrs.get("aria-hidden") == "true" for attrs in page.all("svg") if attrs.get("role") != "img")


def test_headings_and_landmarks_are_in_order(study):
    """A screen reader's list of headings would skip, or not name, a part of the page."""
    _, text, page = study
    levels = [level for level, _ in page.headings]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after - before <= 1 for before, after in zip(levels, levels[1:], strict=False))
    names = [name for name, _ in page.elements]
    assert [names.count(part) for part in ("header", "main", "footer", "nav")] == [1, 1, 1, 1]
    assert all("aria-labelledby" in attrs for attrs in page.all("section"))
    assert page.all("html") == [{"lang": "en"}]
    assert "<title>A finding</title>" in text


def test_only_the_accent_has_a_hue(study):
    """A hue of ours beside a swatch would change what the eye reports."""
    _, text, _ = study
    without_pictures = re.sub(r"base64,[A-Za-z0-9+/=]+", "", text)
    colours = set(re.findall(r"#[0-9a-f]{6}\b", without_pictures))
    hues = {colour for colour in colours if not colour[1:3] == colour[3:5] == colour[5:7]}
    assert len(hues) == 2  # on a light page and on a dark one
    assert all(f"--accent: {hue};" in text for hue in hues)


# Cost.


def test_three_photographs_and_fifty_pieces_are_light(tmp_path):
    """A study would be too large to send. Six megabytes."""
    table = made_table(50)
    crops, pages = made_crops(table, size=450), made_pages(table)
    path = write_report(tmp_path, table, crops, pages, [], BREAKS, title="Fifty", sentences=[])
    assert path.stat().st_size < 6e6


def test_a_folder_is_made_and_a_file_in_its_place_refused(tmp_path):
    """The report of an hour's work would be lost for want of a folder."""
    table = made_table(2)
    path = write_report(tmp_path / "new" / "study", table, {}, [], [], BREAKS, title="T", sentences=[])
    assert path == tmp_path / "new" / "study" / "report.html"
    (tmp_path / "taken").write_text("")
    with pytest.raises(InvalidInputError, match="folder must be a folder; '.*taken' is a file. Name another place"):
        write_report(tmp_path / "taken", table, {}, [], [], BREAKS, title="T", sentences=[])


def test_a_picture_that_is_none_is_refused(tmp_path):
    """A page would be written that shows a broken picture."""
    page = PhotoPage("board-a.jpg", np.zeros((4, 4)), 1.0, "State.")
    with pytest.raises(InvalidInputError, match=r"8-bit pixels of shape \(rows, cols, 3\); got float64 of shape"):
        report(tmp_path, made_table(2), crops={}, pages=[page])


# Outlines drawn on the photograph.

SQUARE = [(200, 200), (200, 400), (400, 400), (400, 200)]


def grey(code, size=(600, 800)):
    return np.full((*size, 3), code, np.uint8)


@pytest.mark.parametrize("code", [0, 60, 119, 200, 255])
def test_outlines_show_on_any_grey(code):
    """On a white or a black board nothing would be seen. 40 codes are more than any grain of a photograph."""
    drawn = draw_outlines(grey(code), {"a": SQUARE}).astype(int)
    along = drawn[200, 220:380, 0]  # the middle of the upper edge's line
    near = drawn[196:205, 300, 0]
    assert max(abs(near - code)) > 40
    assert along.std() < 2  # one line from end to end


def test_outlines_lie_where_the_pieces_are_at_any_scale():
    """Lines would lie beside the pieces."""
    for scale in (1.0, 2.0, 4.0):
        small = grey(119, (round(600 / scale), round(800 / scale)))
        changed = (draw_outlines(small, {"": SQUARE}, scale=scale) != small).any(axis=2)
        rows, cols = np.nonzero(changed)
        assert rows.min() * scale == pytest.approx(200, abs=3 * scale)
        assert cols.max() * scale == pytest.approx(400, abs=3 * scale)


def test_names_stand_beside_their_piece_not_on_it_or_on_others():
    """The swatch, which is the work, would be covered."""
    around = {str(i): [(r + 200 * i % 400, c) for r, c in SQUARE] for i in range(1)}
    outlines = around | {"b": [(200, 450), (200, 650), (400, 650), (400, 450)]}
    plain = grey(119)
    changed = (draw_outlines(plain, outlines) != plain).any(axis=2)
    for shape in outlines.values():
        (top, left), (bottom, right) = np.min(shape, axis=0), np.max(shape, axis=0)
        assert not changed[top + 5 : bottom - 5, left + 5 : right - 5].any()
    assert changed.sum() > 3000  # lines and names


def test_a_name_without_room_stays_in_the_picture():
    """A piece that fills the frame would have its name cut off."""
    whole = [(0, 0), (0, 800), (600, 800), (600, 0)]
    changed = (draw_outlines(grey(119), {"evening-light-17": whole}) != 119).any(axis=2)
    rows, cols = np.nonzero(changed[20:-20, 20:-20])
    assert 200 < rows.mean() < 360 and 300 < cols.mean() < 460


def test_the_reference_is_dashed_and_named():
    """The card would be taken for a piece."""
    drawn = draw_outlines(grey(119), {}, reference=SQUARE)
    light = drawn[398:402, 205:395, 0].max(axis=0) > 150  # along the lower edge; the name is above
    assert 0.3 < light.mean() < 0.7
    assert np.abs(np.diff(light.astype(int))).sum() >= 6
    assert (drawn[150:195] != 119).any()


def test_the_photograph_itself_is_not_drawn_on():
    """What is measured next would have lines on it."""
    plain = grey(119)
    draw_outlines(plain, {"a": SQUARE}, reference=SQUARE)
    assert (plain == 119).all()


def test_outlines_refuse_what_is_no_picture_or_no_scale():
    """Lines would be drawn somewhere, or an error come from deep inside."""
    with pytest.raises(InvalidInputError, match="scale must be above 0; got 0"):
        draw_outlines(grey(9), {}, scale=0)
    with pytest.raises(InvalidInputError, match="A picture must be 8-bit pixels"):
        draw_outlines(grey(9)[..., 0], {})


def test_names_on_the_picture_are_short_where_all_begin_alike(tmp_path):
    """Long names would be too small to read; a short one must be explained."""
    table = made_table(3, photos=1).assign(swatch_id=["board-a-01", "board-a-02", "board-a-03"])
    page = Page(report(tmp_path, table, crops={}, pages=made_pages(table, (300, 400))))
    assert "Names are short on the picture: 01 is board-a-01 ." in page.text


def test_an_outline_that_cannot_be_read_is_passed_over(tmp_path):
    """One spoilt cell of a table from elsewhere would stop the report."""
    table = made_table(3)
    table["outline"] = ["not json", json.dumps([[1, 2]]), json.dumps({"row": 1})]
    assert Page(report(tmp_path, table, crops={}, pages=made_pages(table, (300, 400)))).headings


# Drawings on a page.


def test_a_shape_on_a_page_has_its_points_and_follows_the_page():
    """A triangle would be upside down (pages count from the top), or stay black on a dark page."""
    shape = Shape(((0, 0), (30, 0), (0, 15)), fill=50.0, edge="text", line=1.5, dashed=True)
    (polygon,) = Page(drawing_svg(Drawing(40, 20, (shape,), "A triangle."), {}, "drawn")).all("polygon")
    assert polygon["points"] == "0.0,20.0 30.0,20.0 0.0,5.0"
    assert polygon["style"] == "fill:#777777;stroke:var(--text);stroke-width:1.5"
    assert polygon["stroke-dasharray"]
