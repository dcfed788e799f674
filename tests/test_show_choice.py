"""The best stacks on a sheet, tested by what was drawn: pictures, order, numbers, words, and what is left over."""

import datetime
import itertools
import re

import numpy as np
import pandas as pd
import pytest
from drawn import (
    assert_keeps_to_the_look,
    axes_of,
    boxes_of,
    extents,
    overlapping,
    pictures_of,
    place_of,
    words_of,
)
from made_pile import made_crops, made_table
from matplotlib.colors import to_rgb
from PIL import Image

from contrastkit.columns import SWATCHES, check_table
from contrastkit.compose.choosing import Choice, ChosenStack, choose_stacks
from contrastkit.compose.seams import judge_seam, surfaces
from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import (
    lightness_to_luminance,
    linear_to_srgb1,
    luminance,
    luminance_to_lightness,
    srgb1_to_lightness,
    srgb1_to_linear,
)
from contrastkit.show.choice import BestStacks, best_stacks, choice_finding, draw_stacks, stacks_sheet, step_words

DATE = datetime.date(2031, 4, 2)


def chosen(table, blocks, layers=3, *, proved=True, background=None):
    """A choice of our own making: pieces as they come in the table, so that nothing hangs on how stacks are chosen."""
    ids, lightness = table["swatch_id"].tolist(), table["lightness"].tolist()
    stacks = []
    for first in range(0, blocks * layers, layers):
        steps = tuple(abs(a - b) for a, b in itertools.pairwise(lightness[first : first + layers]))
        under = None if background is None else abs(lightness[first] - background)
        stacks.append(ChosenStack(tuple(ids[first : first + layers]), steps, under))
    worst = min(stack.weakest for stack in stacks)
    bound = worst if proved else worst + 1.2
    return Choice(tuple(stacks), worst, bound, worst, proved, 0, tuple(ids[blocks * layers :]))


def flat(lightness, size=60):
    """A crop of one grey."""
    return np.full((size, size, 3), round(255 * float(linear_to_srgb1(lightness_to_luminance(lightness)))), np.uint8)


@pytest.fixture(scope="module")
def pile():
    table = made_table(40, seed=5)
    return table, made_crops(table, size=80)


@pytest.fixture(scope="module")
def choice(pile):
    return chosen(pile[0], 12)


@pytest.fixture(scope="module")
def sheet(choice, pile):
    (sheet,) = stacks_sheet(choice, *pile, made=DATE)
    return sheet


# What stands on the sheet.


def test_the_finding_and_how_sure_it_is_are_the_title(choice, pile):
    """She would not know whether to look for better stacks."""
    weakest = step_words(choice.worst_step)
    assert choice_finding(choice) == f"12 stacks, weakest step {weakest} L*, proved best"
    unsure = chosen(pile[0], 1, proved=False)
    assert choice_finding(unsure).startswith("1 stack, ")
    assert choice_finding(unsure).endswith("within 1.2 L* of the best possible")
    (sheet,) = stacks_sheet(unsure, *pile, how="As many as there are.")
    assert words_of(sheet)[0] == choice_finding(unsure)
    assert "As many as there are. Each as it will look, small in grey" in " ".join(words_of(sheet))


def test_layers_stand_bottom_lowest_with_their_lightness(sheet, choice, pile):
    """She would cut the wrong piece large. The L* stands in the line of its name, to the right of it."""
    lightness = pile[0].set_index("swatch_id")["lightness"]
    for stack in choice.stacks:
        places = [place_of(sheet, name) for name in stack.layers]
        assert [y for _, y in places] == sorted(y for _, y in places)
        assert len({x for x, _ in places}) == 1
        for name, (x, y) in zip(stack.layers, places, strict=True):
            (figure,) = [text for text in axes_of(sheet).texts if text.get_position()[1] == y
                         and x < text.get_position()[0] < x + 45]
            assert figure.get_text() == f"{lightness[name]:.0f}"


def test_each_step_stands_between_its_two_layers_and_the_weakest_is_bold(sheet, choice, pile):
    """A step would be read as that of another seam, or the seam to look at be missed."""
    known = surfaces(pile[0])
    for stack in choice.stacks:
        seams = [judge_seam(known[a], known[b]) for a, b in itertools.pairwise(stack.layers)]
        weakest = min(range(2), key=lambda place: seams[place].counts)
        places = [place_of(sheet, name) for name in stack.layers]
        for place, (seam, (lower, upper)) in enumerate(zip(seams, itertools.pairwise(places), strict=True)):
            (text,) = [text for text in axes_of(sheet).texts if lower[1] < text.get_position()[1] < upper[1]
                       and 0 < text.get_position()[0] - lower[0] < 55]
            assert text.get_text() == step_words(abs(seam.step))
            assert ("Bold" in text.get_fontproperties().get_file()) == (place == weakest)


def test_the_weakest_seam_is_named_with_its_verdict_beside_the_picture(sheet, choice, pile):
    """The number alone does not say whether it is enough."""
    known = surfaces(pile[0])
    shown = [text.get_text() for text in axes_of(sheet).texts if re.match(r"[\d.]+ L\*, ", text.get_text())]
    assert len(shown) == 12
    for stack, words in zip(choice.stacks, shown, strict=True):
        seams = [judge_seam(known[a], known[b]) for a, b in itertools.pairwise(stack.layers)]
        weakest = min(seams, key=lambda seam: seam.counts)
        assert words.startswith(f"{step_words(abs(weakest.step))} L*, {weakest.verdict}")


def test_bars_are_as_long_and_as_grey_as_the_layers_are_light(sheet, choice, pile):
    """The stair would not show the steps. An 8-bit grey is right to 0.25 L*."""
    lightness = pile[0].set_index("swatch_id")["lightness"]
    names = {name: place_of(sheet, name) for stack in choice.stacks for name in stack.layers}
    lengths = {}
    for x, y, width, height, tone in boxes_of(sheet):
        for name, (left, line) in names.items():
            if y < line < y + height and 0 < left - x < 25 and height < 6:
                assert tone == pytest.approx(lightness[name], abs=0.25)
                lengths[name] = width
    assert len(lengths) == 36
    assert len({round(length / lightness[name], 6) for name, length in lengths.items()}) == 1


def test_stacks_are_numbered_strongest_first_from_the_top_left(sheet):
    """The order of the choice would be lost."""
    large = {text.get_text(): text.get_position() for text in axes_of(sheet).texts[1:] if text.get_fontsize() > 12}
    places = [large[str(number)] for number in range(1, 13)]
    keys = [(-round(y), x) for x, y in places]
    assert keys == sorted(keys)


def test_what_is_left_over_is_at_the_foot_dark_to_light(sheet, pile, choice):
    """She would not know what she still has."""
    table, _ = pile
    left = table.set_index("swatch_id").loc[list(choice.left_over)].sort_values("lightness").index.tolist()
    assert f"Left over, 4 pieces: {', '.join(left)}." in words_of(sheet)
    small = sorted(extent[0] for extent, _ in pictures_of(sheet) if extent[2] - extent[0] < 7)
    assert len(small) == 4


def test_too_many_left_over_are_counted(pile):
    """A hundred names would run over the stacks."""
    table = made_table(150)
    (sheet,) = stacks_sheet(chosen(table, 2), table, {})
    left = " ".join(words_of(sheet))
    named = re.search(r"Left over, 144 pieces: (.*), (\d+) more\.", left)
    assert len(named[1].split(", ")) + int(named[2]) == 144
    assert sheet.description.count(", ") > 140  # in words all of them are named


def test_nothing_left_over_is_no_line(pile):
    """An empty list would look like a fault."""
    table, _ = pile
    (sheet,) = stacks_sheet(chosen(table.iloc[:9], 3), table.iloc[:9], {})
    assert not any("Left over" in words for words in words_of(sheet))
    assert sheet.description.endswith("Nothing is left over.")


def test_the_description_tells_the_whole_sheet(sheet, choice, pile):
    """Who does not see it would be told nothing."""
    lightness = pile[0].set_index("swatch_id")["lightness"]
    assert sheet.description.startswith(f"{choice_finding(choice)}. Stack 1, bottom first: ")
    for number, stack in enumerate(choice.stacks, start=1):
        each = ", ".join(f"{name} {lightness[name]:.0f}" for name in stack.layers)
        first, second = map(step_words, stack.steps)
        assert f"Stack {number}, bottom first: {each}; steps {first} and {second}; weakest " in sheet.description


def test_the_date_the_page_and_a_bar_of_true_size_are_at_the_foot(sheet):
    """Nobody could tell an old sheet from a new one, or whether the print was shrunk."""
    assert "2 April 2031, page 1 of 1" in words_of(sheet)
    assert any(box[2] == 50 for box in boxes_of(sheet))


# The pictures.


def test_a_stack_is_drawn_from_its_own_crops_bottom_largest(pile):
    """It would show other pieces, or the layers the wrong way up. Crops of one grey each; one 8-bit code of slack."""
    table = pd.DataFrame({"swatch_id": ["a", "b", "c"], "lightness": [25.0, 80.0, 50.0]})
    crops = {name: flat(lightness) for name, lightness in zip("abc", table["lightness"], strict=True)}
    (stack,) = draw_stacks(chosen(table, 1), table, crops, side=290)
    for picture in (stack.colour, stack.grey):
        side = len(picture)
        assert picture.shape == (side, side, 3)
        across = srgb1_to_lightness(picture[side // 2] / 255)
        # Usual print sizes with their rims: 92.1, 66.7 and 47.6 mm, so bands end at 0.138 and 0.241 of the side.
        for share, lightness in ((0.07, 25), (0.19, 80), (0.5, 50), (0.81, 80), (0.93, 25)):
            assert across[int(share * side)] == pytest.approx(lightness, abs=0.4)
    assert len(stack.grey) < 0.6 * len(stack.colour)


def test_the_grey_view_keeps_lightness_and_loses_colour(choice, pile):
    """A grey view by another rule would mislead. L* of the mean light; a code is 0.4 L* at most here."""
    for stack in draw_stacks(choice, *pile):
        assert (stack.grey == stack.grey[..., :1]).all()
        colour, grey = (luminance(srgb1_to_linear(view / 255)).mean() for view in (stack.colour, stack.grey))
        assert float(luminance_to_lightness(grey)) == pytest.approx(float(luminance_to_lightness(colour)), abs=0.5)
        assert (stack.colour != stack.colour[..., :1]).any()


def test_each_stack_shows_its_picture_and_its_grey_view(sheet, choice, pile):
    """A picture would stand beside the numbers of another stack."""
    drawn = draw_stacks(choice, *pile)
    large = [(extent, pixels) for extent, pixels in pictures_of(sheet) if extent[2] - extent[0] > 7]
    assert len(large) == 24
    for stack in drawn:
        left, bottom = place_of(sheet, stack.layers[-1].swatch_id)
        found = [(extent, pixels) for extent, pixels in large if pixels.shape == stack.colour.shape
                 and (pixels == stack.colour).all()]
        ((extent, _),) = found
        assert extent[1] > bottom and extent[0] < left < extent[2] + 2
        assert any(pixels.shape == stack.grey.shape and (pixels == stack.grey).all() for _, pixels in large)


def test_pieces_without_a_picture_are_drawn_in_their_grey():
    """Whoever brings numbers alone would get no sheet."""
    table = pd.DataFrame({"swatch_id": ["a", "b", "c"], "lightness": [25.0, 80.0, 50.0]})
    (stack,) = draw_stacks(chosen(table, 1), table, {}, side=200)
    assert float(srgb1_to_lightness(stack.colour[100, 100] / 255)) == pytest.approx(50, abs=0.4)


def test_pictures_are_printed_at_300_dots_an_inch(sheet):
    """They would look soft on paper."""
    for extent, pixels in pictures_of(sheet):
        if extent[2] - extent[0] > 7:
            assert pixels.shape[1] / (extent[2] - extent[0]) >= 299 / 25.4


def test_a_background_is_shown_and_its_step_counts():
    """The base would be lost on the cloth without a word."""
    table = pd.DataFrame({"swatch_id": ["a", "b", "c"], "lightness": [25.0, 80.0, 50.0]})
    choice = chosen(table, 1, background=33.0)
    (sheet,) = stacks_sheet(choice, table, {}, background=33.0)
    assert place_of(sheet, "background")[1] < place_of(sheet, "a")[1]
    assert {"8", "55", "30", "33"} <= set(words_of(sheet))
    assert any(words.startswith("8 L*, soft") for words in words_of(sheet))
    mats = [box for box in boxes_of(sheet) if box[2] == pytest.approx(box[3]) and box[2] > 10]
    assert [box[4] for box in mats] == pytest.approx([33, 33], abs=0.25)


def test_without_a_background_stacks_lie_on_the_surround_chosen(choice, pile):
    """The eye would judge against another surround than asked for."""
    for name, tone in (("light", 92), ("middle", 50), ("dark", 15)):
        (sheet,) = stacks_sheet(choice, *pile, surround=name)
        mats = [box[4] for box in boxes_of(sheet) if box[2] == pytest.approx(box[3]) and box[2] > 10]
        assert mats == pytest.approx([tone] * 24, abs=0.25)


def test_vivid_paint_that_changes_the_verdict_says_so():
    """'24 L*, firm' would look like a slip. L*EAL of a red of C* 50 lies 14 above its L* (High and others, 2023)."""
    table = pd.DataFrame({
        "swatch_id": ["a", "b"], "lightness": [30.0, 55.0], "chroma": [50.0, 0.0], "hue_angle": [26.0, 0.0],
    })
    (sheet,) = stacks_sheet(chosen(table, 1, layers=2), table, {})
    assert "25 L*, firm: vivid paint leaves 11" in " ".join(words_of(sheet))


def test_a_step_that_is_not_sure_says_so():
    """A decision hangs on whether 21 L* are 20 at all."""
    table = pd.DataFrame({"swatch_id": ["a", "b"], "lightness": [30.0, 51.0], "lightness_sigma": [1.0, 1.0]})
    (sheet,) = stacks_sheet(chosen(table, 1, layers=2), table, {})
    assert "21 L*, clear, not surely" in " ".join(words_of(sheet))


@pytest.mark.parametrize(("step", "words"), [(21.4, "21"), (19.96, "19.9"), (19.4, "19"), (20.0, "20"), (4.5, "4"),
                                             (4.6, "4.6"), (0.2, "0")])
def test_no_step_is_rounded_up_to_a_better_verdict(step, words):
    """'20 L*, firm' would contradict itself."""
    assert step_words(step) == words


# Many, few, and both papers.


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize(
    ("count", "layers"), [(1, 3), (2, 2), (3, 3), (4, 4), (5, 3), (6, 9), (7, 5), (12, 2), (12, 3), (12, 6)]
)
def test_no_words_collide_or_leave_the_margins(count, layers, paper):
    """Words would be printed over words or pictures, or cut off by the printer. Margins are 12 mm."""
    table = made_table(count * layers + 7, seed=count)
    table["chroma"], table["hue_angle"] = np.random.default_rng(3).uniform(0, 70, (2, len(table)))
    (sheet,) = stacks_sheet(chosen(table, count, layers), table, made_crops(table, size=40), paper=paper)
    words, pictures = extents(sheet)
    width, height = sheet.figure.get_size_inches() * 25.4
    assert (width, height) == pytest.approx({"A4": (210, 297), "Letter": (215.9, 279.4)}[paper])
    assert overlapping(words) == []
    assert overlapping(words, pictures) == []
    assert overlapping(pictures) == []
    for _, (left, bottom, right, top) in [*words, *pictures]:
        assert left >= 11.9 and bottom >= 11.9 and right <= width - 11.9 and top <= height - 11.9
    assert_keeps_to_the_look(sheet)
    largest = max(extent[2] - extent[0] for _, extent in pictures)
    assert largest > 12  # a stack is still a picture


def test_more_stacks_go_on_to_further_sheets():
    """Stacks would be lost between sheets, or come twice; what is left over belongs on the last."""
    table = made_table(85)
    sheets = stacks_sheet(chosen(table, 28), table, {})
    numbers = [[int(text.get_text()) for text in axes_of(sheet).texts if text.get_fontsize() > 12
                and text.get_text().isdigit()] for sheet in sheets]
    assert [len(each) for each in numbers] == [9, 10, 9]
    assert sum(numbers, []) == list(range(1, 29))
    assert ["Left over, 1 piece" in " ".join(words_of(sheet)) for sheet in sheets] == [False, False, True]
    assert any("page 2 of 3" in words for words in words_of(sheets[1]))


def test_fewer_a_sheet_are_drawn_larger(choice, pile):
    """`most` would do nothing."""
    sides = []
    for most in (2, 6, 12):
        sheets = stacks_sheet(choice, *pile, most=most)
        assert len(sheets) == 12 // most
        extent, pixels = max(pictures_of(sheets[0]), key=lambda picture: picture[0][2] - picture[0][0])
        sides.append(extent[2] - extent[0])
        assert pixels.shape[1] / sides[-1] >= 299 / 25.4
    assert sides[0] > 1.2 * sides[1] > 1.4 * sides[2]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"paper": "A3"}, "paper must be one of A4, Letter; got 'A3'"),
        ({"surround": "blue"}, "surround must be one of light, middle, dark; got 'blue'"),
        ({"most": 0}, "most must be 1 to 12 stacks a sheet; got 0"),
        ({"background": 120.0}, "background must be known, from 0 to 100; got 120"),
    ],
)
def test_options_that_mean_nothing_are_refused(choice, pile, options, message):
    """A typing mistake would silently give another sheet."""
    with pytest.raises(InvalidInputError, match=message):
        stacks_sheet(choice, *pile, **options)


def test_stacks_of_another_pile_are_refused(choice, pile):
    """A sheet would be half empty, or end in a KeyError."""
    with pytest.raises(InvalidInputError, match="'.*' is none. Pass the table that the stacks were chosen from"):
        stacks_sheet(choice, made_table(3), {})
    unknown = pile[0].assign(lightness=np.nan)
    with pytest.raises(InvalidInputError, match="known lightness"):
        stacks_sheet(choice, unknown, {})


def test_an_empty_choice_is_refused(pile):
    """A sheet of nothing would fail somewhere inside."""
    nothing = Choice((), 0.0, 0.0, 0.0, True, 0, ())
    with pytest.raises(InvalidInputError, match="at least 1 stack; the choice has none"):
        stacks_sheet(nothing, *pile)


def test_names_from_anyone_do_no_harm():
    """A name with a tag, without end, or of signs no typeface has would break the sheet."""
    names = [
        "<script>alert(1)</script>", '"><img src=x>', "שלום", "\u202eevil", "🎨🧵", "a\0b", "x" * 300, "$\\frac{1}{2}$",
        "bad\udcff", "two\nlines", "", "1 colour",
    ]
    table = check_table(made_table(len(names)).assign(swatch_id=pd.Series(names, dtype=object)), SWATCHES)
    (sheet,) = stacks_sheet(chosen(table, 3), table, dict(zip(names, made_crops(made_table(12), size=40).values(),
                                                              strict=True)))
    words, pictures = extents(sheet)
    assert overlapping(words) == [] and overlapping(words, pictures) == []
    shown = sheet._repr_html_()
    assert "<script" not in shown and "<img src=x" not in shown


def test_only_greys_are_ours(sheet):
    """A hue of ours beside a stack would change what the eye reports."""
    assert all(len(set(to_rgb(text.get_color()))) == 1 for text in axes_of(sheet).texts)


def test_the_sheet_is_saved_at_its_true_size_and_always_the_same(choice, pile, tmp_path):
    """It would not print at true size, or change without a reason. A4 is 2480 by 3508 dots at 300 an inch."""
    files = [stacks_sheet(choice, *pile, made=DATE)[0].save(tmp_path / f"{i}.png") for i in range(2)]
    assert files[0].read_bytes() == files[1].read_bytes()
    with Image.open(files[0]) as picture:
        assert picture.size == pytest.approx((2480, 3508), abs=1)


# The best that a pile allows.


def test_there_are_as_many_stacks_as_keep_every_step_at_20():
    """She would be given fewer stacks than the pile can make, or stacks that do not hold across a room."""
    table = made_table(30).assign(lightness=np.random.default_rng(2).normal(50, 10, 30))
    best = best_stacks(table, {})
    count = len(best.choice.stacks)
    assert 0 < count < 10
    assert best.choice.worst_step >= 20
    more = choose_stacks(table, layers=3, blocks=count + 1, order="alternating")
    assert more.worst_step < 20 and more.proved
    used = [name for stack in best.choice.stacks for name in stack.layers]
    assert len(used) == len(set(used)) == 3 * count
    assert "as many stacks, up to 12, as keep every step at 20 L* or more" in best.how


def test_a_rich_pile_gives_twelve_and_the_strongest_twelve():
    """A sheet would overflow, or spend the pile on more stacks than are shown."""
    table = pd.DataFrame({"swatch_id": [str(i) for i in range(90)], "lightness": np.linspace(10, 95, 90)})
    best = best_stacks(table, {})
    assert len(best.choice.stacks) == len(best.drawn) == 12
    assert best.choice.worst_step == pytest.approx(
        choose_stacks(table, layers=3, blocks=12, order="alternating").worst_step)
    assert len(best_stacks(table, {}, most=4).choice.stacks) == 4


def test_a_pile_too_even_for_any_gives_its_best_few_and_says_so():
    """She would get nothing, or take weak stacks for good ones."""
    table = pd.DataFrame({"swatch_id": list("abcdefghijkl"), "lightness": np.linspace(50, 62, 12)})
    best = best_stacks(table, {})
    assert len(best.choice.stacks) == 3
    assert best.how.startswith("No three layers of this pile, dark and light in turn, have every step at 20 L* or more")
    assert "this is the best it allows" in best_stacks(table.iloc[:3], {}).how


@pytest.mark.parametrize("lightness", [[], [20.0, 80.0], [20.0, 80.0, np.nan]])
def test_a_pile_of_fewer_than_three_has_none(lightness):
    """The study of a single board with two pieces would fail."""
    table = made_table(3).iloc[: len(lightness)].assign(lightness=lightness)
    assert best_stacks(table, {}) is None


def test_the_best_stacks_are_the_same_every_time(pile):
    """Whoever keeps results under version control would see changes where there are none."""
    first, second = (best_stacks(*pile) for _ in range(2))
    assert first.choice == second.choice
    assert isinstance(first, BestStacks) and first.finding == choice_finding(first.choice)
    assert all((a.colour == b.colour).all() for a, b in zip(first.drawn, second.drawn, strict=True))
