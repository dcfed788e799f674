"""A stack as pictures, tested by what they drew: the views' light, the treads' heights, the words."""

import math
import re

import numpy as np
import pytest
from drawn import (
    MM,
    axes_of,
    boxes_of,
    colours_of,
    edged_boxes_of,
    extents,
    lines_of,
    overlapping,
    place_of,
    texts_of,
    words_of,
)
from made_pile import made_crops, made_table
from matplotlib.colors import to_rgb

from contrastkit.compose.groups import Breaks, fixed_breaks
from contrastkit.compose.seams import AMBIGUOUS, VERDICTS, Surface
from contrastkit.compose.stacks import Stack, judge_stack, stack_of
from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import (
    luminance,
    luminance_to_lightness,
    munsell_value_to_lightness,
    srgb1_to_lightness,
    srgb1_to_linear,
)
from contrastkit.show.look import group_lightness
from contrastkit.show.stack import READS, finding, role, stack_picture, staircase
from contrastkit.show.stairs import verdict_words

IDS = ("b-01", "c-02", "a-03")
CLOTH = Surface("background", 93.0)


@pytest.fixture(scope="module")
def pile():
    table = made_table(12).assign(lightness_rim=80.0, chroma=0.0, hue_angle=0.0)
    wanted = {"b-01": 70.0, "c-02": 56.0, "a-03": 31.0}
    table["lightness"] = table["swatch_id"].map(wanted).fillna(table["lightness"])
    return table, made_crops(table, size=160)


@pytest.fixture(scope="module")
def stack(pile):
    return stack_of(pile[0], IDS, sides=(90, 64, 46), background=CLOTH, rim=1.6)


@pytest.fixture(scope="module")
def picture(stack, pile):
    return stack_picture(stack, pile[1])


@pytest.fixture(scope="module")
def stairs(stack, pile):
    return staircase(judge_stack(stack, distance_mm=3000), pile[1])


def plain(*levels, **options):
    """A stack of greys."""
    return Stack(tuple(Surface(f"p{i}", level) for i, level in enumerate(levels)), **options)


def pictures_of(chart):
    """Pixels of every picture, left to right and then small last."""
    images = sorted(axes_of(chart).images, key=lambda image: (-width_of(image) // 10, image.get_extent()[0]))
    return [np.asarray(image.get_array()) for image in images]


def width_of(image):
    left, right, _, _ = image.get_extent()
    return right - left


# Words.


def test_every_verdict_has_its_meaning_in_the_title():
    """A title would fail on the day a verdict gets another word."""
    assert set(READS) == {verdict.word for verdict in VERDICTS} | {AMBIGUOUS}


@pytest.mark.parametrize(
    ("levels", "words"),
    [
        ((80, 40, 54), "Weakest seam: top on middle, 14 L*: reads close by only"),
        ((80, 77), "Weakest seam: top on bottom, 3 L*: the two run into one"),
        ((80, 73, 40), "Weakest seam: middle on bottom, 7 L*: a change of tone close by"),
        ((20, 45, 75, 98), "Weakest seam: top on third, 23 L*: separates across a room"),
        ((20, 60), "Weakest seam: top on bottom, 40 L*: bold across a room"),
    ],
)
def test_the_title_is_the_finding(levels, words):
    """Whoever looks for five seconds would not know which seam to mend."""
    assert finding(judge_stack(plain(*levels))) == words


def test_the_title_says_why_less_than_the_step_counts():
    """A step of 26 L* with the verdict of 18 would look like a mistake."""
    red, yellow = Surface("red", 45, chroma=90, hue_angle=30), Surface("yellow", 70, chroma=2, hue_angle=90)
    score = judge_stack(Stack((red, yellow)))
    assert score.weakest.verdict != VERDICTS[3].word  # which 25 L* would be
    assert re.fullmatch(
        r"Weakest seam: top on bottom, 25 L\*, but \d+ allowing for vivid colour: .*", finding(score)
    )


def test_an_ambiguous_seam_is_named_so():
    """A seam that the eye may turn round would be given out as one that reads."""
    red, grey = Surface("red", 50, chroma=100, hue_angle=330), Surface("grey", 56, chroma=0, hue_angle=0)
    assert finding(judge_stack(Stack((red, grey)))).endswith("6 L*: the eye may turn light and dark round")


def test_layers_are_named_from_the_bottom():
    """The title would point at the wrong layer."""
    four = plain(10, 30, 50, 70, background=CLOTH)
    assert [role(place, four) for place in range(5)] == ["background", "bottom", "second", "third", "top"]
    assert [role(place, plain(10, 30, 50)) for place in range(3)] == ["bottom", "middle", "top"]
    assert [role(place, plain(*range(0, 96, 8))) for place in (9, 10, 11)] == ["10th", "11th", "top"]


def test_a_verdict_says_when_it_is_not_sure():
    """A seam of 21 L* known to 4 would be promised to separate."""
    def seam(sigma):
        return judge_stack(Stack((Surface("a", 30, sigma), Surface("b", 51, sigma)))).weakest

    assert verdict_words(seam(3)) == "clear, not surely"
    assert verdict_words(seam(0.1)) == "clear"
    assert verdict_words(seam(math.nan)) == "clear"


# The pictures.


def test_each_view_is_there_and_named(picture):
    """A view would be missing, or be taken for another."""
    assert len(axes_of(picture).images) == 5  # the small one too
    assert {"In colour", "In grey", "In three values", "As seen from 3 m"} <= set(words_of(picture))
    xs = [place_of(picture, head)[0] for head in ("In colour", "In grey", "In three values", "As seen from 3 m")]
    lefts = sorted(image.get_extent()[0] for image in axes_of(picture).images if width_of(image) > 30)
    assert xs == pytest.approx(lefts)


def test_the_views_have_the_light_of_one_stack(picture):
    """Grey would be lighter or darker than colour. Codes are half a code out; the blur keeps all light but at edges."""
    colour, grey, _, far, small = pictures_of(picture)
    assert light_of(grey) == pytest.approx(light_of(colour), abs=0.2)
    assert light_of(far) == pytest.approx(light_of(colour), abs=0.5)
    assert light_of(small) == pytest.approx(light_of(colour), abs=0.2)
    assert np.ptp(grey.astype(int), axis=2).max() == 0
    assert np.ptp(colour.astype(int), axis=2).max() > 20


def light_of(pixels):
    """L* of the mean light of a picture."""
    return float(luminance_to_lightness(luminance(srgb1_to_linear(pixels / 255)).mean()))


def tones_of(pixels):
    """Every L* in some pixels, rounded."""
    colours = np.unique(pixels.reshape(-1, 3), axis=0)
    return set(np.round(srgb1_to_lightness(colours / 255)).astype(int).tolist())


def test_the_three_values_are_those_of_the_groups(picture):
    """The picture would show other greys than every chart of groups."""
    assert tones_of(pictures_of(picture)[2]) == {round(tone) for tone in group_lightness(3)}


def test_layers_are_as_large_as_they_will_be_cut():
    """A narrow ring would look wide. The ring of a layer of 60 on one of 90 mm is 15 mm, to a pixel."""
    chart = stack_picture(plain(20, 90, sides=(90, 60), background=Surface("background", 55)), {}, views=["grey"])
    (pixels,) = pictures_of(chart)
    row = pixels[pixels.shape[0] // 2]
    mm = [1.12 * 90 * (lightness_of_row(row) == level).mean() for level in (20, 90)]
    assert mm == pytest.approx([30, 60], abs=2 * 1.12 * 90 / len(row))


def lightness_of_row(row):
    return np.round(srgb1_to_lightness(row / 255))


def test_the_bare_rims_of_greys_are_drawn():
    """A table without pictures would hide the third value of each seam."""
    stack = Stack((Surface("a", 20, rim=90), Surface("b", 60, rim=5)), sides=(90, 60), rim=3)
    pixels = pictures_of(stack_picture(stack, {}, views=["grey"], surround="dark"))[0]
    assert {15, 90, 20, 5, 60} <= tones_of(pixels[pixels.shape[0] // 2])


def test_under_each_view_stands_what_it_shows(picture):
    """Nobody could tell which piece is which, how far apart they are, or what becomes of the rim."""
    words = words_of(picture)
    assert [word for word in words if word in IDS] == ["a-03", "c-02", "b-01"]  # as they lie, top first
    assert any(re.fullmatch(r"L\* 31 ± \d, 25 darker: (clear|firm)(, not surely)?", word) for word in words)
    assert "L* 93" in words
    assert words.count("medium") == 2 and words.count("light") == 1 and words.count("dark") == 1
    assert any(re.fullmatch(r"rim (\d+ L\* clear|gone from [\d.]+ m|draws no line)", word) for word in words)


def test_lines_of_one_layer_stand_at_one_height(picture):
    """The lightness of one layer would stand beside the name of another."""
    (value,) = [words for words in words_of(picture) if words.startswith("L* 31")]
    assert place_of(picture, "a-03")[1] == place_of(picture, "dark")[1] == place_of(picture, value)[1]


def test_the_small_picture_is_as_large_as_the_stack_looks(picture, stack):
    """Held at arm's length it would show another distance. 1.12 x 90 mm at 3 m is 20.2 mm at 60 cm."""
    small = min(axes_of(picture).images, key=width_of)
    assert width_of(small) == pytest.approx(1.12 * 90 * 600 / 3000)
    assert "held 60 cm away, the small one looks as large as the stack from 3 m" in " ".join(words_of(picture))


def test_from_near_by_there_is_no_small_picture(stack, pile):
    """It would lie over its neighbour."""
    chart = stack_picture(stack, pile[1], distance_mm=1000)
    assert len(axes_of(chart).images) == 4
    assert "small one" not in " ".join(words_of(chart))


@pytest.mark.parametrize("views", [["colour"], ["grey", "far"], ["values", "colour", "grey"], ["far", "far"]])
def test_any_choice_of_views_fits(stack, pile, views):
    """Fewer pictures would leave their words lying about, or the names out."""
    chart = stack_picture(stack, pile[1], views=views)
    large = [image for image in axes_of(chart).images if width_of(image) > 30]
    assert len(large) == len(dict.fromkeys(views))
    assert {"top", "middle", "bottom", "background"} <= set(words_of(chart))
    check_places(chart)


def check_places(chart):
    """Nothing collides, nothing leaves the chart."""
    words, pictures = extents(chart)
    width, height = chart.figure.get_size_inches() * 25.4
    assert overlapping(words) == []
    assert overlapping(words, pictures) == []
    assert overlapping(pictures) == []
    for name, (left, bottom, right, top) in [*words, *pictures]:
        assert left >= 2 and bottom >= 1 and right <= width - 1 and top <= height - 1, name


def test_pieces_without_pictures_are_named(stack, pile):
    """A flat grey would be taken for the piece."""
    some = {name: crop for name, crop in pile[1].items() if name != "c-02"}
    assert "with flat grey for c-02" in " ".join(words_of(stack_picture(stack, some)))
    assert "Drawn in flat grey, without pictures" in " ".join(words_of(stack_picture(stack, {})))
    assert "Drawn from the pieces themselves" in " ".join(words_of(stack_picture(stack, pile[1])))


def test_a_picture_of_the_cloth_becomes_the_background(stack, pile):
    """Patterned cloth would be shown as flat grey."""
    cloth = np.zeros((50, 50, 3), np.uint8) + np.uint8([200, 60, 60])
    pixels = pictures_of(stack_picture(stack, pile[1] | {"background": cloth}, views=["colour"]))[0]
    assert pixels[5, 5].tolist() == pytest.approx([200, 60, 60], abs=1)


def test_groups_may_be_others(stack, pile):
    """Whoever sorts otherwise would be shown three values of another's."""
    breaks = Breaks((50,), ("deep", "pale"))
    chart = stack_picture(stack, pile[1], breaks=breaks)
    assert {"In two values", "deep", "pale"} <= set(words_of(chart))
    assert "medium" not in words_of(chart)


def test_a_picture_says_its_finding_layers_and_seams(picture, stack):
    """Whoever does not see it would be told nothing."""
    title = words_of(picture)[0]
    assert title.startswith("Weakest seam: ")
    assert picture.description.startswith(
        finding(judge_stack(stack)) + ". Background, L* 93; bottom b-01, L* 70; middle c-02, L* 56; top a-03, L* 31. "
    )
    assert "a-03 on c-02: 25 L* darker" in picture.description


def test_what_cannot_be_shown_is_refused(stack):
    """A typing error would give a picture without a word of what is missing."""
    with pytest.raises(InvalidInputError, match="There must be a view to show; got none"):
        stack_picture(stack, {}, views=[])
    with pytest.raises(InvalidInputError, match="A view must be one of colour, .*; got 'gray'"):
        stack_picture(stack, {}, views=["gray"])
    with pytest.raises(InvalidInputError, match="above 0 mm; got 100.8, 0 and 600"):
        stack_picture(stack, {}, distance_mm=0)
    with pytest.raises(InvalidInputError, match="surround must be one of"):
        stack_picture(plain(20, 70), {}, surround="pink")


# The staircase.


def axis_of(chart):
    """From a height in the chart to L*, by the figures of its axis."""
    low, high = (figure_of(chart, words) for words in ("10", "90"))
    return lambda y: 10 + (y - low) / (high - low) * 80


def figure_of(chart, words):
    (text,) = [text for text in texts_of(chart, words) if text.get_horizontalalignment() == "right"]
    return text.get_position()[1] + 0.35 * 2.83  # figures stand so much below their line


def treads_of(chart):
    """L* of the top and of the fill of every wide tread and every thin one, left to right."""
    to_lightness = axis_of(chart)
    edged = set(edged_boxes_of(chart))
    found = sorted(box for box in boxes_of(chart) if box[:4] in edged)
    widest = max(width for _, _, width, _, _ in found)
    treads = [(width == widest, (to_lightness(y + height), tone)) for _, y, width, height, tone in found]
    return [tread for wide, tread in treads if wide], [tread for wide, tread in treads if not wide]


def steps_of(chart):
    """(from L*, to L*, width of the line) of every step, left to right."""
    thick = sorted(line for line in lines_of(chart) if line[2] > 0.3)
    return [(*map(axis_of(chart), ys), width) for _, ys, width in thick]


def test_each_layer_is_a_tread_at_its_lightness_in_its_grey(stairs):
    """The stair would lie about a layer. Greys are half an 8-bit code out at most: 0.25 L*."""
    wide, thin = treads_of(stairs)
    assert [top for top, _ in wide] == pytest.approx([93, 70, 56, 31], abs=1e-6)
    assert [tone for _, tone in wide] == pytest.approx([93, 70, 56, 31], abs=0.25)
    assert [top for top, _ in thin] == pytest.approx([80, 80, 80], abs=1e-6)  # the rim of each layer
    assert [tone for _, tone in thin] == pytest.approx([80, 80, 80], abs=0.25)


def test_steps_carry_their_height_and_verdict(stairs, stack):
    """Nobody would know how far apart two layers are, or what that is worth."""
    words = words_of(stairs)
    for seam in judge_stack(stack).seams:
        assert f"{abs(seam.step):.0f} L*" in words
        assert seam.verdict in words


def test_a_step_reaches_from_one_layer_to_the_next(stairs):
    """The drawn height would not be the written one."""
    reached = np.array([step[:2] for step in steps_of(stairs)])
    assert reached == pytest.approx(np.array([(93, 70), (70, 56), (56, 31)]), abs=1e-6)


def test_the_weakest_step_stands_out(stairs):
    """The eye would have to read every figure."""
    widths = [width for _, _, width in steps_of(stairs)]
    assert widths[1] > 1.3 * max(widths[0], widths[2])  # 70 to 56


def test_sigma_is_drawn_at_the_end_of_each_step(stairs, stack):
    """A reader could not tell whether the verdict may change."""
    to_lightness = axis_of(stairs)
    caps = sorted(to_lightness(ys[0]) for xs, ys, _ in lines_of(stairs) if xs[1] - xs[0] == pytest.approx(2.2))
    known = [seam for seam in judge_stack(stack).seams if seam.sigma > 0]
    wanted = sorted(seam.lightness_above + sign * seam.sigma for seam in known for sign in (-1, 1))
    assert len(known) == 2  # nobody knows how sure the background is
    assert caps == pytest.approx(wanted, abs=1e-6)


def test_the_axis_carries_munsell_value_at_its_lightness(stairs):
    """The two scales would disagree."""
    to_lightness = axis_of(stairs)
    boxes = [box for box in boxes_of(stairs) if box[2] == pytest.approx(5.5)]
    five = min(boxes, key=lambda box: abs(box[4] - float(munsell_value_to_lightness(5))))
    assert to_lightness(five[1]) == pytest.approx(float(munsell_value_to_lightness(4.5)), abs=1e-6)
    assert to_lightness(five[1] + five[3]) == pytest.approx(float(munsell_value_to_lightness(5.5)), abs=1e-6)


def test_each_piece_stands_on_its_tread(stairs, pile):
    """A piece would be taken for another's."""
    images = sorted(axes_of(stairs).images, key=lambda image: image.get_extent()[0])
    assert len(images) == 3
    tops = [axis_of(stairs)(image.get_extent()[2]) for image in images]
    assert tops == pytest.approx(np.array([70, 56, 31]) + 1.3 / 0.92, abs=0.01)  # on its mat
    names = {name: text.get_position()[0] for text in axes_of(stairs).texts if (name := text.get_text()) in IDS}
    assert [names[name] for name in IDS] == pytest.approx([sum(image.get_extent()[:2]) / 2 for image in images])


def test_without_a_rim_or_an_uncertainty_nothing_of_them_is_drawn_or_said():
    """A rim or a bar that nobody measured would be shown."""
    chart = staircase(judge_stack(Stack((Surface("a", 30, rim=80), Surface("b", 60)))))
    _, thin = treads_of(chart)
    assert thin == []
    assert not any("rim" in word or "uncertainty" in word for word in words_of(chart))


@pytest.mark.parametrize("count", [2, 3, 5, 8])
@pytest.mark.parametrize("seed", range(4))
def test_words_on_stairs_of_any_size_do_not_collide(count, seed):
    """Steps of nothing, of all, and vivid ones would write over one another."""
    rng = np.random.default_rng(seed)
    levels = rng.choice([0, 3, 30, 31, 50, 52, 97, 100], count)
    layers = tuple(
        Surface(f"evening-light-on-slate-{i:02d}", float(level), sigma=rng.uniform(0.3, 6), rim=rng.uniform(0, 100),
                chroma=rng.uniform(0, 90), hue_angle=rng.uniform(0, 360))
        for i, level in enumerate(levels)
    )
    stack = Stack(layers, background=Surface("background", float(rng.uniform(0, 100))), rim=1.6)
    check_places(staircase(judge_stack(stack)))
    check_places(stack_picture(stack, {}))


@pytest.mark.parametrize("name", ["picture", "stairs"])
def test_type_lines_and_tones_keep_to_the_look(name, request):
    """Type under 8 points, lines under 0.25 mm or a hue of ours would be printed."""
    chart = request.getfixturevalue(name)
    axes = axes_of(chart)
    assert min(text.get_fontsize() for text in axes.texts) >= 8
    assert all(line.get_linewidth() >= 0.25 * MM - 1e-9 for line in axes.lines)
    assert all(patch.get_linewidth() in (0, pytest.approx(0.25 * MM)) for patch in axes.patches)
    assert all(len(set(to_rgb(colour))) == 1 for colour in colours_of(chart))
    width, height = chart.figure.get_size_inches() * 25.4
    assert width <= 297 - 24 and height <= 210 - 24  # a sheet lying on its side, with its margins


def test_the_default_edges_are_those_of_the_table(stack):
    """The picture would sort otherwise than the table beside it."""
    charts = [stack_picture(stack, {}, views=["values"], breaks=breaks) for breaks in (None, fixed_breaks())]
    first, second = (pictures_of(chart)[0] for chart in charts)
    assert (first == second).all()
