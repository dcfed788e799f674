"""All pairs as a picture, tested by what was drawn: where each mark lies, how large it is, and what is said of it."""


import numpy as np
import pandas as pd
import pytest
from drawn import (
    MM,
    assert_keeps_to_the_look,
    boxes_of,
    edged_boxes_of,
    extents,
    overlapping,
    pictures_of,
    pixels_of,
    place_of,
    polygons_of,
    words_of,
)
from made_pile import made_crops, made_table
from shapely import Point
from shapely import Polygon as Area

from contrastkit.compose.seams import AMBIGUOUS, VERDICTS, judge_seam, surfaces
from contrastkit.errors import InvalidInputError, TooFewSwatchesError
from contrastkit.light.lightness import luminance, luminance_to_lightness, srgb1_to_linear
from contrastkit.show.chart import chart_of
from contrastkit.show.crops import cut_outs
from contrastkit.show.markup import drawing_svg
from contrastkit.show.pairs import PairsStyle, all_pairs, draw_pairs, pairs_chart, picture_of_bands

WORDS = [*(verdict.word for verdict in VERDICTS), AMBIGUOUS]
VIVID = WORDS.index(AMBIGUOUS)


def vivid_table(count=24, seed=3):
    """A pile with vivid, grey and unknown colours in it."""
    rng = np.random.default_rng(seed)
    table = made_table(count, seed=seed)
    table["chroma"] = rng.choice([0.0, 15.0, 60.0, np.nan], count)
    table["hue_angle"] = np.where(table["chroma"] == 0, np.nan, rng.uniform(0, 360, count))
    return table


def plain(lightness, sigma=np.nan):
    """A pile of these lightnesses, named by their places from dark to light."""
    lightness = sorted(lightness)
    return pd.DataFrame({
        "swatch_id": [f"p{place:03d}" for place in range(len(lightness))], "lightness": lightness,
        "lightness_sigma": sigma,
    })


@pytest.fixture(scope="module")
def pile():
    table = vivid_table()
    return table, made_crops(table, size=60)


@pytest.fixture(scope="module")
def chart(pile):
    return pairs_chart(*pile)


# How far apart.


def test_every_verdict_is_that_of_judge_seam(pile):
    """The picture would say another thing of two pieces than the stack that is made of them."""
    table, _ = pile
    pairs, known = all_pairs(table), surfaces(table)
    ids = [piece.swatch_id for piece in pairs.pieces]
    assert ids == table.sort_values("lightness")["swatch_id"].tolist()
    for row, below in enumerate(ids):
        for column, above in enumerate(ids):
            said = WORDS[pairs.verdicts[row, column]]
            assert said == ("lost" if row == column else judge_seam(known[below], known[above]).verdict)
    assert set(WORDS) <= {WORDS[verdict] for verdict in pairs.verdicts.ravel()}  # each was put to the test


def test_every_pair_is_counted_once(pile):
    """The finding would count pairs twice, or a piece with itself."""
    table, _ = pile
    pairs, known = all_pairs(table), surfaces(table)
    ids = list(known)
    seams = [judge_seam(known[a], known[b]) for place, a in enumerate(ids) for b in ids[place + 1 :]]
    assert pairs.counts == tuple(sum(seam.verdict == word for seam in seams) for word in WORDS)
    assert sum(pairs.counts) == pairs.total == 24 * 23 // 2
    apart = [seam for seam in seams if seam.verdict in ("clear", "bold")]
    assert pairs.apart == len(apart)
    assert pairs.unsure == sum(seam.sure_step < 20 for seam in apart) > 0
    partners = {name: sum(name in (seam.below, seam.above) for seam in apart) for name in ids}
    assert pairs.partners == tuple(partners[piece.swatch_id] for piece in pairs.pieces)


def test_a_limit_belongs_to_the_larger_step():
    """Two pieces exactly 20 L* apart would be called too near. Steps of whole numbers, so that nothing is rounded."""
    pairs = all_pairs(plain([10, 15, 20, 30, 40]))
    assert [WORDS[verdict] for verdict in pairs.verdicts[0]] == ["lost", "soft", "firm", "clear", "bold"]


def test_a_large_pile_is_counted_whole_though_not_every_row_is_drawn():
    """The counts would be those of the rows drawn, or memory would run out."""
    lightness = np.random.default_rng(5).uniform(5, 95, 1500)
    pairs = all_pairs(plain(lightness))
    step = np.abs(lightness[:, None] - lightness)[np.triu_indices(1500, 1)]
    assert pairs.counts[:-1] == tuple(np.histogram(step, [0, 5, 10, 20, 30, 101])[0])
    assert len(pairs.rows) == len(pairs.verdicts) == 300
    assert len(pairs.partners) == 1500


@pytest.mark.parametrize(
    ("lightness", "finding"),
    [
        ([10, 29], "The two pieces do not separate across a room"),
        ([10, 30], "The two pieces separate across a room"),
        ([10, 20, 25], "0 of 3 pairs separate across a room"),
        ([10, 20, 31], "1 of 3 pairs separates across a room"),
        ([10, 50, 90], "All 3 pairs separate across a room"),
    ],
)
def test_the_finding_is_good_english_at_the_ends(lightness, finding):
    """A title would read like a form filled in by a machine."""
    assert all_pairs(plain(lightness)).finding == finding


def test_what_the_finding_leaves_open_is_said():
    """She would look for partners of a piece that has none, or trust a step that is too near the limit."""
    pairs = all_pairs(plain([20, 40.5, 45, 70], sigma=1.0))
    assert "p001 goes with the fewest, 2 of 3." in pairs.how  # the darker of two that find as few
    assert "1 of the 5 is too near 20 L* to be sure." in pairs.how  # 20.5 less 1.645 times the root of 2


@pytest.mark.parametrize("lightness", [[], [40.0], [40.0, np.nan]])
def test_fewer_than_two_pieces_make_no_pair(lightness):
    """A picture of nothing would fail somewhere inside."""
    table = pd.DataFrame({"swatch_id": [str(i) for i in range(len(lightness))], "lightness": lightness}, dtype=object)
    known = sum(value == value for value in lightness)
    with pytest.raises(TooFewSwatchesError, match=f"at least 2 swatches of known lightness; the table has {known}"):
        pairs_chart(table, {})


# What was drawn.


def corner_and_cell(chart, count):
    """Lower left corner of the stair and side of a cell, from the mats under the pieces: three a piece but for ends."""
    mats = sorted({box[:4] for box in boxes_of(chart) if box[4] == pytest.approx(50, abs=0.3)})
    assert len(mats) == 3 * count - 2
    cell = mats[0][2]
    stair = sorted(mats, key=lambda box: box[0])[0]
    return stair[0], stair[1], cell


def cells_of(chart, count, tones):
    """{(row, column): side} of the squares of these tones, by the cell that their middle lies in."""
    left, foot, cell = corner_and_cell(chart, count)
    found = {}
    for x, y, width, height, tone in boxes_of(chart):
        column, row = (x + width / 2 - left) / cell - 0.5, (y + height / 2 - foot) / cell - 0.5
        inside = 0 <= round(row) < round(column) < count
        if inside and tone is not None and min(abs(tone - each) for each in tones) < 0.5:
            assert width == pytest.approx(height)
            assert (row, column) == pytest.approx((round(row), round(column)), abs=1e-6)  # in the middle of its cell
            assert (round(row), round(column)) not in found
            found[round(row), round(column)] = width / cell
    return found


def test_each_pair_has_one_square_where_its_row_and_column_cross(chart, pile):
    """A square would lie in the cell of another pair, come twice, or be missing."""
    pairs = all_pairs(pile[0])
    sides = cells_of(chart, 24, tones=(15, 40, 96))
    shown = {(row, column) for row in range(24) for column in range(row + 1, 24) if pairs.verdicts[row, column] > 0}
    assert set(sides) == shown


def test_the_further_apart_the_larger_the_square(chart, pile):
    """The look of a cell would not say what it is for. Printed small, areas must differ by a third or more to tell."""
    pairs = all_pairs(pile[0])
    sides = cells_of(chart, 24, tones=(15, 40))
    by_verdict = [
        {round(side, 6) for (row, column), side in sides.items() if pairs.verdicts[row, column] == verdict}
        for verdict in range(len(VERDICTS))
    ]
    assert by_verdict[0] == set()
    (soft,), (firm,), (clear,), (bold,) = by_verdict[1:]
    for smaller, larger in ((soft, firm), (firm, clear), (clear, bold)):
        assert larger**2 > 1.33 * smaller**2


def test_ambiguous_pairs_are_hollow_squares_and_nothing_else_is(chart, pile):
    """Paint that the eye may see the other way round would be counted on."""
    pairs = all_pairs(pile[0])
    left, foot, cell = corner_and_cell(chart, 24)
    hollow = {
        (round((y + height / 2 - foot) / cell - 0.5), round((x + width / 2 - left) / cell - 0.5))
        for x, y, width, height in edged_boxes_of(chart)
        if x > left and y > foot and width < cell
    }
    hollow = {cell for cell in hollow if cell[0] < cell[1]}
    vivid = {(int(row), int(column)) for row, column in np.argwhere(pairs.verdicts == VIVID) if row < column}
    assert hollow == vivid != set()


def test_pieces_climb_the_stair_and_lie_along_both_sides(chart, pile):
    """She would find another piece at the end of a row or column than the one meant."""
    table, crops = pile
    pieces = all_pairs(table).pieces
    cuts = cut_outs(pieces, crops, side=99)
    left, foot, cell = corner_and_cell(chart, 24)
    seen = {}
    for (x0, y0, x1, y1), pixels in pictures_of(chart):
        seen[round(((x0 + x1) / 2 - left) / cell - 0.5), round(((y0 + y1) / 2 - foot) / cell - 0.5)] = pixels
    assert len(seen) == 3 * 24 - 2
    for place, piece in enumerate(pieces):
        expected = cuts[piece.swatch_id].pixels
        for spot in ((place, place), (place, -1), (24, place)):
            if spot not in ((0, -1), (24, 23)):
                assert seen[spot].shape == expected.shape and (seen[spot] == expected).all()


def test_every_piece_is_named_beside_its_stair_with_its_lightness(chart, pile):
    """A name would stand at another piece."""
    left, foot, cell = corner_and_cell(chart, 24)
    for place, piece in enumerate(all_pairs(pile[0]).pieces):
        x, y = place_of(chart, piece.swatch_id)
        assert place == int((y - foot) / cell) and x < left + place * cell
        figures = [text for text in words_of(chart) if text == f"{piece.lightness:.0f}"]
        assert figures


def test_the_heavy_line_runs_where_20_is_reached(pile):
    """The eye would take pairs that fail for pairs that work. Pieces without colour, so that only L* counts."""
    table = plain(np.random.default_rng(2).uniform(10, 90, 24))
    chart, lightness = pairs_chart(table, {}), table["lightness"].to_numpy()
    left, foot, cell = corner_and_cell(chart, 24)
    (line,) = [patch for patch in polygons_of(chart) if patch.get_linewidth() / MM > 0.4]
    corners = [((x - left) / cell, (y - foot) / cell) for x, y in line.get_xy()]
    inside = Area(corners)
    for row in range(24):
        for column in range(row + 1, 24):
            assert inside.contains(Point(column + 0.5, row + 0.5)) == (lightness[column] - lightness[row] >= 20)


def test_the_piece_with_the_fewest_partners_is_framed_along_its_row_and_column(chart, pile):
    """The one piece that is hard to place would be hard to find."""
    pairs = all_pairs(pile[0])
    left, foot, cell = corner_and_cell(chart, 24)
    (frame,) = [patch for patch in polygons_of(chart) if patch.get_linewidth() / MM < 0.4 and
                patch.get_xy()[:, 0].max() > left + 20 * cell]
    corners = {(round((x - left) / cell, 3), round((y - foot) / cell, 3)) for x, y in frame.get_xy()}
    place = pairs.fewest
    assert pairs.partners[place] == min(pairs.partners)
    assert corners == {(place, 0), (place + 1, 0), (place + 1, place), (24, place), (24, place + 1), (place, place + 1)}


def test_the_key_says_what_each_mark_means_and_how_many_there_are(chart, pile):
    """Nobody would know what a square of some size is for."""
    pairs, words = all_pairs(pile[0]), words_of(chart)
    for verdict, count in zip(WORDS, pairs.counts, strict=True):
        y = place_of(chart, verdict)[1]
        assert any(place[1] == y for place in positions(chart, str(count)))
    assert {"30 L* and more", "20 to 30", "10 to 20", "5 to 10", "under 5", "fewest partners"} <= set(words)


def positions(chart, words):
    return [text.get_position() for text in chart.figure.axes[0].texts if text.get_text() == words]


def test_the_finding_is_the_title_and_the_way_to_read_it_is_under_it(chart, pile):
    """The picture would have to be guessed at."""
    pairs, words = all_pairs(pile[0]), words_of(chart)
    assert words[0] == pairs.finding == f"{pairs.apart} of 276 pairs separate across a room"
    under = " ".join(words)
    assert "to its right are the lighter ones to go with it, below it the darker ones." in under
    assert "24 pieces in board-a.jpg, board-b.jpg and board-c.jpg, measured against a grey card" in under
    assert chart.description.startswith(f"{pairs.finding}: {pairs.counts[4]} bold, {pairs.counts[3]} clear, ")
    assert chart.description.endswith(f"{pairs.counts[5]} ambiguous.")


def test_another_title_keeps_the_finding_in_words(pile):
    """Who does not see the picture would be told nothing but the title."""
    chart = pairs_chart(*pile, title="Saturday <1>.")
    assert words_of(chart)[0] == "Saturday <1>"
    assert chart.description.startswith("Saturday <1>. ") and "pairs separate across a room" in chart.description


@pytest.mark.parametrize("count", [2, 3, 5, 9, 17, 46, 60, 61, 200])
def test_no_words_collide_and_the_look_is_kept_at_any_size(count):
    """Words would be printed over words or pictures, or cut off."""
    table = made_table(count, seed=count)
    chart = pairs_chart(table, made_crops(table, size=30))
    words, pictures = extents(chart)
    width, height = chart.figure.get_size_inches() * 25.4
    assert overlapping(words) == []
    if count <= 60:  # otherwise there is one picture, whose upper left half is empty
        assert overlapping(words, pictures) == []
    for _, (left, bottom, right, top) in [*words, *pictures]:
        assert left >= 5 and bottom >= 5 and right <= width - 5 and top <= height - 5
    assert_keeps_to_the_look(chart)
    assert len(pictures) == (3 * count - 2 if count <= 60 else 1)  # one picture of all bands
    assert width <= 186 + 0.01 or count > 46  # an A4 page wide, where the names let it


def test_names_from_anyone_do_no_harm():
    """A name with a tag, from right to left, without end, or of signs no typeface has would break the picture."""
    names = [
        "<script>alert(1)</script>", '"><img src=x>', "שלום", "\u202eevil", "🎨🧵", "a\0b", "x" * 300, "$\\frac{1}{2}$",
        "bad\udcff", "two\nlines", "", "&amp;",
    ]
    table = made_table(len(names)).assign(swatch_id=pd.Series(names, dtype=object))
    chart = pairs_chart(table, {})
    words, _ = extents(chart)
    assert overlapping(words) == []
    assert "$\\frac{1}{2}$" in words_of(chart)  # as it is, not as a formula
    svg = chart._repr_html_()
    assert "<script" not in svg and "<img src" not in svg
    drawing = draw_pairs(all_pairs(table), {}, PairsStyle(900, 60, 16, 1, 50), "x")
    page = drawing_svg(drawing, {}, "drawn")
    assert "&lt;script&gt;" in page and "<script" not in page and "\0" not in page


@pytest.mark.parametrize(
    ("options", "message"),
    [({"surround": "blue"}, "surround must be one of light, middle, dark; got 'blue'")],
)
def test_an_unknown_surround_is_refused(pile, options, message):
    """A typing mistake would silently give another picture."""
    with pytest.raises(InvalidInputError, match=message):
        pairs_chart(*pile, **options)


def test_a_crop_that_is_no_picture_is_refused_by_name(pile):
    """Nobody would know which of fifty crops was wrong."""
    table, _ = pile
    name = table["swatch_id"].iloc[0]
    with pytest.raises(InvalidInputError, match=f"that of '{name}' is"):
        pairs_chart(table, {name: np.zeros((5, 5))})


def test_pieces_of_unknown_lightness_are_left_out():
    """A piece without a number would be sorted as black."""
    table = made_table(6)
    table.loc[2, "lightness"] = np.nan
    chart = pairs_chart(table, {})
    assert "of 10 pairs" in words_of(chart)[0]
    assert table["swatch_id"][2] not in words_of(chart)


# Printed grey, small, and large piles.


def light_of(chart, dpi):
    """Luminance of every pixel, and from a place in mm to a pixel (row, column)."""
    light = luminance(srgb1_to_linear(pixels_of(chart, dpi) / 255))
    scale = dpi / 25.4
    return light, lambda x, y: (int(len(light) - y * scale), int(x * scale))


def test_at_half_size_the_squares_still_make_five_greys():
    """On a page reduced to half, or from a copier, far and near would look alike.

    75 dots an inch: what the eye is left with of a page at half size. Each cell is averaged as light is, and differs by
    3 L* at least from the next: areas side by side are told apart from 1 L* on.
    """
    lightness = np.repeat([10, 13, 17, 24, 33, 70], 4) + np.linspace(0, 0.4, 24)
    table = plain(lightness)
    chart, pairs = pairs_chart(table, {}), all_pairs(plain(lightness))
    left, foot, cell = corner_and_cell(chart, 24)
    light, to_pixel = light_of(chart, 75)
    means = [[] for _ in VERDICTS]
    for row in range(24):
        for column in range(row + 1, 24):
            (bottom, start), (top, end) = to_pixel(left + column * cell, foot + row * cell), to_pixel(
                left + (column + 1) * cell, foot + (row + 1) * cell)
            means[pairs.verdicts[row, column]].append(light[top:bottom, start:end].mean())
    middles = [float(luminance_to_lightness(np.median(each))) for each in means]
    assert all(far < near - 3 for near, far in zip(middles, middles[1:], strict=False))


@pytest.mark.parametrize("bands", [None, "bands"])
def test_two_hundred_pieces_are_bands_that_follow_the_verdicts(bands):
    """The pattern would lie. Looked at in the finished picture, in the middle of two thousand cells.

    As one picture, as charts have it, and as boxes, as pages have it. A hollow mark's middle is the ground.
    """
    pairs = all_pairs(vivid_table(200))
    style = PairsStyle(174, 16, 2.83, 0.25, 50)
    chart = chart_of(draw_pairs(pairs, {}, style, "x", bands=bands), {"bands": picture_of_bands(pairs)})
    tones = [96, 91, 80, 40, 15, 96]  # the page's greys, as LOOK has them
    thick = pytest.approx(0.8 * style.text)  # of the greys along the two sides
    below = sorted(box[0] for box in boxes_of(chart) if box[3] == thick and box[2] < 1)
    foot = min(box[1] for box in boxes_of(chart) if box[2] == thick and box[3] < 1)
    cell = below[1] - below[0]
    left = below[0] - cell  # the darkest has nothing below it
    light, to_pixel = light_of(chart, 300)
    rng, right, hollow = np.random.default_rng(1), 0, 0
    for _ in range(2000):
        row, column = sorted(rng.choice(200, 2, replace=False))
        seen = luminance_to_lightness(light[to_pixel(left + (column + 0.5) * cell, foot + (row + 0.5) * cell)])
        right += abs(seen - tones[pairs.verdicts[row, column]]) < 1
        hollow += pairs.verdicts[row, column] == VIVID
    assert right >= 1960 and hollow > 20  # the heavy line covers some


def test_ambiguous_pairs_are_marked_in_large_piles_too():
    """They would look like pairs of one lightness."""
    pairs = all_pairs(vivid_table(120))
    picture = picture_of_bands(pairs)[..., 0]
    cell = len(picture) // 120
    row, column = np.argwhere(np.triu(pairs.verdicts == VIVID))[0]
    mark = picture[::-1][row * cell : (row + 1) * cell, column * cell : (column + 1) * cell]
    assert set(np.unique(mark)) == {38, 243}  # L* 15 on L* 96
    assert mark[cell // 2, cell // 2] == mark[0, 0] == 243
    assert 0.15 < (mark == 38).mean() < 0.5


def test_tens_of_lightness_stand_at_their_place_where_there_are_no_names():
    """A reader could not tell where in the pile she is."""
    table = plain(np.linspace(12, 88, 200))
    chart = pairs_chart(table, {})
    cell = sorted(box[2] for box in boxes_of(chart))[0]
    places = {ten: place_of(chart, f"L* {ten}") for ten in range(20, 90, 10)}
    per_piece = (places[80][1] - places[20][1]) / (np.searchsorted(table["lightness"], 80) - np.searchsorted(
        table["lightness"], 20))
    assert per_piece == pytest.approx(cell, rel=0.02)
    assert all(places[ten][0] < places[ten + 10][0] for ten in range(20, 80, 10))


def test_the_same_pile_is_the_same_file(pile, tmp_path):
    """Whoever keeps results under version control would see changes where there are none."""
    files = [pairs_chart(*pile).save(tmp_path / f"{i}.png").read_bytes() for i in range(2)]
    assert files[0] == files[1]
