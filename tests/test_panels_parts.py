"""The parts that panels are put together from, without a page."""

from __future__ import annotations

import io
import re

import numpy as np
import pytest
from PIL import Image

from contrastkit.light.lightness import lightness_to_luminance, srgb1_to_lightness, srgb1_to_linear
from contrastkit.panels import parts
from contrastkit.show import look


def told(part, content):
    """What the page would send, given to the part."""
    part._handle_custom_msg(content, [])


def test_a_button_does_what_it_says_when_it_is_pressed_here_or_on_the_page():
    """The page's press would do nothing, or a press that is switched off would do something."""
    pressed = []
    press = parts.Press("Keep", lambda: pressed.append(1), hint="for good")
    press.press()
    told(press, {"pressed": True})
    told(press, {"something": "else"})
    told(press, "nonsense")
    assert pressed == [1, 1]
    press.disabled = True
    press.press()
    told(press, {"pressed": True})
    assert pressed == [1, 1]


@pytest.mark.parametrize("kind", [parts.Choice, parts.Pick])
def test_only_what_is_offered_can_be_chosen(kind):
    """A page that says something else would put it into the session."""
    heard = []
    part = kind("Surround", [("light", "l"), ("middle", "m")], "m", heard.append)
    part.value = "l"
    part.value = "nonsense"
    part.set_state({"value": {"x": 1}})
    assert (part.value, heard) == ("l", ["l"])
    part.offer([("dark", "d"), ("darker", "e")], "e")
    assert (part.value, heard) == ("e", ["l"])
    part.offer([("black", "b")], "not offered")
    assert (part.value, heard) == ("b", ["l"])


def test_a_slide_keeps_to_its_range_says_its_value_and_whether_the_hand_let_go():
    """A number out of range, or none, would reach the picture; a drag would be a step of undo at every pixel."""
    heard = []
    slide = parts.Slide("Distance", 0.5, 8, 0.5, 3, lambda value, settled: heard.append((value, settled)),
                        words="{:g} m".format)
    assert slide.words == "3 m"
    told(slide, {"moved": 4.5, "settled": False, "number": 7})
    told(slide, {"moved": 4.5, "settled": True, "number": 8})
    assert slide.answered == 8  # until then the page keeps to the hand
    slide.value = 99
    slide.value = float("nan")
    for nonsense in ({"moved": "far", "number": "x"}, {"moved": None}, {"other": 1}, "nonsense"):
        told(slide, nonsense)
    assert heard == [(4.5, False), (4.5, True), (8.0, True)]
    assert slide.words == "8 m"
    slide.show(2)
    assert (slide.value, slide.words, len(heard)) == (2.0, "2 m", 3)


def test_lines_and_ticks_tell_what_the_hand_wrote_but_not_what_was_shown_to_it():
    """A panel that shows a value would take it for the hand's and change the session once more."""
    heard = []
    line, tick = parts.Line("Name", "a", heard.append, hint="one line"), parts.Tick("Turned", False, heard.append)
    line.value, tick.value = "b <script>", True
    line.show("c")
    tick.show(False)
    assert heard == ["b <script>", True]
    with pytest.raises(Exception, match="trait"):
        line.set_state({"value": 5})


def test_pictures_reach_the_page_as_png_with_words_and_size():
    """A picture without words says nothing to a screen reader; one without size makes the page jump."""
    picture = parts.Picture("nothing yet")
    picture.draw(np.full((4, 6, 3), lightness_to_luminance(50), np.float32), "a grey of L* 50")
    shown = np.asarray(Image.open(io.BytesIO(picture.data)))
    assert (picture.alt, picture.size, shown.shape) == ("a grey of L* 50", [6, 4], (4, 6, 3))
    assert float(srgb1_to_lightness(shown[0, 0] / 255)) == pytest.approx(50, abs=0.3)  # one 8-bit code
    png = picture.data
    picture.draw(png, "the same", size=(3, 2))
    assert (picture.data, picture.size) == (png, [3, 2])
    picture.draw(png, "as large as it is")
    assert picture.size == [0, 0]


def test_small_pictures_keep_their_light_on_the_sheet():
    """Shrunk as codes, a pattern of black and white would look darker than it is."""
    stripes = np.zeros((64, 64, 4), np.uint8)
    stripes[..., 3] = 255
    stripes[:, ::2, :3] = 255
    data, places = parts.sprites({"stripes": stripes, "b": stripes, "c": stripes}, 16)
    sheet = np.asarray(Image.open(io.BytesIO(data)))
    assert places == {"stripes": (0, 0), "b": (16, 0), "c": (0, 16)}
    assert sheet.shape == (32, 32, 4)
    assert float(srgb1_to_linear(sheet[4:12, 4:12, 0] / 255).mean()) == pytest.approx(0.5, abs=0.01)
    assert parts.sprites({}, 16)[1] == {}


def test_tables_files_words_and_folds_hold_what_they_are_given():
    """A cell that is no text would not reach the page; a fold that is open would say that it is shut."""
    rows = parts.Rows("To cut", ["side", "count"], [(3.5, 2)])
    rows.fill([("<b>", None)])
    assert (rows.value, rows.head) == ([["<b>", "None"]], ["side", "count"])
    file = parts.File("Print")
    file.offer(b"x", "plan.html", "text/html")
    assert (file.name, file.mime, file.data) == ("plan.html", "text/html", b"x")
    inside = parts.Words("inside", level=3)
    fold = parts.Folded("Settings", inside)
    assert (fold.is_open, fold.inside.layout.display) == (False, "none")
    fold.button.press()
    assert (fold.is_open, fold.inside.layout.display) == (True, None)
    parts.show_if(False, inside)
    assert inside.layout.display == "none"
    assert "ck-beside" in parts.beside(parts.row(inside), parts.column(inside))._dom_classes


def test_every_grey_of_the_page_is_neutral_and_words_stand_out_from_it():
    """A tinted page would change how the swatches look; faint words would not be read. W3C contrast, WCAG 2.2, 1.4.3
    and 1.4.11."""
    style = parts.style()
    assert not re.search(r"\b(LIGHT|DARK|SURROUND)_[A-Z]+", style)
    accents = {look.ACCENT, look.ACCENT_ON_DARK}
    colours = set(re.findall(r"#[0-9a-f]{3,6}\b", style)) - accents
    assert all(len(set(re.findall("..", code[1:]) if len(code) == 7 else code[1:])) == 1 for code in colours)
    for page, accent, edge in ((look.LIGHT_PAGE, look.ACCENT, 50), (look.DARK_PAGE, look.ACCENT_ON_DARK, 62)):
        ground = float(lightness_to_luminance(page.ground))
        assert contrast(float(lightness_to_luminance(page.text)), ground) >= 4.5
        assert contrast(float(lightness_to_luminance(page.secondary)), ground) >= 4.5
        assert contrast(float(lightness_to_luminance(edge)), ground) >= 3
        codes = np.array([int(accent[place : place + 2], 16) for place in (1, 3, 5)]) / 255
        assert contrast(float(srgb1_to_linear(codes) @ (0.2126, 0.7152, 0.0722)), ground) >= 4.5


def contrast(one, other):
    """The W3C's contrast ratio of two relative luminances."""
    return (max(one, other) + 0.05) / (min(one, other) + 0.05)
