"""The look: neutral greys, one typeface, marks that survive a copier."""

import re
import subprocess
import sys
import unicodedata

import matplotlib
import numpy as np
import pandas as pd
import pytest
from made_pile import BREAKS, made_crops, made_table
from matplotlib import font_manager

from contrastkit.errors import InvalidInputError
from contrastkit.light.lightness import srgb1_to_lightness
from contrastkit.show import look
from contrastkit.show.drawing import Box, group_mark, levels_without_overlap
from contrastkit.show.sheet import balance_chart, contact_sheet, value_strip

PAGES = {"light": (look.LIGHT_PAGE, look.ACCENT), "dark": (look.DARK_PAGE, look.ACCENT_ON_DARK)}


def ratio(one, other):
    """W3C contrast ratio (WCAG 2.2, relative luminance and 5 % flare) of two web colours."""
    luminances = []
    for colour in (one, other):
        codes = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
        linear = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
        luminances.append(linear @ [0.2126, 0.7152, 0.0722])
    return (max(luminances) + 0.05) / (min(luminances) + 0.05)


@pytest.mark.parametrize(("lightness", "code"), [(27.0934, 64), (49.6370, 118), (53.5850, 128), (80.6041, 200)])
def test_a_grey_has_the_code_of_its_lightness(lightness, code):
    """Greys beside the swatches would be too light or too dark. Gold: L* of grey codes by IEC 61966-2-1 and CIE 15."""
    assert look.grey_code(lightness) == code
    assert look.grey_hex(lightness) == f"#{code:02x}{code:02x}{code:02x}"


@pytest.mark.parametrize("page", [look.LIGHT_PAGE, look.DARK_PAGE, look.PAPER])
def test_words_stand_out_on_every_page(page):
    """Text would be hard to read: W3C asks 7:1 of text (AAA), 4.5:1 of what is secondary (AA)."""
    ground = look.grey_hex(page.ground)
    assert ratio(look.grey_hex(page.text), ground) >= 7
    assert ratio(look.grey_hex(page.secondary), ground) >= 4.5
    assert ratio(look.grey_hex(page.secondary), look.grey_hex(page.raised)) >= 4.5


@pytest.mark.parametrize("name", PAGES)
def test_the_accent_stands_out_on_its_page(name):
    """What can be pressed would not be seen: 3:1 for controls, 4.5:1 since links are words too."""
    page, accent = PAGES[name]
    assert ratio(accent, look.grey_hex(page.ground)) >= 4.5


@pytest.mark.parametrize("lightness", [0, 15, 30, 49, 50, 51, 70, 92, 100])
def test_words_on_any_grey_can_be_read(lightness):
    """Munsell values on the steps of the axis would vanish; 3:1 is W3C's least for large words and signs."""
    assert ratio(look.grey_hex(look.legible_on(lightness)), look.grey_hex(lightness)) >= 4.5


def test_surrounds_are_light_middle_and_dark_and_nothing_else():
    """A surround that means nothing would be drawn as another."""
    assert [look.surround_lightness(name) for name in ("light", "middle", "dark")] == [92, 50, 15]
    with pytest.raises(InvalidInputError, match="surround must be one of light, middle, dark; got 'pink'"):
        look.surround_lightness("pink")


def test_groups_are_drawn_from_dark_to_light():
    """A light group might be drawn darker than a dark one."""
    assert look.group_lightness(3) == (25, 55, 85)
    for count in range(2, 10):
        tones = look.group_lightness(count)
        assert len(tones) == count
        assert list(tones) == sorted(set(tones))


def test_the_mark_of_a_group_counts_its_place():
    """Two groups would look alike where no word helps."""
    assert [len(look.group_bars(place)) for place in range(9)] == list(range(1, 10))
    assert not any(bar.hollow for bar in look.group_bars(2))


@pytest.mark.parametrize(("place", "rival"), [(1, 2), (2, 1)])
def test_a_borderline_mark_is_the_same_from_either_side(place, rival):
    """A piece between medium and light would wear two different marks, by which side it fell on."""
    assert [bar.hollow for bar in look.group_bars(place, rival=rival)] == [False, False, True]


def test_bars_of_a_mark_do_not_touch():
    """Three bars would run together into one on a copier."""
    boxes = list(group_mark(0, 0, 2.2, 2, rival=1))
    gaps = [right.x - (left.x + left.width) for left, right in zip(boxes, boxes[1:], strict=False)]
    assert min(gaps) > 0.25  # mm: no thinner than a hairline
    assert all(box.line >= 0.25 for box in boxes if isinstance(box, Box) and box.edge)


# The typeface.


def test_our_typeface_has_every_letter_we_write():
    """A sentence of ours would be set in another face."""
    ours = "".join(map(chr, range(32, 127))) + "±–…“”’×½≤≥·"
    for font in (look.REGULAR, look.BOLD):
        assert look.letters_of(font).issuperset(ours)


def test_the_licence_travels_with_the_fonts():
    """The Open Font License asks that its text goes wherever the files go."""
    text = (look.FONTS / "OFL.txt").read_text(encoding="utf-8")
    assert "SIL OPEN FONT LICENSE Version 1.1" in text
    assert "Atkinson Hyperlegible Next Project Authors" in text


STRANGE = [
    "שלום-3", "قماش", "青い布", "plum 🟣", "$x_1$ & \\frac", "tab\there", "up\ndown", "\u202eflip", "bad\udcff", "",
]


@pytest.mark.parametrize("name", STRANGE)
def test_every_name_can_be_printed(name):
    """Matplotlib would warn of a missing letter, or a name would not be seen at all."""
    clean, font = look.printable(name)
    assert look.letters_of(font).issuperset(clean)
    assert not any(unicodedata.category(letter) in ("Cc", "Cf", "Cs") for letter in clean)


def test_plain_names_keep_our_typeface_and_strange_ones_keep_their_letters():
    """All text would leave our typeface, or letters that could be shown would be boxes."""
    assert look.printable("a-03 ± 1") == ("a-03 ± 1", look.REGULAR)
    assert look.printable("a-03", bold=True) == ("a-03", look.BOLD)
    assert look.printable("שלום")[0] == "שלום"
    assert look.printable("青")[0] == "□"


def test_charts_of_strange_names_are_drawn_without_a_warning(tmp_path):
    """Warnings are errors here: a missing letter or a dollar sign read as mathematics would stop the chart."""
    table = made_table(len(STRANGE)).assign(swatch_id=pd.Series(STRANGE, dtype=object), photo="照片.jpg")
    for chart in (contact_sheet(table, {}), value_strip(table, {}), balance_chart(table, BREAKS)):
        for suffix in (".png", ".svg", ".pdf"):
            assert chart.save(tmp_path / f"strange{suffix}").stat().st_size > 1000


def test_charts_leave_matplotlib_as_it_was():
    """Someone's own charts in the same session would change their face or their settings."""
    table = made_table(5)
    settings, fonts = dict(matplotlib.rcParams), list(font_manager.fontManager.ttflist)
    contact_sheet(table, made_crops(table))._repr_html_()
    assert dict(matplotlib.rcParams) == settings
    assert font_manager.fontManager.ttflist == fonts


def test_nothing_we_show_needs_pyplot():
    """Figures would pile up behind the scenes of a notebook."""
    code = "import sys, contrastkit.show.sheet, contrastkit.show.report; print('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"


# Fitting words.


@pytest.mark.parametrize("width", [3.0, 5.0, 8.0, 40.0])
def test_a_shortened_name_fits_and_keeps_its_ends(width):
    """Names would run into their neighbours, or lose the number at their end."""
    short = look.shortened("evening-board-number-17", 1.0, width)
    assert look.text_width(short, 1.0) <= width
    assert short[0] == "e"
    if width >= 5:
        assert short.endswith("7")


def test_wrapped_lines_fit_and_lose_no_word():
    """A sentence would leave its column or lose its end."""
    text = "Each piece beside the grey of equal lightness, dark at the bottom left, light at the top right."
    for lines in (look.wrapped(text, 2.8, 60), look.wrapped_evenly(text, 2.8, 60)):
        assert " ".join(lines) == text
        assert max(look.text_width(line, 2.8) for line in lines) <= 60
    assert len(look.wrapped_evenly(text, 2.8, 60)) == len(look.wrapped(text, 2.8, 60))


def test_spans_on_one_level_never_overlap():
    """Pieces on the strip would hide one another."""
    rng = np.random.default_rng(5)
    left = np.sort(rng.uniform(0, 100, 60))
    spans = list(zip(left, left + rng.uniform(1, 12, 60), strict=True))
    levels = levels_without_overlap(spans, gap=0.5)
    for level in set(levels):
        row = sorted(span for span, own in zip(spans, levels, strict=True) if own == level)
        assert all(a[1] + 0.5 <= b[0] for a, b in zip(row, row[1:], strict=False))


def test_the_stylesheet_names_no_colour_of_its_own():
    """A hue or a grey that nobody checked would slip into the page: all come from the palette."""
    css = (look.FONTS.parent / "report.css").read_text(encoding="utf-8")
    assert not re.search(r"#[0-9a-fA-F]{3,8}\b|rgb|hsl|:\s*(white|black|gr[ea]y|red|green|blue)\b", css)


def test_the_palette_is_neutral():
    """Measured in L*, the palette must be what the design says it is, to the nearest 8-bit code (0.2 L*)."""
    for page in (look.LIGHT_PAGE, look.DARK_PAGE):
        for tone in (page.ground, page.text, page.secondary, page.hairline, page.raised):
            code = look.grey_code(tone) / 255
            assert float(srgb1_to_lightness([code] * 3)) == pytest.approx(tone, abs=0.25)
