"""The page of a plan and its table: complete, self-contained, unmoved by odd names, and never over strangers' files."""

import csv
import datetime
import re
from dataclasses import replace
from fractions import Fraction
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from contrastkit.compose.blocks import BlockShape, Surround
from contrastkit.compose.cutting import cut_plan
from contrastkit.compose.days import BLADE, RAGS
from contrastkit.compose.packing import Material, pack
from contrastkit.compose.plan import Background, Layers, Plan, PlannedBlock, read_plan
from contrastkit.compose.seams import Surface
from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import lightness_to_grey8
from contrastkit.show.cutlist import LIST, LIST_COLUMNS, PAGE, table_of, write_plan
from contrastkit.show.drawing import Box, Words
from contrastkit.show.look import text_width
from contrastkit.show.packed import draw_panel, panels, step_words
from contrastkit.show.plan_pictures import Pile, block_pixels, layout_pixels, stacks_of

DEMO = Path(__file__).parents[1] / "data" / "thistlewick" / "plan.toml"
DATE = datetime.date(2031, 4, 2)
EIGHTH = Fraction(127, 40)
VOID = {"meta", "img", "input", "path", "rect", "line", "polygon"}


class Page(HTMLParser):
    """What a reader of the page gets: its elements, its text and its headings; tags must be balanced."""

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
        return re.sub(r"\s+", " ", "".join(self.words))

    def all(self, tag):
        return [attrs for name, attrs in self.elements if name == tag]


def written(folder, plan, **options):
    plan_files = write_plan(plan, cut_plan(plan), folder, made=DATE, **options)
    text = (plan_files.folder / PAGE).read_text(encoding="utf-8")
    return plan_files, text, Page(text)


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    plan = read_plan(DEMO)
    files, text, page = written(tmp_path_factory.mktemp("plan"), plan, table=table_of(plan))
    return files, text, page, cut_plan(plan)


def small_plan(name="Hearth", *, swatches=(), **changes):
    shape = BlockShape((Fraction(80), Fraction(56)), rim=Fraction(2), surrounds=(Surround(),))
    groups = ("dark", "light")
    block = PlannedBlock(name, 2, shape, Layers(groups, swatches), (Layers(groups),))
    plan = {
        "title": "Wall", "unit": "mm", "rim": Fraction(2), "gap": Fraction(0), "blocks": (block,),
        "background": Background(lightness=50.0, margin=Fraction(40), in_row=2), "web": Material(Fraction(430)),
    }
    return Plan(**plan | changes)


# The page.


def test_the_finding_and_the_next_step_come_first(demo):
    """A reader would have to look for what it takes and what to do."""
    _, text, _, cut = demo
    header = Page(re.search("<header>.*</header>", text, flags=re.DOTALL)[0])
    assert [(level, re.sub(r"\s", " ", words)) for level, words in header.headings] == [(1, cut.finding)]
    for sentence in cut.sentences:
        assert sentence in header.text
    assert [attrs["href"] for attrs in header.all("a") if attrs.get("class") == "next"] == ["#cut"]


def test_every_square_and_every_stack_has_a_row_with_a_box_to_tick(demo):
    """A piece would be forgotten at the cutting table."""
    _, text, _, cut = demo
    section = re.search('<section id="cut".*?</section>', text, flags=re.DOTALL)[0]
    rows = [Page(row) for row in re.findall("<tr><th scope=\"row\">.*?</tr>", section, flags=re.DOTALL)]
    assert len(rows) == len(cut.squares) + len(cut.stacks)
    for row in rows:
        assert [attrs["type"] for attrs in row.all("input")] == ["checkbox"]
    for row, each in zip(rows, cut.squares, strict=False):
        assert f"{each.count} squares of " in row.text  # what a screen reader says of the box
        assert re.search(rf"{each.count}\D.*{each.group}", row.text)
        for name, count in each.blocks:
            assert f"{name} × {count}" in row.text
        for swatch in each.swatches:
            assert swatch in row.text
    ids = [attrs["id"] for attrs in Page(text).all("input")]
    assert len(ids) == len(set(ids))


def test_lengths_are_not_broken_across_lines(demo):
    """A 3 at the end of a line and 1/2 in at the start of the next would be read as two lengths."""
    _, text, _, _ = demo
    body = re.sub(r'(?:alt|aria-label|data-head)="[^"]*"|<span class="vh">.*?</span>', "", text[text.index("<body>") :])
    assert not re.search(r"\d \d+/\d", re.sub("<text.*?</text>", "", body))


def test_every_day_and_step_is_there_with_its_cautions_beside_it(demo):
    """The page would leave out a day, or put a caution where nobody cuts."""
    _, text, _, cut = demo
    steps = re.findall(r'<div class="step">.*?</div>(?:<ul.*?</ul>)?</div>', text, flags=re.DOTALL)
    wanted = [step for day in cut.days for step in day.steps]
    assert len(steps) == len(wanted)
    for found, step in zip(map(Page, steps), wanted, strict=True):
        assert found.text.startswith(step.title)
        assert all(caution in found.text for caution in step.cautions)
    whole = Page(text).text
    assert BLADE in whole and RAGS in whole
    assert "product labels, local rules and licensed practice come first" in whole


def test_pictures_have_words_for_those_who_do_not_see_them(demo):
    """A screen reader would skip the cutting diagrams."""
    _, _, page, _ = demo
    assert page.all("img") and all(attrs["alt"] for attrs in page.all("img"))
    for attrs in page.all("svg"):
        assert attrs.get("aria-label") or attrs.get("aria-hidden")
    assert any("cut across at 21 3/4 in" in attrs.get("aria-label", "").lower() for attrs in page.all("svg"))


def test_nothing_is_fetched_and_nothing_is_run(demo):
    """The page would tell someone that it is read, or look different without a network."""
    _, text, page, _ = demo
    policy = [attrs["content"] for attrs in page.all("meta") if "http-equiv" in attrs]
    assert policy == ["default-src 'none'; img-src data:; font-src data:; style-src 'unsafe-inline'"]
    assert not page.all("script") and not page.all("link")
    addresses = [attrs.get(key, "") for _, attrs in page.elements for key in ("src", "href") if key in attrs]
    assert all(address.startswith(("data:", "#")) for address in addresses)
    assert "http://" not in re.sub(r"data:[^\"')]*", "", text)


def test_links_lead_to_sections_that_are_there(tmp_path, demo):
    """A press would lead nowhere; a plan without web or cloth has no such sections."""
    for _, _, page in (demo[:3], written(tmp_path, small_plan(web=None))):
        ids = {attrs["id"] for _, attrs in page.elements if "id" in attrs}
        for attrs in page.all("a"):
            assert attrs["href"].removeprefix("#") in ids


def test_a_hostile_name_is_shown_and_not_obeyed(tmp_path):
    """A name could break the page, or run something in it."""
    name = '<script>alert("x")</script>&'
    _, text, page = written(tmp_path, small_plan(name, title=name, swatches=(("<i>a", "b\x07"),)))
    assert not page.all("script") and not page.all("i")
    assert name in page.text
    assert "<i>a" in page.text and "\x07" not in text


def test_the_same_plan_gives_the_same_page(tmp_path):
    """Nobody could see what a change of the plan changed."""
    _, first, _ = written(tmp_path / "a", small_plan())
    _, second, _ = written(tmp_path / "b", small_plan())
    assert first == second


def test_a_plan_without_surrounds_or_supplies_has_no_empty_parts(tmp_path):
    """Headings would stand over nothing."""
    block = PlannedBlock("Hearth", 1, BlockShape((Fraction(80),)), Layers(("",)))
    _, text, page = written(tmp_path, small_plan(blocks=(block,), web=None, rim=Fraction(0)))
    assert {attrs.get("id") for attrs in page.all("section")} == {"layout", "blocks", "cut", "shopping", "days"}
    assert "fused, not before" not in text
    assert "The block" in [words for _, words in page.headings]


# What is drawn.


def test_the_drawing_has_every_square_to_scale():
    """The picture would show another packing than the cuts. Pixels to a millimetre are the same both ways."""
    packing = pack({29 * EIGHTH: 36, 21 * EIGHTH: 36, 15 * EIGHTH: 36}, Material(136 * EIGHTH))
    [panel] = panels(packing, "in")
    for width in (1152, 700, 350):
        drawing = draw_panel(panel, "in", width=width, text=16)
        squares = [mark for mark in drawing.marks if isinstance(mark, Box) and mark.fill == "ground"]
        assert len(squares) == 108
        assert all(mark.width == pytest.approx(mark.height) for mark in squares)
        ratios = sorted({round(mark.width, 6) for mark in squares})
        assert ratios[1] / ratios[0] == pytest.approx(21 / 15, abs=1e-5)
        assert ratios[2] / ratios[0] == pytest.approx(29 / 15, abs=1e-5)
        assert drawing.width <= width


@pytest.mark.parametrize("width", [1152, 700, 350])
def test_nothing_is_drawn_outside_and_no_word_is_wider_than_its_square(width):
    """Marks would be cut off, or words run into each other. Half a pixel for the width of a line."""
    counts = {29 * EIGHTH: 30, 21 * EIGHTH: 44, 11 * EIGHTH: 90}
    materials = Material(144 * EIGHTH, 176 * EIGHTH, EIGHTH), Material(136 * EIGHTH), Material(480 * EIGHTH)
    for panel in (panel for material in materials for panel in panels(pack(counts, material), "in")):
        drawing = draw_panel(panel, "in", width=width, text=16)
        for mark in drawing.marks:
            if isinstance(mark, Box):
                assert mark.x >= -0.5 and mark.x + mark.width <= drawing.width + 0.5
                assert mark.y >= -0.5 and mark.y + mark.height <= drawing.height + 0.5
            if isinstance(mark, Words):
                assert mark.y + mark.size <= drawing.height + 1
                half = text_width(mark.text, mark.size, bold=mark.bold) / (2 if mark.align == "middle" else 1)
                assert mark.x + half <= drawing.width + 1


def test_wide_cloth_is_drawn_as_it_lies_and_not_as_a_sliver():
    """Cloth 44 in wide, of which 12 in are used, would be a strip too thin to see squares in."""
    packing = pack({29 * EIGHTH: 36}, Material(352 * EIGHTH))
    [panel] = panels(packing, "in")
    drawing = draw_panel(panel, "in", width=1152, text=16)
    squares = [mark for mark in drawing.marks if isinstance(mark, Box) and mark.fill == "ground"]
    assert len(squares) == 36 and len({mark.x for mark in squares}) == 12 and len({mark.y for mark in squares}) == 3
    assert drawing.width > 2 * drawing.height
    assert min(mark.width for mark in squares) > 40
    assert [mark.text for mark in drawing.marks if isinstance(mark, Words)].count("3 5/8") == 12


def test_sections_and_sheets_cut_alike_are_drawn_once_and_said_so():
    """A hundred like sheets would fill a hundred pages."""
    packing = pack({29 * EIGHTH: 240}, Material(144 * EIGHTH, 176 * EIGHTH))
    [panel] = panels(packing, "in")
    assert panel.title == "10 sheets of 18 × 22 in, all cut alike"
    odd = panels(pack({29 * EIGHTH: 250}, Material(144 * EIGHTH, 176 * EIGHTH)), "in")
    assert [panel.title for panel in odd] == ["Sheets 1 to 10, cut alike", "Sheet 11"]
    assert [panel.first for panel in odd] == [1, 1 + len(odd[0].cuts)]


def test_room_round_squares_is_said_to_be_trimmed():
    """Squares would be sewn in with their waste."""
    packing = pack({29 * EIGHTH: 4}, Material(144 * EIGHTH, None, EIGHTH))
    [panel] = panels(packing, "in")
    words = step_words(panel.cuts[0], panel.room, "in")
    assert words.startswith("Cut across at 3 7/8 in; then along: 4 strips of 3 7/8 in (1 square each).")
    assert words.endswith("Trim to 3 5/8 in, print in the middle.")


def test_layers_are_the_swatches_named_or_greys_of_their_groups():
    """The picture would show other pieces than the plan names. Groups are drawn at L* 25, 55 and 85, as in charts."""
    plan = small_plan(swatches=(("a", "b"),))
    pile = Pile({"a": Surface("a", 31.0)}, {})
    first, second = (stacks_of(plan.blocks[0], number, pile) for number in range(2))
    assert [(each.swatch_id, each.lightness) for each in first[0]] == [("a", 31.0), ("b", 85.0)]
    assert [(each.swatch_id, each.lightness) for each in second[0]] == [("", 25.0), ("", 85.0)]
    assert len(first) == 2


def test_the_pictures_have_the_greys_of_background_and_layers():
    """Values would be judged by a picture that has others."""
    plan = small_plan()
    cut = cut_plan(plan)
    block, layout = block_pixels(plan, plan.blocks[0], Pile({}, {})), layout_pixels(
        plan, cut.background.layout, Pile({}, {}))  # fmt: skip
    middle = len(block) // 2
    assert block[middle, middle].tolist() == [lightness_to_grey8(85)] * 3
    assert block[2, 2].tolist() == layout[2, 2].tolist() == [lightness_to_grey8(50)] * 3
    assert layout.shape[1] / layout.shape[0] == pytest.approx(
        float(cut.background.layout.width) / float(cut.background.layout.height), rel=0.01
    )


def test_a_swatch_is_drawn_from_its_own_crop():
    """A coloured piece would be shown in grey although its photograph is there."""
    crop = np.zeros((60, 60, 3), np.uint8)
    crop[...] = (30, 90, 160)
    plan = small_plan(swatches=(("a", "b"),))
    pixels = block_pixels(plan, plan.blocks[0], Pile({"a": Surface("a", 40.0), "b": Surface("b", 38.0)}, {"b": crop}))
    middle = len(pixels) // 2
    assert np.abs(pixels[middle, middle].astype(int) - (30, 90, 160)).max() <= 2  # resampled in linear light


# The table.


def test_the_table_has_every_row_of_the_cut_list(demo):
    """What is counted in a spreadsheet would be something else than what is on the page."""
    files, _, _, cut = demo
    rows = list(csv.DictReader((files.folder / LIST).read_text(encoding="utf-8").splitlines()))
    assert list(rows[0]) == [column.name for column in LIST_COLUMNS]
    squares = [row for row in rows if row["what"] == "square"]
    assert sum(int(row["count"]) for row in squares) == cut.square_count == 108
    assert [(float(row["side_mm"]), row["group"], row["layer"]) for row in squares] == [
        (float(each.side), each.group, str(each.layer + 1)) for each in cut.squares
    ]
    assert rows[-1] == {
        "what": "fused stack, into quarters", "count": "6", "side_mm": "92.075", "side": "3 5/8 in", "print_mm": "",
        "layer": "", "group": "", "blocks": "Hearth × 6", "swatches": "",
    }


def test_names_that_a_spreadsheet_would_run_are_guarded(tmp_path):
    """A name of a block could run a command in the spreadsheet that opens the list."""
    files, _, _ = written(tmp_path, small_plan("=cmd|x", swatches=(("@a", "b"),)))
    text = (files.folder / LIST).read_text(encoding="utf-8")
    assert "'=cmd|x × 4" in text and "'@a" in text
    assert not re.search(r"(?:^|,)[=@]", text, flags=re.MULTILINE)


# Where it is written.


def test_a_plan_replaces_an_earlier_plan_and_nothing_else(tmp_path):
    """A second try would fail, or someone's own page be lost."""
    files, first, _ = written(tmp_path, small_plan())
    (tmp_path / "notes.txt").write_text("mine")
    _, second, _ = written(tmp_path, small_plan(title="Another wall"))
    assert "Another wall" in second and "Another wall" not in first
    assert (tmp_path / "notes.txt").read_text() == "mine"
    assert sorted(file.name for file in files.files) == [LIST, PAGE]
    (tmp_path / LIST).unlink()
    assert "Wall: 2 blocks" in written(tmp_path, small_plan())[1]


@pytest.mark.parametrize("name", [PAGE, LIST])
def test_a_file_of_that_name_by_someone_else_is_left_alone(tmp_path, name):
    """Someone's own work would be lost for a plan."""
    (tmp_path / name).write_text("my own")
    with pytest.raises(InvalidInputError, match=f"already holds '{name}' by someone else. Name another folder"):
        written(tmp_path, small_plan())
    assert (tmp_path / name).read_text() == "my own"
    assert [file.name for file in tmp_path.iterdir()] == [name]


def test_a_folder_that_is_a_file_is_refused(tmp_path):
    """It would end in a traceback."""
    (tmp_path / "out").write_text("")
    with pytest.raises(InvalidInputError, match="is a file. Name another one"):
        written(tmp_path / "out", small_plan())


def test_nothing_is_written_for_swatches_that_are_not_there(tmp_path):
    """A page would be printed from a plan that cannot be made."""
    plan = small_plan(swatches=(("a", "b"),))
    with pytest.raises(InvalidInputError, match="block 'Hearth' names 'b', which is not"):
        written(tmp_path / "out", plan, table=pd.DataFrame({"swatch_id": ["a", "x"], "lightness": [20.0, 50.0]}))
    assert not (tmp_path / "out").exists()


def test_the_table_that_a_plan_names_is_read_and_asked_for_its_swatches(tmp_path):
    """A slip in a swatch's name would show only at the cutting table."""
    assert table_of(small_plan()) is None
    (tmp_path / "pile.csv").write_text("swatch_id,lightness\na,20\nb,70\n")
    plan = small_plan(swatches=(("a", "b"),), table=tmp_path / "pile.csv")
    table = table_of(plan)
    assert table is not None and table["swatch_id"].tolist() == ["a", "b"]
    with pytest.raises(InvalidInputError, match="names 'c'"):
        table_of(replace(small_plan(swatches=(("a", "c"),)), table=tmp_path / "pile.csv"))
    with pytest.raises(InvalidInputError, match="There is no file"):
        table_of(replace(plan, table=tmp_path / "nowhere.csv"))
