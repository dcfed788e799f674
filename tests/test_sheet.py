"""The charts of a pile, tested by what they drew: the artists' places, sizes, tones and words."""

import datetime
import re
from itertools import combinations

import numpy as np
import pandas as pd
import pytest
from made_pile import BREAKS, made_crops, made_table
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from PIL import Image

from contrastkit.compose.groups import fixed_breaks, natural_breaks, sort_into_groups
from contrastkit.errors import InvalidInputError, TooFewSwatchesError
from contrastkit.light.lightness import luminance, luminance_to_lightness, srgb1_to_lightness, srgb1_to_linear
from contrastkit.show.chart import chart_of
from contrastkit.show.crops import CutOut, cut_out
from contrastkit.show.drawing import Drawing, Photo, Shape, moved
from contrastkit.show.pieces import pieces_dark_to_light
from contrastkit.show.sheet import balance_chart, contact_sheet, contact_sheets, value_strip

MM = 72 / 25.4  # points
DATE = datetime.date(2031, 4, 2)


def axes_of(chart):
    (axes,) = chart.figure.axes
    return axes


def words_of(chart):
    return [text.get_text() for text in axes_of(chart).texts]


def place_of(chart, words):
    """Left end and height (mm from the bottom left) of the one text that reads so."""
    (text,) = [text for text in axes_of(chart).texts if text.get_text() == words]
    return text.get_position()


def boxes_of(chart):
    """(left, bottom, width, height, lightness or None) of every rectangle."""
    return [
        (*patch.get_xy(), patch.get_width(), patch.get_height(), lightness_of(patch.get_facecolor()))
        for patch in axes_of(chart).patches
    ]


def lightness_of(colour):
    return None if colour[3] == 0 else float(srgb1_to_lightness(to_rgb(colour)))


def light_of(pixels):
    """L* of the linear mean of what an RGBA picture shows."""
    light, alpha = luminance(srgb1_to_linear(pixels[..., :3] / 255)), pixels[..., 3] / 255
    return float(luminance_to_lightness((light * alpha).sum() / alpha.sum()))


def extents(chart):
    """Boxes (left, bottom, right, top, in mm) of all words and pictures, as they are drawn."""
    words = [ink_of(text, chart) for text in axes_of(chart).texts if text.get_text().strip()]
    return words, [("picture", np.array(image.get_extent())[[0, 2, 1, 3]]) for image in axes_of(chart).images]


def ink_of(text, chart):
    """Matplotlib's box holds the whole line; ink reaches 0.75 of the type above it, 0.22 below (letters d and g)."""
    box = text.get_window_extent(FigureCanvasAgg(chart.figure).get_renderer())
    left, _, right, _ = axes_of(chart).transData.inverted().transform_bbox(box).extents
    line, size = text.get_position()[1], text.get_fontsize() / MM
    return text.get_text(), (left, line - 0.22 * size, right, line + 0.75 * size)


def overlapping(boxes, others=None, slack=0.15):
    """Names of the boxes that overlap by more than `slack` mm, which is less than any letter's stroke and side gap."""
    pairs = combinations(boxes, 2) if others is None else ((a, b) for a in boxes for b in others)
    return [(a[0], b[0]) for a, b in pairs if shared(a[1], b[1], 0) > slack and shared(a[1], b[1], 1) > slack]


def shared(one, other, axis):
    """How much of one axis two boxes share; negative for a gap."""
    return min(one[axis + 2], other[axis + 2]) - max(one[axis], other[axis])


def colours_of(chart):
    axes = axes_of(chart)
    return [
        *(text.get_color() for text in axes.texts), *(line.get_color() for line in axes.lines),
        *(patch.get_facecolor() for patch in axes.patches), *(patch.get_edgecolor() for patch in axes.patches),
        chart.figure.get_facecolor(),
    ]


@pytest.fixture(scope="module")
def pile():
    table = made_table(20)
    return table, made_crops(table)


@pytest.fixture(scope="module")
def sheet(pile):
    return contact_sheet(*pile, breaks=BREAKS, made=DATE)


@pytest.fixture(scope="module")
def strip(pile):
    return value_strip(*pile, breaks=BREAKS)


@pytest.fixture(scope="module")
def balance(pile):
    return balance_chart(pile[0], BREAKS)


# The contact sheet.


def test_the_sheet_runs_from_dark_bottom_left_to_light_top_right(sheet, pile):
    """The one order that is the same everywhere would be broken."""
    ids = pile[0].sort_values("lightness")["swatch_id"]
    places = [place_of(sheet, name) for name in ids]
    assert places == sorted(places, key=lambda place: (place[1], place[0]))


def test_each_piece_adjoins_a_grey_of_its_size_and_lightness(sheet, pile):
    """The eye would compare a piece with the wrong grey. Half an 8-bit code is at most 0.25 L* above L* 8."""
    greys = {(round(x, 3), round(y, 3)): (w, h, tone) for x, y, w, h, tone in boxes_of(sheet)}
    pieces = pieces_dark_to_light(pile[0])
    assert len(axes_of(sheet).images) == len(pieces) == 20
    by_place = sorted(axes_of(sheet).images, key=lambda image: (round(mat_of(sheet, image)), image.get_extent()[0]))
    for image, piece in zip(by_place, pieces, strict=True):
        left, right, bottom, top = image.get_extent()
        width, height, tone = greys[round(right, 3), round(bottom, 3)]
        assert (width, height) == pytest.approx((right - left, top - bottom))
        assert tone == pytest.approx(piece.lightness, abs=0.25)


def mat_of(sheet, image):
    """The bottom of the mat that an image lies on: the same for all pieces of a row."""
    left, _, bottom, top = image.get_extent()
    return max(y for x, y, _, h, _ in boxes_of(sheet) if x <= left and y <= bottom and y + h >= top)


def test_the_sheet_says_all_that_was_asked_of_each_piece(sheet, pile):
    """A student without a screen would miss a number, a group or a warning."""
    words = words_of(sheet)
    for piece in pieces_dark_to_light(pile[0]):
        assert piece.swatch_id in words
        assert f"{piece.lightness:.0f} ± {max(1, round(piece.sigma))}" in words
        assert f"{piece.value:.1f}" in words
    assert words.count("medium") == (pile[0]["group"] == "medium").sum()
    assert {"check: glare", "check: uneven, too small", "borderline medium/light"} <= set(words)


def test_the_sheet_has_its_finding_date_page_and_source(sheet):
    """A sheet found in a drawer could not be told from another."""
    assert words_of(sheet)[0] == "Short of darks: 3 of 20, and of lights: 1 of 20"
    assert "2 April 2031, page 1 of 1" in words_of(sheet)
    assert "board-a.jpg, board-b.jpg and board-c.jpg, measured against a grey card" in " ".join(words_of(sheet))


def test_the_true_size_bar_is_fifty_millimetres(sheet):
    """Nobody could tell whether the printer shrank the page."""
    assert place_of(sheet, "50 mm")
    assert place_of(sheet, "2 in at true size")
    assert 50 in [box[2] for box in boxes_of(sheet)]
    assert sheet.figure.get_size_inches() * 25.4 == pytest.approx([210, 297])


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("count", [1, 2, 7, 24, 41, 60])
def test_no_words_collide_or_leave_the_margins(count, paper):
    """Words would be printed over words or pictures, or cut off by the printer. Margins are 12 mm."""
    table = made_table(count, seed=count)
    chart = contact_sheet(table, made_crops(table, size=60), breaks=BREAKS, paper=paper)
    words, pictures = extents(chart)
    width, height = chart.figure.get_size_inches() * 25.4
    assert overlapping(words) == []
    assert overlapping(words, pictures) == []
    for _, (left, bottom, right, top) in [*words, *pictures]:
        assert left >= 11.9 and bottom >= 11.9 and right <= width - 11.9 and top <= height - 11.9
    assert min(image[2] - image[0] for _, image in pictures) > 1.5  # even a strip's narrow side is seen


def test_long_names_and_nine_groups_still_do_not_collide():
    """A name from a long file name, or groups with long words, would run into the neighbour."""
    breaks = fixed_breaks([20, 30, 40, 50, 60, 70, 80, 90])
    table = sort_into_groups(made_table(24), breaks)
    table["swatch_id"] = [f"evening-light-on-the-slate-board-{i:03d}" for i in range(24)]
    table["flags"] = "touches the frame; uneven; no reference"
    for chart in (contact_sheet(table, {}, breaks=breaks), value_strip(table, {}, breaks=breaks),
                  balance_chart(table, breaks)):
        words, _ = extents(chart)
        assert overlapping(words) == []


@pytest.mark.parametrize("chart", ["sheet", "strip", "balance"])
def test_type_lines_and_tones_keep_to_the_look(chart, request):
    """Type under 8 points, lines under 0.25 mm or a hue of ours would be printed."""
    chart = request.getfixturevalue(chart)
    axes = axes_of(chart)
    assert min(text.get_fontsize() for text in axes.texts) >= 8
    widths = [artist.get_linewidth() for artist in [*axes.patches, *axes.lines] if artist.get_linewidth() > 0]
    assert min(widths) >= 0.25 * MM - 1e-9
    assert all(len(set(to_rgb(colour))) == 1 for colour in colours_of(chart))
    assert all("AtkinsonHyperlegibleNext" in text.get_fontproperties().get_file() for text in axes.texts)


def test_a_large_pile_goes_on_to_further_pages():
    """Pieces would be lost between pages, or come twice; the darkest belong on the first."""
    table = made_table(130)
    sheets = contact_sheets(table, {}, breaks=BREAKS, most=60)
    found = [[words for words in words_of(page) if words in set(table["swatch_id"])] for page in sheets]
    assert [len(page) for page in found] == [43, 44, 43]
    assert sorted(sum(found, [])) == sorted(table["swatch_id"])
    lightness = table.set_index("swatch_id")["lightness"]
    assert lightness[found[0]].max() <= lightness[found[1]].min()
    assert any("page 2 of 3" in words for words in words_of(sheets[1]))


def test_one_sheet_refuses_more_than_it_can_show():
    """Pieces would be too small to see, without a word."""
    with pytest.raises(InvalidInputError, match=r"at most 60 pieces; got 61\. Use contact_sheets"):
        contact_sheet(made_table(61), {})


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"paper": "A3"}, "paper must be one of A4, Letter; got 'A3'"),
        ({"surround": "blue"}, "surround must be one of light, middle, dark; got 'blue'"),
        ({"most": 0}, "most must be 1 to 60 pieces a page; got 0"),
    ],
)
def test_options_that_mean_nothing_are_refused(options, message):
    """A typing mistake would silently give another sheet."""
    with pytest.raises(InvalidInputError, match=message):
        contact_sheets(made_table(3), {}, **options)


@pytest.mark.parametrize("draw", [contact_sheet, value_strip, lambda table, crops: balance_chart(table, BREAKS)])
def test_an_empty_table_is_refused_in_words(draw):
    """A chart of nothing would fail somewhere inside."""
    with pytest.raises(TooFewSwatchesError, match="at least 1 swatch; the table has none. Measure a photograph"):
        draw(made_table(3).iloc[:0], {})


@pytest.mark.parametrize("crop", [np.zeros((5, 5, 3)), np.zeros((5, 5), np.uint8), np.zeros((0, 5, 3), np.uint8), None])
def test_a_crop_that_is_no_picture_is_refused_by_name(crop):
    """Nobody would know which of fifty crops was wrong."""
    table = made_table(2)
    name = table["swatch_id"].iloc[0]
    with pytest.raises(InvalidInputError, match=f"8-bit pixels of shape .* that of '{name}' is"):
        contact_sheet(table, {name: crop})


def test_a_piece_of_unknown_lightness_comes_last_and_has_no_grey():
    """It would be sorted as black, or stop the sheet."""
    table = made_table(4)
    table.loc[1, ["lightness", "lightness_sigma", "munsell_value"]] = np.nan
    chart = contact_sheet(sort_into_groups(table, BREAKS), {}, breaks=BREAKS)
    places = {name: place_of(chart, name) for name in table["swatch_id"]}
    assert max(places, key=lambda name: (places[name][1], places[name][0])) == table["swatch_id"][1]
    assert "unknown" in words_of(chart)
    assert table["swatch_id"][1] in chart.description


def test_a_table_of_lightness_alone_makes_a_sheet():
    """Whoever brings a table of numbers, without photographs or groups, would get nothing."""
    chart = contact_sheet(pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [30.0, 60.0]}), {})
    assert {"no picture", "30 ± ?", "60 ± ?", "3.0", "5.9"} <= set(words_of(chart))


def test_the_surround_is_the_one_chosen(pile):
    """The eye would judge against another surround than asked for."""
    for name, tone in (("light", 92), ("middle", 50), ("dark", 15)):
        chart = contact_sheet(*pile, surround=name)
        mats = [box[4] for box in boxes_of(chart) if box[2] > 40 and box[3] > 20]
        assert mats == pytest.approx([tone] * 20, abs=0.25)


# The crops.


def test_reducing_and_turning_a_crop_keeps_its_lightness():
    """Averaging codes instead of light darkens a piece of black and white marks by 20 L* and more."""
    stripes = np.zeros((400, 400, 3), np.uint8)
    stripes[:, ::2] = 255
    outline = [(0, 150), (250, 400), (400, 250), (150, 0)]
    small = cut_out(stripes, outline, side=60)
    assert light_of(small.pixels) == pytest.approx(76.07, abs=0.3)  # gold: half of black and white; two codes of slack


def test_a_crop_shows_its_true_shape(pile):
    """The board round a triangle would be taken for part of the piece."""
    crop = np.full((200, 200, 3), 90, np.uint8)
    triangle = cut_out(crop, [(0, 0), (0, 200), (200, 0)], side=100).pixels
    assert triangle[..., 3].mean() / 255 == pytest.approx(0.5, abs=0.03)  # half of its box


def test_alpha_and_outline_give_the_same_cut():
    """A crop with alpha would be shown with its board."""
    rows, cols = np.mgrid[:200, :200]
    inside = (rows + cols < 200)
    crop = np.dstack([np.full((200, 200, 3), 90, np.uint8), np.where(inside, 255, 0).astype(np.uint8)])
    from_alpha, from_outline = cut_out(crop, side=100), cut_out(crop[..., :3], [(0, 0), (0, 200), (200, 0)], side=100)
    assert from_alpha.pixels.shape == pytest.approx(from_outline.pixels.shape, abs=3)
    assert (from_alpha.pixels[..., 3] > 128).sum() == pytest.approx((from_outline.pixels[..., 3] > 128).sum(), rel=0.06)


def test_a_piece_laid_askew_is_shown_straight():
    """A square turned by 30 degrees would be shown small, with much board round it."""
    angle = np.deg2rad(30)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    outline = np.array([(-1, -1), (-1, 1), (1, 1), (1, -1)]) @ turn
    cut = cut_out(np.full((300, 300, 3), 120, np.uint8), outline.tolist(), side=100)
    assert (cut.pixels[..., 3] > 250).mean() > 0.95


def test_a_crop_is_not_changed_by_showing_it(pile):
    """Pictures would alter what others still have to measure."""
    table, crops = pile
    before = {name: crop.copy() for name, crop in crops.items()}
    contact_sheet(table, crops)
    assert all((crops[name] == before[name]).all() for name in crops)


# Saving and showing.


def test_a_sheet_is_saved_at_its_true_size(sheet, tmp_path):
    """It would not print at true size: A4 is 2480 by 3508 dots at 300 an inch, 595 by 842 points."""
    with Image.open(sheet.save(tmp_path / "sheet.png")) as picture:
        assert picture.size == pytest.approx((2480, 3508), abs=1)
        assert picture.text["Description"] == sheet.description
    box = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+)", sheet.save(tmp_path / "sheet.pdf").read_bytes())
    assert [float(side) for side in box.groups()] == pytest.approx([595.3, 841.9], abs=0.1)
    svg = sheet.save(tmp_path / "sheet.svg").read_text(encoding="utf-8")
    assert svg.count("<image") == 20


def test_the_same_sheet_is_the_same_file(pile, tmp_path):
    """Whoever keeps results under version control would see changes where there are none."""
    for suffix in (".png", ".svg", ".pdf"):
        files = [contact_sheet(*pile, made=DATE).save(tmp_path / f"{i}{suffix}").read_bytes() for i in range(2)]
        assert files[0] == files[1]


def test_a_chart_is_refused_under_a_name_that_is_no_picture(balance, tmp_path):
    """A file would be written that nothing opens."""
    with pytest.raises(InvalidInputError, match=r"saved as \.png, \.svg, \.pdf; got 'chart\.docx'"):
        balance.save(tmp_path / "chart.docx")


def test_a_chart_shows_itself_with_its_finding_as_alt_text(pile):
    """A reader who does not see it would be told nothing; a hostile name would become markup."""
    table = made_table(2).assign(swatch_id=['"><script>', "b"])
    shown = contact_sheet(table, {}, title="A < B")._repr_html_()
    assert 'alt="A &lt; B' in shown
    assert "&quot;&gt;&lt;script&gt;" in shown
    assert "<script" not in shown


def test_descriptions_say_the_finding_first(sheet, strip, balance):
    """Alt text would begin with what matters least."""
    finding = "Short of darks: 3 of 20, and of lights: 1 of 20."
    assert sheet.description.startswith(f"{finding} 20 pieces from dark to light: ")
    assert strip.description.startswith("The pile reaches from L* 26 to L* 70; half of it lies between")
    assert balance.description == f"{finding} 3 dark, 16 medium, 1 light."


# The strip.


def axis_of(strip):
    """From a place along the strip to L*, by the figures of its axis."""
    zero, hundred = place_of(strip, "0" if words_of(strip).count("0") == 1 else "20")[0], place_of(strip, "100")[0]
    first = 0 if words_of(strip).count("0") == 1 else 20
    return lambda x: first + (x - zero) / (hundred - zero) * (100 - first)


@pytest.mark.parametrize("count", [1, 20, 60, 200])
def test_each_piece_lies_at_its_lightness_and_hides_no_other(count):
    """The strip would lie about a piece, or hide it. Places are exact but for arithmetic."""
    table = made_table(count)
    strip = value_strip(table, made_crops(table, size=40), breaks=BREAKS)
    to_lightness = axis_of(strip)
    middles = sorted(to_lightness(sum(image.get_extent()[:2]) / 2) for image in axes_of(strip).images)
    assert middles == pytest.approx(sorted(table["lightness"]), abs=1e-6)
    words, pictures = extents(strip)
    assert overlapping(pictures, slack=0) == []
    assert overlapping(words) == []


def test_whiskers_are_one_standard_uncertainty_either_side(strip, pile):
    """A reader could not tell whether two pieces differ."""
    to_lightness = axis_of(strip)
    bars = sorted(
        (to_lightness(x0), to_lightness(x1)) for line in axes_of(strip).lines
        for (x0, x1), (y0, y1) in [(line.get_xdata(), line.get_ydata())] if y0 == y1
    )
    table = pile[0]
    low, high = table["lightness"] - table["lightness_sigma"], table["lightness"] + table["lightness_sigma"]
    assert np.array(bars) == pytest.approx(np.array(sorted(zip(low, high, strict=True))), abs=1e-6)


def test_edges_of_groups_are_labelled_where_they_lie(strip):
    """A piece would seem to lie in another group."""
    to_lightness = axis_of(strip)
    dashed = sorted(to_lightness(line.get_xdata()[0]) for line in axes_of(strip).lines if line.is_dashed())
    assert dashed == pytest.approx([40, 70])
    for edge in (40, 70):
        assert any(
            text.get_text() == str(edge) and to_lightness(text.get_position()[0]) == pytest.approx(edge)
            and text.get_position()[1] > 20 for text in axes_of(strip).texts
        )
    assert {"dark", "medium", "light"} <= set(words_of(strip))


def test_the_axis_carries_munsell_value_at_its_lightness(strip):
    """The two scales would disagree. Gold: ASTM D1535, V 5 is Y 19.2718 %, which CIE 15 makes L* 51.0."""
    five = [text for text in axes_of(strip).texts if text.get_text() == "5"]
    assert axis_of(strip)(five[0].get_position()[0]) == pytest.approx(51.0, abs=0.2)  # middle of a step, not its value


def test_edges_are_found_without_breaks_half_way_between_the_groups(pile):
    """Without the edges in hand the strip would show none."""
    table, crops = pile
    strip = value_strip(table, crops)
    edges = sorted(axis_of(strip)(line.get_xdata()[0]) for line in axes_of(strip).lines if line.is_dashed())
    groups = table.groupby("group")["lightness"].agg(["min", "max"])
    wanted = [groups.loc[["dark", "medium"], "max"].iloc[i] / 2 + groups.loc[["medium", "light"], "min"].iloc[i] / 2
              for i in (0, 1)]
    assert edges == pytest.approx(wanted)


# The balance.


def test_there_is_one_square_for_each_piece(balance, pile):
    """The balance would be wrong. Squares are filled with the group's tone, hollow where borderline."""
    table = pile[0]
    squares = [box for box in boxes_of(balance) if box[2] == pytest.approx(box[3]) and box[2] > 3]
    tones = [round(box[4]) for box in squares]
    sure = table[~table["borderline"]].groupby("group").size()
    assert {tone: tones.count(tone) for tone in (25, 55, 85)} == {
        25: sure.get("dark", 0), 55: sure.get("medium", 0), 85: sure.get("light", 0)}
    assert tones.count(96) == table["borderline"].sum() == 1


def test_the_balance_says_its_finding_counts_and_edges(balance):
    """Nobody would know what is short, of how many, or where the groups end."""
    words = words_of(balance)
    assert words[0] == "Short of darks: 3 of 20, and of lights: 1 of 20"
    assert {"3", "16", "1", "1 borderline", "equal", "6.7"} <= set(words)
    assert "dark up to L* 40, medium up to 70, light above" in " ".join(words)


@pytest.mark.parametrize("count", [2, 9, 60, 900, 30_000])
def test_a_balance_of_any_size_stays_on_its_page(count):
    """Thousands of pieces would run off the top, or take minutes."""
    rng = np.random.default_rng(3)
    table = pd.DataFrame({"swatch_id": [str(i) for i in range(count)], "lightness": rng.uniform(5, 95, count)})
    chart = balance_chart(table, natural_breaks(table["lightness"], 2))
    width, height = chart.figure.get_size_inches() * 25.4
    assert height < 140
    assert all(x >= 0 and y >= 0 and x + w <= width and y + h <= height for x, y, w, h, _ in boxes_of(chart))
    assert len(boxes_of(chart)) < 2100


# Marks that no chart of a pile needs yet.

TRIANGLE = ((2.0, 1.0), (12.0, 1.0), (2.0, 6.0))


def drawn(*marks, pictures=None):
    """A chart of 20 by 10 mm."""
    return chart_of(Drawing(20, 10, marks, "Marks."), pictures or {})


def test_a_shape_is_drawn_through_its_points_in_its_tones():
    """A triangle would lie elsewhere, or be filled or edged as another; half an 8-bit code is at most 0.25 L*."""
    (patch,) = axes_of(drawn(Shape(TRIANGLE, fill=70.0, edge="text", line=0.5))).patches
    assert patch.get_xy()[:-1] == pytest.approx(np.array(TRIANGLE))  # the last is the first again
    assert lightness_of(patch.get_facecolor()) == pytest.approx(70, abs=0.25)
    assert lightness_of(patch.get_edgecolor()) == pytest.approx(15, abs=0.25)
    assert patch.get_linewidth() == pytest.approx(0.5 * MM)
    assert patch.get_linestyle() == "solid"


def test_a_shape_may_be_an_outline_alone_and_dashed():
    """What lies under a layer, or is left open, could not be shown without hiding what is there."""
    (patch,) = axes_of(drawn(Shape(TRIANGLE, edge="secondary", dashed=True))).patches
    assert patch.get_facecolor()[3] == 0
    assert patch.get_linestyle() != "solid"


def test_a_shape_covers_the_area_it_has():
    """An edge might be drawn round what is only filled, or a corner cut off: 25 of 200 mm2, to a pixel of outline."""
    canvas = FigureCanvasAgg(drawn(Shape(TRIANGLE, fill=0.0)).figure)
    canvas.draw()
    ground, dark = (float(np.asarray(canvas.buffer_rgba())[..., 0].max()), 0.0)
    share = (ground - np.asarray(canvas.buffer_rgba())[..., 0].mean()) / (ground - dark)
    assert share == pytest.approx(25 / 200, rel=0.02)


def test_a_shape_moves_whole():
    """A block would leave its triangles behind when it is placed on a page."""
    assert moved(Shape(TRIANGLE), 3, -1).points == ((5, 0), (15, 0), (5, 5))


@pytest.mark.parametrize("channels", [3, 4])
def test_any_picture_can_be_placed(channels):
    """Only cut-out swatches could be shown, no mock-up."""
    pixels = np.full((5, 10, channels), 200, np.uint8)
    for picture in (pixels, CutOut(pixels, ())):
        (image,) = axes_of(drawn(Photo(4, 2, 10, 5, "dusk"), pictures={"dusk": picture})).images
        assert tuple(image.get_extent()) == (4, 14, 2, 7)
        assert (image.get_array() == 200).all()


@pytest.mark.parametrize("pixels", [np.zeros((4, 4, 3)), np.zeros((4, 4), np.uint8), np.zeros((0, 4, 3), np.uint8)])
def test_what_is_no_picture_is_refused(pixels):
    """Linear light would be drawn as if it were encoded, far too dark."""
    with pytest.raises(InvalidInputError, match=r"8-bit pixels of shape .*'dusk' is .* Convert it to 8-bit sRGB first"):
        drawn(Photo(0, 0, 4, 4, "dusk"), pictures={"dusk": pixels})
